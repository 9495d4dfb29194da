"""The return desk: a number in, one of three answers out; and undoing a scan.

The page is a plain form. Its script sends the same form without loading the page again, and keeps what could not be
sent. It is the one page with a script, so its headers allow that one file and nothing else.
"""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from typing import Any

from flask import Blueprint, abort, flash, jsonify, make_response, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response

from replacements.ballots import desk, desk_list, life
from replacements.people.permissions import Permission
from replacements.store.tables import DeskScan
from replacements.web import desk_words
from replacements.web.guard import WITH_SCRIPT, here, needs, office, rules_or_stop

blueprint = Blueprint("return_desk", __name__, url_prefix="/return-desk")
LAST = 10
LONGEST_TYPED = 100  # characters; a scanner that reads something else entirely is cut short
LONGEST_NOTE = 200
# From how many seconds on the ledger says when a number was scanned, and the longest wait that is believed.
WAITED, LONGEST_WAIT = 5, 7 * 86_400
WHY_UNDONE = (
    "Another envelope was in hand",
    "The number was mistyped",
    "It is no returned ballot",
    "It was scanned to try the scanner",
    "Another reason (write it below)",
)


@blueprint.get("/")
@needs(Permission.USE_RETURN_DESK)
def page() -> Response:
    with office().database.read() as work:
        scans = [desk_words.shown(s.answer, scan=s) for s in desk_list.last_scans(work, here().name, LAST)]
    answer = make_response(
        render_template("return_desk.html", answer=session.get("scan"), scans=scans, key=secrets.token_hex(16))
    )
    answer.headers["Content-Security-Policy"] = WITH_SCRIPT
    return answer


@blueprint.post("/")
@needs(Permission.USE_RETURN_DESK)
def scan() -> Response:
    """Take an envelope in, or only look its number up. The answer is shown by the page that follows, so that loading
    it again takes nothing in twice."""
    session["scan"] = _answer()
    return redirect(url_for("return_desk.page"), 303)


@blueprint.post("/scan")
@needs(Permission.USE_RETURN_DESK)
def scan_by_script() -> Response:
    """The same for the page's script, with the answer as JSON."""
    return jsonify(_answer())


@blueprint.route("/scans/<int:scan_id>/undo", methods=["GET", "POST"])
@needs(Permission.USE_RETURN_DESK)
def undo(scan_id: int) -> Response | str:
    """Undo a scan, with a reason that is recorded."""
    rules_or_stop()
    with office().database.read() as work:
        found = work.get(DeskScan, scan_id)
    if found is None:
        abort(404)
    note = request.form.get("note", "").strip()[:LONGEST_NOTE]
    if request.method == "POST":
        why = request.form.get("why", "")
        reason = note if why == WHY_UNDONE[-1] else " – ".join(filter(None, (why if why in WHY_UNDONE else "", note)))
        try:
            number = desk_list.undo(office().database, scan_id, reason=reason, by=here().name, at=here().at)
        except ValueError as missing:
            flash(f"{missing} Nothing was changed.", "stop")
        except life.NotPossible as impossible:
            flash(f"{impossible} Nothing was changed.", "stop")
        else:
            session.pop("scan", None)
            flash(f"Undone: the scan of {number or 'a number that could not be read'}. Both are on record.", "good")
            return redirect(url_for("return_desk.page"), 303)
    return render_template(
        "return_desk_undo.html", scan=desk_words.shown(found.answer, scan=found), reasons=WHY_UNDONE, note=note
    )


def _answer() -> dict[str, Any]:
    force, number = rules_or_stop(), request.form.get("number", "")[:LONGEST_TYPED]
    rules = desk_words.desk_rules(force)
    if "look" in request.form:
        with office().database.read() as work:
            answer = desk.look_up(work, number, election_id=force.election_id, rules=rules)
        return desk_words.shown(desk_list.kept(answer), only_look=True)
    key = request.form.get("key", "")[: desk_list.LONGEST_KEY] or secrets.token_hex(16)
    try:
        taken = desk_list.take(
            office().database,
            number,
            key=key,
            election_id=force.election_id,
            by=here().name,
            at=here().at,
            rules=rules,
            scanned_at=_scanned_at(),
        )
    except life.NotPossible as why:
        return desk_words.refused(number, str(why))
    return desk_words.shown(taken.answer, scan=taken)


def _scanned_at() -> datetime | None:
    """When the page kept the number, by how long it has waited there; None where it was sent at once."""
    waited = request.form.get("waited", 0, type=int)
    return here().at - timedelta(seconds=min(waited, LONGEST_WAIT)) if waited >= WAITED else None
