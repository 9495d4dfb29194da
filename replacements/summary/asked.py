"""The requests of a stretch of days: counted where they lie, or as rows of codes, times and ids. No names, and nothing
that a voter wrote but for the note on one that was declined."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import (
    ColumnElement,
    Select,
    Text,
    and_,
    case,
    cast,
    func,
    literal,
    null,
    select,
    text,
    union_all,
)
from sqlalchemy.orm import Session

from replacements.store.tables import Correction, Request
from replacements.store.tables.requests import ASKS_FOR_A_BALLOT
from replacements.summary.figures import Declined, Waiting
from replacements.summary.questions import AT_ONCE, Answer, clock_hour, moment, question

LAPSED, DECLINED = "lapsed", "declined"
NO_LANGUAGE = "und"
EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 1.0)  # a ballot may be voided from 0.8, by rule from 0.95: finer up there
_Question = Select[*tuple[Any, ...]]


@dataclass(frozen=True)
class Came:
    """What came in: how many requests, of which kinds (one of two kinds counts in both), in which languages."""

    requests: int
    by_kind: Mapping[str, int]
    by_language: Mapping[str, int]


class Alike(NamedTuple):
    """What requests that were decided have in common. `right`: whether the identification named the voter that the
    request now has, `lot`: how sure it was, by its place in EDGES. None where nothing was claimed."""

    kinds: tuple[str, ...]
    standing: str | None
    proposal: str
    decision: str | None
    state: str
    decided_by: str | None
    right: bool | None
    lot: int | None

    @property
    def overridden(self) -> bool:
        """Whether somebody decided otherwise than proposed; see `otherwise`."""
        return self.decision not in (None, self.proposal, LAPSED)


class Read(NamedTuple):
    """What messages have in common whose first request was decided, and whose reading nobody put right: how sure the
    reading was of what they ask most surely, by its place in EDGES."""

    proposal: str
    decision: str | None
    decided_by: str | None
    lot: int


class Claims(NamedTuple):
    """How many there are that are alike, and what was claimed of all together: probabilities, added up."""

    many: int
    claimed: float


@dataclass(frozen=True)
class Decided:
    """The requests that were decided, by what they have in common, and the readings that led to them."""

    alike: Mapping[Alike, Claims]
    read: Mapping[Read, Claims]

    @property
    def requests(self) -> int:
        return sum(one.many for one in self.alike.values())


def decided_of(session: Session, election_id: str, start: datetime, end: datetime) -> Decided:
    """The requests that were decided from `start` to before `end`. They are thousands, of a few hundred ways to be
    decided: the database puts them together."""
    kinds = cast(Request.kinds, Text)
    one = (
        select(
            Request.message_id, Request.place, kinds.label("kinds"), Request.standing, Request.proposal,
            Request.decision, Request.state, Request.decided_by, Request.who_p,
            case((func.nullif(Request.voter_id, "") == Request.who_claimed, 1), (_neither_is_missing(), 0))
            .label("right"),
            Request.kind_p,
        )
        .where(*decided_in(election_id, start, end))
        .cte("one")
        .c
    )  # fmt: skip
    alike = (one.kinds, one.standing, one.proposal, one.decision, one.state, one.decided_by, one.right, _lot(one.who_p))
    read = (one.proposal, one.decision, one.decided_by, _lot(one.kind_p))
    put_right = select(Correction.message_id)
    rows = session.execute(
        union_all(
            _counted("alike", alike, one.who_p).group_by(*alike),
            _counted("read", read, one.kind_p)
            .where(one.place == 0, one.kind_p.is_not(None), one.message_id.not_in(put_right))
            .group_by(*read),
        )
    ).yield_per(AT_ONCE)
    found: dict[str, list[Any]] = {"alike": [], "read": []}
    for row in rows:
        found[row[0]].append(row)
    return Decided(
        {_alike(row): Claims(row[-2], row[-1] or 0.0) for row in found["alike"]},
        {Read(row[1], row[2], row[3], int(row[4])): Claims(row[-2], row[-1]) for row in found["read"]},
    )


_WORDS = 8


def _counted(name: str, words: Sequence[Any], p: Any) -> Select[*tuple[Any, ...]]:
    """Rows of up to eight words, how many there are of each, and the sum of `p`."""
    eight = (*words, *(null() for _ in range(_WORDS - len(words))))
    texts = (cast(word, Text).label(f"word_{n}") for n, word in enumerate(eight))
    return select(literal(name, Text).label("what"), *texts, func.count().label("n"), func.sum(p).label("p"))


def _lot(p: ColumnElement[float]) -> ColumnElement[int]:
    """The place in EDGES of the largest edge that is not above it; of the last one, the place before."""
    inner = list(enumerate(EDGES[1:-1], start=1))
    return case((p.is_(None), None), *((p >= edge, place) for place, edge in reversed(inner)), else_=0)


def _neither_is_missing() -> ColumnElement[bool]:
    return and_(func.nullif(Request.voter_id, "").is_not(None), Request.who_claimed.is_not(None))


def _alike(row: Sequence[Any]) -> Alike:
    right, lot = (None if word is None else int(word) for word in row[7:9])
    right_or_not = None if right is None else bool(right)
    return Alike(tuple(json.loads(row[1])), row[2], row[3], row[4], row[5], row[6], right_or_not, lot)


def _received(election_id: str, start: datetime, end: datetime) -> tuple[ColumnElement[bool], ...]:
    return Request.election_id == election_id, Request.received_at >= start, Request.received_at < end


def decided_in(election_id: str, start: datetime, end: datetime) -> tuple[ColumnElement[bool], ...]:
    """What is true of the election's requests that were decided from `start` to before `end`."""
    return Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end


def that_came_in(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks for the requests received from `start` to before `end`, by their kinds and languages; see `came_in`."""
    kinds = cast(Request.kinds, Text)
    of_each = (kinds, Request.language)
    return question(name, *of_each).where(*_received(election_id, start, end)).group_by(*of_each)


def came_in(rows: Iterable[Answer]) -> Came:
    """What `that_came_in` was answered."""
    by_kind, by_language, requests = Counter[str](), Counter[str](), 0
    for row in rows:
        requests += row.number
        by_language[row.second or NO_LANGUAGE] += row.number
        for kind in dict.fromkeys(json.loads(row.first or "[]")):
            by_kind[kind] += row.number
    return Came(requests, _sorted(by_kind), _sorted(by_language))


def by_hour(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks how many requests were received in each clock hour from `start` to before `end`; see `hours`."""
    hour = clock_hour(Request.received_at)
    return question(name, hour).where(*_received(election_id, start, end)).group_by(hour)


def hours(rows: Iterable[Answer]) -> dict[datetime, int]:
    """What `by_hour` was answered: the beginnings of the hours, UTC, with their numbers."""
    return {moment(row.first or ""): row.number for row in rows}


def days(counts: Mapping[datetime, int], office: ZoneInfo) -> Counter[date]:
    """The same by days at the office; its zone is whole hours from UTC."""
    found = Counter[date]()
    for hour, count in counts.items():
        found[hour.astimezone(office).date()] += count
    return found


def decisions_of(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks how many requests were decided from `start` to before `end`, by what was proposed and what was decided; see
    `otherwise`."""
    of_each = (Request.proposal, Request.decision)
    return question(name, *of_each).where(*decided_in(election_id, start, end)).group_by(*of_each)


def otherwise(counts: Iterable[tuple[str, str | None, int]]) -> dict[tuple[str, str], int]:
    """How often what was decided instead of what, the most frequent first; a lapse is by rule, nobody's choice."""
    found = Counter[tuple[str, str]]()
    for proposal, decision, count in counts:
        if decision not in (None, proposal, LAPSED):
            found[proposal, decision] += count
    return dict(found.most_common())


def declined_of(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks for the requests that were declined from `start` to before `end`, with what was noted; see `declined`."""
    return question(name, Request.proposal, Request.decision, Request.decision_note, number=Request.id).where(
        *decided_in(election_id, start, end), Request.state == DECLINED
    )


def declined(rows: Iterable[Answer]) -> tuple[Declined, ...]:
    """What `declined_of` was answered, by number."""
    in_order = sorted(rows, key=lambda row: row.number)
    return tuple(Declined(row.number, row.first or "", row.second or DECLINED, row.third or "") for row in in_order)


def wanted(name: str, election_id: str, start: datetime | None, end: datetime) -> _Question:
    """Asks how many requests for a replacement came in from `start` (or ever) to before `end`."""
    found = question(name).select_from(Request)
    found = found.where(Request.election_id == election_id, Request.received_at < end, text(ASKS_FOR_A_BALLOT))
    return found if start is None else found.where(Request.received_at >= start)


def asked_of_voters(name: str, election_id: str, as_of: datetime) -> _Question:
    """Asks how many requests that were decided before wait for the voter's answer."""
    return (
        question(name)
        .select_from(Request)
        .where(Request.election_id == election_id, Request.state == "asked", Request.decided_at < as_of)
    )


def undecided(name: str, election_id: str, as_of: datetime, *, oldest: int | None = None) -> _Question:
    """Asks for what had come before that moment and nobody has decided; of it only so many of the `oldest`. See
    `waiting`."""
    each = _waiting(name, Request.state.expression).where(*_undecided(election_id, as_of))
    if oldest is None:
        return each
    return select(*each.order_by(Request.received_at, Request.id).limit(oldest).subquery().c)


def how_many_undecided(name: str, election_id: str, as_of: datetime) -> _Question:
    """Asks how many these are in all."""
    return question(name).select_from(Request).where(*_undecided(election_id, as_of))


def decided_since(name: str, election_id: str, as_of: datetime) -> _Question:
    """Asks for what had come before that moment and was decided later: it waited then. See `waiting`."""
    those = (*_had_come(election_id, as_of), Request.decided_at >= as_of)
    return _waiting(name, literal("waiting")).where(*those)


def _waiting(name: str, state: ColumnElement[str]) -> _Question:
    two = case((Request.two_people, "yes"), else_="")
    return question(name, Request.proposal, state, Request.received_at, two, number=Request.id)


def _undecided(election_id: str, as_of: datetime) -> tuple[ColumnElement[bool], ...]:
    return *_had_come(election_id, as_of), Request.decided_at.is_(None)


def _had_come(election_id: str, as_of: datetime) -> tuple[ColumnElement[bool], ...]:
    # In an expression, or else SQLite, which knows no sizes, goes by when they came, and not by what is undecided.
    came = func.coalesce(Request.received_at, as_of) < as_of
    return Request.election_id == election_id, came, Request.state != "filed"


def waiting(rows: Iterable[Answer], as_of: datetime) -> tuple[Waiting, ...]:
    """What `undecided` and `decided_since` were answered, oldest first."""
    hour = timedelta(hours=1)
    found = sorted((moment(row.third or ""), row.number, row) for row in rows)
    return tuple(
        Waiting(number, row.first or "", row.second or "", (as_of - received) / hour, bool(row.fourth))
        for received, number, row in found
    )


def _sorted(counts: Counter[str]) -> dict[str, int]:
    """The most frequent first."""
    return dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))
