"""How many approvals a second, beside a bare loop of one-row inserts with a commit each, on the same database.

    python -m tests.benchmarks.approving DATABASE_URL [CLERKS]

The database must be empty. So many clerks (2) approve at once, each in a process of its own, two hundred requests in
all. Prints both rates and their ratio.
"""

from __future__ import annotations

import multiprocessing
import sys
import tempfile
import time
from pathlib import Path

from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Condition
from tests.faults.clerks import approve_all
from tests.faults.test_many_clerks_at_once import AT, two_hundred_requests


def main(url: str, clerks: int = 2) -> None:
    database = Database(url)
    migrate(database)
    with tempfile.TemporaryDirectory() as folder:
        ids = two_hundred_requests(database, Path(folder))
    started = time.perf_counter()
    for n in ids:
        with database.write() as session:
            session.add(Condition(name=f"row {n}", ok=True, text="a row", at=AT))
    bare = len(ids) / (time.perf_counter() - started)
    warm, ids = ids[: 4 * clerks], ids[4 * clerks :]
    with multiprocessing.get_context("spawn").Pool(clerks) as office:
        office.starmap(approve_all, [(url, warm[n::clerks], f"clerk {n}", AT) for n in range(clerks)], chunksize=1)
        started = time.perf_counter()
        done = office.starmap(
            approve_all, [(url, ids[n::clerks], f"clerk {n}", AT) for n in range(clerks)], chunksize=1
        )
        approvals = sum(carried_out for carried_out, _ in done) / (time.perf_counter() - started)
    print(f"insert and commit {bare:8.1f} a second")
    print(f"approvals         {approvals:8.1f} a second")
    print(f"ratio             {bare / approvals:8.1f}")


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:3]))
