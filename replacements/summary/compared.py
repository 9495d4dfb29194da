"""The same figures of other days: the week before, and the same week of an earlier election.

An earlier election is one that this service ran, or one whose requests the office has loaded (`summary.history`). The
same week is the one as far from its election day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import date, datetime, time, timedelta
from typing import NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from replacements.store.tables import Election, LedgerEntry, PastRequest
from replacements.summary.asked import kinds_that_came_in
from replacements.summary.figures import Compared
from replacements.summary.ledger_days import utc_text
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
        return _counted(session, earlier.name, earlier.election_id, first, last, office, is_business_day)
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


def _counted(
    session: Session,
    what: str,
    election_id: str,
    first: date,
    last: date,
    office: ZoneInfo,
    is_business_day: Callable[[date], bool],
) -> Compared:
    start = datetime.combine(first, time(), office)
    end = datetime.combine(last + timedelta(days=1), time(), office)
    came = kinds_that_came_in(session, election_id, start, end)
    reissues = session.scalar(
        select(func.count())
        .select_from(LedgerEntry)
        .where(LedgerEntry.election_id == election_id, text("event <> 'imported'"), LedgerEntry.event == "reissued")
        .where(LedgerEntry.at >= utc_text(start), LedgerEntry.at < utc_text(end))
    )
    sent = mailed_between(session, election_id, start, end, office)
    kept = how_many_kept(sent, is_business_day)
    return Compared(what, first, last, came.requests, reissues or 0, came.by_kind, len(sent), kept)


def _loaded(
    session: Session, earlier: _Earlier, first: date, last: date, is_business_day: Callable[[date], bool]
) -> Compared:
    of_it = (PastRequest.election == earlier.name, PastRequest.held_on == earlier.held_on)
    came = session.execute(
        select(PastRequest.kind, PastRequest.outcome).where(
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
        sum(outcome == REISSUED for _, outcome in came),
        counted(kind for kind, _ in came),
        len(mailed),
        sum(left is not None and left <= promised_after(received, is_business_day) for received, left in mailed),
    )


def counted(things: Iterable[T]) -> dict[T, int]:
    """How often each comes, the most frequent first."""
    return dict(Counter(things).most_common())
