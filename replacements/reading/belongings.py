"""Whose fact is it: birth dates, addresses and numbers of a message, given to the people that it names.

With one person in the message everything is that person's, save what stands right beside a bystander ("my dad was born
1/2/1950"). With several, a fact goes to the name that stands nearest before it; one address between two is both's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from replacements.mail.letter import Letter
from replacements.reading.cast import Cast
from replacements.reading.facts.name_places import NamePlace
from replacements.reading.facts.names import compatible, fold, is_given, parts
from replacements.reading.facts.numbers import NumberKind
from replacements.reading.types import AddressFound, PartialDate

_SELF = re.compile(
    r"\b(?:i was|i'?m|i am|yo|my)\s+(?:\w+\s+)?(?:born|nac[ií]|birth\w*|dob|bday)\W*(?:is|on|in"
    r"|el)?\s*$",
    re.I,
)
_SELF_AGE = re.compile(r"i(?:'?m| am)\b|tengo\b", re.I)
_BESIDE = 26  # characters between a bystander and a birth date that is the bystander's


@dataclass(frozen=True, slots=True)
class Belongings:
    birth_dates: tuple[PartialDate, ...] = ()
    age: int | None = None
    addresses: tuple[AddressFound, ...] = ()
    voter_ids: tuple[str, ...] = ()
    ballot_numbers: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()
    emails: tuple[str, ...] = ()


Anchor = Sequence[NamePlace] | Sequence[tuple[int, int]]


def _spans(anchor: Anchor) -> list[tuple[int, int]]:
    return [(a.start, a.end) if isinstance(a, NamePlace) else a for a in anchor]


def _owner(text: str, at: int, anchors: Sequence[list[tuple[int, int]]]) -> int | None:
    """Which person's name stands nearest before a fact; else the first named after it; None where nobody is named."""
    before = [(end, i) for i, spans in enumerate(anchors) for _, end in spans if end <= at]
    if before:
        return max(before)[1]
    after = [(start, i) for i, spans in enumerate(anchors) for start, _ in spans if start > at]
    return min(after)[1] if after else None


def _of_bystander(
    text: str, start: int, bystanders: Sequence[list[tuple[int, int]]], anchors: Sequence[list[tuple[int, int]]]
) -> bool:
    for spans in bystanders:
        for _, end in spans:
            between = text[end:start] if 0 <= start - end <= _BESIDE else None
            if between is None or re.search(r"[.!?\n]|\b(?:i|me|my|yo|tôi)\b", between, re.I):
                continue
            if not any(end <= s < start for row in anchors for s, _ in row):
                return True
    return False


def sort_facts(
    cast: Cast,
    anchors: Sequence[Anchor],
    number: int,
    bystanders: Sequence[Anchor] = (),
    after: int | None = None,
    *,
    speaks: bool = False,
) -> Belongings:
    """The facts of person `number` among `anchors`.

    `after`: what stands below this place is the writer's, who is none of them.
    `speaks`: the person writes, so that "I'm 20" and "I was born …" are this person's, wherever they stand.
    """
    facts = cast.facts
    text = facts.text
    places = [_spans(a) for a in anchors]
    aside = [_spans(b) for b in bystanders]
    alone = len(anchors) == 1

    def mine(start: int, *, home: bool = False) -> bool:
        if after is not None and start > after:
            return False
        if not home and _of_bystander(text, start, aside, places):  # "registered at my mom's 8 Elm St" is one's own
            return False
        said = _SELF.search(text[max(0, start - 24) : start]) or _SELF_AGE.match(text, start)
        if said is not None:
            return speaks
        return alone or _owner(text, start, places) == number

    births = [d for d in facts.births if mine(d.start)]
    ages = [
        a for a in facts.ages if mine(a.start) and not any(r.start < a.end and r.end > a.start for r in facts.relatives)
    ]
    homes = facts.own_addresses
    own_homes = [a for a in homes if mine(a.start, home=True)]
    if not own_homes and homes and (len(homes) == 1 or not alone):
        # One address between two, or none that is theirs alone: the household's.
        own_homes = list(homes) if len(homes) == 1 else []
    if not alone and len(homes) == 1:
        own_homes = list(homes)
    numbers = [n for n in facts.numbers if mine(n.start)]
    phones = [n.value for n in numbers if n.kind is NumberKind.PHONE]
    first = births[0] if births else None
    readings: list[PartialDate] = []
    for date in births:
        complete = date.readings[0][0] is not None and date.readings[0][2] is not None
        if date is first or (complete and first is not None and first.readings[0][2] is None):
            readings += date.readings
    return Belongings(
        birth_dates=tuple(dict.fromkeys(readings)),
        age=ages[0].age if ages else None,
        addresses=tuple(a.found for a in own_homes),
        voter_ids=_values(n.value for n in numbers if n.kind in (NumberKind.VOTER_ID, NumberKind.BARE)),
        ballot_numbers=_values(n.value for n in numbers if n.kind in (NumberKind.BALLOT, NumberKind.BARE)),
        phones=_values(phones),
        emails=_values(n.value for n in numbers if n.kind is NumberKind.EMAIL),
    )


def _values(found: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(found))


def own_account(letter: Letter, cast: Cast) -> bool:
    """Whether the sender's address may be the writer's: not said to be another's, not under another's name."""
    if cast.account.is_anothers:
        return False
    if cast.writer is None or not cast.sender.names:
        return True
    forms = cast.writer.forms
    if any(compatible(f, n) for f in forms for n in cast.sender.names):
        return True
    local = fold(letter.sender.address.split("@")[0])
    if any(len(word) >= 4 and word in local for f in forms for word in parts(f)[:1]):
        return True
    # A From name that is no person's name ("quiltlady") says nothing about whose account it is.
    return not any(len(n.split()) > 1 or is_given(n) for n in cast.sender.names)
