"""The lines of a US address in running text: number and street, box or route, then unit, city, state, ZIP.

A walk over words, not one expression: house numbers are the anchors, and what follows must look like a street, or be
introduced as one. The kinds of street lines are those of ordinary US post (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from replacements.reading.facts.street_orders import in_other_orders
from replacements.reading.facts.street_parts import HOUSE, StreetLine, Token, tokens
from replacements.reading.facts.vocabulary import Vocabulary

_ORDINAL = re.compile(r"\d+(?:st|nd|rd|th)$", re.I)
_BOX = re.compile(
    r"\b(?:(?:p\.?\s?o\.?|post(?:al)? office)\s?box\s*#?\s*[a-z]?\d{1,6}[a-z]?\b|apartado(?: postal)?\s*#?\s*\d{1,6}\b"
    r"|(?:r\.?\s?r\.?|r\.?f\.?d\.?|rural route|h\.?c\.?|rte\.?|route|star route"
    r"|highway contract)\s?#?\s*\d{1,4},?\s*box\s*#?\s*\d{1,6}[a-z]?\b"
    r"|(?:psc|cmr|unit|ship)\s*#?\s*\d{1,6},?\s*box\s*#?\s*\d{1,6}\b|general delivery\b"
    r"|box\s*#?\s*\d{1,6}(?=\s*,?\s*[A-Z][a-z]+))",
    re.I,
)
_UNIT_NUMBER = r"[A-Za-z]?-?\d{1,5}(?:-?[A-Za-z])?(?![A-Za-z0-9])"
_UNIT_VALUE = r"(?:[A-Za-z]?-?\d{1,5}(?:-?[A-Za-z])?(?![A-Za-z\d])|[A-Za-z](?![\w'’]))"
_ZIP = re.compile(r"[\s,.]{0,3}(\d{5}(?:-\d{4})?)(?!\d)")
_HALLS = frozenset(
    {"hall", "house", "dorm", "dormitory", "tower", "towers", "quad", "residence", "apartments", "lodge", "barracks"}
)
_SAINTS = frozenset({"st", "saint", "ste", "mt", "mount", "ft", "fort"})
_JOINERS = frozenset({"of", "the", "de", "la", "las", "los", "del", "el", "y", "and", "du", "des"})
_INSIDE = re.compile(r"[\s,]{0,3}(?:in|en|ở|tại|at|,)?\s*", re.I)


def _after_street(row: Sequence[Token], j: int, words: Vocabulary) -> int:
    """Index after a direction that belongs to the street ("Oak St NE"), given the index after its last word."""
    if j < len(row) and row[j].word in words.words["directions"]:
        short = len(row[j].word) <= 2 and row[j].text.isupper()
        following = row[j + 1] if j + 1 < len(row) else None
        if short or following is None or not (following.is_word and following.is_capital):
            return j + 1
    return j


def _walk(row: Sequence[Token], i: int, words: Vocabulary) -> tuple[int, bool]:
    """Index after the street's last word, from the word after the house number, and whether a street word closed it."""
    ways, soft, first = words.words["ways"], words.words["softways"], words.words["ways_first"]
    plain, units, directions = words.words["plain_words"], words.words["units"], words.words["directions"]
    j, named, closed, capital = i, 0, 0, 0
    while j < len(row) and j - i < 7:
        token = row[j]
        word = token.word
        if _ORDINAL.match(token.text):
            named, j = named + 1, j + 1
            capital = j if capital else capital  # "26 West 3rd"
            continue
        if not token.is_word:
            break
        pair = f"{word} {row[j + 1].word}" if j + 1 < len(row) else ""
        if not named and (pair in first or word in first):
            k = j + (2 if pair in first else 1)
            if k < len(row) and (row[k].text[0].isdigit() or (row[k].is_word and row[k].word not in ways)):
                if row[k].text[0].isdigit():
                    return _after_street(row, k + 1, words), True
                if len(row[k].word) == 1 or word in ("avenue", "road"):
                    return _after_street(row, k + 1, words), True
                while k < len(row) and k - j < 5 and row[k].is_word and (row[k].is_capital or row[k].word in _JOINERS):
                    k += 1
                if row[k - 1].word not in _JOINERS and k > j + 1:
                    return k, True
        if word in ways and named:
            saint = (
                word in _SAINTS and j + 2 < len(row) and row[j + 1].is_word and row[j + 2].word in ways and named < 2
            )
            if not saint or row[j - 1].word not in directions:
                j += 1
                while j < len(row) and row[j].word in ways and row[j].word not in _SAINTS:
                    j += 1
                return _after_street(row, j, words), True
        if (word in soft or word in _HALLS) and named:
            closed = j + 1
        elif (
            (closed and j - closed >= 1)
            or (word in units and named and word not in ("upper", "lower", "front", "rear"))
            or (
                word in plain
                and not (word in _JOINERS and named and j + 1 < len(row) and row[j + 1].is_capital)
                and not token.is_capital
            )
        ):
            break
        if word not in directions or named:
            named += 1
        if token.is_capital and not closed:
            capital = j + 1
        j += 1
        if token.text.endswith(".") and word not in directions and word not in _SAINTS and len(word) > 3:
            break
    if closed:
        return _after_street(row, closed, words), True
    return (capital if capital else min(j, i + 2)), False


def _unit_after(text: str, at: int, words: Vocabulary) -> tuple[str, int]:
    names = "|".join(
        re.escape(u) for u in sorted(words.words["units"], key=len, reverse=True) if u not in ("#", "no", "number")
    )
    m = re.compile(
        rf"[\s,.(]{{0,3}}(?:(?:{names})\.?\s*(?:(?:#|no\.?\s|number\s)?\s*{_UNIT_NUMBER}|\s*[\s#]\s*[A-Za-z](?![A-Za-zÀ-ỹ0-9'’]))|#\s*[\w-]{{1,6}}|\d{{1,2}}(?:st|nd|rd|th)\s+fl(?:oor|r)?\b)"
        rf"|,\s*(?:\d{{1,4}}[A-Za-z]|[A-Za-z]-?\d{{1,4}})(?=\s*(?:,|\n|$))",
        re.I,
    ).match(text, at)
    if m is None or "\n\n" in m[0]:
        return "", at
    return m[0].strip(" ,.(\n\t"), m.end()


def _unit_before(text: str, at: int, words: Vocabulary) -> tuple[str, int]:
    names = "|".join(
        re.escape(u) for u in sorted(words.words["units"], key=len, reverse=True) if len(u) > 1 and u != "no"
    )
    window = text[max(0, at - 40) : at]
    m = re.search(rf"\b((?:{names})\.?\s*#?\s*{_UNIT_VALUE})\s*(?:,|at|of|on|en|in|de|-)?\s*(?:at\s+)?$", window, re.I)
    if m is None:
        m = re.search(r"\b(\d{1,4}[A-Za-z]|[A-Za-z]\d{1,4})\s*(?:,|at|of)\s+(?:at\s+)?$", window)
    return (m[1], at - len(window) + m.start()) if m else ("", at)


def _state(row: Sequence[Token], j: int, words: Vocabulary) -> tuple[str, int]:
    if j >= len(row):
        return "", j
    pair = f"{row[j].word} {row[j + 1].word}" if j + 1 < len(row) else ""
    if pair in words.words["states_of_two_words"]:
        return f"{row[j].text} {row[j + 1].text}", j + 2
    token = row[j]
    zip_next = j + 1 < len(row) and re.match(r"\d{5}", row[j + 1].text) is not None
    if token.word in words.words["states"] and (token.text.rstrip(".").isupper() or len(token.word) > 2 or zip_next):
        return token.text.rstrip("."), j + 1
    return "", j


def _place_after(text: str, at: int, words: Vocabulary, not_city: Collection[str]) -> tuple[str, str, str, int]:
    """City, state and ZIP that follow a street line, and where they end."""
    lead = _INSIDE.match(text, at)
    begin = lead.end() if lead else at
    said = text[at:begin]
    if said.count("\n") > 1:
        return "", "", "", at
    line_end = text.find("\n", begin)
    line = text[begin : line_end if line_end >= 0 else len(text)]
    row = tokens(line)[:8]
    plain = words.words["plain_words"]
    city: list[Token] = []
    j = 0
    state = ""
    while j < len(row) and j < 4:
        state, k = _state(row, j, words)
        if state and (city or "," in said or "\n" in said):
            j = k
            break
        state = ""
        token = row[j]
        if len(token.word) == 1 and token.text[0].islower():
            break
        if not token.is_word or token.word in plain or token.word in not_city or len(city) == 3:
            break
        city.append(token)
        j += 1
        if token.text.endswith(".") and len(token.word) > 3:
            break
    if not state and j < len(row) and row[j].text == ",":
        state, k = _state(row, j + 1, words)
        j = k if state else j
    stop = row[j - 1].end if j else 0
    found_zip = _ZIP.match(line, stop)
    zip_code = found_zip[1] if found_zip else ""
    if city and not state and not zip_code:
        following = row[j] if j < len(row) else None
        ended = (
            following is None or not (following.is_word or following.text[0].isdigit()) or city[-1].text.endswith(".")
        )
        told = re.search(r"\b(?:in|en|ở|tại)\b", said, re.I) is not None
        capital = all(t.is_capital or t.word in _JOINERS for t in city)
        if not ((told and capital) or ended) or ("\n" in said and (not ended or following is not None)):
            return "", "", "", at
        if not capital and not told and any(t.is_capital for t in city):
            return "", "", "", at
    if not (city or state or zip_code):
        return "", "", "", at
    end = begin + (found_zip.end() if found_zip else stop)
    end -= end > at and text[end - 1] == "."
    name = line[city[0].start : city[-1].end].rstrip(".") if city else ""
    return name, state, zip_code, end


def _city_before(text: str, at: int, language: str) -> tuple[str, int]:
    """A city that stands before the number, and where it begins: "in Alder, 12 Oak St", "Alder 12 Oak St에 사는"."""
    window = text[max(0, at - 45) : at]
    m = re.search(r"(?:^|[\s(])(?:ở|tại|en|in|at)\s+((?:[A-Z][\w'’]+[ ]?){1,3}),\s*(?:số\s*|nhà số\s*)?$", window)
    if m is None and language in ("ko", "zh", "ja"):
        m = re.search(r"(?:^|[^\w,])((?:[A-Z][a-z'’]+ ){1,3})$", window)
    return (m[1].strip(), at - len(window) + m.start(1)) if m else ("", at)


def complete(
    text: str, line: StreetLine, words: Vocabulary, taken: Sequence[tuple[int, int]], not_city: Collection[str]
) -> StreetLine:
    """The line with unit, city, state and ZIP, as far as the text gives them beside it."""
    text = text[: min((s for s, _ in taken if s >= line.end), default=len(text))]
    dot = line.end < len(text) and text[line.end] == "." and len(line.street.split()[-1]) <= 4
    unit, at = _unit_after(text, line.end + dot, words)
    start = line.start
    if not unit:
        unit, start = _unit_before(text, line.start, words)
    close = re.match(r"\s*\)", text[at : at + 3])
    if close:
        at += close.end()
    city, state, zip_code, at = _place_after(text, at, words, not_city)
    if not unit and not city:
        unit, after = _unit_after(text, at, words)
        at = after if unit else at
    near, begin = _city_before(text, line.start, words.language) if not city else ("", start)
    return replace(
        line,
        start=min(start, begin),
        end=at,
        unit=line.unit or unit,
        city=city or line.city or near,
        state=state,
        zip=zip_code,
    )


def _linked(row: Sequence[Token], i: int) -> int:
    """How many words link a house number to its street: "88 de Elm St", "88 de la Elm St"."""
    if i < len(row) and row[i].text == "de":
        return 2 if i + 1 < len(row) and row[i + 1].text in ("la", "el") else 1
    return 0


def _numbers_a_road(row: Sequence[Token], i: int, words: Vocabulary) -> bool:
    """Whether a number belongs to a road that has a house number before it: the 12 of "2207 co rd 12"."""
    first = words.words["ways_first"]
    ahead = 1 if i >= 2 and row[i - 1].word in first else 0
    ahead = 2 if i >= 3 and f"{row[i - 2].word} {row[i - 1].word}" in first else ahead
    return ahead > 0 and HOUSE.match(row[i - ahead - 1].text) is not None


def _written(street: str) -> str:
    """The street on one line, without the Vietnamese word for "street" that stands before an English name."""
    return re.sub(r"^(\S+) (?:đường|duong) ", r"\1 ", re.sub(r"\s+", " ", street))


def street_lines(
    text: str, words: Vocabulary, taken: Sequence[tuple[int, int]], not_city: Collection[str] = ()
) -> list[StreetLine]:
    """Street lines of the text in its order; the surest wins where two share characters.

    `taken`: places of dates and numbers.
    """
    found = [StreetLine(m.start(), m.end(), re.sub(r"\s+", " ", m[0])) for m in _BOX.finditer(text)]
    row = tokens(text)
    for i, token in enumerate(row[:-1]):
        if not HOUSE.match(token.text) or any(token.start < e and token.end > s for s, e in taken):
            continue
        if token.start and text[token.start - 1] in "$/:.#-'’@":
            continue
        if _numbers_a_road(row, i, words):
            continue
        half = i + 3 if [t.text for t in row[i + 1 : i + 4]] == ["1", "/", "2"] else i
        linked = _linked(row, half + 1)
        stop, closed = _walk(row, half + 1 + linked, words)
        if linked and not closed:
            continue
        half += linked
        if stop <= half + 1 or (stop - half == 2 and row[half + 1].word in words.words["units"]):
            continue
        name = text[row[half + 1].start : row[stop - 1].end].rstrip(".")
        if "\n" in name:
            continue
        end = row[half + 1].start + len(name)
        written = f"{token.text} {name}" if linked else text[token.start : end]
        found.append(StreetLine(token.start, end, _written(written), sure=closed))
    found += in_other_orders(text, row, words)
    kept: list[StreetLine] = []
    for line in sorted(found, key=lambda s: (not s.sure, not s.numbered, s.start - s.end)):
        clear = all(line.end <= k.start or line.start >= k.end for k in kept)
        if clear and not any(line.start < e and line.end > s for s, e in taken):
            kept.append(complete(text, line, words, taken, not_city))
    return sorted(kept, key=lambda s: s.start)
