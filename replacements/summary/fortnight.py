"""The last two weeks, day by day: what came in, what was decided, what was mailed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import case, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.store.tables import Mailing, Packet, Request

DAYS = 14


@dataclass(frozen=True, slots=True)
class OneDay:
    """`came`, `decided`: requests; `mailed`: packets whose mailing two people signed off on this day."""

    day: date
    came: int
    decided: int
    mailed: int


def fortnight(session: Session, election_id: str, last: date, zone: str) -> tuple[OneDay, ...]:
    """The 14 days up to `last`, the oldest first. A day is the office's: `zone` is its IANA name."""
    days = [last - timedelta(days=DAYS - 1 - place) for place in range(DAYS)]
    edges = [datetime.combine(day, time(), ZoneInfo(zone)) for day in (*days, last + timedelta(days=1))]
    here = Request.election_id == election_id
    came = _by_day(session, Request.received_at, edges, select(func.count()).where(here))
    decided = _by_day(session, Request.decided_at, edges, select(func.count()).where(here))
    packets = select(func.count()).select_from(Packet).join(Mailing, Mailing.id == Packet.mailing_id)
    packets = packets.where(Mailing.election_id == election_id, Packet.state == "mailed")
    mailed = _by_day(session, Mailing.mailed_at, edges, packets)
    return tuple(OneDay(day, came[place], decided[place], mailed[place]) for place, day in enumerate(days))


def _by_day(
    session: Session, at: InstrumentedAttribute[Any], edges: Sequence[datetime], counted: Any
) -> dict[int, int]:
    """How many of what is counted fall between each two edges. The database counts: a county has many requests."""
    day = case(*((at < edge, place) for place, edge in enumerate(edges[1:])))
    rows = session.execute(counted.add_columns(day).where(at >= edges[0], at < edges[-1]).group_by(day))
    found = dict.fromkeys(range(len(edges) - 1), 0)
    found.update({int(place): int(count) for count, place in rows})
    return found
