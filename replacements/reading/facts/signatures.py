"""Where people name themselves or others: in words ("my name is"), beside their particulars, and below their letter."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from replacements.reading.facts.below_letters import signed
from replacements.reading.facts.name_places import (
    How,
    NamePlace,
    Span,
    aside,
    covered,
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
    compatible,
    fold,
    hangul_name,
    is_given,
    name_at,
)
from replacements.reading.facts.vocabulary import Vocabulary, vocabulary

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
_STRONG_WORDS = re.compile(
    r"name|nombre|llamo|tên|이름|성함|성명|名|appelle|nom|heiße|heisse|nome|chamo|registered|registrad|firma", re.I
)
_OTHERS = re.compile(r"['’]s\s+\w+")
_BEFORE_A_DATE = re.compile(
    r"(?<![\w’'-])((?:[A-ZÀ-Ỹ][\w’'.-]*\s){1,3}[A-ZÀ-Ỹ][\w’'-]*\w)\s*[,(]\s*(?:born\s+|dob:?\s+|b\.\s*)?$"
)
_BIRTH_LIKE = re.compile(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}$|[A-Za-z]{3,9}\.? \d{1,2}")
# "Ana Poe, now Stone", "Ana Poe (formerly Stone)": the given name goes with either surname.
_RENAMED = re.compile(
    r"(?<![\w’'])(?!I[’']m\b)[A-ZÀ-Ỹ][\w’'.-]*[a-zà-ỹ](?P<told>\s*(?:,|\(|—|–|-)?\s*"
    r"(?:now|currently|formerly|previously|née|nee|maiden name|ahora|antes|de soltera)[ :]+"
    r"(?P<surname>[A-ZÀ-Ỹ][\w'’-]+(?: [A-ZÀ-Ỹ][\w'’-]+)?)(?![\w'’])(?:\s*\))?)"
)
_ITEM = re.compile(r"^[ \t]*(?:[-*•]|\d{1,2}[.)])[ \t]+", re.MULTILINE)


def _said(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    found: list[NamePlace] = []
    for name in ("name_label", "name_intro", "name_as", "former_name"):
        for m in words.pattern(name).finditer(text):
            strong = name == "name_label" or _STRONG_WORDS.search(m[0]) is not None
            person = other_script(text, m.end(), words) or name_at(text, m.end(), words, sender.words, small=True)
            if person is None or covered(person.start, person.end, facts):
                continue
            capital = person.text[0].isupper() or not person.text.isascii()
            if _OTHERS.match(text, person.end):
                continue  # "I'm Ana Poe's daughter" names Ana, and another writes
            if not capital and not strong and not like_a_person(person, words, sender):
                continue
            if not strong and (not like_a_person(person, words, sender) or (not capital and not known(person, sender))):
                continue
            if name == "former_name":
                if capital and len(text[m.start() : m.end()].split()) >= 1:
                    found.append(place_of(person, How.FORMER))
                continue
            if name == "name_label" and len(person.text.split()) == 1 and text[person.end : person.end + 2] == ", ":
                given = name_at(text, person.end + 2, words, sender.words)
                if given:
                    person = NameFound(person.start, given.end, f"{given.text} {person.text}", given.suffix)
            found.append(place_of(person, How.SAID, aside(text, person.end)))
            found += [place_of(p, How.SAID) for p in partner(text, person, words, sender)]
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
            person = other_script(text, m.end(), words) or name_at(text, m.end(), words, sender.words, small=True)
            if person is not None and not covered(person.start, person.end, facts):
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
        return [place_of(surname, How.SAID)]
    return [replace(place_of(surname, How.SAID), text=f"{first} {surname.text}")]


def _segment_starts(text: str) -> list[int]:
    starts = []
    for m in _SEGMENT.finditer(text):
        lead = _LEAD.match(text, m.end())
        starts.append(lead.end() if lead else m.end())
    return sorted(set(starts))


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
        if at >= len(text) or covered(at, at + 1, facts):
            continue
        person = other_script(text, at, words) or name_at(text, at, words, sender.words, small=True)
        person = _last_name_first(text, person, words, sender)
        if person is None or not like_a_person(person, words, sender) or _OTHERS.match(text, person.end):
            continue
        small = person.text[0].islower()
        if small and not known(person, sender) and (len(person.text.split()) < 2 or not _opens_line(text, at)):
            continue  # "needing another one. po box 7": small letters within a line are words, unless known for names
        partners = partner(text, person, words, sender)
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
            person = with_shared_surname(person, second)
        found.append(place_of(person, how, aside(text, person.end)))
        found += [place_of(second, how) for second in partners]
    return found


def _dated(text: str, words: Vocabulary, sender: FromName, facts: Sequence[Span]) -> list[NamePlace]:
    """Whole names within a sentence that a birth date follows: "hers would be under Livia Rose Poe, 11/21/1963"."""
    found = []
    for begin, _ in facts:
        m = _BEFORE_A_DATE.search(text, max(0, begin - 60), begin)
        person = name_at(text, m.start(), words, sender.words) if m else None
        if not (m and person) or person.end < m.end(1) or covered(person.start, person.end, facts):
            continue
        if known(person, sender) or len(person.text.split()) > 2:  # "Armistice Day, November 11" is nobody
            found.append(place_of(person, How.BESIDE))
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
        if like_a_person(person, words, sender) and not covered(person.start, person.end, facts):
            found.append(place_of(person, How.BESIDE))
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


def names_between_marks(text: str, language: str, sender: FromName) -> list[str]:
    """Whole names that stand alone between the marks of a subject line: "Poe, Ida Ann - new ballot"."""
    words = vocabulary(language)
    found = []
    for m in re.finditer(r"(?:^|\s[-–—|]\s|[:;(/]\s*)", text):
        person = _last_name_first(text, name_at(text, m.end(), words, sender.words), words, sender)
        if person is None or not re.match(r"\s*(?:$|[-–—|)(;:/,])", text[person.end : person.end + 3]):
            continue
        if len(person.text.split()) > 1 and like_a_person(person, words, sender):
            found.append(person.text)
    return found


def find_names(text: str, language: str, sender: FromName, facts: Sequence[Span] = ()) -> tuple[NamePlace, ...]:
    """Every place where the text names the writer or somebody with particulars, in the order of the text.

    `facts`: places of dates, addresses and numbers. One place is given once, under its strongest heading.
    """
    words = vocabulary(language)
    text, others = _without_other_surnames(text, words, sender)
    ordered = sorted(facts)
    places = (
        _said(text, words, sender, ordered)
        + _beside(text, words, sender, ordered)
        + _listed(text, words, sender, ordered)
        + _dated(text, words, sender, [s for s in ordered if _BIRTH_LIKE.match(text[s[0] : s[1]])])
        + signed(text, words, sender, ordered)
    )
    rank = list(How)
    kept: list[NamePlace] = []
    for place in sorted(places, key=lambda p: (rank.index(p.how), p.start - p.end)):
        if all(place.end <= k.start or place.start >= k.end for k in kept):
            kept.append(place)
        elif place.how is How.SIGNED:
            kept = [replace(k, how=k.how) if k.start != place.start else k for k in kept]
    kept += [
        NamePlace(start, end, f"{place.text.split()[0]} {surname}", How.FORMER)
        for place in kept
        for after, start, end, surname in others
        if place.end == after and len(place.text.split()) > 1
    ]
    return tuple(sorted(kept, key=lambda p: p.start))


def _without_other_surnames(
    text: str, words: Vocabulary, sender: FromName
) -> tuple[str, list[tuple[int, int, int, str]]]:
    """The text as long as it was, with the other surname behind a name blanked, which would be taken for somebody else;
    and for each: where the name ends, where the surname stands, and the surname."""
    found: list[tuple[int, int, int, str]] = []
    for m in _RENAMED.finditer(text):
        other = name_at(text, m.start("surname"), words, sender.words)
        if other is None:
            continue
        start, end = m.span("surname")
        found.append((m.start("told"), start, end, m["surname"].split()[-1]))
        text = text[: m.start("told")] + " " * (m.end() - m.start("told")) + text[m.end() :]
    return text, found
