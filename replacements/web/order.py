"""In which order waiting requests are worked through: what may be a threat, what the mailing waits for, then the rest,
each oldest first."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, String, case, cast, or_, select
from sqlalchemy.orm import aliased

from replacements.requests.came_back import RULE as UNDELIVERED
from replacements.requests.upcoming import FOR_THE_MAILING
from replacements.store.tables import Request

THREAT = "trade.threat"  # the rule that a proposal to read a threat at once rests on


def may_be_a_threat(of: type[Request] = Request) -> ColumnElement[bool]:
    return cast(of.reasons, String).contains(THREAT)


def came_back() -> ColumnElement[bool]:
    """Requests that wait because a reply of the office's came back undelivered."""
    return cast(Request.reasons, String).contains(UNDELIVERED)


def for_the_mailing(of: type[Request] = Request) -> ColumnElement[bool]:
    return of.proposal.in_(FOR_THE_MAILING)


def first_things_first(of: type[Request] = Request) -> tuple[ColumnElement[Any], ...]:
    """What to order a query of waiting requests by."""
    return pressing(of), of.received_at.asc(), of.id.asc()


def pressing(of: type[Request] = Request) -> ColumnElement[int]:
    """How soon a waiting request is due: a small number before a larger one."""
    return case((may_be_a_threat(of), 0), (for_the_mailing(of), 1), else_=2)


def next_waiting(election_id: str, *, at: datetime, besides: int | None = None) -> Select[int]:
    """The request that a clerk would open next; `besides` is open already. What is on hold is left out."""
    one = aliased(Request)  # it may be asked for beside another request
    found = select(one.id).where(
        one.state == "waiting",
        one.election_id == election_id,
        or_(one.held_until.is_(None), one.held_until <= at),
    )
    if besides is not None:
        found = found.where(one.id != besides)
    return found.order_by(*first_things_first(one)).limit(1)
