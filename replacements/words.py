"""What people call things that the program calls by a code: alike on the pages, on paper and in the weekly mail."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path


@cache
def _words() -> dict[str, dict[str, str]]:
    return tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))


def word(code: object, group: str) -> str:
    """What people call a code; the code itself, spaced out, where no word is on the list. Raises KeyError for a group
    that is not there."""
    text = "" if code is None else str(code)
    return _words()[group].get(text, text.replace("_", " "))


def words(group: str) -> Mapping[str, str]:
    """All of a group, in the order in which they are offered. Raises KeyError where it is not there."""
    return _words()[group]


def with_capital(text: str) -> str:
    """As words stand at the beginning of a line; the letters after the first stay as they are (Haitian Creole)."""
    return text[:1].upper() + text[1:]


def change(number: int) -> str:
    """By how much something differs, with its sign; nothing has none."""
    return f"{number:+d}" if number else "0"
