"""All that can be found wrong with the books, in one look: the chain, the heads signed before, every ballot's state.

Each finding names an entry or a ballot. `trouble` is empty only where nothing at all was found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from replacements.ballots import heads, rebuilding
from replacements.ballots.heads import Head
from replacements.ballots.ledger import Verdict, verify
from replacements.ballots.reconciling import reconcile
from replacements.store.tables import Election


@dataclass(frozen=True, slots=True)
class Finding:
    """What is wrong. `entry` and `ballot` name it, as far as it has a name: 0 and "" where it has not."""

    text: str
    entry: int = 0
    ballot: str = ""


@dataclass(frozen=True, slots=True)
class Examined:
    """`verdict` is of the chain, held against the signed heads too."""

    verdict: Verdict
    trouble: tuple[Finding, ...]


def examine(session: Session, *, signed: Sequence[Head] = (), key: str | None = None) -> Examined:
    """Examine everything: the chain against the heads in `signed` (by the key whose public half is `key`); for every
    election the states that the ledger gives against the tables, and the counts. Reads only.

    Raises HeadTrouble for a head that another key signed.
    """
    found: list[Finding] = []
    verdict = verify(session)
    for head in signed:
        if verdict.broken is not None:
            break
        verdict = heads.compare(session, head, key=key)
    if verdict.broken is not None:
        found.append(Finding(verdict.broken.text, verdict.broken.since or verdict.broken.seq))
    try:
        for election in session.scalars(select(Election.id).order_by(Election.id)).all():
            found += _states(session, election)
    except (DBAPIError, UnicodeError):  # bytes that are no text
        session.rollback()
        found.append(Finding("The states cannot be derived: the database cannot hand out all entries or ballots."))
    return Examined(verdict, tuple(found))


def _states(session: Session, election: str) -> list[Finding]:
    rebuilt = rebuilding.rebuild(session, election)
    found = [Finding(f"Entry {one.seq}: {one.text}", one.seq, one.number) for one in rebuilt.wrong]
    differs = rebuilding.compare(session, election, rebuilt)
    found += [Finding(f"Ballot {one.number}: {one.text}", one.seq, one.number) for one in differs]
    if not found and not reconcile(session, election).agrees:
        found.append(Finding(f"The counts of {election} do not add up."))
    return found
