"""Labels that jam or spoil are printed again: the same label and number, each time on record with the reason."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import Event, append, append_many
from replacements.ballots.life import NotPossible
from replacements.mailings.queue import locked_mailing, locked_packet, packets_of
from replacements.store.tables import LedgerEntry, Mailing, Packet

REASONS = {"jam": "the printer jammed", "spoiled": "the label was spoiled", "missing": "the label was not there"}


@dataclass(frozen=True, slots=True)
class Again:
    """One label that was printed again."""

    packet: int
    ballot: str | None
    reason: str
    by: str
    at: datetime


def record_print(session: Session, mailing_id: int, *, by: str, at: datetime) -> list[Packet]:
    """Record that all labels of a closed mailing are printed: the first time, or once more.

    Returns their packets. Raises NotPossible where the mailing is not closed.
    """
    mailing = locked_mailing(session, mailing_id)
    if mailing.manifest is None:
        raise NotPossible("This mailing is still open. What is printed comes from a closed one.")
    packets = [packet for packet in packets_of(session, mailing.id, "frozen", "mailed") if packet.channel == "post"]
    for packet in packets:
        packet.printed += 1
    times = max((packet.printed for packet in packets), default=1)
    details = {"mailing": mailing.id, "labels": len(packets), "times": times}
    append(session, event="labels_printed", election_id=mailing.election_id, by=by, at=at, details=details)
    return packets


def reprint(session: Session, packet_id: int, *, by: str, at: datetime, reason: str) -> Packet:
    """Record that one label is printed again: the same number, one more print. `reason` as in REASONS.

    Raises NotPossible where there is no such packet, its label is not frozen yet, or there is no such reason.
    """
    mailing, packet = locked_packet(session, packet_id)
    if packet.state not in ("frozen", "mailed") or packet.channel != "post":
        state = "was pulled" if packet.state == "pulled" else "has no label before its mailing is closed"
        state = "is sent electronically" if packet.channel != "post" else state
        raise NotPossible(f"Packet {packet_id} {state}; there is nothing to print again.")
    _record(session, mailing, [packet], by, at, reason)
    return packet


def reprint_sheet(
    session: Session, mailing_id: int, packet_ids: Collection[int], *, by: str, at: datetime, reason: str
) -> list[Packet]:
    """The same for the labels of a whole sheet. Raises NotPossible where none of them can be printed."""
    mailing = locked_mailing(session, mailing_id)
    packets = [
        packet
        for packet in packets_of(session, mailing.id, "frozen", "mailed")
        if packet.id in packet_ids and packet.channel == "post"
    ]
    if not packets:
        raise NotPossible("There is no such sheet of labels; nothing was printed.")
    _record(session, mailing, packets, by, at, reason)
    return packets


def _record(
    session: Session, mailing: Mailing, packets: Collection[Packet], by: str, at: datetime, reason: str
) -> None:
    if reason not in REASONS:
        raise NotPossible(f"Say why a label is printed again: {', '.join(REASONS.values())}.")
    events = []
    for packet in packets:
        packet.printed += 1
        details = {"packet": packet.id, "mailing": mailing.id, "times": packet.printed, "reason": reason}
        event = Event("label_reprinted", mailing.election_id, by, at, packet.ballot_number, packet.voter_id, details)
        events.append(event)
    append_many(session, events)


def printed_again(session: Session, mailing: Mailing) -> list[Again]:
    """The labels of a mailing that were printed again, as the ledger has them, in their order."""
    entries = session.scalars(
        select(LedgerEntry)
        .where(LedgerEntry.event == "label_reprinted", LedgerEntry.election_id == mailing.election_id)
        .order_by(LedgerEntry.seq)
    )
    found = []
    for entry in entries:
        details = json.loads(entry.details)
        if details["mailing"] == mailing.id:
            reason = REASONS.get(details.get("reason", ""), "no reason was asked for")
            at = datetime.fromisoformat(entry.at) if isinstance(entry.at, str) else entry.at
            found.append(Again(details["packet"], entry.ballot_number, reason, entry.by, at))
    return found
