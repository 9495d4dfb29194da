"""All jobs in one thread beside the web pages, where there is no Redis: one machine, one program, the whole work."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import structlog

from worker import jobs, nights
from worker.jobs import Work
from worker.schedule import EVERY
from worker.watching import Watch, watched

# However much mail waits, the other jobs get their turn before `fetch_mail` is due again.
READ_SECONDS = 9.0

log = structlog.get_logger()


def _fetch_and_read(work: Work) -> None:
    jobs.fetch_mail(work, but=watched(work))
    jobs.read_waiting(work, seconds=READ_SECONDS)


STEPS: dict[str, Callable[[Work], object]] = {
    "fetch_mail": _fetch_and_read,
    "close_mailings": jobs.close_mailings,
    "send_replies": jobs.send_replies,
    "check_books": jobs.check_books,
    "tend_waiting": jobs.tend_waiting,
    "make_ready": jobs.make_ready,
    "send_weekly_summary": jobs.send_weekly_summary,
    "back_up": nights.back_up,
    "purge_past_retention": nights.purge_past_retention,
}


class InProcess:
    """Runs each job as often as `worker.schedule` says, until `stop`. An error in one job never stops the others. IMAP
    mailboxes are watched beside them, so that mail is stored at once whatever job is at hand."""

    def __init__(self, work: Work, clock: Callable[[], float] = time.monotonic) -> None:
        self._work = work
        self._clock = clock
        self._stopped = threading.Event()
        self.steps = dict(STEPS)
        self._due = dict.fromkeys(self.steps, 0.0)
        self._woken = threading.Event()
        self._thread = threading.Thread(target=self._run, name="jobs", daemon=True)
        self._watch = Watch(work, lambda: self.wake("fetch_mail"))

    def start(self) -> None:
        self._watch.start()
        self._thread.start()

    def wake(self, name: str) -> None:
        """Let this job run as soon as the one at hand has ended."""
        self._due[name] = 0.0
        self._woken.set()

    def stop(self, timeout: float = 30.0) -> None:
        """Finish the job at hand and end."""
        self._stopped.set()
        self._woken.set()
        self._watch.stop()
        self._thread.join(timeout)

    def run_due(self) -> None:
        """Run every job that is due, once."""
        for name, step in self.steps.items():
            if self._clock() < self._due[name]:
                continue
            self._due[name] = self._clock() + EVERY[name].total_seconds()  # before it: who wakes it meanwhile is heard
            try:
                jobs.attempt(self._work, name, step)  # whatever breaks, the other jobs go on
            except Exception:
                self._due[name] = 0.0
                raise

    def _run(self) -> None:
        while not self._stopped.is_set():
            try:
                self.run_due()
            except Exception as error:  # the database itself is away: wait and try again
                log.error("jobs wait", error=type(error).__name__)
            self._woken.wait(1.0)
            self._woken.clear()
