"""How the service itself is doing: to everybody in one word, to the staff part by part, to machines as they ask."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from flask import Blueprint, current_app, flash, g, redirect, render_template, request, url_for
from sqlalchemy import Integer, Row, cast, literal, null, select, union_all
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from replacements.health import telling
from replacements.health.judging import judge
from replacements.health.looking import look, measure
from replacements.health.stored import by_state, last_said
from replacements.health.types import Health
from replacements.people.permissions import Permission
from replacements.replies import pausing
from replacements.store.tables import Message, Reply
from replacements.web.guard import before_the_door, for_everybody, here, needs, office

blueprint = Blueprint("health", __name__)

A_WHILE = timedelta(seconds=5)  # what everybody may ask for is worked out so often at most
_KEPT = "health"
MOST_LISTED = 20


def _failed(session: Session) -> tuple[list[Row[Any]], list[Row[Any]]]:
    """The messages that could not be read and the replies that could not be sent, the newest of each: `number`, `at`,
    `error`, and of a reply `request_id`. One statement."""
    unread = select(
        literal("message").label("what"),
        Message.id.label("number"),
        Message.arrived_at.label("at"),
        cast(null(), Integer).label("request_id"),
        Message.error.label("error"),
    ).where(Message.state == "failed")
    unsent = select(literal("reply"), Reply.id, Reply.queued_at, Reply.request_id, Reply.error)
    some = [
        unread.order_by(Message.arrived_at.desc()).limit(MOST_LISTED).subquery().select(),
        unsent.where(Reply.state == "failed").order_by(Reply.queued_at.desc()).limit(MOST_LISTED).subquery().select(),
    ]
    rows = sorted(session.execute(union_all(*some)), key=lambda row: row.at, reverse=True)
    return [row for row in rows if row.what == "message"], [row for row in rows if row.what == "reply"]


def _now() -> Health:
    place = office()
    known = here().every if "here" in g else None  # what the door has read, where one came in by it
    return look(place.database, place.settings, at=place.now(), known=known)


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
    place = office()
    figures = measure(place.database, place.settings, at=place.now(), whole=True, known=here().every)
    with place.database.read() as session:
        unread, unsent = _failed(session)
        if figures.stored is not None:
            said, counts = figures.stored.said, {"messages": figures.stored.messages, "replies": figures.stored.replies}
        else:  # of another schema than this program's; what can be told of it is told all the same
            said, counts = last_said(session), by_state(session, whole=True)
    sending = next((one for one in said if one.name == pausing.NAME and not one.ok), None)
    return render_template(
        "health.html",
        found=judge(figures),
        conditions=said,
        messages=counts["messages"],
        replies=counts["replies"],
        unread=unread,
        unsent=unsent,
        paused=sending.text if sending else "",
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
