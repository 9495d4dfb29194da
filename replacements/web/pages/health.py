"""How the service itself is doing: its standing jobs, messages that could not be read, replies that did not go."""

from __future__ import annotations

from flask import Blueprint, render_template
from sqlalchemy import func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.people.permissions import Permission
from replacements.store.tables import Condition, Message, Reply
from replacements.web.guard import for_everybody, needs, office

blueprint = Blueprint("health", __name__)


def _by_state(session: Session, column: InstrumentedAttribute[str]) -> dict[str, int]:
    return dict(session.execute(select(column, func.count()).group_by(column)).all())


@blueprint.get("/health")
@needs(Permission.SEE_HEALTH)
def page() -> str:
    with office().database.read() as session:
        conditions = session.scalars(select(Condition).order_by(Condition.name)).all()
        messages = _by_state(session, Message.state)
        replies = _by_state(session, Reply.state)
        unread = session.scalars(
            select(Message).where(Message.state == "failed").order_by(Message.arrived_at.desc()).limit(20)
        ).all()
        unsent = session.scalars(
            select(Reply).where(Reply.state == "failed").order_by(Reply.queued_at.desc()).limit(20)
        ).all()
        return render_template(
            "health.html", conditions=conditions, messages=messages, replies=replies, unread=unread, unsent=unsent
        )


@blueprint.get("/alive")
@for_everybody
def alive() -> tuple[str, dict[str, str]]:
    """For a watchdog: the service answers and reaches its database. Says nothing else."""
    with office().database.read() as session:
        session.execute(select(1))
    return "alive\n", {"Content-Type": "text/plain; charset=utf-8"}
