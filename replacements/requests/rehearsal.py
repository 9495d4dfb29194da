"""Last year's mail, judged by today's rules, touching nothing: no database is written, nothing is sent."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from replacements.ballots.lines import BallotLine, read_ballots
from replacements.mail.letter import UnreadableMail
from replacements.mail.parsing import parse
from replacements.requests import answer, drafting, office
from replacements.requests.history import HistoryInMemory
from replacements.requests.judging import Place
from replacements.requests.mail_files import messages_in
from replacements.requests.office import InForce
from replacements.requests.records import BallotsInMemory
from replacements.requests.which_election import NEXT, OpenElection, judge_among
from replacements.roll.importing import read_roll
from replacements.roll.memory import MemoryRoll
from replacements.rules.office import Rules, load_rules
from replacements.store.csv_files import Refused
from replacements.store.tables import Ballot


@dataclass(frozen=True, slots=True)
class Office:
    """What an office hands over, loaded for a rehearsal, with the lines that were refused: one election or more, in the
    order in which they were given. `rules` and `ballots` are the first one's."""

    rules: Rules
    roll: MemoryRoll
    ballots: BallotsInMemory
    refused: tuple[tuple[Path, Refused], ...]
    others: tuple[tuple[Rules, BallotsInMemory], ...] = ()

    def elections(self, at: datetime) -> list[InForce]:
        """Those that are open at a moment, as if their rules were adopted; all of them where none is."""
        every = [
            InForce(rules, office.election_id_of(rules), "", adopted=True)
            for rules in (self.rules, *(rules for rules, _ in self.others))
        ]
        found = [force for force in every if office.is_open(force, at=at)] or every
        return [replace(force, several=len(found) > 1) for force in found]


def load_office(office_file: Path, roll: Path, ballots: Path) -> Office:
    """Load the three files of one election. Raises RulesError or FileTrouble with the file, the line and what was
    expected."""
    return load_elections([(office_file, ballots)], roll)


def load_elections(files: Sequence[tuple[Path, Path]], roll: Path) -> Office:
    """Load the rules and the ballots of each election, and the roll, which is read with the first one's columns.
    Raises as `load_office`, and ValueError where two files are rules of the same election."""
    every = [load_rules(office_file) for office_file, _ in files]
    if len({office.election_id_of(rules) for rules in every}) < len(every):
        raise ValueError("Two of the rules files are of the same election: give one for each.")
    voters = read_roll(roll, every[0].columns.roll)
    refused = [(roll, line) for line in voters.refused]
    found: list[tuple[Rules, BallotsInMemory]] = []
    for rules, (_, ballots) in zip(every, files, strict=True):
        lines, bad_lines = read_ballots(ballots, rules.columns.ballots)
        refused += [(ballots, line) for line in bad_lines]
        found.append((rules, BallotsInMemory(on_record(lines.values()))))
    first, *others = found
    return Office(first[0], MemoryRoll(voters.voters), first[1], tuple(refused), tuple(others))


def on_record(lines: Iterable[BallotLine], moved: timedelta = timedelta()) -> list[Ballot]:
    """The lines of a file as ballots on record, with all days moved by so much."""
    return [
        Ballot(
            number=line.number,
            election_id="rehearsal",
            voter_id=line.voter_id,
            style=line.style,
            state=line.state,
            mailed_on=line.mailed_on + moved if line.mailed_on else None,
            returned_on=line.returned_on + moved if line.returned_on else None,
            replaces=line.replaces,
            void_reason=line.void_reason,
        )
        for line in lines
    ]


def rehearse(
    mail: Sequence[Path], handed: Office, *, at: datetime | None = None, alone: bool = False, timings: bool = False
) -> Iterator[answer.Json]:
    """One JSON object a message, in the order of `mail`. `alone`: no message is history for another."""
    history = HistoryInMemory()
    own = frozenset(rules.office.address.lower() for rules in (handed.rules, *(rules for rules, _ in handed.others)))
    for path in mail:
        for name, raw in messages_in(path):
            try:
                yield _one(name, raw, handed, own, at=at, history=None if alone else history, timings=timings)
            except UnreadableMail as error:
                yield answer.unreadable(mail=name, at=at.isoformat() if at else None, why=str(error))
            except Exception as error:  # one message never ends a rehearsal of thousands; a person reads it
                why = f"The program failed on this message ({type(error).__name__})."
                yield answer.unreadable(mail=name, at=at.isoformat() if at else None, why=why)


def _one(
    name: str,
    raw: bytes,
    handed: Office,
    own: frozenset[str],
    *,
    at: datetime | None,
    history: HistoryInMemory | None,
    timings: bool,
) -> answer.Json:
    ours = handed.rules.office
    letter = parse(raw, office_addresses=own, office_server=ours.mail_server, office_name=ours.name)
    ballots = {office.election_id_of(rules): mine for rules, mine in ((handed.rules, handed.ballots), *handed.others)}
    open_ = handed.elections(at or letter.arrived)
    judgement = judge_among(
        letter,
        roll=handed.roll,
        elections=[OpenElection(force, ballots[force.election_id], history) for force in open_],
        at=at,
    )
    rules = open_[0].rules if len(open_) == 1 else handed.rules
    reply = drafting.draft(judgement, rules, adopted=True, among={force.election_id: force for force in open_})
    if (
        handed.others and len(open_) == 1
    ):  # the other elections are over by then; which one is left is said all the same
        only = Place(open_[0].election_id, NEXT)
        asked = tuple(replace(one, place=only) for one in judgement.asked)
        judgement = replace(judgement, place=only, asked=asked)
    if history is not None:
        history.add(judgement)
    line = answer.as_json(judgement, mail=name, rules=rules, reply=reply)
    if timings:
        line["milliseconds"] = {stage: round(ms, 2) for stage, ms in judgement.milliseconds.items()}
    return line
