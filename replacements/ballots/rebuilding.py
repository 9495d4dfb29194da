"""Every ballot's state, from the ledger alone: its events are played again from the first, each checked on its way.

An event that could not have happened where it stands (a ballot accepted that never came back, a state left that was not
its own) is named by its entry. `compare` then holds the result against the table of ballots, field by field: a
difference is named to the ballot.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import String, cast, select
from sqlalchemy.orm import Session

from replacements.ballots.life import ALLOWED, CANCELLED
from replacements.store.tables import BALLOT_STATES, LIVE_STATES, Ballot, LedgerEntry

ISSUED_BY = ("imported", "reissued")
# Scans that change nothing, and say in which state they found the ballot.
_SEEN_AT_THE_DESK = ("returned_after_void", "returned_again", "brought_back")
_OUT_OF_A_STATE = ("suspended", "undeliverable", "returned", "accepted", "challenged", "cured", "voided")
_CHANGE = frozenset({*_OUT_OF_A_STATE, "import_changed", "mailed", "reinstated", "return_undone"})
UNKNOWN = date.min  # a day that an entry of an older form does not say


@dataclass(slots=True)
class Derived:
    """A ballot as its events left it. `seq`: the entry that issued it, `last`: the newest one that changed it.

    A day is UNKNOWN where no entry says it.
    """

    number: str
    voter_id: str | None
    style: str
    state: str
    seq: int
    last: int
    replaces: str | None = None
    void_reason: str | None = None
    mailed_on: date | None = None
    returned_on: date | None = None
    set_aside_on: date | None = None  # it came back while it was void
    ends: list[str] = field(default_factory=list)  # the replacements that ended it, one after the other


@dataclass(frozen=True, slots=True)
class Wrong:
    """An entry that cannot be where it stands. `number` is the ballot's; `text` reads on after it."""

    seq: int
    number: str
    text: str


@dataclass(frozen=True, slots=True)
class Differs:
    """A ballot that the table shows otherwise than the ledger does. `seq`: the newest entry that changed it, or 0."""

    number: str
    text: str
    seq: int = 0


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """`entries`: how many entries were about ballots of the election."""

    ballots: Mapping[str, Derived]
    wrong: tuple[Wrong, ...]
    entries: int


def rebuild(session: Session, election_id: str) -> Rebuilt:
    """Play an election's events again. Reads the ledger only; trusts nothing that another table says."""
    session.flush()
    player = _Player()
    rows = session.execute(
        select(LedgerEntry.seq, LedgerEntry.event, LedgerEntry.ballot_number, LedgerEntry.voter_id, LedgerEntry.details)
        .where(LedgerEntry.election_id == election_id, LedgerEntry.ballot_number.is_not(None))
        .order_by(LedgerEntry.seq)
        .execution_options(yield_per=5_000)
    )
    entries = 0
    for seq, event, number, voter_id, text in rows:
        entries += 1
        player.play(seq, event, str(number), voter_id, text)
    player.look_for_two_live()
    return Rebuilt(player.ballots, tuple(player.wrong), entries)


def compare(session: Session, election_id: str, rebuilt: Rebuilt) -> tuple[Differs, ...]:
    """Hold the table of ballots against what the ledger says of each, field by field. In the order of the numbers."""
    found: list[Differs] = []
    there = set()
    rows = session.execute(
        select(
            Ballot.number,
            Ballot.voter_id,
            Ballot.style,
            Ballot.state,
            Ballot.replaces,
            Ballot.void_reason,
            # as text: what somebody wrote there past this service need not be a day
            cast(Ballot.mailed_on, String).label("mailed_on"),
            cast(Ballot.returned_on, String).label("returned_on"),
        )
        .where(Ballot.election_id == election_id)
        .order_by(Ballot.number)
        .execution_options(yield_per=5_000)
    )
    for row in rows:
        there.add(row.number)
        said = rebuilt.ballots.get(row.number)
        if said is None:
            found.append(Differs(row.number, f"is {row.state} on record, but no event on the ledger issued it"))
            continue
        if row.voter_id != said.voter_id:
            found.append(Differs(row.number, "belongs to one voter on record, and to another by the ledger", said.seq))
        for name in ("state", "style", "replaces", "void_reason", "mailed_on", "returned_on"):
            here, by_ledger = getattr(row, name), getattr(said, name)
            if isinstance(by_ledger, date):
                by_ledger = here if by_ledger == UNKNOWN else by_ledger.isoformat()
            if here != by_ledger:
                what = name.replace("_", " ")
                text = f"{what}: {here or 'none'} on record, {by_ledger or 'none'} by the ledger (entry {said.last})"
                found.append(Differs(row.number, text, said.last))
    for number in rebuilt.ballots.keys() - there:
        ballot = rebuilt.ballots[number]
        text = f"is {ballot.state} by the ledger (entry {ballot.last}), but is not on record"
        found.append(Differs(number, text, ballot.last))
    return tuple(sorted(found, key=lambda one: (one.number, one.text)))


class _Player:
    """Plays events one after the other."""

    def __init__(self) -> None:
        self.ballots: dict[str, Derived] = {}
        self.wrong: list[Wrong] = []

    def play(self, seq: int, event: str, number: str, voter_id: str | None, text: str) -> None:
        def wrong(what: str) -> None:
            self.wrong.append(Wrong(seq, number, what))

        try:
            details = json.loads(text)
            if not isinstance(details, dict):
                raise ValueError(text)
            if event in ISSUED_BY:
                self._issue(seq, event, number, voter_id, details, wrong)
                return
            ballot = self.ballots.get(number)
            if ballot is None:
                wrong(f"{event.replace('_', ' ')} before any entry issued it")
                return
            if voter_id != ballot.voter_id:
                wrong("this entry is about another voter than the one it was issued to")
            if event in _CHANGE:
                ballot.last = seq
            self._happen(event, ballot, details, wrong)
        except (KeyError, ValueError, TypeError):
            wrong(f"the details of {event!r} cannot be read")

    def _issue(
        self,
        seq: int,
        event: str,
        number: str,
        voter_id: str | None,
        details: Mapping[str, Any],
        wrong: Callable[[str], None],
    ) -> None:
        if number in self.ballots:
            wrong(f"issued a second time, after entry {self.ballots[number].seq}")
            return
        made = Derived(number, voter_id, details["style"], "issued", seq, seq, details.get("replaces"))
        if event == "imported":
            made.state = details["state"]
            made.void_reason = details.get("reason")
            made.mailed_on, made.returned_on = _day(details, "mailed_on"), _day(details, "returned_on")
            if made.state not in BALLOT_STATES:
                wrong(f"imported with a state that no ballot has ({made.state!r})")
        else:
            original = self.ballots.get(made.replaces or "")
            if original is None:
                wrong(f"reissued in place of {made.replaces or 'none'}, which no entry issued")
            elif original.voter_id != voter_id:
                wrong(f"reissued in place of {made.replaces}, which is another voter's")
            elif original.state not in ("voided", "suspended") or original.ends[-1:] != [number]:
                wrong(f"reissued in place of {made.replaces}, which is {original.state} and was not ended by it")
        self.ballots[number] = made

    def _happen(self, event: str, ballot: Derived, details: Mapping[str, Any], wrong: Callable[[str], None]) -> None:
        before = ballot.state
        if event in _OUT_OF_A_STATE:
            step = "replaced" if "replaced_by" in details and details.get("from") in ALLOWED["replaced"] else event
            allowed = ALLOWED.get(step, ALLOWED["replaced"])
            if details["from"] != before or before not in allowed:
                said = "" if details["from"] == before else f", though the entry says {details['from']}"
                wrong(f"{event} while it was {before}{said}")
            ballot.state = "returned" if event == "cured" else event
            if event in ("voided", "suspended"):
                ballot.void_reason = details["reason"] if event == "voided" else None
                ballot.set_aside_on = None
                if "replaced_by" in details:
                    ballot.ends.append(details["replaced_by"])
            if event == "returned":
                ballot.returned_on = _day(details, "on")
            if event in ("returned", "accepted"):
                ballot.ends = []  # a suspended original that was back first
        elif event == "import_changed":
            if details["from"] != before:
                wrong(f"changed by an import while it was {before}, though the entry says {details['from']}")
            self._import(ballot, details)
        elif event == "mailed":
            if before not in ALLOWED["mailed"] or ballot.mailed_on not in (None, UNKNOWN):
                wrong(f"mailed while it was {before}" + (", a second time" if ballot.mailed_on else ""))
            ballot.mailed_on = _day(details, "on")
        elif event == "reinstated":
            replacement = self.ballots.get(details["instead_of"])
            if details["from"] != before or before not in ALLOWED["reinstated"]:
                wrong(f"reinstated while it was {before}")
            if replacement is None or replacement.void_reason != CANCELLED or replacement.replaces != ballot.number:
                wrong(f"reinstated instead of {details['instead_of']}, which was not taken back")
            ballot.state, ballot.void_reason, ballot.ends = details["to"], None, []
            if ballot.state == "returned":
                ballot.returned_on = ballot.set_aside_on or ballot.returned_on
        elif event == "return_undone":
            self._undo(ballot, details, wrong)
        elif event in _SEEN_AT_THE_DESK:
            if details["state"] != before:
                wrong(f"seen at the desk as {details['state']} while it was {before}")
            if event == "returned_after_void":
                ballot.set_aside_on = _day(details, "on")

    def _undo(self, ballot: Derived, details: Mapping[str, Any], wrong: Callable[[str], None]) -> None:
        """A scan of the desk was no return: back to where it was. Without `to` it was a stop, which changed nothing."""
        if "to" not in details:
            ballot.set_aside_on = None
            return
        if details["from"] != ballot.state or details["to"] not in BALLOT_STATES:
            wrong(f"a return undone while it was {ballot.state}, though the entry says {details['from']}")
        if ballot.state == "returned":
            ballot.returned_on = None
        ballot.state, ballot.void_reason = details["to"], None
        if "replaced_by" in details:
            ballot.ends.append(details["replaced_by"])

    def _import(self, ballot: Derived, details: Mapping[str, Any]) -> None:
        ballot.state, ballot.style = details["state"], details["style"]
        ballot.replaces = details.get("replaces", ballot.replaces)
        changed = details.get("changed", ())
        if ballot.state != "voided" or "void_reason" in changed:
            ballot.void_reason = details.get("reason") if ballot.state == "voided" else None
        for name in ("mailed_on", "returned_on"):
            if name in changed:
                setattr(ballot, name, _day(details, name))

    def look_for_two_live(self) -> None:
        """At most one ballot of a voter is live at the end, and at most one accepted."""
        live: dict[str | None, Derived] = {}
        for ballot in self.ballots.values():
            if ballot.state not in LIVE_STATES:
                continue
            other = live.setdefault(ballot.voter_id, ballot)
            if other is not ballot:
                text = (
                    f"ballot {ballot.number}: live by the ledger beside {other.number}, another one of the same voter"
                )
                self.wrong.append(Wrong(ballot.seq, ballot.number, text))


def _day(details: Mapping[str, Any], name: str) -> date | None:
    if name not in details:
        return UNKNOWN
    return date.fromisoformat(details[name]) if details[name] is not None else None
