"""One look into a mailbox: what is new is stored, then marked, then put away; in this order, message by message.

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
from worker.mailbox.source import MailboxTrouble, MailSource

LONGEST_SECONDS = 240.0

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Taken:
    """What a look brought: how many messages were `new`; what in the mailbox a person should look at (`told`); why it
    ended early (`trouble`), after which the source is of no use. Both in plain words, empty where there is nothing."""

    new: int = 0
    told: str = ""
    trouble: str = ""


def take_in(
    database: Database, source: MailSource, *, now: Callable[[], datetime], seconds: float = LONGEST_SECONDS
) -> Taken:
    """Store every new message, oldest first, for about so many seconds at most. Raises where the database is away."""

    def seen(validity: str, uid: str) -> bool:
        with database.read() as session:
            return intake.seen(session, source=source.name, validity=validity, uid=uid)

    until = time.monotonic() + seconds
    new, refused = 0, ""
    try:
        for found in source.new_messages(seen):
            try:
                kept = intake.keep(
                    database, found.raw, source=source.name, validity=found.validity, uid=found.uid, at=now()
                )
            except OperationalError:  # no fault of this message's
                raise
            except Exception as error:  # one message that cannot be stored must not keep the others out
                log.error("message not stored", uid=found.uid, error=type(error).__name__)
                refused = (
                    f"Message {found.uid} could not be stored ({type(error).__name__}). It stays in the mailbox and is "
                    "tried again; look at it with a mail program."
                )
                continue
            new += kept.new
            source.mark_done(found)
            if time.monotonic() > until:
                break
        source.put_away()
    except MailboxTrouble as trouble:
        return Taken(new, trouble=str(trouble))
    return Taken(new, told=" ".join(filter(None, (refused, source.told))))
