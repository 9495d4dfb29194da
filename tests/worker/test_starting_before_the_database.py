"""A worker that starts while the database is away: it watches the mailbox as soon as the database is there, and no
error's own words reach the log."""

from __future__ import annotations

import threading
from types import SimpleNamespace

import pytest
from sqlalchemy.exc import OperationalError

from replacements.settings import Settings
from tests.worker.conftest import soon
from worker import jobs, tasks
from worker.jobs import Work

AWAY = OperationalError("SELECT", {}, Exception("no route to the database of Ada Quillfeather"))
WORKER = SimpleNamespace(app=SimpleNamespace(amqp=SimpleNamespace(queues=SimpleNamespace(consume_from={"intake": 1}))))


class Watching:
    """In the place of the one that watches mailboxes."""

    started = 0

    def __init__(self, work: Work, wake: object) -> None:
        self.work = work

    def start(self) -> None:
        Watching.started += 1

    def stop(self, timeout: float = 0.0) -> None:
        """Nothing runs."""


@pytest.fixture
def database_away(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """Set it, and the database is there."""
    there = threading.Event()

    def work_of(_settings: Settings) -> Work:
        if not there.is_set():
            raise AWAY
        return SimpleNamespace()  # type: ignore[return-value]

    monkeypatch.setattr(jobs, "work_of", work_of)
    monkeypatch.setattr(tasks, "_work", None)
    monkeypatch.setattr(tasks, "_watch", None)
    monkeypatch.setattr(tasks, "Watch", Watching)
    monkeypatch.setattr(tasks, "DATABASE_SECONDS", 0.05)
    monkeypatch.setattr(tasks, "_stopping", threading.Event())
    monkeypatch.setattr(Watching, "started", 0)
    return there


def test_the_mailbox_is_watched_once_the_database_is_there(database_away: threading.Event) -> None:
    tasks.watch_mailboxes(sender=WORKER)
    assert Watching.started == 0
    database_away.set()
    soon(lambda: Watching.started == 1, 10)


def test_a_worker_that_is_stopped_meanwhile_begins_no_watching(database_away: threading.Event) -> None:
    tasks.watch_mailboxes(sender=WORKER)
    tasks.stop_watching()
    database_away.set()
    soon(lambda: not any(thread.name == "watching" for thread in threading.enumerate()), 10)
    assert Watching.started == 0


def test_a_task_that_comes_before_the_database_tells_no_more_than_the_type_of_the_error(
    database_away: threading.Event, capsys: pytest.CaptureFixture[str]
) -> None:
    tasks.send_replies()
    said = capsys.readouterr().out
    assert "OperationalError" in said
    assert "Quillfeather" not in said
