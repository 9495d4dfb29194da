"""From the mailbox into the database: every message kept whole before anything else, then read, once.

`keep` is safe to call twice for one message, and the mailbox is told only after it returned. `read_one` is safe to
run twice or in two processes: the second finds the message read.
"""

from __future__ import annotations

import hashlib
import math
import os
import re
import time
import traceback
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.parser import BytesHeaderParser
from pathlib import Path
from typing import Any

import structlog
from sqlalchemy import func, select, text, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from replacements.mail.letter import Letter, SenderCheck, UnreadableMail
from replacements.mail.parsing import parse
from replacements.proposals.situation import SURE_ENOUGH_ALONE
from replacements.replies import wording
from replacements.requests import answer, came_back, deciding, drafting, letter_words, office
from replacements.requests.history import StoredHistory
from replacements.requests.judging import Judgement
from replacements.requests.keeping import request_rows, unreadable_request
from replacements.requests.office import InForce
from replacements.requests.own_words import answered
from replacements.requests.records import StoredBallots
from replacements.requests.turns import CLAIM, CLOCKS_APART, MOST_ATTEMPTS, apparent_sender, next_to_read, worn_out
from replacements.requests.which_election import OpenElection, judge_among
from replacements.roll.stored import StoredRoll
from replacements.store.database import Database
from replacements.store.sealing import SealTrouble
from replacements.store.tables import Message, RawMail, Request, Sighting

log = structlog.get_logger()
# The fields that decide how a message is read, who wrote it and whether it is answered.
SAYS = re.compile(
    r"from|sender|reply-to|to|cc|date|subject|in-reply-to|references|mime-version|content-.*|authentication-results"
    r"|auto-submitted|precedence|list-.*|x-auto.*|x-vacation|x-failed-recipients",
    re.IGNORECASE,
)
LONGEST_READING = timedelta(minutes=1)  # after which a reading that was begun is taken for one that was broken off
LEFT_ALONE = timedelta(seconds=20)  # so long other readers leave a reading that was begun to whoever began it
A_ROUND = 50  # messages that are read before it is looked again whose turn it is
_NEED_NOT_OUTLIVE_THE_MACHINE = text("SET LOCAL synchronous_commit = off")
_NO_LOOK = {"synchronize_session": False}  # no object of these rows is at hand that would have to follow
BROKEN_OFF = "the reading was broken off each time: the process ended, or ran out of time or memory."


@dataclass(frozen=True, slots=True)
class Kept:
    """Where a message is kept. `new` is False for one that was here before."""

    message_id: int
    new: bool


def fingerprint(raw: bytes) -> str:
    """The same message, delivered twice or seen in two folders, has the same one; SHA-256, hexadecimal.

    Taken over what the sender wrote and over what the office's server found about the sender, not over the trace that
    each delivery adds: a copy in which any field that `SAYS` names is different is a message of its own, or a forged
    copy could be kept in the true one's place. A message without a Message-ID is compared whole.
    """
    head, _, body = raw.replace(b"\r\n", b"\n").partition(b"\n\n")
    try:
        headers = BytesHeaderParser().parsebytes(head)
        message_id = str(headers["Message-ID"] or "").strip()
        named = [f"{name.lower()}: {value}" for name, value in headers.items() if SAYS.fullmatch(name)]
    except Exception:  # any header can be broken in any way; then the bytes speak for themselves
        message_id, named = "", []
    if not message_id:
        return hashlib.sha256(raw).hexdigest()
    text = "\n".join([message_id, *(" ".join(n.split()) for n in named)])
    return hashlib.sha256(text.encode("utf-8", "surrogateescape") + b"\n" + body).hexdigest()


def seen(session: Session, *, source: str, validity: str, uid: str) -> bool:
    """Whether this place in the mailbox was kept before."""
    found = session.scalars(
        select(Sighting.id).where(Sighting.source == source, Sighting.validity == validity, Sighting.uid == uid)
    )
    return found.first() is not None


def seen_among(session: Session, *, source: str, validity: str, uids: Sequence[str]) -> frozenset[str]:
    """Those of these places in the mailbox that were kept before."""
    places = Sighting.source == source, Sighting.validity == validity, Sighting.uid.in_(uids)
    return frozenset(session.scalars(select(Sighting.uid).where(*places)))


def keep(database: Database, raw: bytes, *, source: str, validity: str, uid: str, at: datetime) -> Kept:
    """Store a message's bytes and where it was seen, in one transaction. Returns only when it is committed."""
    mark = fingerprint(raw)
    try:
        return _keep(database, raw, mark, source, validity, uid, at)
    except IntegrityError:  # another worker kept it in this very moment; now it is there
        return _keep(database, raw, mark, source, validity, uid, at)


def _keep(database: Database, raw: bytes, mark: str, source: str, validity: str, uid: str, at: datetime) -> Kept:
    with database.write() as session:
        message = session.scalars(select(Message).where(Message.fingerprint == mark)).first()
        new = message is None
        if message is None:
            message = Message(fingerprint=mark, sender=apparent_sender(raw), arrived_at=at, stored_at=at)
            session.add(message)
            session.flush()
            session.add(RawMail(message_id=message.id, raw=raw))
        if not seen(session, source=source, validity=validity, uid=uid):
            session.add(Sighting(source=source, validity=validity, uid=uid, message_id=message.id))
        return Kept(message.id, new)


def keep_together(
    database: Database, mails: Mapping[str, bytes], *, source: str, validity: str, at: datetime
) -> Mapping[str, Kept]:
    """As `keep`, of several messages by their uids, in one transaction: all of them are stored or none."""
    marks = {uid: fingerprint(raw) for uid, raw in mails.items()}
    with database.write() as session:
        by_mark = select(Message.fingerprint, Message.id).where(Message.fingerprint.in_(marks.values()))
        ids: dict[str, int] = dict(session.execute(by_mark).all())
        new: dict[str, str] = {}
        for uid, mark in marks.items():
            if mark not in ids:
                new.setdefault(mark, uid)
        rows = [
            Message(fingerprint=mark, sender=apparent_sender(mails[uid]), arrived_at=at, stored_at=at)
            for mark, uid in new.items()
        ]
        session.add_all(rows)
        session.flush()
        ids |= {row.fingerprint: row.id for row in rows}
        session.add_all([RawMail(message_id=ids[mark], raw=mails[uid]) for mark, uid in new.items()])
        seen_before = seen_among(session, source=source, validity=validity, uids=list(mails))
        session.add_all(
            [
                Sighting(source=source, validity=validity, uid=uid, message_id=ids[mark])
                for uid, mark in marks.items()
                if uid not in seen_before
            ]
        )
        return {uid: Kept(ids[mark], new.get(mark) == uid) for uid, mark in marks.items()}


def count_waiting(session: Session) -> int:
    """How many messages are kept and not read yet."""
    return session.scalar(select(func.count()).select_from(Message).where(Message.state == "stored")) or 0


def read_waiting(
    database: Database,
    *,
    now: Callable[[], datetime],
    seconds: float = math.inf,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Read messages that wait, everybody's first before anybody's second, for about so many seconds at most; those that
    somebody else is reading are left to them. `progress` is called with (read, of how many). Returns how many were
    read."""
    with database.read() as session:
        count = count_waiting(session)
        ready = bool(office.offered(session))
    if not ready:
        return 0
    until = time.monotonic() + seconds
    with database.read() as session:
        broken_off = worn_out(session, begun_before=now() - LONGEST_READING)
    for worn in broken_off:
        read_one(database, worn, now=now())  # which sets it aside
    begun = read = 0
    ids: list[int] = []
    while time.monotonic() < until:
        message_id = _claim(database, ids, now=now(), begun_before=now() - LEFT_ALONE)
        if message_id is not None:
            begun += 1
            read += _read_begun(database, message_id, now=now())
            if progress is not None:
                progress(begun, max(count, begun))
            continue
        with database.read() as session:
            ids = next_to_read(session, A_ROUND, begun_before=now() - LEFT_ALONE)
        if not ids:
            break
    return read


def read_one(database: Database, message_id: int, *, now: datetime) -> bool:
    """Judge one kept message and put its requests before the clerks. Returns whether it is read (now or before).

    What cannot be read becomes a request for a person, the raw message kept. An error of the program itself is tried
    again, MOST_ATTEMPTS times, and then goes to a person too: so does a message at which the process itself ends, since
    each reading is counted before it begins. Raises SealTrouble, which is no fault of the message.
    """
    return _begin(database, message_id, now) and _read_begun(database, message_id, now=now)


def _read_begun(database: Database, message_id: int, *, now: datetime) -> bool:
    try:
        return _read_one(database, message_id, now=now)
    except SealTrouble:
        _count_not(database, message_id)
        raise
    except Exception as error:
        told = f"{type(error).__name__} {place_of(error)}"  # no message text: it may hold a name
        log.error("message not judged", message=message_id, error=told)
        with database.write() as session:
            message = session.get(Message, message_id)
            if message is not None and message.state == "stored":
                message.error = told
                if message.attempts >= MOST_ATTEMPTS:
                    _set_aside(session, message, told, now)
        return False


def place_of(error: BaseException) -> str:
    """Where an error came up, without a word of its own text: the last steps in this program, the innermost last."""
    steps = traceback.extract_tb(error.__traceback__)
    ours = [step for step in steps if f"{os.sep}replacements{os.sep}" in step.filename] or steps
    return "in " + ", ".join(f"{Path(step.filename).stem}.{step.name}, line {step.lineno}" for step in ours[-3:])


def _begin(database: Database, message_id: int, now: datetime) -> bool:
    """Count a reading that begins. False where it is not to begin: the message is set aside, or there is none; or it
    was begun so often that the last reading must have had its time before it is said to have been broken off."""
    if _claim(database, [message_id], now=now) is not None:
        return True
    with database.write() as session:
        message = session.scalars(select(Message).where(Message.id == message_id).with_for_update()).first()
        if message is None or office.in_force(session, at=now) is None:
            return False
        if message.state != "stored":
            return True
        worn = message.attempts >= MOST_ATTEMPTS  # else it is being claimed in this moment
        since = message.reading_since
        if worn and (since is None or now - since >= LONGEST_READING or since - now > CLOCKS_APART):
            log.error("message set aside", message=message_id, attempts=message.attempts)
            _set_aside(session, message, message.error or BROKEN_OFF, now)
        return False


def _claim(
    database: Database, ids: Sequence[int], *, now: datetime, begun_before: datetime | None = None
) -> int | None:
    """Count the beginning of a reading of the first of these that may still be read; None where there is none.
    `begun_before`: those whose reading began later are left to whoever began it."""
    if not ids:
        return None
    begun_before = begun_before or now
    said = {"ids": ids, "at": now, "begun_before": begun_before, "ahead": begun_before + CLOCKS_APART}
    with database.write() as session:
        if not database.is_sqlite:  # it must outlive this process; where the machine itself fails, one try more is fine
            session.execute(_NEED_NOT_OUTLIVE_THE_MACHINE)
        return session.scalars(CLAIM, said).first()


def _count_not(database: Database, message_id: int) -> None:
    with database.write() as session:
        session.execute(update(Message).where(Message.id == message_id).values(attempts=Message.attempts - 1))


def _set_aside(session: Session, message: Message, why: str, now: datetime) -> None:
    force = office.in_force(session, at=now)
    if force is not None:
        message.state, message.error = "failed", why
        session.add(unreadable_request(message, force.election_id, why, message.arrived_at))


def _read_one(database: Database, message_id: int, *, now: datetime) -> bool:
    with database.read() as session:
        elections = office.offered(session, at=now)
        force = office.next_of(elections, at=now)
        kept = session.execute(select(Message, RawMail).join(RawMail).where(Message.id == message_id)).first()
        if force is None or kept is None:
            return False
        message, raw = kept[0], kept[1]
        if message.state != "stored":
            return True
        texts = wording.in_force(session)
        trouble = ""
        letter: Letter | None = None
        judgement: Judgement | None = None
        try:
            letter = letter_from(session, raw.raw, message, elections, force)
        except UnreadableMail as error:
            trouble = str(error)
        if letter is not None:
            judgement = judge_among(
                letter,
                roll=StoredRoll(session),
                elections=[stored(session, one) for one in elections],
                # Whether the voter wrote in time is a fact of the letter; the mailing is the next one from today.
                at=min(letter.arrived, now),
                now=now,
            )
    by_id = {one.election_id: one for one in elections}
    becomes: dict[str, Any]
    if judgement is None:
        becomes = {"state": "failed", "error": trouble}
    else:
        reply = drafting.draft(judgement, force.rules, adopted=force.adopted, among=by_id, texts=texts)
        becomes = {
            "state": "read",
            "message_id": judgement.letter.message_id,
            "sender": judgement.letter.sender.address,
            "sender_name": judgement.letter.sender.name,
            "subject": judgement.letter.subject,
            "arrived_at": judgement.letter.arrived,
            "judgement": answer.as_json(judgement, mail=str(message_id), rules=force.rules, reply=reply),
        }
    clear: list[int] = []
    with database.write() as session:
        claim = update(Message).where(Message.id == message_id, Message.state == "stored").values(becomes)
        if session.scalars(claim.returning(Message.id), execution_options=_NO_LOOK).first() is None:
            return True  # somebody else read it meanwhile
        if judgement is None:
            session.add(unreadable_request(message, force.election_id, trouble, message.arrived_at))
            return True
        rows = request_rows(session, judgement, message, by_id, force, texts)
        session.add_all(rows)
        session.flush()
        letter_words.keep(session, message.id, judgement.letter)
        came_back.note(session, judgement.letter, rows[0], at=now)
        clear = [row.id for row in rows if _by_itself(by_id[row.election_id]) and _is_clear(row, judgement)]
    for request_id in clear:
        _approve_clear(database, request_id, now=now)
    return True


def letter_from(session: Session, raw: bytes, message: Message, elections: Sequence[InForce], force: InForce) -> Letter:
    """A kept message, read. Any address that the rules of these elections name is the office's own; what else is the
    office's is as the rules in `force` say. Raises UnreadableMail."""
    ours = force.rules.office
    letter = parse(
        raw,
        office_addresses=frozenset(one.rules.office.address.lower() for one in (force, *elections)),
        office_server=ours.mail_server,
        office_name=ours.name,
        received_at=message.stored_at,
    )
    return answered(session, letter)


def stored(session: Session, force: InForce) -> OpenElection:
    """An election as it is on record."""
    return OpenElection(force, StoredBallots(session, force.election_id), StoredHistory(session, force.election_id))


def _by_itself(force: InForce) -> bool:
    """Whether the election's rules let clear cases through without a person."""
    return force.rules.approval.by == "clear_cases" and force.adopted


def _is_clear(row: Request, judgement: Judgement) -> bool:
    """What the rules let through without a person: certain, verified, one kind, one person, first replacement."""
    asked = judgement.asked[0] if len(judgement.asked) == 1 else None
    return bool(
        asked is not None
        and row.standing == "certain"
        and row.proposal == "reissue"
        and not row.two_people
        and len(row.kinds) == 1
        and all(found.p >= SURE_ENOUGH_ALONE for found in judgement.reading.kinds)
        and judgement.letter.sender.check is SenderCheck.PASS
        and asked.ballot is not None
        and asked.ballot.replacements_before == 0
        # A verified sender is only the true owner of some address. What a letter says of a voter may stand in public
        # lists; the address on the record is what ties the two together where no person looks.
        and asked.on_file
    )


def _approve_clear(database: Database, request_id: int, *, now: datetime) -> None:
    with database.read() as session:
        version = session.get_one(Request, request_id).version
    try:
        deciding.approve(
            database, request_id, version=version, by="rules: clear case", roles=("clerk",), at=now, by_rule=True
        )
    except (deciding.Refused, deciding.Stale):
        log.info("clear case left to a person", request=request_id)
