"""Redis only wakes people up: emptied in the middle, stopped, or with a second schedule beside the first, nothing is
lost, nothing is done twice, and no log names anybody. Real workers, a real Redis, a real PostgreSQL."""

from __future__ import annotations

import mailbox
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path

import pytest
from redis import Redis
from sqlalchemy import func, select

from replacements.replies import outbox
from replacements.replies.texts import Rendered
from replacements.requests import intake
from replacements.store.database import Database
from replacements.store.tables import Message, Reply, Request
from tests.requests.conftest import set_up
from tests.servers.redis import RedisServer
from tests.worker.conftest import soon

CELERY = Path(sys.executable).parent / "celery"
MAILS, REPLIES = 12, 8


def _mail(number: int) -> bytes:
    message = EmailMessage()
    message["From"] = f"Ada Quillfeather <voter{number}@post.example>"
    message["To"] = "ballots@saltgrass.example"
    message["Subject"] = "hours"
    message["Date"] = format_datetime(datetime.now(UTC))
    message["Message-ID"] = f"<hours-{number}@post.example>"
    message.set_content(f"What are your hours on day {number}?\n")
    return message.as_bytes()


@dataclass
class Workers:
    """An office whose mail and replies are Maildirs, and the programs that work for it."""

    database: Database
    redis: RedisServer
    folder: Path
    programs: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def start(self) -> subprocess.Popen[bytes]:
        """A worker with a schedule of its own."""
        number = len(self.programs)
        settings = {
            "REPLACEMENTS_DATA": str(self.folder),
            "REPLACEMENTS_DATABASE": self.database.engine.url.render_as_string(hide_password=False),
            "REPLACEMENTS_REDIS": self.redis.url,
            "REPLACEMENTS_OUTBOX_LIMIT": "600/minute",
        }
        with (self.folder / f"worker-{number}.log").open("wb") as log:
            self.programs.append(
                subprocess.Popen(
                    [CELERY, "-A", "worker", "worker", "-B", "-s", str(self.folder / f"beat-{number}"), "-c", "1",
                     "-n", f"w{number}@%h", "--loglevel", "INFO"],
                    env=os.environ | settings, stdout=log, stderr=log, cwd=Path(__file__).parents[2],
                    start_new_session=True,
                )
            )  # fmt: skip
        return self.programs[-1]

    def kill(self, program: subprocess.Popen[bytes]) -> None:
        """As a power cut does, all its processes at once."""
        os.killpg(program.pid, signal.SIGKILL)
        program.wait()

    def empty_redis(self) -> None:
        with Redis.from_url(self.redis.url) as client:
            client.flushall()

    def post(self, numbers: range) -> None:
        box = mailbox.Maildir(str(self.folder / "mailbox"), create=True)
        for number in numbers:
            box.add(_mail(number))

    def queue_replies(self, numbers: range) -> None:
        with self.database.write() as session:
            for number in numbers:
                outbox.queue(
                    session, election_id="2026-11-03-general-election", request_id=None, to=f"v{number}@post.example",
                    rendered=Rendered(template="answer", language="en", subject="Hours", text="Nine to five.", html=""),
                    in_reply_to="", references="", domain="saltgrass.example", seed=f"r{number}", at=datetime.now(UTC),
                )  # fmt: skip

    def read(self) -> int:
        with self.database.read() as session:
            return session.scalar(select(func.count()).where(Message.state == "read")) or 0

    def sent(self) -> int:
        with self.database.read() as session:
            return session.scalar(select(func.count()).where(Reply.state == "sent")) or 0

    def is_done(self) -> bool:
        return self.read() == MAILS and self.sent() == REPLIES

    def check_once(self) -> None:
        """Every mail is one message with one request, every reply went once, and no log names anybody."""
        with self.database.read() as session:
            assert session.scalar(select(func.count()).select_from(Message)) == MAILS
            assert session.scalar(select(func.count()).select_from(Request)) == MAILS
        went = [str(mail["Message-ID"]) for mail in mailbox.Maildir(str(self.folder / "sent"), create=False)]
        assert len(went) == REPLIES
        assert len(set(went)) == REPLIES
        log = self.log()
        assert "ready" in log
        for personal in ("Quillfeather", "voter3", "post.example", "Nine to five", "What are your hours"):
            assert personal not in log

    def log(self) -> str:
        return "\n".join(path.read_text(errors="replace") for path in sorted(self.folder.glob("worker-*.log")))


@pytest.fixture
def workers(postgres_database: Database, redis_server: RedisServer, tmp_path: Path) -> Iterator[Workers]:
    set_up(postgres_database)
    folder = tmp_path / "var"
    folder.mkdir()
    found = Workers(postgres_database, redis_server, folder)
    yield found
    for program in found.programs:
        if program.poll() is None:
            found.kill(program)


def test_redis_is_emptied_again_and_again_while_there_is_work(workers: Workers) -> None:
    workers.start()
    workers.post(range(6))
    workers.queue_replies(range(4))
    soon(lambda: workers.read() > 0 or workers.sent() > 0, 90)
    for _ in range(5):
        workers.empty_redis()
    workers.post(range(6, MAILS))
    workers.queue_replies(range(4, REPLIES))
    workers.empty_redis()
    soon(workers.is_done, 90)
    workers.check_once()


def test_redis_is_stopped_and_comes_back_empty(workers: Workers) -> None:
    workers.start()
    workers.post(range(6))
    workers.queue_replies(range(4))
    soon(lambda: workers.read() > 0, 90)
    workers.redis.stop()
    workers.post(range(6, MAILS))
    workers.queue_replies(range(4, REPLIES))
    workers.redis.start()
    soon(workers.is_done, 120)
    workers.check_once()


def test_a_restored_office_with_an_empty_redis_and_half_of_its_tasks_lost_finishes_everything(workers: Workers) -> None:
    """Messages are stored and nobody was told of them; replies are half-way out, their senders gone."""
    for number in range(MAILS):
        raw = _mail(number)
        intake.keep(workers.database, raw, source="INBOX", validity="1", uid=str(number), at=datetime.now(UTC))
    workers.queue_replies(range(REPLIES))
    with workers.database.write() as session:  # claimed ten minutes ago by a sender that is no more
        for reply in session.scalars(select(Reply).where(Reply.id % 2 == 0)):
            reply.state, reply.attempts = "sending", 1
        for message in session.scalars(select(Message).where(Message.id % 2 == 0)):
            message.attempts, message.reading_since = 1, datetime.now(UTC)
    workers.empty_redis()
    workers.start()
    soon(workers.is_done, 120)
    workers.check_once()


def test_two_schedules_run_beside_each_other_and_one_worker_is_killed(workers: Workers) -> None:
    first = workers.start()
    workers.start()
    workers.post(range(MAILS))
    workers.queue_replies(range(REPLIES))
    soon(lambda: workers.read() > 0, 120)
    workers.kill(first)
    soon(workers.is_done, 120)
    workers.check_once()
