"""Who else is in a message: "my father Albert Foster", "our daughter", and what the writer says about the account.

Relations are given in English words ("father"), whatever the language of the message.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from replacements.reading.facts.names import hangul_name, is_given, name_at
from replacements.reading.facts.vocabulary import Vocabulary, vocabulary

Span = tuple[int, int]

# How "my" is said before or behind the relation; the fragments are joined with the relation words of the language.
_BEFORE = {
    "en": r"(?:my|our)\s+(?:own\s+|dear\s+|late\s+|elderly\s+|older\s+|younger\s+|oldest\s+|youngest\s+"
    r"|disabled\s+|blind\s+|college\s+|other\s+|adult\s+|poor\s+|\d{2,3}[\s-]year[\s-]old\s+){0,2}",
    "es": r"(?:mis?|nuestr[oa]s?)\s+(?:querid[oa]\s+|difunt[oa]\s+)?",
    "fr": r"(?:mon|ma|mes|notre)\s+",
    "pt": r"(?:meu|minha|nosso|nossa)\s+",
    "de": r"mein(?:e[rnms]?)?\s+",
    "vi": r"",
    "vi-plain": r"",
    "ko": r"(?:저희\s*|제\s*|우리\s*|내\s*)?",
    "zh": r"(?:我(?:的)?|家)",
    "tl": r"(?:aking\s+)?",
}
_AFTER = {
    "vi": r"\s+(?:của\s+)?(?:tôi|em|con|cháu|mình|tui)\b",
    "vi-plain": r"\s+(?:cua\s+)?(?:toi|em|con|chau|minh|tui)\b",
    "tl": r"\s+ko\b",
}
_JOIN = re.compile(
    r"\s*(?:,|\(|:|–|-|is|named|called|name is|se llama|llamad[oa]|es|là|la|tên là|ten la|tên|ten|es decir|성함은"
    r"|이름은|인)?\s*(?:(?:mr|mrs|ms|dr|sr|sra|don|doña|ông|bà)\.?\s+)?",
    re.I,
)
_BEHIND = re.compile(r"([A-ZÀ-Ỹ][\w'’.-]+(?:[ \t]+[A-ZÀ-Ỹ][\w'’.-]*){0,3})\s*(?:,|\(|is|es|là|-|–)\s*$")
_CARERS = frozenset(
    {"caregiver", "carer", "caretaker", "guardian", "aide", "nurse", "attorney", "poa", "assistant", "mom"}
)
_IS_RELATIVE = re.compile(
    r"\b(?:i'?m|i am|this is|es|soy|tôi là|em là|con là)\s+(?:(?P<at>(?-i:[A-Z]))"
    r"|(?:la|el)\s+(?:hij[oa]|espos[oa]|niet[oa]|herman[oa]|mam[áa]|pap[áa]|cuidadora?)\s+de\s+(?P<de>(?-i:[A-Z]))"
    r"|(?:con gái|con trai|con|vợ|chồng|cháu|em|anh|chị|mẹ|ba)\s+(?:của\s+)?(?:ông|bà|anh|chị"
    r"|cô|bác)\s+(?P<of>(?-i:[A-ZÀ-Ỹ])))",
    re.I,
)
# "her name is Ana Poe": somebody spoken of in the third person is named.
_NAMED_SO = re.compile(
    r"\b(?:(?:his|her)\s+(?:full\s+)?name(?:\s+is|['’]s)|(?:he|she)\s+is(?=\s+(?-i:[A-Z][a-z]+\s[A-Z]))|se llama"
    r"|(?:ella|él)\s+es(?=\s+(?-i:[A-ZÀ-Ý]))|(?:bà|ông|cụ|ba|ong|cu)(?:\s+[ấa]y)?\s+t[êe]n(?:\s+l[àa])?)\s+",
    re.I,
)
_SIGNATURE_LINE = 16  # characters
PLURALS = frozenset({"parents", "children", "grandparents"})


@dataclass(frozen=True, slots=True)
class Relative:
    """Somebody whom the writer names by relation at `start`–`end`; `name` where the text gives it, at `name_start`."""

    start: int
    end: int
    relation: str
    name: str = ""
    name_start: int = -1
    name_end: int = -1
    possessive: bool = False  # "my father's …"

    @property
    def is_many(self) -> bool:
        return self.relation in PLURALS


@cache
def _pattern(language: str) -> re.Pattern[str]:
    options = []
    for code in {"en", language}:
        own = vocabulary(code).maps.get("relations", {})
        english = vocabulary("en").maps["relations"] if code != "en" else {}
        words = sorted(
            (w for w in own if code == "en" or w not in english or w in ("papa", "mama")), key=len, reverse=True
        )
        if not words:
            continue
        choice = "|".join(re.escape(w) for w in words)
        edge = "" if code in ("ko", "zh") else r"\b"
        tail = r"(?P<poss_en>(?:'s|’s|s'|s’)(?!\w))?" if code == "en" else ""
        if code == "en":
            options.append(
                r"\b(?P<rel_name>(?-i:Dad|Mom|Mum|Mama|Papa|Grandma|Grandpa|Mother|Father|Nana))\b(?P<poss_name>['’]s\b)?"
            )
        group = f"rel_{code.replace('-', '_')}"
        options.append(rf"{edge}{_BEFORE.get(code, '')}(?P<{group}>{choice}){_AFTER.get(code, '')}{edge}{tail}")
    return re.compile("|".join(options), re.I)


def _name_after(text: str, at: int, words: Vocabulary, relation_is_plain: bool) -> tuple[str, int, int]:
    joint = _JOIN.match(text, at)
    begin = joint.end() if joint else at
    if words.language == "ko":
        name = hangul_name(text, begin)
        return (name, begin, begin + len(name)) if name and not relation_is_plain else ("", -1, -1)
    person = name_at(text, begin, words)
    if person is None:
        return "", -1, -1
    joined = text[at:begin].strip(" ").lower()
    row = person.text.split()
    if joined in ("", ",", "(", "-", "–", ":") and len(row) == 1 and joined == "," and not is_given(row[0]):
        return "", -1, -1
    if (
        len(row) == 1
        and not is_given(row[0])
        and joined not in ("", "(", "named", "called", "se llama", "tên", "tên là", "ten", "ten la")
    ):
        return "", -1, -1
    return person.text, person.start, person.end


def find_relatives(text: str, language: str) -> tuple[Relative, ...]:
    """Every mention of somebody by relation, in the order of the text."""
    words = vocabulary(language)
    names = words.maps["relations"]
    found = []
    for m in _pattern(words.language).finditer(text):
        written = next(v for k, v in m.groupdict().items() if k.startswith("rel_") and v).lower()
        relation = str(names.get(written, written))
        possessive = bool(m["poss_en"] or m["poss_name"])
        name, start, end = ("", -1, -1) if possessive else _name_after(text, m.end(), words, False)
        if not name and not possessive:
            behind = _BEHIND.search(text[max(0, m.start() - 60) : m.start()])
            if behind and (is_given(behind[1].split()[0]) or len(behind[1].split()) > 1):
                offset = max(0, m.start() - 60)
                person = name_at(text, offset + behind.start(1), words)
                if person and person.end <= m.start():
                    name, start, end = person.text, person.start, person.end
        if name and end > 0 and re.match(r"['’]s\b", text[end : end + 2]):
            possessive = True
        found.append(Relative(m.start(), m.end(), relation, name, start, end, possessive))
        if found[-1].is_many and name:
            second = re.match(r"\s+(?:and|&|y|và)\s+", text[end:])
            person = name_at(text, end + second.end(), words) if second else None
            if person:
                if len(name.split()) == 1 and len(person.text.split()) > 1:
                    found[-1] = replace(found[-1], name=f"{name} {person.text.split()[-1]}")
                found.append(Relative(m.start(), m.end(), relation, person.text, person.start, person.end))
    if words.language == "ko":
        found = [r for r in found if not _signs_as(text, r)]
    found += _speaks_as(text, words)
    return tuple(sorted(found, key=lambda r: r.start))


def _signs_as(text: str, relative: Relative) -> bool:
    """ "아들 스티븐 윤" as the last line: the son signs, and is nobody spoken of."""
    begin = text.rfind("\n", 0, relative.start) + 1
    return begin > 0 and not text[begin : relative.start].strip() and len(text[begin:].strip()) <= _SIGNATURE_LINE


def _speaks_as(text: str, words: Vocabulary) -> list[Relative]:
    """ "I'm Ana Poe's daughter", "soy la hija de Ana Poe": the writer is the relative, Ana the one spoken of."""
    found = []
    for m in _IS_RELATIVE.finditer(text):
        at = max(m.start("at"), m.start("de"), m.start("of"))
        person = name_at(text, at, words)
        if person is None:
            continue
        if m["at"] is not None:
            said = re.match(r"['’]s\s+(?:\w+\s+)?([\w-]+)", text[person.end : person.end + 40])
            if said is None or not (said[1].lower() in words.maps["relations"] or said[1].lower() in _CARERS):
                continue
        found.append(Relative(person.start, person.end, "", person.text, person.start, person.end))
    for m in _NAMED_SO.finditer(text):
        person = name_at(text, m.end(), words)
        if person is not None and len(person.text.split()) > 1:
            found.append(Relative(person.start, person.end, "", person.text, person.start, person.end))
    return found


@dataclass(frozen=True, slots=True)
class Account:
    """What the text says about the mail account: not the writer's own, and whose (a relation), where it says."""

    is_anothers: bool = False
    relation: str = ""
    said_at: Span = (0, 0)  # where the text says so; who is named there only owns the account


def account(text: str, language: str) -> Account:
    words = vocabulary(language)
    m = words.pattern("said_by_another").search(text)
    if m is None:
        return Account()
    whose = next((v for k, v in m.groupdict().items() if k.startswith("rel") and v), "")
    return Account(True, str(words.maps["relations"].get(whose.lower(), "")), m.span())


def is_female(relation: str) -> bool | None:
    """Whether "she" may be this relation; None where either may."""
    told = vocabulary("en").maps["female"].get(relation)
    return None if told is None else told == "yes"


def suffix_in_words(text: str, language: str) -> str:
    """ "Jr" or "Sr" where the writer tells it in words ("I'm the son", "the younger", "el hijo")."""
    words = vocabulary(language)
    junior, senior = (words.pattern(n).search(text) for n in ("junior", "senior"))
    if junior and not senior:
        return "Jr"
    if senior and not junior:
        return "Sr"
    if junior and senior:
        # Both are spoken of: the one said of oneself counts.
        self_said = re.compile(r"(?:i'?m|i am|soy|me is|this is)\b[^.\n]{0,30}$", re.I)
        for m, suffix in ((junior, "Jr"), (senior, "Sr")):
            if self_said.search(text[max(0, m.start() - 40) : m.start()]) or re.match(
                r"(?:i'?m|i am|soy)\b", m[0], re.I
            ):
                return suffix
    return ""


_HAS_PAPERS = re.compile(
    r"(?:['’]s?)?\s+(?:[a-zà-ỹ]+\s+){0,3}?(?:(?:his|her)\s+)?(?:\w+\s+)?(?:ballot|packet|envelope)\b"
    r"|\s+(?:[a-zà-ÿ]+\s+){1,2}su\s+(?:boleta|papeleta|sobre|paquete)\b",
)


def _acts(after: str, words: Vocabulary) -> bool:
    """Whether a capital word that no list has is a person's: "Adaora needs one", "Adaora tore her ballot"."""
    if words.pattern("need_too").match(after.lstrip()) and after[:1] == " ":
        return True
    m = _HAS_PAPERS.match(after)
    return m is not None and (after[0] in "'’" or re.search(r"\b(?:his|her|su)\b", m[0]) is not None)


def named_in(text: str, language: str, known: Sequence[Span]) -> tuple[tuple[int, int, str], ...]:
    """Single capital given names in running text (start, end, name), outside `known` places: "Carlos needs one too"."""
    words = vocabulary(language)
    found: list[tuple[int, int, str]] = []
    for m in re.finditer(r"(?<![\w@.’'-])[A-ZÀ-Ý][a-zà-ỹ]{1,14}(?![\w@-])", text):
        if any(m.start() < e and m.end() > s for s, e in known) or (found and m.start() < found[-1][1]):
            continue
        word = m[0]
        if word.lower() in words.words["plain_words"] or word.lower() in words.maps.get("months", {}):
            continue
        if not is_given(word) and not _acts(text[m.end() : m.end() + 60], words):
            continue
        if not re.match(r"['’]s\b", text[m.end() : m.end() + 2]) and re.search(
            r"(?:dear|hello|hi|hey|hola|estimad[oa])[\s,]+(?:mr|mrs|ms|sr|sra|dr)?\.?\s*$",
            text[max(0, m.start() - 16) : m.start()],
            re.I,
        ):
            continue
        person = name_at(text, m.start(), words)
        end = person.end if person and person.start == m.start() else m.end()
        found.append((m.start(), end, text[m.start() : end]))
    return tuple(found)
