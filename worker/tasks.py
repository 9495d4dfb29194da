"""The jobs as Celery tasks. A task carries an id, may run twice or never; the schedule's sweep finds what was lost."""

from __future__ import annotations

from typing import Any

from replacements.settings import Settings
from replacements.store.database import Database
from worker import jobs
from worker.app import app
from worker.jobs import Work

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


@_task("fetch_mail")
def fetch_mail() -> None:
    """Keep what is new in the mailbox, then hand each unread message out, the forgotten ones too."""
    jobs.fetch_mail(work())
    for message_id in jobs.messages_to_read(work()):
        read_message.delay(message_id)


@_task("read_message")
def read_message(message_id: int) -> None:
    jobs.read_message(work(), message_id)


@_task("send_replies")
def send_replies() -> None:
    jobs.send_replies(work())


@_task("close_mailings")
def close_mailings() -> None:
    jobs.close_mailings(work())


@_task("check_books")
def check_books() -> None:
    jobs.check_books(work())


@_task("send_weekly_summary")
def send_weekly_summary() -> None:
    jobs.send_weekly_summary(work())
