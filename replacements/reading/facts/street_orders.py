"""Street lines in other orders than number and street: "Oak St (45)", "calle Olmo 45", "on Oak Street at no. 45"."""

from __future__ import annotations

import re
from collections.abc import Sequence

from replacements.reading.facts.street_parts import HOUSE, StreetLine, Token
from replacements.reading.facts.vocabulary import Vocabulary


def in_other_orders(text: str, row: Sequence[Token], words: Vocabulary) -> list[StreetLine]:
    """Every such line of the text; `row` are its tokens."""
    found = _named_without_number(text, row, words) + _halls(text) + _number_told_behind(text)
    if words.language == "es":
        found += _number_after_name(text, words) + _name_and_number(text, words)
    return found


def _name_and_number(text: str, words: Vocabulary) -> list[StreetLine]:
    """Spanish order without any other word: "Olmo 45, Dell" between marks, a town behind it."""
    found = []
    pattern = re.compile(
        r"(?:^|[.,;\n]\s*)(?P<street>[A-ZÀ-Ý][\w'’]+(?:\s+[A-ZÀ-Ý][\w'’]+)?)\s+(?P<number>\d{1,5})(?=\s*,\s*[A-ZÀ-Ý][a-zà-ÿ]+)"
    )
    for m in pattern.finditer(text):
        first = m["street"].split()[0].lower()
        if first not in words.words["plain_words"] and first not in words.maps["months"]:
            found.append(StreetLine(m.start("street"), m.end(), f"{m['number']} {m['street']}", sure=False))
    return found


_TOLD_BEHIND = re.compile(
    r"\b(?:on|in|of)\s+(?P<street>[A-Z][\w'’]+(?:\s+[A-Z][\w'’]+){0,2})(?:\s+in\s+(?P<city>[A-Z][\w'’]+(?:\s+[A-Z][\w'’]+)?))?"
    r"\s*,?\s*(?:at\s+|and\s+)?(?:the\s+|my\s+|our\s+)?(?:house\s+)?(?:no\.?|number|nr\.?|num\.)\s*(?:is\s+)?(?P<number>\d{1,6})\b"
)


def _number_told_behind(text: str) -> list[StreetLine]:
    """ "on Elm in Dell at no. 45", "on Elm Street, house number 45"."""
    return [
        StreetLine(m.start("street"), m.end(), f"{m['number']} {m['street']}", city=m["city"] or "")
        for m in _TOLD_BEHIND.finditer(text)
    ]


def _named_without_number(text: str, row: Sequence[Token], words: Vocabulary) -> list[StreetLine]:
    """Streets named by capital words and a street word, where the number stands after, before, or nowhere."""
    found = []
    ways, plain = words.words["ways"], words.words["plain_words"]
    for j, token in enumerate(row):
        if token.word not in ways or token.word in ("calle", "avenida") or j == 0 or not token.text[0].isupper():
            continue
        i = j
        while i > 0 and j - i < 3 and row[i - 1].is_word and row[i - 1].is_capital and row[i - 1].word not in plain:
            i -= 1
        if i == j or (i > 0 and HOUSE.match(row[i - 1].text)) or row[j - 1].text.endswith("'s"):
            continue
        start, end = row[i].start, row[j].end
        street = text[start:end].rstrip(".")
        end = start + len(street)
        after = re.match(
            r"\s*(?:\(\s*(?:no\.?|num\.?|number|#)?\s*|,?\s*(?:no\.|number|num\.|núm\.?|número|#)\s*)(\d{1,6})\b[^)\n]{0,0}\)?",
            text[end : end + 24],
            re.I,
        )
        before = re.search(
            r"\b(?:(?:no\.?|number|house|número)\s+(\d{1,6})\s+(?:at|on|of|de la|de)"
            r"|the\s+(\d{1,6})\s+(?:building|house|one|place)\s+(?:at|on|of))\s+$",
            text[max(0, start - 34) : start],
            re.I,
        )
        if after is None and words.language == "es":  # "Fallow St 1422"
            after = re.match(r"\s+(\d{1,5})\b(?!\s*[A-Z]\w)", text[end : end + 16])
        turned = re.search(r"\b(?:(\d{1,6}))\s+(?:building|house|bldg)\s*$", text[end : end + 24], re.I)
        around = re.match(r",?\s*(?:the\s+)?(\d{1,6})\s+(?:building|house|bldg)\b", text[end : end + 24], re.I)
        if after:
            found.append(StreetLine(start, end + after.end(), f"{after[1]} {street}"))
        elif before:
            found.append(StreetLine(start, end, f"{before[1] or before[2]} {street}"))
        elif around or turned:
            hit = around or turned
            found.append(StreetLine(start, end + (hit.end() if hit else 0), f"{hit[1] if hit else ''} {street}"))
        else:
            found.append(StreetLine(start, end, street, sure=False, numbered=False))
    return found


def _number_after_name(text: str, words: Vocabulary) -> list[StreetLine]:
    """Spanish order: "calle Olmo 45", "en Olmo 45"; "número 45 de la calle Olmo"."""
    found = []
    pattern = re.compile(
        r"\b(?:(?P<way>calle|avenida|av\.|camino|paseo)\s+(?P<name>(?:[A-ZÀ-Ý][\w'’]*\s+){1,3})(?:n[uú]m(?:ero|\.)?\s*|no\.\s*|#\s*)?"
        r"|(?:en|de la|del|de|al)\s+(?P<bare>(?:[A-ZÀ-Ý][\w'’]+\s+){1,2})(?:#\s*)?)(?P<number>\d{2,6"
        r"})\b(?!\s*(?:de\b|[A-Z]))"
    )
    for m in pattern.finditer(text):
        name = (m["name"] or m["bare"]).strip()
        if name.split()[0].lower() in words.maps.get("months", {}):
            continue
        begin = m.start("way") if m["way"] else m.start("bare")
        found.append(
            StreetLine(begin, m.end(), f"{m['number']} {m['way'] + ' ' if m['way'] else ''}{name}", sure=bool(m["way"]))
        )
    return found


def _halls(text: str) -> list[StreetLine]:
    """Dormitory rooms: "Aspen Hall 214", "Aspen Hall, room 214"."""
    found = []
    pattern = re.compile(
        r"\b((?:[A-Z][\w'’]+\s+){1,3}(?:Hall|House|Dorm|Dormitory|Tower|Quad|Residence|Barracks|Lodge))\s*,?\s*((?:room|rm\.?|apt\.?|suite|unit|#)?\s*#?\s*\d{1,5}[A-Za-z]?)\b(?!\s*[A-Z][a-z]+\s+(?:St|Rd|Ave|Dr|Ln|Ct))"
    )
    for m in pattern.finditer(text):
        if not re.search(r"\d\s*$", text[max(0, m.start() - 2) : m.start()]):
            found.append(StreetLine(m.start(), m.end(), m[1], unit=m[2].strip()))
    return found
