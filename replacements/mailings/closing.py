"""Closing a mailing: at the cut-off its packets are frozen, each with its label and postal numbers; a manifest is made.

A packet that cannot be addressed stays out, with the reason, and waits in the next mailing; the mailing goes on. What
goes to voters overseas by the office's electronic channel is listed apart: it is sent, not packed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import Event, append_many
from replacements.mailings import manifest, postal_barcode
from replacements.mailings.addressing import Address, label_for
from replacements.mailings.layout import Layout
from replacements.mailings.queue import locked_mailing, open_mailing_from
from replacements.rules.calendar import mailing_after
from replacements.rules.office import Rules
from replacements.store.tables import Ballot, Base, Mailing, Packet, VoterRow

Row = TypeVar("Row", bound=Base)
AT_A_TIME = 500


def close(session: Session, mailing_id: int, *, rules: Rules, by: str, at: datetime) -> Mailing:
    """Close an open mailing. Closing twice is one closing: a mailing that is not open is returned as it is.

    Raises NotPossible where there is no such mailing.
    """
    mailing = locked_mailing(session, mailing_id)
    if mailing.state != "open":
        return mailing
    packets = session.scalars(
        select(Packet)
        .where(Packet.mailing_id == mailing.id, Packet.state == "queued")
        .order_by(Packet.id)
        .with_for_update()
        .execution_options(populate_existing=True)
    ).all()
    voters = _by_key(session, VoterRow, VoterRow.voter_id, (packet.voter_id for packet in packets))
    ballots = _by_key(session, Ballot, Ballot.number, (packet.ballot_number for packet in packets))
    lines: list[dict[str, Any]] = []
    left_out: list[dict[str, Any]] = []
    events: list[Event] = []
    faulty: list[Packet] = []
    freezing = _Freezing(rules, Layout.of(rules), mailing)
    for packet in packets:
        voter = voters.get(packet.voter_id)
        ballot = ballots.get(packet.ballot_number or "")
        if ballot is not None and ballot.state != "issued":
            packet.state, packet.fault = "pulled", f"ballot {ballot.number} is {ballot.state}"
            details = {"packet": packet.id, "mailing": mailing.id, "reason": packet.fault}
            events.append(
                Event("packet_pulled", mailing.election_id, by, at, packet.ballot_number, packet.voter_id, details)
            )
            left_out.append({"packet": packet.id, "ballot": packet.ballot_number, "fault": packet.fault})
            continue
        fault = freezing.freeze(packet, voter)
        if fault or voter is None:
            packet.fault = fault
            faulty.append(packet)
            left_out.append({"packet": packet.id, "ballot": packet.ballot_number, "fault": packet.fault})
            continue
        lines.append(_line(packet, voter, ballot))
    if faulty:
        day = mailing_after(rules, mailing.goes_on)
        later = open_mailing_from(session, election_id=mailing.election_id, rules=rules, day=day)
        for packet in faulty:
            packet.mailing_id = later.id
    mailing.state, mailing.closed_at, mailing.closed_by = "closed", at, by
    mailing.manifest = manifest.build(mailing, lines, left_out, layout=freezing.layout.record(), by=by, at=at)
    counts = {name: mailing.manifest[name] for name in ("total", "ballots", "electronic", "by_style", "sha256")}
    counts |= {"mailing": mailing.id, "goes_on": mailing.goes_on.isoformat(), "left_out": len(left_out)}
    events.append(Event("mailing_closed", mailing.election_id, by, at, details=counts))
    append_many(session, events)
    return mailing


@dataclass(frozen=True, slots=True)
class _Freezing:
    """How the packets of one mailing are frozen."""

    rules: Rules
    layout: Layout
    mailing: Mailing

    def freeze(self, packet: Packet, voter: VoterRow | None) -> str:
        """Freeze a packet, or return why it cannot be sent."""
        if voter is None:
            return "the voter is no longer on the roll"
        if self._electronic(packet, voter):
            packet.channel, packet.label, packet.tracking, packet.routing = "electronic", None, None, None
        else:
            label = label_for(Address.of(voter), self.layout, postal=postal_barcode.is_printed(self.rules))
            if label.fault:
                return label.fault
            numbers = postal_barcode.of_packet(self.rules, packet.id, packet.ballot_number, label)
            packet.channel, packet.label = "post", list(label.lines)
            packet.tracking, packet.routing = numbers or (None, None)
        packet.state, packet.fault = "frozen", None
        return ""

    def _electronic(self, packet: Packet, voter: VoterRow) -> bool:
        """Does the office's own system send this ballot? Only to voters overseas who can be reached so."""
        overseas = self.rules.mailing.overseas
        if not voter.overseas or packet.ballot_number is None or not (voter.email or "").strip():
            return False
        late = overseas.by_post_until is not None and self.mailing.goes_on > overseas.by_post_until
        return late or overseas.channel == "electronic"


def _line(packet: Packet, voter: VoterRow, ballot: Ballot | None) -> dict[str, Any]:
    return {
        "packet": packet.id,
        "ballot": packet.ballot_number,
        "style": ballot.style if ballot is not None else voter.style,
        "precinct": voter.precinct,
        "language": voter.language,
        "overseas": voter.overseas,
        "id_required": voter.id_required,
        "channel": packet.channel,
        "contents": list(packet.contents),
    }


def _by_key(session: Session, table: type[Row], column: Any, keys: Iterable[str | None]) -> dict[str, Row]:
    """Rows by key, read afresh, some hundred at a time."""
    wanted = sorted({key for key in keys if key})
    found: dict[str, Row] = {}
    for start in range(0, len(wanted), AT_A_TIME):
        some = wanted[start : start + AT_A_TIME]
        query = select(table).where(column.in_(some)).execution_options(populate_existing=True)
        found.update((str(getattr(row, column.key)), row) for row in session.scalars(query))
    return found
