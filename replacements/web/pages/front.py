"""Today: what waits, the next mailing, and what is not in order."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from flask import Blueprint, render_template
from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from replacements.mailings import stock
from replacements.people.permissions import Permission
from replacements.proposals.types import Action
from replacements.requests import waiting
from replacements.requests.office import InForce
from replacements.store.tables import OPEN_STATES, Condition, Mailing, Message, Packet, Reply, Request
from replacements.web.guard import for_staff, here, office
from replacements.web.order import FOR_THE_MAILING, came_back, may_be_a_threat, next_waiting
from replacements.web.upcoming import upcoming

blueprint = Blueprint("front", __name__)


def _going(session: Session, mailing: Mailing | None) -> dict[str, int]:
    """How many packets wait in a mailing, with a ballot and without."""
    waiting = select(Packet).where(Packet.mailing_id == (mailing.id if mailing else None), Packet.state != "pulled")
    packets = session.scalars(waiting).all()
    ballots = sum(1 for packet in packets if packet.ballot_number)
    return {"ballots": ballots, "materials": len(packets) - ballots}


Counted = tuple[int, datetime | None]  # how many wait, and since when the oldest does


def _work(session: Session) -> dict[str, Counted]:
    """What waits, in the groups in which the day's work is done. Each request that waits is in one group only."""
    threat = case((may_be_a_threat(), 1), else_=0)
    rows = session.execute(
        select(Request.state, Request.proposal, threat, func.count(), func.min(Request.received_at))
        .where(Request.election_id == here().election_id, Request.state.in_(OPEN_STATES))
        .group_by(Request.state, Request.proposal, threat)
    ).all()
    groups: dict[str, list[tuple[int, datetime]]] = defaultdict(list)
    for state, proposal, is_threat, count, oldest in rows:
        if state == "waiting":
            groups["waiting"].append((count, oldest))
        groups[_group(state, proposal, is_threat == 1)].append((count, oldest))
    names = ("waiting", "threats", "mailing", "second", "reading", "others", "asked")
    return {
        name: (sum(n for n, _ in groups[name]), min((oldest for _, oldest in groups[name]), default=None))
        for name in names
    }


def _group(state: str, proposal: str, is_threat: bool) -> str:
    if state != "waiting":
        return state
    if is_threat:
        return "threats"
    if proposal in FOR_THE_MAILING:
        return "mailing"
    return "reading" if proposal == Action.READ else "others"


def _elsewhere(session: Session) -> list[tuple[InForce, int]]:
    """The other elections that are open, with how many requests wait in each."""
    by_election = select(Request.election_id, func.count()).where(Request.state == "waiting")
    counts: dict[str, int] = dict(session.execute(by_election.group_by(Request.election_id)).all())
    others = [force for force in here().elections if force.election_id != here().election_id]
    return [(force, counts.get(force.election_id, 0)) for force in others]


@blueprint.get("/")
@for_staff
def page() -> str:
    force, at = here().in_force, here().at
    with office().database.read() as session:
        work = _work(session)
        unsigned = session.scalars(
            select(Mailing)
            .where(Mailing.state == "closed", Mailing.election_id == here().election_id)
            .order_by(Mailing.goes_on)
        ).all()
        following = upcoming(session, force, at) if force else None
        return render_template(
            "front.html",
            work=work,
            begin_with=next_waiting(session, here().election_id) if here().may(Permission.DECIDE) else None,
            following=following,
            going=_going(session, following.mailing if following else None),
            shortages=stock.shortages(session, force.election_id) if force else [],
            unsigned=unsigned,
            elsewhere=_elsewhere(session),
            unsent=session.scalar(select(func.count()).select_from(Reply).where(Reply.state == "failed")),
            waits=waiting.overview(session, force, now=at) if force and here().may(Permission.TAKE_BACK) else None,
            came_back=session.scalar(
                select(func.count())
                .select_from(Request)
                .where(Request.election_id == here().election_id, Request.state == "waiting", came_back())
            ),
            unread=session.scalar(select(func.count()).select_from(Message).where(Message.state == "failed")),
            unwell=session.scalars(select(Condition).where(Condition.ok.is_(False)).order_by(Condition.name)).all(),
        )
