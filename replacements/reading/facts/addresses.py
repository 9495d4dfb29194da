"""Addresses of a message, what each is for, and which belong to something else (the office, a shop, a drop box)."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from replacements.reading.facts.names import is_given
from replacements.reading.facts.street_parts import StreetLine
from replacements.reading.facts.streets import street_lines
from replacements.reading.facts.vocabulary import Vocabulary, vocabulary
from replacements.reading.types import AddressFound, AddressRole

_BEFORE = 90
_AFTER = 45
_SENTENCE_END = re.compile(r"[!?]\s|(?<=[a-z0-9)]{3})\.\s+(?=[A-Z¿¡À-Ỹ])|\n\s*\n")
_ONWARD = re.compile(
    r"\W{0,3}(?:(?:and\s+)?(?:in)?to|a|al|hasta|đến|tới|qua|sang|에서)\W{0,3}(?:a place at|an apartment at)?\s*$", re.I
)

_FROM = re.compile(
    r"(?:^|\W)(?:from|out of|de|del|desde|từ|tu)\s+(?:(?:our|my|the|mi|la|số|so|nhà|nha)\s+){0,2}$", re.I
)


@dataclass(frozen=True, slots=True)
class AddressPlace:
    """An address at `start`–`end`. `elsewhere`: it is not a person's. `numbered`: more than a street's name."""

    start: int
    end: int
    found: AddressFound
    elsewhere: bool = False
    numbered: bool = True


def _clause(text: str, start: int, floor: int) -> str:
    window = text[max(floor, start - _BEFORE) : start]
    cut = max((m.end() for m in _SENTENCE_END.finditer(window)), default=0)
    window = window[cut:]
    lines = window.split("\n")
    if len(lines) > 1 and not lines[-1].strip():
        # An address that opens a line under a short line (a name, a closing) stands in a signature block.
        begin = text.rfind("\n", 0, max(0, start - len(lines[-1]) - 1)) + 1
        if len(text[begin:start].strip()) < 34:
            return ""
    return window


def _last(words: Vocabulary, name: str, window: str) -> int:
    return max((m.start() for m in words.pattern(name).finditer(window)), default=-1)


def _role(
    text: str, line: StreetLine, floor: int, ceiling: int, words: Vocabulary, *, changes: bool
) -> tuple[AddressRole, bool]:
    """What the address is for, and whether it is somebody's at all: the nearest words before it say, or those after."""
    before = _clause(text, line.start, floor)
    after = text[line.end : min(ceiling, line.end + _AFTER)]
    if words.pattern("old_after").match(after):
        return AddressRole.OLD, False
    if words.pattern("new_after").match(after) and changes:
        return AddressRole.NEW, False
    spots = {
        "old": _last(words, "old", before),
        "home_strong": _last(words, "home_strong", before),
        "new_strong": _last(words, "new_strong", before),
        "new_weak": _last(words, "new_weak", before) if changes else -1,
        "elsewhere": _last(words, "elsewhere", before[-60:]) + max(0, len(before) - 60),
    }
    if words.pattern("elsewhere").search(before[-60:]) is None:
        spots["elsewhere"] = -1
    best = max(spots, key=lambda name: spots[name])
    if spots[best] < 0:
        return AddressRole.HOME, False
    if best == "elsewhere":
        return AddressRole.HOME, True
    if best == "old":
        return AddressRole.OLD, False
    if best == "home_strong":
        return AddressRole.HOME, False
    return AddressRole.NEW, False


def _alone_on_line(text: str, line: StreetLine) -> bool:
    begin = text.rfind("\n", 0, line.start) + 1
    end = text.find("\n", line.end)
    rest = text[begin : line.start] + text[line.end : end if end >= 0 else len(text)]
    return not rest.strip(" \t,.;()-–—")


def _introduced(text: str, line: StreetLine, words: Vocabulary) -> bool:
    before = text[max(0, line.start - 50) : line.start]
    after = text[line.end : line.end + 16]
    return words.pattern("live_at").search(before) is not None or words.pattern("live_after").match(after) is not None


def _after_a_name(text: str, start: int) -> bool:
    """ "Ana Ruiz, 45 Gorse" or "Ana Ruiz on Gorse Road": capital words, then a comma, "on", "of" or nothing."""
    before = text[max(0, start - 60) : start]
    return (
        re.search(
            r"(?:^|[^\w])[A-ZÀ-Ỹ][\w'’.-]*(?:\s+[A-ZÀ-Ỹ][\w'’.-]*){0,3}(?:\s*,\s*|\s+(?:on|of|from|at|de)\s+|\s+)$",
            before,
        )
        is not None
    )


def _before_particulars(text: str, line: StreetLine) -> bool:
    """ "…, 45 gorse bank, dob 1/2/60": between commas, with a particular behind it; "ida moss 45 gorse" at the end."""
    small = re.search(r"(?:^|[^\w])([a-z]+)\s+[a-z]+\s+$", text[max(0, line.start - 34) : line.start])
    if small and is_given(small[1]) and not text[line.end :].split("\n")[0].strip(" ."):
        return True
    behind = re.match(
        r"\s*[,\n]\s*(?:dob\b|d\.o\.b|born\b|birth|nacid|sinh\b|\d{1,2}[/-]\d|(?:19|20)\d\d\b|\d{5}\b|phone\b|tel\b)",
        text[line.end : line.end + 16],
        re.I,
    )
    return behind is not None and re.search(r"[,\n]\s*$", text[max(0, line.start - 3) : line.start]) is not None


def _counts(text: str, line: StreetLine, words: Vocabulary) -> bool:
    """Whether a line without a street word, or without a number, stands where an address would."""
    if line.sure:
        return True
    alone, introduced = _alone_on_line(text, line), _introduced(text, line, words)
    if line.numbered:
        if _before_particulars(text, line):
            return True
        has_capital = any(w[0].isupper() for w in line.street.split()[1:])
        if (line.unit or line.zip or line.state) and (has_capital or introduced):
            return True
        return introduced or alone or (has_capital and (_after_a_name(text, line.start) or bool(line.city)))
    return (
        bool(line.unit)
        or alone
        or introduced
        or (_after_a_name(text, line.start) and bool(line.city or line.unit))
        or (re.search(r"[A-Z][\w'’]+\s+(?:on|of)\s+$", text[max(0, line.start - 24) : line.start]) is not None)
    )


def find_addresses(
    text: str,
    language: str,
    taken: Sequence[tuple[int, int]] = (),
    *,
    changes: bool = False,
    not_city: Collection[str] = (),
) -> tuple[AddressPlace, ...]:
    """Every address of the text in its order.

    `taken`: places that dates, telephones and ids hold. `changes`: the message asks for a change of address, so
    "send it to …" names a new one. `not_city`: words (lower case) of the sender's name, which end an address block.
    """
    if not any(c.isdigit() for c in text) and not re.search(r"[A-Z]", text):
        return ()
    words = vocabulary(language)
    lines = [s for s in street_lines(text, words, taken, not_city) if _counts(text, s, words)]
    places: list[AddressPlace] = []
    for i, line in enumerate(lines):
        floor = lines[i - 1].end if i else 0
        ceiling = lines[i + 1].start if i + 1 < len(lines) else len(text)
        role, elsewhere = _role(text, line, floor, ceiling, words, changes=changes)
        onward = _ONWARD.match(text[floor : line.start]) is not None
        if changes and onward and places and places[-1].found.role is not AddressRole.OLD:
            before = places[-1]
            if _FROM.search(text[max(0, before.start - 24) : before.start]):  # "from X to Y"
                places[-1] = replace(before, found=replace(before.found, role=AddressRole.OLD))
                role = AddressRole.NEW
        if changes and role is AddressRole.HOME and onward and places and places[-1].found.role is AddressRole.OLD:
            role = AddressRole.NEW
        written = re.sub(r"\s*\n\s*", ", ", text[line.start : line.end]).strip(" ,.;")
        found = AddressFound(written, line.street, line.unit, line.city, line.state, line.zip, role)
        places.append(AddressPlace(line.start, line.end, found, elsewhere, line.numbered))
    return tuple(_settled(text, _without_echoes(places), words, changes=changes))


def _without_echoes(places: list[AddressPlace]) -> list[AddressPlace]:
    """Leave out a street's bare name where the same street stands in full elsewhere in the text."""
    full = [re.sub(r"\W+", " ", p.found.street.lower()) for p in places if p.numbered]

    def echoes(place: AddressPlace) -> bool:
        first = re.sub(r"\W+", " ", place.found.street.lower()).split(" ")[0]
        return not place.numbered and any(first in f.split(" ") for f in full)

    return [p for p in places if not echoes(p)]


def _settled(text: str, places: list[AddressPlace], words: Vocabulary, *, changes: bool) -> list[AddressPlace]:
    """In a change of address with an old place, or two places and no role, the last unmarked one is the new one."""
    own = [p for p in places if not p.elsewhere and p.numbered]
    if not changes or any(p.found.role is AddressRole.NEW for p in own):
        return places
    homes = [p for p in own if p.found.role is AddressRole.HOME]
    marked = [p for p in homes if words.pattern("home_strong").search(_clause(text, p.start, 0)[-30:])]
    free = [p for p in homes if p not in marked]
    if not free or (len(own) < 2):
        return places
    # The one behind a name ("Ana Poe, 45 Gorse Rd") tells who writes.
    last = ([p for p in free if not _after_a_name(text, p.start)] or free)[-1]
    return [replace(p, found=replace(p.found, role=AddressRole.NEW)) if p is last else p for p in places]
