"""The forms about who works on a request and when: take it, give it, lay it back; put it on hold, end that."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from flask import Blueprint, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.requests import assigning, holding
from replacements.requests.carrying_out import Refused
from replacements.requests.deciding import Stale
from replacements.requests.holding import is_held
from replacements.store.tables import Request
from replacements.web.colleagues import deciders
from replacements.web.guard import here, needs, office
from replacements.web.showing import at_the_office, day

blueprint = Blueprint("working", __name__, url_prefix="/requests")


@blueprint.app_context_processor
def _for_templates() -> dict[str, Any]:
    def held_until(found: Request) -> date | None:
        """The office's day on which a request that is on hold comes back; None for one that is not."""
        if found.held_until is None or not is_held(found, here().at):
            return None
        return at_the_office(found.held_until).date()

    return {"held_until": held_until}


def _do(request_id: int, action: Callable[[], str]) -> Response:
    try:
        said = action()
    except (Stale, assigning.Taken) as late:
        flash(str(late), "stop")
    except Refused as refused:
        flash(f"{refused} Nothing was changed.", "stop")
    else:
        flash(said, "good")
    return redirect(url_for("request.page", request_id=request_id), 303)


@blueprint.post("/<int:request_id>/assign")
@needs(Permission.DECIDE)
def assign(request_id: int) -> Response:
    """To oneself, to another with a note, or to nobody."""
    looker = here()
    with office().database.read() as session:
        among = deciders(session)
    return _do(
        request_id,
        lambda: assigning.assign(
            office().database,
            request_id,
            to=request.form.get("to", "").strip(),
            seen=request.form.get("seen", ""),
            by=looker.name,
            at=looker.at,
            note=request.form.get("note", ""),
            among=among,
        ),
    )


@blueprint.post("/<int:request_id>/hold")
@needs(Permission.DECIDE)
def hold(request_id: int) -> Response:
    looker, version = here(), request.form.get("version", type=int)
    if version is None:
        abort(400)
    try:
        until = date.fromisoformat(request.form.get("until", ""))
    except ValueError:
        flash("Choose the day on which it is to come back. Nothing was changed.", "stop")
        return redirect(url_for("request.page", request_id=request_id), 303)

    def action() -> str:
        holding.hold(
            office().database,
            request_id,
            version=version,
            until=until,
            reason=request.form.get("note", ""),
            by=looker.name,
            at=looker.at,
        )
        return f"On hold until {day(until)}. It comes back by itself."

    return _do(request_id, action)


@blueprint.post("/<int:request_id>/back")
@needs(Permission.DECIDE)
def back(request_id: int) -> Response:
    """End a hold before its day."""
    looker, version = here(), request.form.get("version", type=int)
    if version is None:
        abort(400)

    def action() -> str:
        holding.bring_back(office().database, request_id, version=version, by=looker.name, at=looker.at)
        return "It is no longer on hold."

    return _do(request_id, action)
