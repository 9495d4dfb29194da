"""The forms on a request's page: approve, change (looked at first), decline, take back.

What may be done is for the office's rules and `requests.deciding` to say; here a form becomes a call, and its answer a
sentence.
"""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.proposals.types import Action
from replacements.requests import deciding
from replacements.requests.previewing import preview
from replacements.store.tables import Request
from replacements.web.guard import here, needs, office

blueprint = Blueprint("deciding", __name__, url_prefix="/requests")


def _version() -> int:
    version = request.form.get("version", type=int)
    if version is None:
        abort(400)
    return version


def _decide(request_id: int, decision: Callable[[], deciding.Outcome]) -> Response:
    try:
        outcome = decision()
    except deciding.Stale as stale:
        flash(f"Someone else decided this meanwhile. {stale}", "stop")
    except deciding.Refused as refused:
        flash(f"{refused} Nothing was changed.", "stop")
    else:
        flash(outcome.text, "good")
    return redirect(url_for("request.page", request_id=request_id), 303)


@blueprint.post("/<int:request_id>/approve")
@needs(Permission.DECIDE)
def approve(request_id: int) -> Response:
    """As proposed; on a request that waits for a second person, the second approval."""
    looker, version = here(), _version()
    return _decide(
        request_id,
        lambda: deciding.approve(
            office().database,
            request_id,
            version=version,
            by=looker.name,
            roles=looker.roles,
            at=looker.at,
            reply_text=request.form.get("reply_text"),
        ),
    )


def _instead(request_id: int) -> tuple[Action, str | None, str] | None:
    """The other action, the other voter and the note of a form; None, and a word about it, where something lacks."""
    chosen, note = request.form.get("action", ""), request.form.get("note", "").strip()
    with office().database.read() as session:
        found = session.get(Request, request_id)
        if found is None:
            abort(404)
        proposed = found.proposal
    if chosen not in set(Action) or (not note and chosen != proposed):
        flash("Choose what to do instead, and say why in the note. Nothing was changed.", "stop")
        return None
    return Action(chosen), request.form.get("voter_id", "").strip() or None, note


@blueprint.post("/<int:request_id>/preview")
@needs(Permission.DECIDE)
def look_first(request_id: int) -> str | Response:
    """What another decision would do and which reply would go, before it is taken."""
    looker, version, instead = here(), _version(), _instead(request_id)
    if instead is not None:
        action, voter_id, note = instead
        try:
            shown = preview(
                office().database, request_id, by=looker.name, at=looker.at, action=action, voter_id=voter_id
            )
        except deciding.Refused as refused:
            flash(f"{refused} Nothing was changed.", "stop")
        else:
            return render_template(
                "preview.html",
                request_id=request_id,
                version=version,
                action=action,
                voter_id=voter_id or "",
                note=note,
                preview=shown,
            )
    return redirect(url_for("request.page", request_id=request_id), 303)


@blueprint.post("/<int:request_id>/change")
@needs(Permission.DECIDE)
def change(request_id: int) -> Response:
    """Another action, another voter, or both."""
    looker, version, instead = here(), _version(), _instead(request_id)
    if instead is None:
        return redirect(url_for("request.page", request_id=request_id), 303)
    action, voter_id, note = instead
    return _decide(
        request_id,
        lambda: deciding.approve(
            office().database,
            request_id,
            version=version,
            by=looker.name,
            roles=looker.roles,
            at=looker.at,
            action=action,
            voter_id=voter_id,
            note=note,
        ),
    )


@blueprint.post("/<int:request_id>/decline")
@needs(Permission.DECIDE)
def decline(request_id: int) -> Response:
    looker, version, note = here(), _version(), request.form.get("note", "").strip()
    return _decide(
        request_id,
        lambda: deciding.decline(
            office().database, request_id, version=version, by=looker.name, at=looker.at, note=note
        ),
    )


@blueprint.post("/<int:request_id>/take-back")
@needs(Permission.TAKE_BACK)
def take_back(request_id: int) -> Response:
    looker, version, reason = here(), _version(), request.form.get("note", "").strip()
    return _decide(
        request_id,
        lambda: deciding.take_back(
            office().database, request_id, version=version, by=looker.name, at=looker.at, reason=reason
        ),
    )
