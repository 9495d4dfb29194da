"""Which of several elections a letter names, and how: said of the ballot itself, or only in passing.

An election is named by its kind (primary, general, runoff, special), its name in the office's rules, and its day or
month; how letters write these is in `election_words.toml`. What several of the elections share names none of them.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from replacements.mail.letter import Letter
from replacements.rules.office import ElectionKind, ElectionRules

ANOTHER = ""  # a kind of election that none of these is
_LONGEST = 12_000  # characters that are looked at, as in reading


@dataclass(frozen=True, slots=True)
class Named:
    """`said`: elections whose words are said of the ballot or the wish. `mentioned`: all that are named, those too.
    `denied`: some name stands where the letter says which is not meant. ANOTHER among them: an election of a kind that
    is none of these."""

    said: frozenset[str] = frozenset()
    mentioned: frozenset[str] = frozenset()
    denied: bool = False


def kind_of(election: ElectionRules) -> ElectionKind | None:
    """The kind that the office's rules name, else the one that the election's name tells; None where neither does."""
    if election.kind is not None:
        return election.kind
    told = [kind for kind in _kinds() if re.search(rf"\b(?:{kind}|{kind[:3]}-{kind[3:]})\b", election.name.lower())]
    return told[0] if len(told) == 1 else "runoff" if "runoff" in told else None


def named_in(letter: Letter, elections: Mapping[str, ElectionRules]) -> Named:
    """What a letter says of these elections, by their ids. Read from what the writer says now; from the subject too,
    unless the letter is an answer: then the subject is an older one."""
    subject = "" if letter.in_reply_to or letter.references else _plain(letter.subject)
    text = _plain(letter.new_text)
    words = _patterns(tuple((key, rules.name, kind_of(rules), rules.date) for key, rules in elections.items()))
    said, mentioned, denied = set(), set(), False
    for key, (mention, said_of_it) in words.items():
        for found in mention.finditer(text):
            mentioned.add(key)
            denied = denied or _denied().search(text[max(0, found.start() - 60) : found.start()]) is not None
        if said_of_it.search(text):
            said.add(key)
        if mention.search(subject) or said_of_it.search(subject):
            said.add(key)
    return Named(frozenset(said), frozenset(mentioned | said), denied)


def _plain(text: str) -> str:
    return " ".join(text.split()).lower().replace("'", "’")[:_LONGEST]


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))


def _kinds() -> dict[ElectionKind, list[str]]:
    kinds: dict[ElectionKind, list[str]] = _data()["kinds"]
    return kinds


@cache
def _denied() -> re.Pattern[str]:
    return re.compile("|".join(_data()["said_of_it"]["denied"]))


_Told = tuple[str, str, "ElectionKind | None", date]  # key, name, kind, day


@lru_cache(maxsize=64)
def _patterns(elections: tuple[_Told, ...]) -> dict[str, tuple[re.Pattern[str], re.Pattern[str]]]:
    """For each election, and for ANOTHER: what mentions it, and what says it of the ballot."""
    kinds = Counter(kind for _, _, kind, _ in elections if kind)
    months = Counter((day.year, day.month) for _, _, _, day in elections)
    found = {}
    for key, name, kind, day in elections:
        terms = list(_kinds()[kind]) if kind and kinds[kind] == 1 else []
        if not kind or kinds[kind] > 1 or len(name.split()) > 2:
            terms.append(r"\s".join(re.escape(word) for word in name.lower().split()))
        days = _days(day, whole_month=months[day.year, day.month] == 1)
        by_day = [pattern.replace("{D}", days) for pattern in _data()["by_day"]["mention"]]
        by_ballot = [pattern.replace("{D}", days) for pattern in _data()["by_day"]["ballot"]]
        found[key] = _compiled([*terms, *by_day], by_ballot)
    others = [term for kind, terms in _kinds().items() if kind not in kinds for term in terms]
    found[ANOTHER] = _compiled(others, [])
    return found


def _compiled(terms: Sequence[str], of_the_ballot: Sequence[str]) -> tuple[re.Pattern[str], re.Pattern[str]]:
    together = rf"(?<!\w)(?:{'|'.join(terms)})" if terms else r"(?!)"
    said = [pattern.replace("{T}", together) for pattern in _data()["said_of_it"]["patterns"]]
    either = [together, *(rf"(?<!\w)(?:{pattern})" for pattern in of_the_ballot)]
    return re.compile("|".join(either)), re.compile("|".join([*said, *either[1:]]))


def _days(day: date, *, whole_month: bool) -> str:
    """An election day as letters write it; its month alone where no other election is in it."""
    english = _data()["months"]["en"][day.month - 1]
    spanish = _data()["months"]["es"][day.month - 1]
    year = rf"(?:,? {day.year})?"
    # A number that is another day of the month, or another year, is no mention of this election.
    no_other = r"(?! ?\d)"
    ways = [
        rf"{english} {day.day}(?:st|nd|rd|th)?\b{year}{no_other}",
        rf"{day.day}(?:st|nd|rd|th)? (?:of )?{english}\b{year}{no_other}",
        rf"{day.month}/{day.day}(?:/(?:{day.year}|{day.year % 100:02}))?(?![/\d])",
        day.isoformat(),
        rf"{day.day} de {spanish}\b(?: de(?:l)? {day.year})?",
        rf"(?:ngày )?{day.day} tháng {day.month}(?!\d)(?: năm {day.year})?",
        rf"{day.month}월 {day.day}일",
    ]
    if whole_month:
        ways += [
            rf"{english}(?! ?\d){year}",
            rf"{spanish}\b(?: de(?:l)? {day.year})?",
            rf"(?<!\d )tháng {day.month}(?!\d)",
            rf"(?<!\d){day.month}월(?! ?\d)",
        ]
    return f"(?:{'|'.join(ways)})"
