"""Answers that a writer typed into the quoted message, where nothing marks them: told by comparing with what was sent.

Some programs quote without any mark, and people write between the lines, behind a question, or below the end. Where the
quoted message is one of the office's own, its words are known; what stands among them and is none of them is an answer.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from itertools import pairwise

from replacements.mail.letter import Letter, PartLabel, TextPart
from replacements.mail.markup import Line
from replacements.mail.parts import labelled

_MOST_SENT = 800  # words of the sent message that are compared
_MOST_QUOTED = 2000
_MOST_PAIRS = 60_000  # of like words, here and there: what comparing costs rises with them; letters have some 5,000
_LEAST = 12  # words in common, below which nothing is told
_SHARE = 0.5  # of the sent words, which must be found
_LONGEST_TAIL = 2000  # characters below the end of the quoted message


@dataclass(frozen=True, slots=True)
class _Word:
    said: str  # as compared: small letters, without the signs around it
    part: int
    start: int
    end: int


def with_answers(letter: Letter, sent: str) -> Letter:
    """The letter, with answers in its quotation of `sent` labelled as new. The same letter where there are none."""
    known = [word.said for word in _words(0, sent)][:_MOST_SENT]
    quoted = [
        word
        for number, part in enumerate(letter.parts)
        if part.label is PartLabel.QUOTED
        for word in _words(number, part.text)
    ][:_MOST_QUOTED]
    times = Counter(known)
    pairs = sum(times[word.said] for word in quoted)
    if len(known) < _LEAST or len(quoted) <= _LEAST or not _LEAST <= pairs <= _MOST_PAIRS:
        return letter
    matcher = SequenceMatcher(None, known, [word.said for word in quoted], autojunk=False)
    blocks = [block for block in matcher.get_matching_blocks() if block.size]
    found = sum(block.size for block in blocks)
    if found < max(_LEAST, _SHARE * len(known)):
        return letter
    runs = [quoted[one.b + one.size : other.b] for one, other in pairwise(blocks) if other.b > one.b + one.size]
    answers = [run for run in runs if not _is_programs(run)]
    last = blocks[-1]
    whole = last.a + last.size >= len(known) and last.size >= 2
    below = quoted[last.b + last.size - 1] if whole else None
    if not answers and below is None:
        return letter
    parts = _cut(letter.parts, answers, below)
    if sum(part.label is PartLabel.NEW for part in parts) == sum(part.label is PartLabel.NEW for part in letter.parts):
        return letter
    settled = ("nothing_new", "answers_below")  # what these notices left open is told now
    return replace(letter, parts=parts, notices=tuple(n for n in letter.notices if n.code not in settled))


def _words(part: int, text: str) -> list[_Word]:
    found = []
    for match in re.finditer(r"\S+", text):
        said = re.sub(r"^\W+|\W+$", "", match[0]).casefold()
        if said:
            found.append(_Word(said, part, match.start(), match.end()))
    return found


def _is_programs(run: list[_Word]) -> bool:
    """Whether a program put these words in: links behind addresses."""
    return all(re.search(r"mailto:|https?:|@|^tel:|^cid:", word.said) for word in run)


def _cut(parts: tuple[TextPart, ...], answers: list[list[_Word]], below: _Word | None) -> tuple[TextPart, ...]:
    out: list[TextPart] = []
    for number, part in enumerate(parts):
        at = 0
        for run in answers:
            inside = [word for word in run if word.part == number]
            if inside:
                out.append(TextPart(part.label, part.text[at : inside[0].start]))
                out.append(TextPart(PartLabel.NEW, part.text[inside[0].start : inside[-1].end]))
                at = inside[-1].end
        rest = part.text[at:]
        if below is not None and below.part == number and below.end >= at:
            tail = part.text[below.end :]
            if re.search(r"\w", tail) and len(tail) <= _LONGEST_TAIL:
                rest = part.text[at : below.end]
                out.append(TextPart(part.label, rest))
                out.extend(labelled([Line(line) for line in tail.split("\n")]))
                continue
        out.append(TextPart(part.label, rest))
    return tuple(_joined([replace(one, text=one.text.strip("\n")) for one in out if one.text.strip()]))


def _joined(parts: list[TextPart]) -> list[TextPart]:
    out: list[TextPart] = []
    for part in parts:
        if out and out[-1].label is part.label:
            out[-1] = TextPart(part.label, f"{out[-1].text}\n\n{part.text}")
        else:
            out.append(part)
    return out
