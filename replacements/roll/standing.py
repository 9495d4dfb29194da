"""From evidence to standing: when a voter is certain, likely, unclear or nobody. Pure; the rules, and nothing else.

Certain needs all of: a full name that fits, an item of the office's list that agrees exactly enough, no contradiction,
no doubt, no other voter who fits as well, and a high probability. Anything less goes to a person, or is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from replacements.roll import address_fit
from replacements.roll.keys import household_keys, name_of
from replacements.roll.name_fit import GIVEN_FITS, compare
from replacements.roll.names import Written
from replacements.roll.types import Clues
from replacements.roll.weighing import Likeness

SUFFICIENT = ("birth_date", "voter_id", "ballot_number", "address", "email_on_file", "phone_on_file")
PUBLIC = frozenset({"address"})  # on lists that anybody may see, and known to every relative
_NUMBERS = frozenset({"voter_id", "ballot_number"})
_GENERATION_TOLD = ("same", "swapped", "slip", "month and year", "year")


def identity_sets(items: Sequence[str]) -> frozenset[frozenset[str]]:
    """The office's `[identity] with_name` as sets of facts, each of which is enough beside a name that fits: an item
    alone, or several joined by a plus sign (`address+phone_on_file`). Raises ValueError for a fact unknown here."""
    sets = frozenset(frozenset(part.strip() for part in item.split("+")) for item in items)
    if unknown := frozenset().union(*sets) - set(SUFFICIENT):
        raise ValueError(f"not an item of identity: {', '.join(sorted(unknown))}; expected of {', '.join(SUFFICIENT)}")
    return sets


@dataclass(frozen=True, slots=True)
class Case:
    """One identification: what was said and read, and what the office takes as sufficient."""

    clues: Clues
    written: Sequence[tuple[int, Written]]
    sufficient: Set[Set[str]]  # each of them is enough
    shared_emails: frozenset[str]  # addresses (folded) that more than one candidate has on file
    owned_ids: frozenset[str]  # voter ids of candidates whose id was quoted exactly


@dataclass(frozen=True, slots=True)
class Grade:
    """What one voter's evidence would allow, others left aside. `doubts` keep a voter from certain, in words."""

    likeness: Likeness
    fits: bool  # a name that fits, by the rule
    agreed: frozenset[str]  # items of SUFFICIENT that agree, whether or not the office lists them
    contradictions: tuple[str, ...]
    doubts: tuple[str, ...]
    plausible: bool

    def enough(self, sufficient: Set[Set[str]]) -> bool:
        """Whether one of the office's sets of facts agrees whole."""
        return any(facts <= self.agreed for facts in sufficient)

    def certain(self, sufficient: Set[Set[str]]) -> bool:
        return self.fits and self.enough(sufficient) and not self.contradictions and not self.doubts


def grade(case: Case, likeness: Likeness) -> Grade:
    agreed = _agreed(likeness)
    fits = _name_fits(case, likeness)
    contradictions = _contradictions(case, likeness, agreed)
    return Grade(
        likeness,
        fits,
        agreed,
        contradictions,
        tuple(_doubts(case, likeness, agreed)),
        _plausible(case, likeness, agreed, contradictions),
    )


def _agreed(likeness: Likeness) -> frozenset[str]:
    items = {
        "birth_date": likeness.birth_date == "same",
        "voter_id": likeness.voter_id == "same",
        "ballot_number": likeness.ballot == "same",
        "address": likeness.address in address_fit.AGREE,
        "email_on_file": likeness.email == "on file",
        "phone_on_file": likeness.phone == "on file",
    }
    return frozenset(item for item, agrees in items.items() if agrees)


def _given_only(likeness: Likeness) -> bool:
    """A given name without a family name, or with its first letter."""
    name = likeness.name
    return name is not None and name.last in ("missing", "initial") and name.first in GIVEN_FITS - {"initial", "typo"}


def _name_fits(case: Case, likeness: Likeness) -> bool:
    name = likeness.name
    if name is None:
        return False
    if likeness.email == "on file" and _given_only(likeness):
        return True
    # A rare short form (Tobi for Tobias) from the account that this voter alone has on file.
    own_email = likeness.email == "on file" and likeness.voter.email.casefold() not in case.shared_emails
    if name.fits or name.last not in ("same", "transliteration"):
        return name.fits
    # Who goes by the middle name gives it as the first: with the address, and the birth date or the telephone number,
    # nobody else is meant. A rare short form may be a twin's own name.
    known = likeness.voter_id == "same" or (
        likeness.address in address_fit.AGREE and (likeness.birth_date == "same" or likeness.phone == "on file")
    )
    return (own_email and name.first == "loose nickname") or (known and name.first == "middle name")


def _contradictions(case: Case, likeness: Likeness, agreed: frozenset[str]) -> tuple[str, ...]:
    found = []
    if likeness.birth_date in ("differs", "year differs"):
        found.append("birth_date")
    if likeness.birth_date not in ("same", "swapped", "slip") and likeness.age == "differs":
        found.append("age")
    if likeness.suffix == "differs":
        found.append("suffix")
    # a number that is nobody's id may be a licence's or badly typed: the birth date and another item outweigh it; an id
    # one slip away that is another voter's is the other's
    outweighed = "birth_date" in agreed and len(agreed) >= 2
    if (likeness.voter_id in ("differs", "slip") and case.owned_ids) or (
        likeness.voter_id == "differs" and not outweighed
    ):
        found.append("voter_id")
    if likeness.ballot == "differs":
        found.append("ballot_number")
    return tuple(found)


def _doubts(case: Case, likeness: Likeness, agreed: frozenset[str]) -> list[str]:
    """Reasons to let a person compare, although nothing contradicts outright."""
    name, found = likeness.name, []
    personal = agreed & {"birth_date", "voter_id", "ballot_number"}
    own_email = "email_on_file" in agreed and likeness.voter.email.casefold() not in case.shared_emails
    own = own_email or bool(agreed & _NUMBERS)  # what not even a twin shares
    # Few are of one name at one address, and nobody of them is born a digit or a day apart: there it is a slip.
    named_whole = name is not None and (name.first, name.last) == ("same", "same") and name.middle != "differs"
    close_enough = own or len(agreed) >= 2 or (named_whole and "address" in agreed)
    if likeness.birth_date in ("swapped", "slip") and not close_enough:
        found.append("birth_date")
    if likeness.birth_date == "one part differs" and len(agreed) < 3:
        found.append("birth_date")
    if likeness.suffix == "not on file" and not personal:
        found.append("suffix")
    # a Jr on the roll has, or had, a father of his name, who need not be on it
    told = own_email or likeness.birth_date in _GENERATION_TOLD or likeness.age == "same"
    if not likeness.suffix and not personal and not told and name_of(likeness.voter).suffix:
        found.append("suffix")
    reached = own_email or "phone_on_file" in agreed
    if (
        likeness.moving
        and not personal
        and not reached
        and address_fit.differs_otherwise(case.clues.addresses, likeness.voter)
    ):
        found.append("address")
    if likeness.age == "near" and not personal:
        found.append("age")
    if name is None:
        return found
    # Min-seo for Min-soo: of a given name in two words, another second one is a brother's
    if name.middle == "differs" and (name.first == "part" or not (own or "birth_date" in agreed)):
        found.append("middle_name")
    if (name.last == "typo" or name.first == "typo") and agreed == {"phone_on_file"}:
        found.append("name")
    if name.other_letter and name.first == "typo" and not own:
        found.append("name")
    if name.turned and name.last != "transliteration" and name.first in ("initial", "typo"):
        found.append("name")
    if name.place > 0 and not personal and _other_person_named_first(case, likeness, name.place):
        found.append("name")
    if not personal and _wife_form(case, name.place):
        found.append("name")
    return found


def _other_person_named_first(case: Case, likeness: Likeness, place: int) -> bool:
    """A better-placed form of the name has another given name: the form that fits may be somebody else's."""
    filed = name_of(likeness.voter)
    for index, written in case.written:
        if index < place and compare(written, filed).first in (
            "differs",
            "similar name",
            "middle name",
            "loose nickname",
        ):
            return True
    return False


def _wife_form(case: Case, place: int) -> bool:
    """Mrs. Owen Quested may be Mr. Quested's wife: what a household shares does not tell them apart."""
    return any(written.wife_form for index, written in case.written if index == place)


def _plausible(case: Case, likeness: Likeness, agreed: frozenset[str], contradictions: tuple[str, ...]) -> bool:
    """Whether a clerk should be shown this voter as the one who may be meant."""
    name = likeness.name
    close_date = likeness.birth_date in ("same", "swapped", "slip")
    individual = agreed & {"birth_date", "voter_id", "ballot_number"}
    local = agreed & {"address", "email_on_file", "phone_on_file"}
    hard = [c for c in contradictions if c in ("birth_date", "age", "voter_id", "ballot_number")]
    if name is None:
        return not hard and bool(
            agreed & {"voter_id", "ballot_number", "email_on_file", "phone_on_file", "address"}
            or ("birth_date" in agreed and local)
        )
    if name.fits:
        only_numbers = set(contradictions) <= _NUMBERS  # another's number, copied by mistake
        return bool(agreed) or only_numbers
    if hard:
        return False
    if name.last == "differs":
        if name.first in ("differs", "missing"):
            return False
        if name.first not in GIVEN_FITS or name.first == "initial":
            return len(individual) > 1
        return bool(individual) and len(agreed) > 1
    if name.first in ("differs", "similar name", "loose nickname", "middle name", "typo"):
        if name.last in ("missing", "initial"):
            return False
        if name.first == "differs":
            return bool(individual)
        return bool(agreed) or close_date or name.first == "typo"
    if name.last in ("missing", "initial"):
        of_household = likeness.email == "household" and _given_only(likeness)
        return bool(agreed) or of_household or (close_date and name.first != "missing")
    return True  # a family name alone, or two doubtful parts: the probability decides


def separated(case: Case, one: Grade, other: Grade) -> bool:
    """Whether something that was said tells `one` from `other`, in favour of `one`."""
    a, b = one.likeness, other.likeness
    # Mary with Marie's number: whose name it is outweighs whose number it is
    only_numbers = set(other.contradictions) - set(one.contradictions) <= _NUMBERS
    if not (other.agreed and only_numbers and _given_exact(b) and not _given_exact(a)):
        if len(other.contradictions) > len(one.contradictions):
            return True
        if _NUMBERS & (one.agreed - other.agreed):
            return True
    if a.birth_date == "same" and b.birth_date not in ("same", ""):
        return True
    if a.birth_date in ("swapped", "slip", "day and month", "month and year", "year") and b.birth_date in (
        "differs",
        "year differs",
        "one part differs",
    ):
        return True
    if a.suffix == "same" and b.suffix != "same":
        return True
    if a.age == "same" and b.age in ("near", "differs"):
        return True
    house = bool(household_keys(a.voter) & household_keys(b.voter))
    if a.name is not None and b.name is not None:
        if a.name.middle in ("same", "initial") and b.name.middle == "differs":
            return True
        if _clearer_name(one, other):
            return True
    # a new address may be a namesake's, whom the writer moves in with
    if a.address in address_fit.AGREE and not a.moving and b.address not in address_fit.AGREE:
        return True
    if a.address == "street only" and not a.moving and b.address in address_fit.ELSEWHERE:
        return True
    exact = a.name is None or _given_exact(a)
    if "email_on_file" in one.agreed - other.agreed and (exact or not house):
        return True
    return "phone_on_file" in one.agreed - other.agreed and not house


def _given_exact(likeness: Likeness) -> bool:
    return likeness.name is not None and likeness.name.first in ("same", "transliteration")


def _clearer_name(one: Grade, other: Grade) -> bool:
    """Whether the name alone tells them apart. A short form does not: an Alexander may sign Alex beside a son Alex."""
    a, b = one.likeness.name, other.likeness.name
    if a is None or b is None:
        return False
    if one.fits and not other.fits and b.first in ("differs", "missing", "similar name"):
        return True
    if a.place != b.place:
        return False
    exact = ("same", "transliteration")
    if a.first in exact and a.last in (*exact, "former name", "part"):
        if b.first in ("typo", "similar name", "middle name") or b.last in ("typo", "differs", "initial"):
            return True
        return b.turned and not a.turned
    return False


def missing(case: Case, best: Grade | None, rivals: Sequence[Grade]) -> tuple[str, ...]:
    """Facts to ask for: what would tell the candidates apart first, then what would make one of them certain."""
    clues = case.clues
    given: Mapping[str, bool] = {
        "name": any(len(written.tokens) > 1 or written.hangul for _, written in case.written),
        "birth_date": bool(clues.birth_dates),
        "address": bool(clues.addresses),
        "voter_id": bool(clues.voter_ids),
    }
    agreed = best.agreed if best else frozenset()
    wanted: list[str] = []
    if best and rivals:
        everyone = [best.likeness, *(rival.likeness for rival in rivals)]
        dates = {likeness.voter.birth_date for likeness in everyone}
        streets = {likeness.voter.street.casefold() for likeness in everyone}
        firsts = {name_of(likeness.voter).first for likeness in everyone}
        full = [
            likeness.name is not None and likeness.name.fits and likeness.name.first == "same" for likeness in everyone
        ]
        if len(firsts) == len(everyone) and not any(full):
            wanted.append("name")
        if len(dates) == len(everyone) and "birth_date" not in agreed:
            wanted.append("birth_date")
        if len(streets) > 1 and "address" not in agreed:
            wanted.append("address")
        if "voter_id" not in wanted:
            wanted.append("voter_id")
    if not given["name"]:
        wanted.insert(0, "name")
    for fact in ("birth_date", "address", "voter_id"):
        if fact not in agreed and not (given[fact] and best is None and fact != "voter_id"):
            wanted.append(fact)
    return tuple(dict.fromkeys(wanted))
