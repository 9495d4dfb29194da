"""The requests of a stretch of days: counted where they lie, or as rows of codes, times and ids. No names, and nothing
that a voter wrote."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Text, cast, func, select, text
from sqlalchemy.orm import Session

from replacements.store.tables import Message, Request
from replacements.store.tables.requests import ASKS_FOR_A_BALLOT
from replacements.summary.figures import Waiting

LAPSED, DECLINED = "lapsed", "declined"
NO_LANGUAGE = "und"
_TO_THE_HOUR = len("2031-10-06 09")


@dataclass(frozen=True)
class Came:
    """What came in: how many requests, of which kinds (one of two kinds counts in both), in which languages."""

    requests: int
    by_kind: Mapping[str, int]
    by_language: Mapping[str, int]


class Decided(NamedTuple):
    """A request that was decided. `who`, `first`: how sure the identification was, and of which voter; `sure`, `kind`:
    the same of what its message asks. None where nothing was claimed."""

    id: int
    message_id: int
    kinds: list[str]
    standing: str | None
    proposal: str
    decision: str | None
    state: str
    decided_by: str | None
    voter_id: str | None
    who: float | None
    first: str | None
    sure: float | None
    kind: str | None

    @property
    def overridden(self) -> bool:
        """Whether somebody decided otherwise than proposed; a lapse is by rule, nobody's choice."""
        return self.decision is not None and self.decision not in (self.proposal, LAPSED)


def _received(election_id: str, start: datetime, end: datetime) -> tuple[ColumnElement[bool], ...]:
    return Request.election_id == election_id, Request.received_at >= start, Request.received_at < end


def came_in(session: Session, election_id: str, start: datetime, end: datetime) -> Came:
    """The requests received from `start` to before `end`."""
    kinds, language = cast(Request.kinds, Text), Request.judged["language"].as_string()
    return _came(_grouped(session, election_id, start, end, kinds, language))


def kinds_that_came_in(session: Session, election_id: str, start: datetime, end: datetime) -> Came:
    """The same without languages, for which every request's judgement would have to be read."""
    rows = _grouped(session, election_id, start, end, cast(Request.kinds, Text))
    return replace(_came((kinds, None, count) for kinds, count in rows), by_language={})


def _grouped(
    session: Session, election_id: str, start: datetime, end: datetime, *by: ColumnElement[Any]
) -> Sequence[Any]:
    return session.execute(select(*by, func.count()).where(*_received(election_id, start, end)).group_by(*by)).all()


def _came(rows: Iterable[Any]) -> Came:
    rows = list(rows)
    by_kind, by_language = Counter[str](), Counter[str]()
    for listed, spoken, count in rows:
        by_language[spoken or NO_LANGUAGE] += count
        for kind in dict.fromkeys(json.loads(listed)):
            by_kind[kind] += count
    return Came(sum(count for _, _, count in rows), _sorted(by_kind), _sorted(by_language))


def hours(session: Session, election_id: str, start: datetime, end: datetime) -> dict[datetime, int]:
    """How many requests were received in each clock hour (its beginning, UTC) from `start` to before `end`."""
    hour = func.substr(cast(Request.received_at, Text), 1, _TO_THE_HOUR)  # stored in UTC, alike on both databases
    rows = session.execute(select(hour, func.count()).where(*_received(election_id, start, end)).group_by(hour))
    return {datetime.fromisoformat(f"{text_}:00").replace(tzinfo=UTC): count for text_, count in rows}


def days(counts: Mapping[datetime, int], office: ZoneInfo) -> Counter[date]:
    """The same by days at the office; its zone is whole hours from UTC."""
    found = Counter[date]()
    for hour, count in counts.items():
        found[hour.astimezone(office).date()] += count
    return found


def decided_in(session: Session, election_id: str, start: datetime, end: datetime) -> Sequence[Decided]:
    """The requests decided from `start` to before `end`, by id."""
    rows = session.execute(
        select(
            Request.id,
            Request.message_id,
            cast(Request.kinds, Text),
            Request.standing,
            Request.proposal,
            Request.decision,
            Request.state,
            Request.decided_by,
            Request.voter_id,
            Request.judged["p"].as_float(),
            Request.judged[("candidates", 0, "voter_id")].as_string(),
            Message.judgement[("kinds", 0, "p")].as_float(),
            Message.judgement[("kinds", 0, "kind")].as_string(),
        )
        .join(Message, Message.id == Request.message_id)
        .where(Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end)
        .order_by(Request.id)
    )
    read = cache(json.loads)  # thousands of requests, a few kinds
    return [Decided(number, message, read(kinds), *rest) for number, message, kinds, *rest in rows]


def wanted(session: Session, election_id: str, start: datetime | None, end: datetime) -> int:
    """How many requests for a replacement came in from `start` (or ever) to before `end`."""
    found = (
        select(func.count())
        .select_from(Request)
        .where(Request.election_id == election_id, Request.received_at < end, text(ASKS_FOR_A_BALLOT))
    )
    return session.scalar(found if start is None else found.where(Request.received_at >= start)) or 0


def waiting_at(session: Session, election_id: str, as_of: datetime) -> tuple[Waiting, ...]:
    """What nobody had decided at that moment, oldest first; what was decided since is shown as it was: waiting."""
    rows = session.execute(
        select(Request.id, Request.proposal, Request.state, Request.received_at, Request.decided_at, Request.two_people)
        .where(Request.election_id == election_id, Request.received_at < as_of)
        .where(Request.decided_at.is_(None) | (Request.decided_at >= as_of))
        .where(Request.state != "filed")
        .order_by(Request.received_at, Request.id)
    )
    hour = timedelta(hours=1)
    return tuple(
        Waiting(number, proposal, state if decided is None else "waiting", (as_of - received) / hour, two_people)
        for number, proposal, state, received, decided, two_people in rows
    )


def _sorted(counts: Counter[str]) -> dict[str, int]:
    """The most frequent first."""
    return dict(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))
