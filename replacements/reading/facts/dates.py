"""Dates as voters write them, and which of them are birth dates.

A written date gives every reading that the calendar allows; the order of day and month that is usual in the language
comes first. Dates of mailings, moves, weddings and elections are found too, and told from birth dates by the words
beside them.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date
from functools import cache

from replacements.reading.facts.vocabulary import Vocabulary, vocabulary
from replacements.reading.types import PartialDate

_DAY_FIRST = frozenset({"es", "vi", "vi-plain", "fr", "pt", "de", "it", "ru", "pl"})
_VOTING_AGE_NEAR = 17  # somebody may ask before turning eighteen on election day
_OLDEST = 115
_BEFORE = 44  # characters of the same clause in which a word may say what a date is
_AFTER = 26

_NUMERIC = re.compile(r"(?<![\w/.$#-])(\d{1,4})(\s?[/.\-–]\s?)(\d{1,2})(?:\s?[/.\-–]\s?)'?(\d{4}|\d{2})(?!\d|[/\-–]\d)")
_YEAR_FIRST = re.compile(r"(?<![\w/.$#-])(\d{4})\s?([/.\-–])\s?(\d{1,2})\s?\2\s?(\d{1,2})(?![a-zA-Z0-9]|[/\-]\d)")
_CJK = re.compile(r"(?<!\d)(\d{2,4})\s*[年년]\s*(?:(\d{1,2})\s*[月월]\s*(?:(\d{1,2})\s*[日일號号]?)?)?")
_VIETNAMESE = re.compile(
    r"(?<!\d)(\d{1,2})\s+th[aá]ng\s+(\d{1,2}|[a-zà-ỹ]+(?:\s+(?:một|hai)(?=\s+năm))?)\s*,?\s*(?:n[aă]m\s+)?(\d{4}|\d{2})(?!\d)",
    re.I,
)
_VIETNAMESE_YEAR = re.compile(r"\bnăm\s+(\d{4})\b", re.I)
_EIGHT = re.compile(r"(?<![\w/.$#-])\d{8}(?![A-Za-z0-9_/-])")
_SIX = re.compile(r"(?<![\w/.$#-])\d{6}(?![A-Za-z0-9_/-])")
_SPACED = re.compile(r"(?<![\w/.-])(\d{1,2}) (\d{1,2}) (\d{4}|\d{2})(?![A-Za-z0-9_/-])")
_YEAR = re.compile(r"(?<![\w/.$#-])(?:19\d\d|20[0-2]\d)(?![A-Za-z0-9_/-])|(?<=[’'])\d\d(?!\w)")
# A full stop behind four letters, or behind a short word that is no abbreviation.
_SENTENCE_END = re.compile(
    r"[!?;]|\n\s*\n|(?:[a-z]{4}|\b(?:in|it|me|up|on|us|so|do|is|one|him|her|off|out|now|too|yet|ago|way|day))\.\s"
)
_YEAR_TEXT = r"(?P<year>\d{4}|[’']?\d{2})(?!\d|\s?(?:am|pm|a\.m|p\.m|:\d))"
_DAY_MARK = r"(?:st|nd|rd|th|ro|er|º|°|\.º|\.)?"


@dataclass(frozen=True, slots=True)
class DateFound:
    """A date at `start`–`end` of the text. `readings`: every date that the writing can mean, most usual first."""

    start: int
    end: int
    text: str
    readings: tuple[PartialDate, ...]
    is_birth: bool


@dataclass(frozen=True, slots=True)
class _Raw:
    start: int
    end: int
    readings: tuple[PartialDate, ...]
    needs_word: bool  # only a word beside it makes it a birth date (a year alone, bare digits)


@dataclass(frozen=True, slots=True)
class _Forms:
    """The expressions of one vocabulary that have words in them."""

    day_month: re.Pattern[str]
    month_day: re.Pattern[str]
    month_year: re.Pattern[str]
    feast: re.Pattern[str]
    months: dict[str, int]
    days: dict[str, int]
    feasts: dict[str, tuple[int, int]]


@cache
def _forms(language: str) -> _Forms:
    words = vocabulary(language)
    months = {w: int(m) for w, m in words.maps.get("months", {}).items() if " " not in w}
    days = {w: int(d) for w, d in words.maps.get("days_in_words", {}).items()}
    feasts = {}
    for word, when in words.maps.get("feasts", {}).items():
        month, day = when.split("-")
        feasts[word] = (int(month), int(day))

    def choice(entries: dict[str, object]) -> str:
        return "|".join(re.escape(w) for w in sorted(entries, key=len, reverse=True))

    month = rf"(?P<month>{choice(dict(months))})\b\.?"
    day = rf"(?P<day>\d{{1,2}}(?!\d){_DAY_MARK}|(?:{choice(dict(days))})(?!\w))"
    return _Forms(
        day_month=re.compile(
            rf"(?<![\w/.])(?:the\s+)?{day}[\s\-/]{{0,2}}(?:of\s+|de\s+|de\s+l\s+)?{month}"
            rf"(?:[\s,\-/]{{0,3}}(?:of\s+|de\s+|del\s+(?:año\s+)?|in\s+)?{_YEAR_TEXT})?",
            re.I,
        ),
        month_day=re.compile(
            rf"(?<!\w){month}[\s\-/]{{0,2}}(?:the\s+)?{day}(?![:/]\d)(?:[\s,\-/]{{0,3}}(?:of\s+|de\s+|del\s+|in\s+)?{_YEAR_TEXT})?",
            re.I,
        ),
        month_year=re.compile(rf"(?<!\w){month}[\s,]{{1,2}}(?:of\s+|de\s+|del\s+)?(?P<year>\d{{4}})(?!\d)", re.I),
        feast=re.compile(rf"(?<!\w)(?:{choice(dict(feasts))})(?!\w)", re.I) if feasts else re.compile(r"(?!)"),
        months=months,
        days=days,
        feasts=feasts,
    )


def full_year(written: str, arrived: int) -> int | None:
    """The year that two or four written digits mean for somebody who is of voting age when the message arrives."""
    digits = written.lstrip("’'")
    if len(digits) == 4:
        return int(digits)
    if len(digits) != 2:
        return None
    year = 2000 + int(digits)
    return year if year <= arrived - _VOTING_AGE_NEAR else year - 100


def _possible(year: int | None, month: int | None, day: int | None) -> bool:
    if month is not None and not 1 <= month <= 12:
        return False
    if day is None or month is None:
        return day is None or 1 <= day <= 31
    return 1 <= day <= calendar.monthrange(year if year and year > 0 else 2000, month)[1]


def _readings(year: int | None, first: int, second: int, *, day_first: bool) -> tuple[PartialDate, ...]:
    """Both orders of two written numbers, the usual one first, without those that the calendar has not."""
    orders = [(first, second), (second, first)] if not day_first else [(second, first), (first, second)]
    found: list[PartialDate] = []
    for month, day in orders:
        reading = (year, month, day)
        if _possible(year, month, day) and reading not in found:
            found.append(reading)
    return tuple(found)


def _numeric(text: str, arrived: int, *, day_first: bool) -> list[_Raw]:
    found = []
    for m in _YEAR_FIRST.finditer(text):
        iso = (int(m[1]), int(m[3]), int(m[4]))
        if _possible(*iso) and 1880 <= iso[0] <= arrived:
            found.append(_Raw(m.start(), m.end(), (iso,), needs_word=False))
    for m in _NUMERIC.finditer(text):
        a, b, c = m[1], m[3], m[4]
        if len(a) == 4 or (len(a) == 2 and len(c) == 2 and int(a) > 31):
            year = full_year(a, arrived)
            written: PartialDate = (year, int(b), int(c))
            readings: tuple[PartialDate, ...] = (written,) if _possible(*written) else ()
        elif len(a) <= 2:
            readings = _readings(full_year(c, arrived), int(a), int(b), day_first=day_first)
        else:
            readings = ()
        if readings:
            found.append(_Raw(m.start(), m.end(), readings, needs_word=False))
    for m in _SPACED.finditer(text):
        readings = _readings(full_year(m[3], arrived), int(m[1]), int(m[2]), day_first=day_first)
        if readings:
            found.append(_Raw(m.start(), m.end(), readings, needs_word=len(m[3]) == 2))
    return found


def _run_together(text: str, arrived: int, *, day_first: bool) -> list[_Raw]:
    found = []
    for m in _EIGHT.finditer(text):
        d = m[0]
        readings: tuple[PartialDate, ...] = ()
        if 1900 <= int(d[4:]) <= arrived:
            readings = _readings(int(d[4:]), int(d[:2]), int(d[2:4]), day_first=day_first)
        if not readings and 1900 <= int(d[:4]) <= arrived and _possible(int(d[:4]), int(d[4:6]), int(d[6:])):
            readings = ((int(d[:4]), int(d[4:6]), int(d[6:])),)
        if readings:
            found.append(_Raw(m.start(), m.end(), readings, needs_word=True))
    for m in _SIX.finditer(text):
        d = m[0]
        year = full_year(d[4:], arrived)
        readings = _readings(year, int(d[:2]), int(d[2:4]), day_first=day_first)
        back = (full_year(d[:2], arrived), int(d[2:4]), int(d[4:]))
        if _possible(*back) and back not in readings:
            readings = (*readings, back)
        if readings:
            found.append(_Raw(m.start(), m.end(), readings, needs_word=True))
    return found


def _east_asian(text: str, arrived: int) -> list[_Raw]:
    found = []
    for m in _CJK.finditer(text):
        year = full_year(m[1], arrived)
        month, day = (int(x) if x else None for x in (m[2], m[3]))
        if year and 1880 <= year <= arrived and _possible(year, month, day):
            found.append(_Raw(m.start(), m.end(), ((year, month, day),), needs_word=day is None))
    return found


def _vietnamese(text: str, arrived: int) -> list[_Raw]:
    found = []
    months = vocabulary("vi").maps["months"]
    for m in _VIETNAMESE.finditer(text):
        written = re.sub(r"\s+", " ", m[2].lower())
        month = int(m[2]) if m[2].isdigit() else int(months.get(f"tháng {written}", 0))
        reading = (full_year(m[3], arrived), month, int(m[1]))
        if _possible(*reading) and month:
            found.append(_Raw(m.start(), m.end(), (reading,), needs_word=False))
    return found


def _in_words(text: str, arrived: int, forms: _Forms) -> list[_Raw]:
    found = []
    for pattern in (forms.month_day, forms.day_month):
        for m in pattern.finditer(text):
            written = re.sub(r"\s+", " ", m["day"].lower())
            digits = re.match(r"\d+", written)
            day = forms.days.get(written) or (int(digits[0]) if digits else 0)
            month = forms.months[m["month"].lower()]
            year = full_year(m["year"], arrived) if m["year"] else None
            end = m.end()
            if year is None:
                told = _year_in_words(text[end : end + 60])
                before = re.search(r"\b((?:19|20)\d\d)[\s,]{1,2}$", text[max(0, m.start() - 7) : m.start()])
                if told:
                    year, end = told[0], end + told[1]
                elif before:
                    year = int(before[1])
            if _possible(year, month, day) and day:
                found.append(_Raw(m.start(), end, ((year, month, day),), needs_word=year is None))
    for m in forms.month_year.finditer(text):
        behind = re.match(r"[\s,]{1,3}(?:on\s+)?the\s+(\d{1,2})(?:st|nd|rd|th)\b", text[m.end() : m.end() + 18], re.I)
        if behind:  # "December of 1985, on the 2nd"
            whole = (int(m["year"]), forms.months[m["month"].lower()], int(behind[1]))
            if _possible(*whole):
                found.append(_Raw(m.start(), m.end() + behind.end(), (whole,), needs_word=False))
                continue
        found.append(
            _Raw(m.start(), m.end(), ((int(m["year"]), forms.months[m["month"].lower()], None),), needs_word=True)
        )
    for m in forms.feast.finditer(text):
        month, day = forms.feasts[m[0].lower()]
        near = re.match(r"[^\d\n.!?]{0,22}?(\d{4}|[’']\d{2})(?!\d)", text[m.end() : m.end() + 30])
        if near:
            found.append(
                _Raw(m.start(), m.end() + near.end(), ((full_year(near[1], arrived), month, day),), needs_word=False)
            )
        else:
            found.append(_Raw(m.start(), m.end(), ((None, month, day),), needs_word=True))
    return found


def _number_in_words(written: str, words: dict[str, str]) -> int | None:
    total = 0
    for part in re.split(r"[\s-]+", written.strip()):
        if part in ("and", "y", ""):
            continue
        if part not in words:
            return None
        total += int(words[part])
    return total or None


def _year_in_words(text: str) -> tuple[int, int] | None:
    """A spelt-out year at the start of `text` and its length: "nineteen sixty-one", "mil novecientos diez"."""
    lead = re.match(r"[\s,]{0,3}(?:in\s+|of\s+|de\s+|del\s+)?", text)
    at = lead.end() if lead else 0
    english = re.match(
        r"(nineteen|two thousand)(?:\s+hundred)?(?:\s+and)?[\s-]+((?:oh?[\s-]+)?[a-z]+(?:[\s-][a-z]+)?)",
        text[at:],
        re.I,
    )
    if english:
        words = vocabulary("en").maps["numbers_in_words"]
        rest = re.sub(r"^oh?[\s-]+", "", english[2].lower())
        for part in (rest, re.split(r"[\s-]+", rest)[0]):
            number = _number_in_words(part, words)
            if number and number < 100:
                base = 1900 if english[1].lower() == "nineteen" else 2000
                return base + number, at + english.start(2) + english[2].lower().find(part) + len(part)
    short = re.match(
        r"((?:veinti|treinta|cuarenta|cincuenta|sesenta|setenta|ochenta|noventa)[a-zé]*(?:\s+y\s+[a-z]+)?)",
        text[at:],
        re.I,
    )
    if short and lead and lead[0].strip().lower() == "del":  # "del treinta y ocho"
        number = _number_in_words(
            short[1].lower(), vocabulary("es").maps["days_in_words"] | vocabulary("es").maps["numbers_in_words"]
        )
        if number and 20 <= number < 100:
            return 1900 + number, at + short.end()
    spanish = re.match(r"(mil novecientos|dos mil)\s+([a-zé]+(?:\s+y\s+[a-z]+)?)", text[at:], re.I)
    if spanish:
        number = _number_in_words(
            spanish[2].lower(), vocabulary("es").maps["days_in_words"] | vocabulary("es").maps["numbers_in_words"]
        )
        if number and number < 100:
            return (1900 if spanish[1].lower().startswith("mil") else 2000) + number, at + spanish.end()
    return None


def _years(text: str, arrived: int) -> list[_Raw]:
    found = [
        _Raw(m.start(), m.end(), ((full_year(m[0], arrived), None, None),), needs_word=True)
        for m in _YEAR.finditer(text)
    ]
    found += [
        _Raw(m.start(), m.end(), ((int(m[1]), None, None),), needs_word=True) for m in _VIETNAMESE_YEAR.finditer(text)
    ]
    return found


def _without_overlaps(raws: list[_Raw]) -> list[_Raw]:
    """The longest of those that share characters, in the order of the text."""
    kept: list[_Raw] = []
    for raw in sorted(raws, key=lambda r: (-(r.end - r.start), r.start)):
        if all(raw.end <= k.start or raw.start >= k.end for k in kept):
            kept.append(raw)
    return sorted(kept, key=lambda r: r.start)


def _clause_before(text: str, start: int, floor: int) -> str:
    """What stands before a date and may say what it is: not past the end of a sentence or a blank line."""
    window = text[max(floor, start - _BEFORE) : start]
    cut = max((m.end() for m in _SENTENCE_END.finditer(window)), default=0)
    return window[cut:]


def _is_birth(text: str, raw: _Raw, floor: int, ceiling: int, words: Vocabulary, arrived: int) -> bool:
    year = raw.readings[0][0]
    adult = year is None or arrived - _OLDEST <= year <= arrived - _VOTING_AGE_NEAR
    before = _clause_before(text, raw.start, floor)
    after = text[raw.end : min(ceiling, raw.end + _AFTER)]
    says = list(words.pattern("birth_before").finditer(before))
    # "(married in June)" or a line above says nothing against a date that stands by itself.
    aside = max(before.rfind("\n"), before.rfind(")")) + 1
    denies = [m for m in words.pattern("not_birth").finditer(before) if m.end() > aside]
    said_after = words.pattern("birth_after").match(after) is not None
    said_before = bool(says) and (not denies or says[-1].start() > denies[-1].start())
    if said_before or said_after:
        return adult
    if denies or not adult or year is None or raw.needs_word:
        return False
    return raw.readings[0][2] is not None


_BESIDE = 4  # characters between a day's name and its date


def _without_names_of_days(raws: list[_Raw]) -> list[_Raw]:
    """ "Armistice Day, November 11, 1940" is one date: the name of a day goes where the same day stands beside it."""
    whole: dict[tuple[int | None, int | None], _Raw] = {
        (month, day): raw for raw in raws for year, month, day in raw.readings if year is not None and day
    }
    return [
        raw
        for raw in raws
        if raw.readings[0][0] is not None
        or (beside := whole.get(raw.readings[0][1:])) is None
        or min(abs(beside.start - raw.end), abs(raw.start - beside.end)) > _BESIDE
    ]


def find_dates(text: str, language: str, arrived: date) -> tuple[DateFound, ...]:
    """Every date of the text in its order. `arrived` decides the century of two-digit years and who is an adult."""
    words = vocabulary(language)
    has_digit = any(c.isdigit() for c in text)
    forms = _forms(words.language)
    raws = _in_words(text, arrived.year, forms)
    if has_digit:
        day_first = language in _DAY_FIRST
        raws += _numeric(text, arrived.year, day_first=day_first)
        raws += _run_together(text, arrived.year, day_first=day_first)
        raws += _east_asian(text, arrived.year)
        if "th" in text:
            raws += _vietnamese(text, arrived.year)
        raws += _years(text, arrived.year)
    kept = _without_names_of_days(_without_overlaps(raws))
    found = []
    for i, raw in enumerate(kept):
        floor = kept[i - 1].end if i else 0
        ceiling = kept[i + 1].start if i + 1 < len(kept) else len(text)
        is_birth = _is_birth(text, raw, floor, ceiling, words, arrived.year)
        found.append(DateFound(raw.start, raw.end, text[raw.start : raw.end], raw.readings, is_birth))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class AgeFound:
    start: int
    end: int
    age: int


def find_ages(text: str, language: str) -> tuple[AgeFound, ...]:
    """Ages that the text states ("I'm the 21 year old one", "tengo 89 años"), adults' only."""
    words = vocabulary(language)
    found = []
    if any(c.isdigit() for c in text):
        for m in words.pattern("age").finditer(text):
            written = next((v for k, v in m.groupdict().items() if k.startswith("age") and v), "")
            if written and _VOTING_AGE_NEAR <= int(written) <= _OLDEST:
                found.append(AgeFound(m.start(), m.end(), int(written)))
    for m in words.pattern("age_words").finditer(text):
        number = _number_in_words(m["age_words"].lower(), words.maps["numbers_in_words"])
        if number and number >= _VOTING_AGE_NEAR:
            found.append(AgeFound(m.start(), m.end(), number))
    return tuple(found)
