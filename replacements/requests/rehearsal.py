"""Last year's mail, judged by today's rules, touching nothing: no database is written, nothing is sent."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from replacements.ballots.lines import BallotLine, read_ballots
from replacements.mail.letter import UnreadableMail
from replacements.mail.parsing import parse
from replacements.requests import answer, drafting
from replacements.requests.history import HistoryInMemory
from replacements.requests.judging import judge
from replacements.requests.mail_files import messages_in
from replacements.requests.records import BallotsInMemory
from replacements.roll.importing import read_roll
from replacements.roll.memory import MemoryRoll
from replacements.rules.office import Rules, load_rules
from replacements.store.csv_files import Refused
from replacements.store.tables import Ballot


@dataclass(frozen=True, slots=True)
class Office:
    """What an office hands over, loaded for a rehearsal, with the lines that were refused."""

    rules: Rules
    roll: MemoryRoll
    ballots: BallotsInMemory
    refused: tuple[tuple[Path, Refused], ...]


def load_office(office: Path, roll: Path, ballots: Path) -> Office:
    """Load the three files. Raises RulesError or FileTrouble with the file, the line and what was expected."""
    rules = load_rules(office)
    voters = read_roll(roll, rules.columns.roll)
    lines, bad_lines = read_ballots(ballots, rules.columns.ballots)
    refused = [(roll, line) for line in voters.refused] + [(ballots, line) for line in bad_lines]
    return Office(rules, MemoryRoll(voters.voters), BallotsInMemory(on_record(lines.values())), tuple(refused))


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
    mail: Sequence[Path], office: Office, *, at: datetime | None = None, alone: bool = False, timings: bool = False
) -> Iterator[answer.Json]:
    """One JSON object a message, in the order of `mail`. `alone`: no message is history for another."""
    history = HistoryInMemory()
    own = frozenset({office.rules.office.address.lower()})
    for path in mail:
        for name, raw in messages_in(path):
            try:
                yield _one(name, raw, office, own, at=at, history=None if alone else history, timings=timings)
            except UnreadableMail as error:
                yield answer.unreadable(mail=name, at=at.isoformat() if at else None, why=str(error))
            except Exception as error:  # one message never ends a rehearsal of thousands; a person reads it
                why = f"The program failed on this message ({type(error).__name__})."
                yield answer.unreadable(mail=name, at=at.isoformat() if at else None, why=why)


def _one(
    name: str,
    raw: bytes,
    office: Office,
    own: frozenset[str],
    *,
    at: datetime | None,
    history: HistoryInMemory | None,
    timings: bool,
) -> answer.Json:
    ours = office.rules.office
    letter = parse(raw, office_addresses=own, office_server=ours.mail_server, office_name=ours.name, received_at=at)
    judgement = judge(letter, roll=office.roll, ballots=office.ballots, rules=office.rules, at=at, history=history)
    if history is not None:
        history.add(judgement)
    reply = drafting.draft(judgement, office.rules, adopted=True)
    line = answer.as_json(judgement, mail=name, rules=office.rules, reply=reply)
    if timings:
        line["milliseconds"] = {stage: round(ms, 2) for stage, ms in judgement.milliseconds.items()}
    return line
