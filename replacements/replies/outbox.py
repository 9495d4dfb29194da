"""The outbox: each reply is a row before it is a mail, goes out under one Message-ID, and ends in a state that shows.

Queueing is part of the transaction that decides; sending comes after. Two senders at once share the work: a reply is
claimed by changing its row, and only one of them can. A claim ends after ten minutes, so that what a crash left
half-way is taken up again, under the same Message-ID; where that is in the folder of sent mail, it had gone.

A reply that went is first written down and then copied to the folder of sent mail: the moment between the server's
answer and the record is the shortest that way, and the only one in which a crash can send a reply twice. Where the
record itself fails, the copy is there all the same and tells.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, and_, func, or_, select, update
from sqlalchemy.engine import CursorResult
from sqlalchemy.orm import Session

from replacements.mail.composing import Attached, Outgoing, can_be_written_to, compose, reply_message_id
from replacements.replies.due import CLAIM, WAITS, is_due
from replacements.replies.limits import Limit, may_go
from replacements.replies.pausing import paused
from replacements.replies.sent_folder import SentFolder, SentTrouble
from replacements.replies.texts import Rendered
from replacements.replies.transport import (
    UNCERTAIN,
    PermanentTrouble,
    ServerTrouble,
    TemporaryTrouble,
    Transport,
    UncertainTrouble,
)
from replacements.store.bulk import insert_unless_there
from replacements.store.database import Database
from replacements.store.tables import Reply, ReplyAttachment

MOST_TRIES = 12
ROUND_SECONDS = 90.0  # after which a round takes up no more: a task must end before it is handed out again
NOT_FILED = "It was sent; its copy for the folder of sent mail waits."
SAME_AGAIN = timedelta(days=7)  # RFC 3834, section 2: how long a sender is not answered with the same again
_ID = re.compile(r"<[^<>\s@]+@[^<>\s@]+>")  # an id of another shape is left out: threading is not worth a lost reply


class UnusableAddress(Exception):
    """What should be an address is none, or more than one. Nothing is queued; a person looks at it."""


@dataclass(frozen=True, slots=True)
class SendReport:
    """What one round of sending did, in replies. `trouble`: why the mail server takes nothing, empty when it does.
    `unfiled`: why copies for the folder of sent mail wait. `paused`, `full`: it stopped because people have stopped
    all sending, or because no more may go for now."""

    sent: int = 0
    later: int = 0
    failed: int = 0
    trouble: str = ""
    unfiled: str = ""
    paused: bool = False
    full: bool = False


@dataclass(frozen=True, slots=True)
class _Claim:
    """A reply that this sender has taken, as it goes out."""

    id: int
    attempts: int  # with this one; it marks the claim as this sender's own
    message_id: str
    to: str
    subject: str
    text: str
    html: str
    language: str
    in_reply_to: str
    references: str
    uncertain: bool  # it may have gone at an earlier try


def queue(
    session: Session,
    *,
    election_id: str,
    request_id: int | None,
    rendered: Rendered,
    to: str,
    in_reply_to: str,
    references: str,
    domain: str,
    seed: str,
    at: datetime,
    held: bool = False,
    attached: Sequence[Attached] = (),
) -> int:
    """Put a reply into the outbox, as part of the caller's transaction; returns its number. `held`: it waits for
    `release`.

    The Message-ID comes from `election_id` and `seed`: queueing the same seed twice is one reply, the first. Raises
    UnusableAddress where `to` is not one plain address.
    """
    address = to.strip()
    if not can_be_written_to(address):
        raise UnusableAddress("The address to reply to is not one plain mail address. Nothing was queued.")
    message_id = reply_message_id(f"{election_id}/{seed}", domain)
    reply = insert_unless_there(
        session,
        Reply,
        {
            "request_id": request_id,
            "election_id": election_id,
            "message_id": message_id,
            "template": rendered.template,
            "language": rendered.language,
            "to": address,
            "subject": rendered.subject,
            "text": rendered.text,
            "html": rendered.html,
            "in_reply_to": _one_line(in_reply_to),
            "references": _one_line(references),
            "state": "held" if held else "queued",
            "attempts": 0,
            "queued_at": at,
            "next_try_at": at,
        },
    )
    if reply is None:  # queued before, or by somebody else in this moment
        return session.scalars(select(Reply.id).where(Reply.message_id == message_id)).one()
    session.add_all(
        ReplyAttachment(reply_id=reply, name=file.name, content_type=file.content_type, content=file.content)
        for file in attached
    )
    return reply


def release(session: Session, *, at: datetime, request_ids: Iterable[int] = (), reply_ids: Iterable[int] = ()) -> int:
    """Let held replies go: those of these requests, and these replies. Returns how many."""
    return _move(session, ("held",), "queued", request_ids, reply_ids, at=at)


def cancel(session: Session, *, at: datetime, request_ids: Iterable[int] = (), reply_ids: Iterable[int] = ()) -> int:
    """Take back replies that have not gone. What is being sent in this moment goes. Returns how many were stopped."""
    return _move(session, ("held", "queued", "failed"), "cancelled", request_ids, reply_ids, at=at)


def try_again(session: Session, *, at: datetime, reply_ids: Iterable[int]) -> int:
    """A person has looked at failed replies: send them after all, with all tries anew. Returns how many."""
    return _move(session, ("failed",), "queued", (), reply_ids, at=at, attempts=0)


def answered_with(to: str, template: str, text: str | None = None) -> tuple[ColumnElement[bool], ...]:
    """The replies of this template that went to this address or are about to, and did not come back. With `text`: in
    just these words."""
    same = (
        func.lower(Reply.to) == to.strip().lower(),
        Reply.template == template,
        Reply.state.not_in(("cancelled", "failed")),
        Reply.returned_at.is_(None),  # nobody has read what came back
    )
    return same if text is None else (*same, Reply.text == text)


def already_answered(session: Session, *, to: str, template: str, since: datetime, text: str | None = None) -> bool:
    """Has this address been sent, or is it about to be sent, this template since then (`SAME_AGAIN` before now)? With
    `text`: in just these words."""
    same = answered_with(to, template, text)
    return session.scalar(select(Reply.id).where(*same, Reply.queued_at >= since).limit(1)) is not None


def send_due(
    database: Database,
    transport: Transport,
    *,
    sender_name: str,
    sender_address: str,
    now: datetime,
    limit: int = 100,
    sent_folder: SentFolder | None = None,
    limits: Sequence[Limit] = (),
    clock: Callable[[], datetime] | None = None,
) -> SendReport:
    """Send what is due, one after the other, at most `limit`. Stops at once where the server takes nothing at all,
    where people have paused all sending, and where `limits` let no more go.

    `clock` is asked before each reply, where it is given: one that is put forward during a round would let claims be
    over as soon as they are made. Else the time since the beginning is added to `now`.

    No transaction is open while the network is waited for. A reply that fails for good, or twelve times, is `failed`
    with the reason, for a person to see. Every reply that went gets a copy in `sent_folder`, if there is one.
    """
    started = time.monotonic()
    sent = later = failed = 0
    trouble = unfiled = ""
    is_paused = is_full = False
    for _ in range(limit):
        at = clock() if clock is not None else now + timedelta(seconds=time.monotonic() - started)
        if time.monotonic() - started > ROUND_SECONDS:
            break
        with database.read() as session:
            is_paused, is_full = bool(paused(session)), not may_go(session, limits, at)
        if is_paused or is_full:
            break
        claim, given_up = _claim(database, at)
        failed += given_up
        if claim is None:
            break
        try:
            raw = _composed(_outgoing(database, claim, sender_name, sender_address, at))
            if not (claim.uncertain and _went_before(sent_folder, claim)):
                transport.send(raw, to=claim.to, sender=sender_address, message_id=claim.message_id)
        except ServerTrouble as error:
            # No fault of this reply's: the try is not counted, and nobody else's reply is tried now.
            _settle(
                database,
                claim,
                state="queued",
                attempts=claim.attempts - 1,
                next_try_at=at + WAITS[1],
                error=f"{UNCERTAIN}{error}" if claim.uncertain else str(error),
            )
            later += 1
            trouble = str(error)
            break
        except TemporaryTrouble as error:
            if claim.attempts >= MOST_TRIES:
                _settle(database, claim, state="failed", error=f"Given up after {MOST_TRIES} tries. {error}")
                failed += 1
            else:
                wait = WAITS[min(claim.attempts, len(WAITS)) - 1]
                _settle(database, claim, state="queued", next_try_at=at + wait, error=str(error))
                later += 1
        except PermanentTrouble as error:
            _settle(database, claim, state="failed", error=str(error))
            failed += 1
        else:
            try:
                _settle(database, claim, state="sent", sent_at=at, error=NOT_FILED if sent_folder else None)
            finally:  # where it cannot be written down, the copy is what tells
                unfiled = _file(database, sent_folder, claim.id, claim.message_id, raw, at) or unfiled
            sent += 1
    if sent_folder is not None and not unfiled:
        unfiled = _file_what_waits(database, sent_folder, sender_name, sender_address, now)
    return SendReport(sent, later, failed, trouble, unfiled, is_paused, is_full)


def _went_before(sent_folder: SentFolder | None, claim: _Claim) -> bool:
    """Whether the reply went at an earlier try that was not written down. Where that cannot be asked, it waits."""
    try:
        return sent_folder is not None and sent_folder.holds(claim.message_id)
    except SentTrouble as error:
        raise UncertainTrouble(f"{UNCERTAIN}{error}") from error


def _file(
    database: Database, folder: SentFolder | None, reply_id: int, message_id: str, raw: bytes, at: datetime
) -> str:
    """Put the copy into the folder of sent mail, unless it is there. Returns why that is not possible, if so."""
    if folder is None:
        return ""
    try:
        if not folder.holds(message_id):  # some servers put it there themselves
            folder.keep(raw, at)
    except SentTrouble as error:
        return str(error)
    _change(database, and_(Reply.id == reply_id, Reply.state == "sent", Reply.error == NOT_FILED), error=None)
    return ""


def _file_what_waits(
    database: Database, folder: SentFolder, sender_name: str, sender_address: str, now: datetime
) -> str:
    """Copies that could not be put into the folder of sent mail when their replies went."""
    with database.read() as session:
        waiting = [
            (_taken(reply), reply.sent_at)
            for reply in session.scalars(
                select(Reply)
                # One that went just now is its sender's to file.
                .where(Reply.state == "sent", Reply.error == NOT_FILED, Reply.sent_at < now - CLAIM)
                .order_by(Reply.id)
                .limit(20)
            )
        ]
    for reply, sent_at in waiting:
        at = sent_at or now
        raw = _composed(_outgoing(database, reply, sender_name, sender_address, at))
        if why := _file(database, folder, reply.id, reply.message_id, raw, at):
            return why
    return ""


def _claim(database: Database, at: datetime) -> tuple[_Claim | None, int]:
    """Take the reply that has waited longest, if any is due. Also says how many were given up on the way."""
    given_up = 0
    for state, claim in _due(database, at):
        as_seen = and_(
            Reply.id == claim.id,
            Reply.state == state,
            Reply.attempts == claim.attempts - 1,
            is_due(at),
        )
        if claim.attempts > MOST_TRIES:  # it was lost in a crash each time
            error = f"Given up after {MOST_TRIES} tries that did not end."
            given_up += _change(database, as_seen, state="failed", error=error)
        elif _change(database, as_seen, state="sending", attempts=claim.attempts, next_try_at=at + CLAIM):
            return claim, given_up
    return None, given_up


def _due(database: Database, at: datetime) -> list[tuple[str, _Claim]]:
    """The replies that have waited longest, each with its present state and as the claim that would take it."""
    with database.read() as session:
        return [
            (reply.state, _taken(reply))
            for reply in session.scalars(
                select(Reply).where(is_due(at)).order_by(Reply.next_try_at, Reply.id).limit(20)
            )
        ]


def _taken(reply: Reply) -> _Claim:
    """The reply as the claim that would take it."""
    return _Claim(
        id=reply.id,
        attempts=reply.attempts + 1,
        message_id=reply.message_id,
        to=reply.to,
        subject=reply.subject,
        text=reply.text,
        html=reply.html,
        language=reply.language,
        in_reply_to=reply.in_reply_to,
        references=reply.references,
        uncertain=reply.state == "sending" or (reply.error or "").startswith(UNCERTAIN),
    )


def _settle(database: Database, claim: _Claim, **values: object) -> None:
    """Write down how it ended, if the claim is still this sender's: a slow one must not undo what another did since."""
    _change(
        database,
        and_(Reply.id == claim.id, Reply.state == "sending", Reply.attempts == claim.attempts),
        **values,
    )


def _change(database: Database, where: ColumnElement[bool], **values: object) -> int:
    with database.write() as session:
        return _rows(session, where, values)


def _move(
    session: Session,
    before: tuple[str, ...],
    after: str,
    request_ids: Iterable[int],
    reply_ids: Iterable[int],
    *,
    at: datetime,
    **values: object,
) -> int:
    these = or_(Reply.request_id.in_(list(request_ids)), Reply.id.in_(list(reply_ids)))
    return _rows(session, and_(Reply.state.in_(before), these), {"state": after, "next_try_at": at, **values})


def _rows(session: Session, where: ColumnElement[bool], values: dict[str, object]) -> int:
    result = session.execute(update(Reply).where(where).values(**values))
    return result.rowcount if isinstance(result, CursorResult) else 0


def _composed(outgoing: Outgoing) -> bytes:
    try:
        return compose(outgoing)
    except ValueError as error:
        raise PermanentTrouble(f"No mail can be made of this reply. {error}") from error


def _outgoing(database: Database, claim: _Claim, sender_name: str, sender_address: str, at: datetime) -> Outgoing:
    files = select(ReplyAttachment).where(ReplyAttachment.reply_id == claim.id).order_by(ReplyAttachment.id)
    with database.read() as session:
        attached = tuple(Attached(file.name, file.content_type, file.content) for file in session.scalars(files))
    in_reply_to = _ID.findall(claim.in_reply_to)
    return Outgoing(
        message_id=claim.message_id,
        sender_name=sender_name,
        sender_address=sender_address,
        to=claim.to,
        subject=claim.subject,
        text=claim.text,
        html=claim.html,
        language=claim.language,
        date=at,
        in_reply_to=in_reply_to[0] if in_reply_to else "",
        references=tuple(_ID.findall(claim.references)),
        attached=attached,
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())
