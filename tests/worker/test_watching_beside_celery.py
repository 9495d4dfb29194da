"""A Celery worker watches the mailbox too: without any schedule, a mail is stored and read as soon as it comes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from replacements.store.database import Database
from replacements.store.tables import Condition, Message
from tests.requests.conftest import OfficeAtWork, county  # noqa: F401 - a fixture
from tests.servers.dovecot import DovecotServer
from tests.servers.redis import RedisServer
from tests.whole_way.running import spoiled_mail
from tests.worker.conftest import soon

CELERY = Path(sys.executable).parent / "celery"


@pytest.fixture
def office(
    sqlite_database: Database,
    county: Callable[..., OfficeAtWork],  # noqa: F811
) -> Database:
    county(sqlite_database)
    return sqlite_database


@pytest.fixture
def start(
    office: Database, dovecot: DovecotServer, redis_server: RedisServer, tmp_path: Path
) -> Iterator[Callable[..., subprocess.Popen[bytes]]]:
    settings = {
        "REPLACEMENTS_DATA": str(tmp_path),
        "REPLACEMENTS_DATABASE": str(office.engine.url.database),
        "REPLACEMENTS_REDIS": redis_server.url,
        "REPLACEMENTS_MAILBOX": dovecot.url,
        "REPLACEMENTS_MAILBOX_PASSWORD": dovecot.password,
        "REPLACEMENTS_CA_FILE": dovecot.ca_file,
    }
    started: list[subprocess.Popen[bytes]] = []

    def run(*arguments: str) -> subprocess.Popen[bytes]:
        with (tmp_path / "worker.log").open("ab") as log:
            started.append(
                subprocess.Popen(
                    [CELERY, "-A", "worker", "worker", "-c", "1", *arguments],
                    env=os.environ | settings,
                    stdout=log,
                    stderr=log,
                    cwd=Path(__file__).parents[2],
                    start_new_session=True,
                )
            )
        return started[-1]

    yield run
    for program in started:
        if program.poll() is None:
            os.killpg(program.pid, signal.SIGKILL)
            program.wait()


def _states(database: Database) -> list[str]:
    with database.read() as session:
        return list(session.scalars(select(Message.state)))


def _live(database: Database) -> bool:
    with database.read() as session:
        found = session.get(Condition, "mailbox, live")
        return found is not None and found.ok


def test_a_mail_is_stored_and_read_without_a_schedule_and_the_worker_ends_when_told(
    office: Database, dovecot: DovecotServer, start: Callable[..., subprocess.Popen[bytes]]
) -> None:
    worker = start()
    soon(lambda: _live(office), 60)
    dovecot.append(spoiled_mail())
    assert soon(lambda: _states(office) != []) < 3
    soon(lambda: _states(office) == ["read"])
    worker.send_signal(signal.SIGTERM)
    assert worker.wait(30) == 0


def test_a_worker_that_fetches_no_mail_watches_none(
    office: Database, start: Callable[..., subprocess.Popen[bytes]], tmp_path: Path
) -> None:
    start("-Q", "replies,nightly", "--loglevel", "INFO")
    soon(lambda: b"ready." in (tmp_path / "worker.log").read_bytes(), 60)
    time.sleep(3)  # in which the other test's watcher has long said that it lives
    with office.read() as session:
        assert session.get(Condition, "mailbox, live") is None
