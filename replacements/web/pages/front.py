"""Today: what waits, the next mailing, and what is not in order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from flask import Blueprint, render_template
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.mailings import stock
from replacements.requests.office import InForce
from replacements.rules.calendar import cut_off, next_mailing
from replacements.store.tables import Condition, Mailing, Message, Packet, Reply, Request
from replacements.web.guard import for_staff, here, office

blueprint = Blueprint("front", __name__)


@dataclass(frozen=True, slots=True)
class NextMailing:
    """The mailing that what is approved now would join."""

    goes_on: date
    closes_at: datetime
    mailing_id: int | None
    ballots: int
    materials: int


def next_one(session: Session, force: InForce, at: datetime) -> NextMailing:
    """The next mailing with what is queued in it."""
    goes_on = next_mailing(force.rules, at)
    mailing = session.scalars(
        select(Mailing).where(Mailing.election_id == force.election_id, Mailing.goes_on == goes_on)
    ).first()
    packets = (
        session.scalars(select(Packet).where(Packet.mailing_id == mailing.id, Packet.state != "pulled")).all()
        if mailing
        else []
    )
    ballots = sum(1 for p in packets if p.ballot_number)
    return NextMailing(
        goes_on, cut_off(force.rules, goes_on), mailing.id if mailing else None, ballots, len(packets) - ballots
    )


@blueprint.get("/")
@for_staff
def page() -> str:
    force, at = here().in_force, here().at
    with office().database.read() as session:
        counted = session.execute(
            select(Request.state, func.count(), func.min(Request.received_at))
            .where(Request.election_id == here().election_id)
            .group_by(Request.state)
        ).all()
        unsigned = session.scalars(
            select(Mailing)
            .where(Mailing.state == "closed", Mailing.election_id == here().election_id)
            .order_by(Mailing.goes_on)
        ).all()
        return render_template(
            "front.html",
            waiting={state: (count, oldest) for state, count, oldest in counted},
            next_mailing=next_one(session, force, at) if force else None,
            shortages=stock.shortages(session, force.election_id) if force else [],
            unsigned=unsigned,
            unsent=session.scalar(select(func.count()).select_from(Reply).where(Reply.state == "failed")),
            unread=session.scalar(select(func.count()).select_from(Message).where(Message.state == "failed")),
            unwell=session.scalars(select(Condition).where(Condition.ok.is_(False)).order_by(Condition.name)).all(),
        )
