"""What each connection to a database asks of it before anything else."""

from __future__ import annotations

from sqlalchemy import text

from replacements.store.database import Database


def test_postgresql_compiles_no_question_whatever_became_of_the_transaction_before(postgres_database: Database) -> None:
    postgres_database.engine.dispose()
    for _ in range(2):
        with postgres_database.read() as session:  # undone at its end
            assert session.execute(text("SHOW jit")).scalar_one() == "off"
