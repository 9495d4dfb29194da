"""The week in numbers, or any other days: on a page, printed, and as files."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from functools import partial
from typing import Any, TypeVar

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from markupsafe import Markup
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from replacements.ballots.reconciling import Reconciliation, reconcile
from replacements.people.permissions import Permission
from replacements.requests.office import InForce
from replacements.rules.calendar import is_mailing_day, local
from replacements.summary import chart, export, multiples
from replacements.summary.compared import beside
from replacements.summary.figures import Published
from replacements.summary.ledger_days import entries_after, roll_forward
from replacements.summary.pdf import week_pdf
from replacements.summary.places import PLACES, Places
from replacements.summary.questions import Answers
from replacements.summary.text import sentences
from replacements.summary.week import LONGEST, Stretch, Week, standing
from replacements.web.guard import here, needs, office, rules_or_stop

blueprint = Blueprint("week", __name__, url_prefix="/week")
FIRST_YEAR, LAST_YEAR = 1900, 2999  # beyond, the calendar of the machine ends, or its time zones do
WEEK = timedelta(days=6)
FEW_ENTRIES = 2_000  # of the ledger, that a page reads along; more are added up once, and kept
FEW_BALLOTS = 3_000  # that a page compares one by one
AT_FIRST = 50  # rows of a table by style or precinct; the others on demand
T = TypeVar("T")


def _day(text: str) -> date:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        abort(404)
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        abort(404)
    return found


def monday_of(text: str) -> date:
    """The Monday of the week in which a day lies; "not found" for what is no day."""
    found = _day(text)
    return found - timedelta(days=found.weekday())


def _counted(count: Callable[[Stretch, Session, Answers], T], first: date, last: date) -> T:
    """What `count` makes of these days of the election that the page is about. Where the ledger has grown by much since
    it was added up, that is done first."""
    force = rules_or_stop()
    zone = force.rules.office.time_zone
    days = Stretch(
        force.election_id, first, last, zone, now=here().at, is_business_day=partial(is_mailing_day, force.rules)
    )
    with office().database.read() as session:
        known = standing(session, force.election_id)
        if entries_after(known, zone) <= FEW_ENTRIES:
            return count(days, session, known)
    roll_forward(office().database, force.election_id, zone)
    with office().database.read() as session:
        return count(days, session, standing(session, force.election_id))


def counted(first: date, last: date) -> Week:
    """The figures of these days of the election that the page is about."""
    return _counted(Stretch.week, first, last)


def counted_for_the_public(first: date, last: date) -> Published:
    """Of these days only what may be told outside."""
    return _counted(Stretch.published, first, last)


def _days(first: str, last: str) -> tuple[date, date]:
    """The days that the address names; "not found" where they are no stretch that can be counted."""
    start, end = _day(first), _day(last)
    if not start <= end < start + timedelta(days=LONGEST):
        abort(404)
    return start, end


@blueprint.get("/")
@needs(Permission.SEE_WEEK)
def page() -> str | AnyResponse:
    chosen, last = request.args.get("from"), request.args.get("to")
    if chosen and last:
        return _shown(*_days(chosen, last))
    if chosen:
        return redirect(url_for("week.one", monday=monday_of(chosen).isoformat()))
    today = local(rules_or_stop().rules, here().at).date()
    return one((today - timedelta(days=today.weekday())).isoformat())


@blueprint.get("/<monday>")
@needs(Permission.SEE_WEEK)
def one(monday: str) -> str:
    start = monday_of(monday)
    return _shown(start, start + WEEK)


@blueprint.get("/<first>/<last>/places")
@needs(Permission.SEE_WEEK)
def by_place(first: str, last: str) -> str:
    start, end = _days(first, last)
    found = _counted(Stretch.by_place, start, end)
    pictures = {
        "styles": Markup(multiples.rates("styles", "Spoiled ballots by style", found.styles)),  # noqa: S704
        "precincts": Markup(multiples.rates("precincts", "Replaced ballots by precinct", found.precincts)),  # noqa: S704
    }
    return render_template(
        "week_places.html",
        **_which(start, end),
        found=found,
        pictures=pictures,
        reconciled=_reconciled(rules_or_stop(), found.now),
        shown=None if "all" in request.args else AT_FIRST,
    )


@blueprint.get("/<first>/<last>/proposals")
@needs(Permission.SEE_WEEK)
def proposals(first: str, last: str) -> str:
    start, end = _days(first, last)
    found = _counted(lambda days, session, _: days.proposals(session), start, end)
    bins = found.machine.bins
    pictures = [
        Markup(multiples.probabilities([one for one in bins if one.what == what]))  # noqa: S704
        for what in found.machine.off
    ]
    return render_template("week_proposals.html", **_which(start, end), found=found, pictures=pictures)


def _shown(first: date, last: date) -> str:
    found = _counted(Stretch.front, first, last)
    return render_template(
        "week.html",
        **_which(first, last),
        week=found,
        sentences=sentences(found),
        last_day=local(rules_or_stop().rules, here().at).date(),
        before=first - timedelta(days=7),
        after=first + timedelta(days=7),
        tables=[name for name in export.names() if _may_have(name)],
        pictures=_pictures(found),
        changes={what: beside(found, what) for what in ("kind", "language", "cause", "style")},
    )


def _which(first: date, last: date) -> dict[str, Any]:
    """The days that a page is about."""
    return {
        "first": first,
        "last": last,
        "whole_week": first.weekday() == 0 and last - first == WEEK,
        "AT_FIRST": AT_FIRST,
        "BALANCE": PLACES,
    }


def _pictures(found: Week) -> Mapping[str, Markup]:
    """Built by us from numbers, dates and escaped names alone, and so safe to put in as they are: all pictures are."""
    return {
        "per_day": Markup(chart.requests_per_day(found)),  # noqa: S704
        "rate": Markup(chart.reissue_rate(found)),  # noqa: S704
        "kinds": Markup(multiples.kinds(found)),  # noqa: S704
    }


def _reconciled(force: InForce, places: Places) -> Reconciliation | None:
    """Each ballot compared with the ledger, where they are few, or do not agree, or on demand."""
    if places.ballots > FEW_BALLOTS and places.agrees and "each" not in request.args:
        return None
    with office().database.read() as session:
        return reconcile(session, force.election_id)


def _may_have(table: str) -> bool:
    """A table that lists voters by their ids, or is about members of staff, is for supervisors alone."""
    return table not in export.FOR_SUPERVISORS or here().sees_personal


@blueprint.get("/<monday>/<name>.csv")
@needs(Permission.SEE_WEEK)
def table(monday: str, name: str) -> Response:
    start = monday_of(monday)
    if name not in export.names():
        abort(404)
    if not _may_have(name):
        abort(403)
    tables = export.tables(counted(start, start + WEEK))
    return _file(tables[name], "text/csv; charset=utf-8", f"week-{start.isoformat()}-{name}.csv")


@blueprint.get("/<first>/<last>/all.zip")
@needs(Permission.SEE_WEEK)
def archive(first: str, last: str) -> Response:
    start, end = _days(first, last)
    whole = export.archive(counted(start, end), overriding=here().sees_personal)
    return _file(whole, "application/zip", f"{start.isoformat()}-to-{end.isoformat()}.zip")


@blueprint.get("/<first>/<last>/summary.pdf")
@needs(Permission.SEE_WEEK)
def printed(first: str, last: str) -> Response:
    start, end = _days(first, last)
    name = rules_or_stop().rules.office.name
    document = week_pdf(counted(start, end), name, overriding=here().sees_personal)
    return _file(document, "application/pdf", f"{start.isoformat()}-to-{end.isoformat()}.pdf")


def _file(content: str | bytes, kind: str, name: str) -> Response:
    return Response(content, mimetype=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
