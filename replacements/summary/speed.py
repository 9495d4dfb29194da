"""From a request's arrival to the mailing, against the promise: the next business day's mailing."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.store.tables import Mailing, Packet, Request
from replacements.summary.control import percentile, wilson
from replacements.summary.figures import Speed

LONGEST_CLOSURE = 30  # days without a business day after which a calendar is taken to be wrong


def promised(received: datetime, office: ZoneInfo, is_business_day: Callable[[date], bool]) -> date:
    """The next business day after the day of a request, in the office's zone."""
    day = received.astimezone(office).date()
    for _ in range(LONGEST_CLOSURE):
        day += timedelta(days=1)
        if is_business_day(day):
            return day
    return day


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
    hours: list[float] = []
    kept = 0
    rows = session.execute(
        select(Request.received_at, Mailing.mailed_at, Mailing.goes_on)
        .join(Packet, Packet.request_id == Request.id)
        .join(Mailing, Mailing.id == Packet.mailing_id)
        .where(Request.election_id == election_id, Packet.state == "mailed")
        .where(Mailing.mailed_at >= start, Mailing.mailed_at < end)
    )
    for received, mailed, goes_on in rows:
        if mailed is None:
            continue
        hours.append((mailed - received) / timedelta(hours=1))
        left = max(goes_on, mailed.astimezone(office).date())  # signed late is mailed late
        kept += left <= promised(received, office, is_business_day)
    late = session.execute(
        select(Request.id, Request.received_at)
        .join(Packet, Packet.request_id == Request.id)
        .join(Mailing, Mailing.id == Packet.mailing_id)
        .where(Request.election_id == election_id, Request.received_at < as_of, Packet.state != "pulled")
        .where(Mailing.mailed_at.is_(None) | (Mailing.mailed_at >= as_of))
        .order_by(Request.received_at, Request.id)
    )
    today = as_of.astimezone(office).date()
    overdue = tuple(
        dict.fromkeys(number for number, received in late if promised(received, office, is_business_day) < today)
    )
    return Speed(
        mailed=len(hours),
        kept=kept,
        share=kept / len(hours) if hours else None,
        interval=wilson(kept, len(hours)) if hours else None,
        median=percentile(hours, 0.5),
        ninetieth=percentile(hours, 0.9),
        overdue=overdue,
    )
