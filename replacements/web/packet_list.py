"""The packets of a mailing as its page lists them: counted in one statement, shown some at a time, and one found.

What the mail room prints is another matter: papers come whole from what was frozen (`mailings/documents`).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Row, Select, exists, func, or_, select, text
from sqlalchemy.orm import Session, aliased, load_only

from replacements.ballots.scans import TRACKING_DIGITS, clean, postal
from replacements.roll.names import fold, joined
from replacements.store.tables import Ballot, Packet, VoterRow
from replacements.web.evidence import full_name
from replacements.web.guard import LARGEST

Query = TypeVar("Query", bound=Select[*tuple[Any, ...]])
A_PAGE = 100
LONGEST = 200  # characters that are searched for
_PULLED = Packet.state == "pulled"
# What the list may be narrowed to, by its name in an address.
ONLY: dict[str, ColumnElement[bool]] = {
    "no_label": Packet.fault.is_not(None) & ~_PULLED,
    "materials": Packet.ballot_number.is_(None) & ~_PULLED,
    "electronic": (Packet.channel != "post") & ~_PULLED,
    "printed_again": (Packet.printed > 1) & ~_PULLED,
    "pulled": _PULLED,
}
# By style, as the papers are; what has none comes last on every database.
_ORDER = (Ballot.style.is_(None), Ballot.style, Packet.id)
_ELSEWHERE = aliased(Packet, name="elsewhere")
# Pulled, and the ballot still counts, has not gone out, and waits in no other packet. Partly written out, so that
# SQLite sees that an index of packets has just these.
_MAY_GO_AGAIN = (
    _PULLED
    & (Ballot.state == "issued")
    & Ballot.mailed_on.is_(None)
    & ~exists().where(_ELSEWHERE.ballot_number == Ballot.number, text("elsewhere.state <> 'pulled'"))
)


@dataclass(frozen=True, slots=True)
class Counted:
    """A mailing's packets counted by style (None: no ballot, or none that is on record): all of them, those with a
    ballot that go, and those of each name of ONLY."""

    by_style: dict[str | None, dict[str, int]]

    def of(self, only: str, style: str = "") -> int:
        """How many the list has, narrowed so; "" is all."""
        if style:
            return self.by_style.get(style, {}).get(only, 0)
        return sum(counts[only] for counts in self.by_style.values())

    @property
    def going(self) -> int:
        return self.of("") - self.of("pulled")

    @property
    def styles(self) -> list[tuple[str, int]]:
        """The ballots that go, by style."""
        found = [(style, counts["ballots"]) for style, counts in self.by_style.items() if style is not None]
        return sorted((style, count) for style, count in found if count)


def counted(session: Session, mailing_id: int) -> Counted:
    wanted = {**ONLY, "ballots": Packet.ballot_number.is_not(None) & ~_PULLED}
    query = select(Ballot.style, func.count(), *(func.count().filter(one) for one in wanted.values()))
    rows = session.execute(_of_mailing(query, mailing_id).group_by(Ballot.style))
    return Counted({style: dict(zip(("", *wanted), counts, strict=True)) for style, *counts in rows})


def page(
    session: Session,
    mailing_id: int,
    *,
    number: int = 1,
    only: str = "",
    style: str = "",
    packets: Collection[int] | None = None,
) -> Sequence[Row[Packet, Ballot, VoterRow]]:
    """Page `number` of a mailing's packets, each with its ballot and its voter, of whom no more than the name is read.
    Narrowed to a name of ONLY, to a style, or to some packets."""
    chosen = _of_mailing(select(Packet.id), mailing_id)
    if only:
        chosen = chosen.where(ONLY[only])
    if style:
        chosen = chosen.where(Ballot.style == style)
    if packets is not None:
        chosen = chosen.where(Packet.id.in_(packets))
    # Sorted are numbers alone; the rows of one page are read whole.
    chosen = chosen.order_by(*_ORDER).offset((number - 1) * A_PAGE).limit(A_PAGE)
    return session.execute(
        select(Packet, Ballot, VoterRow)
        .outerjoin(Ballot, Packet.ballot_number == Ballot.number)
        .outerjoin(VoterRow, Packet.voter_id == VoterRow.voter_id)
        .where(Packet.id.in_(chosen))
        .order_by(*_ORDER)
        .options(
            load_only(VoterRow.first_name, VoterRow.middle_name, VoterRow.last_name, VoterRow.suffix),
            load_only(Ballot.style),
            load_only(
                Packet.request_id,
                Packet.voter_id,
                Packet.ballot_number,
                Packet.state,
                Packet.label,
                Packet.fault,
                Packet.printed,
                Packet.channel,
            ),
        )
    ).all()


@dataclass(frozen=True, slots=True)
class Trouble:
    """A packet that somebody must see to: no label can be printed (`fault` says why), or it was pulled and its ballot
    waits nowhere else."""

    packet: int
    ballot: str | None
    request_id: int | None
    fault: str
    may_go_again: bool


def troubles(session: Session, mailing_id: int) -> list[Trouble]:
    """All of a mailing, wherever in the list they stand."""
    columns = (Packet.id, Packet.ballot_number, Packet.request_id, Packet.fault, Packet.state)
    query = _of_mailing(select(*columns), mailing_id).where(or_(ONLY["no_label"], _MAY_GO_AGAIN))
    return [
        Trouble(number, ballot, request_id, fault or "", state == "pulled")
        for number, ballot, request_id, fault, state in session.execute(query.order_by(*_ORDER))
    ]


def leaf_of(session: Session, mailing_id: int, packet_id: int) -> int:
    """The page of a mailing's whole list that a packet stands on; 0: it is not in this mailing."""
    place = func.row_number().over(order_by=_ORDER).label("place")
    places = _of_mailing(select(Packet.id, place), mailing_id).subquery()
    found = session.scalar(select(places.c.place).where(places.c.id == packet_id))
    return -(-found // A_PAGE) if found else 0


def find(session: Session, mailing_id: int, wanted: str, *, names: bool) -> list[int]:
    """The packets that are meant: by the packet's number, its ballot's, its request's, or its postal barcode; with
    `names` also by the voter's name or id. Those of this mailing, in the order of its list; where it has none of that
    number, those of other mailings."""
    found = session.execute(
        select(Packet.id, Packet.mailing_id).where(or_(*_numbered(wanted))).order_by(Packet.id)
    ).all()
    in_it = [number for number, mailing in found if mailing == mailing_id]
    in_it = in_it or (_named(session, mailing_id, wanted) if names else [])
    return in_it or [number for number, _ in found]


def _numbered(wanted: str) -> list[ColumnElement[bool]]:
    digits = clean(wanted)
    meant: list[ColumnElement[bool]] = [Packet.ballot_number.in_({wanted, digits})]
    if digits.isascii() and digits.isdecimal() and int(digits) <= LARGEST:
        meant += [Packet.id == int(digits), Packet.request_id == int(digits)]
    if postal(wanted) is not None:
        meant.append(Packet.tracking == digits[:TRACKING_DIGITS])
    return meant


def _named(session: Session, mailing_id: int, wanted: str) -> list[int]:
    """By all words of a name in whatever order, accents or not; a name without spaces in either order too."""
    parts = fold(wanted).split()
    query = _of_mailing(select(Packet.id, Packet.voter_id, VoterRow), mailing_id)
    query = query.join(VoterRow, Packet.voter_id == VoterRow.voter_id).order_by(*_ORDER)
    query = query.options(load_only(VoterRow.first_name, VoterRow.middle_name, VoterRow.last_name, VoterRow.suffix))
    found = []
    for number, voter_id, voter in session.execute(query):
        name = f"{fold(full_name(voter))} {joined(voter.last_name + voter.first_name)}"
        if voter_id == wanted or (parts and all(part in name for part in parts)):
            found.append(number)
    return found


def _of_mailing(query: Query, mailing_id: int) -> Query:
    """The packets of a mailing, each with its ballot where it holds one."""
    joined_to = query.select_from(Packet).outerjoin(Ballot, Packet.ballot_number == Ballot.number)
    return joined_to.where(Packet.mailing_id == mailing_id)
