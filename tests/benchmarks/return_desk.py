"""The return desk over HTTP: one number in, its answer out, with a million ballots on record, on both databases.

    python -m tests.benchmarks.return_desk [BALLOTS] [SCANS] [sqlite | postgresql]

The real server (`serve --pages-only`: waitress, eight threads) runs in a process of its own; one desk sends one number
after the other over a connection that stays open, as its page does. Nine in ten numbers are live ballots, the others
void ones, mistyped ones and such that are not ours. Beside each look-up, in the same run, a bare
`SELECT … WHERE number = ?` on the same database and a connection of its own. Prints milliseconds (median, 95th and 99th
percentile, longest), the ratio of the medians, and the server's processor time for each number, which says what the
desk costs where other work takes the machine, too. PostgreSQL is left out where it is not installed.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import re
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

import psycopg
from sqlalchemy import insert, text

from replacements.ballots import life
from replacements.ballots.ledger import Event, append_many
from replacements.ballots.numbers import with_check_digit
from replacements.people import accounts
from replacements.requests import office
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Account, Ballot
from tests.benchmarks.private_postgres import private_postgres
from tests.servers.ports import free_port
from tests.web.invented_office import RULES
from worker.serving import serve_pages

CHUNK = 50_000
REPLACED = 500  # ballots that are void, each with a replacement
DESK = "desk"


def numbers(count: int) -> list[str]:
    return [with_check_digit(f"5{place:07d}") for place in range(count)]


def fill(database: Database, count: int) -> list[str]:
    """An office with its rules adopted, ballots that are out, each on the ledger, and some replaced; their numbers."""
    migrate(database)
    now = datetime.now(UTC)
    election_day = (now + timedelta(days=40)).date()
    source = re.sub(r"2026-11-0\d", election_day.isoformat(), RULES)
    source = re.sub(r"2026-09-\d\d|2026-10-\d\d", (now + timedelta(days=20)).date().isoformat(), source)
    with database.write() as session:
        election = office.load(session, source, at=now).election_id
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=now)
    every = numbers(count)
    for start in range(0, count, CHUNK):
        some = every[start : start + CHUNK]
        with database.write() as session:
            session.execute(
                insert(Ballot),
                [
                    {
                        "number": n,
                        "election_id": election,
                        "voter_id": f"V{n}",
                        "style": "F-2",
                        "state": "issued",
                        "mailed_on": now.date(),
                    }
                    for n in some
                ],
            )
            details = {"state": "issued", "style": "F-2", "mailed_on": now.date().isoformat()}
            append_many(session, (Event("imported", election, "import", now, n, f"V{n}", details) for n in some))
    _learn_the_sizes(database)
    with database.write() as session:
        for number in every[: min(REPLACED, count // 10)]:
            life.reissue(session, number=number, cause="spoiled", by="clerk", at=now, prefix="8")
    return every


def _learn_the_sizes(database: Database) -> None:
    """What PostgreSQL does by itself some minutes after a load: before it, it reads whole tables for one row."""
    if not database.is_sqlite:
        with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("ANALYZE"))


def serve(url: str, folder: str, port: int) -> None:
    settings = settings_of(url, folder)
    serve_pages(Database(url), settings, host="127.0.0.1", port=port, jobs=False, now=lambda: datetime.now(UTC))


def settings_of(url: str, folder: str) -> Settings:
    return Settings.from_environment({"REPLACEMENTS_DATABASE": url}, data=Path(folder))


@contextmanager
def served(url: str, folder: str) -> Iterator[tuple[int, int]]:
    """The port and the process id of a running server."""
    port = free_port()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(url, folder, port), daemon=True)
    process.start()
    try:
        for _ in range(600):
            try:
                connection = HTTPConnection("127.0.0.1", port, timeout=5)
                connection.request("GET", "/alive")
                connection.getresponse().read()
                break
            except OSError:
                time.sleep(0.1)
        yield port, process.pid or 0
    finally:
        process.terminate()
        process.join(timeout=30)


class Page:
    """The desk's page, as far as its script sends numbers: signed in, with its form's token, on one connection."""

    def __init__(self, port: int, token: str) -> None:
        self.connection = HTTPConnection("127.0.0.1", port, timeout=60)
        self.connection.request("GET", "/return-desk/", headers={"Cookie": f"sign-in={token}"})
        answer = self.connection.getresponse()
        found = re.search(r'name="csrf_token" value="([^"]+)"', answer.read().decode())
        form = (answer.getheader("Set-Cookie") or "").split(";")[0]
        assert found is not None, "the desk's page was not opened"
        self.csrf = found[1]
        self.headers = {
            "Cookie": f"sign-in={token}; {form}",
            "Content-Type": "application/x-www-form-urlencoded",
        }
        self.sent = 0

    def send(self, number: str, **more: str) -> bytes:
        self.sent += 1
        body = urlencode({"csrf_token": self.csrf, "number": number, "key": f"{self.sent:032d}", **more})
        self.connection.request("POST", "/return-desk/scan", body, self.headers)
        answer = self.connection.getresponse()
        said = answer.read()
        assert answer.status == 200, (answer.status, said[:300])
        return said


def a_pile(every: Sequence[str], count: int, chance: random.Random) -> list[str]:
    """What comes over the desk: mostly live, some void, some mistyped, some not ours."""
    void = min(REPLACED, len(every) // 10)
    live = iter(chance.sample(every[void:], count))
    pile = []
    for _ in range(count):
        way = chance.random()
        if way < 0.9:
            pile.append(next(live))
        elif way < 0.95:
            pile.append(every[chance.randrange(void)])
        elif way < 0.975:
            right = every[chance.randrange(len(every))]
            pile.append(right[:-1] + str((int(right[-1]) + chance.randrange(1, 10)) % 10))
        else:
            pile.append(with_check_digit(f"9{chance.randrange(10**7):07d}"))
    return pile


def bare_select(url: str) -> Callable[[str], object]:
    """One row by its primary key, on a connection of its own, through the database's own driver."""
    if url.startswith("postgresql"):
        connection = psycopg.connect(url, autocommit=True)
        return lambda n: connection.execute("SELECT state, voter_id FROM ballots WHERE number = %s", (n,)).fetchone()
    file = sqlite3.connect(url)
    return lambda n: file.execute("SELECT state, voter_id FROM ballots WHERE number = ?", (n,)).fetchone()


def processor_ms(pid: int) -> float:
    """The processor time of a process so far; nothing where the system does not tell."""
    stat = Path(f"/proc/{pid}/stat")
    if not stat.exists():
        return 0.0
    fields = stat.read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * 1000 / os.sysconf("SC_CLK_TCK")


def told(name: str, taken: list[float]) -> float:
    taken.sort()
    median, p95, p99 = (taken[int(len(taken) * share)] for share in (0.5, 0.95, 0.99))
    print(
        f"  {name:26} median {median:8.3f} ms   p95 {p95:8.3f} ms   p99 {p99:8.3f} ms   longest {taken[-1]:8.3f} ms"
        f"   ({len(taken)})",
        flush=True,
    )
    return median


def measure(url: str, folder: str, ballots: int, scans: int) -> None:
    database = Database(url)
    started = time.perf_counter()
    every = fill(database, ballots)
    print(f"{'SQLite' if database.is_sqlite else 'PostgreSQL'}: {ballots} ballots", end="")
    print(f" (loaded in {time.perf_counter() - started:.0f} s)")
    now = datetime.now(UTC)
    with database.write() as session:
        account = Account(name=DESK, full_name="", password_hash="", roles=["return_desk"], active=True, created_at=now)
        session.add(account)
        session.flush()
        token = accounts.start_sign_in(session, account.id, at=now)
    database.close()
    chance = random.Random(11)
    bare = bare_select(url)
    with served(url, folder) as (port, server):
        page = Page(port, token)
        for number in a_pile(every, 100, chance):
            page.send(number, look="1")  # the desk has been at work for a while
            bare(number)
        looked: list[float] = []
        bared: list[float] = []
        before = processor_ms(server)
        for number in a_pile(every, scans, chance):
            begun = time.perf_counter()
            bare(number)
            between = time.perf_counter()
            page.send(number, look="1")
            looked.append((time.perf_counter() - between) * 1000)
            bared.append((between - begun) * 1000)
        after = processor_ms(server)
        taken: list[float] = []
        for number in a_pile(every, scans // 2, chance):
            begun = time.perf_counter()
            page.send(number)
            taken.append((time.perf_counter() - begun) * 1000)
        bare_median = told("bare SELECT by key", bared)
        look_median = told("look-up over HTTP", looked)
        take_median = told("taking in over HTTP", taken)
        ratios = f"look-up {look_median / bare_median:.0f}, taking in {take_median / bare_median:.0f}"
        print(f"  {'ratio of medians':26} {ratios}")
        look, take = (after - before) / scans, (processor_ms(server) - after) / (scans // 2)
        print(f"  {'processor time of the server':26} look-up {look:.2f} ms, taking in {take:.2f} ms", flush=True)


def main(ballots: int = 1_000_000, scans: int = 4_000, only: str = "") -> None:
    if only != "postgresql":
        with tempfile.TemporaryDirectory() as folder:
            measure(str(Path(folder) / "office.sqlite3"), folder, ballots, scans)
    if only == "sqlite":
        return
    with private_postgres() as url, tempfile.TemporaryDirectory() as folder:
        if url:
            measure(url, folder, ballots, scans)
        else:
            print("PostgreSQL is not installed here: not measured")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]), *sys.argv[3:4])
