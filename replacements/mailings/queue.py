"""The open mailing of the day, and the packets that wait in it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import append
from replacements.ballots.life import NotPossible, locked
from replacements.mailings.manifest import without
from replacements.rules.calendar import mailing_after, next_mailing
from replacements.rules.office import Rules
from replacements.store.bulk import insert_unless_there
from replacements.store.tables import Ballot, Mailing, Packet, Request, Signature, VoterRow

IF_REQUIRED = " if required"
# Made once: an approval holds the mailing's row, and whoever approves next waits for as long.
_OF_DAY = select(Mailing).where(Mailing.election_id == bindparam("election"), Mailing.goes_on == bindparam("day"))
_OPEN = _OF_DAY.where(Mailing.state == "open").with_for_update().execution_options(populate_existing=True)
_STATE = _OF_DAY.with_only_columns(Mailing.state)


def queue_packet(
    session: Session,
    *,
    election_id: str,
    rules: Rules,
    at: datetime,
    request_id: int | None,
    voter_id: str,
    ballot_number: str | None,
    contents: Sequence[str],
) -> Packet:
    """Put a packet into the next mailing that is still open. The same ballot is queued once, however often it is asked.

    `contents` in the words of the rules; what is said to be there "if required" is, where the voter's record says so.
    """
    queued = select(Packet).where(Packet.ballot_number == ballot_number, Packet.state != "pulled")
    there = session.scalars(queued).first() if ballot_number is not None else None
    if there is not None:
        return there
    mailing = open_mailing(session, election_id=election_id, rules=rules, at=at)
    due = session.scalar(select(VoterRow.id_required).where(VoterRow.voter_id == voter_id))
    packet_id = put_into(
        session,
        mailing,
        at=at,
        request_id=request_id,
        voter_id=voter_id,
        ballot_number=ballot_number,
        contents=contents_for(contents, id_required=bool(due)),
    )
    return session.get_one(Packet, packet_id) if packet_id is not None else session.scalars(queued).one()


def put_into(
    session: Session,
    mailing: Mailing,
    *,
    at: datetime,
    request_id: int | None,
    voter_id: str,
    ballot_number: str | None,
    contents: Sequence[str],
) -> int | None:
    """Put a packet into a mailing that `open_mailing` gave in this transaction. Returns its number; None where the
    ballot is in a packet already that was not pulled. `contents`: as `contents_for` gives them."""
    return insert_unless_there(
        session,
        Packet,
        {
            "mailing_id": mailing.id,
            "request_id": request_id,
            "voter_id": voter_id,
            "ballot_number": ballot_number,
            "style": None if ballot_number is None else session.get_one(Ballot, ballot_number).style,
            "received_at": None if request_id is None else session.get_one(Request, request_id).received_at,
            "contents": list(contents),
            "state": "queued",
            "queued_at": at,
        },
    )


def contents_for(contents: Sequence[str], *, id_required: bool) -> list[str]:
    """What goes into one voter's packet: an identification notice only for whom the record says that one is due."""
    items = []
    for item in contents:
        if "identification" in item.lower() and item.endswith(IF_REQUIRED):
            if id_required:
                items.append(item.removesuffix(IF_REQUIRED))
        else:
            items.append(item)
    return items


def open_mailing(session: Session, *, election_id: str, rules: Rules, at: datetime) -> Mailing:
    """The mailing that what is approved at this moment goes into, locked. See `open_mailing_from`.

    Where a ballot is reissued in the same transaction, take this lock first: the order is mailing, ballots, packets,
    ledger, and whoever keeps to it waits for nobody in a ring.
    """
    return open_mailing_from(session, election_id=election_id, rules=rules, day=next_mailing(rules, at))


def open_mailing_from(session: Session, *, election_id: str, rules: Rules, day: date) -> Mailing:
    """The mailing of a day, locked; made where there is none; where it is closed, that of the next mailing day.

    Two at once make one mailing: the database refuses the second, which then finds the first.
    """
    while True:
        wanted = {"election": election_id, "day": day}
        # A mailing that is closed is neither locked nor made: both would wait for whoever signs it, and that
        # transaction may wait for what we hold.
        mailing = session.scalars(_OPEN, wanted).one_or_none()
        if mailing is not None:
            return mailing
        state = session.scalar(_STATE, wanted)
        if state is None:
            insert_unless_there(session, Mailing, {"election_id": election_id, "goes_on": day, "state": "open"})
        elif state != "open":  # else somebody made it in this moment
            day = mailing_after(rules, day)


def locked_mailing(session: Session, mailing_id: int) -> Mailing:
    """A mailing, locked and read afresh. Raises NotPossible where there is none."""
    session.flush()
    found = session.scalars(
        select(Mailing).where(Mailing.id == mailing_id).with_for_update().execution_options(populate_existing=True)
    ).one_or_none()
    if found is None:
        raise NotPossible(f"There is no mailing {mailing_id}.")
    return found


def locked_packet(session: Session, packet_id: int) -> tuple[Mailing, Packet]:
    """A packet and its mailing, the mailing locked first, both read afresh. Raises NotPossible where there is none."""
    while True:
        mailing_id = session.scalar(select(Packet.mailing_id).where(Packet.id == packet_id))
        if mailing_id is None:
            raise NotPossible(f"There is no packet {packet_id}.")
        mailing = locked_mailing(session, mailing_id)
        packet = session.get_one(Packet, packet_id, populate_existing=True)
        if packet.mailing_id == mailing.id:  # else it was moved to a later mailing while we waited
            return mailing, packet


def packets_of(session: Session, mailing_id: int, *states: str) -> Sequence[Packet]:
    """A mailing's packets in these states, in the order of their numbers, read afresh."""
    return session.scalars(
        select(Packet)
        .where(Packet.mailing_id == mailing_id, Packet.state.in_(states))
        .order_by(Packet.id)
        .execution_options(populate_existing=True)
    ).all()


def pull(session: Session, packet_id: int, *, by: str, at: datetime, reason: str) -> Packet:
    """Take a packet out before it is mailed. Out of a closed mailing too: its manifest then says who took it and why.

    Pulling twice is one pull. Raises NotPossible where the packet is mailed, or there is none.
    """
    mailing, packet = locked_packet(session, packet_id)
    if packet.state == "pulled":
        return packet
    if packet.state == "mailed":
        raise NotPossible(f"Packet {packet_id} was mailed; it can no longer be pulled.")
    if packet.ballot_number is not None:
        locked(session, packet.ballot_number)  # before the ledger: whoever pulls often takes the ballot back as well
    if packet.state == "frozen" and mailing.manifest is not None:
        mailing.manifest = without(mailing.manifest, packet_id, by=by, at=at, reason=reason)
    packet.state = "pulled"
    signed = session.scalars(select(Signature.account).where(Signature.mailing_id == mailing.id)).all()
    append(
        session,
        event="packet_pulled",
        election_id=mailing.election_id,
        by=by,
        at=at,
        ballot_number=packet.ballot_number,
        voter_id=packet.voter_id,
        details={"packet": packet.id, "mailing": mailing.id, "reason": reason, "signed_before": sorted(signed)},
    )
    return packet


def queue_again(session: Session, packet_id: int, *, rules: Rules, by: str, at: datetime) -> Packet:
    """Put what was pulled into the next mailing that is open, as a packet of its own. Doing it twice is doing it once.

    Raises NotPossible where the packet is not pulled, or its ballot is no longer to be mailed.
    """
    old = session.get(Packet, packet_id)
    if old is None:
        raise NotPossible(f"There is no packet {packet_id}.")
    election_id = session.get_one(Mailing, old.mailing_id).election_id
    mailing = open_mailing(session, election_id=election_id, rules=rules, at=at)
    if old.ballot_number is not None:
        ballot = locked(session, old.ballot_number)
        if ballot.state != "issued" or ballot.mailed_on is not None:
            raise NotPossible(f"Ballot {ballot.number} is no longer to be mailed.")
    session.refresh(old)
    if old.state != "pulled":
        raise NotPossible(f"Packet {packet_id} is not pulled; it goes with its mailing.")
    after = select(Packet).where(
        Packet.id > old.id,
        Packet.voter_id == old.voter_id,
        Packet.request_id == old.request_id,
        Packet.ballot_number.is_not_distinct_from(old.ballot_number),
        Packet.state != "pulled",
    )
    there = session.scalars(after.limit(1)).first()
    if there is not None:
        return there
    packet = queue_packet(
        session,
        election_id=election_id,
        rules=rules,
        at=at,
        request_id=old.request_id,
        voter_id=old.voter_id,
        ballot_number=old.ballot_number,
        contents=old.contents,
    )
    append(
        session,
        event="packet_queued_again",
        election_id=election_id,
        by=by,
        at=at,
        ballot_number=packet.ballot_number,
        voter_id=packet.voter_id,
        details={"packet": packet.id, "mailing": mailing.id, "instead_of": old.id},
    )
    return packet


def put_off(session: Session, packet_id: int, *, rules: Rules, by: str, at: datetime, reason: str) -> Packet:
    """Take a packet out of its mailing and put what it holds into the next one. Returns the packet that goes.

    A packet whose ballot is no longer to be mailed is pulled, and returned as it is: it goes nowhere. Raises
    NotPossible where the packet is mailed, or there is none.
    """
    mailing, packet = locked_packet(session, packet_id)
    if packet.state == "pulled":
        return queue_again(session, packet_id, rules=rules, by=by, at=at)
    day = next_mailing(rules, at)
    if mailing.goes_on >= day:
        day = mailing_after(rules, mailing.goes_on)
    following = open_mailing_from(session, election_id=mailing.election_id, rules=rules, day=day)  # mailings first
    pull(session, packet_id, by=by, at=at, reason=reason)
    if packet.ballot_number is not None:
        ballot = locked(session, packet.ballot_number)
        if ballot.state != "issued" or ballot.mailed_on is not None:
            return packet
    fresh = Packet(
        mailing_id=following.id,
        request_id=packet.request_id,
        voter_id=packet.voter_id,
        ballot_number=packet.ballot_number,
        style=packet.style,
        received_at=packet.received_at,
        contents=list(packet.contents),
        state="queued",
        queued_at=packet.queued_at,
    )
    session.add(fresh)
    session.flush()
    append(
        session,
        event="packet_queued_again",
        election_id=mailing.election_id,
        by=by,
        at=at,
        ballot_number=fresh.ballot_number,
        voter_id=fresh.voter_id,
        details={"packet": fresh.id, "mailing": following.id, "instead_of": packet.id},
    )
    return fresh


def pull_waiting(session: Session, ballot_number: str, *, by: str, at: datetime, reason: str) -> Packet | None:
    """Take a ballot's packet out of a mailing that is still open, before the ballot is taken back.

    None where no packet waits. Raises NotPossible where its mailing has closed: from then on the void is final. Lock
    nothing of the packet or the ballot before: this takes the locks in the order that closing takes them.
    """
    packet_id = session.scalar(select(Packet.id).where(Packet.ballot_number == ballot_number, Packet.state != "pulled"))
    if packet_id is None:
        return None
    _, packet = locked_packet(session, packet_id)
    if packet.state in ("frozen", "mailed"):
        raise NotPossible(f"Ballot {ballot_number} has gone into a closed mailing; it can no longer be taken back.")
    return pull(session, packet_id, by=by, at=at, reason=reason)
