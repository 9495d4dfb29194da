"""Signing a mailing off: two people count what lies before them, each alone, and both counts must be the manifest's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import append
from replacements.ballots.life import NotPossible, mark_mailed
from replacements.mailings import stock
from replacements.mailings.queue import locked_mailing, locked_packet, packets_of
from replacements.store.tables import Ballot, Mailing, Packet, Signature

SIGNATURES_NEEDED = 2


@dataclass(frozen=True, slots=True)
class Signed:
    """What a signature did. `state`: refused, signed (the first of two), mailed. `text` is for the person who signed.

    `mailed` holds the packets that this very signature sent out, empty otherwise."""

    state: str
    text: str
    mailed: tuple[Packet, ...] = ()


def sign(session: Session, mailing_id: int, *, account: str, counted: int, at: datetime) -> Signed:
    """Sign a closed mailing with the number of packets counted. The second signature mails it.

    A refusal changes nothing and is no exception: the count goes on. Raises NotPossible where there is no such mailing.
    """
    mailing = locked_mailing(session, mailing_id)
    refusal = _refusal(session, mailing, account, counted)
    if refusal:
        return Signed("refused", refusal)
    earlier = session.scalars(select(Signature.account).where(Signature.mailing_id == mailing.id)).all()
    session.add(Signature(mailing_id=mailing.id, account=account, counted=counted, at=at))
    session.flush()
    if len(earlier) + 1 < SIGNATURES_NEEDED:
        _record(session, "mailing_signed", mailing, account, at, counted)
        return Signed("signed", f"Signed with {_packets(counted)}. A second person must count and sign.")
    packets = packets_of(session, mailing.id, "frozen")
    numbers = [packet.ballot_number for packet in packets if packet.ballot_number is not None]
    if numbers:
        mark_mailed(session, numbers=numbers, on=mailing.goes_on, by=account, at=at)
    for packet in packets:
        packet.state = "mailed"
    mailing.state, mailing.mailed_at = "mailed", at
    stock.use(session, mailing.election_id, (mailing.manifest or {}).get("by_style", {}))
    _record(session, "mailing_signed", mailing, account, at, counted)
    _record(session, "mailing_mailed", mailing, account, at, counted)
    return Signed("mailed", f"Signed by two people with {_packets(counted)}: the mailing is out.", tuple(packets))


def _refusal(session: Session, mailing: Mailing, account: str, counted: int) -> str:
    """Why this signature cannot be taken, in plain words; "" if it can."""
    if mailing.state == "open":
        return "This mailing is still open. Close it first; then count, and sign."
    if mailing.state != "closed" or mailing.manifest is None:
        return "This mailing was signed by two people and is mailed; there is nothing left to sign."
    before = select(Signature.id).where(Signature.mailing_id == mailing.id, Signature.account == account)
    if session.scalar(before) is not None:
        return "You have signed this mailing already. The second signature must be another person's."
    expected = mailing.manifest["total"]
    if counted != expected:
        return (
            f"You counted {_packets(counted)}, but the manifest says {expected}. Count again; "
            "if the count stays, find out which packet is missing or too many before anybody signs."
        )
    dead = session.scalars(
        select(Ballot.number)
        .join(Packet, Packet.ballot_number == Ballot.number)
        .where(Packet.mailing_id == mailing.id, Packet.state == "frozen")
        .where((Ballot.state != "issued") | Ballot.mailed_on.is_not(None))
        .order_by(Ballot.number)
    ).all()
    if dead:
        one = len(dead) == 1
        return (
            f"Ballot{'' if one else 's'} {', '.join(dead)} {'is' if one else 'are'} no longer to be mailed. "
            f"Take {'this packet' if one else 'these packets'} out of the mailing, then count again."
        )
    return ""


def _packets(number: int) -> str:
    return f"{number} packet{'' if number == 1 else 's'}"


def _record(session: Session, event: str, mailing: Mailing, account: str, at: datetime, counted: int) -> None:
    sha256 = (mailing.manifest or {}).get("sha256", "")
    details = {"mailing": mailing.id, "goes_on": mailing.goes_on.isoformat(), "counted": counted, "sha256": sha256}
    append(session, event=event, election_id=mailing.election_id, by=account, at=at, details=details)


def reprint(session: Session, packet_id: int, *, by: str, at: datetime) -> Packet:
    """Record that a jammed or spoiled label is printed again: the same number, one more print.

    Raises NotPossible where there is no such packet or its label is not frozen yet.
    """
    mailing, packet = locked_packet(session, packet_id)
    if packet.state not in ("frozen", "mailed"):
        state = "was pulled" if packet.state == "pulled" else "has no label before its mailing is closed"
        raise NotPossible(f"Packet {packet_id} {state}; there is nothing to print again.")
    packet.printed += 1
    append(
        session,
        event="label_reprinted",
        election_id=mailing.election_id,
        by=by,
        at=at,
        ballot_number=packet.ballot_number,
        voter_id=packet.voter_id,
        details={"packet": packet.id, "mailing": mailing.id, "times": packet.printed},
    )
    return packet
