"""What the database says of the work: what each job said last, what waits and since when, which mailing is next.

Everything is found by an index or counted in one, so that it may be asked every few seconds beside an office's work.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import Select, exists, func, literal, select, union_all
from sqlalchemy.orm import Session, load_only

from replacements.health.types import Counted, NextMailing, Said, Stored
from replacements.replies import pausing
from replacements.requests import dispatch, office
from replacements.requests.office import InForce
from replacements.requests.upcoming import FOR_THE_MAILING, Upcoming, upcoming
from replacements.rules.calendar import local
from replacements.store import sealed_mail
from replacements.store.database import Database
from replacements.store.sealing import SealTrouble, keys_of
from replacements.store.tables import (
    OPEN_STATES,
    Condition,
    LedgerEntry,
    Mailing,
    Message,
    Packet,
    Reply,
    Request,
)

MAILBOX, LIVE = "mailbox", ", live"  # how a mailbox is called, and what its watcher adds to that
OUTBOX, BOOKS, BACKUP = "outbox", "reconciliation", "backup"
A_DAY = timedelta(days=1)
MAY_CLOSE_LATE = timedelta(minutes=5)  # the schedule looks every minute
UNREAD, UNSENT = ("stored", "failed"), ("held", "queued", "sending", "failed")
_ITS_OWN = (OUTBOX, BOOKS, BACKUP, pausing.NAME)


def measure(database: Database, *, at: datetime, whole: bool = False, known: Sequence[InForce] | None = None) -> Stored:
    """Measure all of it in one view of the database, whose schema must be the present one.

    `whole`: count what is over and done with too, which takes the longer the more there is. `known`: the elections that
    are on record at that moment, where they are at hand.
    """
    keys_trouble = ""
    try:
        sealed_mail.check(database)
    except SealTrouble as trouble:
        keys_trouble = str(trouble)
    with database.read() as session:
        known = office.known(session, at=at) if known is None else known
        open_ = [force for force in known if office.is_open(force, at=at)]
        said = last_said(session)
        by_name = {one.name: one for one in said}
        mailings = _mailings(session, [force.election_id for force in open_])
        following = [upcoming(session, force, at, mailings=mailings) for force in open_]
        counts = by_state(session, whole=whole)
        found = _found(session, open_, following, at)
        return Stored(
            rules_loaded=bool(known),
            mailboxes=tuple(sorted((one for one in said if is_mailbox(one.name)), key=lambda one: one.name)),
            outbox=by_name.get(OUTBOX),
            sending=by_name.get(pausing.NAME),
            books=by_name.get(BOOKS),
            backup=by_name.get(BACKUP),
            others=tuple(one for one in said if one.name not in _ITS_OWN and not one.name.startswith(MAILBOX)),
            messages=counts["messages"],
            arrived_last_day=found["arrived"],
            to_read=Counted(counts["messages"].get("stored", 0), found["to_read"]),
            set_aside_open=found["set_aside"],
            requests=counts["requests"],
            oldest_request=found["oldest_request"],
            replies=counts["replies"],
            due=Counted(found["due"], found["oldest_due"]),
            mailings=tuple(
                NextMailing(
                    force.election_id, one.goes_on, one.closes_at, found[f"packets_{n}"], found[f"undecided_{n}"]
                )
                for n, (force, one) in enumerate(zip(open_, following, strict=True))
            ),
            not_closed=_not_closed(mailings, known, at),
            unsigned=_unsigned(mailings, known, at),
            ledger_entries=found["entries"] or 0,
            newest_at=_newest_at(found["newest_entry"], found["newest_message"]),
            zone_trouble=_zone_trouble(known),
            keys_trouble=keys_trouble,
            sealed=bool(keys_of(database.engine.dialect).boxes),
            said=said,
        )


def is_mailbox(name: str) -> bool:
    """Whether a condition of this name is of a mailbox, and not of a mailbox's watcher."""
    return name.startswith(MAILBOX) and not name.endswith(LIVE)


def last_said(session: Session) -> tuple[Said, ...]:
    """What each standing job said last, in the order of their names."""
    conditions = session.scalars(select(Condition).order_by(Condition.name))
    return tuple(Said(one.name, one.ok, one.text, one.at) for one in conditions)


def by_state(session: Session, *, whole: bool) -> dict[str, dict[str, int]]:
    """How many messages, requests and replies are in each state that somebody has to do with; `whole`: in each."""
    tables = {
        "messages": (Message.state, UNREAD),
        "requests": (Request.state, OPEN_STATES),
        "replies": (Reply.state, UNSENT),
    }
    counted = []
    for what, (state, states) in tables.items():
        one = select(literal(what).label("what"), state.label("state"), func.count().label("number")).group_by(state)
        counted.append(one if whole else one.where(state.in_(states)))
    found: dict[str, dict[str, int]] = {what: {} for what in tables}
    for what, name, number in session.execute(union_all(*counted)):
        found[what][name] = int(number)
    return found


def _mailings(session: Session, open_: Sequence[str]) -> Sequence[Mailing]:
    """The mailings of these elections, and those of any that have not gone, by their days; without their manifests."""
    wanted = Mailing.state.in_(("open", "closed")) | Mailing.election_id.in_(open_)
    brief = load_only(Mailing.election_id, Mailing.goes_on, Mailing.state)
    return session.scalars(select(Mailing).where(wanted).options(brief).order_by(Mailing.goes_on)).all()


def _found(session: Session, open_: Sequence[InForce], following: Sequence[Upcoming], at: datetime) -> dict[str, Any]:
    """Whatever is one number or one moment, in one statement: by name; of each election's next mailing by its turn."""
    due = Reply.state == "queued", Reply.next_try_at <= at
    # Messages that could not be read and whose request no person has dealt with yet.
    undone = exists().where(Request.message_id == Message.id, Request.state.in_(OPEN_STATES))
    wanted: dict[str, Select[Any]] = {
        "arrived": select(func.count()).select_from(Message).where(Message.arrived_at > at - A_DAY),
        "to_read": select(func.min(Message.stored_at)).where(Message.state == "stored"),
        "set_aside": select(func.count()).select_from(Message).where(Message.state == "failed", undone),
        "oldest_request": select(func.min(Request.received_at)).where(Request.state.in_(("waiting", "second"))),
        "due": select(func.count()).select_from(Reply).where(*due),
        "oldest_due": select(func.min(Reply.next_try_at)).where(*due),
        "entries": select(func.max(LedgerEntry.seq)),
        "newest_entry": select(LedgerEntry.at).order_by(LedgerEntry.seq.desc()).limit(1),
        "newest_message": select(Message.stored_at).order_by(Message.id.desc()).limit(1),
    }
    for n, (force, one) in enumerate(zip(open_, following, strict=True)):
        packets, undecided = select(func.count()).select_from(Packet), select(func.count()).select_from(Request)
        mailing_id = one.mailing.id if one.mailing is not None else None
        wanted[f"packets_{n}"] = packets.where(Packet.mailing_id == mailing_id, Packet.state != "pulled")
        wanted[f"undecided_{n}"] = undecided.where(
            Request.election_id == force.election_id,
            Request.state == "waiting",
            Request.proposal.in_(FOR_THE_MAILING),
        )
    row = session.execute(select(*(one.scalar_subquery().label(name) for name, one in wanted.items()))).one()
    return dict(row._mapping)


def _not_closed(mailings: Sequence[Mailing], known: Sequence[InForce], at: datetime) -> tuple[date, ...]:
    """Days of the mailings whose cut-off has passed, and that nobody has closed."""
    rules = {force.election_id: force for force in known}
    late = at - MAY_CLOSE_LATE
    return tuple(
        one.goes_on
        for one in mailings
        if one.election_id in rules and dispatch.is_due(one, rules[one.election_id], now=late)
    )


def _unsigned(mailings: Sequence[Mailing], known: Sequence[InForce], at: datetime) -> tuple[date, ...]:
    """Days, all of them gone by, of the mailings that are closed and that two people have not signed."""
    today = {force.election_id: local(force.rules, at).date() for force in known}
    closed = [one for one in mailings if one.state == "closed" and one.election_id in today]
    return tuple(one.goes_on for one in closed if one.goes_on < today[one.election_id])


def _newest_at(entry: str | None, message: datetime | None) -> datetime | None:
    """When the ledger's last entry and the last message were kept, by the clock of then; the later of the two."""
    moments = [datetime.fromisoformat(entry).astimezone(UTC)] if entry else []
    return max([*moments, *([message] if message else [])], default=None)


def _zone_trouble(known: Sequence[InForce]) -> str:
    for force in known:
        zone = force.rules.office.time_zone
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            return f"This machine does not know the office's time zone {zone}: install the package tzdata."
    return ""
