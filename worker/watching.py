"""New mail is stored as soon as the server announces it: a thread for each IMAP folder, with a connection that stays.

IDLE (RFC 2177) is ended and begun anew every two seconds, far within the 29 minutes of the standard and the ten or so
after which routers forget a silent connection; every minute the folder is looked at, so that a server whose IDLE says
nothing costs a minute and no message. Every answer has a time limit. A connection that breaks is made again, after a
wait that doubles each time. Each thread tells the health page that it lives; where it does not, the scheduled job reads
instead.
"""

from __future__ import annotations

import math
import random
import threading
import time
from collections.abc import Callable
from datetime import timedelta

import structlog
from sqlalchemy import select

from replacements.store.tables import Condition
from worker import jobs
from worker.jobs import Work
from worker.mailbox.imap import ImapSource
from worker.mailbox.opening import is_imap, open_source
from worker.mailbox.source import MailboxTrouble
from worker.mailbox.taking_in import take_in

RENEW_SECONDS = 60.0
WITHOUT_IDLE_SECONDS = 10.0
LOOK_SECONDS = 20.0  # after which the order of what waits is made anew: somebody else may have written meanwhile
WAKE_SECONDS = 2.0
FIRST_WAIT, LONGEST_WAIT = 1.0, 120.0
STOOD_SECONDS = 60.0  # a connection that stood so long was a good one: the next wait is short again
SILENT = timedelta(minutes=7)  # a look may take four minutes, a wait two and a half
_LIVE = ", live"

log = structlog.get_logger()


def watched(work: Work) -> frozenset[str]:
    """Names of the mailboxes whose watchers have been heard of of late, in whatever process they are."""
    can_be = {name for name, address in jobs.mailboxes(work.settings) if is_imap(address)}
    with work.database.read() as session:
        names = session.scalars(
            select(Condition.name).where(Condition.name.endswith(_LIVE), Condition.at >= work.now() - SILENT)
        )
        return frozenset(name.removesuffix(_LIVE) for name in names) & can_be


class Watch:
    """Watches every IMAP folder that the settings name, from `start` to `stop`. `wake` is called when mail was stored,
    from another thread."""

    def __init__(self, work: Work, wake: Callable[[], object], *, renew: float = RENEW_SECONDS) -> None:
        self._work = work
        self._stopped = threading.Event()
        self._threads = [
            threading.Thread(
                target=_Watcher(work, name, address, wake, renew, self._stopped).run, name=name, daemon=True
            )
            for name, address in jobs.mailboxes(work.settings)
            if is_imap(address)
        ]

    def start(self) -> None:
        try:
            self._forget_what_is_read_no_more()
        except Exception as error:  # the database is away: the threads wait for it
            log.error("watching waits", error=type(error).__name__)
        for thread in self._threads:
            thread.start()

    def stop(self, timeout: float = 10.0) -> None:
        """End within seconds, except where a server is slow to answer: such a thread ends with the program."""
        self._stopped.set()
        until = time.monotonic() + timeout
        for thread in self._threads:
            thread.join(max(0.0, until - time.monotonic()))

    def _forget_what_is_read_no_more(self) -> None:
        """Take off the health page what was said of mailboxes that the settings name no more."""
        names = {name for name, _ in jobs.mailboxes(self._work.settings)}
        names |= {thread.name + _LIVE for thread in self._threads}
        with self._work.database.write() as session:
            for said in session.scalars(select(Condition).where(Condition.name.startswith("mailbox"))):
                if said.name not in names:
                    session.delete(said)


class _Watcher:
    def __init__(
        self,
        work: Work,
        name: str,
        address: str,
        wake: Callable[[], object],
        renew: float,
        stopped: threading.Event,
    ) -> None:
        self._work, self._name, self._address = work, name, address
        self._wake, self._renew, self._stopped = wake, renew, stopped
        self._failures = 0
        self._to_wake, self._woken = False, -math.inf

    def run(self) -> None:
        while not self._stopped.is_set():
            began = time.monotonic()
            try:
                self._watch()
                continue
            except MailboxTrouble as trouble:
                text = str(trouble)
                log.warning("mailbox trouble", mailbox=self._name, trouble=text)
            except Exception as error:  # the database is away, or the program is wrong: neither may end the watching
                text = f"Watching the mailbox stopped: {type(error).__name__}."
                log.error("watching stopped", mailbox=self._name, error=type(error).__name__)
            self._failures = 1 if time.monotonic() - began > STOOD_SECONDS else self._failures + 1
            self._wait(text)

    def _watch(self) -> None:
        """Look and wait, on one connection, until told to stop. Raises MailboxTrouble where it breaks."""
        source = open_source(self._work.settings, self._address)
        assert isinstance(source, ImapSource)  # noqa: S101 - no other kind is watched
        try:
            while not self._stopped.is_set():
                taken = take_in(
                    self._work.database, source, now=self._work.now, seconds=LOOK_SECONDS, stored=self._stored
                )
                if self._to_wake:
                    self._wake_readers()
                if taken.trouble:
                    raise MailboxTrouble(taken.trouble)
                jobs.tell(self._work, self._name, taken)
                how = (
                    "The mail server announces new mail at once."
                    if source.can_idle
                    else "The mail server does not announce new mail; the folder is looked at every few seconds."
                )
                jobs.note(self._work, self._name + _LIVE, ok=True, text=how)
                if taken.more:
                    continue
                seconds = self._renew if source.can_idle else min(self._renew, WITHOUT_IDLE_SECONDS)
                source.wait_for_news(seconds, self._stopped.is_set)
        finally:
            source.close()

    def _stored(self) -> None:
        """Wake now and then while much is taken in, so that reading begins before all is stored."""
        self._to_wake = True
        if time.monotonic() - self._woken >= WAKE_SECONDS:
            self._wake_readers()

    def _wake_readers(self) -> None:
        """Whoever is not woken finds what waits by the schedule: no reason to stop storing."""
        self._to_wake, self._woken = False, time.monotonic()
        try:
            self._wake()
        except Exception as error:  # the broker is away
            log.warning("nobody woken", mailbox=self._name, error=type(error).__name__)

    def _wait(self, trouble: str) -> None:
        """Say what is wrong, and wait twice as long as last time, a little more or less."""
        wait = min(FIRST_WAIT * 2.0 ** min(self._failures - 1, 10), LONGEST_WAIT)
        wait *= random.uniform(0.75, 1.25)  # noqa: S311 - so that many do not come back at one moment; no secret
        try:
            jobs.note(self._work, self._name, ok=False, text=trouble)
            text = f"Not connected. It is tried again in {wait:.0f} seconds." if wait >= 2 else "Not connected."
            jobs.note(self._work, self._name + _LIVE, ok=False, text=text)
        except Exception as error:
            log.error("watching waits", mailbox=self._name, error=type(error).__name__)
        self._stopped.wait(wait)
