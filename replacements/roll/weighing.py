"""The weight of evidence for each voter who may be meant: levels per field, bits per level. Pure.

Fellegi and Sunter (1969): each field adds log2(m / u); the parameters, with their reasons, are in `weights.toml`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date

from rapidfuzz.distance import OSA

from replacements.roll import address_fit, dates
from replacements.roll.explaining import prior_bits
from replacements.roll.keys import name_of
from replacements.roll.name_fit import NameFit, compare, near, other_letter
from replacements.roll.names import NameOnFile, Written, suffix_form
from replacements.roll.nicknames_known import meanings, relation
from replacements.roll.parameters import parameters
from replacements.roll.phones import digits, same
from replacements.roll.types import Candidate, Clues, Roll, Voter


def bits(m: float, u: float) -> float:
    """The weight of a level that shows with probability m for the right voter and u for another one."""
    return math.log2(m / u)


def posterior(weight: float, prior: float) -> float:
    """Probability after evidence of `weight` bits, from a probability before it (two hypotheses)."""
    odds = prior / (1 - prior) * math.exp2(weight)
    return odds / (1 + odds)


@dataclass(frozen=True, slots=True)
class Likeness:
    """How one voter agrees with the clues. A level is "" where one side says nothing."""

    voter: Voter
    name: NameFit | None  # None where no name could be read
    birth_date: str
    age: str
    suffix: str
    address: str
    moving: bool  # only an address that the writer moves to or from agrees
    voter_id: str
    ballot: str
    email: str
    phone: str
    weight: float
    weights: dict[str, float]

    def candidate(self, prior: float, p: float = 0.0) -> Candidate:
        """As handed on, rounded. `prior` and `p` as `Candidate` has them."""
        words = {
            "name": self.name.word if self.name else "",
            "middle_name": self.name.middle if self.name and self.name.middle != "missing" else "",
            "birth_date": self.birth_date,
            "age": self.age,
            "suffix": self.suffix,
            "address": self.address,
            "voter_id": self.voter_id,
            "ballot_number": self.ballot,
            "email": self.email,
            "phone": self.phone,
        }
        evidence = {field: level for field, level in words.items() if level}
        weights = {field: round(weight, 2) for field, weight in self.weights.items()}
        return Candidate(self.voter, round(self.weight, 2), evidence, weights, round(prior, 2), round(p, 6))


class Scale:
    """Weighs voters of one roll: knows its size and how common its names are."""

    def __init__(self, roll: Roll) -> None:
        self._roll = roll
        self._parameters = parameters()
        self.size = max(1.0, 0.5 / roll.share_of_last_name(""))  # nobody's name is nobody: half a voter's share
        self._shares: dict[tuple[str, str], float] = {}
        self._called: dict[str, float] = {}

    @property
    def prior(self) -> float:
        return prior_bits(self.size, self.decision["not_on_the_roll"])

    @property
    def decision(self) -> Mapping[str, float]:
        return self._parameters.decision

    def weigh(
        self,
        clues: Clues,
        written: Sequence[tuple[int, Written]],
        voter: Voter,
        today: date,
        homes: Set[address_fit.Place] = frozenset(),
    ) -> Likeness:
        """`written`: the names that could be read, each with its place in `clues.names`. `homes`: where the voters live
        whose account on file was written from."""
        filed = name_of(voter)
        fits = [compare(name, filed, place) for place, name in written]
        if any(fit.first == "typo" for fit in fits):
            fits = [self._slip_or_name(fit, filed, written) for fit in fits]
        fit = min(fits, key=_best_name, default=None)
        address, moving = address_fit.agreement(clues.addresses, voter)
        levels = {
            "birth_date": dates.agreement(clues.birth_dates, voter.birth_date),
            "age": dates.age_agreement(clues.age, voter.birth_date, today),
            "suffix": _suffix(clues, written, filed),
            "address": address,
            "voter_id": _voter_id(clues.voter_ids, voter.voter_id),
            "ballot_number": _ballot(clues.ballot_owners, voter.voter_id),
            "email": _email(clues.emails, voter, homes),
            "phone": _phone(clues.phones, voter.phone),
        }
        weights = {field: self._bits(field, level) for field, level in levels.items() if level}
        if levels["birth_date"]:
            weights.pop("age", None)  # an age says nothing beyond a birth date
        if fit is not None:
            weights["name"] = self._name_bits(fit, filed, written)
            if fit.middle != "missing":
                weights["middle_name"] = self._bits("middle_name", fit.middle)
        return Likeness(
            voter,
            fit,
            levels["birth_date"],
            levels["age"],
            levels["suffix"],
            address,
            moving,
            levels["voter_id"],
            levels["ballot_number"],
            levels["email"],
            levels["phone"],
            sum(weights.values()),
            weights,
        )

    def _slip_or_name(self, fit: NameFit, filed: NameOnFile, written: Sequence[tuple[int, Written]]) -> NameFit:
        """A given name one slip away that others on the roll have as often is a name of its own: Thinh, not Thanh."""
        if fit.first != "typo":
            return fit
        first = filed.first[0]
        said = {
            token
            for place, name in written
            if place == fit.place
            for token in name.tokens
            if near(token, first) or near(token, "".join(filed.first))
        }
        if any(self._is_name(token, first) for token in said):
            return replace(fit, first="similar name")
        return replace(fit, other_letter=all(other_letter(token, first) for token in said))

    def _is_name(self, token: str, first: str) -> bool:
        voters = self._voters_called(token)
        return voters >= 1 and voters >= self.decision["own_name"] * self._voters_called(first)

    def _voters_called(self, name: str) -> float:
        known = self._called.get(name)
        if known is None:
            known = self._called[name] = self._roll.share_of_first_name(name) * self.size
        return known

    def _bits(self, field: str, level: str, share: float = 1.0) -> float:
        p = self._parameters.fields[field][level]
        if p.u is not None:
            return bits(p.m, p.u)
        if p.u_times is not None:
            return bits(p.m, min(0.9, share * p.u_times))
        voters_known = self.size + self.decision["household_adds"]
        return bits(p.m, min(0.9, (p.u_voters or 1.0) / voters_known))

    def _name_bits(self, fit: NameFit, filed: NameOnFile, written: Sequence[tuple[int, Written]]) -> float:
        last = filed.lasts[0][0] if filed.lasts else ""
        first = filed.first[0] if filed.first else ""
        first_share = self._share("first", first)
        if fit.first == "nickname":
            said = [
                token
                for place, name in written
                if place == fit.place
                for token in name.tokens
                if relation(token, first)
            ]
            first_share *= max((meanings(token) for token in said), default=1)
        return self._bits("last_name", fit.last, self._share("last", last)) + self._bits(
            "first_name", fit.first, first_share
        )

    def _share(self, part: str, name: str) -> float:
        known = self._shares.get((part, name))
        if known is None:
            of_roll = self._roll.share_of_last_name(name) if part == "last" else self._roll.share_of_first_name(name)
            adds = self.decision["household_adds"]
            known = (of_roll * self.size + adds * self.decision["usual_share"]) / (self.size + adds)
            self._shares[(part, name)] = known
        return known


def _best_name(fit: NameFit) -> tuple[bool, tuple[int, int, int, bool], int]:
    return (not fit.fits, fit.rank, fit.place)


def _suffix(clues: Clues, written: Sequence[tuple[int, Written]], filed: NameOnFile) -> str:
    said = suffix_form(clues.suffix) or next((name.suffix for _, name in written if name.suffix), "")
    if not said:
        return ""
    if not filed.suffix:
        return "not on file"
    return "same" if said == filed.suffix or {said, filed.suffix} == {"jr", "ii"} else "differs"


def _voter_id(said: tuple[str, ...], filed: str) -> str:
    forms = [form for text in said if (form := "".join(c for c in text.casefold() if c.isalnum()))]
    own = "".join(c for c in filed.casefold() if c.isalnum())
    if not forms:
        return ""
    if own in forms:
        return "same"
    return (
        "slip" if len(own) >= 4 and any(OSA.distance(form, own, score_cutoff=1) <= 1 for form in forms) else "differs"
    )


def _ballot(owners: tuple[str, ...], voter_id: str) -> str:
    return "" if not owners else "same" if voter_id in owners else "differs"


def _email(said: tuple[str, ...], voter: Voter, homes: Set[address_fit.Place]) -> str:
    if not said:
        return ""
    filed = voter.email.strip().casefold()
    if filed and filed in folded(said):
        return "on file"
    if homes and not homes.isdisjoint(address_fit.places_on_file(voter)):
        return "household"
    return "another on file" if filed else ""


def folded(emails: Iterable[str]) -> frozenset[str]:
    return frozenset(email.strip().casefold() for email in emails) - {""}


def _phone(said: tuple[str, ...], filed: str) -> str:
    if not digits(filed) or not any(digits(number) for number in said):
        return ""
    return "on file" if any(same(number, filed) for number in said) else "another on file"
