"""A process that reads waiting mail as one of Celery's does, and tells how much memory it holds.

    python -m tests.benchmarks.a_reader DATABASE MAILS

Prints a line after its first letter and after each thousand: mails, then MB that lie in memory, in all, of its own
(anonymous) and of files (programs, libraries), then seconds, by the clock and of the processor. It loads what a worker
loads and nothing else, so that what it holds is what a worker holds.
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import worker.tasks  # noqa: F401 - what a worker holds besides
from replacements.requests import intake
from replacements.store.database import Database
from worker.settling import settle

EVERY = 1000
_KINDS = ("VmRSS:", "RssAnon:", "RssFile:")


def in_memory() -> tuple[float, ...]:
    """MB of this process that lie in memory, shared pages among them: in all, anonymous, of files."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return tuple(int(status.partition(kind)[2].split()[0]) / 1024 for kind in _KINDS)


def read(url: str, count: int) -> None:
    """Read until so many are read or nobody listens any more."""
    settle()
    database = Database(url)
    began, done, told = time.monotonic(), 0, 0
    while done < count:
        new = intake.read_waiting(database, now=lambda: datetime.now(UTC), seconds=0.5)
        if not new:
            time.sleep(0.1)
        elif not done or (done + new) // EVERY > told:
            told = (done + new) // EVERY
            seconds = time.monotonic() - began, time.process_time()
            print(done + new, *(f"{figure:.1f}" for figure in (*in_memory(), *seconds)), flush=True)
        done += new


if __name__ == "__main__":
    read(sys.argv[1], int(sys.argv[2]))
