"""Statements to complete: the ballots that wait for their voters, what each lacks, and whether the voter was told."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from replacements.ballots import life
from replacements.ballots.finding import find
from replacements.people.permissions import Permission
from replacements.requests import curing
from replacements.web import desk_words
from replacements.web.guard import here, leaf, needs, office, rules_or_stop
from replacements.web.pages.return_desk import LONGEST_TYPED

blueprint = Blueprint("cures", __name__, url_prefix="/return-desk")
A_PAGE = 100


@blueprint.get("/statements")
@needs(Permission.USE_RETURN_DESK)
def page() -> str:
    force, number = rules_or_stop(), leaf()
    with office().database.read() as work:
        cures, total = curing.waiting(work, force.election_id, start=(number - 1) * A_PAGE, most=A_PAGE)
    return render_template(
        "cures.html",
        cures=cures,
        total=total,
        number=number,
        a_page=A_PAGE,
        parts=force.rules.statement.parts,
        until=force.rules.statement.cure_until,
    )


@blueprint.post("/statements")
@needs(Permission.USE_RETURN_DESK)
def challenge() -> Response:
    """A returned ballot's statement lacks something: it waits, and its voter is told."""
    force, typed = rules_or_stop(), request.form.get("number", "")[:LONGEST_TYPED]
    rules = desk_words.desk_rules(force)
    try:
        with office().database.write() as work:
            found = find(work, typed, election_id=force.election_id, rules=rules)
            if found.ballot is None:
                raise life.NotPossible(" ".join(found.lines))
            number = found.ballot.number
            told = curing.challenge(work, number, request.form.getlist("lacking"), force, by=here().name, at=here().at)
    except (life.NotPossible, ValueError) as why:
        flash(f"{why} Nothing was changed.", "stop")
    else:
        by_mail = "The voter is told by mail." if told else "No mail can go: a clerk must call or write to the voter."
        flash(f"Ballot {number} waits until its statement is complete. {by_mail}", "good" if told else "note")
    return redirect(url_for("cures.page"), 303)


@blueprint.post("/statements/complete")
@needs(Permission.USE_RETURN_DESK)
def cure() -> Response:
    """The statement is complete now: the ballot goes back to checking."""
    number = request.form.get("number", "")[:LONGEST_TYPED]
    try:
        with office().database.write() as work:
            life.cure(work, number=number, by=here().name, at=here().at)
    except life.NotPossible as why:
        flash(f"{why} Nothing was changed.", "stop")
    else:
        flash(f"The statement of ballot {number} is complete: it goes back to checking.", "good")
    return redirect(url_for("cures.page"), 303)
