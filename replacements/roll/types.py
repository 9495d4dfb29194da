"""Voters and the answer to "who is it about?", as data. Pure: no database."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Standing(StrEnum):
    """How sure we are whom a request is about. The names are an interface."""

    CERTAIN = "certain"
    LIKELY = "likely"
    UNCLEAR = "unclear"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Voter:
    """A line of the roll. All text as on file; `birth_date` ISO (`1962-07-19`) or a year alone (`1962`)."""

    voter_id: str
    last_name: str
    first_name: str
    middle_name: str = ""
    suffix: str = ""
    birth_date: str = ""
    street: str = ""
    unit: str = ""
    city: str = ""
    state: str = ""
    zip: str = ""
    mail_street: str = ""
    mail_unit: str = ""
    mail_city: str = ""
    mail_state: str = ""
    mail_zip: str = ""
    mail_country: str = ""
    precinct: str = ""
    style: str = ""
    language: str = ""
    email: str = ""
    phone: str = ""
    former_last_name: str = ""
    status: str = "active"
    id_required: bool = False
    overseas: bool = False
    protected: bool = False

    @property
    def full_name(self) -> str:
        return " ".join(x for x in (self.first_name, self.middle_name, self.last_name, self.suffix) if x)


@dataclass(frozen=True, slots=True)
class AddressClue:
    """An address that a message gives, in lines as written; `moved` marks one that need not be on the roll."""

    street: str = ""
    unit: str = ""
    city: str = ""
    state: str = ""
    zip: str = ""
    moved: bool = False


@dataclass(frozen=True, slots=True)
class Clues:
    """Everything a message says to identify one person. `birth_dates` are alternative readings of one date, each
    (year, month, day) with None for what was not said. `ballot_owners` are voter ids of quoted ballot numbers."""

    names: tuple[str, ...] = ()
    suffix: str = ""
    birth_dates: tuple[tuple[int | None, int | None, int | None], ...] = ()
    age: int | None = None
    addresses: tuple[AddressClue, ...] = ()
    voter_ids: tuple[str, ...] = ()
    ballot_owners: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()
    emails: tuple[str, ...] = ()
    own_request: bool = True  # False where somebody else asks


@dataclass(frozen=True, slots=True)
class Candidate:
    """A voter who may be meant. `weight` in bits (log2 of the likelihood ratio, summed). `evidence`: field -> level,
    in words ("same", "nickname", "typo", "initial", "former name", "swapped", "differs", …)."""

    voter: Voter
    weight: float
    evidence: dict[str, str]
    weights: dict[str, float]  # field -> its part of `weight`, for the picture that explains it
    prior: float = 0.0  # bits, before anything is read (`explaining.Waterfall`)
    p: float = 0.0  # the probability that this is the voter, against the others and against nobody on the roll


@dataclass(frozen=True, slots=True)
class Who:
    """The answer. `voter` is set for CERTAIN and LIKELY. `p`: probability that it is that voter. `missing` names the
    facts to ask for: "name", "birth_date", "address", "voter_id"; those that would tell the candidates apart first."""

    standing: Standing
    candidates: tuple[Candidate, ...] = ()
    p: float = 0.0
    missing: tuple[str, ...] = ()
    because: str = ""  # one sentence for the clerk

    @property
    def voter(self) -> Voter | None:
        if self.standing in (Standing.CERTAIN, Standing.LIKELY) and self.candidates:
            return self.candidates[0].voter
        return None


class Roll(Protocol):
    """What matching needs of a roll, in memory (`replacements.roll.memory`) or stored (`replacements.roll.stored`)."""

    def with_keys(self, keys: Iterable[str]) -> Sequence[Voter]:
        """Voters who have at least one of these keys (`replacements.roll.keys`), each once."""
        ...

    def voter(self, voter_id: str) -> Voter | None: ...

    def share_of_last_name(self, last_name: str) -> float:
        """Share of voters with this (normalised) last name; a small positive number where nobody has it."""
        ...

    def share_of_first_name(self, first_name: str) -> float: ...
