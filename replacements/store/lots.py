"""A table some thousand rows at a time, so that what changes them all holds none of them for long."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, Integer, column, func, select, table

_AT_A_TIME = 2_000


def lots(connection: Connection, name: str) -> Iterator[dict[str, int]]:
    """The first and the last `id` of each lot of the table of that name, as parameters `first` and `last`, both
    included; as the table was when it began."""
    ids = column("id", Integer)
    lowest, highest = connection.execute(
        select(func.coalesce(func.min(ids), 1), func.coalesce(func.max(ids), 0)).select_from(table(name))
    ).one()
    for start in range(lowest, highest + 1, _AT_A_TIME):
        yield {"first": start, "last": start + _AT_A_TIME - 1}
