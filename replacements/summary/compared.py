"""The same figures of other days: the week before, and the same week of an earlier election.

An earlier election is one that this service ran, or one whose requests the office has loaded (`summary.history`). The
same week is the one as far from its election day.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, TextClause, func, select, text
from sqlalchemy.orm import Session

from replacements.store.tables import Ballot, Election, LedgerEntry, PastRequest
from replacements.summary.asked import kinds_that_came_in
from replacements.summary.figures import Compared
from replacements.summary.ledger_days import UNKNOWN, utc_text
from replacements.summary.speed import how_many_kept, mailed_between, promised_after

BEFORE = "the days before"
REISSUED = "reissued"  # the outcome of a past request that was answered with a ballot
T = TypeVar("T")


class _Earlier(NamedTuple):
    name: str
    held_on: date
    election_id: str | None  # None: its requests were loaded from a file


def days_before(
    session: Session,
    election_id: str,
    first: date,
    last: date,
    office: ZoneInfo,
    is_business_day: Callable[[date], bool],
) -> Compared:
    """As many days, just before."""
    length = last - first + timedelta(days=1)
    return _counted(session, BEFORE, election_id, first - length, last - length, office, is_business_day)


def same_week_before(
    session: Session,
    election_id: str,
    first: date,
    last: date,
    office: ZoneInfo,
    is_business_day: Callable[[date], bool],
) -> Compared | None:
    """The days as far from election day in the last election before this one that is on record or loaded, or None."""
    this = session.get(Election, election_id)
    earlier = _last_before(session, this.held_on) if this is not None else None
    if this is None or earlier is None:
        return None
    away = _monday(earlier.held_on) - _monday(this.held_on)
    first, last = first + away, last + away
    if earlier.election_id is not None:
        then = _counted(session, earlier.name, earlier.election_id, first, last, office, is_business_day)
        reasons, styles = _reissued(session, earlier.election_id, first, last, office)
        return replace(then, by_cause=reasons, by_style=styles)
    return _loaded(session, earlier, first, last, is_business_day)


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _last_before(session: Session, held_on: date) -> _Earlier | None:
    own = session.execute(
        select(Election.name, Election.held_on, Election.id)
        .where(Election.held_on < held_on)
        .order_by(Election.held_on.desc(), Election.id)
        .limit(1)
    ).first()
    loaded = session.execute(
        select(PastRequest.election, PastRequest.held_on)
        .where(PastRequest.held_on < held_on)
        .order_by(PastRequest.held_on.desc(), PastRequest.election)
        .limit(1)
    ).first()
    # Of two of the same day the service's own record goes before a file.
    found = [_Earlier(*own)] if own else []
    found += [_Earlier(loaded[0], loaded[1], None)] if loaded else []
    return max(found, key=lambda one: (one.held_on, one.election_id is not None), default=None)


def _reissued(
    session: Session, election_id: str, first: date, last: date, office: ZoneInfo
) -> tuple[dict[str, int], dict[str, int]]:
    """Reissues by reason and by style."""
    entries = session.execute(
        select(LedgerEntry.details, Ballot.style)
        .outerjoin(Ballot, Ballot.number == LedgerEntry.ballot_number)
        .where(*_reissues(election_id, *_moments(first, last, office)))
    )
    rows = [(json.loads(details), style) for details, style in entries]
    return (
        counted(details.get("reason") or UNKNOWN for details, _ in rows),
        counted(details.get("style") or style or UNKNOWN for details, style in rows),
    )


def _moments(first: date, last: date, office: ZoneInfo) -> tuple[datetime, datetime]:
    return datetime.combine(first, time(), office), datetime.combine(last + timedelta(days=1), time(), office)


def _reissues(election_id: str, start: datetime, end: datetime) -> tuple[ColumnElement[bool] | TextClause, ...]:
    return (
        LedgerEntry.election_id == election_id,
        text("event <> 'imported'"),
        LedgerEntry.event == "reissued",
        LedgerEntry.at >= utc_text(start),
        LedgerEntry.at < utc_text(end),
    )


def _counted(
    session: Session,
    what: str,
    election_id: str,
    first: date,
    last: date,
    office: ZoneInfo,
    is_business_day: Callable[[date], bool],
) -> Compared:
    start, end = _moments(first, last, office)
    came = kinds_that_came_in(session, election_id, start, end)
    reissues = session.scalar(select(func.count()).select_from(LedgerEntry).where(*_reissues(election_id, start, end)))
    sent = mailed_between(session, election_id, start, end, office)
    kept = how_many_kept(sent, is_business_day)
    return Compared(what, first, last, came.requests, reissues or 0, came.by_kind, len(sent), kept)


def _loaded(
    session: Session, earlier: _Earlier, first: date, last: date, is_business_day: Callable[[date], bool]
) -> Compared:
    of_it = (PastRequest.election == earlier.name, PastRequest.held_on == earlier.held_on)
    came = session.execute(
        select(PastRequest.kind, PastRequest.outcome, PastRequest.cause, PastRequest.style).where(
            *of_it, PastRequest.received_on >= first, PastRequest.received_on <= last
        )
    ).all()
    mailed = session.execute(
        select(PastRequest.received_on, PastRequest.mailed_on).where(
            *of_it, PastRequest.mailed_on >= first, PastRequest.mailed_on <= last
        )
    ).all()
    return Compared(
        earlier.name,
        first,
        last,
        len(came),
        sum(row.outcome == REISSUED for row in came),
        counted(row.kind for row in came),
        len(mailed),
        sum(left is not None and left <= promised_after(received, is_business_day) for received, left in mailed),
        _said(row.cause for row in came if row.outcome == REISSUED),
        _said(row.style for row in came if row.outcome == REISSUED),
    )


def _said(cells: Iterable[str]) -> dict[str, int] | None:
    """How often each stands in a file; None where it says nothing of any of its lines."""
    found = counted(cells)
    return None if found.keys() == {""} else {name or UNKNOWN: count for name, count in found.items()}


def beside(
    these: Mapping[str, int], others: Sequence[Mapping[str, int] | None]
) -> list[tuple[str, int, tuple[int | None, ...]]]:
    """Each name that any has, in alphabetical order, with its number now, and those of the other days; None where
    nothing is known of them."""
    names = sorted({*these, *(name for those in others for name in those or ())})
    return [
        (name, these.get(name, 0), tuple(None if those is None else those.get(name, 0) for those in others))
        for name in names
    ]


def counted(things: Iterable[T]) -> dict[T, int]:
    """How often each comes, the most frequent first."""
    return dict(Counter(things).most_common())
