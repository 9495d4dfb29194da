"""A rules file's text to values, also where lines of it are no TOML: each such line is named, the others still count.

A parser stops at the first line that it cannot read. An official who mends that one line should not have to come back
for the next: the line is set aside, and the rest is read and checked.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Any

from replacements.rules.mistakes import ASSIGNED, SECTION, Mistake, parts_of, shown

MOST_LINES_ASIDE = 40
_TIME_WITHOUT_SECONDS = re.compile(r"=\s*(\d{4}-\d\d-\d\d[T ])?\d\d?:\d\d\s*(#.*)?$")


@dataclass(slots=True)
class Read:
    """`values` is None where what is left cannot be told apart, such as after a broken [section] line. `aside`: the
    names of entries on lines that could not be read; nobody should be told that these are missing."""

    values: dict[str, Any] | None = None
    mistakes: list[Mistake] = field(default_factory=list)
    aside: set[str] = field(default_factory=set)


def read_toml(text: str, source: str) -> Read:
    """Read as much as there is. `source` is the name that mistakes are reported under."""
    result = Read()
    lines = text.splitlines()
    for _ in range(MOST_LINES_ASIDE):
        try:
            result.values = tomllib.loads("\n".join(lines) + "\n")
        except tomllib.TOMLDecodeError as error:
            at, block, known = _to_blame(lines, str(error))
            result.mistakes.append(_mistake(lines, at, str(error), source))
            name = ASSIGNED.match(lines[block.start]) if known else None
            if name is None:
                return result
            result.aside.add(parts_of(name[1])[-1])
            lines[block.start : block.stop] = [""] * len(block)
        else:
            return result
    return result


def _to_blame(lines: list[str], told: str) -> tuple[int, range, bool]:
    """The line (from 0) to name, the lines to set aside, and whether what they give is known for sure.

    A list or text that is not closed is noticed only where the next entry begins, or at the end of the file.
    """
    place = re.search(r"line (\d+)", told)
    at = min(int(place[1]) if place else len(lines), len(lines)) - 1
    if at < 0:
        return 0, range(0), False
    block = _block(lines, at)
    if _given_twice(told) or not _reads_alone(lines, block):
        return at, block, True
    while block.start > 0:
        block = _block(lines, block.start - 1)
        if not _reads_alone(lines, block):
            return block.start, block, True
    return at, range(at, at + 1), False


def _begins(line: str) -> bool:
    return bool(ASSIGNED.match(line) or re.match(r"\[\[?\s*[A-Za-z]", line))  # a [section that is not closed too


def _block(lines: list[str], at: int) -> range:
    """The lines that belong together with this one: from one that begins an entry or section to before the next."""
    first = next((number for number in range(at, -1, -1) if _begins(lines[number])), 0)
    last = next((number for number in range(first + 1, len(lines)) if _begins(lines[number])), len(lines))
    return range(first, last)


def _given_twice(told: str) -> bool:
    return "overwrite" in told.lower() or "twice" in told.lower()


def _reads_alone(lines: list[str], block: range) -> bool:
    try:
        tomllib.loads("\n".join(lines[block.start : block.stop]))
    except tomllib.TOMLDecodeError:
        return False
    return True


def _entry(lines: list[str], at: int) -> str:
    """The entry that a line belongs to, with its section; empty where it belongs to none."""
    at = _block(lines, at).start
    name = ASSIGNED.match(lines[at]) if at < len(lines) else None
    if name is None:
        return ""
    section = next((found for line in reversed(lines[:at]) if (found := SECTION.match(line))), None)
    return ".".join((*(parts_of(section[2]) if section else ()), *parts_of(name[1])))


def _mistake(lines: list[str], at: int, told: str, source: str) -> Mistake:
    """The line that cannot be read. The commonest slips get an example of their own."""
    line = lines[at].strip() if at < len(lines) else ""
    expected, example = 'a line of the form name = value, or [section] (TOML); text goes in "quotes"', 'name = "text"'
    if _TIME_WITHOUT_SECONDS.search(line):
        expected, example = "a time with seconds", "cut_off = 15:00:00, or return_by = 2026-11-03T20:00:00"
    elif _given_twice(told):
        expected, example = "each entry and each section once", "one line name = value, the other removed"
    elif line.count("[") > line.count("]") and ASSIGNED.match(line):
        expected, example = "a list that is closed with ]", 'days = ["mon", "tue", "wed"]'
    elif line.count('"') % 2:
        expected, example = "a text between two quotes", 'name = "text"'
    return Mistake(
        source,
        at + 1 if lines else 1,
        _entry(lines, at),
        shown(line) if line else "the end of the file",
        expected,
        example,
    )
