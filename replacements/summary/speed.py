"""From a request's arrival to the mailing, against the promise: the next business day's mailing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Select, case, false, func, literal, select
from sqlalchemy.orm import Session

from replacements.store.tables import Mailing, Packet
from replacements.summary.control import percentile, wilson
from replacements.summary.figures import Speed
from replacements.summary.questions import Answer, Answers, ask, clock_hour, moment, question

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
SENT, LATE = "sent", "late"
LONGEST_CLOSURE = 30  # days without a business day after which a calendar is taken to be wrong


def promised_after(day: date, is_business_day: Callable[[date], bool]) -> date:
    """The next business day after the day of a request."""
    for _ in range(LONGEST_CLOSURE):
        day += DAY
        if is_business_day(day):
            return day
    return day


class BusinessTime:
    """How many of the hours between two moments fell on business days, at the office."""

    def __init__(self, office: ZoneInfo, is_business_day: Callable[[date], bool]) -> None:
        self._office = office
        self._counts = lru_cache(maxsize=None)(is_business_day)
        self._whole: dict[date, float] = {}  # business hours from a first day to each day's beginning
        self._midnight = lru_cache(maxsize=None)(self._beginning)
        self._until_quarter = lru_cache(maxsize=None)(self._passed_until_quarter)
        self._until = lru_cache(maxsize=None)(self._passed_until)  # many packets leave in one moment

    def hours(self, start: datetime, end: datetime) -> float:
        """Hours between, those on other days left out; a day when the clocks change has 23 or 25."""
        return self._until(end) - self._passed_until(start)

    def _passed_until(self, moment: datetime) -> float:
        quarter = moment.replace(minute=moment.minute // 15 * 15, second=0, microsecond=0)
        passed, of_business = self._until_quarter(quarter)
        return passed + (moment - quarter) / HOUR if of_business else passed

    def _passed_until_quarter(self, quarter: datetime) -> tuple[float, bool]:
        """The same of a quarter of an hour, in which no day begins, and whether it is of a business day."""
        day = quarter.astimezone(self._office).date()
        of_business = self._counts(day)
        passed = (quarter - self._midnight(day)) / HOUR if of_business else 0.0
        return self._before(day) + passed, of_business

    def _before(self, day: date) -> float:
        if day not in self._whole:
            if not self._whole:
                self._whole[day] = 0.0
            first, last = min(self._whole), max(self._whole)
            while last < day:
                self._whole[last + DAY] = self._whole[last] + self._length(last)
                last += DAY
            while first > day:
                first -= DAY
                self._whole[first] = self._whole[first + DAY] - self._length(first)
        return self._whole[day]

    def _length(self, day: date) -> float:
        return (self._midnight(day + DAY) - self._midnight(day)) / HOUR if self._counts(day) else 0.0

    def _beginning(self, day: date) -> datetime:
        return datetime.combine(day, time(), self._office).astimezone(UTC)


class Sent(NamedTuple):
    """A packet that answers a request: when that came in, when the packet was mailed, and the day on which it left (one
    that is signed late is mailed late)."""

    received: datetime
    mailed: datetime
    left_on: date


def mailed_between(name: str, election_id: str, start: datetime, end: datetime) -> Select[*tuple[Any, ...]]:
    """Asks for the packets that answer a request and were mailed from `start` to before `end`; see `sent`."""
    each = question(name, Packet.received_at, Mailing.mailed_at, Mailing.goes_on, number=Packet.request_id)
    return _mailed(each, election_id, start, end)


def mailed_by_hour(name: str, election_id: str, start: datetime, end: datetime) -> Select[*tuple[Any, ...]]:
    """Asks how many of these answer requests of the same clock hour and left together; see `mailed_and_kept`."""
    words = (clock_hour(Packet.received_at), Mailing.mailed_at, Mailing.goes_on)
    return _mailed(question(name, *words), election_id, start, end).group_by(*words)


def _mailed(
    asked: Select[*tuple[Any, ...]], election_id: str, start: datetime, end: datetime
) -> Select[*tuple[Any, ...]]:
    return (
        asked.select_from(Mailing)
        .join(Packet, Packet.mailing_id == Mailing.id)
        .where(Mailing.election_id == election_id, Mailing.mailed_at >= start, Mailing.mailed_at < end)
        .where(Packet.state == "mailed", Packet.received_at.is_not(None))
    )


def sent(rows: Iterable[Answer], office: ZoneInfo) -> Sequence[Sent]:
    """What `mailed_between` was answered; days are the office's."""
    mailed_at = lru_cache(maxsize=None)(moment)
    left_on = lru_cache(maxsize=None)(
        lambda mailed, goes_on: max(date.fromisoformat(goes_on), mailed_at(mailed).astimezone(office).date())
    )
    return [Sent(moment(r.first), mailed_at(r.second), left_on(r.second, r.third)) for r in rows if r.first is not None]


def how_many_kept(packets: Iterable[Sent], is_business_day: Callable[[date], bool], office: ZoneInfo) -> int:
    """How many of these left by the next business day after the request."""
    first = _first_in_time(is_business_day, office)
    return sum(one.received >= first(one.left_on) for one in packets)


def mailed_and_kept(
    rows: Iterable[Answer], is_business_day: Callable[[date], bool], office: ZoneInfo
) -> tuple[int, int]:
    """What `mailed_by_hour` was answered: how many packets, and how many of them left by the next business day after
    the request; the zone of the office is whole hours from UTC, so that no day begins within an hour."""
    answered = [row for row in rows if row.first is not None]
    first = _first_in_time(is_business_day, office)
    packets = sent(answered, office)
    kept = (row.number for row, one in zip(answered, packets, strict=True) if one.received >= first(one.left_on))
    return sum(row.number for row in answered), sum(kept)


def _first_in_time(is_business_day: Callable[[date], bool], office: ZoneInfo) -> Callable[[date], datetime]:
    """From the day on which a packet left to the moment from when on a request must have come to be in time."""
    return lru_cache(maxsize=None)(lambda left_on: promised_by(left_on, is_business_day, office))


class Promise(NamedTuple):
    """How the promise was kept: of `mailed` packets that answer a request, `kept` left by the next business day after
    it; `overdue`: requests that are not mailed and whose promised day is past."""

    mailed: int
    kept: int
    overdue: int

    @property
    def share(self) -> float | None:
        """Between 0 and 1; None where nothing was mailed."""
        return self.kept / self.mailed if self.mailed else None


def promise(
    session: Session,
    election_id: str,
    start: datetime,
    end: datetime,
    office: ZoneInfo,
    is_business_day: Callable[[date], bool],
    *,
    mailings: Iterable[Mailing],
) -> Promise:
    """The same as `measure` counts, from `start` to before `end` and as of then, without how long each took: counted by
    the database, in one statement. `mailings`: all of the election, and maybe others."""
    first: dict[int, ColumnElement[datetime]] = {}  # by mailing: from when on a request must have come to be in time
    for one in mailings:
        if one.election_id == election_id and one.mailed_at is not None and start <= one.mailed_at < end:
            left_on = max(one.goes_on, one.mailed_at.astimezone(office).date())
            first[one.id] = literal(promised_by(left_on, is_business_day, office), Packet.received_at.type)
    today = end.astimezone(office).date()
    overdue = (
        select(func.count(Packet.request_id.distinct()))
        .where(Packet.mailing_id.in_(_not_gone(election_id, end)), Packet.state != "pulled")
        .where(Packet.received_at < min(end, promised_by(today, is_business_day, office)))
    )
    in_time = Packet.received_at >= case(first, value=Packet.mailing_id) if first else false()
    row = session.execute(
        select(func.count(), func.count().filter(in_time), overdue.scalar_subquery())
        .select_from(Packet)
        .where(Packet.mailing_id.in_(first), Packet.state == "mailed", Packet.received_at.is_not(None))
    ).one()
    return Promise(*map(int, row))


def promised_by(day: date, is_business_day: Callable[[date], bool], office: ZoneInfo) -> datetime:
    """The beginning of the first day whose requests are promised for this day or a later one."""
    first = day - DAY
    while promised_after(first - DAY, is_business_day) >= day:
        first -= DAY
    return datetime.combine(first, time(), office)


def measure(
    session: Session,
    election_id: str,
    start: datetime,
    end: datetime,
    as_of: datetime,
    office: ZoneInfo,
    is_business_day: Callable[[date], bool],
) -> Speed:
    """Packets that answer a request and were mailed between `start` and `end`; and what is overdue at `as_of`."""
    answers = ask(
        session,
        mailed_between(SENT, election_id, start, end),
        not_mailed(election_id, as_of, office, is_business_day),
    )
    return measured(answers, sent(answers[SENT], office), office, is_business_day)


def not_mailed(
    election_id: str, as_of: datetime, office: ZoneInfo, is_business_day: Callable[[date], bool]
) -> Select[*tuple[Any, ...]]:
    """Asks for the requests whose packet was not mailed at `as_of` though its promised day was past; see `measured`."""
    today = as_of.astimezone(office).date()
    return (
        question(LATE, Packet.received_at, number=Packet.request_id)
        .where(Packet.mailing_id.in_(_not_gone(election_id, as_of)), Packet.state != "pulled")
        .where(Packet.received_at < min(as_of, promised_by(today, is_business_day, office)))
    )


def measured(
    answers: Answers, packets: Sequence[Sent], office: ZoneInfo, is_business_day: Callable[[date], bool]
) -> Speed:
    """How long these packets took, and what `not_mailed` was answered."""
    time_of_business = BusinessTime(office, is_business_day)
    hours = [(one.mailed - one.received) / HOUR for one in packets]
    business = [time_of_business.hours(one.received, one.mailed) for one in packets]
    kept = how_many_kept(packets, is_business_day, office)
    late = sorted(answers[LATE], key=lambda row: (moment(row.first or ""), row.number))
    return Speed(
        mailed=len(hours),
        kept=kept,
        share=kept / len(hours) if hours else None,
        interval=wilson(kept, len(hours)) if hours else None,
        median=percentile(hours, 0.5),
        ninetieth=percentile(hours, 0.9),
        overdue=tuple(dict.fromkeys(row.number for row in late)),
        business=_three(business),
    )


def _not_gone(election_id: str, at: datetime) -> Select[int]:
    """The mailings that were not mailed at that moment."""
    return select(Mailing.id).where(
        Mailing.election_id == election_id, Mailing.mailed_at.is_(None) | (Mailing.mailed_at >= at)
    )


def _three(hours: Sequence[float]) -> tuple[float, float, float] | None:
    median, ninetieth, ninety_fifth = (percentile(hours, share) for share in (0.5, 0.9, 0.95))
    if median is None or ninetieth is None or ninety_fifth is None:
        return None
    return median, ninetieth, ninety_fifth
