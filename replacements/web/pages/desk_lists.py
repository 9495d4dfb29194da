"""The return desk by the list: many numbers at once with counts that must add up, and what the post brought back."""

from __future__ import annotations

import re
import secrets

from flask import Blueprint, flash, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response

from replacements.ballots import desk_list, life
from replacements.people.permissions import Permission
from replacements.web import desk_words
from replacements.web.guard import here, needs, office, rules_or_stop
from replacements.web.pages.return_desk import LAST, LONGEST_TYPED

blueprint = Blueprint("desk_lists", __name__, url_prefix="/return-desk")
MOST = 500  # numbers of one list
_BETWEEN = re.compile(r"[\r\n,;\t]+")
_LIST_KEY = re.compile(r"[0-9a-f]{32}-([0-9]{1,4})-([0-9]{0,5})")


@blueprint.get("/list")
@needs(Permission.USE_RETURN_DESK)
def form() -> str:
    return render_template("desk_list.html", key=secrets.token_hex(16), typed="", counted="", most=MOST)


@blueprint.post("/list")
@needs(Permission.USE_RETURN_DESK)
def take() -> Response | tuple[str, int]:
    """Record every number of the list, each by itself: what is recorded stays, whatever comes after it. A list that is
    sent again goes on where it was cut off."""
    force, typed = rules_or_stop(), request.form.get("numbers", "")
    counted = request.form.get("counted", "").strip()
    key = request.form.get("key", "")
    key = key if re.fullmatch(r"[0-9a-f]{32}", key) else secrets.token_hex(16)
    numbers = [part.strip() for part in _BETWEEN.split(typed) if part.strip()]
    wrong = _wrong(numbers, counted)
    if wrong:
        flash(f"{wrong} Nothing was recorded; what you entered is still here.", "stop")
        return render_template("desk_list.html", key=key, typed=typed, counted=counted, most=MOST), 400
    list_key = f"{key}-{len(numbers)}-{counted}"
    rules = desk_words.desk_rules(force)
    for place, number in enumerate(numbers, 1):
        try:
            desk_list.take(
                office().database,
                number[:LONGEST_TYPED],
                key=f"{list_key}/{place}",
                election_id=force.election_id,
                by=here().name,
                at=here().at,
                rules=rules,
                list_key=list_key,
                place=place,
            )
        except life.NotPossible as why:
            flash(f"Number {place} of the list: {why} {desk_words.NOT_POSSIBLE}", "stop")
    return redirect(url_for("desk_lists.answers", list_key=list_key), 303)


@blueprint.get("/list/<list_key>")
@needs(Permission.USE_RETURN_DESK)
def answers(list_key: str) -> str | tuple[str, int]:
    """The answers to a list, in its order, with their counts beside what was counted by hand."""
    found = _LIST_KEY.fullmatch(list_key)
    with office().database.read() as work:
        scans = desk_list.of_list(work, here().name, list_key) if found else []
    total, counted = (int(found[1]), found[2]) if found else (0, "")
    counts = desk_list.counts(scans)
    page = render_template(
        "desk_list_answers.html",
        rows=[(s.place, desk_words.shown(s.answer, scan=s)) for s in scans],
        counts=[(desk_words.WORDS[kind], counts[kind]) for kind in desk_list.KINDS if kind != "brought_back"],
        total=total,
        unrecorded=total - sum(counts.values()),
        counted=int(counted) if counted else None,
    )
    return page if scans else (page, 404)


@blueprint.get("/brought-back")
@needs(Permission.USE_RETURN_DESK)
def brought_back() -> str:
    force = rules_or_stop()
    with office().database.read() as work:
        scans = [desk_words.shown(s.answer, scan=s) for s in desk_list.last_scans(work, here().name, LAST)]
    return render_template(
        "desk_brought_back.html",
        reasons=force.rules.return_desk.post_reasons,
        chosen=session.get("post_reason", ""),
        answer=session.get("scan_back"),
        scans=scans,
        key=secrets.token_hex(16),
    )


@blueprint.post("/brought-back")
@needs(Permission.USE_RETURN_DESK)
def take_brought_back() -> Response:
    """Record a packet that the post brought back, with the reason that it wrote on it."""
    force = rules_or_stop()
    reason = request.form.get("reason", "")
    if reason not in force.rules.return_desk.post_reasons:
        flash("Choose the reason that the post wrote on the packet. Nothing was recorded.", "stop")
        return redirect(url_for("desk_lists.brought_back"), 303)
    session["post_reason"] = reason  # the next one of the pile often has the same
    number = request.form.get("number", "")[:LONGEST_TYPED]
    try:
        taken = desk_list.take(
            office().database,
            number,
            key=request.form.get("key", "")[: desk_list.LONGEST_KEY] or secrets.token_hex(16),
            election_id=force.election_id,
            by=here().name,
            at=here().at,
            rules=desk_words.desk_rules(force),
            post_reason=reason,
        )
        session["scan_back"] = desk_words.shown(taken.answer, scan=taken)
    except life.NotPossible as why:
        session["scan_back"] = desk_words.refused(number, str(why))
    return redirect(url_for("desk_lists.brought_back"), 303)


def _wrong(numbers: list[str], counted: str) -> str:
    """What is wrong with a list as it was entered; empty where it can be taken."""
    if not numbers:
        return "The list is empty."
    if len(numbers) > MOST:
        return f"The list holds {len(numbers)} numbers; {MOST} are the most at once. Cut it into parts."
    if counted and not (counted.isascii() and counted.isdecimal() and len(counted) <= 5):
        return "How many envelopes you counted must be a number."
    return ""
