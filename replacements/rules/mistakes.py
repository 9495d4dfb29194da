"""Mistakes in a rules file, as an official can act on them: where, what was found, what was expected, an example."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

Entry = tuple[str | int, ...]  # ("dates", "return_by"), ("drop_boxes", 1, "place")

LONGEST_SHOWN = 70


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake. `line` counts from 1; 0 where the whole file is meant. `entry` is dotted: `dates.return_by`."""

    file: str
    line: int
    entry: str
    found: str
    expected: str
    example: str = ""

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}" if self.line else self.file
        example = f" Example: {self.example}" if self.example else ""
        entry = f"{self.entry}: " if self.entry else ""
        return f"{where}: {entry}found {self.found}; expected {self.expected}.{example}"


class RulesError(ValueError):
    """A rules file that cannot be used. `mistakes` holds all of them, in the file's order."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        self.mistakes = tuple(sorted(mistakes, key=lambda mistake: mistake.line))
        number = len(self.mistakes)
        heading = f"The office's rules cannot be used: {number} mistake{'' if number == 1 else 's'}."
        super().__init__("\n".join([heading, *(f"- {mistake}" for mistake in self.mistakes)]))


def shown(value: object) -> str:
    """A value of the file as the file would write it, shortened."""
    match value:
        case None:
            return "nothing"
        case bool():
            return "true" if value else "false"
        case str():
            text = f'"{value}"'
        case datetime():
            text = value.replace(tzinfo=None).isoformat()
        case date() | time():
            text = value.isoformat()
        case dict():
            text = "{ " + ", ".join(f"{key} = {shown(inner)}" for key, inner in value.items()) + " }"
        case list() | tuple():
            text = "[" + ", ".join(shown(inner) for inner in value) + "]"
        case _:
            text = str(value)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def dotted(entry: Entry) -> str:
    """`("drop_boxes", 1, "place")` → `drop_boxes[2].place`: people count from one."""
    text = ""
    for part in entry:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text


_KEY = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
SECTION = re.compile(rf"^\s*(\[\[?)\s*({_DOTTED})\s*\]")
ASSIGNED = re.compile(rf"^\s*({_DOTTED})\s*=")


def parts_of(dotted_key: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in re.findall(_KEY, dotted_key))


class Lines:
    """Where each entry of a TOML text stands. Entries inside an inline table stand on that table's line; what stands
    nowhere would have to be added at the end."""

    def __init__(self, text: str) -> None:
        self._lines: dict[Entry, int] = {}
        self._end = max(1, len(text.splitlines()))
        section: Entry = ()
        counts: dict[Entry, int] = {}
        for number, line in enumerate(text.splitlines(), start=1):
            if found := SECTION.match(line):
                section = parts_of(found[2])
                if found[1] == "[[":
                    index = counts.get(section, 0)
                    counts[section] = index + 1
                    self._lines.setdefault(section, number)
                    section = (*section, index)
                self._lines.setdefault(section, number)
            elif found := ASSIGNED.match(line):
                self._lines.setdefault((*section, *parts_of(found[1])), number)

    def of(self, entry: Entry) -> int:
        """The line of an entry, else of the nearest thing around it, else the last line."""
        for end in range(len(entry), 0, -1):
            line = self._lines.get(entry[:end])
            if line:
                return line
        return self._end
