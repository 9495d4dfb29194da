"""A whole office for benchmarks: a roll of any size in PostgreSQL, a mailbox on Dovecot, Redis, and Celery's workers.

Every server is private and gone afterwards. The workers are those of an installation, started as there; what they do is
watched from outside, in the database.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import chain
from pathlib import Path

import psycopg
from imapclient import IMAPClient
from sqlalchemy import text

from replacements.requests import office
from replacements.roll.importing import import_file
from replacements.roll.roll_file import read_roll
from replacements.roll.types import Voter
from replacements.rules.office import load_rules
from replacements.store.database import Database
from replacements.store.migrate import migrate
from tests.benchmarks.processor_time import seconds
from tests.benchmarks.rehearsing import OFFICE
from tests.benchmarks.roll_generator import Generator, write_roll
from tests.servers.dovecot import DovecotServer, private_dovecot
from tests.servers.ports import free_port
from tests.servers.redis import RedisServer

CELERY = Path(sys.executable).parent / "celery"
ROOT = Path(__file__).parents[2]


def set_up(database: Database, voters: int) -> None:
    """The tables, one election's rules, so many voters, and a ballot out for each of them.

    The ballots are written by one statement and are not on the ledger, which reading mail never asks for a ballot.
    """
    migrate(database)
    with database.write() as session:
        at = datetime.now(UTC)
        force = office.load(session, (OFFICE / "office.toml").read_text(encoding="utf-8"), at=at)
        office.adopt(session, official="the registrar", by="benchmark", at=at)
    known = list(read_roll(OFFICE / "roll.csv", load_rules(OFFICE / "office.toml").columns.roll).voters)
    with tempfile.TemporaryDirectory() as name:
        roll = Path(name) / "roll.csv"
        write_roll(roll, chain(known, Generator().voters(max(0, voters - len(known)))))
        import_file(database, roll)
    with database.write() as session:
        session.execute(
            text(
                "INSERT INTO ballots (number, election_id, voter_id, style, state, mailed_on, imported_state) "
                "SELECT '8' || lpad(row_number() OVER (ORDER BY voter_id)::text, 9, '0'), :election, voter_id, style, "
                "'issued', DATE '2026-11-01', 'issued' FROM voters"
            ),
            {"election": force.election_id},
        )
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("VACUUM ANALYZE"))


def some_voters(database: Database, count: int, seed: int = 3) -> list[Voter]:
    """So many voters of the roll, drawn by their numbers."""
    fields = tuple(Voter.__dataclass_fields__)
    with database.engine.connect() as connection:
        last = int(connection.execute(text("SELECT max(number) FROM voters")).scalar_one())
        drawn = random.Random(seed).sample(range(1, last + 1), min(last, count + count // 10))
        rows = connection.execute(
            text(f"SELECT {', '.join(fields)} FROM voters WHERE number = ANY(:drawn)"), {"drawn": drawn}
        )
        found = [Voter(*row) for row in rows]
    random.Random(seed).shuffle(found)
    return found[:count]


@dataclass
class Office:
    """An office at work. `deliver` puts mail into its mailbox; `count` says how many messages are in a state."""

    database: Database
    dovecot: DovecotServer
    redis: RedisServer
    folder: Path
    programs: list[subprocess.Popen[bytes]] = field(default_factory=list)
    _delivered: int = 0

    def settings(self, **more: str) -> dict[str, str]:
        return {
            "REPLACEMENTS_DATA": str(self.folder),
            "REPLACEMENTS_DATABASE": self.database.engine.url.render_as_string(hide_password=False),
            "REPLACEMENTS_REDIS": self.redis.url,
            "REPLACEMENTS_MAILBOX": self.dovecot.url,
            "REPLACEMENTS_MAILBOX_PASSWORD": self.dovecot.password,
            "REPLACEMENTS_CA_FILE": self.dovecot.ca_file,
            **more,
        }

    def start(self, readers: int) -> None:
        """A worker with so many processes, and the schedule; returns when the mailbox is watched."""
        arguments = ["worker", "-B", "-s", str(self.folder / "beat"), "-c", str(readers), "--loglevel", "WARNING"]
        with (self.folder / "worker.log").open("ab") as log:
            self.programs.append(
                subprocess.Popen(
                    [CELERY, "-A", "worker", *arguments],
                    env=os.environ | self.settings(), stdout=log, stderr=log, cwd=ROOT, start_new_session=True,
                )
            )  # fmt: skip
        self.wait(lambda: self.one("SELECT ok FROM conditions WHERE name = 'mailbox, live'"), 120)

    def stop(self) -> None:
        for program in self.programs:
            if program.poll() is None:
                program.send_signal(signal.SIGTERM)
                try:
                    program.wait(timeout=20)
                except subprocess.TimeoutExpired:
                    os.killpg(program.pid, signal.SIGKILL)
                    program.wait()
        self.programs.clear()

    def deliver(self, mails: Sequence[bytes]) -> None:
        """As a mail server does: each is written beside, and moved into the mailbox whole, one after the other."""
        box = self.dovecot.folder / "mail"
        owner = box.stat()
        for part in ("tmp", "new", "cur"):
            (box / part).mkdir(exist_ok=True)
            os.chown(box / part, owner.st_uid, owner.st_gid)
        names = []
        for raw in mails:
            self._delivered += 1
            name = f"{int(time.time())}.{self._delivered:07}.mx"
            (box / "tmp" / name).write_bytes(raw)
            os.chown(box / "tmp" / name, owner.st_uid, owner.st_gid)
            names.append(name)
        for name in names:
            (box / "tmp" / name).rename(box / "new" / name)

    def processor_seconds(self) -> dict[str, float]:
        """Processor's seconds that each part of the office has had so far."""
        postgres = str(self.one("SELECT pg_read_file('postmaster.pid')")).split()[0]
        dovecot = (self.dovecot.folder / "run" / "master.pid").read_text().strip()
        redis = self.redis.process.pid if self.redis.process else 0
        return {
            "worker": sum(seconds(program.pid) for program in self.programs),
            "PostgreSQL": seconds(int(postgres)),
            "Dovecot": seconds(int(dovecot)),
            "Redis": seconds(redis),
        }

    def one(self, statement: str) -> object:
        """The first value of the first row that this finds."""
        with self.database.engine.connect() as connection:
            return connection.execute(text(statement)).scalar()

    def count(self, state: str = "") -> int:
        where = f" WHERE state = '{state}'" if state else ""
        return int(str(self.one(f"SELECT count(*) FROM messages{where}")))

    def wait(self, is_so: Callable[[], object], most: float, every: float = 0.1) -> float:
        """Wait until it is so; returns the seconds it took. Raises TimeoutError, with the end of the worker's log."""
        began = time.monotonic()
        while not is_so():
            if time.monotonic() - began > most:
                log = self.folder / "worker.log"
                raise TimeoutError(log.read_text(errors="replace")[-2000:] if log.exists() else "")
            time.sleep(every)
        return time.monotonic() - began


@contextmanager
def an_office(url: str) -> Iterator[Office]:
    """An office over this database, which is set up; its workers are not started yet."""
    with ExitStack() as opened:
        folder = Path(tempfile.mkdtemp(prefix="benchmark-office-"))
        opened.callback(shutil.rmtree, folder, ignore_errors=True)
        dovecot = opened.enter_context(private_dovecot())
        redis = RedisServer(shutil.which("redis-server") or "redis-server", folder, free_port())
        redis.start()
        opened.callback(redis.stop)
        database = Database(url)
        opened.callback(database.close)
        found = Office(database, dovecot, redis, folder)
        opened.callback(found.stop)
        yield found


@contextmanager
def private_copy(url: str, name: str) -> Iterator[str]:
    """A copy of a set-up database, on the same server, gone afterwards."""
    server = url.rsplit("/", 1)[0]
    with psycopg.connect(f"{server}/template1", autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)".encode())
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {url.rsplit('/', 1)[1]} STRATEGY FILE_COPY".encode())
        try:
            yield f"{server}/{name}"
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


def fetched_one_by_one(dovecot: DovecotServer) -> Iterator[bytes]:
    """Every message of the mailbox, each in a request of its own, by a client that does nothing else."""
    with dovecot.client() as client:
        assert isinstance(client, IMAPClient)
        client.select_folder("INBOX", readonly=True)
        for uid in client.search(["ALL"]):
            yield bytes(client.fetch([uid], ["BODY.PEEK[]"])[uid][b"BODY[]"])


def load_now() -> str:
    """How busy the machine was, for beside the figures."""
    return "load average " + " ".join(f"{value:.1f}" for value in os.getloadavg()) + f" on {os.cpu_count()} cores"
