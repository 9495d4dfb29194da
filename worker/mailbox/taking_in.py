"""One look into a mailbox: what is new is stored, then marked, then put away; in this order, always.

Safe to run twice, also at the same moment: storing knows each message by its place and by its words, and marking and
moving say again what is so. A look ends after some minutes and leaves the rest to the next, so that it stays well under
the time after which a queue hands the same work out again.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import structlog
from sqlalchemy.exc import OperationalError

from replacements.requests import intake
from replacements.store.database import Database
from worker.mailbox.source import Found, MailboxTrouble, MailSource

LONGEST_SECONDS = 240.0
ASKED_TOGETHER = 200  # places in a mailbox of which the database is asked at once whether they are kept

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Taken:
    """What a look brought: how many messages were `new`; what in the mailbox a person should look at (`told`); why it
    ended early (`trouble`), after which the source is of no use. Both in plain words, empty where there is nothing.
    `more`: the time was over before the mailbox was."""

    new: int = 0
    told: str = ""
    trouble: str = ""
    more: bool = False


def take_in(
    database: Database,
    source: MailSource,
    *,
    now: Callable[[], datetime],
    seconds: float = LONGEST_SECONDS,
    stored: Callable[[], object] = lambda: None,
) -> Taken:
    """Store every new message, oldest first, for about so many seconds at most. `stored` is called whenever some have
    been. Raises where the database is away."""
    until = time.monotonic() + seconds
    look = _Look(database, source, now, stored)
    together: list[Found] = []
    more = False
    try:
        for found in source.new_messages(look.seen):
            together.append(found)
            more = time.monotonic() > until
            if more or not source.at_hand:
                look.store(together)
                together = []
            if more:
                break
        source.put_away()
    except MailboxTrouble as trouble:
        return Taken(look.new, trouble=str(trouble))
    return Taken(look.new, told=" ".join(filter(None, (look.refused, source.told))), more=more)


class _Look:
    def __init__(
        self, database: Database, source: MailSource, now: Callable[[], datetime], stored: Callable[[], object]
    ) -> None:
        self._database, self._source, self._now, self._stored = database, source, now, stored
        self._asked: dict[tuple[str, int], frozenset[str]] = {}
        self.new = 0
        self.refused = ""

    def seen(self, validity: str, uid: str) -> bool:
        """Whether this place was kept before this look. Where places are numbers the database is asked of many at once;
        one that somebody else keeps meanwhile is noticed when it is stored."""
        if not uid.isdecimal():
            with self._database.read() as session:
                return intake.seen(session, source=self._source.name, validity=validity, uid=uid)
        start = int(uid) // ASKED_TOGETHER * ASKED_TOGETHER
        found = self._asked.get((validity, start))
        if found is None:
            some = [str(number) for number in range(start, start + ASKED_TOGETHER)]
            with self._database.read() as session:
                found = intake.seen_among(session, source=self._source.name, validity=validity, uids=some)
            self._asked[validity, start] = found
        return uid in found

    def store(self, found: list[Found]) -> None:
        """Store these, and tell the mailbox. One that cannot be stored must not keep the others out."""
        kept = self._kept_together(found) if len(found) > 1 else None
        if kept is None:
            kept = [one for one in found if self._kept(one)]
        if kept:
            self._source.mark_done(*kept)
            self._stored()

    def _kept_together(self, found: list[Found]) -> list[Found] | None:
        """None where it cannot be done: then each is stored by itself."""
        mails = {one.uid: one.raw for one in found}
        try:
            kept = intake.keep_together(
                self._database, mails, source=self._source.name, validity=found[0].validity, at=self._now()
            )
        except OperationalError:
            raise
        except Exception as error:
            log.info("messages stored one by one", error=type(error).__name__)
            return None
        self.new += sum(one.new for one in kept.values())
        return found

    def _kept(self, found: Found) -> bool:
        try:
            kept = intake.keep(
                self._database,
                found.raw,
                source=self._source.name,
                validity=found.validity,
                uid=found.uid,
                at=self._now(),
            )
        except OperationalError:  # no fault of this message's
            raise
        except Exception as error:
            log.error("message not stored", uid=found.uid, error=type(error).__name__)
            self.refused = (
                f"Message {found.uid} could not be stored ({type(error).__name__}). It stays in the mailbox and is "
                "tried again; look at it with a mail program."
            )
            return False
        self.new += kept.new
        return True
