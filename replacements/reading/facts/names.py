"""Names of people: what looks like one, which two may be one person's, and what a From line says.

Names stay as written. Comparison happens on folded forms (no case, no accents).
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from nicknames import NickNamer

from replacements.reading.facts.vocabulary import Vocabulary, every_language, vocabulary

_WORD = re.compile(r"[A-Za-zÀ-ɏḀ-ỹ](?:[A-Za-zÀ-ɏḀ-ỹ\-]|['’](?!s\b|s?\s))*\.?")
_DOTTED = re.compile(r"\b(?:[A-Za-z]\.){2,}")
_GAP = re.compile(r"[ \t\u00a0]{1,2}|(?<=\.)")
_NICK = re.compile(r"[\"“”'‘(]\s?([A-Za-zÀ-ỹ'’-]{2,14})\s?[\"“”'’)](?=[ \t])")
_SUFFIX = re.compile(r",?[ \t]{1,2}(jr|sr|ii|iii|iv|junior|senior|hijo(?=\s*[,.\n]|\s*$))\b\.?", re.I)
_HANGUL = re.compile(r"[가-힣]{2,10}")
_HAN = re.compile(r"[\u4e00-\u9fff]{2,4}")
_NOT_TEXT = re.compile(r"[\U0001f000-\U0001ffff\u2190-\u2bff\ufe0f\u200d_*~|<>]+")
MOST_WORDS = 5


@dataclass(frozen=True, slots=True)
class NameFound:
    """A name at `start`–`end` as written; `suffix` as written where the name carries one."""

    start: int
    end: int
    text: str
    suffix: str = ""


@lru_cache(maxsize=2048)
def fold(text: str) -> str:
    """Lower case, no accents, no full stops: for comparison only."""
    flat = unicodedata.normalize("NFKD", text.casefold().replace("đ", "d").replace("ł", "l").replace("ø", "o"))
    flat = "".join(c for c in flat if not unicodedata.combining(c)).replace("’", "'")
    return unicodedata.normalize("NFC", flat).replace(".", "")


@cache
def _data() -> dict[str, dict[str, str | list[str]]]:
    return tomllib.loads((files("replacements.reading.facts") / "given_names.toml").read_text(encoding="utf-8"))


@cache
def _english() -> NickNamer:
    return NickNamer()


@cache
def _pet_forms() -> dict[str, frozenset[str]]:
    return {
        fold(pet): frozenset(map(fold, [names] if isinstance(names, str) else names))
        for pet, names in _data()["pet_forms"].items()
    }


@lru_cache(maxsize=2048)
def is_given(word: str) -> bool:
    """Whether a word is a known given name or pet form, in any case."""
    flat = fold(word)
    if flat in _known():
        return True
    if flat in vocabulary("en").words["plain_words"]:
        return False
    return bool(_english().canonicals_of(flat) or _english().nicknames_of(flat))


@cache
def _known() -> frozenset[str]:
    return frozenset({fold(n) for n in _data()["names"]["all"]} | _pet_forms().keys()).union(*_pet_forms().values())


@lru_cache(maxsize=1024)
def parts(name: str) -> tuple[str, ...]:
    """The folded words of a name without titles and suffixes."""
    words = vocabulary("es").words
    spaced = _DOTTED.sub(lambda m: m[0].replace(".", ". "), name)  # "P.J. Poe" as "P. J. Poe"
    found = [fold(w) for w in re.findall(r"[^\s,()\"“”]+", spaced)]
    return tuple(w for w in found if w and w not in words["suffixes"] and w not in words["titles"]) or tuple(found)


def _is_latin(name: str) -> bool:
    return all(ord(c) < 0x2000 for c in name if c.isalpha())


def same_given(a: str, b: str) -> bool:
    """Whether two given names (folded) may be one person's: equal, initial, pet form, or a shortened form."""
    if a == b or (len(a) == 1 and b.startswith(a)) or (len(b) == 1 and a.startswith(b)):
        return True
    short, long = sorted((a, b), key=len)
    if len(short) >= 2 and (long.startswith(short) or (len(short) >= 4 and long.endswith(short))):
        return True
    pets = _pet_forms()
    roots_a = {a} | pets.get(a, frozenset()) | _english().canonicals_of(a)
    roots_b = {b} | pets.get(b, frozenset()) | _english().canonicals_of(b)
    return bool(roots_a & roots_b)


@cache
def _family_first() -> frozenset[str]:
    """Vietnamese family names, folded: where such a word opens two names, it is the family they share."""
    return frozenset(fold(n) for n in vocabulary("vi").words["family_names"])


def compatible(a: str, b: str) -> bool:
    """Whether two written names may be one person's. Names in different scripts cannot be compared and may be."""
    if not a or not b or _is_latin(a) != _is_latin(b):
        return True
    one, two = parts(a), parts(b)
    if not _is_latin(a):
        return one[0] in two[0] or two[0] in one[0]
    if not one or not two:
        return True
    if len(one) > 1 and len(two) > 1 and set(one) == set(two):
        return True
    for x, y in ((one, two), (two, one)):
        if len(x) == 1:
            initials = "".join(w[0] for w in y)
            return any(same_given(x[0], w) for w in y) or (
                len(x[0]) <= 3 and x[0] in (initials, initials[0] + initials[-1])
            )
    if one[0] == two[0] and one[0] in _family_first():
        return bool((set(one[1:]) & set(two[1:])) - {"van", "thi"})
    if same_given(one[0], two[0]):
        last_a, last_b = one[-1], two[-1]
        rest_a, rest_b = set(one[1:]), set(two[1:])
        short = len(last_a) == 1 or len(last_b) == 1
        return (
            len(one[0]) > 1 < len(two[0])
            or bool(rest_a & rest_b)
            or (short and last_a[0] == last_b[0])
            or last_a in last_b
            or last_b in last_a
        )
    # The same words in another order: "Trần Thị Minh" and "Minh Tran".
    shared = set(one) & set(two)
    if len(shared) >= 2:
        return True
    return one[-1] == two[-1] and any(same_given(one[0], w) for w in two[:-1] if len(w) > 1)


def without_initials(names: Sequence[str]) -> list[str]:
    """The names without those that a fuller one among them says better: "M. E. Poe" beside "Marilyn Ellen Poe" adds
    nothing, and would fit her sister Marjorie, too."""

    def is_said_better(name: str) -> bool:
        own = parts(name)
        return len(own) > 1 and len(own[0]) == 1 and any(_fuller(own, parts(other)) for other in names)

    return [name for name in names if not is_said_better(name)]


def _fuller(short: tuple[str, ...], long: tuple[str, ...]) -> bool:
    return len(long) > 1 and long[-1] == short[-1] and len(long[0]) > 1 and long[0].startswith(short[0])


def _is_name_word(word: str, words: Vocabulary, sender: Collection[str]) -> bool:
    low = word.rstrip(".").lower()
    # Pet forms that only the English list knows ("El", "Ola") are ordinary words in other languages.
    if low not in words.words["plain_words"] or fold(low) in sender:
        return True
    return fold(low) in _known() and low not in words.words.get("never_names", ())


def name_at(
    text: str, at: int, words: Vocabulary, sender: Collection[str] = (), *, small: bool = False
) -> NameFound | None:
    """The name that starts at `at`, if any. `sender`: folded words of the From name. `small`: lower case will do."""
    position, begin = at, at
    found: list[str] = []
    while position < len(text) and len(found) < MOST_WORDS + 1:
        m = _WORD.match(text, position)
        if m is None:
            nick = _NICK.match(text, position) if found else None
            if nick is None:
                break
            position = nick.end() + 1
            continue
        word = m[0]
        low = word.rstrip(".").lower()
        end = m.end()
        following = _WORD.match(text, end + 1) if text[end : end + 1] == " " else None
        next_capital = following is not None and following[0][0].isupper()
        if not found and low in words.words["titles"] and following is not None and (word[0].isupper() or small):
            position = begin = end + 1
            continue
        if found and low in words.words["suffixes"]:
            break
        if found and low == "y" and following is not None and is_given(following[0]):
            break  # "Jorge Luna y Alma Luna" are two people, "García y Vega" is one surname
        initial = (
            len(low) == 1
            and low.isascii()
            and (word[0].isupper() or small)
            and low not in ("i", "y", "u", "a", "e", "o")
        ) or (len(low) == 1 and word.endswith(".") and word[0].isupper())
        capital = word[0].isupper()
        if (initial and (found or next_capital or small)) or (
            low in words.words["particles"] and found and (next_capital or (small and following is not None))
        ):
            good = True
        elif capital:
            surname = bool(found) and low in words.words["surnames_that_are_words"]
            family = (
                bool(found)
                and words.language.startswith("vi")
                and found[0].lower() in words.words.get("family_names", ())
            )
            good = surname or family or _is_name_word(word, words, sender)
        else:
            begun_small = not found or found[0][0].islower() or is_given(found[0])
            good = small and begun_small and len(low) > 1 and _is_name_word(word, words, sender)
        if not good:
            break
        found.append(word)
        position = end
        if word.endswith(".") and len(low) > 2 and low not in words.words["titles"]:
            break
        gap = _GAP.match(text, position)
        if gap is None:
            break
        if gap.end() == position and not (position < len(text) and text[position].isalpha()):
            break
        position = gap.end()
    while found and found[-1] in words.words["particles"]:
        found.pop()
    if not found or len(found) > MOST_WORDS:
        return None
    last = text.rfind(found[-1], begin, position + 1)
    end = last + len(found[-1])
    if found[-1].endswith(".") and len(found[-1]) > 2:
        end -= 1
    written = re.sub(r"[ \t\u00a0]+", " ", text[begin:end])
    suffix = _SUFFIX.match(text, end)
    if suffix:
        return NameFound(begin, suffix.end(), f"{written} {suffix[1]}", suffix[1])
    return NameFound(begin, end, written)


def hangul_name(text: str, at: int, end: int | None = None) -> str:
    """A Korean name of two to four syllables that stands at `at` (particles after it cut off), or ""."""
    words = vocabulary("ko").words
    m = _HANGUL.match(text, at, end if end is not None else len(text))
    if m is None:
        return ""
    run = (
        re.sub(r"(?:입니다|이라고|라고|이에요|예요|이고|이며|인데|씨|님|은|는|이|가|의|올림|드림|배상)+$", "", m[0])
        if len(m[0]) > 3
        else m[0]
    )
    for length in (3, 4, 2):
        name = run[:length]
        family = name[:2] if name[:2] in words["family_names"] else name[:1]
        if (
            len(name) == length
            and len(run) <= length
            and family in words["family_names"]
            and not any(run.startswith(w) for w in words["not_names"])
        ):
            return name
    return ""


def han_name(text: str, at: int) -> str:
    m = _HAN.match(text, at)
    return m[0] if m and (m.end() == len(text) or not _HAN.match(text[m.end() : m.end() + 2])) else ""


@dataclass(frozen=True, slots=True)
class FromName:
    """What a From line's display name says: whole names (a couple has two), or a household's surname, or nobody."""

    names: tuple[str, ...] = ()
    household: str = ""
    is_organisation: bool = False

    @property
    def words(self) -> frozenset[str]:
        """Folded words of all its names, initials left out."""
        return frozenset(w for n in (*self.names, self.household) for w in parts(n) if len(w) > 1)


_HOUSEHOLD = re.compile(
    r"^(?:the\s+([\w'’-]+?)(?:(?<=[sxz])es|(?<=[cs]h)es|s|['’]s|s['’])(?:\s+family)?|(?:the\s+)?([\w'’-]+)\s+(?:family"
    r"|household)|(?:la\s+)?familia\s+([\w\s'’-]+)|gia đình\s+(?:họ\s+)?([\w\s]+))$",
    re.I,
)
_TWO = re.compile(r"^([\w.'’-]+(?:\s+[\w.'’-]+){0,2})\s+(?:&|and|y|và|\+)\s+([\w.'’-]+(?:\s+[\w.'’-]+){0,3})$", re.I)


def _turned(name: str) -> str:
    """ "Last, First M." as "First M. Last"; a suffix after the comma stays where it is."""
    if name.count(",") != 1:
        return name
    last, first = (x.strip() for x in name.split(","))
    if not first or fold(first) in every_language().words["suffixes"]:
        return f"{last} {first}".strip()
    suffix = _SUFFIX.search(first)
    if suffix:
        return f"{first[: suffix.start()]} {last} {suffix[1]}"
    return f"{first} {last}"


def _without_titles(name: str) -> str:
    titles = vocabulary("es").words["titles"] - {"sister", "don"}
    row = name.split()
    while len(row) > 1 and row[0].rstrip(".,").lower() in titles:
        row = row[1:]
    return " ".join(row).strip()


@lru_cache(maxsize=256)
def from_name(display: str) -> FromName:
    """Read a From line's display name."""
    text = _NOT_TEXT.sub(" ", unicodedata.normalize("NFC", display)).strip(" \"'“”‘’-–—")
    text = re.sub(r"\s+", " ", text)
    if not text or "@" in text:
        return FromName()
    aside = re.search(r"[(（\[]([^)）\]]{2,40})[)）\]]", text)
    outer = re.sub(r"[(（\[][^)）\]]*[)）\]]", " ", text).strip()
    household = _HOUSEHOLD.match(outer)
    if household:
        return FromName(household=next(g for g in household.groups() if g).strip())
    words = every_language().words
    plain = vocabulary("en").words["plain_words"] | {"del", "de la"}
    low = [w.strip(".,'").lower() for w in outer.split()]
    if any(w in words["organisation"] and not is_given(w) for w in low):
        firm = [w for w in low if w in words["organisation"]]
        # "Ana Hall" is a person: one such word as a surname behind a known given name.
        if not (len(firm) == 1 and low[-1] == firm[0] and len(low) <= 3 and is_given(low[0]) and firm[0] not in plain):
            return FromName(is_organisation=True)
    two = _TWO.match(outer)
    if two:
        first, second = two[1].strip(), two[2].strip()
        last = second.split()[-1] if len(second.split()) > 1 else ""
        whole = f"{first} {last}" if last and len(first.split()) == 1 else first
        return FromName(names=(whole, second))
    name = _without_titles(_turned(_without_titles(outer)))
    row = name.split()
    if not row or len(row) > MOST_WORDS or any(c.isdigit() for c in name):
        return FromName()
    # "Do" and "To" are family names beside a word that is none.
    free = vocabulary("en").words["surnames_that_are_words"]
    if not all(fold(w) in plain for w in row):
        free |= _family_first()
    ordinary = [w for w in row if fold(w) in plain and not is_given(w) and fold(w) not in free]
    if ordinary and (len(row) == 1 or len(ordinary) > 1 or not is_given(row[0])) and any(len(w) > 1 for w in ordinary):
        return FromName()
    names = [name]
    if aside and not any(fold(w) in plain for w in aside[1].split()):
        inner = aside[1].strip()
        if _is_latin(inner) != _is_latin(name):
            names.append(_turned(inner))
        elif len(inner.split()) == 1 and len(row) > 1 and inner[0].isalpha() and len(inner) < 14:
            names.append(f"{inner} {row[-1]}")
    return FromName(names=tuple(names))
