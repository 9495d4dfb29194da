"""Does a name as written fit a name on file, and how well? Pure; words and levels, no decision.

The written words are laid onto the name on file every way they can be (family name last, first or in the middle, of
one word or three), and the best way counts.
"""

from __future__ import annotations

from dataclasses import dataclass

from rapidfuzz.distance import OSA

from replacements.roll.names import NameOnFile, Written, bare_parts, same_but_for_spelling, surname_parts
from replacements.roll.nicknames_known import full_names, is_known, relation
from replacements.roll.romanisation import given_pattern, may_be_one, same_surname, split_name, surname_spellings

# Best first. The places in these lists order the readings of one name; what they are worth is in weights.toml.
LAST_LEVELS = ("same", "transliteration", "former name", "part", "typo", "initial", "missing", "differs")
FIRST_LEVELS = (
    "same", "transliteration", "nickname", "part", "initial", "typo", "loose nickname", "similar name", "middle name",
    "missing", "differs",
)  # fmt: skip
GIVEN_FITS = frozenset({"same", "transliteration", "nickname", "part", "initial", "typo"})
_VIETNAMESE_MIDDLE = ("thi", "van")  # some rolls have them before the given name, in its column
_LAST_RANK = {level: place for place, level in enumerate(LAST_LEVELS)}
_FIRST_RANK = {level: place for place, level in enumerate(FIRST_LEVELS)}


@dataclass(frozen=True, slots=True)
class NameFit:
    """Levels per part of the name. `middle`: same, initial, missing, differs. `turned`: family name first, unasked."""

    last: str
    first: str
    middle: str = "missing"
    turned: bool = False
    place: int = 0  # which of the written forms it was, 0 = best
    other_letter: bool = False  # a typo that changes the first letter of the given name

    @property
    def fits(self) -> bool:
        """A full name that fits: both parts, and not both of them doubtful."""
        if self.last not in ("same", "transliteration", "former name", "part", "typo") or self.first not in GIVEN_FITS:
            return False
        return not (self.last == "typo" and self.first in ("typo", "initial"))

    @property
    def rank(self) -> tuple[int, int, int, bool]:
        middle = {"same": 0, "initial": 1, "missing": 2, "differs": 3}[self.middle]
        return (_LAST_RANK[self.last] + _FIRST_RANK[self.first], _LAST_RANK[self.last], middle, self.turned)

    @property
    def word(self) -> str:
        """One word or two for the clerk."""
        if self.last == "differs":
            return "other last name" if self.first in GIVEN_FITS else "differs"
        if self.last in ("missing", "initial"):
            return {"differs": "differs", "missing": "not given"}.get(self.first, "first name only")
        if self.first in ("differs", "missing"):
            return "other first name" if self.first == "differs" else "last name only"
        if self.first != "same":
            return self.first
        if self.last != "same":
            return {"part": "part of last name"}.get(self.last, self.last)
        return "swapped order" if self.turned else "same"


def near(one: str, other: str) -> bool:
    """A slip of the keyboard apart: one edit or neighbouring swap from four letters, two from nine."""
    length = max(len(one), len(other))
    if min(len(one), len(other)) < 4 or one == other:
        return False
    return OSA.distance(one, other, score_cutoff=2) <= (2 if length >= 9 else 1)


def compare(written: Written, filed: NameOnFile, place: int = 0) -> NameFit:
    """The best reading of `written` as `filed`."""
    if written.hangul:
        return _compare_hangul(written.hangul, filed, place)
    tokens = written.tokens
    readings: list[NameFit] = []
    for start in range(len(tokens)):
        for end in range(start + 1, min(len(tokens), start + 4) + 1):
            level = _last_level(tokens, start, end, filed)
            if level:
                turned = start == 0 and end < len(tokens)
                given = tokens[:start] or tokens[end:]
                if start and end < len(tokens) and level in ("same", "former name"):
                    level = "part"  # a second family name after it (García Flores for García)
                readings.append(_with_given(level, given, filed, turned, place))
    if not written.surname_only:
        without_last = _with_given("missing", tokens, filed, False, place)
        used = len(filed.first) if without_last.first == "same" else 1
        if len(tokens) > used and without_last.middle not in ("same", "initial"):
            without_last = NameFit("differs", without_last.first, "missing", False, place)
        readings.append(without_last)
    if not readings:
        return NameFit("differs", "missing", "missing", False, place)
    return min(readings, key=lambda fit: fit.rank)


def _last_level(tokens: tuple[str, ...], start: int, end: int, filed: NameOnFile) -> str:
    word = "".join(tokens[start:end])
    best = ""
    for whole, parts_of, former in filed.lasts:
        level = ""
        if word == whole:
            level = "former name" if former else "same"
        elif same_surname(word, whole) or same_but_for_spelling(word, whole):
            level = "transliteration"
        elif word in (bare := bare_parts(parts_of)):
            level = _part_level(tokens, start, end, bare, word, filed)
        elif (parts := surname_parts(parts_of)) and len(parts) > 1 and word in parts:
            level = _part_level(tokens, start, end, parts, word, filed)
        elif near(word, whole) and end - start <= len(parts_of):
            level = "typo"
        elif len(word) == 1 and len(tokens) > 1 and end == len(tokens) and whole.startswith(word):
            level = "initial"
        if level and (not best or _LAST_RANK[level] < _LAST_RANK[best]):
            best = level
    return best


def _part_level(
    tokens: tuple[str, ...], start: int, end: int, parts: tuple[str, ...], word: str, filed: NameOnFile
) -> str:
    """One of two family names. Another second name beside it (López Ruiz for López García) is another person's."""
    beside = tokens[end] if parts[0] == word and end < len(tokens) else tokens[start - 1] if start > 1 else ""
    explained = {*filed.first, *filed.middle, *parts}
    if not beside or len(beside) == 1 or any(beside in (x, x[:1]) or relation(beside, x) for x in explained):
        return "part"
    return ""


def _with_given(last: str, given: tuple[str, ...], filed: NameOnFile, turned: bool, place: int) -> NameFit:
    if not given or not filed.first:
        return NameFit(last, "missing", "missing", turned, place)
    level, rest = _first_level(given, filed)
    if turned and level in ("differs", "middle name"):
        # family name first: the given name may come last, after the middle name (Trần Thị Minh)
        for size in (len(filed.first), 1):
            other, _ = _first_level(given[-size:], filed)
            if size < len(given) and _FIRST_RANK[other] < _FIRST_RANK[level] and other != "middle name":
                level, rest = other, given[:-size]
    return NameFit(last, level, _middle_level(rest, filed), turned, place)


def _first_level(given: tuple[str, ...], filed: NameOnFile) -> tuple[str, tuple[str, ...]]:
    whole = "".join(filed.first)
    for size in range(min(len(given), 3), 0, -1):
        if "".join(given[:size]) == whole:
            return "same", given[size:]
    if filed.middle and given[0] == whole + filed.middle[0] and len(filed.middle[0]) > 1:
        return "same", (filed.middle[0], *given[1:])  # Ruthann for Ruth, middle name Ann
    word, first = given[0], filed.first[0]
    everything = "".join(given)
    if len(whole) > 3 and len(filed.first) + len(given) > 2 and may_be_one(everything, whole):
        return "transliteration", ()
    if same_but_for_spelling(word, first):
        return "transliteration", given[1:]
    if word == first:  # Mary for Mary Ann; another second name beside it shows in the middle name
        return "part", given[1:]
    known = relation(word, first) or relation(word, whole)
    if known == "nickname":
        return "nickname", given[1:]
    if word[0] == first[0] and (len(word) == 1 or len(first) == 1):
        return "initial", given[1:]
    if len(word) == 2 and filed.middle and word == first[0] + filed.middle[0][0] and not is_known(word):
        return "initial", given[1:]
    shortened = 3 <= len(word) < len(first) - 1 and first.startswith(word)
    if known or (shortened and (not is_known(word) or full_names(word))):
        return "loose nickname", given[1:]  # a short form that no table has (Ottil for Ottiliana, Dan for Danielle)
    if near(word, whole) or near(word, first):
        return ("similar name" if is_known(word) else "typo"), given[1:]
    if len(filed.first) > 1 and word == filed.first[-1]:
        return ("part" if first in _VIETNAMESE_MIDDLE else "middle name"), given[1:]
    if filed.middle and len(word) > 1 and (word == filed.middle[0] or relation(word, filed.middle[0]) == "nickname"):
        return "middle name", given[1:]
    return "differs", given[1:]


def other_letter(word: str, first: str) -> bool:
    """Whether a slip would have hit the first letter, which it seldom does: Hayden and Jayden are brothers."""
    return word[0] != first[0] and word[:2] != first[1::-1] and word[1:] != first and first[1:] != word


def _middle_level(rest: tuple[str, ...], filed: NameOnFile) -> str:
    known = [*filed.first[1:], *filed.middle]
    lasts = {part for whole, tokens, _ in filed.lasts for part in (whole, *tokens)}
    rest = tuple(token for token in rest if token not in lasts)
    if not rest or not known:
        return "missing"
    if "".join(rest) == "".join(known) or rest[0] in known:
        return "same"
    if any(len(rest[0]) == 1 or len(name) == 1 for name in known) and any(rest[0][0] == name[0] for name in known):
        return "initial"
    if any(near(rest[0], name) or relation(rest[0], name) for name in known):
        return "initial"
    return "differs"


def _compare_hangul(hangul: str, filed: NameOnFile, place: int) -> NameFit:
    family, given = split_name(hangul)
    spellings = surname_spellings(family)
    last = "differs"
    for whole, _, former in filed.lasts:
        if whole in spellings:
            last = "former name" if former else "transliteration"
            break
    if not given:
        return NameFit(last, "missing", "missing", False, place)
    pattern = given_pattern(given)
    forms = ("".join(filed.first), "".join((*filed.first, *filed.middle)))
    first = "transliteration" if any(pattern.fullmatch(form) for form in forms) else "differs"
    return NameFit(last, first, "missing", False, place)
