"""How fast the ledger is verified, beside bare hashlib over the same bytes.

    python -m tests.benchmarks.verifying_the_ledger

The alternative does nothing but SHA-256 over texts that lie ready in memory: no database, no JSON, no comparison. Both
are measured by the processor's time of one process, so that what else runs on the machine counts as little as can be.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from sqlalchemy import select

from replacements.ballots.ledger import Event, append_many, canonical_entry, verify
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import LedgerEntry
from tests.benchmarks.private_postgres import private_postgres

AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
WANTED = 50_000  # entries a second, on one core


def fill(database: Database, entries: int) -> None:
    with database.write() as session:
        append_many(
            session,
            (
                Event(
                    "voided", "2031-11-04-general", "kim", AT + timedelta(seconds=n), f"{1_000_000 + n}", f"V-{n}",
                    {"from": "issued", "reason": "spoiled", "replaced_by": f"7{n:07d}1", "style": "12-A"},
                )
                for n in range(entries)
            ),
        )  # fmt: skip


def measure(url: str, entries: int, runs: int) -> tuple[float, float]:
    """Entries a second: verified, and hashed only. The best of `runs`."""
    database = Database(url)
    migrate(database)
    fill(database, entries)
    with database.read() as session:
        rows = session.scalars(select(LedgerEntry).order_by(LedgerEntry.seq)).all()
        texts = [(row.prev_hash + canonical_entry(row)).encode() for row in rows]
        session.expunge_all()
    verified, hashed = [], []
    for _ in range(runs):
        start = time.process_time()
        with database.read() as session:
            verdict = verify(session)
        verified.append(time.process_time() - start)
        assert (verdict.entries, verdict.broken) == (entries, None)
        start = time.process_time()
        for text in texts:
            sha256(text).hexdigest()
        hashed.append(time.process_time() - start)
    database.close()
    return entries / min(verified), entries / min(hashed)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--entries", type=int, default=200_000)
    asked.add_argument("--runs", type=int, default=3)
    how = asked.parse_args()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="ledger-speed-")))
        urls = {"SQLite": str(folder / "office.db"), "PostgreSQL": stack.enter_context(private_postgres())}
        for name, url in urls.items():
            if not url:
                print(f"{name}: not installed")
                continue
            verified, hashed = measure(url, how.entries, how.runs)
            print(
                f"{name}: {verified:,.0f} entries a second verified, {hashed:,.0f} hashed only: "
                f"{hashed / verified:.1f} times the time; {verified / WANTED:.1f} times what is wanted"
            )


if __name__ == "__main__":
    main()
