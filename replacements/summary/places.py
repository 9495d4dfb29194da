"""Where the ballots are, style by style: by the ledger's sums, and by the table. Quick, for a page; which single ballot
differs only the reconciliation itself tells (`ballots.reconciling`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any

from sqlalchemy import Select
from sqlalchemy.orm import Session

from replacements.store.tables import Ballot
from replacements.summary.compared import BEFORE, Part, part_of
from replacements.summary.figures import Compared, Rate, Where
from replacements.summary.ledger_days import read_days
from replacements.summary.questions import Answers, ask, question
from replacements.summary.rates import rates
from replacements.summary.sums import PRECINCT, STATE_COLUMNS, STYLE, Days

_BALLOTS = "ballots"
PLACES = tuple(one.name for one in fields(Where))


@dataclass(frozen=True, slots=True)
class Places:
    """`styles`: what the ledger says. `agrees`: the table of ballots says the same of every style and state."""

    styles: Mapping[str, Where]
    agrees: bool

    @property
    def ballots(self) -> int:
        return self.total.issued

    @property
    def total(self) -> Where:
        return Where.together(self.styles.values())


@dataclass(frozen=True, slots=True)
class ByPlace:
    """Some days by ballot style and precinct: rates of spoiled ballots and of all that were replaced; what was reissued
    beside other days ("style", "precinct"), whose names are `others`; and where all ballots are now."""

    styles: tuple[Rate, ...]
    precincts: tuple[Rate, ...]
    reissued: Mapping[str, Part]
    others: tuple[str, ...]
    now: Places


def by_place(
    books: Days, answers: Answers, days: Sequence[date], days_before_from: date, earlier: Compared | None
) -> ByPlace:
    """`books`: to the ledger's end; `answers`: to `by_style_and_state`; `days_before_from`: the first day of those that
    these `days` are compared with, which are just before them; `earlier`: others, if there are any."""
    first, last = days[0], days[-1]
    reissued = {}
    for part in (STYLE, PRECINCT):
        those: list[Mapping[str, int] | None] = [
            books.by_name(part, days_before_from, first - timedelta(days=1), "reissued")
        ]
        if earlier is not None:
            those.append(earlier.counted_by[part])
        reissued[part] = part_of(part, books.by_name(part, first, last, "reissued"), those)
    return ByPlace(
        rates(books, STYLE, days, "spoiled"),
        rates(books, PRECINCT, days, "reissued"),
        reissued,
        (BEFORE, *([earlier.what] if earlier is not None else [])),
        places(books, answers),
    )


def where_ballots_are(session: Session, election_id: str, zone: str) -> Places:
    """Count both ways, as of now."""
    books = read_days(session, election_id, zone, since=date.max, until=date.max, parts=(STYLE,))
    return places(books, ask(session, by_style_and_state(election_id)))


def by_style_and_state(election_id: str) -> Select[*tuple[Any, ...]]:
    """Asks how many ballots the table has of each style in each state; see `places`."""
    of_each = (Ballot.style, Ballot.state)
    return question(_BALLOTS, *of_each).where(Ballot.election_id == election_id).group_by(*of_each)


def where(books: Days, last: date | None = None) -> dict[str, Where]:
    """Where the ballots of each style are by the ledger at the end of that day, or now; in the order of their names."""
    return {style: Where(*(getattr(tally, name) for name in PLACES)) for style, tally in books.places(last).items()}


def places(books: Days, answers: Answers) -> Places:
    """What `by_style_and_state` was answered, beside the sums of the ledger up to now."""
    styles = where(books)
    by_ledger = {
        (style, state): getattr(places, column)
        for style, places in styles.items()
        for state, column in STATE_COLUMNS.items()
        if getattr(places, column)
    }
    by_table = {(row.first, row.second): row.number for row in answers[_BALLOTS]}
    return Places(styles, by_ledger == by_table)
