"""Days and hours in words, a language each, from `templates/replies/calendar.toml`, whatever the machine is set to."""

from __future__ import annotations

import tomllib
from datetime import date, datetime
from functools import cache

from replacements.folders import TEMPLATES


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


def hour(at: datetime, language: str) -> str:
    """The hour of the day, as its own zone has it: `5 pm`."""
    if at.hour == 0 and at.minute == 0 and language == "en":
        return "midnight"
    if at.hour == 12 and at.minute == 0:
        return _text(language, "noon")
    pattern = _text(language, "minute" if at.minute else "hour")
    return pattern.format(
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
