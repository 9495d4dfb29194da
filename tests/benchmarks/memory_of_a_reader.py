"""How much memory a reading process holds after very many mails, and whether it still grows.

    python -m tests.benchmarks.memory_of_a_reader [MAILS] [VOTERS] [MINUTES]

Short letters, no two alike, signed by voters of a roll (100,000) in a private PostgreSQL, are read in one process as
Celery's worker does it (`a_reader`), 50,000 of them or as many as there is time for (10 minutes); another process
stores them. Its resident memory is sampled every thousand, what is its own and what is of files apart. Beside it, in
the same run: what it held after its first letter, with the same packages and weights. Prints both, their ratio, by how
much a thousand mails made it grow over the second half, and how many of the processor's milliseconds a mail took.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import islice

import numpy as np

from replacements.requests import intake
from replacements.store.database import Database
from tests.benchmarks.an_office import load_now, set_up, some_voters
from tests.benchmarks.letters import letters
from tests.benchmarks.private_postgres import private_postgres

BAR = 300  # MB
_AT_ONCE, _AHEAD = 25, 100


def store(database: Database, mails: Iterator[bytes], from_number: int) -> int:
    """Store some more, unless enough wait already. Returns how many."""
    with database.read() as session:
        if intake.count_waiting(session) >= _AHEAD:
            return 0
    some = {str(from_number + number): raw for number, raw in enumerate(islice(mails, _AT_ONCE))}
    intake.keep_together(database, some, source="benchmark", validity="1", at=datetime.now(UTC))
    return len(some)


def main(mails: int = 50_000, voters: int = 100_000, minutes: float = 10, url: str = "") -> None:
    if not url:
        with private_postgres() as server:
            database = Database(server)
            set_up(database, voters)
            database.close()
            main(mails, voters, minutes, server)
        return
    database = Database(url)
    mails_to_come = islice(letters(some_voters(database, min(mails, 20_000))), mails)
    stored = store(database, islice(mails_to_come, 1), 0)
    command = [sys.executable, "-m", "tests.benchmarks.a_reader", url, str(mails)]
    samples: list[tuple[float, ...]] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as reader:
        listening = threading.Thread(target=_listen, args=(reader, samples), daemon=True)
        listening.start()
        until = time.monotonic() + minutes * 60
        while reader.poll() is None and time.monotonic() < until:
            if samples and stored < mails:
                stored += store(database, mails_to_come, stored)
            time.sleep(0.05)
        reader.terminate()
        listening.join()
    database.close()
    first, last = samples[0], samples[-1]
    later = np.array([sample for sample in samples if sample[0] >= last[0] / 2])
    slope = float(np.polyfit(later[:, 0] / 1000, later[:, 1], 1)[0]) if len(later) > 1 else float("nan")
    print(f"{voters} voters, {load_now()}")
    print(f"after {last[0]:.0f} mails {last[1]:.1f} MB (bar {BAR}); after the first {first[1]:.1f} MB")
    print(f"ratio {last[1] / first[1]:.2f}; over the second half {slope:+.2f} MB for each thousand mails")
    print(f"{(last[5] - first[5]) / max(1, last[0] - first[0]) * 1000:.1f} ms of the processor a mail")


def _listen(reader: subprocess.Popen[str], samples: list[tuple[float, ...]]) -> None:
    assert reader.stdout is not None
    for line in reader.stdout:
        done, all_, own, files, seconds, busy = map(float, line.split())
        samples.append((done, all_, own, files, seconds, busy))
        apart = f"{all_:6.1f} MB = {own:6.1f} own + {files:5.1f} of files"
        print(f"{done:7.0f} mails  {apart}  {seconds:5.0f} s", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]), *map(float, sys.argv[3:4]))
