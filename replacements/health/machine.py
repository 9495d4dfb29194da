"""What is measured of the machine: is the database there, with the schema of this program; Redis, the disks, the clock.

Nothing is changed by looking: no database is made, and no migration is run.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import redis
from sqlalchemy import Connection, text
from sqlalchemy.exc import SQLAlchemyError

from replacements.health.types import HANDED_OUT, QUEUES, Counted, Disk
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.migrate import head, is_known, revision_of

REDIS_SECONDS = 1.0  # a page waits for the answer


class Usage(NamedTuple):
    """Bytes of a disk, as `shutil.disk_usage` gives them."""

    total: int
    used: int
    free: int


class Broker(NamedTuple):
    """What is wrong with Redis, empty for nothing, None where none is used; and what waits in each queue."""

    trouble: str | None
    queues: dict[str, Counted]


class Reached(NamedTuple):
    """What a first look at the database gave: how it is called, what is wrong, its schema, how far its clock is off."""

    kind: str
    trouble: str
    schema: str | None
    known: bool
    apart: timedelta | None


def reach(database: Database) -> Reached:
    """Whether the database answers, and with which schema."""
    kind = "SQLite" if database.is_sqlite else "PostgreSQL"
    if database.is_sqlite and not Path(database.engine.url.database or "").exists():
        return Reached(kind, "There is no database yet: it is made when the service starts.", None, True, None)
    try:
        with database.engine.connect() as connection:
            schema = revision_of(connection)
            return Reached(kind, "", schema, schema is None or is_known(schema), _apart(database, connection))
    except SQLAlchemyError as error:  # its own words may name a server and a user
        return Reached(kind, f"It does not answer ({type(error).__name__}).", None, True, None)


def newest_schema() -> str:
    """The schema that this program is written for."""
    return head()


def broker(settings: Settings) -> Broker:
    """Whether Redis answers, and which tasks no worker has taken up yet. Asked in one go."""
    if not settings.redis:
        return Broker(None, {})
    try:
        with redis.Redis.from_url(
            settings.redis, socket_timeout=REDIS_SECONDS, socket_connect_timeout=REDIS_SECONDS
        ) as server:
            asked = server.pipeline(transaction=False)
            for name in QUEUES:
                asked.llen(name).lindex(name, -1)  # new tasks come in at the other end
            said = asked.execute()
    except (redis.RedisError, ValueError, OSError) as error:
        return Broker(f"Redis does not answer ({type(error).__name__}).", {})
    return Broker("", {name: Counted(said[2 * n], _handed_out(said[2 * n + 1])) for n, name in enumerate(QUEUES)})


def _handed_out(task: bytes | None) -> datetime | None:
    """When a task was put into its queue; None where there is none, or it does not say."""
    try:
        return datetime.fromtimestamp(json.loads(task or b"")["headers"][HANDED_OUT], UTC)
    except (ValueError, TypeError, KeyError, OverflowError, OSError):
        return None


def disks(settings: Settings, usage: Callable[[Path], Usage | tuple[int, int, int]] | None = None) -> tuple[Disk, ...]:
    """The disks of the data folder and of the backups, as far as these are on this machine."""
    look = usage or shutil.disk_usage
    found = []
    for name, folder in (("data", settings.data), ("backups", settings.backups)):
        if folder is not None and folder.is_dir():
            size, _used, free = look(folder)
            found.append(Disk(name, free, size))
    return tuple(found)


def _apart(database: Database, connection: Connection) -> timedelta | None:
    """How far the clock of the database's machine is from this one's; None where they are one. At most the time that
    the answer took is between them by right."""
    if database.is_sqlite:
        return None
    before = datetime.now(UTC)
    there: datetime = connection.execute(text("SELECT clock_timestamp()")).scalar_one()
    after = datetime.now(UTC)
    if before <= there <= after:
        return timedelta()
    return min(abs(there - before), abs(there - after))
