"""Where the ballots are, style by style: by the ledger's sums, and by the table. Quick, for a page; which single ballot
differs only the reconciliation itself tells (`ballots.reconciling`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Select
from sqlalchemy.orm import Session

from replacements.store.tables import Ballot
from replacements.summary.ledger_days import read_days
from replacements.summary.questions import Answers, ask, question
from replacements.summary.sums import STATE_COLUMNS, STYLE, Days, Tally

_BALLOTS = "ballots"


@dataclass(frozen=True, slots=True)
class Places:
    """`styles`: what the ledger says. `agrees`: the table of ballots says the same of every style and state."""

    styles: Mapping[str, Tally]
    agrees: bool

    @property
    def ballots(self) -> int:
        return sum(tally.issued for tally in self.styles.values())

    @property
    def total(self) -> Tally:
        return Tally(*(sum(column) for column in zip(*self.styles.values(), strict=True))) if self.styles else Tally()


def where_ballots_are(session: Session, election_id: str, zone: str) -> Places:
    """Count both ways, as of now."""
    books = read_days(session, election_id, zone, since=date.max, until=date.max, parts=(STYLE,))
    return places(books, ask(session, by_style_and_state(election_id)))


def by_style_and_state(election_id: str) -> Select[*tuple[Any, ...]]:
    """Asks how many ballots the table has of each style in each state; see `places`."""
    of_each = (Ballot.style, Ballot.state)
    return question(_BALLOTS, *of_each).where(Ballot.election_id == election_id).group_by(*of_each)


def places(books: Days, answers: Answers) -> Places:
    """What `by_style_and_state` was answered, beside the sums of the ledger up to now."""
    styles = books.places()
    by_ledger = {
        (style, state): getattr(tally, column)
        for style, tally in styles.items()
        for state, column in STATE_COLUMNS.items()
        if getattr(tally, column)
    }
    by_table = {(row.first, row.second): row.number for row in answers[_BALLOTS]}
    return Places(styles, by_ledger == by_table)
