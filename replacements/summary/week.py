"""One week, counted: Monday to Sunday in the office's time zone (a day may have 23 or 25 hours)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.store.tables import Ballot, Election, Message, Reply, Request
from replacements.summary.control import u_chart
from replacements.summary.events import CANCELLED, Events, read_events
from replacements.summary.figures import Columns, Day, Declined, Repeated, SharedAddress, Unusual, Waiting
from replacements.summary.figures import Week as Week
from replacements.summary.speed import measure

T = TypeVar("T")
DAYS_FOR_LIMITS = 28
SEVERAL_VOTERS = 3
SEVERAL_REPLACEMENTS = 2
WANTS_A_BALLOT = frozenset({"spoiled_ballot", "not_received"})


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
    """Count one week. `zone` is the office's (IANA name); `now` limits the ages of what waits in a week not yet over.

    `is_business_day` says on which days the office mails (the promise is the next one after the request). Raises
    ValueError where `monday` is another day of the week.
    """
    if monday.weekday() != 0:
        raise ValueError(f"{monday} is not a Monday")
    session.flush()
    office = ZoneInfo(zone)
    starts = [_midnight(monday + timedelta(days=n), office) for n in range(8)]
    start, end = starts[0], starts[7]
    as_of = max(start, min(end, now if now is not None else datetime.now(UTC)))
    came = session.scalars(
        select(Request)
        .where(Request.election_id == election_id, Request.received_at >= start, Request.received_at < end)
        .order_by(Request.id)
    ).all()
    decided = session.scalars(
        select(Request)
        .where(Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end)
        .order_by(Request.id)
    ).all()
    events = read_events(session, election_id, until=end)
    in_week = events.between(start, end)
    mean, days = _days(events, came, monday, as_of, office)
    reissued = in_week.of("reissued")
    ended = [*in_week.of("voided"), *in_week.of("suspended")]
    waiting = _waiting(session, election_id, as_of)
    return Week(
        election_id=election_id,
        monday=monday,
        sunday=monday + timedelta(days=6),
        zone=zone,
        as_of=as_of,
        messages=session.scalar(
            select(func.count()).select_from(Message).where(Message.arrived_at >= start, Message.arrived_at < end)
        )
        or 0,
        requests=len(came),
        by_kind=_counted(kind for request in came for kind in dict.fromkeys(request.kinds)),
        reissues=len(reissued),
        reissues_by_cause=_counted(entry.reason or "unknown" for entry in reissued),
        reissues_by_style=_counted(entry.style for entry in reissued),
        taken_back=len(in_week.of("reinstated")),
        speed=measure(session, election_id, start, end, as_of, office, is_business_day),
        waiting=waiting,
        asked=session.scalar(
            select(func.count())
            .select_from(Request)
            .where(Request.election_id == election_id, Request.state == "asked", Request.decided_at < as_of)
        )
        or 0,
        declined=tuple(
            Declined(request.id, request.proposal, request.decision or "declined", request.decision_note or "")
            for request in decided
            if request.state == "declined"
        ),
        voided=len(in_week.of("voided")),
        suspended=len(in_week.of("suspended")),
        voided_by_reason=_counted(entry.reason or "unknown" for entry in ended),
        this_week=_columns(in_week, came, loaded=False),
        to_date=_columns(events, _requests_until(session, election_id, end), loaded=True),
        mean_rate=mean,
        days=days,
        unusual=_unusual(session, election_id, end, in_week, came),
        decisions=len(decided),
        overrides=_counted(
            (request.proposal, request.decision)
            for request in decided
            if request.decision is not None
            and request.decision not in (request.proposal, "lapsed")  # a lapse is by rule, nobody's choice
        ),
        replies_sent=_replies(session, election_id, Reply.sent_at, "sent", start, end),
        replies_failed=_replies(session, election_id, Reply.queued_at, "failed", start, end),
    )


def same_week_before(session: Session, election_id: str, monday: date) -> tuple[str, date] | None:
    """The week as far from election day in the last election that is loaded: its election id and Monday, or None."""
    this = session.get(Election, election_id)
    if this is None:
        return None
    last = session.scalars(
        select(Election).where(Election.held_on < this.held_on).order_by(Election.held_on.desc()).limit(1)
    ).first()
    if last is None:
        return None
    away = monday - (this.held_on - timedelta(days=this.held_on.weekday()))
    return last.id, last.held_on - timedelta(days=last.held_on.weekday()) + away


def _midnight(day: date, office: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), office)


def _counted(things: Iterable[T]) -> dict[T, int]:
    return dict(Counter(things).most_common())


def _requests_until(session: Session, election_id: str, end: datetime) -> Sequence[Request]:
    return session.scalars(select(Request).where(Request.election_id == election_id, Request.received_at < end)).all()


def _waiting(session: Session, election_id: str, as_of: datetime) -> tuple[Waiting, ...]:
    """What nobody had decided at that moment, oldest first; what was decided since is shown as it was: waiting."""
    rows = session.scalars(
        select(Request)
        .where(Request.election_id == election_id, Request.received_at < as_of)
        .where(Request.decided_at.is_(None) | (Request.decided_at >= as_of))
        .where(Request.state != "filed")
        .order_by(Request.received_at, Request.id)
    )
    return tuple(
        Waiting(
            row.id,
            row.proposal,
            row.state if row.decided_at is None else "waiting",
            (as_of - row.received_at) / timedelta(hours=1),
            row.two_people,
        )
        for row in rows
    )


def _columns(events: Events, requests: Sequence[Request], *, loaded: bool) -> Columns:
    """The five columns. `loaded`: with replacements that the office's own system issued, whose day is not known."""
    wanted = [
        request
        for request in requests
        if request.continues is None and (WANTS_A_BALLOT & set(request.kinds) or request.issued_ballot is not None)
    ]
    issued, received, counted, rejected = set(), set(), set(), set()
    for entry in events.entries:
        if entry.number not in events.replacements or (entry.event == "imported" and not loaded):
            continue
        if entry.event in ("reissued", "imported"):
            issued.add(entry.number)
        if entry.state in ("returned", "accepted", "challenged"):
            received.add(entry.number)
        if entry.event == "return_undone" and entry.before == "returned":
            received.discard(entry.number)
        if entry.state == "accepted":
            counted.add(entry.number)
        if entry.state == "voided" and entry.before in ("returned", "challenged"):
            rejected.add(entry.number)
    return Columns(len(wanted), len(issued), len(received), len(counted), len(rejected))


def _days(
    events: Events, came: Sequence[Request], monday: date, as_of: datetime, office: ZoneInfo
) -> tuple[float | None, tuple[Day, ...]]:
    """Each day's requests and reissues, and its rate against limits that rest on the four weeks up to this Sunday.

    A day that has not begun has no rate, and bends no limit.
    """
    requests = Counter(request.received_at.astimezone(office).date() for request in came)
    first = monday - timedelta(days=DAYS_FOR_LIMITS - 7)
    edges = [_midnight(first + timedelta(days=n), office) for n in range(DAYS_FOR_LIMITS + 1)]
    reissues, out = events.by_day(edges)
    counted = [n for n in range(DAYS_FOR_LIMITS) if out[n] > 0 and edges[n] < as_of]
    chart = u_chart([reissues[n] for n in counted], [out[n] / 1000 for n in counted])
    points = dict(zip(counted, chart.points, strict=True))
    days = []
    for n in range(7):
        day, place = monday + timedelta(days=n), DAYS_FOR_LIMITS - 7 + n
        days.append(Day(day, requests[day], reissues[place], out[place], points.get(place)))
    return (chart.mean if counted else None), tuple(days)


def _unusual(session: Session, election_id: str, end: datetime, in_week: Events, came: Sequence[Request]) -> Unusual:
    rows = session.execute(
        select(Message.sender, Request.voter_id, Request.id)
        .join(Message, Message.id == Request.message_id)
        .where(Request.election_id == election_id, Request.received_at < end)
        .where(Request.voter_id.is_not(None), Message.sender != "")
        .order_by(Request.id)
    ).all()
    voters: dict[str, set[str]] = {}
    requests: dict[str, list[int]] = {}
    for sender, voter_id, request_id in rows:
        voters.setdefault(sender.casefold(), set()).add(voter_id or "")
        requests.setdefault(sender.casefold(), []).append(request_id)
    this_week = {request.id for request in came}
    shared = [
        SharedAddress(len(voters[sender]), tuple(ids))
        for sender, ids in requests.items()
        if len(voters[sender]) >= SEVERAL_VOTERS and this_week & set(ids)
    ]
    replaced = session.execute(
        select(Ballot.voter_id, func.count())
        .where(Ballot.election_id == election_id, Ballot.replaces.is_not(None))
        .where((Ballot.state != "voided") | Ballot.void_reason.is_(None) | (Ballot.void_reason != CANCELLED))
        .group_by(Ballot.voter_id)
        .having(func.count() >= SEVERAL_REPLACEMENTS)
        .order_by(func.count().desc(), Ballot.voter_id)
    ).all()
    undone = {entry.number for entry in in_week.of("return_undone") if not entry.state}  # a stop, scanned by mistake
    stopped = (entry.number for entry in in_week.of("returned_after_void"))
    back = dict.fromkeys(number for number in stopped if number and number not in undone)
    return Unusual(
        tuple(sorted(shared, key=lambda entry: (-entry.voters, entry.requests))),
        tuple(Repeated(voter_id, count) for voter_id, count in replaced),
        tuple(back),
    )


def _replies(
    session: Session, election_id: str, moment: InstrumentedAttribute[Any], state: str, start: datetime, end: datetime
) -> int:
    counted = (
        select(func.count())
        .select_from(Reply)
        .join(Request, Request.id == Reply.request_id)
        .where(Request.election_id == election_id, Reply.state == state, moment >= start, moment < end)
    )
    return session.scalar(counted) or 0
