"""The ballots of the invented county: most are out, some are back, a few were replaced already."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date, timedelta

from replacements.demo.county import SEED, People
from replacements.roll.types import Voter

FIRST_NUMBER = 3_100_000
# What the cast's ballots are, where a mail needs it; everybody else of the cast has one that is out.
STATES = {
    "plain-31": "returned",
    "plain-32": "accepted",
    "plain-33": "undeliverable",
    "plain-34": "challenged",
    "plain-35": "replaced",
    "plain-36": "none",
    "inactive-1": "none",
}


@dataclass(frozen=True, slots=True)
class BallotLine:
    """A line of `ballots.csv`."""

    ballot_number: str
    voter_id: str
    style: str
    state: str
    mailed_on: date
    returned_on: date | None = None
    replaces: str = ""
    void_reason: str = ""


def ballots(people: People, *, mailed: date, today: date) -> list[BallotLine]:
    """A ballot for nearly every active voter, out since `mailed`."""
    chance = random.Random(f"{SEED}, ballots")  # noqa: S311 - an invented county, no secret
    roles = {voter_id: role for role, voter_id in people.cast.items()}
    lines: list[BallotLine] = []
    for voter in people.voters:
        role = roles.get(voter.voter_id)
        # Drawn for everybody, so that one voter's role changes nobody else's ballot.
        drawn = _drawn(chance.random(), voter)
        lines += _lines(voter, STATES.get(role, "issued") if role else drawn, len(lines), chance, mailed, today)
    return lines


def _drawn(share: float, voter: Voter) -> str:
    if voter.status != "active":
        return "none"
    for limit, state in (
        (0.03, "none"),
        (0.13, "returned"),
        (0.19, "accepted"),
        (0.20, "undeliverable"),
        (0.208, "challenged"),
        (0.218, "replaced"),
    ):
        if share < limit:
            return state
    return "issued"


def _lines(voter: Voter, state: str, so_far: int, chance: random.Random, mailed: date, today: date) -> list[BallotLine]:
    days_out = max((today - mailed).days, 1)
    back = mailed + timedelta(days=chance.randint(min(6, days_out), days_out))
    again = mailed + timedelta(days=min(9, days_out))
    if state == "none":
        return []
    number = str(FIRST_NUMBER + so_far * 3 + chance.randint(0, 2))
    if state == "replaced":
        reason = chance.choice(("spoiled", "damaged", "lost"))
        new = str(int(number) + 400_000)
        return [
            BallotLine(number, voter.voter_id, voter.style, "voided", mailed, void_reason=reason),
            BallotLine(new, voter.voter_id, voter.style, "issued", again, replaces=number),
        ]
    returned = back if state in ("returned", "accepted", "challenged") else None
    return [BallotLine(number, voter.voter_id, voter.style, state, mailed, returned)]
