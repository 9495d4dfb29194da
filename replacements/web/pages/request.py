"""One request: the message as written on the one side, the evidence and the decision on the other."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, Response, abort, render_template
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.people.permissions import Permission
from replacements.proposals.types import Action
from replacements.replies.texts import Rendered
from replacements.requests import waiting
from replacements.requests.assigning import steps
from replacements.requests.awaiting import reply_now, second_person_since
from replacements.requests.carrying_out import Refused, live_ballot
from replacements.requests.choosing import MAY_STILL
from replacements.requests.correcting import latest
from replacements.requests.deciding import awaited
from replacements.requests.holding import last_day
from replacements.requests.judging import UNDECIDED
from replacements.requests.office import InForce, version
from replacements.requests.upcoming import upcoming
from replacements.rules.office import Rules
from replacements.rules.transit import back_for_voter, for_voter, last_day_back
from replacements.store.tables import OPEN_STATES, Ballot, Mailing, Message, Packet, Reply, Request, VoterRow
from replacements.web.chance_picture import back_on_days
from replacements.web.colleagues import deciders
from replacements.web.evidence import comparison, full_name
from replacements.web.guard import here, needs, office
from replacements.web.letters import letter_of
from replacements.web.order import next_waiting
from replacements.web.pages.keys import with_keys
from replacements.web.showing import at_the_office

blueprint = Blueprint("request", __name__, url_prefix="/requests")
OFFICE_LANGUAGE = "en"  # of these pages: who approves a reply in another language can read here what it says
# What a clerk may choose instead of what is proposed, in the order of the list.
CHOICES = (
    Action.REISSUE,
    Action.STATEMENT_FIRST,
    Action.COME_IN,
    Action.ALREADY_BACK,
    Action.NO_BALLOT_OUT,
    Action.SEND_MATERIALS,
    Action.SEND_FORM,
    Action.ANSWER,
    Action.STOP_REISSUE,
    Action.READ,
    Action.DROP,
)


@blueprint.get("/<int:request_id>")
@needs(Permission.SEE_REQUESTS)
def page(request_id: int) -> Response:
    looker = here()
    with office().database.read() as session:
        request = session.get(Request, request_id)
        if request is None:
            abort(404)
        message = session.get_one(Message, request.message_id)
        shown = comparison(session, request, personal=looker.sees_personal)
        voter = session.get(VoterRow, request.voter_id) if request.voter_id else None
        ballots = (
            session.scalars(
                select(Ballot)
                .where(Ballot.voter_id == request.voter_id, Ballot.election_id == request.election_id)
                .order_by(Ballot.mailed_on.is_(None), Ballot.mailed_on, Ballot.number)
            ).all()
            if request.voter_id
            else []
        )
        packet = session.execute(
            select(Packet, Mailing)
            .join(Mailing, Packet.mailing_id == Mailing.id)
            .where(Packet.request_id == request.id)
            .order_by(Packet.id.desc())
        ).first()
        others = session.scalars(
            select(Request)
            .where(
                Request.id != request.id,
                (Request.message_id == request.message_id)
                | (Request.id == request.continues)
                | (Request.continues == request.id)
                | (Request.voter_id.is_not(None) & (Request.voter_id == request.voter_id)),
            )
            .order_by(Request.id)
            .limit(20)
        ).all()
        replies = session.scalars(select(Reply).where(Reply.request_id == request.id).order_by(Reply.id)).all()
        letter = letter_of(session, message, looker.in_force)
        undecided = request.state in OPEN_STATES
        chance, picture, reply, in_english, cannot = None, "", None, None, ""
        since: tuple[str, ...] = ()
        old = live_ballot(session, request.election_id, request.voter_id)
        if looker.in_force:
            day = upcoming(session, looker.in_force, looker.at).goes_on
            if request.judged.get("in_time") and (undecided or packet):
                goes_on = packet[1].goes_on if packet and not undecided else day
                rules = _rules_of(session, request, looker.in_force, undecided=undecided)
                chance = for_voter(rules, goes_on, voter)
                picture = back_on_days(
                    back_for_voter(rules, goes_on, voter),
                    last_day_back(rules, overseas=bool(voter and voter.overseas)),
                )
            if undecided:
                reply, cannot = _reply(session, request, looker.in_force, day)
                if awaited(request) is Action.REISSUE and old is None:
                    cannot = "This voter has no live ballot that could be replaced. Choose something else."
                since = second_person_since(session, request, looker.in_force)
                if reply is not None and reply.language != OFFICE_LANGUAGE and looker.may(Permission.DECIDE):
                    in_english, _ = _reply(session, request, looker.in_force, day, OFFICE_LANGUAGE)
        open_packet = packet is not None and packet[1].state == "open"
        force = looker.in_force
        shown_page = render_template(
            "request.html",
            request_=request,
            message=message,
            letter=letter,
            shown=shown,
            voter=voter,
            ballots=ballots,
            packet=packet,
            others=others,
            replies=replies,
            undecided=undecided,
            full_name=full_name,
            awaited=awaited(request),
            old=old,
            reply_now=reply,
            in_english=in_english,
            cannot=cannot,
            since=since,
            waits_next=next_waiting(session, request.election_id, at=looker.at, besides=request.id),
            chance=chance,
            picture=Markup(picture),  # noqa: S704
            judged_chance=request.judged.get("in_time"),
            choices=CHOICES,
            waits=waiting.standing(session, request, looker.in_force.rules) if looker.in_force else None,
            correction=latest(session, message.id),
            which=_elections(request),
            steps=steps(session, request.id),
            colleagues=[name for name in deciders(session) if name not in (looker.name, request.assigned_to)],
            hold_until=last_day(force.rules, looker.at, overseas=bool(voter and voter.overseas)) if force else None,
            day_of=lambda moment: at_the_office(moment).date(),
            may_undo=request.state == "done"
            and bool(request.issued_ballot)
            and open_packet
            and looker.may(Permission.TAKE_BACK),
        )
    return with_keys(shown_page)


def _rules_of(session: Session, request: Request, force: InForce, *, undecided: bool) -> Rules:
    """The rules in force; of what is decided, those that it was decided by."""
    decided_by = None if undecided else request.judged.get("decided_by_rules")
    return (version(session, decided_by) if decided_by else None) or force.rules


def _elections(request: Request) -> list[InForce]:
    """The open elections that this request may be put under: those that fit where nobody can tell, else the others."""
    if request.state != MAY_STILL or len(here().elections) < 2:
        return []
    if request.judged.get("election_by") == UNDECIDED:
        return list(here().elections)
    return [force for force in here().elections if force.election_id != request.election_id]


def _reply(
    session: Session, request: Request, force: InForce, day: date, language: str = ""
) -> tuple[Rendered | None, str]:
    """What approving would send now; or why it could not be approved."""
    try:
        return reply_now(session, request, force, mailing_day=day, language=language), ""
    except Refused as refused:
        return None, str(refused)
