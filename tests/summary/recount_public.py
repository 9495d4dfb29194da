"""What may be published: counted with pandas, and held back by trying out every number that a hidden one could be."""

from __future__ import annotations

from collections.abc import Iterator

from tests.summary import recount_ballots, recount_mailing, recount_requests
from tests.summary.recount import Row, Span, Tables

SMALLEST = 10
COLUMNS = ("requested", "issued", "received", "counted", "rejected")


def report(tables: Tables, span: Span) -> Iterator[Row]:
    """The file's rows."""
    mailed = recount_mailing.figures(tables, span)
    figures = {
        "requests": recount_requests.figures(tables, span)["requests"],
        "packets mailed": mailed["packets mailed"],
        "packets mailed by the next business day": mailed["mailed by the next business day"],
    }
    for name, number in figures.items():
        yield "whole office", name, "this week", number, ""
    for name, period, *numbers, _ in recount_ballots.ballots(tables, span):
        for column, number in zip(COLUMNS, numbers, strict=True):
            if number != "":
                yield f"{name} ballots", column, period, number, ""
    causes = recount_ballots.reissued_by("reason", tables, span)
    for part, counts in (
        ("kinds", recount_requests.kinds(tables, span)),
        ("causes", causes),
        ("styles", recount_ballots.reissued_by("style", tables, span)),
        ("voids", not_replaced(tables, span)),
    ):
        hidden = held_back(counts)
        if hidden is None:
            yield part, "", "this week", "", "whole table held back"
            continue
        for name, count in counts.items():
            note = "fewer than 10, or held back for another's sake"
            yield (part, name, "this week", *(("", note) if name in hidden else (count, "")))


def not_replaced(tables: Tables, span: Span) -> dict[str, int]:
    """Ballots that ended in these days and that no replacement names as the one it replaces, by reason."""
    moves = tables.moves[span.of_days(tables.moves["day"]) & tables.moves["event"].isin(("voided", "suspended"))]
    replaced = moves["details"].map(lambda details: "replaced_by" in details).astype(bool)
    return recount_requests.counts(moves[~replaced]["reason"])


def held_back(counts: dict[str, int]) -> set[str] | None:
    """The smallest numbers, as few as will do; None where all together will not do."""
    ordered = sorted((count, name) for name, count in counts.items())
    small = sum(count < SMALLEST for count, _ in ordered)
    for many in range(small, len(ordered) + 1) if small else (0,):
        hidden, shown = ordered[:many], ordered[many:]
        if all(len(values) >= SMALLEST for values in _could_be([c for c, _ in hidden], [c for c, _ in shown])):
            return {name for _, name in hidden}
    return None


def _could_be(hidden: list[int], shown: list[int]) -> Iterator[set[int]]:
    """For each hidden number, every one that agrees with their sum and with being no larger than what is shown."""
    whole = sum(hidden)
    values = range(1, min([whole, *shown]) + 1)
    for _ in hidden:
        sums = 1  # a bit for each sum that the others can have
        for _ in hidden[1:]:
            sums = _or(sums << value for value in values) & ((1 << (whole + 1)) - 1)
        yield {value for value in values if sums >> (whole - value) & 1}


def _or(bits: Iterator[int]) -> int:
    found = 0
    for one in bits:
        found |= one
    return found
