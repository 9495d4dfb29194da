"""The week as CSV, a file for each table. Cells are safe in a spreadsheet; no names, addresses or clerks' notes."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import astuple, fields
from functools import cache
from io import BytesIO
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from replacements.store.csv_text import csv_text
from replacements.summary.compared import beside
from replacements.summary.figures import Columns, Rate, Share, Week, Where

FOR_SUPERVISORS = ("unusual", "overriding")  # with voters' ids, and about members of staff
_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the earliest time that a ZIP file can tell
Rows = Iterable[Sequence[object]]


def names() -> Sequence[str]:
    """What the tables are called, in the order of the alphabet."""
    return sorted(_TABLES)


def tables(week: Week) -> dict[str, str]:
    """Every table of the week: its name (for the file) and its CSV text."""
    return {name: csv_text(headings, rows(week)) for name, (headings, rows) in _TABLES.items()}


def archive(week: Week, *, overriding: bool = True) -> bytes:
    """All tables as a ZIP file, with `columns.csv` that says what stands in each column of each. `overriding`: with the
    tables that are for supervisors alone. The same week gives the same bytes."""
    file = BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as whole:
        for name, text in {"columns": _meanings(), **tables(week)}.items():
            if overriding or name not in FOR_SUPERVISORS:
                whole.writestr(ZipInfo(f"{name}.csv", _LONG_AGO), text.encode("utf-8"))
    return file.getvalue()


@cache
def _means() -> dict[str, dict[str, str]]:
    source = Path(__file__).with_name("columns.toml").read_text(encoding="utf-8")
    return tomllib.loads(source)


def _meanings() -> str:
    rows = ((table, column, means) for table, columns in _means().items() for column, means in columns.items())
    return csv_text(("table", "column", "meaning"), rows)


def _rounded(number: float | None, places: int = 2) -> float | None:
    return None if number is None else round(number, places)


def _figures(week: Week) -> Rows:
    speed = week.speed
    low, high = speed.interval or (None, None)
    median, ninetieth, ninety_fifth = speed.business or (None, None, None)
    return [
        ("election", week.election_id),
        ("first day", week.first),
        ("last day", week.last),
        ("time zone", week.zone),
        ("as of (UTC)", week.as_of.isoformat(timespec="seconds")),
        ("messages", week.messages),
        ("requests", week.requests),
        ("reissues", week.reissues),
        ("reissues taken back", week.taken_back),
        ("ballots voided", week.voided),
        ("ballots suspended", week.suspended),
        ("voided ballots returned", len(week.unusual.voided_returned)),
        ("packets mailed", speed.mailed),
        ("mailed by the next business day", speed.kept),
        ("share mailed by the next business day", _rounded(speed.share, 4)),
        ("share, 95 percent from", _rounded(low, 4)),
        ("share, 95 percent to", _rounded(high, 4)),
        ("median hours to mailing", _rounded(speed.median)),
        ("90th percentile of hours to mailing", _rounded(speed.ninetieth)),
        ("median business hours to mailing", _rounded(median)),
        ("90th percentile of business hours to mailing", _rounded(ninetieth)),
        ("95th percentile of business hours to mailing", _rounded(ninety_fifth)),
        ("overdue", len(speed.overdue)),
        ("waiting", week.waiting_in_all),
        ("hours the oldest has waited", _rounded(week.oldest_hours)),
        ("waiting for the voter's answer", week.asked),
        ("declined", len(week.declined)),
        ("decisions", week.decisions),
        ("decisions that differ from the proposal", sum(week.overrides.values())),
        ("replies sent", week.replies_sent),
        ("replies failed", week.replies_failed),
        ("messages whose reading was corrected", week.machine.corrected),
    ]


def _columns(columns: Columns) -> Sequence[object]:
    return (
        columns.requested,
        columns.issued,
        columns.received,
        columns.counted,
        columns.rejected,
        columns.pending,
    )


def _days(week: Week) -> Rows:
    for day in week.days:
        rate = day.rate
        limits = (rate.value, rate.lower, rate.upper) if rate else (None, None, None)
        outside = "" if rate is None else _yes(rate.outside)
        numbers = (_rounded(limit, 4) for limit in limits)
        yield (day.day, day.requests, day.reissues, day.out, *numbers, _rounded(week.mean_rate, 4), outside)


def _unusual(week: Week) -> Rows:
    for shared in week.unusual.shared_addresses:
        yield ("one address, several voters", "", shared.voters, " ".join(str(number) for number in shared.requests))
    for voter in week.unusual.repeated:
        yield ("repeated replacements", voter.voter_id, voter.replacements, "")
    for number in week.unusual.voided_returned:
        yield ("voided ballot returned", number, 1, "")


def _rates(rates: Sequence[Rate]) -> Rows:
    for rate in rates:
        point = rate.point
        limits = (point.value, point.lower, point.upper) if point else (None, None, None)
        outside = "" if point is None else _yes(point.outside)
        yield (rate.name, rate.out, rate.events, *(_rounded(limit, 4) for limit in limits), outside, _yes(rate.few))


def _shares(week: Week) -> Rows:
    groups: tuple[tuple[str, Sequence[Share]], ...] = (
        ("requests by kind", week.kinds),
        ("replacements by cause", week.causes),
        ("requests by language", week.languages),
    )
    for group, shares in groups:
        for share in shares:
            of_all = share.count / share.size if share.size else None
            numbers = (_rounded(number, 4) for number in (of_all, share.low, share.high))
            yield (group, share.name, share.count, share.size, *numbers, _yes(share.few))


def _books(week: Week) -> Rows:
    for name, pair in {"replacements": (week.this_week, week.to_date), **week.books}.items():
        for period, columns in zip(("this week", "to date"), pair, strict=True):
            yield (name, period, *_columns(columns))


def _compared(week: Week) -> Rows:
    for one in week.others:
        changes = (week.requests - one.requests, week.reissues - one.reissues)
        yield (one.what, one.first, one.last, one.requests, one.reissues, one.mailed, one.kept, *changes)


def _beside(week: Week, what: str) -> Iterator[tuple[str, str, int, int | None, int | None]]:
    """With which days, name, number now, number then, change: of one part of the week."""
    for one in week.others:
        for name, now, (then,) in beside(week, what, [one]).rows:
            yield one.what, name, now, then, None if then is None else now - then


def _compared_reissues(week: Week) -> Rows:
    for what in ("cause", "style", "precinct"):
        for others, *rest in _beside(week, what):
            yield (others, f"by {what}", *rest)


def _where(week: Week) -> Rows:
    for style, where in week.where.items():
        yield (style, *astuple(where), _yes(where.adds_up))


def _bins(week: Week) -> Rows:
    for one in week.machine.bins:
        share = one.right / one.claims
        numbers = (_rounded(number, 4) for number in (one.claimed, share, one.low, one.high))
        yield (one.what, one.lower, one.upper, one.claims, one.right, *numbers)


def _yes(is_so: bool) -> str:
    return "yes" if is_so else "no"


_RATE = ("name", "ballots_out", "events", "per_thousand", "lower_limit", "upper_limit", "outside_limits", "few")
_TABLES: dict[str, tuple[Sequence[str], Callable[[Week], Rows]]] = {
    "figures": (("figure", "value"), _figures),
    "kinds": (("kind", "requests"), lambda week: week.by_kind.items()),
    "causes": (("cause", "reissues"), lambda week: week.reissues_by_cause.items()),
    "styles": (("style", "reissues"), lambda week: week.reissues_by_style.items()),
    "voids": (("reason", "ballots"), lambda week: week.voided_by_reason.items()),
    "replacements": (
        ("period", "requested", "issued", "received", "counted", "rejected", "pending"),
        lambda week: [("this week", *_columns(week.this_week)), ("to date", *_columns(week.to_date))],
    ),
    "ballots": (
        ("ballots", "period", "requested", "issued", "received", "counted", "rejected", "pending"),
        _books,
    ),
    "style_rates": (_RATE, lambda week: _rates(week.styles)),
    "precinct_rates": (_RATE, lambda week: _rates(week.precincts)),
    "undeliverable": (_RATE, lambda week: _rates(week.unusual.undeliverable)),
    "shares": (
        ("group", "name", "count", "of", "share", "share_95_from", "share_95_to", "few"),
        _shares,
    ),
    "compared": (
        (
            "with",
            "first_day",
            "last_day",
            "requests",
            "reissues",
            "mailed",
            "kept",
            "requests_change",
            "reissues_change",
        ),
        _compared,
    ),
    "compared_kinds": (("with", "kind", "requests", "requests_then", "change"), lambda week: _beside(week, "kind")),
    "compared_languages": (
        ("with", "language", "requests", "requests_then", "change"),
        lambda week: _beside(week, "language"),
    ),
    "compared_reissues": (("with", "group", "name", "reissues", "reissues_then", "change"), _compared_reissues),
    "reconciliation": (("style", *(one.name for one in fields(Where)), "adds_up"), _where),
    "bursts": (
        ("hour_utc", "requests", "expected", "most_by_chance"),
        lambda week: [
            (burst.hour.isoformat(timespec="minutes"), burst.requests, round(burst.expected, 4), burst.limit)
            for burst in week.unusual.bursts
        ],
    ),
    "overriding": (
        ("account", "decided", "otherwise", "share", "lower_limit", "upper_limit"),
        lambda week: [
            (o.account, o.decided, o.otherwise, *(round(n, 4) for n in (o.share.value, o.share.lower, o.share.upper)))
            for o in week.unusual.overriding
        ],
    ),
    "proposals": (
        ("kind", "standing", "decided", "accepted", "changed", "refused"),
        lambda week: [
            (one.kind, one.standing, one.decided, one.accepted, one.changed, one.refused)
            for one in week.machine.followed
        ],
    ),
    "probabilities": (
        ("of", "from", "to", "claims", "came_true", "claimed", "share", "share_95_from", "share_95_to"),
        _bins,
    ),
    "days": (
        (
            "day",
            "requests",
            "reissues",
            "ballots_out",
            "reissues_per_thousand",
            "lower_limit",
            "upper_limit",
            "mean",
            "outside_limits",
        ),
        _days,
    ),
    "waiting": (
        ("request", "proposal", "state", "hours", "two_people"),
        lambda week: [
            (entry.request, entry.proposal, entry.state, round(entry.hours, 1), _yes(entry.two_people))
            for entry in week.waiting
        ],
    ),
    "overdue": (("request",), lambda week: [(number,) for number in week.speed.overdue]),
    "declined": (
        ("request", "proposal", "decision"),
        lambda week: [(entry.request, entry.proposal, entry.decision) for entry in week.declined],
    ),
    "decisions": (
        ("proposal", "decision", "requests"),
        lambda week: [(proposal, decision, count) for (proposal, decision), count in week.overrides.items()],
    ),
    "unusual": (("what", "voter_or_ballot", "count", "requests"), _unusual),
}
