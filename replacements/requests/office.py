"""Which elections there are, and which rules are in force in each: loading the office's file, and an official's
adoption of it; closing an election.

Several elections may be open at once, each with rules of its own. A change of an election's rules is in force from its
adoption; until then the rules that were adopted before go on. Nothing is voided under rules that no official has
adopted. What was in force is kept, whole, with its SHA-256.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots import ledger
from replacements.rules.calendar import local, return_limit
from replacements.rules.office import Rules, parse_rules, sha256_of
from replacements.store.tables import AdoptedRules, Election, LedgerEntry, Mailing, Packet

# Common practice: a challenged ballot is cured, and the result certified, within some days after the last ballot that
# can count. Mail about the election comes for as long; afterwards nobody asks for another of its ballots.
OVER_AFTER = timedelta(days=14)
CLOSED, REOPENED = "election_closed", "election_reopened"


@dataclass(frozen=True, slots=True)
class Closed:
    """An official closed the election. Times are aware."""

    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class InForce:
    """The rules in force in an election and who answers for them. `several`: more than one election is open, so that
    whoever reads of this one must be told which it is."""

    rules: Rules
    election_id: str
    sha256: str
    adopted: bool
    adopted_by: str = ""
    adopted_at: datetime | None = None
    closed: Closed | None = None
    several: bool = False

    @property
    def name(self) -> str:
        """The election as people tell it from others: `General election, November 3, 2026`."""
        day = self.rules.election.date
        return f"{self.rules.election.name}, {day:%B} {day.day}, {day.year}"


class NotClosed(Exception):
    """An election cannot be closed, or opened again, as it stands; the text says why."""


def election_id_of(rules: Rules) -> str:
    """A short name of the election that stays the same when its rules change: date and name."""
    words = "-".join("".join(c if c.isalnum() else " " for c in rules.election.name.lower()).split())
    return f"{rules.election.date.isoformat()}-{words}"


def load(session: Session, source: str, *, at: datetime) -> InForce:
    """Take a rules file's text as the newest rules of its election, not yet adopted. Raises RulesError.

    What was adopted for this election before, and every other election, goes on as it was.
    """
    rules = parse_rules(source)
    election_id = election_id_of(rules)
    if session.get(Election, election_id) is None:
        session.add(Election(id=election_id, name=rules.election.name, held_on=rules.election.date, created_at=at))
        session.flush()
    newest = _newest(session, election_id)
    if newest is None or newest.sha256 != sha256_of(source):
        newest = AdoptedRules(election_id=election_id, sha256=sha256_of(source), source=source, loaded_at=at)
        session.add(newest)
        session.flush()
    return _as_loaded(newest)


def adopt(session: Session, *, official: str, by: str, at: datetime, election_id: str | None = None) -> InForce:
    """Record that `official` adopted the newest rules of an election (default: those that were loaded last of all).
    `by` is the account that recorded it. From now on they are in force there; what was decided before stays.

    Raises LookupError where no rules are loaded, ValueError where no official is named.
    """
    newest = _newest(session, election_id)
    if newest is None:
        raise LookupError("No rules are loaded. Load the office's rules file first.")
    if not official.strip():
        raise ValueError("Name the official who adopts the rules.")
    if newest.adopted_by is None:
        newest.adopted_by, newest.adopted_at = official.strip(), at
        ledger.append(
            session,
            event="rules_adopted",
            election_id=newest.election_id,
            by=by,
            at=at,
            details={"official": official.strip(), "sha256": newest.sha256},
        )
    return _as_loaded(newest)


def known(session: Session, *, at: datetime | None = None) -> tuple[InForce, ...]:
    """Every election with the rules that hold in it: the newest that were adopted, else the newest that were loaded.
    In the order of their days. `at`: which elections are open, as of then (default: now)."""
    at = at or datetime.now(UTC)
    found = [
        InForce(
            _rules(session, row),
            row.election_id,
            row.sha256,
            row.adopted_by is not None,
            row.adopted_by or "",
            row.adopted_at,
            _closed(row),
        )
        for row in _holding(session)
    ]
    several = sum(is_open(force, at=at) for force in found) > 1
    if several:
        found = [replace(force, several=True) for force in found]
    return tuple(sorted(found, key=lambda force: (force.rules.election.date, force.election_id)))


def offered(
    session: Session, *, at: datetime | None = None, among: tuple[InForce, ...] | None = None
) -> tuple[InForce, ...]:
    """The elections that a new request may be about, in the order of their days: adopted, not closed, not over.
    `among`: all that are `known` at that moment, where they are at hand.

    Where there is none (before the first adoption, or after the last election), the one whose rules were loaded last;
    empty before any were.
    """
    at = at or datetime.now(UTC)
    return _offered(session, known(session, at=at) if among is None else among, at)


def in_force(session: Session, *, at: datetime | None = None) -> InForce | None:
    """What holds where nothing names an election: the next one of those that are open, by its day; the last one where
    all have been held. None before any rules were loaded."""
    at = at or datetime.now(UTC)
    return next_of(offered(session, at=at), at=at)


def of(session: Session, election_id: str, *, at: datetime | None = None) -> InForce | None:
    """The rules in force in one election, open or not."""
    return next((force for force in known(session, at=at) if force.election_id == election_id), None)


def next_of(elections: Sequence[InForce], *, at: datetime) -> InForce | None:
    """The first of these that is still to be held; the last one where all have been."""
    coming = [force for force in elections if force.rules.election.date >= local(force.rules, at).date()]
    return min(coming, key=_day) if coming else max(elections, key=_day, default=None)


def loaded_last(session: Session, election_id: str) -> InForce | None:
    """The newest rules of an election, which may wait for their adoption while others are in force."""
    newest = _newest(session, election_id)
    return None if newest is None else _as_loaded(newest)


def version(session: Session, sha256: str) -> Rules | None:
    """The rules that have this SHA-256, whether they are in force or were once."""
    row = session.execute(_VERSIONS.where(AdoptedRules.sha256 == sha256).limit(1)).first()
    return None if row is None else _rules(session, _Row(*row))


def is_over(rules: Rules, *, at: datetime) -> bool:
    """Whether an election is over by its own dates: OVER_AFTER days after the last moment at which any of its ballots,
    an overseas voter's too, can still count."""
    last = max(return_limit(rules), return_limit(rules, overseas=True))
    return at > last + OVER_AFTER


def is_open(force: InForce, *, at: datetime) -> bool:
    """Whether new requests may be about this election."""
    return force.adopted and force.closed is None and not is_over(force.rules, at=at)


def close(session: Session, election_id: str, *, official: str, by: str, at: datetime) -> InForce:
    """Record that an official closes an election: no new request is about it, nothing more is issued in it; all of it
    stays readable. Raises NotClosed where packets of it still wait for the post."""
    force = _to_change(session, election_id, official, at)
    if force.closed is not None:
        return force
    waiting = session.scalar(
        select(func.count())
        .select_from(Packet)
        .join(Mailing, Packet.mailing_id == Mailing.id)
        .where(Mailing.election_id == election_id, Packet.state.in_(("queued", "frozen")))
    )
    if waiting:
        raise NotClosed(f"{waiting} packets of this election wait for the post. Mail them, or pull them, first.")
    _record(session, CLOSED, election_id, official, by, at)
    return replace(force, closed=Closed(official.strip(), at))


def reopen(session: Session, election_id: str, *, official: str, by: str, at: datetime) -> InForce:
    """Record that an official opens a closed election again. Raises NotClosed."""
    force = _to_change(session, election_id, official, at)
    if force.closed is not None:
        _record(session, REOPENED, election_id, official, by, at)
    return replace(force, closed=None)


def _to_change(session: Session, election_id: str, official: str, at: datetime) -> InForce:
    force = of(session, election_id, at=at)
    if force is None:
        raise NotClosed(f"There is no election {election_id!r}.")
    if not official.strip():
        raise NotClosed("Name the official who decides this.")
    return force


def _record(session: Session, event: str, election_id: str, official: str, by: str, at: datetime) -> None:
    ledger.append(session, event=event, election_id=election_id, by=by, at=at, details={"official": official.strip()})


def _closed(row: _Holding) -> Closed | None:
    """Whether an election is closed: what the ledger says last of it counts."""
    if row.event != CLOSED or row.at is None or row.details is None:
        return None
    return Closed(str(json.loads(row.details)["official"]), datetime.fromisoformat(row.at))


def _offered(session: Session, elections: tuple[InForce, ...], at: datetime) -> tuple[InForce, ...]:
    found = tuple(force for force in elections if is_open(force, at=at))
    if found or not elections:
        return found
    newest = _newest(session)
    left = [force for force in elections if newest is not None and force.election_id == newest.election_id]
    going = [force for force in elections if force.closed is None]
    if left and (left[0].closed is None or not going):
        return (left[0],)
    return (max(going, key=_day),)


def _day(force: InForce) -> tuple[date, str]:
    return force.rules.election.date, force.election_id


class _Row(NamedTuple):
    """A version of an election's rules, without its text."""

    id: int
    election_id: str
    sha256: str
    adopted_by: str | None
    adopted_at: datetime | None


class _Holding(NamedTuple):
    """The same, with what the ledger says last of its being closed; None where it says nothing."""

    id: int
    election_id: str
    sha256: str
    adopted_by: str | None
    adopted_at: datetime | None
    event: str | None
    at: str | None
    details: str | None


_VERSIONS = select(
    AdoptedRules.id, AdoptedRules.election_id, AdoptedRules.sha256, AdoptedRules.adopted_by, AdoptedRules.adopted_at
)
# Few entries are about no ballot, and those are found by the index on ballot numbers.
_CLOSINGS = (
    select(LedgerEntry.election_id, func.max(LedgerEntry.seq).label("seq"))
    .where(LedgerEntry.ballot_number.is_(None), LedgerEntry.event.in_((CLOSED, REOPENED)))
    .group_by(LedgerEntry.election_id)
    .subquery()
)
# Every page asks for this, so it is one statement: each version, and what the ledger says last of its election.
_ALL_VERSIONS = (
    _VERSIONS.add_columns(LedgerEntry.event, LedgerEntry.at, LedgerEntry.details)
    .outerjoin(_CLOSINGS, _CLOSINGS.c.election_id == AdoptedRules.election_id)
    .outerjoin(LedgerEntry, LedgerEntry.seq == _CLOSINGS.c.seq)
    .order_by(AdoptedRules.id)
)
_parsed: dict[str, Rules] = {}  # by SHA-256: the same text is the same rules


def _holding(session: Session) -> list[_Holding]:
    """For each election the version that holds in it: adopted ones go before newer ones that are only loaded."""
    rows = [_Holding(*row) for row in session.execute(_ALL_VERSIONS)]
    holding: dict[str, _Holding] = {}
    for row in rows:
        before = holding.get(row.election_id)
        if before is None or row.adopted_by is not None or before.adopted_by is None:
            holding[row.election_id] = row
    return list(holding.values())


def _rules(session: Session, row: _Row | _Holding) -> Rules:
    rules = _parsed.get(row.sha256)
    if rules is None:
        source = session.scalars(select(AdoptedRules.source).where(AdoptedRules.id == row.id)).one()
        rules = _parsed[row.sha256] = parse_rules(source)
    return rules


def _as_loaded(row: AdoptedRules) -> InForce:
    rules = _parsed.get(row.sha256)
    if rules is None:
        rules = _parsed[row.sha256] = parse_rules(row.source)
    return InForce(rules, row.election_id, row.sha256, row.adopted_by is not None, row.adopted_by or "", row.adopted_at)


def _newest(session: Session, election_id: str | None = None) -> AdoptedRules | None:
    found = select(AdoptedRules).order_by(AdoptedRules.id.desc()).limit(1)
    if election_id is not None:
        found = found.where(AdoptedRules.election_id == election_id)
    return session.scalars(found).first()
