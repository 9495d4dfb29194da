"""Who else is spoken of without a word of kinship: "Walt tore it, could you get him another?", "Re: Ana's ballot".

A name in running text counts where something is asked for its bearer, or where a wish in the third person ("send her
one") can mean nobody else. The subject counts, too: it says whose ballot the letter is about.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from replacements.reading.attribution import ELLIPTIC, Other
from replacements.reading.facts.names import compatible, is_given
from replacements.reading.facts.relations import find_relatives, named_in
from replacements.reading.facts.vocabulary import Vocabulary, vocabulary

Span = tuple[int, int]

_NAME = r"(?P<{}>[A-ZÀ-Ỹ][\w’'-]*[\w](?:\s[A-ZÀ-Ỹ][\w’'-]*\w){{0,2}})"
_PAPERS = r"(?:ballot|packet|envelope|vote|absentee|mail-in|replacement)s?"
_IN_SUBJECT = re.compile(
    rf"(?:^|[^\w]){_NAME.format('of')}['’]s?\s+(?:\w+\s+){{0,3}}(?i:{_PAPERS})\b"
    rf"|(?i:\b{_PAPERS}|\bone|\banother)\s+for\s+(?:(?:Mr|Mrs|Ms|Miss|Dr)\.?\s+)?{_NAME.format('to')}"
    rf"|(?i:\b(?:boleta|papeleta|sobre|paquete))\s+(?:de|para)\s+(?:(?:don|doña|el señor|la señora)\s+)?"
    rf"{_NAME.format('de')}"
    rf"|(?i:phi[ếe]u(?: b[ầa]u)?) (?:c[ủu]a|cho) (?:(?:ông|bà|anh|chị|cô|ong|ba)\s+)?{_NAME.format('cua')}"
)
_MAY = re.compile(r"\b(?:could|can|may|might|would)\s+$", re.I)  # "could Walt get a new ballot?"
_HAVE = re.compile(r"\s+(?:please\s+|also\s+)?(?:get|have|receive)\s+(?:an?\b|another|one)", re.I)
_HIS_OR_HER_BALLOT = re.compile(r"\b(?:his|her)\s+(?:\w+\s+)?(?:ballot|packet)\b", re.I)
_ABOUT = re.compile(rf"\W{{0,2}}(?:\w+\s+){{0,3}}?{_PAPERS}\b", re.I)
_ABOUT_BEFORE = re.compile(
    r"\b(?:for|(?:boleta|papeleta|sobre|paquete) (?:de|para)|phi[ếe]u(?: b[ầa]u)? (?:c[ủu]a|cho))\s+$", re.I
)


@dataclass(frozen=True, slots=True)
class Told:
    """What the letter says besides: `own` are the writer's names, `known` the places where names were found already."""

    subject: str
    text: str
    language: str
    own: Sequence[str]
    known: Sequence[Span]


def wishes(text: str, words: Vocabulary) -> list[int]:
    """Where something is asked for a third person: "get him another", "one for her", "mándenle otra"."""
    return [m.start() for m in words.pattern("wish_for").finditer(text)]


def add_asked_for(told: Told, others: list[Other]) -> None:
    """Add the one whom the subject names; and somebody without a name where a wish can mean nobody else."""
    words = vocabulary(told.language)
    _add_from_subject(told, others, words)
    asked_at = wishes(told.text, words)
    if not words.pattern("own_ballot").search(told.text):
        asked_at += [m.start() for m in _HIS_OR_HER_BALLOT.finditer(told.text)]
    if others or not asked_at:
        return
    named = named_in(told.text, told.language, told.known)
    if not any(end <= asked_at[-1] and not any(compatible(name, n) for n in told.own) for _, end, name in named):
        others.append(Other("", [], [(0, 0, False)]))


def add_named(told: Told, others: list[Other]) -> None:
    """Add names in running text: to those they fit, to the one unnamed relative, or anew."""
    words = vocabulary(told.language)
    asked_at = wishes(told.text, words)
    text = told.text
    waiting: list[tuple[int, int, str, bool]] = []
    for start, end, name in named_in(text, told.language, told.known):
        after = text[end : end + 60]
        possessive = re.match(r"['’]s?\b", after) is not None
        fitting = next((o for o in others if any(compatible(name, n) for n in o.names)), None)
        if fitting is not None:
            fitting.places.append((start, end, possessive))
            if name not in fitting.names:
                fitting.names.append(name)
            continue
        if any(compatible(name, n) for n in told.own):
            continue
        nameless = [o for o in others if not o.names and o.is_close]
        if len(nameless) == 1:
            nameless[0].names.append(name)
            nameless[0].places.append((start, end, possessive))
            continue
        asked = words.pattern("need_too").match(after.lstrip()) or re.search(
            r"\b(?:for|para|cho)\s+$", text[max(0, start - 6) : start]
        )
        asked = asked or (_MAY.search(text[max(0, start - 8) : start]) and _HAVE.match(after))
        with_mine = possessive and re.search(r"\b(?:mine|my ballot)\s+and\s+$", text[max(0, start - 16) : start], re.I)
        if asked or with_mine or (possessive and re.match(r"['’]s?\s+(?:\w+\s+)?(?:ballot|packet|and mine)\b", after)):
            others.append(Other("", [name], [(start, end, possessive)]))
        else:
            waiting.append((start, end, name, possessive))
    if others or not waiting:
        return
    if not asked_at:  # "Walt's hands shake and he marked the wrong circle", and nothing about a ballot of one's own
        if words.pattern("own_ballot").search(text) and not words.pattern("no_need").search(text):
            return
        asked_at = [m.start() for m in words.pattern("third").finditer(text)]
        asked_at += [e for _, e, _, possessive in waiting if possessive and ELLIPTIC.match(text[e + 2 : e + 14])]
        asked_at.sort()
    meant = [w for w in waiting if asked_at and w[1] <= asked_at[-1]]
    if meant:  # the last one named before the wish
        name = meant[-1][2]
        others.append(Other("", [name], [(s, e, p) for s, e, n, p in waiting if compatible(n, name)]))


def _add_from_subject(told: Told, others: list[Other], words: Vocabulary) -> None:
    """The subject says whose ballot it is, unless it speaks of the writer's own as well, or says that all is well."""
    subject = told.subject
    if not subject or words.pattern("own_ballot").search(subject) or words.pattern("no_need").search(subject):
        return
    for relative in find_relatives(subject, told.language):
        end = max(relative.end, relative.name_end)
        possessive = relative.possessive and _ABOUT.match(subject[end:].removeprefix("'s").removeprefix("’s"))
        if possessive or _ABOUT_BEFORE.search(subject[: relative.start]):
            other = next((o for o in others if o.relation == relative.relation), None)
            if other is None:
                other = Other(relative.relation, [relative.name] if relative.name else [], [(0, 0, False)])
                others.append(other)
            other.in_subject = True
            return
    m = _IN_SUBJECT.search(subject)
    name = next((v for v in m.groupdict().values() if v), "") if m else ""
    if not name or any(compatible(name, n) for n in told.own):
        return
    other = next((o for o in others if any(compatible(name, n) for n in o.names)), None)
    places = [p.span() for p in re.finditer(rf"\b{re.escape(name.split()[0])}\b", told.text)]
    if other is None:
        first = name.split()[0].lower()
        if not is_given(first) and (not places or first in words.words["plain_words"]):
            return
        other = next((o for o in others if not o.names and o.is_close), None)
        if other is None:
            other = Other("", [], [])
            others.append(other)
        other.names.append(name)
        other.places += [(s, e, False) for s, e in places] or [(0, 0, False)]
    other.in_subject = True
