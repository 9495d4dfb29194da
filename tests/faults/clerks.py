"""One clerk as a process of its own, for tests of many at once."""

from __future__ import annotations

from datetime import datetime

from replacements.requests import deciding
from replacements.store.database import Database


def approve_all(url: str, request_ids: list[int], clerk: str, at: datetime) -> tuple[int, int]:
    """Approve every request in turn. Returns (carried out, found decided by somebody else)."""
    database = Database(url)
    outcome = approve_each(database, request_ids, clerk, at)
    database.close()
    return outcome


def approve_each(database: Database, request_ids: list[int], clerk: str, at: datetime) -> tuple[int, int]:
    """The same over a database that is open already, and stays open."""
    done = stale = 0
    for request_id in request_ids:
        try:
            deciding.approve(database, request_id, version=1, by=clerk, roles=("clerk",), at=at)
        except deciding.Stale:
            stale += 1
        else:
            done += 1
    return done, stale
