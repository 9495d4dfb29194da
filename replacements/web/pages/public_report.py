"""What of a week may be published: a page to print or copy, and a file. Staff look at it first, and publish it."""

from __future__ import annotations

from datetime import timedelta

from flask import Blueprint, Response, abort, render_template

from replacements.people.permissions import Permission
from replacements.rules.calendar import local
from replacements.summary.public import COLUMNS, PublicReport, public_csv, public_report
from replacements.summary.suppressing import SMALLEST
from replacements.web.guard import here, needs, rules_or_stop
from replacements.web.pages.week import WEEK, counted_for_the_public, monday_of

blueprint = Blueprint("public_report", __name__, url_prefix="/public-report")


def _report(monday: str) -> PublicReport:
    start = monday_of(monday)
    today = local(rules_or_stop().rules, here().at).date()
    return public_report(counted_for_the_public(start, start + WEEK), today)


@blueprint.get("/")
@needs(Permission.SEE_WEEK)
def page() -> str:
    """The last week that is over."""
    today = local(rules_or_stop().rules, here().at).date()
    return one((today - timedelta(days=7)).isoformat())


@blueprint.get("/<monday>")
@needs(Permission.SEE_WEEK)
def one(monday: str) -> str:
    start = monday_of(monday)
    return render_template(
        "public_report.html",
        report=_report(monday),
        monday=start,
        office_name=rules_or_stop().rules.office.name,
        election_name=rules_or_stop().name,
        columns=COLUMNS,
        smallest=SMALLEST,
        before=start - timedelta(days=7),
        after=start + timedelta(days=7),
    )


@blueprint.get("/<monday>/report.csv")
@needs(Permission.SEE_WEEK)
def file(monday: str) -> Response:
    report = _report(monday)
    if not report.over:
        abort(404)  # what is not over may still change
    name = f"replacement-ballots-{report.first.isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(public_csv(report), mimetype="text/csv; charset=utf-8", headers=headers)
