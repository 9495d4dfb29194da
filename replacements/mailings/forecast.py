"""How long the blank ballots of each style will last: the rate of replacements of late, carried on to the last day.

The rate is what was queued in the last mailing days. What is still to come is uncertain twice, since the rate is known
from few days and the days differ: the careful figure is one that is enough nineteen times in twenty (mean and variance
of a Poisson count whose rate was measured on a Poisson count, normal approximation).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import ceil, floor, sqrt
from zoneinfo import ZoneInfo

from sqlalchemy import func, literal, select, true, union_all
from sqlalchemy.orm import Session

from replacements.mailings import stock
from replacements.mailings.stock import StyleStock
from replacements.rules.calendar import is_mailing_day, local, mailing_after, mailing_days_between, next_mailing
from replacements.rules.office import Rules
from replacements.store.tables import Mailing, Packet

LOOKED_BACK = 10  # mailing days
LONGEST = timedelta(days=366)  # within which they are looked for
_QUEUED = "queued"
NINETEEN_IN_TWENTY = 1.645  # standard deviations, one-sided
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Forecast:
    """One style. `per_day`: ballots a mailing day over the last `days` mailing days. `expected`, `careful`: how many
    more will be asked for until the last mailing, beyond those that wait. `lasts_until`: the last mailing that the
    stock is enough for at this rate; None where it is enough for all."""

    stock: StyleStock
    per_day: float
    days: int
    days_left: int
    expected: int
    careful: int
    lasts_until: date | None

    @property
    def lacking(self) -> int:
        """How many to order, carefully; 0 where there are enough, and where the style was never counted."""
        on_hand = self.stock.on_hand
        return 0 if on_hand is None else max(0, self.stock.reserved + self.careful - on_hand)


def forecast(session: Session, election_id: str, rules: Rules, *, now: datetime) -> tuple[Forecast, ...]:
    """Every style of the books, in the order of its name."""
    today = local(rules, now).date()
    last = max(next_mailing(rules, rules.dates_for(overseas=o).last_request_by_mail) for o in (False, True))
    days_left = max(0, mailing_days_between(rules, today + DAY, last + DAY))
    start, _ = _window(rules, today, today - LONGEST)
    queued = (
        select(literal(_QUEUED), Packet.style, literal(""), func.count(func.distinct(Packet.ballot_number)))
        .join(Mailing, Packet.mailing_id == Mailing.id)
        .where(
            Mailing.election_id == election_id,
            # Also where the first packet is younger: then there are none before it.
            Packet.queued_at >= datetime.combine(start, time.min, tzinfo=ZoneInfo(rules.office.time_zone)),
            Packet.channel == "post",
            Packet.style.is_not(None),
        )
        .group_by(Packet.style)
    )
    read = union_all(*stock.lines(election_id), queued).subquery()
    first = select(func.min(Packet.queued_at)).join(Mailing, Packet.mailing_id == Mailing.id)
    first = first.where(Mailing.election_id == election_id)
    # Joined to one row, so that the first packet is told also where no style is in the books.
    one = select(first.scalar_subquery().label("first")).subquery()
    rows = session.execute(select(one.c.first, read).outerjoin(read, true())).all()
    lines = [row[1:] for row in rows if row[1] is not None]
    begun = local(rules, rows[0][0]).date() if rows[0][0] is not None else today
    _, days = _window(rules, today, max(begun, today - LONGEST))
    counts = {style: int(number) for what, style, _, number in lines if what == _QUEUED}
    return tuple(_of(row, counts.get(row.style, 0), days, days_left, rules, today) for row in stock.from_lines(lines))


def _window(rules: Rules, today: date, begun: date) -> tuple[date, int]:
    """The first day that is looked back to, and how many mailing days there are from it to today, today among them.
    `begun`: the day before which there is nothing."""
    start, days = today, 0
    while True:
        days += is_mailing_day(rules, start)
        if days == LOOKED_BACK or start <= begun:
            return start, max(days, 1)
        start -= DAY


def _of(row: StyleStock, queued: int, days: int, days_left: int, rules: Rules, today: date) -> Forecast:
    per_day = queued / days
    mean = per_day * days_left
    spread = sqrt(mean + mean * mean / queued) if queued else 0.0
    lasts_until = None
    if row.on_hand is not None and per_day:
        enough_for = max(0, floor((row.on_hand - row.reserved) / per_day))
        if enough_for < days_left:
            lasts_until = today
            for _ in range(enough_for):
                lasts_until = mailing_after(rules, lasts_until)
    return Forecast(row, per_day, days, days_left, round(mean), ceil(mean + NINETEEN_IN_TWENTY * spread), lasts_until)
