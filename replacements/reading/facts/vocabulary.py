"""The word lists behind the facts, one TOML file a language, read once and joined with English.

Voters mix languages (a Spanish letter with an English street), so every vocabulary holds the English words too.
Entries of `[patterns]` lists are regular expression fragments, tried in any case; those of other lists are words.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

_FOLDER = files("replacements.reading.facts") / "words"
_ALONE = "en"
_NEVER = re.compile(r"(?!)")
# Vietnamese typed without its marks: the same words, folded, and a table of their own.
UNMARKED_VIETNAMESE = "vi-plain"
_FAMILY_WORDS = frozenset({"ba", "me", "bo", "vo", "chong", "con", "chau", "ong", "anh", "chi", "em"})


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Words of one language and English. `words` are lists by name, `maps` are word -> meaning by name."""

    language: str
    words: dict[str, frozenset[str]]
    maps: dict[str, dict[str, Any]]
    patterns: dict[str, re.Pattern[str]] = field(repr=False)

    def pattern(self, name: str) -> re.Pattern[str]:
        """The compiled alternatives of `[patterns] name`; a pattern that never matches where there are none."""
        return self.patterns.get(name, _NEVER)


@cache
def known_languages() -> frozenset[str]:
    return frozenset(f.name.removesuffix(".toml") for f in _FOLDER.iterdir() if f.name.endswith(".toml"))


@cache
def _file(language: str) -> dict[str, Any]:
    if language == UNMARKED_VIETNAMESE:
        return _without_marks(_file("vi"))
    return tomllib.loads((_FOLDER / f"{language}.toml").read_text(encoding="utf-8"))


def _plain(text: str) -> str:
    """Without marks above and below letters; in a regular expression only outside of `[…]`, whose ranges need them."""
    pieces = re.split(r"(\[[^\]]*\])", text)
    flat = (unicodedata.normalize("NFD", p.replace("đ", "d").replace("Đ", "D")) for p in pieces[::2])
    pieces[::2] = ["".join(c for c in p if not unicodedata.combining(c)) for p in flat]
    return "".join(pieces)


def _without_marks(data: dict[str, Any]) -> dict[str, Any]:
    """A vocabulary for text typed without marks. `…_marked` patterns, and short words that become other words, go."""
    relations = {
        meaning: [w for w in map(_plain, written) if " " in w or len(w) > 3 or w in _FAMILY_WORDS]
        for meaning, written in data["maps"]["relations"].items()
    }
    words = {name: list(map(_plain, entries)) for name, entries in data["words"].items()}
    words["plain_words"] = [w for w in words["plain_words"] if w not in words["family_names"]]
    return {
        "maps": {
            "months": {m: list(map(_plain, w)) for m, w in data["maps"]["months"].items()},
            "relations": relations,
        },
        "words": words,
        "patterns": {
            name: list(map(_plain, found)) for name, found in data["patterns"].items() if not name.endswith("_marked")
        },
    }


def as_typed(language: str, text: str) -> str:
    """The vocabulary for this text: `language`, or that of Vietnamese without marks where the text has none."""
    if language == "vi" and not any("\u00c0" <= c <= "\u1ef9" for c in text):
        return UNMARKED_VIETNAMESE
    return language


@cache
def _joined(languages: tuple[str, ...]) -> Vocabulary:
    words: dict[str, set[str]] = {}
    maps: dict[str, dict[str, Any]] = {}
    fragments: dict[str, list[str]] = {}
    for language in languages:
        data = _file(language)
        for name, entries in data.get("words", {}).items():
            words.setdefault(name, set()).update(entries)
        for name, entries in data.get("maps", {}).items():
            table = maps.setdefault(name, {})
            for meaning, written in entries.items():
                for word in written:
                    table.setdefault(word, meaning)
        for name, entries in data.get("patterns", {}).items():
            fragments.setdefault(name.removesuffix("_marked"), []).extend(entries)
    return Vocabulary(
        language=languages[-1],
        words={name: frozenset(entries) for name, entries in words.items()},
        maps=maps,
        patterns={name: re.compile("|".join(f"(?:{f})" for f in found), re.I) for name, found in fragments.items()},
    )


def vocabulary(language: str) -> Vocabulary:
    """The vocabulary for a message in this language (ISO 639-1); English alone where there is no file for it."""
    if language == _ALONE or language not in known_languages() | {UNMARKED_VIETNAMESE}:
        return _joined((_ALONE,))
    return _joined((_ALONE, language))


def every_language() -> Vocabulary:
    """All languages joined: for what is no longer than a line, such as a display name."""
    return _joined((_ALONE, *sorted(known_languages() - {_ALONE})))
