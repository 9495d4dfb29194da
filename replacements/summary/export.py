"""The week as CSV, a file for each table. Cells are safe in a spreadsheet; no names, addresses or clerks' notes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from replacements.store.csv_text import csv_text
from replacements.summary.figures import Columns, Week

Rows = Iterable[Sequence[object]]


def tables(week: Week) -> dict[str, str]:
    """Every table of the week: its name (for the file) and its CSV text."""
    return {name: csv_text(headings, rows(week)) for name, (headings, rows) in _TABLES.items()}


def _rounded(number: float | None, places: int = 2) -> float | None:
    return None if number is None else round(number, places)


def _figures(week: Week) -> Rows:
    speed = week.speed
    low, high = speed.interval or (None, None)
    return [
        ("election", week.election_id),
        ("monday", week.monday),
        ("sunday", week.sunday),
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
        ("overdue", len(speed.overdue)),
        ("waiting", len(week.waiting)),
        ("hours the oldest has waited", _rounded(week.oldest_hours)),
        ("waiting for the voter's answer", week.asked),
        ("declined", len(week.declined)),
        ("decisions", week.decisions),
        ("decisions that differ from the proposal", sum(week.overrides.values())),
        ("replies sent", week.replies_sent),
        ("replies failed", week.replies_failed),
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
        outside = "" if rate is None else "yes" if rate.outside else "no"
        numbers = (_rounded(limit, 4) for limit in limits)
        yield (day.day, day.requests, day.reissues, day.out, *numbers, _rounded(week.mean_rate, 4), outside)


def _unusual(week: Week) -> Rows:
    for shared in week.unusual.shared_addresses:
        yield ("one address, several voters", "", shared.voters, " ".join(str(number) for number in shared.requests))
    for voter in week.unusual.repeated:
        yield ("repeated replacements", voter.voter_id, voter.replacements, "")
    for number in week.unusual.voided_returned:
        yield ("voided ballot returned", number, 1, "")


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
            (entry.request, entry.proposal, entry.state, round(entry.hours, 1), "yes" if entry.two_people else "no")
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
