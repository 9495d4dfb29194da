"""Reconciliation: every ballot that was issued is somewhere, and the ledger and the table of ballots agree where.

Counted twice, independently: once from the events on the ledger, once from the table. By style and in total:
issued = out + undeliverable + returned + accepted + challenged + suspended + voided, and ballots ended by a
replacement = replacements issued. Every difference is named to the ballot; none is absorbed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.life import CANCELLED, ORIGINAL_FIRST
from replacements.ballots.rebuilding import rebuild
from replacements.store.tables import BALLOT_STATES, LIVE_STATES, Ballot

_NO_LONGER_STANDS = (CANCELLED, ORIGINAL_FIRST)


@dataclass(frozen=True, slots=True)
class Count:
    """Ballots of one style, or of all. `issued` and `replacements` are from the ledger, the others from the table.

    `replaced`: ballots that a standing replacement ended (voided or suspended). `replacements`: standing replacements,
    counted under the style of the ballot that each replaces, so that the two can be compared style by style.
    """

    issued: int = 0
    out: int = 0
    undeliverable: int = 0
    returned: int = 0
    accepted: int = 0
    challenged: int = 0
    suspended: int = 0
    voided: int = 0
    replaced: int = 0
    replacements: int = 0

    @property
    def adds_up(self) -> bool:
        places = self.out + self.undeliverable + self.returned + self.accepted + self.challenged
        return self.issued == places + self.suspended + self.voided and self.replaced == self.replacements


@dataclass(frozen=True, slots=True)
class Difference:
    """A ballot about which ledger and table, or a ballot and its replacement, do not agree."""

    number: str
    text: str


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """`styles` in order of their names; `agrees` only if every count adds up and no ballot differs."""

    styles: Mapping[str, Count]
    total: Count
    differences: tuple[Difference, ...]

    @property
    def agrees(self) -> bool:
        return not self.differences and self.total.adds_up and all(count.adds_up for count in self.styles.values())


@dataclass(slots=True)
class _Found:
    """What one side knows of a ballot."""

    style: str
    state: str
    replaces: str | None = None
    ended_because: str | None = None
    voter_id: str | None = None
    ends: list[str] = field(default_factory=list)  # ledger only: the replacements that ended it, one after the other


def reconcile(session: Session, election_id: str) -> Reconciliation:
    """Count an election's ballots from the ledger and from the table, and compare. Reads only."""
    session.flush()
    by_events, differences = _from_ledger(session, election_id)
    by_table = _from_table(session, election_id)
    for number in sorted(by_events.keys() | by_table.keys()):
        said, is_now = by_events.get(number), by_table.get(number)
        if said is None and is_now is not None:
            differences.append(Difference(number, f"is {is_now.state} on record, but no event on the ledger issued it"))
        elif is_now is None and said is not None:
            differences.append(Difference(number, f"is {said.state} by the ledger, but is not on record"))
        elif said is not None and is_now is not None:
            differences += [Difference(number, text) for text in _between(said, is_now)]
    pairs_by_events, pairs_by_table = _pairs(by_events), _pairs(by_table)
    for number, found in by_table.items():
        original = by_table.get(found.replaces or "")
        if original is not None and found.state in LIVE_STATES and original.state in LIVE_STATES:
            text = f"replaces {found.replaces}, but {found.replaces} is {original.state}"
            differences.append(Difference(number, text))
    replaced = {original for original, _ in pairs_by_table} | {
        number
        for number, found in by_events.items()
        if (ends := _replacements_of(number, found, by_events)) and not _gave_way(by_events.get(ends[-1]))
        if number in by_table and by_table[number].state not in LIVE_STATES
    }
    return _counted(by_events, by_table, replaced, pairs_by_events, differences)


def _counted(
    by_events: Mapping[str, _Found],
    by_table: Mapping[str, _Found],
    replaced: Iterable[str],
    pairs: Iterable[tuple[str, str]],
    differences: list[Difference],
) -> Reconciliation:
    issued = Counter(found.style for found in by_events.values())
    states = Counter((found.style, found.state) for found in by_table.values())
    ended = Counter(by_table[number].style for number in replaced if number in by_table)
    followed = Counter(by_events[original].style for original, _ in pairs if original in by_events)

    def count(styles: list[str]) -> Count:
        places = {state: sum(states[style, state] for style in styles) for state in BALLOT_STATES}
        out = places.pop("issued")
        return Count(
            issued=sum(issued[style] for style in styles),
            out=out,
            replaced=sum(ended[style] for style in styles),
            replacements=sum(followed[style] for style in styles),
            **places,
        )

    names = sorted({*issued, *(style for style, _ in states)})
    differences.sort(key=lambda difference: (difference.number, difference.text))
    return Reconciliation({name: count([name]) for name in names}, count(names), tuple(differences))


def _pairs(ballots: Mapping[str, _Found]) -> set[tuple[str, str]]:
    """(original, replacement) where the replacement still ends the original, as far as this side knows."""
    return {
        (found.replaces, number)
        for number, found in ballots.items()
        if found.replaces is not None and not _gave_way(found)
        if found.replaces not in ballots or ballots[found.replaces].state not in LIVE_STATES
    }


def _replacements_of(number: str, found: _Found, by_events: Mapping[str, _Found]) -> list[str]:
    """The replacements that ended a ballot. Not among them: another ballot that was accepted, and so ended a suspended
    one. A replacement whose own entry is gone stays, so that the counts show it."""
    return [end for end in found.ends if end not in by_events or by_events[end].replaces == number]


def _gave_way(found: _Found | None) -> bool:
    """Whether a replacement was cancelled, or voided because the original was back first."""
    return found is not None and found.state == "voided" and found.ended_because in _NO_LONGER_STANDS


def _between(said: _Found, is_now: _Found) -> Iterable[str]:
    if said.state != is_now.state:
        yield f"is {is_now.state} on record, but {said.state} by the ledger"
    if said.style != is_now.style:
        yield f"has style {is_now.style} on record, but {said.style} by the ledger"
    if said.replaces != is_now.replaces:
        yield f"replaces {is_now.replaces or 'none'} on record, but {said.replaces or 'none'} by the ledger"
    if said.voter_id != is_now.voter_id:
        yield "belongs to one voter on record, and to another by the ledger"


def _from_table(session: Session, election_id: str) -> dict[str, _Found]:
    rows = session.execute(
        select(Ballot.number, Ballot.style, Ballot.state, Ballot.replaces, Ballot.void_reason, Ballot.voter_id)
        .where(Ballot.election_id == election_id)
        .execution_options(yield_per=5_000)
    )
    return {row.number: _Found(row.style, row.state, row.replaces, row.void_reason, row.voter_id) for row in rows}


def _from_ledger(session: Session, election_id: str) -> tuple[dict[str, _Found], list[Difference]]:
    """Where each ballot is after all its events, from nothing but the events; what cannot have happened is named."""
    rebuilt = rebuild(session, election_id)
    found = {
        number: _Found(ballot.style, ballot.state, ballot.replaces, ballot.void_reason, ballot.voter_id, ballot.ends)
        for number, ballot in rebuilt.ballots.items()
    }
    wrong = [Difference(one.number, f"by entry {one.seq} of the ledger: {one.text}") for one in rebuilt.wrong]
    return found, wrong
