"""The books of blank ballots: opening + received - used - spoiled - destroyed, and what counts found, = closing.

Two people count whatever is entered, each alone: the second does not see the first one's number, and where the numbers
differ nothing is booked. Mailings book what they use by themselves, signed by the two who signed the mailing.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, func, literal, select, union_all
from sqlalchemy.orm import Session

from replacements.ballots.ledger import append
from replacements.ballots.life import NotPossible
from replacements.store.database import lock_ledger
from replacements.store.tables import Ballot, Mailing, Packet, StockEntry

ENTERED = ("counted", "received", "spoiled", "destroyed")  # what people enter; the first count is the style's opening
LEAVES = ("spoiled", "destroyed")
BOOKED, RESERVED = "booked", "reserved"


@dataclass(frozen=True, slots=True)
class StyleStock:
    """One style's books. `opening`: None where nobody counted the style yet. `reserved`: ballots of packets that wait
    for the post. `found`: what later counts found above the books (below: negative)."""

    style: str
    opening: int | None
    reserved: int = 0
    received: int = 0
    used: int = 0
    spoiled: int = 0
    destroyed: int = 0
    found: int = 0

    @property
    def on_hand(self) -> int | None:
        """The closing figure. None where nobody counted the style."""
        if self.opening is None:
            return None
        return self.opening + self.received - self.used - self.spoiled - self.destroyed + self.found

    @property
    def short(self) -> int:
        """How many ballots will be missing; 0 where there are enough, and where the style was never counted."""
        return 0 if self.on_hand is None else max(0, self.reserved - self.on_hand)


@dataclass(frozen=True, slots=True)
class Entered:
    """What an entry did. `state`: waiting (for the second person), agreed, differs. `text` is for who entered it."""

    state: str
    text: str


def overview(session: Session, election_id: str) -> tuple[StyleStock, ...]:
    """The books of every style that is in them or waited for, in the order of its name."""
    return from_lines(session.execute(union_all(*lines(election_id))).all())


def lines(election_id: str) -> tuple[Select[str, str, str, int | None], Select[str, str, str, int]]:
    """What the books rest on, to be read in one statement, with more lines of this form if need be: BOOKED, the style,
    the kind of entry, the sum of its changes; RESERVED, the style, "", the number of ballots that wait for the post."""
    booked = (
        select(
            literal(BOOKED).label("what"),
            StockEntry.style.label("style"),
            StockEntry.kind.label("kind"),
            func.sum(StockEntry.change).label("number"),
        )
        .where(StockEntry.election_id == election_id, StockEntry.state == "agreed")
        .group_by(StockEntry.style, StockEntry.kind)
    )
    reserved = (
        select(literal(RESERVED), Ballot.style, literal(""), func.count())
        .join(Packet, Packet.ballot_number == Ballot.number)
        .join(Mailing, Packet.mailing_id == Mailing.id)
        .where(Mailing.election_id == election_id, Packet.state.in_(("queued", "frozen")), Ballot.state == "issued")
        .where(Packet.channel == "post")
        .group_by(Ballot.style)
    )
    return booked, reserved


def from_lines(rows: Iterable[Sequence[Any]]) -> tuple[StyleStock, ...]:
    """The books, from what was read by `lines`; other lines are passed over."""
    booked: dict[str, Counter[str]] = defaultdict(Counter)
    reserved: dict[str, int] = {}
    for what, style, kind, number in rows:
        if what == BOOKED:
            booked[style][kind] = int(number or 0)
        elif what == RESERVED:
            reserved[style] = int(number)
    return tuple(
        StyleStock(
            style,
            booked[style].get("opening"),
            reserved.get(style, 0),
            received=booked[style]["received"],
            used=-booked[style]["used"],
            spoiled=-booked[style]["spoiled"],
            destroyed=-booked[style]["destroyed"],
            found=booked[style]["counted"],
        )
        for style in sorted({*booked, *reserved})
    )


def shortages(session: Session, election_id: str) -> tuple[StyleStock, ...]:
    """The styles of which more ballots wait for the post than there are."""
    return tuple(row for row in overview(session, election_id) if row.short)


def waiting(session: Session, election_id: str) -> list[StockEntry]:
    """What one person has counted and a second has not. Their numbers are not for the second person's eyes."""
    return list(session.scalars(select(StockEntry).where(*_wait(election_id)).order_by(StockEntry.id)))


def how_many_wait(election_id: str) -> Select[int]:
    """The number of those counts."""
    return select(func.count()).select_from(StockEntry).where(*_wait(election_id))


def _wait(election_id: str) -> tuple[ColumnElement[bool], ...]:
    return StockEntry.election_id == election_id, StockEntry.state == "waiting"


def enter(
    session: Session, election_id: str, style: str, kind: str, number: int, *, by: str, at: datetime, note: str = ""
) -> Entered:
    """Enter what one person counted: `kind` as in ENTERED, `number` of blank ballots. The second person's books it.

    Who enters the same thing again corrects their own number. Raises NotPossible, in plain words, for what cannot be.
    """
    if kind not in ENTERED:
        raise NotPossible("Say what was counted: what is there, received, spoiled or destroyed.")
    if number < (0 if kind == "counted" else 1):
        raise NotPossible("A count of ballots cannot be below 0." if number < 0 else "There is nothing to enter.")
    session.flush()
    lock_ledger(session)  # one entry after the other: the books are read, and written by what was read
    book = {row.style: row for row in overview(session, election_id)}.get(style)
    on_hand = book.on_hand if book is not None else None
    if on_hand is None and kind != "counted":
        raise NotPossible(f"Count first what there is of style {style}, even if it is nothing; then enter the rest.")
    if kind in LEAVES and number > (on_hand or 0):
        raise NotPossible(
            f"The books have {on_hand} of style {style}; {number} cannot leave them. Count the style first."
        )
    kind = "opening" if on_hand is None else kind
    first = session.scalars(
        select(StockEntry).where(
            StockEntry.election_id == election_id,
            StockEntry.style == style,
            StockEntry.kind == kind,
            StockEntry.state == "waiting",
        )
    ).one_or_none()
    if first is not None and first.first_by != by:
        return _second(session, first, number, on_hand or 0, by=by, at=at)
    if first is not None:
        first.state = "withdrawn"
        session.flush()
    session.add(
        StockEntry(
            election_id=election_id, style=style, kind=kind, state="waiting", number=number,
            first_by=by, first_at=at, note=note,
        )
    )  # fmt: skip
    _record(session, "stock_entered", election_id, by, at, {"style": style, "kind": kind})
    return Entered("waiting", f"Entered for style {style}. A second person must count as well, and enter it here.")


def _second(session: Session, entry: StockEntry, number: int, on_hand: int, *, by: str, at: datetime) -> Entered:
    entry.second_by, entry.second_at, entry.second_number = by, at, number
    counts = {"style": entry.style, "kind": entry.kind, "first": entry.first_by, "counts": [entry.number, number]}
    if number != entry.number:
        entry.state = "differs"
        _record(session, "stock_differs", entry.election_id, by, at, counts)
        return Entered(
            "differs",
            f"{entry.first_by} counted {entry.number} of style {entry.style}, you counted {number}. "
            "Nothing is booked: count again, both of you.",
        )
    sign = -1 if entry.kind in LEAVES else 1
    entry.change = number - on_hand if entry.kind == "counted" else sign * number
    entry.state = "agreed"
    after = on_hand + entry.change
    _record(session, "stock_booked", entry.election_id, by, at, {**counts, "before": on_hand, "after": after})
    differs = f" The books had {on_hand}." if entry.kind == "counted" and entry.change else ""
    return Entered("agreed", f"Both counts agree: style {entry.style} now stands at {after}.{differs}")


def use(
    session: Session, mailing: Mailing, by_style: Mapping[str, int], *, signed: tuple[str, str], at: datetime
) -> None:
    """Book what a mailing took. A style that nobody counted stays uncounted; below 0 is shown, not hidden."""
    counted = set(
        session.scalars(
            select(StockEntry.style).where(
                StockEntry.election_id == mailing.election_id,
                StockEntry.kind == "opening",
                StockEntry.state == "agreed",
            )
        )
    )
    session.add_all(
        StockEntry(
            election_id=mailing.election_id, style=style, kind="used", state="agreed", number=number, change=-number,
            first_by=signed[0], first_at=at, second_by=signed[1], second_at=at, second_number=number,
            mailing_id=mailing.id,
        )
        for style, number in sorted(by_style.items()) if style in counted and number
    )  # fmt: skip


def _record(
    session: Session, event: str, election_id: str, by: str, at: datetime, details: Mapping[str, object]
) -> None:
    append(session, event=event, election_id=election_id, by=by, at=at, details=details)
