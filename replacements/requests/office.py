"""Which rules are in force: loading the office's file, and an official's adoption of it.

Nothing is voided under rules that no official has adopted. What was in force is kept, whole, with its SHA-256.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots import ledger
from replacements.rules.office import Rules, parse_rules, sha256_of
from replacements.store.tables import AdoptedRules, Election


@dataclass(frozen=True, slots=True)
class InForce:
    """The rules in force and who answers for them."""

    rules: Rules
    election_id: str
    sha256: str
    adopted: bool
    adopted_by: str = ""
    adopted_at: datetime | None = None


def election_id_of(rules: Rules) -> str:
    """A short name of the election that stays the same when its rules change: date and name."""
    words = "-".join("".join(c if c.isalnum() else " " for c in rules.election.name.lower()).split())
    return f"{rules.election.date.isoformat()}-{words}"


def load(session: Session, source: str, *, at: datetime) -> InForce:
    """Take a rules file's text as the newest rules of its election, not yet adopted. Raises RulesError."""
    rules = parse_rules(source)
    election_id = election_id_of(rules)
    if session.get(Election, election_id) is None:
        session.add(Election(id=election_id, name=rules.election.name, held_on=rules.election.date, created_at=at))
        session.flush()
    newest = _newest(session)
    if newest is None or newest.sha256 != sha256_of(source) or newest.election_id != election_id:
        newest = AdoptedRules(election_id=election_id, sha256=sha256_of(source), source=source, loaded_at=at)
        session.add(newest)
        session.flush()
    return _as_in_force(newest)


def adopt(session: Session, *, official: str, by: str, at: datetime) -> InForce:
    """Record that `official` adopted the loaded rules. `by` is the account that recorded it.

    Raises LookupError where no rules are loaded, ValueError where no official is named.
    """
    newest = _newest(session)
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
    return _as_in_force(newest)


def in_force(session: Session) -> InForce | None:
    """The newest rules, adopted or not; None before any were loaded."""
    newest = _newest(session)
    return None if newest is None else _as_in_force(newest)


_parsed: dict[str, Rules] = {}  # by SHA-256: the same text is the same rules


def _as_in_force(row: AdoptedRules) -> InForce:
    rules = _parsed.get(row.sha256)
    if rules is None:
        rules = _parsed[row.sha256] = parse_rules(row.source)
    return InForce(rules, row.election_id, row.sha256, row.adopted_by is not None, row.adopted_by or "", row.adopted_at)


def _newest(session: Session) -> AdoptedRules | None:
    return session.scalars(select(AdoptedRules).order_by(AdoptedRules.id.desc()).limit(1)).first()
