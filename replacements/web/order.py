"""In which order waiting requests are worked through: what may be a threat, what the mailing waits for, then the rest,
each oldest first."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, String, case, cast, or_, select
from sqlalchemy.orm import Session

from replacements.requests.came_back import RULE as UNDELIVERED
from replacements.requests.upcoming import FOR_THE_MAILING
from replacements.store.tables import Request

THREAT = "trade.threat"  # the rule that a proposal to read a threat at once rests on


def may_be_a_threat() -> ColumnElement[bool]:
    return cast(Request.reasons, String).contains(THREAT)


def came_back() -> ColumnElement[bool]:
    """Requests that wait because a reply of the office's came back undelivered."""
    return cast(Request.reasons, String).contains(UNDELIVERED)


def for_the_mailing() -> ColumnElement[bool]:
    return Request.proposal.in_(FOR_THE_MAILING)


def first_things_first() -> tuple[ColumnElement[Any], ...]:
    """What to order a query of waiting requests by."""
    return pressing(), Request.received_at.asc(), Request.id.asc()


def pressing() -> ColumnElement[int]:
    """How soon a waiting request is due: a small number before a larger one."""
    return case((may_be_a_threat(), 0), (for_the_mailing(), 1), else_=2)


def next_waiting(session: Session, election_id: str, *, at: datetime, besides: int | None = None) -> int | None:
    """The request that a clerk would open next; `besides` is open already. What is on hold is left out."""
    found = select(Request.id).where(
        Request.state == "waiting",
        Request.election_id == election_id,
        or_(Request.held_until.is_(None), Request.held_until <= at),
    )
    if besides is not None:
        found = found.where(Request.id != besides)
    return session.scalar(found.order_by(*first_things_first()).limit(1))
