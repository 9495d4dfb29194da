"""Candidates side by side, as data for the table that a clerk compares them in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import false, select
from sqlalchemy.orm import Session

from replacements.store.tables import Request, VoterChange, VoterRow
from replacements.web.showing import WITHHELD
from replacements.web.waterfall import Fall, falls

MOST_SHOWN = 4
MOST_CHANGES = 6  # of one voter
# What tells namesakes apart: shown of each where several fit, whether or not the message says anything of it.
TELLING = ("birth_date", "address")
_DIFFERS = ("differs", "other ", "slip", "typo")
_FULL_BAR = 100  # the bar's width for the strongest piece of evidence, in the drawing's own units


@dataclass(frozen=True, slots=True)
class Piece:
    """One fact of one candidate: what is on record, how it compares, how much it weighs (bits), and a bar's width.
    `against`: it speaks against this voter; `differs`: it is not the same, though it may still speak for the voter."""

    on_record: str
    level: str
    weight: float | None
    width: float
    against: bool
    differs: bool


@dataclass(frozen=True, slots=True)
class Shown:
    """A candidate as shown. `title` is the name, or a letter where names are withheld."""

    title: str
    voter_id: str
    weight: float
    chosen: bool
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One fact of every candidate: its code, a piece or None per candidate. `apart`: the records differ in it."""

    fact: str
    pieces: tuple[Piece | None, ...]
    apart: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """The table: candidates across, facts down; and how each one's weight adds up."""

    candidates: tuple[Shown, ...]
    rows: tuple[Row, ...]
    left_out: int
    falls: tuple[Fall, ...] = ()


def full_name(voter: VoterRow) -> str:
    return " ".join(x for x in (voter.first_name, voter.middle_name, voter.last_name, voter.suffix) if x)


def address_line(voter: VoterRow) -> str:
    place = " ".join(x for x in (voter.state, voter.zip) if x)
    return ", ".join(x for x in (voter.street, voter.unit, voter.city, place) if x)


def day_in_full(text: str) -> str:
    """`Sep 30, 1964`; what is no full date stays as the roll has it."""
    try:
        found = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{found:%b} {found.day}, {found.year}"


def _on_record(fact: str, voter: VoterRow | None) -> str:
    if voter is None:
        return ""
    post = ", ".join(x for x in (voter.mail_street, voter.mail_unit, voter.mail_city, voter.mail_zip) if x)
    return {
        "name": full_name(voter),
        "first_name": voter.first_name,
        "middle_name": voter.middle_name,
        "last_name": voter.last_name,
        "suffix": voter.suffix,
        "birth_date": day_in_full(voter.birth_date),
        "age": day_in_full(voter.birth_date),
        "address": address_line(voter),
        "household": address_line(voter),
        "mail_address": post,
        "voter_id": voter.voter_id,
        "email": voter.email,
        "phone": voter.phone,
        "former_name": voter.former_last_name,
        "status": voter.status,
    }.get(fact, "")


def _notes(voter: VoterRow | None) -> tuple[str, ...]:
    if voter is None:
        return ("no longer on the roll",)
    notes = []
    if voter.status != "active":
        notes.append(f"status: {voter.status}")
    if voter.overseas:
        notes.append("overseas or military")
    if voter.protected:
        notes.append("address is confidential: tell nobody")
    if voter.id_required:
        notes.append("copy of an identification required")
    return tuple(notes)


def _looked_up(
    session: Session, voters: Sequence[str], *, personal: bool
) -> tuple[dict[str, VoterRow], dict[str, list[str]]]:
    """The lines of these voters; and what newer rolls changed that a ballot depends on, for each the latest first."""
    if not voters:
        return {}, {}
    query = select(VoterRow, VoterChange).where(VoterRow.voter_id.in_(voters)).order_by(VoterChange.id.desc())
    rows: dict[str, VoterRow] = {}
    changes: dict[str, list[str]] = {voter_id: [] for voter_id in voters}
    # Who sees nothing personal is not shown the changes either.
    belongs = VoterChange.voter_id == VoterRow.voter_id if personal else false()
    for row, one in session.execute(query.outerjoin(VoterChange, belongs)):
        rows[row.voter_id] = row
        if one is not None and len(changes[row.voter_id]) < MOST_CHANGES:
            told = f"{one.field} {one.was or 'none'} until {one.at:%Y-%m-%d}, then {one.became or 'none'}"
            changes[row.voter_id].append(told)
    return rows, changes


def comparison(session: Session, request: Request, *, personal: bool) -> Comparison:
    """The candidates of a request; without `personal`, evidence words and weights only, under letters."""
    found: list[dict[str, Any]] = request.judged.get("candidates", [])
    kept = found[:MOST_SHOWN]
    ids = [c["voter_id"] for c in kept]
    on_roll, changes = _looked_up(session, ids, personal=personal)
    voters = [on_roll.get(voter_id) for voter_id in ids]
    strongest = max((abs(w) for c in kept for w in c.get("weights", {}).values()), default=0.0) or 1.0
    facts = list(dict.fromkeys(fact for c in kept for fact in (*c.get("evidence", {}), *c.get("weights", {}))))
    if personal and len(kept) > 1:
        facts += [fact for fact in TELLING if fact not in facts]
    rows = []
    for fact in facts:
        pieces = tuple(_piece(c, fact, v, strongest, personal) for c, v in zip(kept, voters, strict=True))
        told = {_on_record(fact, voter) for voter in voters}
        rows.append(Row(fact, pieces, apart=len(told) > 1))
    candidates = tuple(
        Shown(
            (full_name(voter) if voter else candidate["voter_id"]) if personal else f"Candidate {chr(65 + place)}",
            candidate["voter_id"] if personal else "",
            candidate.get("weight", 0.0),
            candidate["voter_id"] == request.voter_id,
            (*_notes(voter), *changes.get(candidate["voter_id"], ())) if personal else (),
        )
        for place, (candidate, voter) in enumerate(zip(kept, voters, strict=True))
    )
    drawn = falls(kept, [candidate.title for candidate in candidates])
    return Comparison(candidates, tuple(rows), len(found) - len(kept), drawn)


def _piece(
    candidate: dict[str, Any], fact: str, voter: VoterRow | None, strongest: float, personal: bool
) -> Piece | None:
    level, weight = candidate.get("evidence", {}).get(fact), candidate.get("weights", {}).get(fact)
    on_record = _on_record(fact, voter) if personal else WITHHELD
    if level is None and weight is None:
        return Piece(on_record, "", None, 0.0, against=False, differs=False) if personal and on_record else None
    against = weight is not None and weight < 0
    differs = against or any(word in (level or "") for word in _DIFFERS)
    return Piece(on_record, level or "", weight, round(_FULL_BAR * abs(weight or 0.0) / strongest, 1), against, differs)
