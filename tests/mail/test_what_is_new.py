"""Line by line: what the writer says now, what is quoted, forwarded, or added by a program.

The letters stand under `tests/mail/labelled/`, each line with the label that it must get.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from replacements.mail.letter import PartLabel
from replacements.mail.parsing import parse

LABELS = {
    "N": PartLabel.NEW,
    "Q": PartLabel.QUOTED,
    "F": PartLabel.FORWARDED,
    "S": PartLabel.SIGNATURE,
    "D": PartLabel.DISCLAIMER,
}
_MARKS = re.compile(r"^[\s>|│＞]*(?:CBO?>\s*)?")


@dataclass(frozen=True, slots=True)
class Case:
    title: str
    raw: bytes
    lines: list[tuple[PartLabel, str]]


def _cases() -> list[Case]:
    found: list[Case] = []
    for file in sorted((Path(__file__).parent / "labelled").glob("*.txt")):
        for piece in file.read_text(encoding="utf-8").split("\n=== ")[1:]:
            title, _, text = piece.partition("\n")
            found.append(_case(f"{file.stem.replace('_', ' ')}: {title}", text.rstrip("\n").split("\n")))
    return found


def _case(title: str, lines: list[str]) -> Case:
    subject = "Re: Your ballot"
    if lines[0].startswith("Subject: "):
        subject = lines.pop(0).removeprefix("Subject: ")
    labelled = [(LABELS[line[0]], line[2:]) if line else None for line in lines]
    body = "\n".join("" if one is None else one[1] for one in labelled)
    head = f"From: Walt Pell <walt@home.example>\nSubject: {subject}\nContent-Type: text/plain; charset=utf-8\n\n"
    said = [(one[0], _plain(one[1])) for one in labelled if one is not None]
    return Case(title, (head + body).encode(), [one for one in said if one[1]])


def _plain(line: str) -> str:
    """A line without the marks of a quotation, which a reader of the parts does not get."""
    return " ".join(_MARKS.sub("", line).split())


def _pages() -> list[Case]:
    text = (Path(__file__).parent / "labelled" / "html" / "pages.txt").read_text(encoding="utf-8")
    found: list[Case] = []
    for piece in text.split("\n=== ")[1:]:
        title, _, rest = piece.partition("\n")
        html, _, said = rest.partition("\n---\n")
        head = "From: walt@home.example\nSubject: Re: Your ballot\nContent-Type: text/html; charset=utf-8\n\n"
        lines = [(LABELS[line[0]], _plain(line[2:])) for line in said.split("\n") if line]
        found.append(Case(f"page: {title}", (head + html).encode(), lines))
    return found


CASES = [*_cases(), *_pages()]


@pytest.mark.parametrize("case", CASES, ids=[case.title for case in CASES])
def test_each_line_is_labelled(case: Case) -> None:
    letter = parse(case.raw)
    found = [(part.label, _plain(line)) for part in letter.parts for line in part.text.split("\n")]
    assert [one for one in found if one[1]] == case.lines


def test_there_are_letters_of_every_manner() -> None:
    assert len(CASES) == len({case.title for case in CASES}) >= 120
    assert {label for case in CASES for label, _ in case.lines} == set(LABELS.values())


def test_an_answer_on_the_same_line_as_the_attribution_is_new() -> None:
    body = "4/12/1958 On Mon, Oct 5, 2026 at 9:12 AM County <ballots@county.example> wrote:\n> When were you born?\n"
    letter = parse(f"From: walt@home.example\nSubject: Re: Your ballot\n\n{body}".encode())
    assert letter.new_text == "4/12/1958"
    assert letter.text(PartLabel.QUOTED).startswith("On Mon, Oct 5, 2026")
