"""The list of requests: which ones, and a page of them found by key, so that the last costs what the first does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, String, and_, case, cast, func, literal, or_, select
from sqlalchemy.orm import Session

from replacements.requests.holding import CAN_BE_HELD, on_hold
from replacements.rules.calendar import cut_off, is_mailing_day, local
from replacements.rules.office import Rules
from replacements.store.tables import Message, Request

A_PAGE = 50
NOBODY = "-"  # no account can be called so
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
LONGEST_SEARCH = 30  # days back for the last mailing day


@dataclass(frozen=True, slots=True)
class Filters:
    """What is asked for; empty means any. `whose`: an account, or NOBODY. `held`: "no" leaves out what is on hold,
    "only" leaves out the rest. `second`: only what needs a second person. `before`: arrived before this moment."""

    state: str = ""
    standing: str = ""
    kind: str = ""
    language: str = ""
    whose: str = ""
    held: str = ""
    second: bool = False
    before: datetime | None = None

    def conditions(self, at: datetime) -> list[ColumnElement[bool]]:
        found: list[ColumnElement[bool]] = []
        if self.state:
            found.append(Request.state == self.state)
        if self.standing:
            found.append(Request.standing == self.standing)
        if self.kind:
            found.append(cast(Request.kinds, String).contains(f'"{self.kind}"', autoescape=True))
        if self.language:
            found.append(Request.language == self.language)
        if self.whose:
            found.append(Request.assigned_to.is_(None) if self.whose == NOBODY else Request.assigned_to == self.whose)
        if self.held == "only":
            found.append(on_hold(at))
        elif self.held == "no":
            found.append(or_(Request.state.not_in(CAN_BE_HELD), Request.held_until.is_(None), Request.held_until <= at))
        if self.second:
            found.append(Request.two_people.is_(True))
        if self.before is not None:
            found.append(Request.received_at < self.before)
        return found


@dataclass(frozen=True, slots=True)
class Key:
    """The place of a request in a list: how pressing, when it came, its number. Later pages go on from there."""

    pressing: int
    received_at: datetime
    number: int

    def __str__(self) -> str:
        return f"{self.pressing}.{(self.received_at - EPOCH) // MICROSECOND}.{self.number}"

    @classmethod
    def read(cls, text: str) -> Key | None:
        """What `str` gave; None for anything else."""
        parts = text.split(".")
        if len(parts) != 3 or not all(part.isascii() and part.isdecimal() and len(part) < 18 for part in parts):
            return None
        try:
            return cls(int(parts[0]), EPOCH + MICROSECOND * int(parts[1]), min(int(parts[2]), 2**31 - 1))
        except OverflowError:
            return None


@dataclass(frozen=True, slots=True)
class Page:
    """A page of the list; `before` and `after` are the keys of the pages next to it, None where there is none."""

    rows: Sequence[tuple[Request, Message]]
    before: Key | None
    after: Key | None


def page(
    session: Session,
    where: Sequence[ColumnElement[bool]],
    *,
    pressing: ColumnElement[int] | None,
    after: Key | None = None,
    before: Key | None = None,
    most: int = A_PAGE,
) -> Page:
    """The rows that follow `after`, or those that precede `before`; the first ones where neither is given.

    `pressing`: small numbers first, then oldest first: the order of work. None: newest first, for looking up.
    """
    rank: ColumnElement[int] = literal(0) if pressing is None else pressing
    newest_first, backwards = pressing is None, before is not None
    found = select(Request, Message, rank).join(Message, Request.message_id == Message.id).where(*where)
    key = before or after
    rising = newest_first == backwards  # whether what follows in this direction has the larger times
    if key is not None:
        found = found.where(_beyond(rank, key, rising=rising, higher=not backwards, ranked=not newest_first))
    columns: list[Any] = [Request.received_at, Request.id]
    order = [column.asc() if rising else column.desc() for column in columns]
    if not newest_first:
        order.insert(0, rank.desc() if backwards else rank.asc())
    rows = session.execute(found.order_by(*order).limit(most + 1)).all()
    more, rows = len(rows) > most, rows[:most]
    if backwards:
        rows = rows[::-1]
    first, last = (_key(rows[0]), _key(rows[-1])) if rows else (None, None)
    return Page(
        [(request, message) for request, message, _ in rows],
        before=first if (more if backwards else after is not None) else None,
        after=last if (True if backwards else more) else None,
    )


def _key(row: Any) -> Key:
    return Key(int(row[2]), row[0].received_at, row[0].id)


def _beyond(rank: ColumnElement[int], key: Key, *, rising: bool, higher: bool, ranked: bool) -> ColumnElement[bool]:
    """What lies beyond a key: by rank first, then by time and number."""
    number = Request.id > key.number if rising else Request.id < key.number
    time = Request.received_at > key.received_at if rising else Request.received_at < key.received_at
    later = or_(time, and_(Request.received_at == key.received_at, number))
    if not ranked:
        return later
    return or_(rank > key.pressing if higher else rank < key.pressing, and_(rank == key.pressing, later))


def counts(
    session: Session, where: Sequence[ColumnElement[bool]], at: datetime
) -> tuple[dict[str, int], dict[str, int]]:
    """How many requests there are in each state, and how many of these are on hold."""
    held = func.sum(case((on_hold(at), 1), else_=0))
    rows = session.execute(select(Request.state, func.count(), held).where(*where).group_by(Request.state)).all()
    return {state: count for state, count, _ in rows}, {state: int(held or 0) for state, _, held in rows}


def by_proposal(session: Session, where: Sequence[ColumnElement[bool]]) -> dict[str, int]:
    """How many of these requests there are for each proposal."""
    found = select(Request.proposal, func.count()).where(*where).group_by(Request.proposal)
    return {proposal: count for proposal, count in session.execute(found)}  # noqa: C416 - rows, not pairs


def last_cut_off(rules: Rules, at: datetime) -> datetime:
    """The moment at which a mailing closed last, today's where that has passed: who wrote before it and waits still
    has missed a mailing."""
    day: date = local(rules, at).date()
    for _ in range(LONGEST_SEARCH):
        if is_mailing_day(rules, day) and cut_off(rules, day) <= at:
            return cut_off(rules, day)
        day -= timedelta(days=1)
    return cut_off(rules, day)
