"""What every table shares: the base class, times in UTC, and the states that constraints speak of."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, DateTime, Text, TypeDecorator
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase

LIVE_STATES = ("issued", "undeliverable", "returned", "accepted", "challenged")
BALLOT_STATES = (*LIVE_STATES, "suspended", "voided")
OPEN_STATES = ("waiting", "second", "asked")  # of a request that is not decided yet
LIVE = "state IN ('issued', 'undeliverable', 'returned', 'accepted', 'challenged')"


class UtcDateTime(TypeDecorator[datetime]):
    """An aware datetime, kept in UTC. A naive one is a mistake and refused."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be stored")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    type_annotation_map = {datetime: UtcDateTime, dict[str, Any]: JSON, list[Any]: JSON, str: Text}  # noqa: RUF012
