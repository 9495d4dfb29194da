"""Where people name themselves or others: in words ("my name is"), beside their particulars, and below their letter."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from replacements.reading.facts.names import (
    FromName,
    NameFound,
    compatible,
    fold,
    han_name,
    hangul_name,
    is_given,
    name_at,
)
from replacements.reading.facts.vocabulary import Vocabulary, vocabulary

Span = tuple[int, int]

_TWO_NAMES = re.compile(r"\s*(?:\([^)\n]{0,40}\)\s*)?,?\s*(?:and|&|y|e|và|\+|/)\s+", re.I)
_BETWEEN = re.compile(
    r"[\s,;:()\-–—.#]*(?:(?:is|was|born|b|dob|d\.o\.b|birth\w*|bday|date|of|at|on|in|voter|id|number|no|#|nacid[oa]|naci[oóí]?|el|en|vive|vivo|de|la|"
    r"sinh|ngày|năm|ở|số|nhà|tại|lives?|living|residing|from|registered|my|his|her|address|ballot|lot|unit|apt|the|and|phone|tel|cell|dirección|tel[eé]fono|celular|cel|móvil|mobile|điện|thoại)"
    r"[\s.,:()#\-–]+){0,6}",
    re.I,
)
_SEGMENT = re.compile(
    r"\n|[!?;]\s|(?<=[\w)\"”]{2})[.:]\s|^|(?<=\w)\.(?=[A-Z][a-z])|\s[–—-]\s|,?\s(?:and|&|y|và)\s(?=[A-ZÀ-Ỹ][\w'’.-]+\s[A-ZÀ-Ỹ])|,\s(?=[A-ZÀ-Ỹ][\w'’.-]+\s[A-ZÀ-Ỹ])"
)
_LEAD = re.compile(
    r"[\s\-–—*•~>\"“'(]*(?:(?:\d{1,2}[.)]|and|y|và|&|so|(?:hello|hi|hey)(?: there| all)?|hola|ok|okay|ps|re|from|for|de"
    r"|es|it['’]?s|se llama|this one is for)[\s,:]+)?(?:/?s/\s*)?[\s\-–—*~(\"“]*",
    re.I,
)
_KOREAN = re.compile(
    r"([가-힣]{2,4}?)\s*(?:[(（]\s*([A-Za-z][A-Za-z ,.'\-]{2,40})\s*[)）])?\s*(?:입니다|이라고|라고\s*합니다"
    r"|라고\s*하는|올림|드림|배상|이에요|예요|인데요|이고|이며)"
)
_ROMAN_ASIDE = re.compile(r"\s*[(（]\s*([A-Z][\w.'’\-]*(?:[ ,]{1,2}[A-Z][\w.'’\-]*){0,4})\s*[)）]")
_POSTSCRIPT = re.compile(r"\n[ \t]*p\.?\s?[sd]\b\.?[ .:\-]", re.I)
_DEVICE = re.compile(r"^(?:sent|get|enviado|gửi) (?:from|outlook|desde|từ)\b|보냄$|에서 보냄", re.I)
_STRONG_WORDS = re.compile(
    r"name|nombre|llamo|tên|이름|성함|성명|名|appelle|nom|heiße|heisse|nome|chamo|registered|registrad|firma", re.I
)
_OTHERS = re.compile(r"['’]s\s+\w+")
_BEFORE_A_DATE = re.compile(
    r"(?<![\w’'-])((?:[A-ZÀ-Ỹ][\w’'.-]*\s){1,3}[A-ZÀ-Ỹ][\w’'-]*\w)\s*[,(]\s*(?:born\s+|dob:?\s+|b\.\s*)?$"
)
_BIRTH_LIKE = re.compile(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}$|[A-Za-z]{3,9}\.? \d{1,2}")
_ITEM = re.compile(r"^[ \t]*(?:[-*•]|\d{1,2}[.)])[ \t]+", re.MULTILINE)
_SHORT = 42


class How(StrEnum):
    """Where a name stands, strongest first."""

    SAID = "said"  # "my name is …", "Name: …", "… here"
    BESIDE = "beside"  # followed by a birth date, an address, an id
    SIGNED = "signed"
    FORMER = "former"  # an earlier name of the same person


@dataclass(frozen=True, slots=True)
class NamePlace:
    start: int
    end: int
    text: str
    how: How
    suffix: str = ""
    other_form: str = ""  # the same name in another script, in brackets behind it


def _place(found: NameFound, how: How, other: str = "") -> NamePlace:
    return NamePlace(found.start, found.end, found.text, how, found.suffix, other)


def _covered(start: int, end: int, spans: Sequence[Span]) -> bool:
    return any(start < e and end > s for s, e in spans)


def _like_a_person(found: NameFound, words: Vocabulary, sender: FromName) -> bool:
    """Two words or more, or one that is a known given name or the sender's."""
    row = found.text.split()
    if ord(found.text[0]) > 0x2000:
        return True
    flat = [fold(w) for w in row]
    known = is_given(row[0]) or any(w in sender.words for w in flat)
    if len(row) > 1 and row[-1].rstrip(".").lower() in words.words["ways"] and flat[-1] not in sender.words:
        return False  # "Section Road" is where somebody lives
    if any(w.rstrip(".").lower() in words.words["organisation"] for w in row) and not known:
        return False
    return len(row) >= 2 or known


def _other_script(text: str, at: int, words: Vocabulary) -> NameFound | None:
    if words.language == "ko":
        name = hangul_name(text, at)
        return NameFound(at, at + len(name), name) if name else None
    if words.language == "zh":
        name = han_name(text, at)
        return NameFound(at, at + len(name), name) if name else None
    return None


def _aside(text: str, end: int) -> str:
    m = _ROMAN_ASIDE.match(text, end)
    return m[1].strip() if m else ""


def _said(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    found: list[NamePlace] = []
    for name in ("name_label", "name_intro", "name_as", "former_name"):
        for m in words.pattern(name).finditer(text):
            strong = name == "name_label" or _STRONG_WORDS.search(m[0]) is not None
            person = _other_script(text, m.end(), words) or name_at(text, m.end(), words, sender.words, small=True)
            if person is None or _covered(person.start, person.end, facts):
                continue
            capital = person.text[0].isupper() or not person.text.isascii()
            if _OTHERS.match(text, person.end):
                continue  # "I'm Ana Poe's daughter" names Ana, and another writes
            if not capital and not strong and not _like_a_person(person, words, sender):
                continue
            if not strong and (
                not _like_a_person(person, words, sender) or (not capital and not _known(person, sender))
            ):
                continue
            if name == "former_name":
                if capital and len(text[m.start() : m.end()].split()) >= 1:
                    found.append(_place(person, How.FORMER))
                continue
            if name == "name_label" and len(person.text.split()) == 1 and text[person.end : person.end + 2] == ", ":
                given = name_at(text, person.end + 2, words, sender.words)
                if given:
                    person = NameFound(person.start, given.end, f"{given.text} {person.text}", given.suffix)
            found.append(_place(person, How.SAID, _aside(text, person.end)))
            found += [_place(p, How.SAID) for p in _partner(text, person, words, sender)]
    found += _surname_told(text, words, sender, facts)
    if words.language == "ko":
        for m in _KOREAN.finditer(text):
            name = hangul_name(m[1], 0)
            if name and name == m[1]:
                found.append(NamePlace(m.start(1), m.end(1), name, How.SAID, other_form=(m[2] or "").strip()))
    return found


def _surname_told(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    """ "Last name is Poe": with the given name that stands beside it in the same manner, else that of the From line."""

    def told(pattern: str) -> NameFound | None:
        for m in words.pattern(pattern).finditer(text):
            person = _other_script(text, m.end(), words) or name_at(text, m.end(), words, sender.words, small=True)
            if person is not None and not _covered(person.start, person.end, facts):
                return person
        return None

    surname = told("surname")
    if surname is None:
        return []
    given = told("given_name")
    if given is not None:
        first = given.text
    else:
        own = [n for n in sender.names if is_given(n.split()[0]) and not compatible(n, surname.text)]
        first = own[0].split()[0] if len(own) == 1 else ""
    if not first or not surname.text.isascii() or compatible(first, surname.text):
        return [_place(surname, How.SAID)]
    return [replace(_place(surname, How.SAID), text=f"{first} {surname.text}")]


def _partner(text: str, first: NameFound, words: Vocabulary, sender: FromName) -> list[NameFound]:
    """The second name of "Ben and Imani Stewart"."""
    joint = _TWO_NAMES.match(text, first.end)
    if joint is None:
        return []
    second = name_at(text, joint.end(), words, sender.words)
    if second is None or not (
        len(second.text.split()) > 1 or is_given(second.text) or fold(second.text) in sender.words
    ):
        return []
    return [second]


def _with_shared_surname(first: NameFound, second: NameFound) -> NameFound:
    row = second.text.split()
    if len(first.text.split()) == 1 and len(row) > 1:
        return replace(first, text=f"{first.text} {row[-1]}")
    return first


def _segment_starts(text: str) -> list[int]:
    starts = []
    for m in _SEGMENT.finditer(text):
        lead = _LEAD.match(text, m.end())
        starts.append(lead.end() if lead else m.end())
    return sorted(set(starts))


def _known(person: NameFound, sender: FromName) -> bool:
    """A known given name, or a word of the From line."""
    row = person.text.split()
    return is_given(row[0]) or any(fold(w) in sender.words for w in row)


def _stands_alone(text: str, at: int, person: NameFound, sender: FromName) -> bool:
    """ "Ruined it. Ida Moss. Send another": a sentence that is the sender's whole name and nothing else."""
    return (
        len(person.text.split()) > 1
        and re.match(r"\s*[.!\n]", text[person.end : person.end + 3]) is not None
        and any(compatible(person.text, n) for n in sender.names)
    )


def _opens_line(text: str, at: int) -> bool:
    return not text[text.rfind("\n", 0, at) + 1 : at].strip(" \t-*•")


def _beside(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    """Names that open a line or sentence and are followed by a fact or by "here"."""
    found: list[NamePlace] = []
    for at in _segment_starts(text):
        if at >= len(text) or _covered(at, at + 1, facts):
            continue
        person = _other_script(text, at, words) or name_at(text, at, words, sender.words, small=True)
        person = _last_name_first(text, person, words, sender)
        if person is None or not _like_a_person(person, words, sender) or _OTHERS.match(text, person.end):
            continue
        small = person.text[0].islower()
        if small and not _known(person, sender) and (len(person.text.split()) < 2 or not _opens_line(text, at)):
            continue  # "needing another one. po box 7": small letters within a line are words, unless known for names
        partners = _partner(text, person, words, sender)
        end = partners[0].end if partners else person.end
        said_after = words.pattern("name_after").match(text[person.end : person.end + 16])
        lead = _BETWEEN.match(text, end)
        reach = lead.end() if lead else end
        nearest = min((s for s, _ in facts if s >= end), default=-1)
        beside = nearest >= 0 and (nearest <= reach or nearest - end <= 3) and "\n\n" not in text[end:nearest]
        if beside and "\n" in text[end:nearest] and small and len(person.text.split()) < 2:
            beside = False
        alone = not small and _stands_alone(text, at, person, sender)
        if not (said_after or beside or alone):
            continue
        how = How.SAID if said_after else How.BESIDE if beside else How.SIGNED
        for second in partners:
            person = _with_shared_surname(person, second)
        found.append(_place(person, how, _aside(text, person.end)))
        found += [_place(second, how) for second in partners]
    return found


def _dated(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    """Whole names within a sentence that a birth date follows: "hers would be under Livia Rose Poe, 11/21/1963"."""
    found = []
    for begin, _ in facts:
        m = _BEFORE_A_DATE.search(text, max(0, begin - 60), begin)
        person = name_at(text, m.start(), words, sender.words) if m else None
        if not (m and person) or person.end < m.end(1) or _covered(person.start, person.end, facts):
            continue
        if _known(person, sender) or len(person.text.split()) > 2:  # "Armistice Day, November 11" is nobody
            found.append(_place(person, How.BESIDE))
    return found


def _listed(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    """Whole names that begin the items of a list: "- Irma Gantry, room 14: none came" """
    found = []
    for m in _ITEM.finditer(text):
        person = name_at(text, m.end(), words, sender.words)
        if (
            person is None
            or len(person.text.split()) < 2
            or not re.match(r"\s*[,:(–-]", text[person.end : person.end + 3])
        ):
            continue
        if _like_a_person(person, words, sender) and not _covered(person.start, person.end, facts):
            found.append(_place(person, How.BESIDE))
    return found if len(found) > 1 else []


def _last_name_first(text: str, person: NameFound | None, words: Vocabulary, sender: FromName) -> NameFound | None:
    """ "POE, MARY ANN" at the start of a line or sentence, as one name."""
    most = 3 if words.language == "es" else 1  # "Arriaga Peña, Gilberto"
    if person is None or len(person.text.split()) > most or text[person.end : person.end + 2] != ", ":
        return person
    if most > 1 and is_given(person.text.split()[0]):
        return person
    given = name_at(text, person.end + 2, words, sender.words)
    if given is None or len(given.text.split()) > 3:
        return person
    both = fold(person.text) in sender.words and any(fold(w) in sender.words for w in given.text.split())
    if both or (is_given(given.text.split()[0]) and not is_given(person.text)):
        return NameFound(person.start, given.end, f"{given.text} {person.text}", given.suffix)
    return person


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
    person = _other_script(text, at, words) or name_at(text[:end], at, words, sender.words, small=True)
    if person is None or _covered(person.start, person.end, facts):
        return []
    row = person.text.split()
    if person.text[0].islower() or (text.isupper() and len(row) == 1):
        if len(row) == 1 and not (is_given(row[0]) or fold(row[0]) in sender.words):
            return []
        if any(w in words.words["plain_words"] and not is_given(w) for w in (x.rstrip(".").lower() for x in row)):
            return []
    if any(w.rstrip(".").lower() in words.words["organisation"] for w in row) and not (
        is_given(row[0]) or fold(row[0]) in sender.words
    ):
        return []
    if len(row) > 1 and row[-1].rstrip(".").lower() in words.words["ways"] and fold(row[-1]) not in sender.words:
        return []
    partners = _partner(text[:end], person, words, sender)
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
    if (rest.strip().startswith(",") or with_facts) and len(row) == 1 and not partners and not _known(person, sender):
        return []  # "Receiving, Second Floor" is where somebody works, "ADDR 12 Elm St" a label
    return [_with_shared_surname(person, partners[0]), partners[0]] if partners else [person]


def _signed(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
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
            found = [_place(p, How.SIGNED, _aside(text, p.end)) for p in people] + found
            if len(found) >= 4:
                break
            continue
        blank = re.sub(r"[\W\d_]+", "", _without(text, start, end, facts))
        if len(blank) <= 14 and _covered(start, end, facts):
            continue
        if _after_closing(line, words) == -1:
            if found:
                break
            continue
        if found:
            break
        fragment = _ending(text, start, end, words, sender, facts)
        if fragment:
            found = [_place(fragment, How.SIGNED, _aside(text, fragment.end))]
            break
        skipped += 1
        if len(line) > _SHORT or skipped > 3:
            break
    return found


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
        if len(people) == 1 and _like_a_person(people[0], words, sender):
            return people[0]
    return None


def names_between_marks(text: str, language: str, sender: FromName) -> list[str]:
    """Whole names that stand alone between the marks of a subject line: "Poe, Ida Ann - new ballot"."""
    words = vocabulary(language)
    found = []
    for m in re.finditer(r"(?:^|\s[-–—|]\s|[:;(/]\s*)", text):
        person = _last_name_first(text, name_at(text, m.end(), words, sender.words), words, sender)
        if person is None or not re.match(r"\s*(?:$|[-–—|)(;:/,])", text[person.end : person.end + 3]):
            continue
        if len(person.text.split()) > 1 and _like_a_person(person, words, sender):
            found.append(person.text)
    return found


def find_names(text: str, language: str, sender: FromName, facts: Sequence[Span] = ()) -> tuple[NamePlace, ...]:
    """Every place where the text names the writer or somebody with particulars, in the order of the text.

    `facts`: places of dates, addresses and numbers. One place is given once, under its strongest heading.
    """
    words = vocabulary(language)
    ordered = sorted(facts)
    places = (
        _said(text, words, sender, ordered)
        + _beside(text, words, sender, ordered)
        + _listed(text, words, sender, ordered)
        + _dated(text, words, sender, [s for s in ordered if _BIRTH_LIKE.match(text[s[0] : s[1]])])
        + _signed(text, words, sender, ordered)
    )
    rank = list(How)
    kept: list[NamePlace] = []
    for place in sorted(places, key=lambda p: (rank.index(p.how), p.start - p.end)):
        if all(place.end <= k.start or place.start >= k.end for k in kept):
            kept.append(place)
        elif place.how is How.SIGNED:
            kept = [replace(k, how=k.how) if k.start != place.start else k for k in kept]
    return tuple(sorted(kept, key=lambda p: p.start))
