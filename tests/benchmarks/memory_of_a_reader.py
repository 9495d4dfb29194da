"""How much memory a reading process holds after very many mails, and whether it still grows.

    python -m tests.benchmarks.memory_of_a_reader [MAILS] [VOTERS] [MINUTES]

Short letters, no two alike, signed by voters of a roll (100,000) in a private PostgreSQL, are stored and read in one
process, as Celery's worker does it, 50,000 of them or as many as there is time for (10 minutes). Its resident memory is
sampled every thousand. Beside it, in the same run: a process that holds the same packages and weights and has read one
letter. Prints both, their ratio, and by how much a thousand mails made it grow over the second half.
"""

from __future__ import annotations

import subprocess
import sys
import time
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path

import numpy as np

from replacements.reading.reader import warm
from replacements.requests import intake
from replacements.store.database import Database
from tests.benchmarks.an_office import load_now, set_up, some_voters
from tests.benchmarks.letters import letters
from tests.benchmarks.private_postgres import private_postgres

BAR = 300  # MB
EVERY = 1000
_AT_ONCE = 25


def resident() -> float:
    """MB of this process that lie in memory, shared pages among them."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmRSS:")[2].split()[0]) / 1024


def read(url: str, count: int, minutes: float) -> None:
    """In a process of its own: a line of (mails, MB, seconds) after the first and after each thousand."""
    import worker.tasks  # noqa: F401 - what a worker holds besides

    warm()
    database = Database(url)
    voters = some_voters(database, min(count, 20_000))
    began = time.monotonic()
    mails = letters(voters)
    done = 0
    while done < count and time.monotonic() - began < minutes * 60:
        some = list(islice(mails, 1 if done == 0 else min(_AT_ONCE, EVERY - done % EVERY)))
        at = datetime.now(UTC)
        uids = {str(done + number): raw for number, raw in enumerate(some)}
        kept = intake.keep_together(database, uids, source="benchmark", validity="1", at=at)
        for one in kept.values():
            intake.read_one(database, one.message_id, now=datetime.now(UTC))
        done += len(some)
        if done == 1 or done % EVERY == 0:
            print(done, f"{resident():.1f}", f"{time.monotonic() - began:.0f}", flush=True)


def main(mails: int = 50_000, voters: int = 100_000, minutes: float = 10, url: str = "") -> None:
    if not url:
        with private_postgres() as server:
            database = Database(server)
            set_up(database, voters)
            database.close()
            main(mails, voters, minutes, server)
        return
    command = [sys.executable, "-m", "tests.benchmarks.memory_of_a_reader", "read", url, str(mails), str(minutes)]
    samples = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as reader:
        assert reader.stdout is not None
        for line in reader.stdout:
            done, megabytes, seconds = map(float, line.split())
            samples.append((done, megabytes))
            print(f"{done:7.0f} mails  {megabytes:6.1f} MB  {seconds:5.0f} s", flush=True)
    first, last = samples[0][1], samples[-1][1]
    later = np.array([sample for sample in samples if sample[0] >= samples[-1][0] / 2])
    slope = float(np.polyfit(later[:, 0] / 1000, later[:, 1], 1)[0]) if len(later) > 1 else float("nan")
    print(f"{voters} voters, {load_now()}")
    print(f"after {samples[-1][0]:.0f} mails {last:.1f} MB (bar {BAR}); after the first {first:.1f} MB")
    print(f"ratio {last / first:.2f}; over the second half {slope:+.2f} MB for each thousand mails")


if __name__ == "__main__":
    if sys.argv[1:2] == ["read"]:
        read(sys.argv[2], int(sys.argv[3]), float(sys.argv[4]))
    else:
        main(*map(int, sys.argv[1:3]), *map(float, sys.argv[3:4]))
