"""The word lists behind the facts, one TOML file a language, read once and joined with English.

Voters mix languages (a Spanish letter with an English street), so every vocabulary holds the English words too.
Entries of `[patterns]` lists are regular expression fragments, tried in any case; those of other lists are words.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

_FOLDER = files("replacements.reading.facts") / "words"
_ALONE = "en"
_NEVER = re.compile(r"(?!)")


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
    return tomllib.loads((_FOLDER / f"{language}.toml").read_text(encoding="utf-8"))


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
            fragments.setdefault(name, []).extend(entries)
    return Vocabulary(
        language=languages[-1],
        words={name: frozenset(entries) for name, entries in words.items()},
        maps=maps,
        patterns={name: re.compile("|".join(f"(?:{f})" for f in found), re.I) for name, found in fragments.items()},
    )


def vocabulary(language: str) -> Vocabulary:
    """The vocabulary for a message in this language (ISO 639-1); English alone where there is no file for it."""
    if language == _ALONE or language not in known_languages():
        return _joined((_ALONE,))
    return _joined((_ALONE, language))


def every_language() -> Vocabulary:
    """All languages joined: for what is no longer than a line, such as a display name."""
    return _joined((_ALONE, *sorted(known_languages() - {_ALONE})))
