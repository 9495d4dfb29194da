"""Which ballot a typed or scanned number means, and what to say where it means none.

The number as typed comes first, since an office's own numbers may look like anything. A postal barcode leads to a
ballot by its serial number: that of the packet which we mailed (the same on the way back), or a ballot's number itself.
Where the two lead to different ballots nobody chooses: the number on the envelope is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots.numbers import RUNNING_DIGITS, has_check_digit
from replacements.ballots.scans import LONGEST_NUMBER, Postal, clean, part_of_postal, postal
from replacements.store.tables import Ballot, Mailing, Packet

NEIGHBOURS = 20  # numbers on record on either side of one that is not there
ENOUGH = 10  # of that length, all with a check digit: chance would do it once in 10 ** ENOUGH

Way = Literal["number", "postal"]


@dataclass(frozen=True, slots=True)
class DeskRules:
    """What the desk needs of the office's rules. `zone`: for dates. `mailer_id`, `service_type`, `prefix`: of the
    mailing, "" where not set. `also_open`: ids of other elections whose ballots come back now."""

    zone: str = "UTC"
    mailer_id: str = ""
    service_type: str = ""
    prefix: str = ""
    also_open: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """`number`: as it was read, "" where nothing was that could be kept. `lines`: beside a ballot what goes with its
    answer, without one what to say. `misread`: it was typed or read wrongly, or says too little: read it again."""

    ballot: Ballot | None
    number: str
    way: Way = "number"
    lines: tuple[str, ...] = ()
    misread: bool = False


def find(session: Session, typed: str, *, election_id: str, rules: DeskRules) -> Found:
    """The ballot of the elections that are open, or why there is none."""
    session.flush()
    open_now = (election_id, *rules.also_open)
    elsewhere: Ballot | None = None
    for number in dict.fromkeys((typed.strip(), clean(typed))):
        if number and len(number) <= LONGEST_NUMBER:
            ballot = session.get(Ballot, number, populate_existing=True)
            if ballot is not None and ballot.election_id in open_now:
                return Found(ballot, ballot.number)
            elsewhere = elsewhere or ballot
    if elsewhere is not None:
        text = "Not one of ours: it belongs to another election. Set it aside."
        return Found(None, elsewhere.number, lines=(text,))
    barcode = postal(typed)
    if barcode is not None:
        return _by_barcode(session, barcode, clean(typed), open_now, rules)
    return _none(session, typed, rules)


def _by_barcode(session: Session, barcode: Postal, digits: str, open_now: Sequence[str], rules: DeskRules) -> Found:
    def none(*lines: str, misread: bool = True) -> Found:
        return Found(None, digits, "postal", lines, misread)

    if not rules.mailer_id:
        return none(
            "Not known by its postal barcode: the office's rules name no mailer id.",
            "Scan or type the number of the ballot.",
        )
    if barcode.mailer_id != rules.mailer_id:
        lines = ("Not one of ours: the postal barcode is another mailer's.", "If it looks like ours, type its number.")
        return none(*lines, misread=False)
    meant = {b.number: b for b in (*_mailed(session, barcode, open_now), *_numbered(session, barcode, open_now))}
    if not meant:
        return none(
            "Not known: no packet of ours went out under this postal barcode.", "Type the number of the ballot."
        )
    if len(meant) > 1:
        return none(
            "Not certain: this postal barcode may be that of several ballots.", "Type the number of the ballot."
        )
    (ballot,) = meant.values()
    told = ["Read from the postal barcode: compare it with the number on the envelope."]
    if rules.service_type and barcode.service_type == rules.service_type:
        told.append(
            "This is the barcode of the packet that went out. If it is the packet itself, brought back by the post: "
            "undo this, and record it as brought back."
        )
    return Found(ballot, ballot.number, "postal", tuple(told))


def _mailed(session: Session, barcode: Postal, open_now: Sequence[str]) -> Sequence[Ballot]:
    """Ballots whose packet has this serial number: packets come round to it again after all serial numbers."""
    round_trip = 10**barcode.serial_digits
    last = session.scalar(select(func.max(Packet.id))) or 0
    ids = range(int(barcode.serial), last + 1, round_trip)
    return session.scalars(
        select(Ballot)
        .join(Packet, Packet.ballot_number == Ballot.number)
        .join(Mailing, Mailing.id == Packet.mailing_id)
        .where(Packet.id.in_(ids), Packet.state.in_(("frozen", "mailed")), Ballot.election_id.in_(open_now))
    ).all()


def _numbered(session: Session, barcode: Postal, open_now: Sequence[str]) -> Sequence[Ballot]:
    """Common practice: the serial number is the ballot's own, with noughts before it."""
    numbers = {barcode.serial, barcode.serial.lstrip("0")}
    return session.scalars(select(Ballot).where(Ballot.number.in_(numbers), Ballot.election_id.in_(open_now))).all()


def _none(session: Session, typed: str, rules: DeskRules) -> Found:
    number = clean(typed)
    if not number:
        return Found(None, "", lines=("No number was read: scan again.",))
    if part_of_postal(number):
        text = "Misread: these digits are no whole postal barcode. Scan again, or type the number of the ballot."
        return Found(None, number, "postal", (text,), misread=True)
    if len(number) > LONGEST_NUMBER or not number.isalnum():
        return Found(None, "", lines=("Not one of ours: this is not a ballot number. Scan again.",))
    if not has_check_digit(number):
        if _ours_in_form(number, rules.prefix) or _neighbours_have_check_digits(session, number):
            text = "Mistyped or misread: its check digit does not fit. Read the number again, digit by digit."
            return Found(None, number, lines=(text,), misread=True)
        return Found(
            None, number, lines=("Not one of ours. Check the number, digit by digit; if it stays, set it aside.",)
        )
    return Found(None, number, lines=("Not one of ours. Scan it again; if it stays, set it aside.",))


def _ours_in_form(number: str, prefix: str) -> bool:
    """As the service numbers replacements: prefix, running digits, check digit."""
    shortest = len(prefix) + RUNNING_DIGITS + 1
    return bool(prefix) and number.startswith(prefix) and number.isdecimal() and len(number) == shortest


def _neighbours_have_check_digits(session: Session, number: str) -> bool:
    """Whether the office's own numbers of this length, next to this one, all end in a check digit of the same kind."""
    below = select(Ballot.number).where(Ballot.number < number).order_by(Ballot.number.desc()).limit(NEIGHBOURS)
    above = select(Ballot.number).where(Ballot.number > number).order_by(Ballot.number).limit(NEIGHBOURS)
    near = [n for n in (*session.scalars(below), *session.scalars(above)) if len(n) == len(number)]
    return len(near) >= ENOUGH and all(has_check_digit(n) for n in near)
