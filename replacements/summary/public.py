"""What may be published of a week: numbers of the whole office, and tables in which no small number can be found out.

Only whole weeks, Monday to Sunday, and no tables to date: two that overlap would give a hidden number as a difference.
By precinct there is none, since who knows which precincts share a style could subtract. Of voided ballots only those
that nobody replaced are told: the others are the replacements by cause, and what is hidden there would stand here. The
numbers of the whole office are shown whatever their size: state law asks for them, and they point at nobody.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from replacements.store.csv_text import csv_text
from replacements.summary.figures import Columns, Published, Week
from replacements.summary.suppressing import SMALLEST, publishable, suppressed

COLUMNS = ("requested", "issued", "received", "counted", "rejected")
HELD_BACK = f"fewer than {SMALLEST}, or held back for another's sake"


@dataclass(frozen=True, slots=True)
class PublicTable:
    """A table of counts. None: held back. `withheld`: the whole table is, since it would give its numbers away."""

    name: str
    counts: Mapping[str, int | None]
    withheld: bool


@dataclass(frozen=True, slots=True)
class PublicReport:
    """A week as it may be published. `columns`: of replacements, all ballots and those of voters overseas, in this week
    and to date."""

    first: date
    last: date
    over: bool  # whether the week is: what is not over may still change, and is not published
    requests: int
    mailed: int
    kept: int
    columns: Mapping[str, tuple[Columns, Columns]]
    tables: tuple[PublicTable, ...]


def public_report(counted: Week | Published, today: date) -> PublicReport:
    """What of a whole week may be published. Raises ValueError for any other stretch of days."""
    week = counted.public if isinstance(counted, Week) else counted
    if week.first.weekday() != 0 or (week.last - week.first).days != 6:
        raise ValueError("only a whole week, Monday to Sunday, can be published: others would overlap with it")
    tables = (
        ("kinds", week.by_kind),
        ("causes", week.reissues_by_cause),
        ("styles", week.reissues_by_style),
        ("voids", _not_replaced(week)),
    )
    return PublicReport(
        week.first,
        week.last,
        week.last < today,
        week.requests,
        week.mailed,
        week.kept,
        week.columns,
        tuple(_table(name, counts) for name, counts in tables),
    )


def _not_replaced(week: Published) -> dict[str, int]:
    """Ballots voided or suspended without a replacement, by reason: what replaces one gives the same reason."""
    left = {reason: n - week.reissues_by_cause.get(reason, 0) for reason, n in week.voided_by_reason.items()}
    return {reason: count for reason, count in left.items() if count > 0}


def _table(name: str, counts: Mapping[str, int]) -> PublicTable:
    if not publishable(counts):
        return PublicTable(name, {}, True)
    in_order = {key: counts[key] for key in sorted(counts)}  # an order by size would rank what is hidden
    return PublicTable(name, suppressed(in_order), False)


def public_csv(report: PublicReport) -> str:
    """One tidy table: part, name, period, number, note."""
    rows: list[tuple[object, ...]] = [
        ("whole office", "requests", "this week", report.requests, ""),
        ("whole office", "packets mailed", "this week", report.mailed, ""),
        ("whole office", "packets mailed by the next business day", "this week", report.kept, ""),
    ]
    for name, pair in report.columns.items():
        for period, columns in zip(("this week", "to date"), pair, strict=True):
            for column in COLUMNS:
                if (number := getattr(columns, column)) is not None:
                    rows.append((f"{name} ballots", column, period, number, ""))
    for table in report.tables:
        if table.withheld:
            rows.append((table.name, "", "this week", None, "whole table held back"))
        for name, count in table.counts.items():
            rows.append((table.name, name, "this week", count, HELD_BACK if count is None else ""))
    return csv_text(("part", "name", "period", "number", "note"), rows)
