"""Numbers that identify: voter ids, ballot numbers, telephones; and e-mail addresses in the text.

What a number is, the words before it say. A long bare number without such words may be either a voter id or a ballot
number: it is given as both, and the roll and the ballot file know which.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from replacements.reading.facts.vocabulary import vocabulary

_CUE_REACH = 48  # characters before a number in which a word may say what it is
_PHONE = re.compile(
    r"(?<![\w/#-])(?:\+?1[\s.\-]{0,2})?(?:\((\d{3})\)|(\d{3}))[\s.\-/–]{0,3}(\d{3})[\s.\-–]{0,2}(\d{4})(?![A-Za-z0-9_/]|-\d)"
)
_LOCAL_PHONE = re.compile(r"(?<![\w/#.-])(\d{3})[.\-–](\d{4})(?![A-Za-z0-9_/]|-\d)")
_EMAIL = re.compile(r"(?<![\w.+-])[\w.+-]{1,64}@(?:[\w-]{1,63}\.){1,6}[a-zA-Z]{2,24}")
_NUMBER = re.compile(
    r"(?<![\w/$.-])((?:[A-Za-z]{1,3}-?)?\d{6,12}|\d{2,4}(?:[ -]\d{2,4}){1,3}"
    r"|[A-Z]{1,3}-\d{3,8})(?![A-Za-z0-9_/]|-\d|\.\d)"
)
_PLUS4 = re.compile(r"^\d{5}-\d{4}$")


class NumberKind(StrEnum):
    VOTER_ID = "voter_id"
    BALLOT = "ballot"
    PHONE = "phone"
    EMAIL = "email"
    BARE = "bare"  # long, and nothing says what it is


@dataclass(frozen=True, slots=True)
class NumberFound:
    """`value`: digits (and a leading letter code) without spaces or dashes; e-mail addresses in lower case."""

    start: int
    end: int
    kind: NumberKind
    value: str


def _cue(text: str, start: int, language: str) -> NumberKind | None:
    """What the words before a number say that it is: the nearest of them decides."""
    before = text[max(0, start - _CUE_REACH) : start]
    cut = max((m.end() for m in re.finditer(r"[!?;]|\n\s*\n|(?<=[a-z]{3})\.\s|\d{5,}", before)), default=0)
    before = before[cut:]
    words = vocabulary(language)
    best: tuple[int, NumberKind] | None = None
    for name, kind in (
        ("voter_id", NumberKind.VOTER_ID),
        ("ballot_number", NumberKind.BALLOT),
        ("phone", NumberKind.PHONE),
    ):
        for m in words.pattern(name).finditer(before):
            if best is None or m.end() > best[0]:
                best = (m.end(), kind)
    return best[1] if best else None


def _overlaps(start: int, end: int, taken: Sequence[tuple[int, int]]) -> bool:
    return any(start < e and end > s for s, e in taken)


def find_numbers(text: str, language: str, dates: Sequence[tuple[int, int]] = ()) -> tuple[NumberFound, ...]:
    """Every identifying number and e-mail address, in the order of the text. `dates` are places that dates hold."""
    found: list[NumberFound] = []
    taken = list(dates)
    if "@" in text:
        for m in _EMAIL.finditer(text):
            found.append(NumberFound(m.start(), m.end(), NumberKind.EMAIL, m[0].lower()))
            taken.append(m.span())
    if not any(c.isdigit() for c in text):
        return tuple(found)
    for m in _PHONE.finditer(text):
        if _overlaps(*m.span(), taken):
            continue
        bare = m[0].isdigit()
        said = _cue(text, m.start(), language)
        if said in (NumberKind.VOTER_ID, NumberKind.BALLOT) or (
            bare and said is not NumberKind.PHONE and len(m[0]) != 10
        ):
            continue
        found.append(NumberFound(m.start(), m.end(), NumberKind.PHONE, (m[1] or m[2]) + m[3] + m[4]))
        taken.append(m.span())
    for m in _LOCAL_PHONE.finditer(text):
        if not _overlaps(*m.span(), taken) and _cue(text, m.start(), language) in (None, NumberKind.PHONE):
            found.append(NumberFound(m.start(), m.end(), NumberKind.PHONE, m[1] + m[2]))
            taken.append(m.span())
    for m in _NUMBER.finditer(text):
        written = m[1]
        digits = re.sub(r"\D", "", written)
        if _overlaps(*m.span(), taken) or _PLUS4.match(written):
            continue
        said = _cue(text, m.start(), language)
        if said is NumberKind.PHONE:
            said = None
        grouped = " " in written or not written[-6:].isdigit()
        if said is None and (grouped or not 6 <= len(digits) <= 12 or not written.isdigit()):
            continue
        if said is not None and not 4 <= len(digits) <= 12:
            continue
        if said is NumberKind.VOTER_ID and len(digits) < 5:
            continue
        found.append(
            NumberFound(
                m.start(),
                m.end(),
                said or NumberKind.BARE,
                re.sub(r"[\s-]", "", written) if grouped and written[0].isdigit() else written,
            )
        )
        taken.append(m.span())
    return tuple(sorted(found, key=lambda n: n.start))
