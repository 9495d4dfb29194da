"""The return desk: one field, Enter, one of three answers."""

from __future__ import annotations

import json
from dataclasses import asdict

from flask import Blueprint, flash, redirect, render_template, request, session, url_for
from sqlalchemy import select
from werkzeug.wrappers import Response

from replacements.ballots import desk, life
from replacements.people.permissions import Permission
from replacements.store.tables import LedgerEntry
from replacements.web.guard import here, needs, office, rules_or_stop

blueprint = Blueprint("return_desk", __name__, url_prefix="/return-desk")
SCANS = ("returned", "returned_again", "returned_after_void", "returned_unknown")
LAST = 10
LONGEST_TYPED = 100  # characters; a scanner that reads something else entirely is cut short


@blueprint.get("/")
@needs(Permission.USE_RETURN_DESK)
def page() -> str:
    with office().database.read() as work:
        entries = work.scalars(
            select(LedgerEntry)
            .where(LedgerEntry.by == here().name, LedgerEntry.event.in_(SCANS))
            .order_by(LedgerEntry.seq.desc())
            .limit(LAST)
        ).all()
        scans = [(e, e.ballot_number or json.loads(e.details or "{}").get("number", "")) for e in entries]
        return render_template("return_desk.html", answer=session.get("scan"), scans=scans)


@blueprint.post("/")
@needs(Permission.USE_RETURN_DESK)
def scan() -> Response:
    """Take an envelope in, or only look its number up. The answer is shown by the page that follows, so that loading
    it again takes nothing in twice."""
    force, number = rules_or_stop(), request.form.get("number", "")[:LONGEST_TYPED]
    only_look, zone = "look" in request.form, force.rules.office.time_zone
    try:
        if only_look:
            with office().database.read() as work:
                answer = desk.look_up(work, number, election_id=force.election_id, zone=zone)
        else:
            with office().database.write() as work:
                answer = desk.receive(
                    work, number, election_id=force.election_id, by=here().name, at=here().at, zone=zone
                )
    except life.NotPossible as why:
        session.pop("scan", None)
        flash(f"{why} Nothing was recorded: set the envelope aside.", "stop")
        return redirect(url_for("return_desk.page"), 303)
    kept = asdict(answer)
    del kept["voter_id"]
    session["scan"] = kept | {"only_look": only_look}
    return redirect(url_for("return_desk.page"), 303)
