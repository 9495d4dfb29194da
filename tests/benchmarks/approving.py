"""How many approvals a second, beside a bare loop of one-row inserts with a commit each, on the same database.

    python -m tests.benchmarks.approving DATABASE_URL [CLERKS]

The database must be empty. So many clerks (2) approve at once, each in a process of its own, two hundred requests in
all: a few to warm up, the others in rounds, each followed by as many bare inserts. Prints the best round of each, their
ratio, the processor time that an approval takes of its clerk's process (the database's own comes on top), and the load
of the machine: where others use it, processor time and ratio tell more than the rates.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.pool
import os
import sys
import tempfile
import time
from pathlib import Path

from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Condition
from tests.faults.clerks import approve_each
from tests.faults.test_many_clerks_at_once import AT, two_hundred_requests

ROUNDS = 4
WARM = 8  # approvals of each clerk, until the database has prepared what they ask
_opened: list[Database] = []  # each clerk's own, in a process of its own


def main(url: str, clerks: int = 2) -> None:
    database = Database(url)
    migrate(database)
    with tempfile.TemporaryDirectory() as folder:
        ids = two_hundred_requests(database, Path(folder))
    warm, ids = ids[: WARM * clerks], ids[WARM * clerks :]
    bare: list[float] = []
    approvals: list[float] = []
    processor: list[float] = []
    with multiprocessing.get_context("spawn").Pool(clerks, _sit_down, (url,)) as office:
        _round(office, warm, clerks)
        for n in range(ROUNDS):
            some = ids[n::ROUNDS]
            rate, seconds = _round(office, some, clerks)
            approvals.append(rate)
            processor.append(seconds)
            bare.append(_bare(database, some))
    print(f"insert and commit {max(bare):8.1f} a second")
    print(f"approvals         {max(approvals):8.1f} a second, best of {ROUNDS} rounds with {clerks} clerks")
    print(f"ratio             {max(bare) / max(approvals):8.1f}")
    print(f"processor time    {min(processor) * 1000:8.1f} ms an approval")
    print(f"load              {os.getloadavg()[0]:8.1f} on {os.cpu_count()} processors")


def _bare(database: Database, ids: list[int]) -> float:
    """Rows inserted a second, each with a commit of its own."""
    started = time.perf_counter()
    for n in ids:
        with database.write() as session:
            session.add(Condition(name=f"row {n}", ok=True, text="a row", at=AT))
    return len(ids) / (time.perf_counter() - started)


def _round(office: multiprocessing.pool.Pool, ids: list[int], clerks: int) -> tuple[float, float]:
    """Approvals a second of all clerks together, and the processor time of one in seconds."""
    started = time.perf_counter()
    done = office.starmap(_approve, [(ids[n::clerks], f"clerk {n}") for n in range(clerks)], chunksize=1)
    took = time.perf_counter() - started
    carried_out = sum(number for number, _ in done)
    return carried_out / took, sum(seconds for _, seconds in done) / carried_out


def _sit_down(url: str) -> None:
    _opened.append(Database(url))


def _approve(ids: list[int], clerk: str) -> tuple[int, float]:
    """How many were carried out, and the processor time of this process meanwhile in seconds."""
    started = time.process_time()
    carried_out, _ = approve_each(_opened[0], ids, clerk, AT)
    return carried_out, time.process_time() - started


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:3]))
