"""Where one statement of a mail ends and the next begins, so that only words that belong together are put together."""

from __future__ import annotations

import re
from dataclasses import dataclass

# Common practice in English and Spanish addresses and titles: a full stop after these ends no sentence.
_SHORT_FORMS = frozenset(
    [
        "st",
        "ave",
        "av",
        "blvd",
        "rd",
        "dr",
        "ln",
        "ct",
        "pl",
        "cir",
        "hwy",
        "apt",
        "apto",
        "ste",
        "no",
        "nr",
        "num",
        "mr",
        "mrs",
        "ms",
        "mx",
        "dr",
        "dra",
        "sr",
        "sra",
        "srta",
        "jr",
        "prof",
        "rev",
        "hon",
        "gen",
        "sgt",
        "capt",
        "lt",
        "col",
        "ssg",
        "inc",
        "co",
        "dept",
        "gov",
        "sen",
        "rep",
        "n",
        "s",
        "e",
        "w",
        "ne",
        "nw",
        "se",
        "sw",
        "jan",
        "feb",
        "mar",
        "apr",
        "jun",
        "jul",
        "aug",
        "sep",
        "sept",
        "oct",
        "nov",
        "dec",
        "vs",
        "etc",
        "ud",
        "uds",
        "vd",
        "atte",
        "av",
        "tel",
        "ext",
        "p.o",
    ]
)
_STOP = re.compile(r"[.!?…。！？]+[\"'”’)\]]*(?=\s|$)|[。！？]|\n")
_LIST_ITEM = re.compile(r"[ \t]*(?:[-*•·>]|\(?\d{1,2}[.)])[ \t]+\S")
_LAST_WORD = re.compile(r"([^\W\d_]+)\.$")
_WRAPPED = 55  # a line at least this long that runs on was most likely broken by the mail program


@dataclass(frozen=True, slots=True)
class Sentence:
    """A statement with its place in the text it was taken from (`text[start:end]`)."""

    start: int
    end: int
    text: str


def sentences(text: str) -> tuple[Sentence, ...]:
    """The statements of a text in order, without blank ones. A wrapped line does not split, a list item does."""
    found: list[Sentence] = []
    start = 0
    for stop in _STOP.finditer(text):
        if stop.start() < start:
            continue
        if stop.group().startswith("\n"):
            if _runs_on(text, stop.start()):
                continue
        elif stop.group().startswith(".") and _is_short_form(text, stop):
            continue
        _keep(found, text, start, stop.end())
        start = stop.end()
    _keep(found, text, start, len(text))
    return tuple(found)


def _keep(found: list[Sentence], text: str, start: int, end: int) -> None:
    piece = text[start:end]
    stripped = piece.strip()
    if stripped and any(c.isalnum() for c in stripped):
        begin = start + len(piece) - len(piece.lstrip())
        found.append(Sentence(begin, begin + len(stripped), stripped))


def _is_short_form(text: str, stop: re.Match[str]) -> bool:
    if len(stop.group()) > 1:
        return False
    word = _LAST_WORD.search(text, max(0, stop.start() - 12), stop.start() + 1)
    following = text[stop.end() : stop.end() + 2].strip()
    if re.search(r"(?:^|\n)[ \t]*\d{1,2}\.$", text[max(0, stop.start() - 4) : stop.start() + 1]):
        return True  # the number of a list item
    if not word:
        return False
    name = word.group(1)
    if name.lower() in _SHORT_FORMS:
        return bool(following) or name.lower() in {"mr", "mrs", "ms", "dr"}
    return len(name) == 1 and name.isupper() and name != "I"


def _runs_on(text: str, newline: int) -> bool:
    """Whether the line break at this offset lies within a paragraph that a mail program wrapped."""
    after = text[newline + 1 :].split("\n", 1)[0]
    if not after.strip() or _LIST_ITEM.match(after):
        return False
    before = text[text.rfind("\n", 0, newline) + 1 : newline].rstrip()
    if len(before) >= _WRAPPED:
        return before[-1] not in ".!?:。！？"
    return bool(before) and len(before) >= 35 and after.lstrip()[:1].islower() and before[-1] not in ".!?:"
