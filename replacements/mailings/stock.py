"""Blank ballots on hand per style: what waiting packets will take, and what will be short before it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import append
from replacements.ballots.life import NotPossible
from replacements.store.tables import Ballot, Mailing, Packet, Stock


@dataclass(frozen=True, slots=True)
class StyleStock:
    """One style. `on_hand`: None where nobody counted it. `reserved`: ballots of packets that wait for the post."""

    style: str
    on_hand: int | None
    reserved: int

    @property
    def short(self) -> int:
        """How many ballots will be missing; 0 where there are enough, and where the style was never counted."""
        return 0 if self.on_hand is None else max(0, self.reserved - self.on_hand)


def overview(session: Session, election_id: str) -> tuple[StyleStock, ...]:
    """Every style that is in stock or waited for, in the order of its name."""
    on_hand = {row.style: row.on_hand for row in session.scalars(select(Stock).where(Stock.election_id == election_id))}
    waiting = session.execute(
        select(Ballot.style, func.count())
        .join(Packet, Packet.ballot_number == Ballot.number)
        .join(Mailing, Packet.mailing_id == Mailing.id)
        .where(Mailing.election_id == election_id, Packet.state.in_(("queued", "frozen")), Ballot.state == "issued")
        .group_by(Ballot.style)
    )
    reserved = {row[0]: int(row[1]) for row in waiting}
    styles = sorted({*on_hand, *reserved})
    return tuple(StyleStock(style, on_hand.get(style), reserved.get(style, 0)) for style in styles)


def shortages(session: Session, election_id: str) -> tuple[StyleStock, ...]:
    """The styles of which more ballots wait for the post than there are."""
    return tuple(row for row in overview(session, election_id) if row.short)


def count(session: Session, election_id: str, style: str, on_hand: int, *, by: str, at: datetime) -> Stock:
    """Record a count of the blank ballots of a style. Raises NotPossible for a count below nothing."""
    if on_hand < 0:
        raise NotPossible("A count of ballots cannot be below 0.")
    row = session.get(Stock, (election_id, style), with_for_update=True, populate_existing=True)
    before = None if row is None else row.on_hand
    if row is None:
        row = Stock(election_id=election_id, style=style, on_hand=on_hand)
        session.add(row)
    row.on_hand = on_hand
    details = {"style": style, "before": before, "counted": on_hand}
    append(session, event="stock_counted", election_id=election_id, by=by, at=at, details=details)
    return row


def use(session: Session, election_id: str, by_style: Mapping[str, int]) -> None:
    """Take mailed ballots off the stock. A style that nobody counted stays uncounted; below 0 is shown, not hidden."""
    for style in sorted(by_style):
        row = session.get(Stock, (election_id, style), with_for_update=True, populate_existing=True)
        if row is not None:
            row.on_hand -= by_style[style]
