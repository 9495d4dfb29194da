"""Today: what waits, the next mailing, and what is not in order."""

from __future__ import annotations

from flask import Blueprint, render_template
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.mailings import stock
from replacements.store.tables import Condition, Mailing, Message, Packet, Reply, Request
from replacements.web.guard import for_staff, here, office
from replacements.web.upcoming import upcoming

blueprint = Blueprint("front", __name__)


def _going(session: Session, mailing: Mailing | None) -> dict[str, int]:
    """How many packets wait in a mailing, with a ballot and without."""
    waiting = select(Packet).where(Packet.mailing_id == (mailing.id if mailing else None), Packet.state != "pulled")
    packets = session.scalars(waiting).all()
    ballots = sum(1 for packet in packets if packet.ballot_number)
    return {"ballots": ballots, "materials": len(packets) - ballots}


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
        following = upcoming(session, force, at) if force else None
        return render_template(
            "front.html",
            waiting={state: (count, oldest) for state, count, oldest in counted},
            next_mailing=following,
            going=_going(session, following.mailing if following else None),
            shortages=stock.shortages(session, force.election_id) if force else [],
            unsigned=unsigned,
            unsent=session.scalar(select(func.count()).select_from(Reply).where(Reply.state == "failed")),
            unread=session.scalar(select(func.count()).select_from(Message).where(Message.state == "failed")),
            unwell=session.scalars(select(Condition).where(Condition.ok.is_(False)).order_by(Condition.name)).all(),
        )
