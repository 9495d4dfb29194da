"""What would change: mail of an earlier election judged by the old rules and by new ones, touching nothing.

Where the new rules are another election's, the mail is moved with the election: what came twenty days before the old
election day is judged as if it came twenty days before the new one, and so are the days on which ballots were mailed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from replacements.ballots.lines import read_ballots
from replacements.mail.letter import Letter, UnreadableMail
from replacements.mail.parsing import parse
from replacements.proposals.types import Proposal
from replacements.requests.history import HistoryInMemory
from replacements.requests.judging import Judgement, judge
from replacements.requests.mail_files import messages_in
from replacements.requests.records import Ballots, BallotsInMemory
from replacements.requests.rehearsal import on_record
from replacements.roll.importing import read_roll
from replacements.roll.memory import MemoryRoll
from replacements.roll.types import Roll
from replacements.rules.calendar import local
from replacements.rules.office import Rules
from replacements.store.csv_files import Refused


@dataclass(frozen=True, slots=True)
class Change:
    """One person's request that would be proposed otherwise. `message`: the message's id, or the file's name where it
    has none. `old` and `new`: the proposal, with `, two people` where a second must agree. `rule`: the entry of the
    rules, or rule of the trade, that makes the difference."""

    message: str
    person: str
    old: str
    new: str
    rule: str


@dataclass(frozen=True, slots=True)
class Compared:
    """All of it. `requests`: one per person and message, or per message that concerns no voter. `unreadable`: messages
    that cannot be read. `refused`: lines of the roll and of the ballots that were not taken."""

    messages: int
    requests: int
    unreadable: int
    changes: tuple[Change, ...]
    moved: timedelta
    refused: tuple[tuple[Path, Refused], ...] = ()


@dataclass(slots=True)
class _Side:
    """One of the two: its rules, the ballots as of its election, and what it has judged so far."""

    rules: Rules
    roll: Roll
    ballots: Ballots
    moved: timedelta
    history: HistoryInMemory

    def letter(self, raw: bytes) -> Letter:
        ours = self.rules.office
        own = frozenset({ours.address.lower()})
        return parse(raw, office_addresses=own, office_server=ours.mail_server, office_name=ours.name)

    def judged(self, letter: Letter, known: Judgement | None = None) -> Judgement:
        at = local(self.rules, letter.arrived) + self.moved  # the same hour of the day, whatever the clocks did
        found = judge(
            letter,
            roll=self.roll,
            ballots=self.ballots,
            rules=self.rules,
            at=at,
            history=self.history,
            known=known.reading if known else None,
        )
        self.history.add(found)
        return found


def compare(
    mail: Sequence[Path],
    old: Rules,
    new: Rules,
    *,
    roll: Path,
    ballots: Path,
    progress: Callable[[int, int], None] | None = None,
) -> Compared:
    """Judge every message twice. The files are read with the old rules' columns. `progress` is called with (done, of
    how many messages). Raises FileTrouble where a file is not there or is none of its kind."""
    voters = read_roll(roll, old.columns.roll)
    lines, bad_lines = read_ballots(ballots, old.columns.ballots)
    refused = [(roll, line) for line in voters.refused] + [(ballots, line) for line in bad_lines]
    people, moved = MemoryRoll(voters.voters), new.election.date - old.election.date
    none = timedelta()
    before = _Side(old, people, BallotsInMemory(on_record(lines.values())), none, HistoryInMemory())
    after = _Side(new, people, BallotsInMemory(on_record(lines.values(), moved)), moved, HistoryInMemory())
    alike = all(getattr(old.office, name) == getattr(new.office, name) for name in ("address", "mail_server", "name"))
    total = sum(1 for path in mail for _ in messages_in(path))
    done = requests = unreadable = 0
    changes: list[Change] = []
    for path in mail:
        for name, raw in messages_in(path):
            done += 1
            try:
                letter = before.letter(raw)
                other = letter if alike else after.letter(raw)
            except UnreadableMail:
                unreadable += 1
            else:
                first = before.judged(letter)
                second = after.judged(other, first if alike else None)
                pairs = _pairs(first, second)
                requests += len(pairs)
                changes += [
                    Change(letter.message_id or name, person, _shown(was), _shown(now), deciding_rule(was, now))
                    for person, was, now in pairs
                    if (was.action, was.two_people) != (now.action, now.two_people)
                ]
            if progress is not None:
                progress(done, total)
    return Compared(done, requests, unreadable, tuple(changes), moved, tuple(refused))


def _pairs(first: Judgement, second: Judgement) -> list[tuple[str, Proposal, Proposal]]:
    """Person by person (the same letter has the same people): who, and what was and would be proposed."""
    if first.proposal is not None and second.proposal is not None:
        return [("", first.proposal, second.proposal)]
    return [(was.person.name, was.proposal, now.proposal) for was, now in zip(first.asked, second.asked, strict=False)]


def _shown(proposal: Proposal) -> str:
    return f"{proposal.action.value}, two people" if proposal.two_people else proposal.action.value


def deciding_rule(was: Proposal, now: Proposal) -> str:
    """The rule that makes the difference. Of two rows of the table, it is that of the upper one: either it holds now
    and did not, or it held and does not any more. Within one row it is the rule that wants two people."""
    if was.row != now.row:
        return min(was, now, key=lambda proposal: proposal.row).reasons[0].rule
    rules_before, rules_now = ({reason.rule for reason in proposal.reasons[1:]} for proposal in (was, now))
    only_one = [r.rule for r in (*now.reasons, *was.reasons) if r.rule in rules_before ^ rules_now]
    wanting = [rule for rule in only_one if not rule.startswith("transit")]
    return (wanting or only_one or [now.reasons[0].rule])[0]
