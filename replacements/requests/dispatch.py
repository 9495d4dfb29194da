"""Mailings seen from the voter: closing by the clock or by hand, signing off, and telling the voters."""

from __future__ import annotations

from datetime import date, datetime

import structlog
from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.mailings import closing, signing
from replacements.mailings.signing import Counts, Signed
from replacements.replies import wording
from replacements.replies.texts import render
from replacements.requests import drafting, office
from replacements.requests.judging import is_on_file
from replacements.requests.office import InForce
from replacements.requests.replying import queue_reply
from replacements.roll.stored import StoredRoll
from replacements.rules.calendar import local
from replacements.rules.transit import for_voter
from replacements.store.database import Database
from replacements.store.tables import Mailing, Message, Packet, Request

log = structlog.get_logger()


def due(session: Session, force: InForce, *, now: datetime) -> list[int]:
    """Open mailings whose cut-off has passed."""
    rows = session.scalars(
        select(Mailing)
        .where(Mailing.election_id == force.election_id, Mailing.state == "open")
        .order_by(Mailing.goes_on)
    )
    return [mailing.id for mailing in rows if is_due(mailing, force, now=now)]


def is_due(mailing: Mailing, force: InForce, *, now: datetime) -> bool:
    """Whether a mailing is open though its cut-off, by the rules of its election, has passed."""
    here = local(force.rules, now)
    passed = (mailing.goes_on, force.rules.mailing.cut_off) <= (here.date(), here.time())
    return mailing.state == "open" and passed


def close_due(database: Database, *, now: datetime) -> int:
    """Close every mailing whose cut-off has passed, of every election by its own rules; safe to run as often as one
    likes. Returns how many it closed."""
    with database.read() as session:
        ids = [mailing for force in office.known(session, at=now) for mailing in due(session, force, now=now)]
    for mailing_id in ids:
        close(database, mailing_id, by="schedule", at=now)
    return len(ids)


def close(database: Database, mailing_id: int, *, by: str, at: datetime) -> None:
    """Freeze a mailing's packets. Closing a closed mailing changes nothing."""
    with database.write() as session:
        force = _of_mailing(session, mailing_id, at)
        if force is not None:
            closing.close(session, mailing_id, rules=force.rules, by=by, at=at)


def _of_mailing(session: Session, mailing_id: int, at: datetime) -> InForce | None:
    """The rules of the election that a mailing belongs to."""
    election_id = session.scalar(select(Mailing.election_id).where(Mailing.id == mailing_id))
    return office.of(session, election_id, at=at) if election_id else None


def sign(database: Database, mailing_id: int, *, account: str, counts: Counts, at: datetime) -> Signed:
    """One of two signatures. With the second the ballots are mailed and every voter is told, in one transaction."""
    with database.write() as session:
        force = _of_mailing(session, mailing_id, at)
        today = local(force.rules, at).date() if force is not None else None
        signed = signing.sign(session, mailing_id, account=account, counts=counts, at=at, today=today)
        if force is not None and signed.on is not None:
            for packet in signed.mailed:
                _tell(session, packet, signed.on, force, at=at)
        return signed


def _tell(session: Session, packet: Packet, mailed_on: date, force: InForce, *, at: datetime) -> None:
    """Tell the voter that the ballot is in the post. What goes electronically tells them itself."""
    if packet.channel != "post":
        return
    if packet.request_id is None or packet.ballot_number is None:
        return
    request = session.get_one(Request, packet.request_id)
    message = session.get_one(Message, request.message_id)
    if not message.sender or not request.judged.get("may_answer"):
        return
    voter = StoredRoll(session).voter(packet.voter_id)
    rendered = render(
        "mailed",
        request.language or "en",
        drafting.facts(
            voter=voter,
            on_file=is_on_file(message.sender, voter),
            rules=force.rules,
            adopted=force.adopted,
            in_time=for_voter(force.rules, mailed_on, voter),
            cause=request.cause or "",
            old_number=request.voided_ballot or "",
            new_number=packet.ballot_number,
            mailing_day=mailed_on,
            names_election=force.several,
        ),
        texts=wording.in_force(session),
    )
    queue_reply(session, request, force, message, rendered, seed=f"packet/{packet.id}", at=at)
