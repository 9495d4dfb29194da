"""Names below a letter: the lines that hold a name and nothing else, and names that end the last sentence."""

from __future__ import annotations

import re
from collections.abc import Sequence

from replacements.reading.facts.name_places import (
    How,
    NamePlace,
    Span,
    aside,
    covered,
    is_a_street,
    known,
    like_a_person,
    other_script,
    partner,
    place_of,
    with_shared_surname,
)
from replacements.reading.facts.names import (
    FromName,
    NameFound,
    fold,
    is_given,
    name_at,
)
from replacements.reading.facts.vocabulary import Vocabulary

_POSTSCRIPT = re.compile(r"\n[ \t]*p\.?\s?[sd]\b\.?[ .:\-]", re.I)
_DEVICE = re.compile(r"^(?:sent|get|enviado|gửi) (?:from|outlook|desde|từ)\b|보냄$|에서 보냄", re.I)
_SHORT = 42


def signed(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    """Names below the letter, from the bottom up: the last name lines, or a name that ends the last sentence."""
    ps = list(_POSTSCRIPT.finditer(text))
    body_end = ps[-1].start() if ps else len(text)
    lines = [(m.start(), m.end()) for m in re.finditer(r"[^\n]+", text[:body_end]) if m[0].strip()]
    found: list[NamePlace] = []
    skipped = 0
    for start, end in reversed(lines[-12:]):
        line = text[start:end].strip()
        if _DEVICE.search(line):
            continue
        people = _name_on_line(text, start, end, words, sender, facts)
        if people:
            found = [place_of(p, How.SIGNED, aside(text, p.end)) for p in people] + found
            if len(found) >= 4:
                break
            continue
        blank = re.sub(r"[\W\d_]+", "", _without(text, start, end, facts))
        if len(blank) <= 14 and covered(start, end, facts):
            continue
        if _after_closing(line, words) == -1:
            if found:
                break
            continue
        if found:
            break
        fragment = _ending(text, start, end, words, sender, facts)
        if fragment:
            found = [place_of(fragment, How.SIGNED, aside(text, fragment.end))]
            break
        skipped += 1
        if len(line) > _SHORT or skipped > 3:
            break
    return found


def _after_closing(line: str, words: Vocabulary) -> int:
    """Where a name would start in "Thank you, Bob": behind the closing words; -1 where the line is all closing."""
    at = 0
    for _ in range(3):
        m = words.pattern("closing").match(line[at:])
        if m is None or m.end() == 0:
            break
        at += m.end()
    return -1 if at >= len(line.rstrip(" .,!")) and at else at


def _name_on_line(
    text: str, start: int, end: int, words: Vocabulary, sender: FromName, facts: Sequence[Span]
) -> list[NameFound]:
    """The name or two names that a signature line holds and nothing else, apart from facts and bracketed asides."""
    line = text[start:end]
    skipped = _after_closing(line, words)
    if skipped < 0:
        return []
    lead = re.match(
        r"[\s\-–—*~•(\"“]*(?:/?s/\s*)?(?:\((?:mr|mrs|ms|dr)\.?\)\s*)?(?:and\s+|y\s+|và\s+)?", line[skipped:], re.I
    )
    at = start + skipped + (lead.end() if lead else 0)
    person = other_script(text, at, words) or name_at(text[:end], at, words, sender.words, small=True)
    if person is None or covered(person.start, person.end, facts):
        return []
    row = person.text.split()
    if person.text[0].islower() or (text.isupper() and len(row) == 1):
        if any(w[0].isupper() for w in row) and not (is_given(row[0]) or fold(row[0]) in sender.words):
            return []  # "… and my / sister Ofelia, from number 11": a sentence that goes on
        if len(row) == 1 and not (is_given(row[0]) or fold(row[0]) in sender.words):
            return []
        if any(w in words.words["plain_words"] and not is_given(w) for w in (x.rstrip(".").lower() for x in row)):
            return []
    if any(w.rstrip(".").lower() in words.words["organisation"] for w in row) and not (
        is_given(row[0]) or fold(row[0]) in sender.words
    ):
        return []
    if is_a_street(row, words, sender):
        return []
    partners = partner(text[:end], person, words, sender)
    stop = partners[0].end if partners else person.end
    rest = text[stop:end]
    for s, e in facts:
        if s < end and e > stop:
            rest = rest.replace(text[max(s, stop) : min(e, end)], " ")
    with_facts = rest != text[stop:end]
    rest = re.sub(r"[(（\[][^)）\]]{0,40}[)）\]]", " ", rest)
    rest = re.sub(r"\b(?:올림|드림|배상|拜上|敬上|謹上|上)(?=\W|$)", " ", rest.strip())
    allowed = len(rest.strip(" .,!;:-–—|/😊🙂❤️~*")) == 0 or re.match(
        r"^\s*(?:,|\||-|–|who\b|born|dob|b\.|voter|id\b|phone|tel|:\))", rest, re.I
    )
    if not allowed and words.pattern("birth_before").match(rest.strip()) is None:
        return []
    if (rest.strip().startswith(",") or with_facts) and len(row) == 1 and not partners and not known(person, sender):
        return []  # "Receiving, Second Floor" is where somebody works, "ADDR 12 Elm St" a label
    return [with_shared_surname(person, partners[0]), partners[0]] if partners else [person]


def _without(text: str, start: int, end: int, facts: Sequence[Span]) -> str:
    kept = list(text[start:end])
    for s, e in facts:
        for i in range(max(s, start) - start, min(e, end) - start):
            kept[i] = " "
    return "".join(kept)


def _ending(
    text: str, start: int, end: int, words: Vocabulary, sender: FromName, facts: Sequence[Span]
) -> NameFound | None:
    """A name that ends a prose line: "… a new one?? katie kelley", "… Thanks, Bob Poe"."""
    line = text[start:end]
    cuts = [m.end() for m in re.finditer(r"(?<!\b[A-Z])[.!?)\"”…]+\s+|\s[-–—]+\s*|\U0001f000\s*", line)]
    for cut in reversed(cuts[-3:]):
        people = _name_on_line(text, start + cut, end, words, sender, facts)
        if len(people) != 1:
            continue
        person = people[0]
        row = person.text.split()
        known = is_given(row[0]) or any(s.startswith(fold(w)) for w in row if len(w) > 2 for s in sender.words)
        closing = _after_closing(line[cut:], words) > 0
        if known and row[0][0].isupper() and not text.isupper():
            return person
        if (known and (len(row) >= 2 or fold(row[0]) in sender.words or closing)) or (closing and row[0][0].isupper()):
            return person
        if len(row) in (2, 3) and row[0][0].isupper() and row[-1][0].isupper() and not text.isupper():
            return person
    m = re.search(r"(?:thanks?|thank you|thx|gracias|sincerely|regards|cheers|cảm ơn|cám ơn)[\s,!.\-–—]+", line, re.I)
    if m and len(line) - m.end() < _SHORT:
        people = _name_on_line(text, start + m.end(), end, words, sender, facts)
        if len(people) == 1 and like_a_person(people[0], words, sender):
            return people[0]
    return None
