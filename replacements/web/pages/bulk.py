"""Clear cases together: a page with the evidence of each in view, and another that says what came of each."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from sqlalchemy import insert
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from replacements.people.permissions import Permission
from replacements.requests import bulk
from replacements.requests.bulk import Ticked
from replacements.requests.carrying_out import Refused
from replacements.requests.office import InForce
from replacements.requests.upcoming import upcoming
from replacements.store.tables import Look
from replacements.web.guard import LARGEST, here, needs, office, rules_or_stop
from replacements.web.pages.keys import with_keys
from replacements.web.unsettled import mailings

blueprint = Blueprint("bulk", __name__, url_prefix="/requests/together")


@blueprint.get("/")
@needs(Permission.DECIDE)
def page() -> Response:
    looker, force = here(), rules_or_stop()
    with office().database.read() as session:
        day = upcoming(session, force, looker.at, mailings=mailings(session))
        cases = bulk.clear_cases(
            session, force, by=looker.name, at=looker.at, mailed=day.goes_on, elections=looker.elections
        )
    if cases:  # it shows what a request's own page shows, and is as much a look at each
        with office().database.write() as session:
            session.execute(
                insert(Look),
                [
                    {
                        "account": looker.name,
                        "what": "request",
                        "about": f"request {case.request_id}",
                        "why": "clear cases together",
                        "at": looker.at,
                        "voter_id": case.voter_id,
                    }
                    for case in cases
                ],
            )
    return with_keys(
        render_template("bulk.html", cases=cases, closes_at=day.closes_at, at_most=bulk.AT_MOST, force=force)
    )


@blueprint.post("/")
@needs(Permission.DECIDE)
def decide() -> Response | AnyResponse:
    looker = here()
    ticked = [found for text in request.form.getlist("case") if (found := _ticked(text)) is not None]
    if not ticked:
        flash("Nothing was ticked, so nothing was decided.", "note")
        return redirect(url_for("bulk.page"), 303)
    try:
        results = bulk.decide(
            office().database,
            ticked,
            by=looker.name,
            roles=looker.roles,
            at=looker.at,
            mailing_day=_mailing_day,
        )
    except Refused as refused:
        flash(f"{refused} Nothing was decided.", "stop")
        return redirect(url_for("bulk.page"), 303)
    return with_keys(render_template("bulk_done.html", results=results))


def _mailing_day(session: Session, force: InForce) -> date:
    return upcoming(session, force, here().at).goes_on


def _ticked(text: str) -> Ticked | None:
    """A box of the form: the request's number, its version, and the digest of what was shown."""
    number, _, rest = text.partition("/")
    version, _, seen = rest.partition("/")
    whole = all(part.isascii() and part.isdecimal() and len(part) <= 10 for part in (number, version))
    return Ticked(int(number), int(version), seen) if whole and int(number) <= LARGEST else None
