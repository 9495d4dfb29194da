"""What the database says of the work: what each job said last, what waits and since when, which mailing is next.

Everything is found by an index or counted in one, so that it may be asked every few seconds beside an office's work.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from replacements.health.types import Counted, NextMailing, Said, Stored
from replacements.replies import pausing
from replacements.requests import dispatch, office
from replacements.requests.office import InForce
from replacements.requests.upcoming import FOR_THE_MAILING, upcoming
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


def measure(database: Database, *, at: datetime, whole: bool = False) -> Stored:
    """Measure all of it in one view of the database, whose schema must be the present one.

    `whole`: count what is over and done with too, which takes the longer the more there is.
    """
    keys_trouble = ""
    try:
        sealed_mail.check(database)
    except SealTrouble as trouble:
        keys_trouble = str(trouble)
    with database.read() as session:
        known = office.known(session, at=at)
        open_ = [force for force in known if office.is_open(force, at=at)]
        said = [Said(one.name, one.ok, one.text, one.at) for one in session.scalars(select(Condition))]
        by_name = {one.name: one for one in said}
        oldest_request = select(func.min(Request.received_at)).where(Request.state.in_(("waiting", "second")))
        return Stored(
            rules_loaded=bool(known),
            mailboxes=tuple(sorted((one for one in said if is_mailbox(one.name)), key=lambda one: one.name)),
            outbox=by_name.get(OUTBOX),
            sending=by_name.get(pausing.NAME),
            books=by_name.get(BOOKS),
            backup=by_name.get(BACKUP),
            others=tuple(one for one in said if one.name not in _ITS_OWN and not one.name.startswith(MAILBOX)),
            messages=_by_state(session, Message.state, None if whole else UNREAD),
            arrived_last_day=_count(session, select(Message.id).where(Message.arrived_at > at - A_DAY)),
            to_read=_counted(session, Message.stored_at, Message.state == "stored"),
            set_aside_open=_set_aside_open(session),
            requests=_by_state(session, Request.state, None if whole else OPEN_STATES),
            oldest_request=session.scalar(oldest_request),
            replies=_by_state(session, Reply.state, None if whole else UNSENT),
            due=_counted(session, Reply.next_try_at, Reply.state == "queued", Reply.next_try_at <= at),
            mailings=tuple(_next_mailing(session, force, at) for force in open_),
            not_closed=_not_closed(session, known, at),
            unsigned=_unsigned(session, known, at),
            ledger_entries=session.scalar(select(func.max(LedgerEntry.seq))) or 0,
            newest_at=_newest_at(session),
            zone_trouble=_zone_trouble(known),
            keys_trouble=keys_trouble,
            sealed=bool(keys_of(database.engine.dialect).boxes),
        )


def is_mailbox(name: str) -> bool:
    """Whether a condition of this name is of a mailbox, and not of a mailbox's watcher."""
    return name.startswith(MAILBOX) and not name.endswith(LIVE)


def _by_state(session: Session, column: InstrumentedAttribute[str], states: Sequence[str] | None) -> dict[str, int]:
    """How many rows are in each of these states; None: in each that there is."""
    counts = select(column, func.count()).group_by(column)
    return dict(session.execute(counts if states is None else counts.where(column.in_(states))).all())


def _counted(session: Session, since: InstrumentedAttribute[datetime], *which: ColumnElement[bool]) -> Counted:
    number, oldest = session.execute(select(func.count(), func.min(since)).where(*which)).one()
    return Counted(number, oldest)


def _count(session: Session, rows: Select[int]) -> int:
    return session.scalar(select(func.count()).select_from(rows.subquery())) or 0


def _set_aside_open(session: Session) -> int:
    """Messages that could not be read and whose request no person has dealt with yet."""
    open_ = select(Request.id).where(Request.message_id == Message.id, Request.state.in_(OPEN_STATES)).exists()
    return _count(session, select(Message.id).where(Message.state == "failed", open_))


def _next_mailing(session: Session, force: InForce, at: datetime) -> NextMailing:
    following = upcoming(session, force, at)
    packets = 0
    if following.mailing is not None:
        of_it = Packet.mailing_id == following.mailing.id, Packet.state != "pulled"
        packets = _count(session, select(Packet.id).where(*of_it))
    undecided = select(Request.id).where(
        Request.election_id == force.election_id,
        Request.state == "waiting",
        Request.proposal.in_(FOR_THE_MAILING),
    )
    return NextMailing(force.election_id, following.goes_on, following.closes_at, packets, _count(session, undecided))


def _not_closed(session: Session, known: Sequence[InForce], at: datetime) -> tuple[date, ...]:
    """Days of the mailings whose cut-off has passed, and that nobody has closed."""
    late = [number for force in known for number in dispatch.due(session, force, now=at - MAY_CLOSE_LATE)]
    return tuple(session.scalars(select(Mailing.goes_on).where(Mailing.id.in_(late)).order_by(Mailing.goes_on)))


def _unsigned(session: Session, known: Sequence[InForce], at: datetime) -> tuple[date, ...]:
    """Days, all of them gone by, of the mailings that are closed and that two people have not signed."""
    today = {force.election_id: local(force.rules, at).date() for force in known}
    closed = session.execute(
        select(Mailing.election_id, Mailing.goes_on).where(Mailing.state == "closed").order_by(Mailing.goes_on)
    )
    return tuple(day for election, day in closed if election in today and day < today[election])


def _newest_at(session: Session) -> datetime | None:
    """When the ledger's last entry and the last message were kept, by the clock of then; the later of the two."""
    entry = session.scalar(select(LedgerEntry.at).order_by(LedgerEntry.seq.desc()).limit(1))
    message = session.scalar(select(Message.stored_at).order_by(Message.id.desc()).limit(1))
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
