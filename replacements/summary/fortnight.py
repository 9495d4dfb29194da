"""The last two weeks, day by day: what came in, what was decided, what was mailed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, case, func, literal, literal_column, select, union_all
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
    packets = select(func.count()).select_from(Packet).join(Mailing, Mailing.id == Packet.mailing_id)
    packets = packets.where(Mailing.election_id == election_id, Packet.state == "mailed")
    counted = union_all(
        _by_day("came", Request.received_at, edges, select(func.count()).where(here)),
        _by_day("decided", Request.decided_at, edges, select(func.count()).where(here)),
        _by_day("mailed", Mailing.mailed_at, edges, packets),
    )
    found = {(what, int(place)): int(count) for count, what, place in session.execute(counted)}
    return tuple(
        OneDay(day, *(found.get((what, place), 0) for what in ("came", "decided", "mailed")))
        for place, day in enumerate(days)
    )


def _by_day(
    what: str, at: InstrumentedAttribute[Any], edges: Sequence[datetime], counted: Select[int]
) -> Select[int, str, int]:
    """How many of what is counted fall between each two edges, what it is, and which two. The database counts: a county
    has many requests."""
    day = case(*((at < edge, place) for place, edge in enumerate(edges[1:])))
    within = counted.where(at >= edges[0], at < edges[-1])
    return within.add_columns(literal(what).label("what"), day.label("nth")).group_by(literal_column("nth"))
