"""Whose message comes next: everybody's first before anybody's second, so that no sender holds up the others.

A sender is whom the From line names. That can be forged, and nothing else depends on it: a turn is only an order, in
which every message comes. It costs the honest nothing, since whoever writes once is first.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from email.utils import parseaddr

from sqlalchemy import ColumnElement, bindparam, func, or_, select, update
from sqlalchemy.orm import Session

from replacements.store.tables import AdoptedRules, Message

_FROM = re.compile(rb"^From:[ \t]*([^\r\n]*(?:\r?\n[ \t][^\r\n]*)*)", re.IGNORECASE | re.MULTILINE)
_END_OF_HEAD = re.compile(rb"\r?\n\r?\n")
# A reading that begins so long after this moment was begun by a clock that has been put back since, and nobody is at
# it: two machines' clocks are never so far apart.
CLOCKS_APART = timedelta(minutes=10)
MOST_ATTEMPTS = 3  # a message that cannot be judged so many times goes to a person
LONGEST_HEAD = 64 * 1024
LONGEST_ADDRESS = 320  # RFC 5321, section 4.5.3.1: 64, "@" and 255

# Counts the beginning of a reading of the first of these `ids` that may be read, and gives its id. Made once: putting
# the statement together takes as long as running it.
CLAIM = (
    update(Message)
    .where(
        Message.id
        == select(Message.id)
        .where(
            Message.id.in_(bindparam("ids", expanding=True)),
            Message.state == "stored",
            Message.attempts < MOST_ATTEMPTS,
            or_(
                Message.reading_since.is_(None),
                Message.reading_since <= bindparam("begun_before"),
                Message.reading_since > bindparam("ahead"),
            ),
            select(AdoptedRules.id).exists(),
        )
        .order_by(Message.id)
        .limit(1)
        .with_for_update(skip_locked=True)
        .scalar_subquery()
    )
    .values(attempts=Message.attempts + 1, reading_since=bindparam("at"))
    .returning(Message.id)
    .execution_options(synchronize_session=False)
)


def _nobody_reads(begun_before: datetime) -> ColumnElement[bool]:
    since = Message.reading_since
    return or_(since.is_(None), since <= begun_before, since > begun_before + CLOCKS_APART)


def apparent_sender(raw: bytes) -> str:
    """The address of the first From line of a message or of its head, in lower case; empty where there is none."""
    head = _END_OF_HEAD.split(raw[:LONGEST_HEAD], maxsplit=1)[0]
    found = _FROM.search(head)
    if found is None:
        return ""
    address = parseaddr(" ".join(found[1].decode("utf-8", "replace").split()))[1]
    return address.lower().replace("\0", "")[:LONGEST_ADDRESS]


def turns_of(senders: Mapping[int, str]) -> dict[int, int]:
    """For each message by its number: how many of the same sender's have a smaller one."""
    so_far: Counter[str] = Counter()
    turns = {}
    for number in sorted(senders):
        turns[number] = so_far[senders[number]]
        so_far[senders[number]] += 1
    return turns


def next_to_read(session: Session, most: int, *, begun_before: datetime) -> list[int]:
    """Ids of messages that are kept and not read, in the order in which they come; at most so many. Those whose reading
    began since `begun_before` are left out, since somebody is reading them, and those that were begun too often."""
    turn = func.row_number().over(partition_by=Message.sender, order_by=Message.id).label("turn")
    waiting = (
        select(Message.id, turn)
        .where(Message.state == "stored", Message.attempts < MOST_ATTEMPTS, _nobody_reads(begun_before))
        .subquery()
    )
    return list(session.scalars(select(waiting.c.id).order_by(waiting.c.turn, waiting.c.id).limit(most)))


def worn_out(session: Session, *, begun_before: datetime) -> list[int]:
    """Ids of messages whose reading began as often as may be, the last time before `begun_before`, and never ended."""
    waiting = select(Message.id).where(
        Message.state == "stored", Message.attempts >= MOST_ATTEMPTS, _nobody_reads(begun_before)
    )
    return list(session.scalars(waiting.order_by(Message.id)))
