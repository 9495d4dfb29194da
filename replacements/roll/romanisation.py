"""Korean names in Hangul against the Roman letters that a roll has them in.

A syllable has several spellings in Roman letters (현 is hyun or hyeon), so a Hangul name is turned into a pattern that
matches all of them, rather than into one spelling. The spellings are data (`data/korean.toml`).
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import product

FIRST_SYLLABLE, LAST_SYLLABLE = 0xAC00, 0xD7A3
VOWELS, FINALS = 21, 28  # how many there are: the arithmetic of Unicode's Hangul block
HONORIFICS = ("씨", "님")


@dataclass(frozen=True, slots=True)
class KoreanSpellings:
    """`surnames`: Hangul -> spellings. `groups`: a spelling -> all spellings that may be the same family name."""

    initials: tuple[tuple[str, ...], ...]
    vowels: tuple[tuple[str, ...], ...]
    finals: tuple[tuple[str, ...], ...]
    surnames: dict[str, tuple[str, ...]]
    groups: dict[str, frozenset[str]]


@lru_cache(maxsize=1)
def spellings() -> KoreanSpellings:
    data = tomllib.loads((resources.files("replacements.roll") / "data" / "korean.toml").read_text("utf-8"))
    surnames = {hangul: tuple(forms) for hangul, forms in data["surnames"].items()}
    groups: dict[str, set[str]] = {}
    for forms in surnames.values():
        for form in forms:
            groups.setdefault(form, set()).update(forms)
    return KoreanSpellings(
        tuple(tuple(forms) for forms in data["initials"]),
        tuple(tuple(forms) for forms in data["vowels"]),
        tuple(tuple(forms) for forms in data["finals"]),
        surnames,
        {form: frozenset(others) for form, others in groups.items()},
    )


def is_syllable(character: str) -> bool:
    return FIRST_SYLLABLE <= ord(character) <= LAST_SYLLABLE


def split_name(hangul: str) -> tuple[str, str]:
    """A Hangul name as (family name, given name); spaces and honorifics are dropped. Given may be empty."""
    syllables = "".join(c for c in hangul if is_syllable(c))
    if len(syllables) > 2 and syllables.endswith(HONORIFICS):
        syllables = syllables[:-1]
    known = spellings().surnames
    if len(syllables) > 2 and syllables[:2] in known:
        return syllables[:2], syllables[2:]
    return syllables[:1], syllables[1:]


def _parts(syllable: str) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    place = ord(syllable) - FIRST_SYLLABLE
    table = spellings()
    initial, rest = divmod(place, VOWELS * FINALS)
    vowel, final = divmod(rest, FINALS)
    return table.initials[initial], table.vowels[vowel], table.finals[final]


def romanise(hangul: str) -> str:
    """The plain Revised Romanisation, syllable by syllable, without sound changes: 현우 -> hyeonu."""
    return "".join("".join(part[0] for part in _parts(c)) for c in hangul if is_syllable(c))


@lru_cache(maxsize=256)
def given_pattern(hangul: str) -> re.Pattern[str]:
    """Matches (whole, lower case, no spaces or hyphens) every spelling of a given name."""
    pieces = []
    for syllable in hangul:
        if is_syllable(syllable):
            pieces.append("".join("(?:" + "|".join(part) + ")" for part in _parts(syllable)))
    return re.compile("".join(pieces))


def surname_spellings(hangul: str) -> frozenset[str]:
    """Every spelling of a family name in Hangul; for one that is not in the table, whatever its sounds may be written
    as."""
    known = spellings().surnames.get(hangul)
    if known:
        return frozenset(known)
    pieces = [part for syllable in hangul if is_syllable(syllable) for part in _parts(syllable)]
    return frozenset({romanise(hangul), *("".join(letters) for letters in product(*pieces[:6]))})


def given_letters(hangul: str) -> frozenset[str]:
    """The letters that a given name in Hangul may begin with in Roman script (for the index)."""
    if not hangul:
        return frozenset()
    initials, vowels, _ = _parts(hangul[0])
    return frozenset((initial or vowel)[0] for initial in initials for vowel in vowels)


def same_surname(one: str, other: str) -> bool:
    """Whether two Roman spellings may be one Korean family name (park, pak)."""
    return one != other and other in spellings().groups.get(one, frozenset())


_SAME_SOUND = (
    (re.compile(r"(?<![aeiou])(?:w)(?=oo|u)"), ""),
    (re.compile(r"yeo|you|yoo"), "yu"),
    (re.compile(r"eo|oo|eu|uh|ou"), "u"),
    (re.compile(r"ae|ay|ai"), "e"),
    (re.compile(r"ee|yi"), "i"),
    (re.compile(r"sh"), "s"),
    (re.compile(r"ch|j"), "j"),
    (re.compile(r"g(?!$)(?<!ng)"), "k"),
    (re.compile(r"d"), "t"),
    (re.compile(r"b"), "p"),
    (re.compile(r"l"), "r"),
    (re.compile(r"(?<=[aeiou])h(?![aeiou])"), ""),
)


@lru_cache(maxsize=2048)
def sound(roman: str) -> str:
    """One coarse spelling for the many of a Korean given name in Roman letters: hyunwoo, hyeonu -> hyunu."""
    text = roman
    for pattern, instead in _SAME_SOUND:
        text = pattern.sub(instead, text)
    return text


_VOWELS_HEARD = re.compile(r"[wy]?[aeiou]+")


@lru_cache(maxsize=1)
def _readings() -> dict[str, frozenset[int]]:
    """A spelling of a vowel -> the places of the vowels that are spelled so."""
    found: dict[str, set[int]] = {}
    for place, forms in enumerate(spellings().vowels):
        for form in forms:
            found.setdefault(form, set()).add(place)
    return {form: frozenset(places) for form, places in found.items()}


def may_be_one(one: str, other: str) -> bool:
    """Whether two Roman spellings may be one Korean given name. `minsu` may be 민수 or 민서, so it is one with `minsoo`
    and with `minseo`; these two are brothers."""
    if sound(one) != sound(other):
        return False
    vowels, others = _VOWELS_HEARD.findall(one), _VOWELS_HEARD.findall(other)
    if len(vowels) != len(others):
        return True
    known = _readings()
    return all(
        a == b or a not in known or b not in known or known[a] & known[b] for a, b in zip(vowels, others, strict=True)
    )
