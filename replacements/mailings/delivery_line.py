"""The delivery line of a label in the form that postal machines read best: Publication 28, sections 23 to 28.

Capitals, single spaces, no punctuation but what tells addresses apart; the last suffix, directions and unit designators
abbreviated. What is not understood is left as it was written: a label must never send a ballot somewhere else.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from functools import lru_cache
from pathlib import Path

DATA = Path(__file__).with_name("data")

DIRECTIONS = {
    "NORTH": "N",
    "SOUTH": "S",
    "EAST": "E",
    "WEST": "W",
    "NORTHEAST": "NE",
    "NORTHWEST": "NW",
    "SOUTHEAST": "SE",
    "SOUTHWEST": "SW",
}
_SHORT = frozenset(DIRECTIONS.values())
UNITS_WITH_NUMBER = {
    "APARTMENT": "APT",
    "BUILDING": "BLDG",
    "DEPARTMENT": "DEPT",
    "FLOOR": "FL",
    "HANGAR": "HNGR",
    "KEY": "KEY",
    "LOT": "LOT",
    "PIER": "PIER",
    "ROOM": "RM",
    "SLIP": "SLIP",
    "SPACE": "SPC",
    "SUITE": "STE",
    "STOP": "STOP",
    "TRAILER": "TRLR",
    "UNIT": "UNIT",
}
UNITS_ALONE = {
    "BASEMENT": "BSMT",
    "FRONT": "FRNT",
    "LOBBY": "LBBY",
    "LOWER": "LOWR",
    "OFFICE": "OFC",
    "PENTHOUSE": "PH",
    "REAR": "REAR",
    "SIDE": "SIDE",
    "UPPER": "UPPR",
}
_UNIT = {**UNITS_WITH_NUMBER, **{code: code for code in UNITS_WITH_NUMBER.values()}}
_ALONE = {**UNITS_ALONE, **{code: code for code in UNITS_ALONE.values()}}
_SPELLED = {"HWY": "HIGHWAY", "RD": "ROAD", "AVE": "AVENUE", "ST": "STREET", "RTE": "ROUTE"}

_PO_BOX = re.compile(
    r"(?:P ?O ?BOX|POST OFFICE BOX|P ?O ?DRAWER|(?:FIRM )?CALLER|DRAWER|BIN|LOCK ?BOX|BOX) ?#? ?([0-9A-Z-]+)"
)
_RURAL = re.compile(
    r"(?:RURAL (?:ROUTE|RT|RTE)|RFD(?: ROUTE)?|RD(?: ROUTE)?|RR|ROUTE|RTE?) ?0*([0-9]+) ?(?:BOX|#) ?([0-9A-Z-]+)"
)
_HIGHWAY_CONTRACT = re.compile(
    r"(?:HIGHWAY CONTRACT(?: ROUTE)?|STAR ROUTE|HCR|HC) ?0*([0-9]+) ?(?:BOX|#) ?([0-9A-Z-]+)"
)
_GENERAL = re.compile(r"GEN(?:ERAL)? ?DEL(?:IVERY)?")
_MILITARY = re.compile(r"(?:PSC|CMR|UNIT) [0-9A-Z]+ BOX [0-9A-Z]+|USS? .+|USNS .+")
_NUMBER = re.compile(r"[0-9][0-9A-Z/-]*|[NSEW][0-9]+[NSEW][0-9]+|ONE|TWO|THREE|FOUR|FIVE|SIX|SEVEN|EIGHT|NINE|TEN")
_FRACTION = re.compile(r"[0-9]+/[0-9]+")


@lru_cache(maxsize=1)
def suffixes() -> dict[str, str]:
    """Every known spelling of a street suffix → its code (Publication 28, Appendix C1)."""
    known: dict[str, str] = {}
    with (DATA / "street_suffixes.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            for spelling in (row["code"], row["name"], *row["also"].split()):
                known[spelling] = row["code"]
    return known


def capitals(text: str) -> str:
    """Capital letters, single spaces; punctuation goes, but hyphens, slashes, `#`, `&` and a period between digits."""
    text = unicodedata.normalize("NFC", text).upper().replace("’", "'").replace("'", "")
    text = re.sub(r"(?<![0-9])\.|\.(?![0-9])", " " if re.search(r"\w\.\w\w", text) else "", text)
    text = re.sub(r"[^\w\-/#&. ]|_", " ", text)
    return " ".join(re.sub(r"#", " # ", text).split())


def delivery_line(street: str) -> str:
    """A street line in standard form, a unit at its end included."""
    text = capitals(street)
    for pattern, form in (
        (_PO_BOX, "PO BOX {}"),
        (_RURAL, "RR {} BOX {}"),
        (_HIGHWAY_CONTRACT, "HC {} BOX {}"),
        (_GENERAL, "GENERAL DELIVERY"),
    ):
        if found := pattern.fullmatch(text):
            return form.format(*found.groups())
    if _MILITARY.fullmatch(text):
        return text
    words = text.split()
    words, unit = _split_unit(words)
    number: list[str] = []
    if words and _NUMBER.fullmatch(words[0]) and len(words) > 1:
        number.append(words.pop(0))
        if len(words) > 1 and _FRACTION.fullmatch(words[0]):
            number.append(words.pop(0))
    return " ".join([*number, *_street(words), *unit])


def unit_line(unit: str) -> str:
    """A unit in standard form; `#` where its designator is not known."""
    words = capitals(unit).split()
    if not words:
        return ""
    if words[0] == "PMB":  # a private box is never a unit (section 284)
        return " ".join(words)
    if words[0] in _UNIT and len(words) > 1:
        return " ".join([_UNIT[words[0]], *(word for word in words[1:] if word != "#")])
    if len(words) == 1 and words[0] in _ALONE:
        return _ALONE[words[0]]
    short = len(words) <= 2 and all(re.fullmatch(r"#|[0-9A-Z-]{1,6}", word) for word in words)
    if words[0] == "#" or (short and (any(c.isdigit() for c in words[-1]) or len(words[-1]) == 1)):
        return " ".join(["#", *(word for word in words if word != "#")])
    return " ".join(words)


def can_be_delivered(line: str) -> bool:
    """Does a standard delivery line say where: a house number, a box, a route, general delivery, a military address?"""
    if re.match(r"(PO BOX|RR [0-9]+ BOX|HC [0-9]+ BOX) [0-9A-Z]", line) or line == "GENERAL DELIVERY":
        return True
    if _MILITARY.fullmatch(line):
        return True
    words = line.split()
    return len(words) > 1 and bool(_NUMBER.fullmatch(words[0]))


def _split_unit(words: list[str]) -> tuple[list[str], list[str]]:
    """Take a unit off the end: a designator with what follows it, or one that stands alone behind a suffix."""
    for place in range(2, len(words)):
        rest = words[place + 1 :]
        if words[place] == "#" and rest:
            start = place - 1 if place > 2 and words[place - 1] in _UNIT else place
            unit = unit_line(" ".join(words[start:]))
            return words[:start], unit.split()
        if words[place] in _UNIT and 1 <= len(rest) <= 2 and _looks_like_a_number(rest):
            return words[:place], unit_line(" ".join(words[place:])).split()
        if words[place] in _ALONE and not rest and words[place - 1] in suffixes():
            return words[:place], [_ALONE[words[place]]]
    return words, []


def _looks_like_a_number(words: list[str]) -> bool:
    return all(len(word) == 1 or any(c.isdigit() for c in word) for word in words)


def _street(words: list[str]) -> list[str]:
    """Direction, name, suffix, direction. `words` holds no number and no unit."""
    known = suffixes()
    if len(words) < 2:
        return words
    if words[-1].isdigit() or (len(words) == 2 and len(words[1]) == 1):
        # a numbered or lettered road: AVENUE E, COUNTY HIGHWAY 20; the word is part of the name and spelled out
        code = known.get(words[-2], "")
        if code in _SPELLED:
            return [*words[:-2], _SPELLED[code], words[-1]]
    after: list[str] = []
    for size in (2, 1):
        direction = _direction(words[-size:])
        before = words[: len(words) - size]
        if direction and len(before) >= 2 and (before[-1] in known or before[-1].isdigit()):
            words, after = before, [direction]
            break
    suffix: list[str] = []
    if len(words) >= 2 and words[-1] in known and words[-2] not in ("THE", "OF"):
        words, suffix = words[:-1], [known[words[-1]]]
    for size in (2, 1):
        direction = _direction(words[:size])
        if direction and len(words) > size:
            words = [direction, *words[size:]]
            break
    return [*words, *suffix, *after]


def _direction(words: list[str]) -> str:
    """One direction, or two that make one (NORTH EAST); "" for anything else."""
    codes = [DIRECTIONS.get(word, word if word in _SHORT else "") for word in words]
    together = "".join(codes)
    return together if all(codes) and together in _SHORT else ""
