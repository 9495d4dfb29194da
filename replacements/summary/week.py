"""One week, counted: Monday to Sunday in the office's time zone (a day may have 23 or 25 hours), or other days."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.store.tables import Message, Reply, Request
from replacements.summary import unusual
from replacements.summary.asked import Decided, came_in, decided_in, hours, waiting_at, wanted
from replacements.summary.asked import days as days_of
from replacements.summary.compared import counted, days_before, same_week_before
from replacements.summary.control import u_chart
from replacements.summary.figures import Columns, Day, Declined, Unusual, Where
from replacements.summary.figures import Week as Week
from replacements.summary.ledger_days import PRECINCT, REASON, STYLE, Days, Tally, read_days
from replacements.summary.machine import measure_machine
from replacements.summary.rates import charted, rates, shares
from replacements.summary.speed import measure

DAY = timedelta(days=1)
DAYS_FOR_LIMITS = 28
LONGEST = 400  # days that one summary may span
ALL, OVERSEAS = "all", "overseas"
PLACES = tuple(one.name for one in fields(Where))


def monday_to_friday(day: date) -> bool:
    """A business day where the office's own calendar is not at hand."""
    return day.weekday() < 5


def week(
    session: Session,
    election_id: str,
    monday: date,
    zone: str,
    *,
    now: datetime | None = None,
    is_business_day: Callable[[date], bool] = monday_to_friday,
) -> Week:
    """Count one week; see `stretch`. Raises ValueError where `monday` is another day of the week."""
    if monday.weekday() != 0:
        raise ValueError(f"{monday} is not a Monday")
    return stretch(session, election_id, monday, monday + 6 * DAY, zone, now=now, is_business_day=is_business_day)


def stretch(
    session: Session,
    election_id: str,
    first: date,
    last: date,
    zone: str,
    *,
    now: datetime | None = None,
    is_business_day: Callable[[date], bool] = monday_to_friday,
) -> Week:
    """Count the days from `first` to `last`, both included. `zone` is the office's (IANA name); `now` limits the ages
    of what waits where the last day is not over.

    `is_business_day` says on which days the office mails (the promise is the next one after the request). Raises
    ValueError where `last` is before `first` or more than LONGEST days lie between.
    """
    if not first <= last < first + LONGEST * DAY:
        raise ValueError(f"{first} to {last} is not a stretch of 1 to {LONGEST} days")
    session.flush()
    office = ZoneInfo(zone)
    start, end = _midnight(first, office), _midnight(last + DAY, office)
    as_of = max(start, min(end, now if now is not None else datetime.now(UTC)))
    came = came_in(session, election_id, start, end)
    decided = decided_in(session, election_id, start, end)
    chart_from = min(first, last + DAY - DAYS_FOR_LIMITS * DAY)
    before = first - (last + DAY - first)  # as many days, just before
    books = read_days(session, election_id, zone, since=min(chart_from, before), until=last)
    by_hour = hours(session, election_id, start, end)
    mean, days = _days(books, days_of(by_hour, office), first, last, chart_from, as_of, office)
    tally, whole_days = books.tally(first, last), [day.day for day in days]
    causes = books.by_name(REASON, first, last, "reissued")
    week_columns, to_date = _columns(
        books, first, last, wanted(session, election_id, start, end), wanted(session, election_id, None, end)
    )
    return Week(
        election_id=election_id,
        first=first,
        last=last,
        zone=zone,
        as_of=as_of,
        messages=session.scalar(
            select(func.count()).select_from(Message).where(Message.arrived_at >= start, Message.arrived_at < end)
        )
        or 0,
        requests=came.requests,
        by_kind=came.by_kind,
        reissues=tally.reissued,
        reissues_by_cause=causes,
        reissues_by_style=books.by_name(STYLE, first, last, "reissued"),
        taken_back=tally.taken_back,
        speed=measure(session, election_id, start, end, as_of, office, is_business_day),
        waiting=waiting_at(session, election_id, as_of),
        asked=session.scalar(
            select(func.count())
            .select_from(Request)
            .where(Request.election_id == election_id, Request.state == "asked", Request.decided_at < as_of)
        )
        or 0,
        declined=_declined(session, election_id, start, end, decided),
        voided=tally.voids,
        suspended=tally.suspensions,
        voided_by_reason=_ended(books, first, last),
        this_week=week_columns["replacements"],
        to_date=to_date["replacements"],
        mean_rate=mean,
        days=days,
        unusual=_unusual(session, election_id, books, by_hour, decided, start, end, whole_days, office),
        decisions=len(decided),
        overrides=counted((r.proposal, r.decision) for r in decided if r.overridden and r.decision is not None),
        replies_sent=_replies(session, election_id, Reply.sent_at, "sent", start, end),
        replies_failed=_replies(session, election_id, Reply.queued_at, "failed", start, end),
        books={name: (week_columns[name], to_date[name]) for name in (ALL, OVERSEAS)},
        styles=rates(books, STYLE, whole_days, "spoiled"),
        precincts=rates(books, PRECINCT, whole_days, "reissued"),
        kinds=shares(came.by_kind, came.requests),
        causes=shares(causes, tally.reissued),
        languages=shares(came.by_language, came.requests),
        machine=measure_machine(session, election_id, start, end, decided),
        before=replace(
            days_before(session, election_id, first, last, office, is_business_day),
            by_cause=books.by_name(REASON, before, first - DAY, "reissued"),
            by_style=books.by_name(STYLE, before, first - DAY, "reissued"),
        ),
        earlier=same_week_before(session, election_id, first, last, office, is_business_day),
        where={style: Where(*(getattr(tally, name) for name in PLACES)) for style, tally in books.places().items()},
    )


def _midnight(day: date, office: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), office)


def _declined(
    session: Session, election_id: str, start: datetime, end: datetime, decided: Sequence[Decided]
) -> tuple[Declined, ...]:
    notes = {}
    if any(request.state == "declined" for request in decided):
        rows = session.execute(
            select(Request.id, Request.decision_note).where(
                Request.election_id == election_id,
                Request.decided_at >= start,
                Request.decided_at < end,
                Request.state == "declined",
            )
        )
        notes = {row.id: row.decision_note for row in rows}
    return tuple(
        Declined(request.id, request.proposal, request.decision or "declined", notes.get(request.id) or "")
        for request in decided
        if request.state == "declined"
    )


def _ended(books: Days, first: date, last: date) -> dict[str, int]:
    """Ballots voided or suspended, by reason."""
    found = Counter(books.by_name(REASON, first, last, "voids"))
    found.update(books.by_name(REASON, first, last, "suspensions"))
    return dict(found.most_common())


def _columns(
    books: Days, first: date, last: date, asked: int, asked_to_date: int
) -> tuple[Mapping[str, Columns], Mapping[str, Columns]]:
    """The columns of this week and to date: of replacements, of all ballots, of all ballots of voters overseas.

    What the office's own system issued, and what had come back when it was loaded, counts to date alone: its day is not
    known.
    """

    def of(tally: Tally, requested: int | None) -> Columns:
        return Columns(requested, tally.issued, tally.received, tally.accepted, tally.rejected)

    this_week = {
        "replacements": of(books.tally(first, last, replacement=True, loaded=False), asked),
        ALL: of(books.tally(first, last, loaded=False), None),
        OVERSEAS: of(books.tally(first, last, loaded=False, overseas=True), None),
    }
    to_date = {
        "replacements": of(books.tally(None, last, replacement=True), asked_to_date),
        ALL: of(books.tally(None, last), None),
        OVERSEAS: of(books.tally(None, last, overseas=True), None),
    }
    return this_week, to_date


def _days(
    books: Days,
    requests: Mapping[date, int],
    first: date,
    last: date,
    chart_from: date,
    as_of: datetime,
    office: ZoneInfo,
) -> tuple[float | None, tuple[Day, ...]]:
    """Each day's requests and reissues, and its rate against limits that rest on the four weeks up to the last day.

    A day that has not begun has no rate, and bends no limit.
    """
    all_days = [chart_from + n * DAY for n in range((last - chart_from).days + 1)]
    reissues, out = books.by_day(all_days, "reissued"), books.whole_out_by_day(all_days)
    begun = [n for n, day in enumerate(all_days) if out[n] > 0 and _midnight(day, office) < as_of]
    chart = u_chart([reissues[n] for n in begun], [out[n] / 1000 for n in begun])
    points = dict(zip(begun, chart.points, strict=True))
    days = tuple(
        Day(day, requests.get(day, 0), reissues[n], out[n], points.get(n))
        for n, day in enumerate(all_days)
        if day >= first
    )
    return (chart.mean if begun else None), days


def _unusual(
    session: Session,
    election_id: str,
    books: Days,
    by_hour: Mapping[datetime, int],
    decided: Sequence[Decided],
    start: datetime,
    end: datetime,
    days: Sequence[date],
    office: ZoneInfo,
) -> Unusual:
    # An undone scan of an earlier week takes nothing away from these days, and no rate is less than nothing.
    found = books.by_name(PRECINCT, days[0], days[-1], "brought_back")
    brought_back = {name: max(count, 0) for name, count in found.items()}
    out = {name: max(row) for name, row in books.out_by_day(days, PRECINCT).items()}
    return Unusual(
        unusual.shared_addresses(session, election_id, start, end),
        unusual.repeated(session, election_id),
        unusual.voided_returned(session, election_id, start, end),
        unusual.bursts(hours(session, election_id, start - DAYS_FOR_LIMITS * DAY, start), by_hour, office),
        unusual.above(charted(brought_back, out)),
        unusual.overriding(session, decided),
    )


def _replies(
    session: Session, election_id: str, moment: InstrumentedAttribute[Any], state: str, start: datetime, end: datetime
) -> int:
    matching = (
        select(func.count())
        .select_from(Reply)
        .join(Request, Request.id == Reply.request_id)
        .where(Request.election_id == election_id, Reply.state == state, moment >= start, moment < end)
    )
    return session.scalar(matching) or 0
