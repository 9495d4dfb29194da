"""The jobs as Celery tasks. A task carries an id, may run twice or never; the schedule's sweep finds what was lost."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import structlog

from replacements.settings import Settings
from replacements.store.database import Database
from worker import jobs
from worker.app import app
from worker.jobs import Work

log = structlog.get_logger()
_work: Work | None = None


def work() -> Work:
    """This process's database and settings, opened on first use (after Celery has forked its workers)."""
    global _work
    if _work is None:
        settings = Settings.from_environment()
        _work = Work(Database(settings.database), settings)
    return _work


def _task(name: str) -> Any:
    return app.task(name=name, ignore_result=True)


def _attempt(name: str, step: Callable[[Work], object]) -> None:
    """Run a job, and let no error reach Celery, which writes the whole of its text into the log."""
    here = work()
    try:
        jobs.attempt(here, name, step)
    except Exception as error:  # the database itself is away: the schedule tries again
        log.error("jobs wait", job=name, error=type(error).__name__)


@_task("fetch_mail")
def fetch_mail() -> None:
    """Keep what is new in the mailbox, then hand each unread message out, the forgotten ones too."""

    def fetch_and_hand_out(here: Work) -> None:
        jobs.fetch_mail(here)
        for message_id in jobs.messages_to_read(here):
            read_message.delay(message_id)

    _attempt("fetch_mail", fetch_and_hand_out)


@_task("read_message")
def read_message(message_id: int) -> None:
    _attempt("read_message", lambda here: jobs.read_message(here, message_id))


@_task("send_replies")
def send_replies() -> None:
    _attempt("send_replies", jobs.send_replies)


@_task("close_mailings")
def close_mailings() -> None:
    _attempt("close_mailings", jobs.close_mailings)


@_task("check_books")
def check_books() -> None:
    _attempt("check_books", jobs.check_books)


@_task("tend_waiting")
def tend_waiting() -> None:
    _attempt("tend_waiting", jobs.tend_waiting)


@_task("send_weekly_summary")
def send_weekly_summary() -> None:
    _attempt("send_weekly_summary", jobs.send_weekly_summary)
