"""Delivery lines in the form of USPS Publication 28, and how two addresses agree. Pure.

`delivery_line` gives the line as the post writes it; `Delivery` its parts, for comparison. Spellings are data files.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from replacements.roll.names import fold

DIRECTIONS = {
    "NORTH": "N", "SOUTH": "S", "EAST": "E", "WEST": "W", "NORTHEAST": "NE", "NORTHWEST": "NW", "SOUTHEAST": "SE",
    "SOUTHWEST": "SW", "N": "N", "S": "S", "E": "E", "W": "W", "NE": "NE", "NW": "NW", "SE": "SE", "SW": "SW",
}  # fmt: skip
_PAIRS = {("N", "E"): "NE", ("N", "W"): "NW", ("S", "E"): "SE", ("S", "W"): "SW"}
_NUMBER = re.compile(r"\d+[A-Z]?(?:-\d+[A-Z]?)?|[NSEW]\d+[NSEW]\d+")
_FRACTION = re.compile(r"\d/\d")
_BOX = r"(?:#|NO|NUM|NUMBER)? ?#? ?(?P<box>[A-Z]?-?\d+[A-Z]?(?:-\d+)?|[A-Z])"
_PO_BOX = re.compile(
    r"(?:P ?O ?B(?![A-Z])|(?:P ?O|POST OFFICE|POSTAL|APARTADO(?: POSTAL)?) ?(?:BOX|BX|DRAWER)?|BOX|DRAWER|"
    r"CALLER|BIN|LOCK ?BOX|FIRM CALLER)\s?" + _BOX + r"(?: (?P<rest>.*))?"
)
_ROUTE = re.compile(
    r"(?:R ?R|RURAL (?:ROUTE|RTE|RT)|R ?F ?D(?: (?:ROUTE|RTE|RT))?|RD|RURAL FREE DELIVERY|(?:RTE?|ROUTE)(?= ?\d+ ))"
    r"\s?#? ?0*(?P<route>\d+) ?(?:BOX|BX|#)? ?#? ?(?P<box>[A-Z]?\d+[A-Z]?(?:-\d+)?)?"
)
_HIGHWAY_CONTRACT = re.compile(
    r"(?:H ?C(?: ?R)?|HIGHWAY CONTRACT(?: (?:ROUTE|RTE|RT))?|STAR (?:ROUTE|RTE|RT))\s?#? ?0*(?P<route>\d+)"
    r" ?(?:BOX|BX|#)? ?#? ?(?P<box>[A-Z]?\d+[A-Z]?(?:-\d+)?)?"
)
_MILITARY = re.compile(r"(?P<kind>PSC|CMR|UNIT) ?#?(?P<number>\d+)(?: (?:BOX|BX) ?#?(?P<box>\d+[A-Z]?))?")
_GENERAL = re.compile(r"(?:GEN|GENERAL) (?:DEL|DELIVERY)")
_ROADS = (
    "AVE",
    "RD",
    "ST",
    "RTE",
    "HWY",
    "TRL",
    "LOOP",
)  # what may stand before the name: AVENUE E, ROAD 12, HIGHWAY 20
_NUMBERED_ROADS = {"HWY": "HIGHWAY", "RTE": "ROUTE", "RT": "ROUTE", "RD": "ROAD"}
_HIGHWAY_BEFORE = frozenset(
    {"COUNTY", "STATE", "US", "OLD", "INTERSTATE", "FARM", "RANCH", "TOWNSHIP", "FOREST", "INDIAN"}
)
# Publication 28, appendix F: ways to write a county road or highway that carries a number or letter.
_COUNTY = frozenset({"CO", "CTY", "CNTY", "COUNTY"})
_COUNTY_WAYS = {"RD": "ROAD", "ROAD": "ROAD", "HWY": "HIGHWAY", "HIGHWAY": "HIGHWAY"}
_SPANISH_STREETS = frozenset({"CALLE", "AVENIDA", "CAMINO", "VIA", "PASEO"})  # before the name, and never abbreviated
_ORDINALS = {
    "FIRST": "1ST", "SECOND": "2ND", "THIRD": "3RD", "FOURTH": "4TH", "FIFTH": "5TH", "SIXTH": "6TH", "SEVENTH": "7TH",
    "EIGHTH": "8TH", "NINTH": "9TH", "TENTH": "10TH", "ELEVENTH": "11TH", "TWELFTH": "12TH",
}  # fmt: skip
_SAME_WORD = {
    "SAINT": "ST",
    "MOUNT": "MT",
    "FORT": "FT",
    "MOUNTAIN": "MTN",
    "SAINTS": "STS",
    "DOCTOR": "DR",
    "JUNIOR": "JR",
}


def _table(name: str) -> list[list[str]]:
    text = (resources.files("replacements.roll") / "data" / name).read_text("utf-8")
    return [line.split() for line in text.splitlines() if line and not line.startswith("#")]


@lru_cache(maxsize=1)
def suffixes() -> dict[str, str]:
    """Every spelling of a street suffix -> its short form."""
    return {spelling: row[0] for row in _table("street_suffixes.txt") for spelling in row}


@lru_cache(maxsize=1)
def suffix_words() -> dict[str, str]:
    """Short form of a suffix -> the word in full, as it is spelled where it is part of a name."""
    return {row[0]: row[1] if len(row) > 1 else row[0] for row in _table("street_suffixes.txt")}


@lru_cache(maxsize=1)
def units() -> dict[str, tuple[str, bool]]:
    """Every spelling of a unit designator -> (short form, needs a number)."""
    return {spelling: (row[1], row[0] == "+") for row in _table("units.txt") for spelling in row[1:]}


@dataclass(frozen=True, slots=True)
class Delivery:
    """A delivery line taken apart. `kind`: street, box (PO, RR, HC, military), general, named (no house number) or "".

    `number` is the house number or, for boxes, what the whole line is told by. `names` are the street's words.
    """

    kind: str = ""
    number: str = ""
    before: str = ""
    names: tuple[str, ...] = ()
    suffix: str = ""
    after: str = ""
    unit: tuple[str, ...] = ()  # designator and number by turns: ("APT", "3"), ("BLDG", "2", "APT", "5")
    line: str = ""  # as the post writes it

    @property
    def key_names(self) -> tuple[str, ...]:
        """The street's words in one spelling (Saint and St, Fourth and 4th)."""
        return tuple(_SAME_WORD.get(word, _ORDINALS.get(word, word)) for word in self.names)

    @property
    def unit_number(self) -> str:
        """The unit without its designators and hyphens: `APT 3-B` and `# 3B` -> `3B`."""
        words = [w for w in self.unit if w != "#" and (w not in units() or not units()[w][1])]
        return "".join(words).replace("-", "").lstrip("0") if words else ""


def parse(street: str, unit: str = "") -> Delivery:
    """Take a delivery line apart; `street` may carry the unit, and city and state after commas (which are left out)."""
    segments = [s for s in (_clean(piece) for piece in street.split(",")) if s]
    unit_words: list[str] = []
    if not segments:
        return Delivery(unit=_unit(_clean(unit).split()))
    if len(segments) > 1 and _special(" ".join(segments[:2])):
        segments[:2] = [" ".join(segments[:2])]  # Rural Route 2, Box 9
    main = next((s for s in segments if _special(s)), "") or next(filter(_begins_with_number, segments), segments[0])
    for segment in segments:
        if segment is not main and (words := _unit(segment.split())):
            unit_words += words
    unit_words += _unit(_clean(unit).split(), whole=True)
    if special := _special(main):
        return Delivery(
            special.kind,
            special.number,
            names=special.names,
            unit=tuple(unit_words),
            line=_with_unit(special.line, unit_words),
        )
    return _street(main.split(), tuple(unit_words))


def delivery_line(street: str, unit: str = "") -> str:
    """The line as Publication 28 has it: upper case, short forms, one space. `1 North Bay Street` -> `1 N BAY ST`."""
    return parse(street, unit).line


def _clean(text: str) -> str:
    if text.isascii() and text.replace(" ", "").isalnum():  # as most lines on a roll: nothing to take off
        return " ".join(text.upper().split()).replace("CAN HO ", "CANHO ")
    text = re.sub(r"#", " # ", text)
    folded = []
    for word in text.split():
        kept = word.strip(".,;:()\"'").replace("'", "").replace("’", "")
        if re.fullmatch(r"(?:[A-Za-z]\.)+[A-Za-z]?", word):
            kept = word.replace(".", "")  # P.O., S.W.
        if not re.fullmatch(r"\d+(?:\.\d+)?|\d+/\d+|[\w-]*\d[\w-]*|#", kept):
            kept = fold(kept)
        if kept:
            folded.append(kept.upper())
    return " ".join(folded).replace("CAN HO ", "CANHO ")  # căn hộ, an apartment in Vietnamese


def _begins_with_number(segment: str) -> bool:
    words = segment.split()
    return len(words) > 1 and bool(_NUMBER.fullmatch(words[0])) and words[1] not in units()


def _special(text: str) -> Delivery | None:
    """PO boxes, rural and highway routes, military and general delivery."""
    if match := _HIGHWAY_CONTRACT.fullmatch(text):
        return _boxed("HC", match["route"], match["box"])
    if (match := _ROUTE.fullmatch(text)) and (match["box"] or not text.startswith("RD")):
        return _boxed("RR", match["route"], match["box"])
    if (match := _MILITARY.fullmatch(text)) and (match["box"] or match["kind"] != "UNIT"):
        return _boxed(match["kind"], match["number"], match["box"])
    if (match := _PO_BOX.fullmatch(text)) and not match["rest"]:
        number = match["box"]
        return Delivery("box", f"PO {number}", line=f"PO BOX {number}")
    if _GENERAL.fullmatch(text):
        return Delivery("general", "GENERAL DELIVERY", line="GENERAL DELIVERY")
    return None


def _boxed(kind: str, route: str, box: str | None) -> Delivery:
    line = f"{kind} {route}" + (f" BOX {box}" if box else "")
    return Delivery("box" if box else "named", line, names=() if box else (kind, route), line=line)


def _unit(words: list[str], *, whole: bool = False) -> tuple[str, ...]:
    """Designator and number by turns. With `whole` everything is a unit, designator or not (`4B` -> # 4B)."""
    found: list[str] = []
    place = 0
    while place < len(words):
        word = words[place]
        known = units().get(word)
        if known and known[1] and place + 1 < len(words):
            place += 1
            number = words[place + 1] if words[place] == "#" and place + 1 < len(words) else words[place]
            place += words[place] == "#"
            found += [known[0], number]
        elif known and not known[1]:
            found.append(known[0])
        elif word == "#" and place + 1 < len(words):
            place += 1
            found += ["#", words[place]]
        elif whole and word != "#":
            found += [word] if found or not re.search(r"\d", word) else ["#", word]
        place += 1
    return tuple(found)


def _split_unit(words: list[str]) -> tuple[list[str], list[str]]:
    """The words of the street and the words of the unit at its end."""
    for place in range(2, len(words)):
        known = units().get(words[place])
        if words[place] == "#":
            return words[:place], words[place:]
        if not known:
            continue
        after = words[place + 1] if place + 1 < len(words) else ""
        has_number = (
            after == "#"
            or bool(re.search(r"\d", after))
            or bool(re.fullmatch("[A-Z]{1,2}", after) and after not in suffixes())
        )
        if has_number if known[1] else (not after and words[place] not in suffixes()):
            return words[:place], words[place:]
    place = len(words) - 1  # 12 Oak St 4, 12 Oak St 4B: a number after the suffix is a unit
    if (
        place >= 3
        and re.fullmatch(r"\d+[A-Z]?|[A-Z]\d+|[A-DF-MO-RT-VX-Z]", words[place])
        and words[place - 1] in suffixes()
        and words[place - 1] not in ("HWY", "HIGHWAY", "ROUTE", "RTE", "RD", "ROAD")
    ):
        return words[:place], ["#", words[place]]
    return words, []


def _street(words: list[str], unit: tuple[str, ...]) -> Delivery:
    number: list[str] = []
    if words and _NUMBER.fullmatch(words[0]) and len(words) > 1:
        number.append(words.pop(0))
        if words and _FRACTION.fullmatch(words[0]):
            number.append(words.pop(0))
    body, own_unit = _split_unit(["", *words] if number else words)  # the empty word stands for the house number
    body = _county_road([w for w in body if w])
    unit = (*_unit(own_unit, whole=True), *unit)
    before, names, suffix, after = _parts(body)
    pieces = [*number, before, *names, suffix, after]
    line = _with_unit(" ".join(p for p in pieces if p), list(unit))
    kind = "street" if number and (names or after) else "named"
    return Delivery(kind, " ".join(number), before, tuple(names), suffix, after, unit, line)


def _county_road(words: list[str]) -> list[str]:
    """ "CO RD 12", "CR 12", "CTY HWY B" in the words of Publication 28: COUNTY ROAD 12, COUNTY HIGHWAY B."""
    ahead = (
        2 if len(words) > 2 and words[0] in _COUNTY and words[1] in _COUNTY_WAYS else 1 if words[:1] == ["CR"] else 0
    )
    if not ahead or len(words) <= ahead or not re.fullmatch(r"\d+[A-Z]?|[A-Z]{1,2}", words[ahead]):
        return words
    return ["COUNTY", "ROAD" if ahead == 1 else _COUNTY_WAYS[words[1]], *words[ahead:]]


def _with_unit(line: str, unit: list[str] | tuple[str, ...]) -> str:
    return " ".join([line, *unit]).strip()


def _parts(words: list[str]) -> tuple[str, list[str], str, str]:
    """(directional before, names, suffix, directional after) by the order of Publication 28."""
    if len(words) == 1:
        return "", words, "", ""
    if words and suffixes().get(words[0]) in _ROADS and len(words) == 2 and re.fullmatch(r"[A-Z]|\d+[A-Z]?", words[1]):
        return "", [suffix_words()[suffixes()[words[0]]], words[1]], "", ""  # AVENUE E, ROAD 12
    if words and words[0] in _SPANISH_STREETS:
        return "", words, "", ""
    after = ""
    if len(words) > 2 and words[-1] in DIRECTIONS:
        after, words = DIRECTIONS[words[-1]], words[:-1]
        if len(words) > 2 and (both := _PAIRS.get((DIRECTIONS.get(words[-1], ""), after))):
            after, words = both, words[:-1]
    elif len(words) == 2 and words[1] in DIRECTIONS and re.search(r"\d", words[0]):
        return "", words[:1], "", DIRECTIONS[words[1]]  # 1700 SOUTH
    suffix = ""
    if len(words) > 1 and words[-1] in suffixes() and words[-2] not in ("HIGHWAY", "HWY"):
        suffix, words = suffixes()[words[-1]], words[:-1]
    before = ""
    if len(words) > 1 and words[0] in DIRECTIONS:
        before, words = DIRECTIONS[words[0]], words[1:]
        if len(words) > 1 and (both := _PAIRS.get((before, DIRECTIONS.get(words[0], "")))):
            before, words = both, words[1:]
    elif len(words) == 1 and words[0] in DIRECTIONS:
        words = [_full_direction(words[0])]  # NORTH AVE: the street's name
    return before, _names(words, suffix), suffix, after


def _names(words: list[str], suffix: str) -> list[str]:
    """The street's own words, with a suffix inside the name spelled out (COUNTY HIGHWAY 20, MAIN AVENUE DR)."""
    names = list(words)
    for place, word in enumerate(names[:2]):
        numbered = place + 1 < len(names) and re.fullmatch(r"\d+[A-Z]?", names[place + 1])
        if numbered and word in _NUMBERED_ROADS and (place == 0 or names[0] in _HIGHWAY_BEFORE):
            names[place] = _NUMBERED_ROADS[word]
    short = names[-1] == suffixes().get(names[-1]) and names[-1] not in ("ST", "MT", "FT")
    if suffix and len(names) > 1 and short:
        names[-1] = suffix_words()[names[-1]]
    return names


def _full_direction(word: str) -> str:
    return next(full for full, short in DIRECTIONS.items() if short == DIRECTIONS[word] and len(full) > 2)


@lru_cache(maxsize=1024)
def street_skeleton(delivery: Delivery) -> str:
    """What the index finds a street by: its words without vowels, so that most typos keep it."""
    if delivery.kind == "box":
        return delivery.number
    word = "".join(delivery.key_names)
    if any(c.isdigit() for c in word):
        return word
    return word[:1] + re.sub(r"[AEIOUYHW]|(.)(?=\1)", "", word[1:])[:4]
