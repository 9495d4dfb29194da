"""Birth dates as on file and as a message gives them, and how they agree. Pure."""

from __future__ import annotations

import re
from datetime import date

from rapidfuzz.distance import OSA

PartialDate = tuple[int | None, int | None, int | None]

EARLIEST_YEAR = 1890
GENERATION = 12  # years; a birth year that is further off is taken for another person's, not for a slip
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_AMERICAN = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4})")
_YEAR = re.compile(r"\d{4}")

# Best first.
LEVELS = (
    "same",
    "swapped",
    "slip",
    "day and month",
    "month and year",
    "year",
    "one part differs",
    "year differs",
    "differs",
)
_RANK = {level: place for place, level in enumerate(LEVELS)}


def normal_birth_date(text: str) -> str:
    """A birth date from a roll file as ISO, or a year alone; "" stays "". Raises ValueError with what is wrong."""
    text = text.strip()
    if not text:
        return ""
    if _YEAR.fullmatch(text):
        year, month, day = int(text), 1, 1
    elif match := _ISO.fullmatch(text.split("T")[0].removesuffix(" 00:00:00")):
        year, month, day = (int(x) for x in match.groups())
    elif match := _AMERICAN.fullmatch(text):
        month, day, year = (int(x) for x in match.groups())
    else:
        raise ValueError("is no date as YYYY-MM-DD, MM/DD/YYYY or YYYY")
    try:
        found = date(year, month, day)
    except ValueError as error:
        raise ValueError("is no day of the calendar") from error
    if not year >= EARLIEST_YEAR:
        raise ValueError(f"is before {EARLIEST_YEAR}")
    return text if _YEAR.fullmatch(text) else found.isoformat()


def parts(birth_date: str) -> PartialDate:
    """`1962-07-19` -> (1962, 7, 19); `1962` -> (1962, None, None); what is no date -> all None."""
    if match := _ISO.fullmatch(birth_date):
        year, month, day = (int(x) for x in match.groups())
        return year, month, day
    if _YEAR.fullmatch(birth_date):
        return int(birth_date), None, None
    return None, None, None


def agreement(said: tuple[PartialDate, ...], birth_date: str) -> str:
    """The level of the reading that agrees best; "" where one side says nothing."""
    filed = parts(birth_date)
    levels = [level for reading in said if (level := _agreement(reading, filed))]
    return min(levels, key=_RANK.__getitem__) if levels else ""


def _agreement(said: PartialDate, filed: PartialDate) -> str:
    both = [(s, f) for s, f in zip(said, filed, strict=True) if s is not None and f is not None]
    if not both:
        return ""
    (year, month, day), (filed_year, filed_month, filed_day) = said, filed
    wrong = sum(s != f for s, f in both)
    if not wrong:
        if len(both) == 3:
            return "same"
        if year is None or filed_year is None:
            return "day and month" if len(both) == 2 else ""
        return "month and year" if len(both) == 2 else "year"
    if year is not None and filed_year is not None and year != filed_year:
        return _other_year(year, filed_year, wrong, len(both))
    if len(both) == 3 and (month, day) == (filed_day, filed_month):
        return "swapped"
    if wrong >= 2 or len(both) == 1:
        return "differs"
    if len(both) == 3 and any(_slip(s, f) for s, f in both if s != f):
        return "slip"
    return "one part differs"


def _other_year(year: int, filed: int, wrong: int, known: int) -> str:
    if wrong >= 2:
        return "differs"
    if abs(year - filed) == 1 or (abs(year - filed) < GENERATION and OSA.distance(str(year), str(filed)) == 1):
        return "slip" if known == 3 else "one part differs"
    return "year differs"


def _slip(said: int, filed: int) -> bool:
    """One digit wrong, two swapped, or one day (month) off."""
    return abs(said - filed) == 1 or OSA.distance(f"{said:02}", f"{filed:02}") == 1


def age_on(birth_date: str, today: date) -> tuple[int, int] | None:
    """(lowest, highest) age that a voter with this date on file can have today; None without a date."""
    year, month, day = parts(birth_date)
    if year is None:
        return None
    if month is None or day is None:
        return today.year - year - 1, today.year - year
    age = today.year - year - ((today.month, today.day) < (month, day))
    return age, age


def age_agreement(said: int | None, birth_date: str, today: date) -> str:
    """ "same" within a year, "near" within two, else "differs"; "" where one side says nothing."""
    span = age_on(birth_date, today)
    if said is None or span is None:
        return ""
    off = max(span[0] - said, said - span[1], 0)
    return "same" if off <= 1 else "near" if off == 2 else "differs"
