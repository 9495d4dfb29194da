"""The requests of a stretch of days: counted where they lie, or as rows of codes, times and ids. No names, and nothing
that a voter wrote but for the note on one that was declined."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Select, Text, and_, case, cast, func, literal, not_, select, text, union_all
from sqlalchemy.orm import Session

from replacements.store.tables import Request
from replacements.store.tables.requests import ASKS_FOR_A_BALLOT
from replacements.summary.figures import Declined, Waiting
from replacements.summary.questions import AT_ONCE, Answer, moment, question

LAPSED, DECLINED = "lapsed", "declined"
NO_LANGUAGE = "und"
_TO_THE_HOUR = len("2031-10-06 09")
_Question = Select[*tuple[Any, ...]]


@dataclass(frozen=True)
class Came:
    """What came in: how many requests, of which kinds (one of two kinds counts in both), in which languages."""

    requests: int
    by_kind: Mapping[str, int]
    by_language: Mapping[str, int]


class Alike(NamedTuple):
    """What requests that were decided have in common. `who`: how sure the identification was, `right`: whether it named
    the voter that the request now has; `sure`, `kind`: how sure the reading was of which kind. None where nothing was
    claimed."""

    kinds: tuple[str, ...]
    standing: str | None
    proposal: str
    decision: str | None
    state: str
    decided_by: str | None
    who: float | None
    right: bool | None
    sure: float | None
    kind: str | None

    @property
    def overridden(self) -> bool:
        """Whether somebody decided otherwise than proposed; a lapse is by rule, nobody's choice."""
        return self.decision is not None and self.decision not in (self.proposal, LAPSED)


@dataclass(frozen=True)
class Decided:
    """The requests that were decided. `messages` and `each`: the message of each and what it is, in the order of their
    ids; `alike`: how many are alike, in that order too."""

    messages: Sequence[int]
    each: Sequence[Alike]
    alike: Mapping[Alike, int]


def of_a_stretch(session: Session, election_id: str, start: datetime, end: datetime) -> tuple[Came, Decided]:
    """The requests that were received, and those that were decided, from `start` to before `end`: most are both, and
    each is read once."""
    received = and_(*_received(election_id, start, end))
    decided = and_(Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end)
    each = (
        func.coalesce(decided, False).label("decided"),
        Request.id,
        Request.message_id,
        Request.language,
        cast(Request.kinds, Text),
        Request.standing,
        Request.proposal,
        Request.decision,
        Request.state,
        Request.decided_by,
        Request.who_p,
        func.nullif(Request.voter_id, "") == Request.who_claimed,
        Request.kind_p,
        Request.kind_claimed,
    )
    # Two halves, each of which finds its own in the order of an index; those of both are in the first.
    rows = session.execute(
        union_all(
            select(literal(1).label("received"), *each).where(received),
            select(literal(0), *each).where(decided, not_(received)),
        )
    ).yield_per(AT_ONCE)
    came, kept = Counter[tuple[Any, ...]](), _Decided()
    for row in rows:
        if row[0]:
            came[row[4:6]] += 1
        if row[1]:
            kept.add(row[2], row[3], row[5:])
    return _came((kinds, language, count) for (language, kinds), count in came.items()), kept.decided()


class _Decided:
    """Puts decided requests together as they are read. They are thousands, of a few hundred ways to be decided."""

    def __init__(self) -> None:
        self._read = cache(lambda listed: tuple(json.loads(listed)))
        self._known: dict[tuple[Any, ...], Alike] = {}
        self._ids, self._messages, self._each = list[int](), list[int](), list[Alike]()

    def add(self, number: int, message_id: int, key: tuple[Any, ...]) -> None:
        one = self._known.get(key)
        if one is None:
            one = self._known[key] = Alike(self._read(key[0]), *key[1:])
        self._ids.append(number)
        self._messages.append(message_id)
        self._each.append(one)

    def decided(self) -> Decided:
        in_order = sorted(range(len(self._ids)), key=self._ids.__getitem__)
        messages, each = [self._messages[n] for n in in_order], [self._each[n] for n in in_order]
        return Decided(messages, each, Counter(each))


def _received(election_id: str, start: datetime, end: datetime) -> tuple[ColumnElement[bool], ...]:
    return Request.election_id == election_id, Request.received_at >= start, Request.received_at < end


def kinds_that_came_in(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks for the requests received from `start` to before `end`, by their kinds; see `came_in`."""
    kinds = cast(Request.kinds, Text)
    return question(name, kinds).where(*_received(election_id, start, end)).group_by(kinds)


def came_in(rows: Iterable[Answer]) -> Came:
    """What `kinds_that_came_in` was answered; of languages it knows nothing."""
    found = _came((row.first, None, row.number) for row in rows)
    return Came(found.requests, found.by_kind, {})


def _came(rows: Iterable[Any]) -> Came:
    rows = list(rows)
    by_kind, by_language = Counter[str](), Counter[str]()
    for listed, spoken, count in rows:
        by_language[spoken or NO_LANGUAGE] += count
        for kind in dict.fromkeys(json.loads(listed)):
            by_kind[kind] += count
    return Came(sum(count for _, _, count in rows), _sorted(by_kind), _sorted(by_language))


def by_hour(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks how many requests were received in each clock hour from `start` to before `end`; see `hours`."""
    hour = func.substr(cast(Request.received_at, Text), 1, _TO_THE_HOUR)  # stored in UTC, alike on both databases
    return question(name, hour).where(*_received(election_id, start, end)).group_by(hour)


def hours(rows: Iterable[Answer]) -> dict[datetime, int]:
    """What `by_hour` was answered: the beginnings of the hours, UTC, with their numbers."""
    return {datetime.fromisoformat(f"{row.first}:00").replace(tzinfo=UTC): row.number for row in rows}


def days(counts: Mapping[datetime, int], office: ZoneInfo) -> Counter[date]:
    """The same by days at the office; its zone is whole hours from UTC."""
    found = Counter[date]()
    for hour, count in counts.items():
        found[hour.astimezone(office).date()] += count
    return found


def declined_of(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks for the requests that were declined from `start` to before `end`, with what was noted; see `declined`."""
    return question(name, Request.proposal, Request.decision, Request.decision_note, number=Request.id).where(
        Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end,
        Request.state == DECLINED,
    )  # fmt: skip


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


def undecided(name: str, election_id: str, as_of: datetime) -> _Question:
    """Asks for what nobody had decided at that moment; see `waiting`."""
    then = case((Request.decided_at.is_(None), Request.state), else_="waiting")
    two = case((Request.two_people, "yes"), else_="")
    return (
        question(name, Request.proposal, then, Request.received_at, two, number=Request.id)
        .where(Request.election_id == election_id, Request.received_at < as_of)
        .where(Request.decided_at.is_(None) | (Request.decided_at >= as_of))
        .where(Request.state != "filed")
    )


def waiting(rows: Iterable[Answer], as_of: datetime) -> tuple[Waiting, ...]:
    """What `undecided` was answered, oldest first; what was decided since is shown as it was: waiting."""
    hour = timedelta(hours=1)
    found = sorted((moment(row.third or ""), row.number, row) for row in rows)
    return tuple(
        Waiting(number, row.first or "", row.second or "", (as_of - received) / hour, bool(row.fourth))
        for received, number, row in found
    )


def _sorted(counts: Counter[str]) -> dict[str, int]:
    """The most frequent first."""
    return dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))
