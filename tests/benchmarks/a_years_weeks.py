"""How long a supervisor waits for a week of a busy year, on the page and on paper, beside pandas over the same tables.

    python -m tests.benchmarks.a_years_weeks [REQUESTS] [VOTERS]

A year of 52 weeks (100,000 requests, 250,000 voters unless told otherwise) on SQLite and on a private PostgreSQL. For
the first, the busiest and the last week: the page and the PDF as a browser gets them, the best of three. pandas reads
requests and ledger anew and counts no more than requests by kind and reissues by style: the least that any way without
sums that were kept has to do.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pandas as pd
from flask.testing import FlaskClient
from sqlalchemy import func, select, text

from replacements.people.passwords import hashed
from replacements.requests import office
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Request
from replacements.summary.ledger_days import roll_forward
from tests.benchmarks.private_postgres import private_postgres
from tests.summary.a_year import FIRST, WEEKS, Year
from tests.web.invented_office import PASSWORD, RULES, Clock, Site, add_accounts

AT = datetime(2032, 1, 6, 15, tzinfo=UTC)
PAGE_MS, PDF_MS = 500, 5_000


def main(requests: int = 100_000, voters: int = 250_000) -> None:
    with tempfile.TemporaryDirectory() as folder:
        _measure("SQLite", f"{folder}/year.sqlite3", Path(folder), requests, voters)
        with private_postgres() as url:
            if url:
                _measure("PostgreSQL", url, Path(folder), requests, voters)


def _measure(name: str, url: str, folder: Path, requests: int, voters: int) -> None:
    database = Database(url)
    migrate(database)
    with database.write() as session:
        force = office.load(session, RULES, at=AT)
        office.adopt(session, official="Registrar", by="supervisor", at=AT)
    add_accounts(database, hashed(PASSWORD))
    zone = force.rules.office.time_zone
    Year(requests=requests, voters=voters, seed=1, weight=1_000, never=0.005, election=force.election_id).store(
        database
    )
    with database.engine.connect() as connection:
        if not database.is_sqlite:
            connection.execution_options(isolation_level="AUTOCOMMIT").execute(text("ANALYZE"))
    started = time.perf_counter()
    entries = roll_forward(database, force.election_id, zone)
    print(f"{name}: {entries} entries of the ledger added up once in {time.perf_counter() - started:.1f} s")
    settings = Settings(data=folder, database=url, mailbox="", outbox="", secret_file=folder / "secret", https=False)
    client = Site(database, Clock(AT), settings).client("supervisor")
    for title, monday in _weeks(database, force.election_id):
        last = monday + timedelta(days=6)
        page = _best(lambda at=f"/week/{monday}": _get(client, at))  # type: ignore[misc]
        paper = _best(lambda at=f"/week/{monday}/{last}/summary.pdf": _get(client, at))  # type: ignore[misc]
        other = _best(lambda monday=monday: _with_pandas(database, force.election_id, monday, zone))  # type: ignore[misc]
        print(
            f"  {title:<8} page {page[0]:6.0f} ms ({page[1]:6.0f} of processor), bar {PAGE_MS}; "
            f"PDF {paper[0]:6.0f} ms ({paper[1]:6.0f}), bar {PDF_MS}; "
            f"pandas {other[0]:6.0f} ms; ratio pandas / page {other[0] / page[0]:5.1f}"
        )
    database.close()


def _weeks(database: Database, election_id: str) -> list[tuple[str, date]]:
    with database.read() as session:
        counts = {
            week: session.scalar(
                select(func.count())
                .select_from(Request)
                .where(Request.election_id == election_id)
                .where(Request.received_at >= _start(week), Request.received_at < _start(week + 1))
            )
            for week in range(WEEKS)
        }
    busiest = max(counts, key=lambda week: counts[week] or 0)
    print(f"  busiest week: {counts[busiest]} requests")
    return [(title, _monday(week)) for title, week in (("first", 0), ("busiest", busiest), ("last", WEEKS - 1))]


def _monday(week: int) -> date:
    return FIRST + timedelta(weeks=week)


def _start(week: int) -> datetime:
    return datetime.combine(_monday(week), datetime.min.time(), UTC)


def _get(client: FlaskClient, address: str) -> None:
    answer = client.get(address)
    if answer.status_code != 200:
        raise SystemExit(f"{address}: {answer.status_code}")


def _best(what: Callable[[], object]) -> tuple[float, float]:
    """Milliseconds by the clock, and of this process's processor time: of the quickest of three."""
    found = []
    for _ in range(3):
        clock, processor = time.perf_counter(), time.process_time()
        what()
        found.append((1000 * (time.perf_counter() - clock), 1000 * (time.process_time() - processor)))
    return min(found)


def _with_pandas(database: Database, election_id: str, monday: date, zone: str) -> tuple[int, int]:
    with database.engine.connect() as connection:
        asked = pd.DataFrame(
            connection.execute(
                text("SELECT received_at, kinds FROM requests WHERE election_id = :e"), {"e": election_id}
            ).all(),
            columns=["at", "kinds"],
        )
        events = pd.DataFrame(
            connection.execute(
                text("SELECT at, details FROM ledger WHERE election_id = :e AND event = 'reissued'"), {"e": election_id}
            ).all(),
            columns=["at", "details"],
        )
    start, end = pd.Timestamp(monday, tz=zone), pd.Timestamp(monday + timedelta(days=7), tz=zone)
    for frame in (asked, events):
        frame["at"] = pd.to_datetime(frame["at"], utc=True, format="ISO8601")
    came = asked[(asked["at"] >= start) & (asked["at"] < end)]["kinds"]
    kinds = came.map(lambda cell: json.loads(cell) if isinstance(cell, str) else cell).explode().value_counts()
    done = events[(events["at"] >= start) & (events["at"] < end)]["details"]
    return len(kinds), len(done.map(lambda cell: json.loads(cell)["style"]).value_counts())


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
