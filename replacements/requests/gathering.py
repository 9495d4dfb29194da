"""All that is known of a request when it is asked whether it is a clear case: for one, or for many at once."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy import ColumnElement, and_, case, func, or_, select, text
from sqlalchemy.orm import Session

from replacements.mail.letter import Letter, UnreadableMail
from replacements.proposals.types import BallotOnRecord
from replacements.replies import wording
from replacements.replies.texts import Rendered
from replacements.requests import office
from replacements.requests.awaiting import OnHand, reply_now
from replacements.requests.carrying_out import Refused
from replacements.requests.intake import letter_from
from replacements.requests.office import InForce
from replacements.requests.records import BallotsInMemory
from replacements.roll.index import as_voter
from replacements.roll.types import Voter
from replacements.store.sealing import SealTrouble
from replacements.store.tables import (
    LIVE_STATES,
    OPEN_STATES,
    Ballot,
    Correction,
    Message,
    Packet,
    RawMail,
    Request,
    VoterChange,
    VoterRow,
)

LETTERS_AT_A_TIME = 5  # read from the database; one may be as large as a mail can be


@dataclass(frozen=True, slots=True)
class Facts:
    """All that is known of a request when it is asked whether it is clear. `others`: further requests of the same
    message or open ones of the same voter. `reply`: what would go; None where none would, or where none can."""

    request: Request
    message: Message
    force: InForce
    letter: Letter | None
    voter: Voter | None
    row: VoterRow | None
    ballot: BallotOnRecord | None
    others: int
    corrected: bool
    roll_changed: bool
    reply: Rendered | None
    mailed: date


def tied(other: type[Request], mine: type[Request] | Request) -> ColumnElement[bool]:
    """Requests of the same message, and open ones of the same voter."""
    same_voter = and_(other.voter_id == mine.voter_id, other.state.in_(OPEN_STATES))
    return or_(other.message_id == mine.message_id, same_voter)


def gather(
    session: Session, request: Request, message: Message, force: InForce, *, at: datetime, mailed: date
) -> Facts:
    """What is known of a request now. Reads only."""
    others = select(func.count()).select_from(Request).where(Request.id != request.id, tied(Request, request))
    counted = {request.id: session.scalar(others) or 0}
    elections = office.offered(session, at=at)
    found = gather_many(session, [(request, message)], force, others=counted, elections=elections, mailed=mailed)
    return next(found)


def gather_many(
    session: Session,
    asked: Sequence[tuple[Request, Message]],
    force: InForce,
    *,
    others: Mapping[int, int],
    elections: Sequence[InForce],
    mailed: date,
) -> Iterator[Facts]:
    """What is known now of requests of one election, in their order; each letter is opened when its turn comes, so
    that who needs no more of them stops. `others`: how many requests are tied to each, by its number, 0 where it is not
    there. Reads only; the number of statements does not depend on how many are asked about."""
    if not asked:
        return
    voters = {request.voter_id for request, _ in asked if request.voter_id}
    messages = [message.id for _, message in asked]
    rows = {row.voter_id: row for row in session.scalars(select(VoterRow).where(VoterRow.voter_id.in_(voters)))}
    _, ballots = _looked_up(session, force.election_id, voters)
    corrected = set(session.scalars(select(Correction.message_id).where(Correction.message_id.in_(messages))))
    changed = dict(
        session.execute(
            select(VoterChange.voter_id, func.max(VoterChange.at))
            .where(VoterChange.voter_id.in_(voters))
            .group_by(VoterChange.voter_id)
        ).all()
    )
    texts = wording.in_force(session)
    raw = session.execute(
        select(Message.id, RawMail.raw)
        .outerjoin(RawMail, RawMail.message_id == Message.id)
        .where(Message.id.in_(messages))
        .order_by(_in_turn(messages))
        .execution_options(yield_per=LETTERS_AT_A_TIME)
    )
    letters: dict[int, Letter | None] = {}
    try:
        for request, message in asked:
            while message.id not in letters:
                number, content = next(raw)
                letters[number] = _letter(session, content, message, elections, force) if content is not None else None
            row, ballot = rows.get(request.voter_id or ""), ballots.get(request.voter_id or "")
            voter = as_voter(row)
            live = ballot.number if ballot is not None and ballot.state in LIVE_STATES else ""
            reply, since = None, changed.get(request.voter_id or "")
            with suppress(Refused):  # there is no text for it; a person looks
                known = OnHand(voter, live, texts)
                reply = reply_now(session, request, force, mailing_day=mailed, known=known)
            yield Facts(
                request=request,
                message=message,
                force=force,
                letter=letters[message.id],
                voter=voter,
                row=row,
                ballot=ballot,
                others=others.get(request.id, 0),
                corrected=message.id in corrected,
                roll_changed=since is not None and since >= message.stored_at,
                reply=reply,
                mailed=mailed,
            )
    finally:
        raw.close()


def _in_turn(messages: Sequence[int]) -> ColumnElement[int]:
    return case({number: turn for turn, number in enumerate(dict.fromkeys(messages))}, value=Message.id)


def _looked_up(
    session: Session, election_id: str, voters: Collection[str]
) -> tuple[list[Ballot], dict[str, BallotOnRecord]]:
    """The ballots of these voters, and the present one of each who has one."""
    # The election is told apart here: asked for both, SQLite, which knows no sizes, read every ballot of the election.
    # The states are written out, so that the index of packets that are not pulled is found.
    queued = text("packets.state = 'queued' AND packets.state <> 'pulled'")
    query = (
        select(Ballot, Packet.id)
        .outerjoin(Packet, (Packet.ballot_number == Ballot.number) & queued)
        .where(Ballot.voter_id.in_(voters))
    )
    found = [row for row in session.execute(query) if row[0].election_id == election_id]
    ballots = [ballot for ballot, _ in found]
    memory = BallotsInMemory(ballots)
    waiting = {ballot.number for ballot, packet in found if packet is not None}
    present = {voter_id: memory.present(voter_id) for voter_id in voters}
    return ballots, {
        voter_id: replace(ballot, replacement_waits=ballot.number in waiting)
        for voter_id, ballot in present.items()
        if ballot is not None
    }


def ballots_of(
    session: Session, election_id: str, voter_id: str | None
) -> tuple[Sequence[Ballot], BallotOnRecord | None]:
    """The ballots of a voter in the order in which they were mailed, and the present one as a proposal sees it."""
    if not voter_id:
        return (), None
    ballots, present = _looked_up(session, election_id, [voter_id])
    unmailed = date.max
    return sorted(ballots, key=lambda ballot: (ballot.mailed_on or unmailed, ballot.number)), present.get(voter_id)


def _letter(
    session: Session, raw: bytes, message: Message, elections: Sequence[InForce], force: InForce
) -> Letter | None:
    try:
        return letter_from(session, raw, message, elections, force)
    except (UnreadableMail, SealTrouble):
        return None
