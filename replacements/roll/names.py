"""Normal forms of people's names, and the reading of a name as somebody wrote it. Pure.

Nothing here decides whether two names are one person's: that is `name_fit`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources

from replacements.roll.romanisation import is_syllable

_APART = {"đ": "d", "ł": "l", "ø": "o", "æ": "ae", "œ": "oe", "ß": "ss", "þ": "th", "ð": "d", "ı": "i", "ħ": "h"}
_APOSTROPHES = re.compile(r"['’‘`´ʻʼ′]")
_LONE_LETTER_DOT = re.compile(r"\b([^\W\d_])\.")
_NOT_LETTERS = re.compile(r"[^\w]+|_")
_BRACKETS = re.compile(r"[(（\[<【]([^)）\]>】]*)[)）\]>】]|[\"“”„]([^\"“”„]+)[\"“”„]")
_MAIDEN = re.compile(
    r"\b(?:n[ée]e|born|formerly(?:\s+known\s+as)?|f\.?k\.?a\.?|maiden\s+name|previously|antes|de\s+soltera|apellido\s+de\s+soltera)\b[\s:]*",
    re.IGNORECASE,
)
_ALSO = re.compile(r"\s+(?:a\.?k\.?a\.?|also\s+known\s+as|alias|or)\s+|\s*/\s*", re.IGNORECASE)
_HOUSEHOLD = re.compile(
    r"^\s*(?:the\s+)?(?:(?P<plural>[\w'’-]+?)s|(?P<family>[\w'’-]+)\s+family|familia\s+(?P<familia>.+))\s*$", re.I
)
_THE = re.compile(r"^\s*(?:the|familia|la\s+familia)\s", re.I)
_FAMILY = re.compile(r"\sfamily\s*$", re.I)

SUFFIXES = {
    "jr": "jr", "junior": "jr", "jnr": "jr", "hijo": "jr", "sr": "sr", "senior": "sr", "snr": "sr",
    "ii": "ii", "2nd": "ii", "iii": "iii", "3rd": "iii", "iv": "iv", "4th": "iv",
}  # fmt: skip
_IN_WORDS = (
    ("the second", "ii"),
    ("the third", "iii"),
    ("the fourth", "iv"),
    ("the elder", "sr"),
    ("the younger", "jr"),
)


@lru_cache(maxsize=2048)
def fold(text: str) -> str:
    """Lower case, no marks, no apostrophes or full stops, hyphens as spaces: `Ñuñez-O’Brien` -> `nunez obrien`."""
    if text.isascii() and text.isalpha():
        return text.lower()  # as nearly all names on a roll are
    text = _APOSTROPHES.sub("", _LONE_LETTER_DOT.sub(r"\1 ", text)).replace(".", "")
    text = unicodedata.normalize("NFKC", text).casefold()
    text = "".join(_APART.get(c, c) for c in text)
    if not text.isascii():
        kept = (c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
        text = "".join(_APART.get(c, c) for c in unicodedata.normalize("NFC", "".join(kept)))
    return " ".join(_NOT_LETTERS.sub(" ", text).split())


def joined(text: str) -> str:
    """The folded name without spaces: the form names are counted and found by. `de la Cruz` -> `delacruz`."""
    return fold(text).replace(" ", "")


@lru_cache(maxsize=1)
def titles() -> dict[str, frozenset[str]]:
    """Titles by where they stand: "before" a name, "behind" it, "either" (Don Pérez may be a title or a Donald)."""
    found: dict[str, frozenset[str]] = {}
    for line in (resources.files("replacements.roll") / "data" / "titles.txt").read_text("utf-8").splitlines():
        where, *words = line.split()
        if where != "#":
            found[where] = found.get(where, frozenset()) | frozenset(words)
    return found


def suffix_form(text: str) -> str:
    """`Jr.`, `JUNIOR` -> `jr`; `the third` -> `iii`; "" for what is no suffix."""
    folded = fold(text)
    for words, form in _IN_WORDS:
        if folded == words or folded == words.removeprefix("the "):
            return form
    return SUFFIXES.get(folded, "")


@dataclass(frozen=True, slots=True)
class Written:
    """One name as somebody wrote it, in Roman letters (`tokens`, folded) or Hangul. Both empty: not readable here.

    `family_first`: the comma or script says that the family name comes first (tokens are then already turned round).
    `surname_only`: "The Smiths", "Mr. Smith". `wife_form`: "Mrs. …", where the given name may be the husband's.
    """

    tokens: tuple[str, ...] = ()
    suffix: str = ""
    hangul: str = ""
    surname_only: bool = False
    wife_form: bool = False

    @property
    def readable(self) -> bool:
        return bool(self.tokens or self.hangul)


@lru_cache(maxsize=512)
def read_name(text: str) -> tuple[Written, ...]:
    """Every name in one written form: what stands in brackets or quotation marks is a name, nickname or maiden name."""
    found: list[Written] = []
    asides: list[tuple[bool, str]] = []

    def aside(match: re.Match[str]) -> str:
        inside = (match.group(1) or match.group(2) or "").strip()
        maiden = _MAIDEN.match(inside)
        asides.append((bool(maiden), inside[maiden.end() :] if maiden else inside))
        return " "

    main = _BRACKETS.sub(aside, text)
    halves = _MAIDEN.split(main, maxsplit=1)
    if len(halves) == 2:
        main = halves[0]
        asides.append((True, halves[1]))
    for part in _ALSO.split(main):
        found.append(_one(part))
    base = found[0]
    if len(base.tokens) > 2 and base.tokens[0] in titles()["either"]:
        found.append(replace(base, tokens=base.tokens[1:]))
    for maiden, inside in asides:
        if "@" in inside or not inside:
            continue
        other = _one(inside)
        if maiden and base.tokens and len(other.tokens) == 1:
            other = Written((*base.tokens[:-1], *other.tokens), base.suffix) if len(base.tokens) > 1 else other
        elif not maiden and len(other.tokens) == 1 and len(base.tokens) > 1:
            other = Written((other.tokens[0], *base.tokens[1:]), base.suffix)  # Robert "Bob" Quested
        found.append(other)
    return tuple(dict.fromkeys(w for w in found if w.readable))


def _one(text: str) -> Written:
    hangul = "".join(c for c in text if is_syllable(c))
    if len(hangul) >= 2:
        return Written(hangul=hangul)
    household = _THE.match(text) or _FAMILY.search(text)
    if household and (match := _HOUSEHOLD.match(text)):
        name = match["plural"] or match["family"] or match["familia"] or ""
        return Written(_roman(fold(name)), surname_only=True)
    before, comma, after = text.partition(",")
    suffix = ""
    if comma:
        pieces = [p for p in (x.strip() for x in after.split(",")) if p]
        suffix = next((s for p in pieces if (s := suffix_form(p))), "")
        pieces = [p for p in pieces if not suffix_form(p) and not set(fold(p).split()) <= titles()["behind"]]
        text = " ".join([*pieces, before])
        if pieces and (tail := SUFFIXES.get(fold(before).split(" ")[-1], "")) and len(fold(before).split()) > 1:
            suffix = suffix or tail  # Quested Jr, Owen
            text = " ".join([*pieces, before.strip().rsplit(" ", 1)[0]])
    for words, form in _IN_WORDS:
        if fold(text).endswith(" " + words):
            suffix = suffix or form
            text = fold(text).removesuffix(words)
    tokens = list(_roman(fold(text)))
    wife = tokens[:1] == ["mrs"]
    titled = False
    while tokens and (tokens[0] in titles()["before"] or (tokens[0] == "sr" and len(tokens) > 1)):
        titled = True
        tokens.pop(0)
    while len(tokens) > 1 and (tokens[-1] in titles()["behind"] or tokens[-1] in SUFFIXES):
        if len(tokens) < 3 and tokens[-1] not in ("jr", "sr", "iii", "ii", "junior", "senior"):
            break
        suffix = suffix or SUFFIXES.get(tokens[-1], "")
        tokens.pop()
    return Written(tuple(tokens), suffix, surname_only=titled and len(tokens) == 1, wife_form=wife and len(tokens) > 1)


def _roman(folded: str) -> tuple[str, ...]:
    """The tokens, if they are in Roman letters; a name in another script is not guessed at."""
    tokens = tuple(_SAINT.get(t, t) for t in folded.split() if not t.isdigit())
    return tokens if all(t.isascii() for t in tokens) else tuple(t for t in tokens if t.isascii() and len(t) > 1)


@dataclass(frozen=True, slots=True)
class NameOnFile:
    """A voter's name, folded. `lasts`: (joined form, tokens, former?) for the present and the former family name."""

    first: tuple[str, ...]
    middle: tuple[str, ...]
    lasts: tuple[tuple[str, tuple[str, ...], bool], ...]
    suffix: str


@lru_cache(maxsize=1024)
def on_file(first: str, middle: str, last: str, former: str, suffix: str) -> NameOnFile:
    lasts = []
    written_suffix = suffix_form(suffix)
    for text, is_former in ((last, False), (former, True)):
        tokens, suffixes = _without_suffix(text)
        for each in suffixes:
            written_suffix = written_suffix or SUFFIXES[each]
        if tokens:
            lasts.append(("".join(tokens), tokens, is_former))
    return NameOnFile(tuple(fold(first).split()), tuple(fold(middle).split()), tuple(lasts), written_suffix)


def surname_tokens(text: str) -> tuple[str, ...]:
    """The words of a family name on file, a suffix at its end left out."""
    return _without_suffix(text)[0]


def _without_suffix(text: str) -> tuple[tuple[str, ...], list[str]]:
    """The words of a family name, and the suffixes behind it, the last first."""
    words = [_SAINT.get(word, word) for word in fold(text).split()]
    suffixes: list[str] = []
    while len(words) > 1 and words[-1] in SUFFIXES:
        suffixes.append(words.pop())
    return tuple(words), suffixes


_SAINT = {"saint": "st", "sainte": "ste"}
_LEFT_OUT = frozenset(
    ("de", "la", "las", "los", "del", "da", "das", "do", "dos", "di", "du", "van", "von", "der", "den", "y", "e")
)
_PARTICLES = "de la las los del da das do dos di du van von der den ter ten le el al bin ibn st san santa y e mac mc o"
PARTICLES = frozenset(_PARTICLES.split())


def surname_parts(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """The family names inside a double one, particles kept with what follows: `de la cruz lopez` -> delacruz, lopez."""
    parts: list[str] = []
    held = ""
    for token in tokens:
        if token in PARTICLES:
            held += token
        else:
            parts.append(held + token)
            held = ""
    if held:
        parts.append(held)
    return tuple(parts)


def bare_parts(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """The words of a family name where people leave the particles out: `fernandes da silva` -> fernandes, silva; ()
    for a name of one word."""
    kept = tuple(token for token in tokens if token not in _LEFT_OUT)
    return kept if len(tokens) > 1 else ()


def same_but_for_spelling(one: str, other: str) -> bool:
    """Muller and Mueller, MacDonald and McDonald: two spellings of one family name."""
    return one != other and _one_spelling(one) == _one_spelling(other)


@lru_cache(maxsize=2048)
def _one_spelling(name: str) -> str:
    if name.startswith("mac") and len(name) > 6:
        name = "mc" + name[3:]
    return name.replace("ae", "a").replace("oe", "o").replace("ue", "u")
