"""When a reply is to be tried: how long a claim on it lasts, how long it waits after each try, what is due now."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, and_, or_

from replacements.store.tables import Reply

CLAIM = timedelta(minutes=10)
WAITS = (timedelta(minutes=1), timedelta(minutes=5), timedelta(minutes=15), timedelta(hours=1))  # the last one repeats
LONGEST_WAIT = WAITS[-1] + CLAIM  # with the time that a sender may be behind in its round


def is_due(at: datetime) -> ColumnElement[bool]:
    """Whether a reply is to be tried at this moment. One that is to wait longer than any reply ever waits was put off
    by a clock that has been put back since: it is due, or it would wait until that time has come again."""
    put_off = and_(Reply.state == "queued", Reply.next_try_at > at + LONGEST_WAIT)
    return and_(Reply.state.in_(("queued", "sending")), or_(Reply.next_try_at <= at, put_off))
