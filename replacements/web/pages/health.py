"""How the service itself is doing: to everybody in one word, to the staff part by part, to machines as they ask."""

from __future__ import annotations

import json
from datetime import timedelta

from flask import Blueprint, current_app, flash, redirect, render_template, request, url_for
from sqlalchemy import func, select
from sqlalchemy.orm import InstrumentedAttribute, Session
from werkzeug.wrappers import Response

from replacements.health import telling
from replacements.health.looking import look
from replacements.health.types import Health
from replacements.people.permissions import Permission
from replacements.replies import pausing
from replacements.store.tables import Condition, Message, Reply
from replacements.web.guard import before_the_door, for_everybody, here, needs, office

blueprint = Blueprint("health", __name__)

A_WHILE = timedelta(seconds=5)  # what everybody may ask for is worked out so often at most
_KEPT = "health"


def _by_state(session: Session, column: InstrumentedAttribute[str]) -> dict[str, int]:
    return dict(session.execute(select(column, func.count()).group_by(column)).all())


def _now() -> Health:
    place = office()
    return look(place.database, place.settings, at=place.now())


def _of_late() -> Health:
    """As it was a moment ago: however often strangers ask, the database is not asked as often."""
    kept = current_app.extensions.get(_KEPT)
    if isinstance(kept, Health) and timedelta() <= office().now() - kept.at < A_WHILE:
        return kept
    found = current_app.extensions[_KEPT] = _now()
    return found


@blueprint.get("/health")
@for_everybody
def page() -> str:
    if not here().may(Permission.SEE_HEALTH):
        return render_template("health_in_a_word.html", word=telling.in_a_word(_of_late()))
    found = _now()
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
            found=found,
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


@blueprint.get("/health.json")
@for_everybody
@before_the_door
def answer() -> Response:
    """For machines that watch: one status and nothing else; 503 where the service cannot do its work."""
    found = _of_late()
    body = json.dumps({"status": telling.status(found)})
    return Response(body, 200 if found.serves else 503, content_type=telling.MEDIA_TYPE)


@blueprint.get("/alive")
@for_everybody
def alive() -> tuple[str, dict[str, str]]:
    """For a watchdog: the service answers and reaches its database. Says nothing else."""
    with office().database.read() as session:
        session.execute(select(1))
    return "alive\n", {"Content-Type": "text/plain; charset=utf-8"}
