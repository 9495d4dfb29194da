"""How an address that somebody gives agrees with the one or two on a voter's record. Pure."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz.distance import OSA

from replacements.roll.addresses import Delivery, parse, suffixes, units
from replacements.roll.names import fold
from replacements.roll.types import AddressClue, Voter

# Best first. The first six agree closely enough to act on.
LEVELS = (
    "same", "mailing address", "unit not given", "street typo", "mailing address, unit not given",
    "box, town not given", "unit differs", "house number slip", "other street type", "other city", "street only",
    "other house number", "city only", "same town", "differs",
)  # fmt: skip
AGREE = frozenset(LEVELS[:6])
# Another place than the one on file, whatever else they share.
ELSEWHERE = frozenset({"differs", "other city", "other house number", "same town"})
_BUILDINGS = frozenset({"HALL", "HOUSE", "DORM", "DORMITORY", "TOWER", "RESIDENCE", "BARRACKS"})
_DIGITS, _NOT_DIGITS = re.compile(r"\d"), re.compile(r"\D")
_DOUBLED = re.compile(r"(.)(?=\1)")
_RANK = {level: place for place, level in enumerate(LEVELS)}


@dataclass(frozen=True, slots=True)
class Place:
    """An address in the form in which it is compared."""

    delivery: Delivery
    city: str
    zip: str


_CITY_STATE_ZIP = re.compile(r"^(?P<city>[^\d,]*?)[\s,]+(?P<state>[A-Za-z]{2})\.?(?:[\s,]+(?P<zip>\d{5})(?:-\d{4})?)?$")


@lru_cache(maxsize=1024)
def place(street: str, unit: str, city: str, zip_code: str) -> Place:
    """Fields as on file or as written. A street that carries its city after commas gives the city up."""
    if not city and "," in street:
        head, _, tail = street.partition(",")
        while tail and not _CITY_STATE_ZIP.match(tail.strip()) and "," in tail:
            more, _, tail = tail.partition(",")
            head += "," + more
        if tail and (match := _CITY_STATE_ZIP.match(tail.strip())):
            street, city, zip_code = head, match["city"], zip_code or match["zip"] or ""
        elif (town := street.rpartition(","))[2] and _may_be_town(town[2]) and any(c.isdigit() for c in town[0]):
            street, city = town[0], town[2]
    return Place(parse(street, unit), fold(city), "".join(c for c in zip_code if c.isdigit())[:5])


def _may_be_town(text: str) -> bool:
    words = text.upper().split()
    if not 1 <= len(words) <= 4 or any(c.isdigit() for c in text):
        return False
    return not (words[0] in units() or words[-1] in suffixes() or _BUILDINGS & {*words})


def places_on_file(voter: Voter) -> tuple[Place, Place | None]:
    """(registered, mailing or None)."""
    home = place(voter.street, voter.unit, voter.city, voter.zip)
    if not (voter.mail_street or voter.mail_unit):
        return home, None
    return home, place(voter.mail_street, voter.mail_unit, voter.mail_city, voter.mail_zip)


def place_of(clue: AddressClue) -> Place:
    return place(clue.street, clue.unit, clue.city, clue.zip)


def agreement(clues: tuple[AddressClue, ...], voter: Voter) -> tuple[str, bool]:
    """The best level over all addresses given and on file ("" where nothing can be compared), and whether only an
    address that the writer is moving to or away from agrees. Such a one says nothing where it does not agree.
    """
    if not clues:
        return "", False
    places = places_on_file(voter)
    settled = _best([_level(clue, places) for clue in clues if not clue.moved])
    if settled in AGREE:
        return settled, False
    moving = _best([level for clue in clues if clue.moved and (level := _level(clue, places)) in AGREE])
    return (moving, True) if moving else (settled, False)


def differs_otherwise(clues: tuple[AddressClue, ...], voter: Voter) -> bool:
    """Whether an address that is not a new one is another than those on file."""
    places = places_on_file(voter)
    return any(_level(clue, places) in ELSEWHERE for clue in clues if not clue.moved)


def _best(levels: list[str]) -> str:
    return min((level for level in levels if level), key=_RANK.__getitem__, default="")


def _level(clue: AddressClue, places: tuple[Place, Place | None]) -> str:
    said, (home, mailing) = place_of(clue), places
    level = _agreement(said, home)
    if mailing is not None and level not in AGREE and (other := _agreement(said, mailing)):
        # every level of agreement with the second address is named as what it is
        second = {"same": "mailing address", "unit not given": "mailing address, unit not given"}.get(other, other)
        level = _best([level, second])
    return level


def _agreement(said: Place, filed: Place) -> str:
    level = _street_agreement(said.delivery, filed.delivery)
    city = _same_city(said, filed)
    if not level:
        if city is None:
            return ""
        if said.delivery.kind:
            return "differs"
        return "city only" if city else "differs"
    if level == "differs":
        return "same town" if city else "differs"
    if level in ("street only", "other house number"):
        return level if city is not False else "differs"
    if city is False:
        return "other city"
    if level == "street typo" and city is None:
        return "house number slip"  # a typo is only taken for one where the town agrees
    if said.delivery.kind in ("general", "named") and city is None:
        return "street only"
    if filed.delivery.kind == "box" and city is None and filed.delivery.number.startswith(("PO", "RR", "HC")):
        return "box, town not given"  # every town has a PO box 12
    return level


def _same_city(said: Place, filed: Place) -> bool | None:
    """None where it cannot be told. The same ZIP code outweighs the name of the town: many towns have two."""
    if said.zip and filed.zip and said.zip == filed.zip:
        return True
    if said.city and filed.city:
        one, other = said.city.replace(" ", ""), filed.city.replace(" ", "")
        if OSA.distance(one, other, score_cutoff=2) <= (2 if len(other) > 7 else 1):
            return True
        return None if one in other or other in one else False  # Upper Ford and Ford may be one town, or two
    if said.zip and filed.zip:
        return OSA.distance(said.zip, filed.zip) <= 1 or None
    return None


def _street_agreement(said: Delivery, filed: Delivery) -> str:
    if not said.kind or not filed.kind:
        return ""
    if said.kind == "box" or filed.kind == "box":
        return "same" if said.number == filed.number else "differs"
    if said.kind == "general" or filed.kind == "general":
        return "same" if said.kind == filed.kind else "differs"
    names = _same_names(said, filed)
    if not names:
        return "differs"
    if (said.before and filed.before and said.before != filed.before) or (
        said.after and filed.after and said.after != filed.after
    ):
        return "differs"
    if said.kind == "named" or filed.kind == "named":
        if said.unit_number and said.unit_number == filed.unit_number and _BUILDINGS & {*said.names}:
            return "same"  # Rowan Hall, Rm 332: a room is as good as a house number
        return "street only"
    within = names == "same" and _words(said) != _words(filed) and said.key_names != filed.key_names
    if said.suffix and filed.suffix and said.suffix != filed.suffix and not within:
        return "other street type" if said.number == filed.number else "differs"
    if said.number != filed.number:
        slip = len(filed.number) > 1 and OSA.distance(said.number, filed.number) == 1
        return "house number slip" if slip and names == "same" else "other house number"
    unit, other = said.unit_number, filed.unit_number
    if unit and other and unit != other:
        return "unit differs"
    if names == "typo":
        return "street typo"
    return "same" if unit == other else "unit not given"


def _same_names(said: Delivery, filed: Delivery) -> str:
    if said.key_names == filed.key_names:
        return "same"
    # a suffix that one of them took for part of the name: Saltmarsh Pike, Gannet Hill
    one, other = [_words(d) for d in (said, filed)]
    if one == other:
        return "same"
    if _holds_suffix(one, other, filed.suffix) or _holds_suffix(other, one, said.suffix):
        return "same"
    if _slip_of_suffix(one, other, filed.suffix) or _slip_of_suffix(other, one, said.suffix):
        return "typo"  # Dunlin Aev
    if any(c.isdigit() for c in one + other):
        one, number = _DIGITS.sub("", one), _NOT_DIGITS.sub("", one)
        if number != _NOT_DIGITS.sub("", other):
            return ""
        other = _DIGITS.sub("", other)  # County Highhway 20
    longest = max(len(one), len(other))
    if _DOUBLED.sub("", one) == _DOUBLED.sub("", other):
        return "typo"  # Pel, Pell
    if longest < 5:
        return ""
    return "typo" if OSA.distance(one, other, score_cutoff=2) <= (2 if longest > 9 else 1) else ""


def _holds_suffix(longer: str, shorter: str, suffix: str) -> bool:
    """Whether `longer` is `shorter` with its suffix written out as part of the name: Heron Landing (Rd), Heron Lndg."""
    rest = longer[len(shorter) :]
    return bool(suffix and rest) and longer.startswith(shorter) and suffixes().get(rest, rest) == suffix


def _slip_of_suffix(longer: str, shorter: str, suffix: str) -> bool:
    rest = longer[len(shorter) :]
    if not (suffix and rest and longer.startswith(shorter)) or rest in suffixes():
        return False
    return any(short == suffix and OSA.distance(rest, spelling) == 1 for spelling, short in suffixes().items())


def _words(delivery: Delivery) -> str:
    return "".join(delivery.key_names)
