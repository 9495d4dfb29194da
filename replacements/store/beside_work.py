"""What takes a migration long, done while an office works: nobody who writes waits until it is through."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial

import sqlalchemy as sa
from alembic import op


def create_index(
    name: str,
    table: str,
    columns: list[str | sa.TextClause],
    *,
    where: str | None = None,
    unique: bool = False,
    include: list[str] | None = None,
) -> None:
    """An index on a table that was there before this migration; `where`: only of these rows; `include`: columns that
    PostgreSQL finds in it too.

    On PostgreSQL making one lets nobody write to the table meanwhile, which `lock_timeout` does not end: it counts the
    waiting for a lock and not the holding. So it is made beside the work where the table has rows (PostgreSQL's
    documentation, "Building Indexes Concurrently"). That ends the migration's transaction: what stands before it is
    kept, and is done once more where the migration is broken off. Put these first, tables and columns after them.
    """
    condition = None if where is None else sa.text(where)
    make = partial(op.create_index, name, table, columns, unique=unique, postgresql_where=condition)
    if include is not None:
        make = partial(make, postgresql_include=include)
    connection = op.get_bind()
    live = connection.dialect.name == "postgresql"
    if not live or not _has_rows(connection, table):
        if live:  # a try that was broken off later may have made it
            op.execute(f"DROP INDEX IF EXISTS {name}")
        make(sqlite_where=condition)
        return
    with op.get_context().autocommit_block():
        # It waits for the work that is going on without making anybody wait; what a try left half-made is no index.
        waits = connection.exec_driver_sql("SHOW lock_timeout").scalar_one()
        op.execute("SET lock_timeout = 0")
        op.execute(f"DROP INDEX CONCURRENTLY IF EXISTS {name}")
        make(postgresql_concurrently=True)
        op.execute(f"SET lock_timeout = '{waits}'")


@contextmanager
def lot_by_lot(table: str) -> Iterator[sa.Connection]:
    """For filling what a migration has added to a table, in statements of some thousand rows: on a live PostgreSQL each
    is kept at once, so that no row is held for long. It ends the migration's transaction as `create_index` does, and
    so belongs at the end."""
    connection = op.get_bind()
    if connection.dialect.name == "postgresql" and _has_rows(connection, table):
        with op.get_context().autocommit_block():
            yield op.get_bind()
    else:
        yield connection


def _has_rows(connection: sa.Connection, table: str) -> bool:
    return bool(connection.execute(sa.select(sa.exists().select_from(sa.table(table)))).scalar())
