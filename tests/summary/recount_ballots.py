"""Ballots: replaced, voided, back, out, spoiled, brought back by the post: counted with pandas from each one's life."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta

import numpy as np
import pandas as pd

from tests.summary.recount import DAY, FEW, Row, Span, Tables, counts, near, poisson_limits, yes

LIVE, BACK = ("issued", "undeliverable"), ("returned", "accepted", "challenged")
STATES = ("issued", "undeliverable", "returned", "accepted", "challenged", "suspended", "voided")
WISHES = {"spoiled_ballot", "not_received"}


def figures(tables: Tables, span: Span) -> dict[str, object]:
    events = _in_span(tables, span)["event"]
    return {
        "reissues": int((events == "reissued").sum()),
        "reissues taken back": int((events == "reinstated").sum()),
        "ballots voided": int((events == "voided").sum()),
        "ballots suspended": int((events == "suspended").sum()),
        "voided ballots returned": len(came_back_void(tables, span)),
    }


def reissued_by(part: str, tables: Tables, span: Span) -> dict[str, int]:
    moves = _in_span(tables, span)
    return counts(moves[moves["event"] == "reissued"][part])


def voids(tables: Tables, span: Span) -> dict[str, int]:
    moves = _in_span(tables, span)
    return counts(moves[moves["event"].isin(("voided", "suspended"))]["reason"])


def came_back_void(tables: Tables, span: Span) -> list[str]:
    ledger = tables.ledger
    back = ledger[(ledger["event"] == "returned_after_void") & span.holds(ledger["at"])]
    return sorted(back["ballot_number"].unique())


def ballots(tables: Tables, span: Span) -> Iterator[Row]:
    """What a reconciliation report holds, in these days and to date, of replacements, of all, of voters overseas."""
    moves, requests = tables.moves, tables.requests
    wants = requests["continues"].isna() & (
        requests["issued_ballot"].notna() | requests["kinds"].map(lambda kinds: bool(WISHES & set(kinds)))
    )
    wanted = {
        "this week": int((wants & span.holds(requests["received_at"])).sum()),
        "to date": int((wants & (requests["received_at"] < span.end)).sum()),
    }
    within, so_far = span.of_days(moves["day"]) & (moves["event"] != "imported"), moves["day"] <= span.last
    for name, part in (
        ("replacements", moves["replacement"]),
        ("all", moves["style"].notna()),
        ("overseas", moves["overseas"]),
    ):
        for period, chosen in (("this week", within), ("to date", so_far)):
            found = moves[part & chosen]
            issued = int(found["event"].isin(("imported", "reissued")).sum())
            rejected = int(((found["after"] == "voided") & found["before"].isin(BACK)).sum())
            received = int(found["after"].isin(BACK).sum() - found["before"].isin(BACK).sum() + rejected)
            accepted = int((found["after"] == "accepted").sum() - (found["before"] == "accepted").sum())
            requested = wanted[period] if name == "replacements" else ""
            yield name, period, requested, issued, received, accepted, rejected, received - accepted - rejected


def rates(part: str, tables: Tables, span: Span) -> Iterator[Row]:
    """Spoiled ballots by style, replaced ballots by precinct: `part` is which. The highest rate first."""
    spoiled = tables.moves["reason"].isin(("spoiled", "damaged")) if part == "style" else True
    events = tables.moves[(tables.moves["event"] == "reissued") & spoiled & span.of_days(tables.moves["day"])]
    yield from _charted(counts(events[part]), _most_out(part, tables, span), lambda *_: True)


def undeliverable(tables: Tables, span: Span) -> Iterator[Row]:
    """Precincts from which the post brought back more than chance explains; a scan undone as a mistake is none."""
    moves = _in_span(tables, span)
    came = moves[moves["event"] == "undeliverable"].groupby("precinct").size()
    undone = (
        moves[(moves["event"] == "return_undone") & (moves["before"] == "undeliverable")].groupby("precinct").size()
    )
    net = came.sub(undone, fill_value=0).clip(lower=0).astype(int)
    net.index = net.index.astype(str)
    yield from _charted(net.to_dict(), _most_out("precinct", tables, span), _above)


def _above(count: int, value: float, upper: float) -> bool:
    return count >= FEW and value > upper


def _charted(events: dict[str, int], out: dict[str, int], wanted: Callable[[int, float, float], bool]) -> Iterator[Row]:
    names = sorted(name for name in out if out[name] > 0)
    if names:
        value, lower, upper = poisson_limits([events.get(n, 0) for n in names], [out[n] / 1000 for n in names])
        for n in sorted(range(len(names)), key=lambda place: (-value[place], names[place])):
            name, count = names[n], events.get(names[n], 0)
            if wanted(count, value[n], upper[n]):
                outside = yes(bool(value[n] < lower[n] or value[n] > upper[n]))
                yield name, out[name], count, near(value[n]), near(lower[n]), near(upper[n]), outside, yes(count < FEW)


def days(tables: Tables, span: Span) -> Iterator[Row]:
    """Day by day; the limits rest on the four weeks up to the last day."""
    requests = tables.requests["received_at"].dt.tz_convert("America/New_York").dt.date.value_counts()
    start = min(span.first, span.last - timedelta(days=27))
    out = out_by_day(tables.moves, Span(start, span.last))
    reissued = tables.moves[tables.moves["event"] == "reissued"]["day"].value_counts()
    chart = {}
    begun = [day for day in out.index if out[day] > 0]
    mean = None
    if begun:
        done, sizes = np.array([reissued.get(day, 0) for day in begun]), np.array([out[day] for day in begun]) / 1000
        mean = done.sum() / sizes.sum()
        chart = {day: point for day, *point in zip(begun, *poisson_limits(done, sizes), strict=True)}
    for day in pd.date_range(span.first, span.last).date:
        value, lower, upper = chart.get(day, (None, None, None))
        outside = "" if value is None else yes(bool(value < lower or value > upper))
        numbers = near(value), near(lower), near(upper), near(mean)
        yield day, requests.get(day, 0), reissued.get(day, 0), out[day], *numbers, outside


def out_by_day(moves: pd.DataFrame, span: Span) -> pd.Series:
    """Ballots out on each day: at its beginning or end, whichever is more."""
    change = moves["after"].isin(LIVE).astype(int) - moves["before"].isin(LIVE).astype(int)
    shown = pd.date_range(span.first - DAY, span.last).date
    ends = change.groupby(moves["day"]).sum().cumsum()
    at_end = ends.reindex(sorted({*ends.index, *shown})).ffill().fillna(0).astype(int).reindex(shown)
    return pd.concat([at_end, at_end.shift(1)], axis=1).max(axis=1).iloc[1:].astype(int)


def compared_reissues(tables: Tables, span: Span) -> Iterator[Row]:
    """Reissues by cause, by style and by precinct beside those of the days before."""
    for group, part in (("by cause", "reason"), ("by style", "style"), ("by precinct", "precinct")):
        now, then = reissued_by(part, tables, span), reissued_by(part, tables, span.before)
        for name in {*now, *then}:
            change = now.get(name, 0) - then.get(name, 0)
            yield "the days before", group, name, now.get(name, 0), then.get(name, 0), change


def reconciliation(tables: Tables, span: Span) -> Iterator[Row]:
    """Each ballot's last state of these days, by style."""
    so_far = tables.moves[tables.moves["day"] <= span.last]
    issued = so_far[so_far["event"].isin(("imported", "reissued"))].groupby("style").size()
    states = so_far.groupby("ballot_number").agg({"after": "last", "style": "last"})
    for style, own in states.groupby("style")["after"]:
        found = counts(own)
        yield style, issued[style], *(found.pop(state, 0) for state in STATES), yes(issued[style] == len(own))
        assert not found, "a state that the table has no column for"


def where_now(tables: Tables) -> dict[str, dict[str, int]]:
    """How many ballots of each style are in each state, as their table has them now."""
    return {str(style): counts(own) for style, own in tables.ballots.groupby("style")["state"]}


def _most_out(part: str, tables: Tables, span: Span) -> dict[str, int]:
    return {str(name): int(out_by_day(own, span).max()) for name, own in tables.moves.groupby(part)}


def _in_span(tables: Tables, span: Span) -> pd.DataFrame:
    return tables.moves[span.of_days(tables.moves["day"])]
