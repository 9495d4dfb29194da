"""The jobs as Celery tasks. A task carries an id, may run twice or never; the schedule's sweep finds what was lost."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import structlog
from celery.signals import worker_ready, worker_shutting_down
from sqlalchemy.exc import OperationalError

from replacements.settings import Settings
from worker import jobs, nights
from worker.app import app
from worker.jobs import Work
from worker.watching import Watch, watched

# A reader reads for so long, and then other tasks get their turn in its process. Enough of them are handed out at each
# look to keep many processes busy until the next, and what no process has taken up by then is not wanted any more.
READ_SECONDS = 2.0
MESSAGES_A_READER = 20
MOST_READERS = 60
HANDED_OUT_SECONDS = 20
DATABASE_SECONDS = 5.0  # between two looks for a database that was away at the start
LONGEST_NIGHT_SECONDS = 3 * 3600

log = structlog.get_logger()
_watch: Watch | None = None
_work: Work | None = None
_stopping = threading.Event()


def work() -> Work:
    """This process's database and settings, opened on first use (after Celery has forked its workers)."""
    global _work
    if _work is None:
        _work = jobs.work_of(Settings.from_environment())
    return _work


def _task(name: str) -> Any:
    return app.task(name=name, ignore_result=True)


def _long_task(name: str) -> Any:
    """One that may take longer than the queue waits before it hands a task out again. It is taken off the queue at its
    start, then; one that is lost comes with the next hour."""
    return app.task(name=name, ignore_result=True, acks_late=False, time_limit=LONGEST_NIGHT_SECONDS)


def _attempt(name: str, step: Callable[[Work], object]) -> None:
    """Run a job, and let no error reach Celery, which writes the whole of its text into the log."""
    try:
        jobs.attempt(work(), name, step)
    except Exception as error:  # the database itself is away: the schedule tries again
        log.error("jobs wait", job=name, error=type(error).__name__)


@_task("fetch_mail")
def fetch_mail() -> None:
    """Hand out the reading of what is stored, the forgotten too; keep what is new in the mailbox, and hand that out."""

    def fetch_and_hand_out(here: Work) -> None:
        _hand_out_reading(here)
        if jobs.fetch_mail(here, but=watched(here)):
            _hand_out_reading(here)

    _attempt("fetch_mail", fetch_and_hand_out)


def _hand_out_reading(here: Work) -> None:
    waiting = jobs.count_to_read(here)
    for _ in range(min(-(-waiting // MESSAGES_A_READER), MOST_READERS)):
        read_waiting.apply_async(expires=HANDED_OUT_SECONDS)


@worker_ready.connect
def watch_mailboxes(sender: Any = None, **_: Any) -> None:
    """Beside the worker that fetches mail, watch the IMAP folders. With a database connection of its own: the processes
    that carry out tasks are copies of this one. Where the database is away at the start, as soon as it is there."""
    if sender is None or "intake" not in sender.app.amqp.queues.consume_from:
        return
    if not _watch_if_possible():
        threading.Thread(target=_watch_when_possible, name="watching", daemon=True).start()


def _watch_if_possible() -> bool:
    """Whether the database was there."""
    global _watch
    try:
        here = jobs.work_of(Settings.from_environment())
    except OperationalError as error:
        log.error("watching waits", error=type(error).__name__)
        return False
    _watch = Watch(here, lambda: _hand_out_reading(here))
    _watch.start()
    return True


def _watch_when_possible() -> None:
    while not _stopping.wait(DATABASE_SECONDS):
        if _watch_if_possible():
            return


@worker_shutting_down.connect
def stop_watching(**_: Any) -> None:
    _stopping.set()
    if _watch is not None:
        _watch.stop(timeout=0.0)


@_task("read_message")
def read_message(message_id: int) -> None:
    _attempt("read_message", lambda here: jobs.read_message(here, message_id))


@_task("read_waiting")
def read_waiting() -> None:
    """Read for a while, whoever's turn it is. A message is claimed as its reading begins, so that each of several
    readers has its own."""
    _attempt("read_message", lambda here: jobs.read_waiting(here, seconds=READ_SECONDS))


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


@_task("make_ready")
def make_ready() -> None:
    _attempt("make_ready", jobs.make_ready)


@_task("send_weekly_summary")
def send_weekly_summary() -> None:
    _attempt("send_weekly_summary", jobs.send_weekly_summary)


@_long_task("back_up")
def back_up() -> None:
    _attempt("back_up", nights.back_up)


@_long_task("purge_past_retention")
def purge_past_retention() -> None:
    _attempt("purge_past_retention", nights.purge_past_retention)
