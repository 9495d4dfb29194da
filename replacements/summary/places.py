"""Where the ballots are, style by style: by the ledger's sums, and by the table. Quick, for a page; which single ballot
differs only the reconciliation itself tells (`ballots.reconciling`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.store.tables import Ballot
from replacements.summary.ledger_days import STATE_COLUMNS, STYLE, Tally, read_days


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
    styles = read_days(session, election_id, zone, since=date.max, until=date.max, parts=(STYLE,)).places()
    by_ledger = {
        (style, state): getattr(tally, column)
        for style, tally in styles.items()
        for state, column in STATE_COLUMNS.items()
        if getattr(tally, column)
    }
    rows = session.execute(
        select(Ballot.style, Ballot.state, func.count())
        .where(Ballot.election_id == election_id)
        .group_by(Ballot.style, Ballot.state)
    )
    by_table = {(style, state): count for style, state, count in rows}
    return Places(styles, by_ledger == by_table)
