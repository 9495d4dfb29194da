"""The ballots on record, as far as a proposal needs them: from the database, or from a file for rehearsals."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Protocol

from sqlalchemy import bindparam, select, text
from sqlalchemy.orm import Session

from replacements.proposals.types import BallotOnRecord
from replacements.store.tables import LIVE_STATES, Ballot, Packet


class Ballots(Protocol):
    """What judging needs to know of ballots."""

    def present(self, voter_id: str) -> BallotOnRecord | None:
        """The voter's live ballot, else the latest one, else None."""
        ...

    def owner(self, number: str) -> str | None:
        """The voter id that a ballot number belongs to."""
        ...

    def is_dead(self, number: str) -> bool:
        """Whether a number belongs to a ballot that was voided or suspended."""
        ...


def _on_record(mine: Iterable[Ballot], waiting: frozenset[str]) -> BallotOnRecord | None:
    ballots = list(mine)
    if not ballots:
        return None
    live = [b for b in ballots if b.state in LIVE_STATES]
    present = live[0] if live else max(ballots, key=lambda b: (b.mailed_on is not None, b.mailed_on, b.number))
    return BallotOnRecord(
        number=present.number,
        state=present.state,
        style=present.style,
        mailed_on=present.mailed_on,
        replaces=present.replaces or "",
        replacements_before=sum(1 for b in ballots if b.replaces and b.void_reason != "cancelled"),
        replacement_waits=present.number in waiting,
    )


# The states stand in the text, so that the index of packets that are not pulled is used whatever the values.
_OF_VOTER = (
    select(Ballot, Packet.id)
    .outerjoin(Packet, (Packet.ballot_number == Ballot.number) & text("packets.state = 'queued'"))
    .where(Ballot.election_id == bindparam("election"), Ballot.voter_id == bindparam("voter"))
)


class StoredBallots:
    """Ballots of one election in the database. Queries a voter's ballots when asked; keeps nothing."""

    def __init__(self, session: Session, election_id: str) -> None:
        self._session = session
        self._election = election_id

    def present(self, voter_id: str) -> BallotOnRecord | None:
        rows = self._session.execute(_OF_VOTER, {"election": self._election, "voter": voter_id}).all()
        return _on_record(
            (ballot for ballot, _ in rows), frozenset(ballot.number for ballot, packet in rows if packet is not None)
        )

    def owner(self, number: str) -> str | None:
        ballot = self._session.get(Ballot, number)
        return ballot.voter_id if ballot is not None and ballot.election_id == self._election else None

    def is_dead(self, number: str) -> bool:
        ballot = self._session.get(Ballot, number)
        return ballot is not None and ballot.state in ("voided", "suspended")


class BallotsInMemory:
    """Ballots of a file, for rehearsals."""

    def __init__(self, ballots: Iterable[Ballot]) -> None:
        self._by_number = {b.number: b for b in ballots}
        self._by_voter: dict[str, list[Ballot]] = defaultdict(list)
        for ballot in self._by_number.values():
            self._by_voter[ballot.voter_id].append(ballot)

    def present(self, voter_id: str) -> BallotOnRecord | None:
        return _on_record(self._by_voter.get(voter_id, ()), frozenset())

    def owner(self, number: str) -> str | None:
        ballot = self._by_number.get(number)
        return ballot.voter_id if ballot is not None else None

    def is_dead(self, number: str) -> bool:
        ballot = self._by_number.get(number)
        return ballot is not None and ballot.state in ("voided", "suspended")
