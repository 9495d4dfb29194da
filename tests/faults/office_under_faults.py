"""A whole office on private servers: PostgreSQL, Redis, Dovecot, an SMTP server, the worker, the schedule and the
pages, each a program of its own that can be made to fail. Lines to the mail servers go through `cutting`."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from replacements.ballots.importing import import_ballots
from replacements.demo.setting_up import County, write_county
from replacements.people.passwords import hashed
from replacements.requests import office as offices
from replacements.roll.importing import import_file
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Account
from tests.faults.clock import Clock, make_clock
from tests.faults.cutting import Line
from tests.faults.programs import BIN, Keeper, Program
from tests.faults.restarted_postgres import IMMEDIATE, RestartedPostgres
from tests.faults.small_disk import SmallDisk, small_disk
from tests.servers.dovecot import DovecotServer, private_dovecot
from tests.servers.ports import free_port, wait_for
from tests.servers.redis import RedisServer
from tests.servers.smtp import Delivered, SmtpServer

PASSPHRASE = "seven quiet herons wade"
STAFF = {"cleo": ["clerk"], "mateo": ["clerk"], "sunniva": ["supervisor", "clerk"]}
AN_HOUR_BEFORE_THE_CUT_OFF = 14  # o'clock: clocks that step then cross the closing of a mailing, both ways
_ZONE = ZoneInfo("America/New_York")


@dataclass
class Sink(SmtpServer):
    """Keeps what it is given. `at_acceptance` is called once with it, between taking a message over and saying so."""

    at_acceptance: Callable[[Delivered], object] | None = None

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        said = await super().handle_DATA(server, session, envelope)
        strike, self.at_acceptance = self.at_acceptance, None
        if strike is not None:
            strike(self.delivered[-1])
        return said


@dataclass
class Office:
    """A running office, and what the run does at its edges."""

    folder: Path
    county: County
    today: date
    postgres: RestartedPostgres
    disk: SmallDisk  # of the database
    own_disk: SmallDisk  # of the worker's files
    redis: RedisServer
    dovecot: DovecotServer
    sink: Sink
    imap_line: Line
    smtp_line: Line
    clock: Clock
    port: int = field(default_factory=free_port)
    keeper: Keeper = field(default_factory=Keeper)
    delivered: int = 0

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def environment(self) -> dict[str, str]:
        kept = {k: v for k, v in os.environ.items() if not k.startswith("REPLACEMENTS_")}
        return kept | {
            "REPLACEMENTS_DATA": str(self.own_disk.folder),
            "REPLACEMENTS_DATABASE": self.postgres.url,
            "REPLACEMENTS_REDIS": self.redis.url,
            "REPLACEMENTS_MAILBOX": f"imaps://{self.dovecot.user}@127.0.0.1:{self.imap_line.port}/INBOX",
            "REPLACEMENTS_MAILBOX_PASSWORD": self.dovecot.password,
            "REPLACEMENTS_CA_FILE": self.dovecot.ca_file,
            "REPLACEMENTS_OUTBOX": f"smtp://127.0.0.1:{self.smtp_line.port}",
            "REPLACEMENTS_OUTBOX_LIMIT": "100000/minute",
            "REPLACEMENTS_BACKUPS": str(self.own_disk.folder / "backups"),
            "REPLACEMENTS_BACKUPS_KEPT": "2",
        }

    def command(self, *arguments: str) -> tuple[int, str]:
        """One `replacements …` command: its exit status and what it said."""
        done = subprocess.run(
            [BIN / "replacements", *arguments], env=self.environment, capture_output=True, text=True, timeout=300
        )
        return done.returncode, done.stdout + done.stderr

    def set_up(self) -> None:
        """Rules adopted, roll and ballots loaded, a key for the ledger's head, staff known."""
        database, at = Database(self.postgres.url), self.clock.now()
        migrate(database)
        with database.write() as session:
            force = offices.load(session, self.county.office.read_text(encoding="utf-8"), at=at)
            offices.adopt(session, official=self.county.official, by="set up", at=at)
        import_file(database, self.county.roll, columns=force.rules.columns.roll, at=at)
        with database.write() as session:
            columns = force.rules.columns.ballots
            import_ballots(session, self.county.ballots, election_id=force.election_id, at=at, columns=columns)
            for name, roles in STAFF.items():
                words = hashed(PASSPHRASE)
                session.add(Account(name=name, password_hash=words, roles=roles, active=True, created_at=at))
        database.close()
        status, said = self.command("ledger", "key")
        if status:
            raise RuntimeError(said)

    def start(self, readers: int) -> None:
        """Start the programs, and wait until each is there."""
        environment = self.environment | self.clock.environment
        celery: list[str | Path] = [BIN / "celery", "-A", "worker"]
        commands: dict[str, list[str | Path]] = {
            "worker": [*celery, "worker", "-c", str(readers), "--loglevel", "INFO"],
            "schedule": [*celery, "beat", "-s", self.own_disk.folder / "beat", "--pidfile=", "--loglevel", "WARNING"],
            "pages": [BIN / "replacements", "serve", "--pages-only", "--port", str(self.port)],
        }
        self.keeper.programs = [
            Program(name, command, environment, self.folder / f"{name}.log") for name, command in commands.items()
        ]
        self.keeper.start()
        if not wait_for(self.port):
            raise RuntimeError(self.log("pages"))

    def program(self, name: str) -> Program:
        return next(one for one in self.keeper.programs if one.name == name)

    def log(self, name: str) -> str:
        return (self.folder / f"{name}.log").read_text(encoding="utf-8", errors="replace")

    def voters_with_ballots(self) -> set[str]:
        with self.county.ballots.open(encoding="utf-8", newline="") as file:
            return {line["voter_id"] for line in csv.DictReader(file) if line["state"] == "issued"}

    def deliver(self, raw: bytes) -> None:
        """As a mail server does: written beside, and moved into the mailbox whole."""
        box = self.dovecot.folder / "mail"
        owner = box.stat()
        for part in ("tmp", "new", "cur"):
            (box / part).mkdir(exist_ok=True)
            os.chown(box / part, owner.st_uid, owner.st_gid)
        self.delivered += 1
        name = f"{int(time.time())}.{self.delivered:07}.mx"
        (box / "tmp" / name).write_bytes(raw)
        os.chown(box / "tmp" / name, owner.st_uid, owner.st_gid)
        (box / "tmp" / name).rename(box / "new" / name)

    def stop_cutting(self) -> None:
        """Faults are over: nothing that was armed strikes any more."""
        self.imap_line.disarm()
        self.smtp_line.disarm()
        self.sink.at_acceptance = None


def _opening() -> datetime:
    """When the office's clock begins: the next time that it is so late in the day where the office is."""
    now = datetime.now(_ZONE)
    opening = now.replace(hour=AN_HOUR_BEFORE_THE_CUT_OFF, minute=0, second=0, microsecond=0)
    return opening if opening > now else opening + timedelta(days=1)


@contextmanager
def an_office(megabytes: int = 700) -> Iterator[Office]:
    """An office, set up and not started; gone afterwards with all its servers. `megabytes`: of the database's disk."""
    with ExitStack() as opened:
        folder = Path(tempfile.mkdtemp(prefix="faults-", dir="/tmp"))
        opened.callback(shutil.rmtree, folder, ignore_errors=True)
        folder.chmod(0o755)
        dovecot = opened.enter_context(private_dovecot())
        disk = opened.enter_context(small_disk(folder / "database", megabytes))
        own_disk = opened.enter_context(small_disk(folder / "var", 60))
        postgres = RestartedPostgres(disk.folder, folder / "postgres.log")
        postgres.make()
        postgres.start()
        opened.callback(postgres.stop, IMMEDIATE)
        redis = RedisServer(shutil.which("redis-server") or "redis-server", folder, free_port())
        redis.start()
        opened.callback(redis.stop)
        sink = Sink("127.0.0.1", free_port())
        controller = Controller(sink, hostname=sink.host, port=sink.port, enable_SMTPUTF8=True)
        controller.start()
        opened.callback(controller.stop)
        lines = [Line((dovecot.host, dovecot.port)), Line((sink.host, sink.port))]
        for line in lines:
            line.start()
            opened.callback(line.stop)
        ticking = make_clock(folder)
        ticking.set_ahead((_opening() - datetime.now(_ZONE)).total_seconds())
        now = ticking.now()
        today = now.astimezone(_ZONE).date()
        county = write_county(folder / "county", today, now)
        found = Office(folder, county, today, postgres, disk, own_disk, redis, dovecot, sink, *lines, ticking)
        opened.callback(found.keeper.stop)
        yield found
