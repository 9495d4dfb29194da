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
from replacements.requests import choosing, deciding
from replacements.requests.awaiting import reply_now
from replacements.requests.carrying_out import live_ballot
from replacements.requests.holding import is_held
from replacements.requests.previewing import preview
from replacements.requests.upcoming import upcoming
from replacements.store.tables import OPEN_STATES, Ballot, Request, VoterRow
from replacements.web.evidence import address_line, day_in_full, full_name
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
        with office().database.read() as session:
            found = session.get(Request, request_id)
        if found is not None and is_held(found, here().at):
            flash("Someone else put this on hold meanwhile. Nothing of yours was carried out.", "stop")
        else:
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
    looker, version, own_words = here(), _version(), _own_words()
    if own_words is not None and _says_something_else_by_now(request_id):
        flash(
            "What this reply has to say has changed since you opened the page, perhaps because a mailing closed. "
            "Nothing was changed. Read the reply below once more; your browser's Back brings your own words back.",
            "stop",
        )
        return redirect(url_for("request.page", request_id=request_id), 303)
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


def _own_words() -> str | None:
    """The reply as the clerk wrote it; None where it is what the page showed, which is then filled anew."""
    written, shown = request.form.get("reply_text"), request.form.get("reply_shown")
    if written is None or (shown is not None and written.split() == shown.split()):
        return None
    return written


def _says_something_else_by_now(request_id: int) -> bool:
    """Whether the reply that a clerk changed is not the one that the facts of this moment give: another mailing day."""
    shown, force = request.form.get("reply_shown"), here().in_force
    if shown is None or force is None:
        return False
    with office().database.read() as session:
        found = session.get(Request, request_id)
        if found is None or found.state not in OPEN_STATES:
            return False  # for `requests.deciding` to say
        day = upcoming(session, force, here().at).goes_on
        try:
            now = reply_now(session, found, force, mailing_day=day)
        except deciding.Refused:
            return False
        return now is not None and now.text.split() != shown.split()


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
                full_name=full_name,
                address_line=address_line,
                day_in_full=day_in_full,
                **_for_whom(request_id, voter_id),
            )
    return redirect(url_for("request.page", request_id=request_id), 303)


def _for_whom(request_id: int, voter_id: str | None) -> dict[str, VoterRow | Ballot | None]:
    """The voter whom another decision would be about, and the ballot that this voter has out."""
    with office().database.read() as session:
        found = session.get_one(Request, request_id)
        about = voter_id or found.voter_id
        voter = session.get(VoterRow, about) if about else None
        return {"voter": voter, "old": live_ballot(session, found.election_id, about)}


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


@blueprint.post("/<int:request_id>/election")
@needs(Permission.DECIDE)
def choose_election(request_id: int) -> Response:
    """Which election it is about; of several, each gets a request of its own."""
    looker, version = here(), _version()
    try:
        made = choosing.choose(
            office().database,
            request_id,
            version=version,
            elections=request.form.getlist("chosen"),
            by=looker.name,
            at=looker.at,
        )
    except deciding.Stale as stale:
        flash(str(stale), "stop")
    except deciding.Refused as refused:
        flash(f"{refused} Nothing was changed.", "stop")
    else:
        more = f" The other election's is request {', '.join(map(str, made[1:]))}." if made[1:] else ""
        flash(f"Judged by the rules of the election that you chose. Nothing is decided yet.{more}", "good")
    return redirect(url_for("request.page", request_id=request_id), 303)


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
