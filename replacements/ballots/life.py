"""A ballot's life: every change of a ballot's state is one function here, checked against one table, `ALLOWED`.

Each function locks all of the voter's ballots (in the order of their numbers, so that nobody waits in a ring), checks,
changes, and appends to the ledger, all in the caller's transaction. What may not happen raises NotPossible, with a text
for the person who asked. Whether something *should* happen (who asks, which reason, two people) is not decided here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session, aliased

from replacements.ballots.ledger import Event, append, append_many, locked_end
from replacements.ballots.numbers import free_number
from replacements.store.tables import LIVE_STATES, Ballot, LedgerEntry, Packet, VoterRow

# From which states each event may happen. `mailed` keeps the state; `reinstated` goes back to the state before.
ALLOWED: dict[str, frozenset[str]] = {
    "mailed": frozenset({"issued"}),
    "undeliverable": frozenset({"issued"}),
    "replaced": frozenset({"issued", "undeliverable"}),
    "returned": frozenset({"issued", "undeliverable", "suspended"}),
    "accepted": frozenset({"returned", "suspended"}),
    "challenged": frozenset({"returned"}),
    "cured": frozenset({"challenged"}),
    "voided": frozenset({"issued", "undeliverable", "returned", "challenged", "suspended"}),
    "taken back": frozenset({"issued"}),
    "reinstated": frozenset({"suspended", "voided"}),
}

_IN_WORDS = {
    "issued": "has been issued and is not back",
    "undeliverable": "was brought back by the post",
    "returned": "has come back",
    "accepted": "has come back and is accepted",
    "challenged": "has come back and is challenged",
    "suspended": "is suspended, because a replacement was issued",
    "voided": "is void",
}
_CANNOT = {
    "mailed": "it cannot be mailed",
    "undeliverable": "it cannot be recorded as undeliverable",
    "replaced": "it cannot be replaced",
    "returned": "it cannot be taken in",
    "accepted": "it cannot be accepted",
    "challenged": "it cannot be challenged",
    "cured": "there is nothing to cure",
    "voided": "it cannot be voided",
    "taken back": "it cannot be taken back",
    "reinstated": "it cannot be reinstated",
}
_ASKED = aliased(Ballot)
_LOCKED = select(Ballot).order_by(Ballot.number).execution_options(populate_existing=True).with_for_update(of=Ballot)
_LOCKED_BY_NUMBER = _LOCKED.join(
    _ASKED, (_ASKED.voter_id == Ballot.voter_id) & (_ASKED.election_id == Ballot.election_id)
).where(_ASKED.number == bindparam("number"))
_LOCKED_OF_VOTER = _LOCKED.where(Ballot.voter_id == bindparam("voter"), Ballot.election_id == bindparam("election"))
CANCELLED = "cancelled"
ORIGINAL_FIRST = "original_returned_first"
REPLACEMENT_COUNTED = "replacement_accepted"
_WHILE_VOID = ("voided", "returned_after_void", "return_undone")


class NotPossible(Exception):
    """The ballot's state does not allow it. The text says so plainly, with ballot numbers and dates, never names."""


def reissue(
    session: Session,
    *,
    number: str,
    cause: str,
    by: str,
    at: datetime,
    prefix: str,
    original: str = "void",
    style: str | None = None,
    details: Mapping[str, Any] | None = None,
    among: Sequence[Ballot] = (),
) -> Ballot:
    """Void (or suspend) a live ballot that is out, and issue its replacement. Returns the replacement, not yet mailed.

    `original` is "void" or "suspend", as the office's rules say. `style` overrides the voter's present ballot style;
    without it and without a voter on the roll the old ballot's style stays. `among`: what `locked_of_voter` gave in
    this transaction, where it was asked already.
    """
    if original not in ("void", "suspend"):
        raise ValueError(f"original must be 'void' or 'suspend', not {original!r}")
    old = next((ballot for ballot in among if ballot.number == number), None) or locked(session, number)
    _check(old, "replaced")
    before, old_style = old.state, old.style
    new_style = style or session.scalar(select(VoterRow.style).where(VoterRow.voter_id == old.voter_id)) or old_style
    old.state = "voided" if original == "void" else "suspended"
    old.void_reason = cause if original == "void" else None
    end = locked_end(session)  # the old one is dead before the new one lives: the database holds them to one
    replacement = Ballot(
        number=free_number(session, prefix),
        election_id=old.election_id,
        voter_id=old.voter_id,
        style=new_style,
        state="issued",
        replaces=number,
    )
    session.add(replacement)
    more = dict(details or {})
    dead = {**more, "from": before, "reason": cause, "replaced_by": replacement.number, "style": old_style}
    born = {**more, "reason": cause, "replaces": number, "style": new_style}
    events = [_event(old, old.state, by, at, dead), _event(replacement, "reissued", by, at, born)]
    append_many(session, events, after=end)
    return replacement


def take_back(session: Session, *, replacement: str, reason: str, by: str, at: datetime) -> Ballot:
    """Cancel a replacement whose packet has not been closed into a mailing, and reinstate the original, as it was.

    An original that came back while it was void lies at the return desk, set aside: it is reinstated as returned.
    Returns the original. The replacement's packet, if one is queued, is the caller's to pull.
    """
    new = locked(session, replacement)
    if new.replaces is None:
        raise NotPossible(f"Ballot {replacement} is not a replacement; there is nothing to take back.")
    _check(new, "taken back")
    packets = session.scalars(
        select(Packet)
        .where(Packet.ballot_number == replacement)
        .with_for_update()
        .execution_options(populate_existing=True)  # what was read before may have been closed meanwhile
    )
    if new.mailed_on is not None or any(packet.state in ("frozen", "mailed") for packet in packets):
        raise NotPossible(f"Ballot {replacement} has gone into a closed mailing; it can no longer be taken back.")
    old = session.get_one(Ballot, new.replaces)
    _check(old, "reinstated")
    before, state_then = _state_before_replacement(session, old, replacement), old.state
    came = _came_while_void(session, old)
    if came is not None:
        before, old.returned_on = "returned", came
    new.state, new.void_reason = "voided", CANCELLED
    session.flush()
    old.state, old.void_reason = before, None
    session.flush()
    text = {"note": reason}
    record(
        session,
        new,
        "voided",
        by,
        at,
        {**text, "from": "issued", "reason": CANCELLED, "reinstated": old.number, "style": new.style},
    )
    record(
        session,
        old,
        "reinstated",
        by,
        at,
        {**text, "from": state_then, "to": before, "instead_of": replacement, "style": old.style},
    )
    return old


def void(session: Session, *, number: str, reason: str, by: str, at: datetime) -> Ballot:
    """Void a ballot without a replacement: wrong style, cancelled, voted in person, rejected."""
    ballot = locked(session, number)
    _check(ballot, "voided")
    _void(session, ballot, reason, by, at)
    return ballot


def mark_mailed(session: Session, *, numbers: Sequence[str], on: date, by: str, at: datetime) -> None:
    """Record that these ballots went out on that day: all of them, or none where one cannot have."""
    wanted = sorted(set(numbers))
    found: dict[str, Ballot] = {}
    for start in range(0, len(wanted), 500):
        some = wanted[start : start + 500]
        rows = session.scalars(
            select(Ballot)
            .where(Ballot.number.in_(some))
            .order_by(Ballot.number)
            .with_for_update()
            .execution_options(populate_existing=True)
        )
        found.update((ballot.number, ballot) for ballot in rows)
    for number in wanted:
        if number not in found:
            raise NotPossible(f"There is no ballot {number} on record; it cannot be mailed.")
        _check(found[number], "mailed")
        if found[number].mailed_on is not None:
            raise NotPossible(f"Ballot {number} was mailed on {_day(found[number].mailed_on)}; it goes out once.")
    for number in wanted:
        found[number].mailed_on = on
    append_many(session, [_event(found[number], "mailed", by, at, {"on": on.isoformat()}) for number in wanted])


def mark_undeliverable(
    session: Session, *, number: str, by: str, at: datetime, details: Mapping[str, Any] | None = None
) -> Ballot:
    """The post brought the packet back. The ballot stays live, and may be replaced. `details`: more for the ledger."""
    ballot = locked(session, number)
    _check(ballot, "undeliverable")
    ballot.state = "undeliverable"
    more = {**(details or {}), "from": "issued", "style": ballot.style}
    record(session, ballot, "undeliverable", by, at, more)
    return ballot


def take_in(
    session: Session, *, number: str, on: date, by: str, at: datetime, details: Mapping[str, Any] | None = None
) -> Ballot:
    """A ballot came back: it is taken in for checking. `details`: more for the ledger.

    A suspended original that is back before its replacement becomes the voter's live ballot again, and the replacement
    is voided in the same transaction (its packet is pulled if it still waits). Raises NotPossible if the replacement
    was first.
    """
    ballot = locked(session, number)
    _check(ballot, "returned")
    before = ballot.state
    instead = _give_way(session, ballot, by, at) if before == "suspended" else {}
    ballot.state, ballot.returned_on = "returned", on
    session.flush()
    more = {**(details or {}), **instead, "from": before, "on": on.isoformat(), "style": ballot.style}
    record(session, ballot, "returned", by, at, more)
    return ballot


def accept(session: Session, *, number: str, by: str, at: datetime) -> Ballot:
    """The statement is in order: the ballot is accepted. From now on no other ballot of this voter can be.

    Where an original was suspended, the other one of the pair is voided in the same transaction.
    """
    ballot = locked(session, number)
    _check(ballot, "accepted")
    before = ballot.state
    instead = _give_way(session, ballot, by, at) if before == "suspended" else {}
    for other in _others(session, ballot):
        if other.state == "suspended":
            _void(session, other, REPLACEMENT_COUNTED, by, at, replaced_by=number)
    ballot.state = "accepted"
    session.flush()
    record(session, ballot, "accepted", by, at, {**instead, "from": before, "style": ballot.style})
    return ballot


def challenge(session: Session, *, number: str, reason: str, by: str, at: datetime) -> Ballot:
    """The statement is incomplete: the ballot waits until it is cured (or is voided as rejected)."""
    ballot = locked(session, number)
    _check(ballot, "challenged")
    ballot.state = "challenged"
    record(session, ballot, "challenged", by, at, {"from": "returned", "reason": reason, "style": ballot.style})
    return ballot


def cure(session: Session, *, number: str, by: str, at: datetime) -> Ballot:
    """What was missing is there: the ballot goes back to checking."""
    ballot = locked(session, number)
    _check(ballot, "cured")
    ballot.state = "returned"
    record(session, ballot, "cured", by, at, {"from": "challenged", "style": ballot.style})
    return ballot


def locked(session: Session, number: str) -> Ballot:
    """The ballot, with every ballot of its voter locked and read afresh. Raises NotPossible where there is none."""
    session.flush()
    found = next((b for b in session.scalars(_LOCKED_BY_NUMBER, {"number": number}).all() if b.number == number), None)
    if found is None:
        raise NotPossible(f"There is no ballot {number} on record.")
    return found


def locked_of_voter(session: Session, *, voter_id: str, election_id: str) -> Sequence[Ballot]:
    """Every ballot of a voter in an election, locked and read afresh, in the order of their numbers."""
    session.flush()
    return session.scalars(_LOCKED_OF_VOTER, {"voter": voter_id, "election": election_id}).all()


def _others(session: Session, ballot: Ballot) -> Sequence[Ballot]:
    return session.scalars(
        select(Ballot)
        .where(Ballot.voter_id == ballot.voter_id, Ballot.election_id == ballot.election_id)
        .where(Ballot.number != ballot.number)
        .order_by(Ballot.number)
        .execution_options(populate_existing=True)
    ).all()


def in_words(ballot: Ballot) -> str:
    """Where a ballot is, to go on with after its number: "came back on October 7, 2031"."""
    what = _IN_WORDS[ballot.state]
    if ballot.returned_on and ballot.state in ("returned", "accepted", "challenged"):
        what = what.replace("has come back", f"came back on {_day(ballot.returned_on)}")
    if ballot.state == "voided" and ballot.void_reason:
        what += f" ({ballot.void_reason.replace('_', ' ')})"
    return what


def _check(ballot: Ballot, event: str) -> None:
    if ballot.state not in ALLOWED[event]:
        raise NotPossible(f"Ballot {ballot.number} {in_words(ballot)}: {_CANNOT[event]}.")


def _give_way(session: Session, original: Ballot, by: str, at: datetime) -> dict[str, Any]:
    """Void the live replacement of a suspended original that is back first; raise NotPossible if it is not first."""
    for other in _others(session, original):
        if other.state in ("returned", "accepted", "challenged"):
            raise NotPossible(
                f"Ballot {original.number} {_IN_WORDS['suspended']}, and the replacement {other.number} came back "
                "first: a person must decide which one counts."
            )
        if other.state in LIVE_STATES:
            waiting = session.scalars(
                select(Packet)
                .where(Packet.ballot_number == other.number, Packet.state == "queued")
                .with_for_update()
                .execution_options(populate_existing=True)
            ).all()
            for packet in waiting:
                packet.state = "pulled"
            _void(session, other, ORIGINAL_FIRST, by, at, instead=original.number, packets_pulled=len(waiting))
            return {"instead_of": other.number}
    return {}


def _void(session: Session, ballot: Ballot, reason: str, by: str, at: datetime, **details: Any) -> None:
    before = ballot.state
    ballot.state, ballot.void_reason = "voided", reason
    session.flush()
    record(session, ballot, "voided", by, at, {**details, "from": before, "reason": reason, "style": ballot.style})


def _came_while_void(session: Session, old: Ballot) -> date | None:
    """The day on which the desk stopped this ballot, if it did so since it was last voided and did not undo it."""
    row = session.execute(
        select(LedgerEntry.event, LedgerEntry.details)
        .where(LedgerEntry.ballot_number == old.number, LedgerEntry.event.in_(_WHILE_VOID))
        .order_by(LedgerEntry.seq.desc())
        .limit(1)
    ).first()
    if row is None or row.event != "returned_after_void":
        return None
    return date.fromisoformat(json.loads(row.details)["on"])


def _state_before_replacement(session: Session, old: Ballot, replacement: str) -> str:
    entries = session.scalars(
        select(LedgerEntry)
        .where(LedgerEntry.ballot_number == old.number, LedgerEntry.event.in_(("voided", "suspended")))
        .order_by(LedgerEntry.seq.desc())
    )
    for entry in entries:
        details = json.loads(entry.details)
        if details.get("replaced_by") == replacement:
            return str(details["from"])
    raise NotPossible(f"Ballot {old.number} was not replaced by this service; what it was before is not on record.")


def _event(ballot: Ballot, event: str, by: str, at: datetime, details: Mapping[str, Any]) -> Event:
    return Event(event, ballot.election_id, by, at, ballot.number, ballot.voter_id, details)


def record(
    session: Session, ballot: Ballot, event: str, by: str, at: datetime, details: Mapping[str, Any]
) -> LedgerEntry:
    """An event of a ballot as an entry of the ledger."""
    return append(
        session,
        event=event,
        election_id=ballot.election_id,
        by=by,
        at=at,
        ballot_number=ballot.number,
        voter_id=ballot.voter_id,
        details=details,
    )


def _day(day: date | None) -> str:
    return f"{day:%B} {day.day}, {day.year}" if day else "an unknown day"
