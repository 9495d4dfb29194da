"""One look at the whole service: everything is measured, then judged."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.exc import SQLAlchemyError

from replacements.health import machine, stored
from replacements.health.judging import judge
from replacements.health.types import Figures, Health
from replacements.requests.office import InForce
from replacements.settings import Settings
from replacements.store.database import Database


def measure(
    database: Database,
    settings: Settings,
    *,
    at: datetime,
    whole: bool = False,
    known: Sequence[InForce] | None = None,
) -> Figures:
    """Measure everything; `whole`: count what is over and done with too; `known`: the elections that are on record at
    that moment, where they are at hand. Never raises for a database, a Redis or a
    folder that is away: that is what is measured."""
    reached = machine.reach(database)
    newest = machine.newest_schema()
    said, trouble = None, reached.trouble
    broker = machine.broker(settings)
    if not trouble and reached.schema == newest:
        try:
            said = stored.measure(database, at=at, whole=whole, known=known)
        except SQLAlchemyError as error:
            trouble = f"It broke off while it was looked at ({type(error).__name__})."
    return Figures(
        at=at,
        kind=reached.kind,
        database_trouble=trouble,
        schema=reached.schema,
        head=newest,
        schema_known=reached.known,
        redis=broker.trouble,
        disks=machine.disks(settings),
        backups_set=settings.backups is not None,
        apart=reached.apart,
        stored=said,
        queues=broker.queues,
    )


def look(database: Database, settings: Settings, *, at: datetime, known: Sequence[InForce] | None = None) -> Health:
    """How every part of the service is doing at this moment. `known`: as for `measure`."""
    return judge(measure(database, settings, at=at, known=known))
