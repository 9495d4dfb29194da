"""How the service itself is doing: its standing jobs, messages that could not be read, replies that did not go."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from sqlalchemy import func, select
from sqlalchemy.orm import InstrumentedAttribute, Session
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.replies import pausing
from replacements.store.tables import Condition, Message, Reply
from replacements.web.guard import for_everybody, here, needs, office

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
            "health.html",
            conditions=conditions,
            messages=messages,
            replies=replies,
            unread=unread,
            unsent=unsent,
            paused=pausing.paused(session),
        )


@blueprint.post("/health/sending")
@needs(Permission.PAUSE_SENDING)
def switch_sending() -> Response:
    """Stop all sending, or let it go on."""
    by = here().name
    with office().database.write() as session:
        if request.form.get("do") == "pause":
            pausing.pause(session, by=by, why=request.form.get("why", ""), at=here().at)
            flash("Sending is paused. No reply goes until somebody lets it go on.", "good")
        elif pausing.go_on(session, by=by, at=here().at):
            flash("Sending goes on.", "good")
    return redirect(url_for("health.page"), 303)


@blueprint.get("/alive")
@for_everybody
def alive() -> tuple[str, dict[str, str]]:
    """For a watchdog: the service answers and reaches its database. Says nothing else."""
    with office().database.read() as session:
        session.execute(select(1))
    return "alive\n", {"Content-Type": "text/plain; charset=utf-8"}
