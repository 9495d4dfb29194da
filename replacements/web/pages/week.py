"""The week in numbers, on a page and as files."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response as AnyResponse

from replacements.ballots.reconciling import reconcile
from replacements.people.permissions import Permission
from replacements.rules.calendar import is_mailing_day, local
from replacements.summary import chart, export
from replacements.summary.week import Week
from replacements.summary.week import week as week_of
from replacements.web.guard import here, needs, office, rules_or_stop

blueprint = Blueprint("week", __name__, url_prefix="/week")
NAMES_VOTERS = "unusual"
FIRST_YEAR, LAST_YEAR = 1900, 2999  # beyond, the calendar of the machine ends, or its time zones do


def _monday(text: str) -> date:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        abort(404)
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        abort(404)
    return found - timedelta(days=found.weekday())


def _week(monday: date) -> Week:
    force = rules_or_stop()
    with office().database.read() as session:
        return week_of(
            session,
            force.election_id,
            monday,
            force.rules.office.time_zone,
            now=here().at,
            is_business_day=partial(is_mailing_day, force.rules),
        )


@blueprint.get("/")
@needs(Permission.SEE_WEEK)
def page() -> str | AnyResponse:
    chosen = request.args.get("from")
    if chosen:
        return redirect(url_for("week.one", monday=_monday(chosen).isoformat()))
    today = local(rules_or_stop().rules, here().at).date()
    return one((today - timedelta(days=today.weekday())).isoformat())


@blueprint.get("/<monday>")
@needs(Permission.SEE_WEEK)
def one(monday: str) -> str:
    start, force = _monday(monday), rules_or_stop()
    found = _week(start)
    with office().database.read() as session:
        reconciled = reconcile(session, force.election_id)
    return render_template(
        "week.html",
        week=found,
        monday=start,
        sunday=start + timedelta(days=6),
        last_day=local(force.rules, here().at).date(),
        before=start - timedelta(days=7),
        after=start + timedelta(days=7),
        tables=[name for name in sorted(export.tables(found)) if _may_have(name)],
        # Built by us from numbers and dates alone, and so safe to put in as it is.
        charts=[Markup(chart.requests_per_day(found)), Markup(chart.reissue_rate(found))],  # noqa: S704
        reconciled=reconciled,
        reconciled_rows=[*reconciled.styles.items(), ("All", reconciled.total)],
    )


def _may_have(table: str) -> bool:
    """A table that lists voters by their ids is not for those who see nothing personal."""
    return table != NAMES_VOTERS or here().sees_personal


@blueprint.get("/<monday>/<name>.csv")
@needs(Permission.SEE_WEEK)
def table(monday: str, name: str) -> Response:
    start = _monday(monday)
    tables = export.tables(_week(start))
    if name not in tables:
        abort(404)
    if not _may_have(name):
        abort(403)
    disposition = f'attachment; filename="week-{start.isoformat()}-{name}.csv"'
    return Response(tables[name], mimetype="text/csv; charset=utf-8", headers={"Content-Disposition": disposition})
