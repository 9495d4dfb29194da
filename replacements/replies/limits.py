"""How many replies may go in a minute, an hour, a day: providers close an account that sends more than they allow."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import and_, func, or_, select
from sqlalchemy.orm import Session

from replacements.replies.transport import TransportSetting
from replacements.store.tables import Reply

USUAL = "60/minute"
_SPANS = {"minute": timedelta(minutes=1), "hour": timedelta(hours=1), "day": timedelta(days=1)}
_ONE = re.compile(r"(\d{1,7})/(minute|hour|day)")


@dataclass(frozen=True, slots=True)
class Limit:
    """At most so many replies in any such span of time."""

    most: int
    span: timedelta


def parse_limits(text: str) -> tuple[Limit, ...]:
    """The limits that a setting names; the usual one where it is empty. Raises TransportSetting."""
    limits = []
    for word in (text or USUAL).replace(",", " ").split():
        found = _ONE.fullmatch(word)
        if found is None or int(found[1]) < 1:
            raise TransportSetting(
                "REPLACEMENTS_OUTBOX_LIMIT cannot be understood. Write how many replies may go, such as "
                "20/minute 1000/day (also /hour)."
            )
        limits.append(Limit(int(found[1]), _SPANS[found[2]]))
    return tuple(limits)


def may_go(session: Session, limits: Sequence[Limit], now: datetime) -> bool:
    """Whether one more reply may go now. What is being sent at this moment counts as sent."""
    return all(_gone(session, now - limit.span, now) < limit.most for limit in limits)


def _gone(session: Session, since: datetime, now: datetime) -> int:
    """How many have gone since then. What went in what is the future now went by a clock that has been put back: it
    counts no more, or nothing would go until that time has come again."""
    went = and_(Reply.state == "sent", Reply.sent_at > since, Reply.sent_at <= now)
    gone = or_(went, Reply.state == "sending")
    return session.scalar(select(func.count()).select_from(Reply).where(gone)) or 0
