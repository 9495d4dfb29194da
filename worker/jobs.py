"""The jobs, one function each. Celery and the in-process runner call the same ones.

Every job may run twice, or never, or be killed half-way: each takes up what the database says is still to do. How each
is doing is kept in the table of conditions, which the health page shows in words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import UTC, datetime

import structlog

from replacements.replies.limits import parse_limits
from replacements.replies.outbox import SendReport, send_due
from replacements.replies.sent_folder import SentTrouble
from replacements.replies.transport import TransportSetting, open_transport
from replacements.requests import dispatch, intake, letter_words, office, waiting, weekly
from replacements.requests.intake import place_of
from replacements.settings import Settings
from replacements.store import carried_over, counted, sealed_mail, senders
from replacements.store.database import Database
from replacements.store.sealing import SealTrouble, read_keys
from replacements.store.tables import Condition
from worker import books
from worker.mailbox.opening import addresses, open_source
from worker.mailbox.sent import open_sent
from worker.mailbox.source import MailboxTrouble
from worker.mailbox.taking_in import LONGEST_SECONDS, Taken, take_in

log = structlog.get_logger()


def utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Work:
    """What every job needs: the database, the settings, and what time it is."""

    database: Database
    settings: Settings
    now: Callable[[], datetime] = field(default=utc_now)


def work_of(settings: Settings) -> Work:
    """What the jobs of this installation need. Raises SealTrouble where a key of its stored mail is missing."""
    database = Database(settings.database, read_keys(settings.mail_keys))
    sealed_mail.check(database)
    return Work(database, settings)


def note(work: Work, name: str, *, ok: bool, text: str) -> None:
    """Keep how a standing job is doing, for the health page. `text` holds no personal data."""
    with work.database.write() as session:
        session.merge(Condition(name=name, ok=ok, text=text, at=work.now()))


def attempt(work: Work, name: str, step: Callable[[Work], object]) -> None:
    """Run a job. One that breaks is told by the type of its error alone, since an error's own words may repeat what was
    in hand; the health page shows it until the job runs again. Raises only where the database cannot be reached."""
    try:
        step(work)
    except Exception as error:
        log.error("job failed", job=name, error=type(error).__name__, at=place_of(error))
        why = str(error) if isinstance(error, SealTrouble) else f"The job stopped: {type(error).__name__}."
        note(work, name, ok=False, text=f"{why} It is tried again.")
        return
    with work.database.read() as session:
        said = session.get(Condition, name)
    if said is not None and not said.ok:
        note(work, name, ok=True, text="It runs again.")


def mailboxes(settings: Settings) -> list[tuple[str, str]]:
    """Every mailbox that is read: its name on the health page, and its address."""
    found = addresses(settings)
    return [("mailbox" if number == 1 else f"mailbox {number}", address) for number, address in enumerate(found, 1)]


def tell(work: Work, name: str, taken: Taken) -> None:
    """What a look into a mailbox brought, for the health page."""
    wrong = taken.trouble or taken.told
    note(work, name, ok=not wrong, text=wrong or "The mailbox was read.")


def fetch_mail(work: Work, *, but: Collection[str] = ()) -> int:
    """Keep every new message of every mailbox, `but` those that are watched by somebody else; a mailbox is told only
    afterwards, and one that is in trouble keeps no other from being read. Returns how many were new."""
    new = 0
    to_read = [(name, address) for name, address in mailboxes(work.settings) if name not in but]
    for name, address in to_read:
        try:
            source = open_source(work.settings, address)
            try:
                taken = take_in(work.database, source, now=work.now, seconds=LONGEST_SECONDS / len(to_read))
            finally:
                source.close()
        except MailboxTrouble as trouble:
            taken = Taken(trouble=str(trouble))
        if taken.trouble:
            log.warning("mailbox trouble", mailbox=name, trouble=taken.trouble)
        tell(work, name, taken)
        new += taken.new
    return new


def count_to_read(work: Work) -> int:
    """How many kept messages nobody has read."""
    with work.database.read() as session:
        return intake.count_waiting(session)


def read_message(work: Work, message_id: int) -> bool:
    """Read one kept message. Safe to run twice."""
    return intake.read_one(work.database, message_id, now=work.now())


def read_waiting(work: Work, progress: Callable[[int, int], None] | None = None, *, seconds: float = math.inf) -> int:
    """Read what waits, one after the other, everybody's first before anybody's second; so many seconds at most."""
    return intake.read_waiting(work.database, now=work.now, progress=progress, seconds=seconds)


def send_replies(work: Work) -> int:
    """Send what is due in the outbox. Returns how many replies went out."""
    with work.database.read() as session:
        force = office.in_force(session, at=work.now())
    if force is None:
        return 0
    settings = work.settings
    sent_folder = None
    try:
        limits = parse_limits(settings.outbox_limit)
        transport = open_transport(
            settings.outbox, settings.outbox_password, settings.ca_file, settings.outbox_token_command
        )
        sent_folder = open_sent(settings)
    except (TransportSetting, SentTrouble) as trouble:
        note(work, "outbox", ok=False, text=str(trouble))
        return 0
    try:
        report = send_due(
            work.database,
            transport,
            sender_name=force.rules.office.name,
            sender_address=force.rules.office.address,
            now=work.now(),
            sent_folder=sent_folder,
            limits=limits,
            clock=work.now,
        )
    finally:
        if sent_folder is not None:
            sent_folder.close()
    if not report.paused:  # that is told where people have said it
        note(work, "outbox", ok=not (report.failed or report.later or report.unfiled), text=_told(report))
    return report.sent


def _told(report: SendReport) -> str:
    """How sending is going, for the health page."""
    unsent = report.failed + report.later
    said = [report.trouble or (f"{unsent} replies could not be sent; they are kept." if unsent else "")]
    if report.unfiled:
        said.append(f"Replies were sent, and copies are missing in the folder of sent mail: {report.unfiled}")
    if report.full:
        said.append("As many replies have gone as REPLACEMENTS_OUTBOX_LIMIT allows for now; the rest follow.")
    return " ".join(filter(None, said)) or "Nothing waits."


def close_mailings(work: Work) -> int:
    """Close every mailing whose cut-off has passed, in every election."""
    return dispatch.close_due(work.database, now=work.now())


def check_books(work: Work) -> bool:
    """The nightly look at the books. Returns whether everything adds up."""
    with work.database.read() as session:
        if office.in_force(session) is None:
            return True
    ok, text = books.look(work.database, work.settings, at=work.now())
    note(work, "reconciliation", ok=ok, text=text)
    return ok


def tend_waiting(work: Work) -> waiting.Tended:
    """Nightly: remind of what waits for voters, and close what lapses by the office's rules."""
    done = waiting.tend(work.database, now=work.now())
    text = f"{done.reminded} reminders written, {done.lapsed} requests closed by rule."
    note(work, "waiting requests", ok=True, text=text)
    return done


def make_ready(work: Work) -> int:
    """Put what pages look for where they find it soon: the words of letters together, and what is counted of
    requests, packets and replies that an earlier version wrote. Returns how many letters were packed."""
    with work.database.write() as session:
        counted.fill_what_is_missing(session.connection())
        senders.fill_what_is_missing(session.connection())
        carried_over.fill_what_is_missing(session.connection())
    return letter_words.pack(work.database)


def send_weekly_summary(work: Work) -> int:
    """Put last week's summary into the outbox for every supervisor, once. Returns how many were queued."""
    return weekly.queue_summary(work.database, now=work.now())
