"""The list of requests: by state, by proposal, by number; by name for those who see names."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from sqlalchemy import ColumnElement, Select, func, or_, select
from sqlalchemy.orm import InstrumentedAttribute, Session
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.store.tables import OPEN_STATES, Ballot, Look, Message, Request, VoterRow
from replacements.web.guard import here, leaf, needs, office
from replacements.web.order import FOR_THE_MAILING, came_back, first_things_first, for_the_mailing
from replacements.web.showing import words
from replacements.web.upcoming import upcoming

blueprint = Blueprint("requests", __name__, url_prefix="/requests")
A_PAGE = 50
CAME_BACK = "came_back"  # those whose reply came back undelivered, whatever is proposed
FOR_MAILING = "for_mailing"  # what must be decided before the mailing closes, whichever of the proposals it is


def _where(state: str, proposal: str) -> list[ColumnElement[bool]]:
    chosen: list[ColumnElement[bool]] = []
    if here().election_id and (here().chosen or not here().several):
        chosen.append(Request.election_id == here().election_id)
    elif here().several:  # all that are open
        chosen.append(Request.election_id.in_([force.election_id for force in here().elections]))
    if state:
        chosen.append(Request.state == state)
    if proposal == FOR_MAILING:
        chosen.append(for_the_mailing())
    elif proposal == CAME_BACK:
        chosen.append(came_back())
    elif proposal:
        chosen.append(Request.proposal == proposal)
    return chosen


def _counted(session: Session, column: InstrumentedAttribute[str], where: list[ColumnElement[bool]]) -> dict[str, int]:
    return dict(session.execute(select(column, func.count()).where(*where).group_by(column)).all())


def _query() -> Select[Request, Message]:
    return select(Request, Message).join(Message, Request.message_id == Message.id)


@blueprint.get("/")
@needs(Permission.SEE_REQUESTS)
def page() -> str:
    whole = here().several and not here().chosen
    force = None if whole else here().in_force
    state, proposal = request.args.get("state", "waiting"), request.args.get("proposal", "")
    state = "" if state == "all" else state
    number = leaf()
    # Work that waits is done in the order of the day; what is over is looked up newest first.
    order = first_things_first() if state in OPEN_STATES else (Request.received_at.desc(), Request.id.desc())
    with office().database.read() as session:
        by_state = _counted(session, Request.state, _where("", ""))
        by_proposal = _counted(session, Request.proposal, _where(state, ""))
        total = session.scalar(select(func.count()).select_from(Request).where(*_where(state, proposal))) or 0
        rows = session.execute(
            _query().where(*_where(state, proposal)).order_by(*order).offset((number - 1) * A_PAGE).limit(A_PAGE)
        ).all()
        return render_template(
            "requests.html",
            rows=rows,
            state=state,
            proposal=proposal,
            by_state=by_state,
            by_proposal=by_proposal,
            for_mailing=sum(count for code, count in by_proposal.items() if code in FOR_THE_MAILING),
            FOR_MAILING=FOR_MAILING,
            closes_at=upcoming(session, force, here().at).closes_at if force else None,
            states=words("state"),
            elections={one.election_id: one.rules.election.name for one in here().elections} if whole else {},
            total=total,
            number=number,
            a_page=A_PAGE,
        )


def _found_by(wanted: str) -> ColumnElement[bool]:
    """By ballot number; for those who see names also by the name or sender of the message and by the voter's name."""
    by_ballot = or_(Request.voided_ballot == wanted, Request.issued_ballot == wanted)
    if not here().sees_personal:
        return by_ballot
    named = select(VoterRow.voter_id).where(
        or_(
            (VoterRow.first_name + " " + VoterRow.last_name).icontains(wanted, autoescape=True),
            VoterRow.voter_id == wanted,
        )
    )
    owned = select(Ballot.voter_id).where(Ballot.number == wanted)
    return or_(
        by_ballot,
        Request.person.icontains(wanted, autoescape=True),
        Message.sender == wanted.casefold(),
        Message.sender_name.icontains(wanted, autoescape=True),
        Request.voter_id.in_(named),
        Request.voter_id.in_(owned),
    )


@blueprint.post("/search")
@needs(Permission.SEE_REQUESTS)
def search() -> str | Response:
    """A form and not a link: what is searched for may be a name, and names stay out of addresses and logs."""
    wanted = request.form.get("wanted", "").strip()
    if wanted.isdecimal() and len(wanted) < 7:
        with office().database.read() as session:
            if session.get(Request, int(wanted)) is not None:
                return redirect(url_for("request.page", request_id=int(wanted)), 303)
    if not wanted:
        return render_template("search.html", rows=[], wanted="", a_page=A_PAGE)
    if here().sees_personal:
        with office().database.write() as session:
            session.add(Look(account=here().name, what="search", about="requests", why="search by name", at=here().at))
    with office().database.read() as session:
        rows = session.execute(_query().where(_found_by(wanted)).order_by(Request.id.desc()).limit(A_PAGE)).all()
        return render_template(
            "search.html",
            elections={one.election_id: one.rules.election.name for one in here().every} if here().several else {},
            rows=rows,
            wanted=wanted,
            a_page=A_PAGE,
        )
