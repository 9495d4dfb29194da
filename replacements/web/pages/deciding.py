"""The forms on a request's page: approve, change, ask, decline, take back. What may be done is for the office's rules
and `requests.deciding` to say; here a form becomes a call, and its answer a sentence."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response

from replacements.people.permissions import Permission
from replacements.proposals.types import Action
from replacements.requests import deciding
from replacements.store.tables import Request
from replacements.web.guard import here, needs, office

blueprint = Blueprint("deciding", __name__, url_prefix="/requests")


def _version() -> int:
    version = request.form.get("version", type=int)
    if version is None:
        abort(400)
    return version


def _plain(text: str) -> str:
    return text.replace("\r\n", "\n").strip()


def _own_words(request_id: int) -> str | None:
    """The reply as the clerk changed it; None where it stands as it was shown."""
    written = request.form.get("reply_text")
    if written is None or not written.strip():
        return None
    with office().database.read() as session:
        found = session.get(Request, request_id)
        draft = (found.reply_draft or {}).get("text", "") if found else ""
    return None if _plain(written) == _plain(draft) else _plain(written)


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
    looker, version, own_words = here(), _version(), _own_words(request_id)
    return _decide(
        request_id,
        lambda: deciding.approve(
            office().database,
            request_id,
            version=version,
            by=looker.name,
            roles=looker.roles,
            at=looker.at,
            reply_text=own_words,
        ),
    )


def _instead(request_id: int, action: Action | None, *, voter_id: str | None = None) -> Response:
    looker, version, note = here(), _version(), request.form.get("note", "").strip()
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


@blueprint.post("/<int:request_id>/change")
@needs(Permission.DECIDE)
def change(request_id: int) -> Response:
    """Another action, another voter, or both."""
    chosen = request.form.get("action", "")
    if chosen not in set(Action) or not request.form.get("note", "").strip():
        flash("Choose what to do instead, and say why in the note. Nothing was changed.", "stop")
        return redirect(url_for("request.page", request_id=request_id), 303)
    return _instead(request_id, Action(chosen), voter_id=request.form.get("voter_id", "").strip() or None)


@blueprint.post("/<int:request_id>/ask")
@needs(Permission.DECIDE)
def ask(request_id: int) -> Response:
    """Ask the writer who they are, whatever was proposed."""
    return _instead(request_id, Action.ASK_IDENTITY)


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
