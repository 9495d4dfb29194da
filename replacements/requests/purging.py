"""The end of the retention period: a voter's mail and every text about it are removed, numbers and the ledger stay.

Of a message go the raw mail with its attachments, the words kept for searching, sender, subject and Message-ID, and
what was understood of it in words; of its requests the name as written, reasons, notes (also of who worked on it),
drafts and evidence; of their replies address, text and files. What stays says nothing of anybody by name: the ledger,
ballots, packets and signatures (with the labels, which are the record of what was mailed), the roll, and the figures
that the weekly summary counts.

Nothing goes that anybody may still need: a message stays whole while any request about it is open or is continued by an
open one, while a reply or a packet of it is not out of the house, and while the election of any of its requests is
within its retention period or on hold. Rules that nobody has adopted end no period. Of an election's rules in force and
those that were loaded since, the longer period counts, and a hold in either.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, delete, exists, func, or_, select, update
from sqlalchemy.orm import Session, aliased

from replacements.ballots import ledger
from replacements.requests import letter_words, office
from replacements.rules.calendar import local
from replacements.store.database import Database
from replacements.store.tables import (
    OPEN_STATES,
    Message,
    Packet,
    RawMail,
    Reply,
    ReplyAttachment,
    Request,
    RequestStep,
)

EVENT = "purged"
GONE = "Removed at the end of the retention period."
TABLES = (
    "messages", "raw_mail", "letter_words", "packed_words", "requests", "found_by", "request_steps", "replies",
    "reply_attachments",
)  # fmt: skip
_AT_A_TIME = 200


@dataclass(frozen=True, slots=True)
class Period:
    """How an election's retention stands. `until`: the first day on which its mail may go; None while it is on hold, or
    where no rules were adopted. `text` says it."""

    election_id: str
    until: date | None
    text: str


@dataclass(slots=True)
class Purged:
    """What goes, or went: counts by what it is. `left`: what is found of it afterwards, which must be nothing."""

    counts: Counter[str] = field(default_factory=Counter)
    left: int = 0

    @property
    def in_words(self) -> str:
        return ", ".join(f"{self.counts[name]} {name}" for name in ("messages", "raw mails", "requests", "replies"))


def periods(session: Session, *, at: datetime, keep: int = 0) -> list[Period]:
    """How every election's retention stands. `keep`: days after the election for which all is kept in any case."""
    found = []
    for force in office.known(session, at=at):
        newest = office.loaded_last(session, force.election_id) or force
        rules = (force.rules, newest.rules)
        hold = next((one.retention.hold for one in rules if one.retention.hold), "")
        day = force.rules.election.date
        until = max(_months_after(day, max(one.retention.months for one in rules)), day + timedelta(days=keep))
        if not force.adopted:
            found.append(Period(force.election_id, None, f"{force.name}: its rules were never adopted; all is kept."))
        elif hold:
            found.append(Period(force.election_id, None, f"{force.name}: on hold ({hold}); all is kept."))
        else:
            over = "may go since" if until <= local(force.rules, at).date() else "is kept until"
            found.append(Period(force.election_id, until, f"{force.name}: mail {over} {until.isoformat()}."))
    return found


def count(session: Session, *, at: datetime, keep: int = 0) -> Purged:
    """What `purge` would remove now."""
    found = Purged()
    after = 0
    while ids := _due(session, _over(session, at, keep), after, 5_000):
        _counted(session, ids, found.counts)
        after = ids[-1]
    return found


def purge(database: Database, *, at: datetime, keep: int = 0, by: str) -> Purged:
    """Remove what may go, some hundred messages a transaction, each on the ledger. May be broken off and run again.

    The bytes are out of the tables then; `store.rewriting` takes them out of the files.
    """
    done = Purged()
    after = 0
    while True:
        with database.write() as session:
            if database.is_sqlite:
                session.connection().exec_driver_sql("PRAGMA secure_delete = ON")
            ids = _due(session, _over(session, at, keep), after, _AT_A_TIME)
            if not ids:
                break
            _counted(session, ids, done.counts)
            elections = _elections(session, ids)
            _remove(session, ids)
            done.left += _left(session, ids)
            for election, messages in sorted(elections.items()):
                ledger.append(
                    session, event=EVENT, election_id=election, by=by, at=at, details={"messages": messages}
                )  # fmt: skip
        after = ids[-1]
    return done


def _months_after(day: date, months: int) -> date:
    """The same day of a later month, or its last day where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    for back in range(4):
        try:
            return date(year, month + 1, day.day - back)
        except ValueError:
            continue
    raise AssertionError("every month has 28 days")


def _over(session: Session, at: datetime, keep: int) -> list[str]:
    today = {force.election_id: local(force.rules, at).date() for force in office.known(session, at=at)}
    return [
        period.election_id
        for period in periods(session, at=at, keep=keep)
        if period.until is not None and period.until <= today[period.election_id]
    ]


def _due(session: Session, elections: Sequence[str], after: int, most: int) -> list[int]:
    """Ids of messages that may go and are not gone yet, in their order."""
    if not elections:
        return []
    later = aliased(Request)
    mine = Request.message_id == Message.id
    needed: list[ColumnElement[bool]] = [
        Request.election_id.not_in(elections),
        Request.state.in_(OPEN_STATES),
        exists().where(later.continues == Request.id, later.state.in_(OPEN_STATES)),
        exists().where(Reply.request_id == Request.id, Reply.state.in_(("held", "queued", "sending"))),
        exists().where(Packet.request_id == Request.id, Packet.state.in_(("queued", "frozen"))),
    ]
    there = or_(
        exists().where(RawMail.message_id == Message.id),
        Message.sender != "",
        Message.sender_name != "",
        Message.subject != "",
    )
    query = (
        select(Message.id)
        .where(Message.id > after, Message.state != "stored", there, exists().where(mine))
        .where(~exists().where(mine, or_(*needed)))
        .order_by(Message.id)
        .limit(most)
    )
    return list(session.scalars(query))


def _requests(ids: Sequence[int]) -> Any:
    return select(Request.id).where(Request.message_id.in_(ids))


def _counted(session: Session, ids: Sequence[int], counts: Counter[str]) -> None:
    counts["messages"] += len(ids)
    of = {
        "raw mails": select(func.count()).where(RawMail.message_id.in_(ids)),
        "requests": select(func.count()).where(Request.message_id.in_(ids)),
        "replies": select(func.count()).where(Reply.request_id.in_(_requests(ids))),
    }
    for name, query in of.items():
        counts[name] += session.scalar(query) or 0


def _elections(session: Session, ids: Sequence[int]) -> dict[str, int]:
    found = session.execute(
        select(Request.election_id, func.count(Request.message_id.distinct()))
        .where(Request.message_id.in_(ids))
        .group_by(Request.election_id)
    )
    return {election: messages for election, messages in found}  # noqa: C416 - rows, not pairs


def _remove(session: Session, ids: Sequence[int]) -> None:
    session.execute(delete(RawMail).where(RawMail.message_id.in_(ids)))
    letter_words.forget(session, ids)
    session.execute(update(RequestStep).where(RequestStep.request_id.in_(_requests(ids))).values(note=""))
    for message in session.scalars(select(Message).where(Message.id.in_(ids))):
        message.message_id = message.sender = message.sender_name = message.subject = ""
        message.error = None
        message.judgement = _figures(message.judgement, {"kinds": ("kind", "p"), "language": ()})
    for request in session.scalars(select(Request).where(Request.message_id.in_(ids))):
        request.person, request.reply_draft, request.decision_note = "", None, None
        request.held_because = request.mail_account = None
        request.reasons = [{"rule": reason.get("rule", ""), "text": GONE} for reason in request.reasons]
        request.judged = _figures(request.judged, _KEPT_OF_A_REQUEST) or {}
    replies = select(Reply.id).where(Reply.request_id.in_(_requests(ids)))
    session.execute(delete(ReplyAttachment).where(ReplyAttachment.reply_id.in_(replies)))
    nothing = {"to": "", "subject": "", "text": GONE, "html": "", "in_reply_to": "", "references": ""}
    session.execute(
        update(Reply)
        .where(Reply.request_id.in_(_requests(ids)))
        .values(**nothing, error=None, returned_because=None, returned_told=None)
    )
    session.flush()


# What is counted (`summary.asked`) or says by which rules it was judged; nothing of it is a word of the voter's.
_KEPT_OF_A_REQUEST: dict[str, tuple[str, ...]] = {
    "topics": (),
    "form": (),
    "rules": (),
    "election_by": (),
    "decided_by_rules": (),
    "ballot": (),
    "in_time": (),
}


def _figures(kept: dict[str, Any] | None, names: dict[str, tuple[str, ...]]) -> dict[str, Any] | None:
    """Only these entries; of lists of objects only these of each."""
    if kept is None:
        return None
    found: dict[str, Any] = {}
    for name, inner in names.items():
        if name in kept:
            found[name] = (
                [{one: item[one] for one in inner if one in item} for item in kept[name]] if inner else kept[name]
            )
    return found


def _left(session: Session, ids: Sequence[int]) -> int:
    """Counted anew from the tables: what of these messages is still there."""
    queries = (
        select(func.count()).where(RawMail.message_id.in_(ids)),
        select(func.count()).where(RequestStep.request_id.in_(_requests(ids)), RequestStep.note != ""),
        select(func.count()).where(
            Message.id.in_(ids), or_(Message.sender != "", Message.sender_name != "", Message.subject != "")
        ),
        select(func.count()).where(
            Request.message_id.in_(ids), or_(Request.person != "", Request.mail_account.is_not(None))
        ),
        select(func.count()).where(Reply.request_id.in_(_requests(ids)), or_(Reply.text != GONE, Reply.to != "")),
    )
    return letter_words.count(session, ids) + sum(session.scalar(query) or 0 for query in queries)
