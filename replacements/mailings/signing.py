"""Signing a mailing off: two people count what lies before them, each alone; all counts must be the manifest's.

A signature is for a manifest, named by its hash. Whatever changes the manifest of a closed mailing leaves the
signatures of before on record, and they count no longer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.ledger import append
from replacements.ballots.life import mark_mailed
from replacements.mailings import stock
from replacements.mailings.queue import locked_mailing, packets_of
from replacements.store.tables import Ballot, Mailing, Packet, Signature

SIGNATURES_NEEDED = 2


@dataclass(frozen=True, slots=True)
class Counts:
    """What one person counted: ballots taken from the stacks, packets with a label, packets sealed; and how many
    ballots the office's electronic channel sent, where it sends any."""

    picked: int
    labelled: int
    sealed: int
    electronic: int = 0


@dataclass(frozen=True, slots=True)
class Signed:
    """What a signature did. `state`: refused, signed (the first of two), mailed. `text` is for the person who signed.

    `mailed` holds the packets that this very signature sent out, empty otherwise; `on` the day that they went."""

    state: str
    text: str
    mailed: tuple[Packet, ...] = ()
    on: date | None = None


def valid_signatures(session: Session, mailing: Mailing) -> Sequence[Signature]:
    """The signatures that count: those for the manifest as it is now, in their order."""
    return [one for one in signatures(session, mailing) if still_counts(one, mailing)]


def signatures(session: Session, mailing: Mailing) -> Sequence[Signature]:
    """All that were ever made for a mailing, those that count no longer too, in their order."""
    return session.scalars(select(Signature).where(Signature.mailing_id == mailing.id).order_by(Signature.id)).all()


def still_counts(signature: Signature, mailing: Mailing) -> bool:
    """Whether it is for the manifest as it is now."""
    return bool(signature.sha256 == (mailing.manifest or {}).get("sha256", ""))


def sign(
    session: Session, mailing_id: int, *, account: str, counts: Counts, at: datetime, today: date | None = None
) -> Signed:
    """Sign a closed mailing with what was counted. The second signature mails it.

    `today` is the office's day: a mailing that is signed late went on that day, not on the one it was made for. A
    refusal changes nothing and is no exception: the count goes on. Raises NotPossible where there is no such mailing.
    """
    mailing = locked_mailing(session, mailing_id)
    refusal = _refusal(session, mailing, account, counts)
    if refusal or mailing.manifest is None:
        return Signed("refused", refusal)
    earlier = [signature.account for signature in valid_signatures(session, mailing)]
    electronic = counts.electronic if mailing.manifest.get("electronic") else None
    session.add(
        Signature(
            mailing_id=mailing.id,
            account=account,
            picked=counts.picked,
            labelled=counts.labelled,
            sealed=counts.sealed,
            electronic=electronic,
            sha256=mailing.manifest["sha256"],
            at=at,
        )
    )
    session.flush()
    if len(earlier) + 1 < SIGNATURES_NEEDED:
        _record(session, "mailing_signed", mailing, account, at, counts)
        return Signed("signed", f"Signed with {_packets(counts.sealed)}. A second person must count and sign.")
    on = max(mailing.goes_on, today or mailing.goes_on)
    packets = packets_of(session, mailing.id, "frozen")
    numbers = [packet.ballot_number for packet in packets if packet.ballot_number is not None]
    if numbers:
        mark_mailed(session, numbers=numbers, on=on, by=account, at=at)
    for packet in packets:
        packet.state = "mailed"
    mailing.state, mailing.mailed_at = "mailed", at
    stock.use(session, mailing, mailing.manifest["by_style"], signed=(earlier[0], account), at=at)
    _record(session, "mailing_signed", mailing, account, at, counts)
    _record(session, "mailing_mailed", mailing, account, at, counts)
    text = f"Signed by two people with {_packets(counts.sealed)}: the mailing is out."
    return Signed("mailed", text, tuple(packets), on)


def _refusal(session: Session, mailing: Mailing, account: str, counts: Counts) -> str:
    """Why this signature cannot be taken, in plain words; "" if it can."""
    if mailing.state == "open":
        return "This mailing is still open. Close it first; then count, and sign."
    if mailing.state != "closed" or mailing.manifest is None:
        return "This mailing was signed by two people and is mailed; there is nothing left to sign."
    if account in {signature.account for signature in valid_signatures(session, mailing)}:
        return "You have signed this mailing already. The second signature must be another person's."
    if wrong := _wrong_counts(mailing.manifest, counts):
        return (
            f"{' '.join(wrong)} Count again; if the count stays, find out what is missing or too many before anybody "
            "signs."
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


def _wrong_counts(manifest: Mapping[str, Any], counts: Counts) -> list[str]:
    """A sentence for each count that is not the manifest's."""
    wanted = (
        ("ballots picked", counts.picked, manifest["ballots"]),
        ("packets labelled", counts.labelled, manifest["total"]),
        ("packets sealed", counts.sealed, manifest["total"]),
        ("ballots sent electronically", counts.electronic, manifest.get("electronic", 0)),
    )
    return [
        f"You counted {counted} {what}, but the manifest says {expected}."
        for what, counted, expected in wanted
        if counted != expected
    ]


def _packets(number: int) -> str:
    return f"{number} packet{'' if number == 1 else 's'}"


def _record(session: Session, event: str, mailing: Mailing, account: str, at: datetime, counts: Counts) -> None:
    sha256 = (mailing.manifest or {}).get("sha256", "")
    details = {"mailing": mailing.id, "goes_on": mailing.goes_on.isoformat(), "sha256": sha256, **asdict(counts)}
    append(session, event=event, election_id=mailing.election_id, by=account, at=at, details=details)
