"""Days and hours in words, a language each, from `templates/replies/calendar.toml`, whatever the machine is set to."""

from __future__ import annotations

import re
import tomllib
from datetime import date, datetime, time
from functools import cache

from replacements.folders import TEMPLATES

_DAY_NAME = "(monday|tuesday|wednesday|thursday|friday|saturday|sunday)"
_CLOCK = r"(\d{1,2})(?::(\d\d))? ?(am|pm)"
_OPEN = re.compile(rf"(?:{_DAY_NAME}(?: to {_DAY_NAME})?, )?{_CLOCK} to {_CLOCK}", re.IGNORECASE)


@cache
def _calendars() -> dict[str, dict[str, object]]:
    return tomllib.loads((TEMPLATES / "replies" / "calendar.toml").read_text(encoding="utf-8"))


def _text(language: str, entry: str) -> str:
    return str(_calendars()[language][entry])


def _names(language: str, entry: str) -> list[str]:
    names = _calendars()[language][entry]
    return [str(name) for name in names] if isinstance(names, list) else []


def languages() -> frozenset[str]:
    """The languages whose days and hours can be written."""
    return frozenset(_calendars())


def full_day(day: date, language: str) -> str:
    """The day with weekday and year: `Thursday, October 15, 2026`."""
    return _day(day, language, "full")


def short_day(day: date, language: str) -> str:
    """The day after it was named in full: `October 15`."""
    return _day(day, language, "short")


def opening(hours: str, language: str) -> str:
    """An office's hours, of the form `Monday to Friday, 8 am to 5 pm` or `at all hours`, in the language.

    Hours of any other form are given back as the office wrote them.
    """
    if hours.strip().lower() == _text("en", "always"):
        return _text(language, "always")
    found = _OPEN.fullmatch(hours.strip())
    if language == "en" or found is None:
        return hours
    first, last, *clocks = found.groups()
    opens, closes = (_hour_of(clocks[at], clocks[at + 1], clocks[at + 2], language) for at in (0, 3))
    between = _text(language, "hours").format(open=opens, close=closes)
    names, english = _names(language, "weekdays"), [name.lower() for name in _names("en", "weekdays")]
    if not first:
        return between
    one = names[english.index(first.lower())]
    if not last:
        return f"{one}, {between}"
    return f"{_text(language, 'days').format(first=one, last=names[english.index(last.lower())])}, {between}"


def _hour_of(clock: str, minute: str | None, half: str, language: str) -> str:
    return hour(time(int(clock) % 12 + (12 if half.lower() == "pm" else 0), int(minute or 0)), language)


def hour(at: datetime | time, language: str) -> str:
    """The hour of the day, as its own zone has it: `5 pm`; in Spanish with its article, `las 5:00 p. m.`."""
    words = _calendars()[language]
    if at.hour == 0 and at.minute == 0 and "midnight" in words:
        return _text(language, "midnight")
    if at.hour == 12 and at.minute == 0:
        return _text(language, "noon")
    pattern = _text(language, "minute" if at.minute else "hour")
    return pattern.format(
        article=words.get("one" if at.hour % 12 == 1 else "other", ""),
        hour=at.hour % 12 or 12,
        hour24=at.hour,
        minute=f"{at.minute:02d}",
        half=_names(language, "halves")[at.hour >= 12],
    )


def _day(day: date, language: str, entry: str) -> str:
    return _text(language, entry).format(
        weekday=_names(language, "weekdays")[day.weekday()],
        month=_names(language, "months")[day.month - 1],
        day=day.day,
        year=day.year,
    )
