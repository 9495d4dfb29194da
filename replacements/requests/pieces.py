"""The office's own ballots as pieces of post: when each was mailed and came back, and how far it went."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.ballots.lines import read_ballots
from replacements.proposals.situation import BACK
from replacements.roll.importing import read_roll
from replacements.rules.destinations import destination_of
from replacements.rules.learning import Piece
from replacements.rules.office import Rules
from replacements.store.csv_files import Refused
from replacements.store.tables import Ballot, VoterRow


def pieces_on_record(session: Session, election_id: str, rules: Rules, *, replacements_only: bool) -> list[Piece]:
    """Every ballot of the election that was mailed and came back. A voter who left the roll is not counted: where the
    packet went is not known."""
    rows = session.execute(
        select(Ballot, VoterRow)
        .join(VoterRow, VoterRow.voter_id == Ballot.voter_id)
        .where(
            Ballot.election_id == election_id,
            Ballot.mailed_on.is_not(None),
            Ballot.returned_on.is_not(None),
            Ballot.state.in_(BACK),
        )
    )
    return [
        Piece(ballot.mailed_on, ballot.returned_on, destination_of(rules, voter))
        for ballot, voter in rows
        if ballot.mailed_on and ballot.returned_on and (ballot.replaces or not replacements_only)
    ]


def pieces_of_files(
    ballots: Path, roll: Path | None, rules: Rules, *, replacements_only: bool
) -> tuple[list[Piece], list[tuple[Path, Refused]]]:
    """The same from files, with the lines that were not taken. Without a roll nothing tells where a packet went."""
    lines, bad = read_ballots(ballots, rules.columns.ballots)
    refused = [(ballots, line) for line in bad]
    voters = {}
    if roll is not None:
        read = read_roll(roll, rules.columns.roll)
        voters = {voter.voter_id: voter for voter in read.voters}
        refused += [(roll, line) for line in read.refused]
    pieces = [
        Piece(
            line.mailed_on,
            line.returned_on,
            destination_of(rules, voters[line.voter_id]) if roll is not None else None,
        )
        for line in lines.values()
        if line.mailed_on
        and line.returned_on
        and line.state in BACK
        and (line.replaces or not replacements_only)
        and (roll is None or line.voter_id in voters)
    ]
    return pieces, refused
