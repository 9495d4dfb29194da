"""Telephone numbers as found in mail and on file. Pure."""

from __future__ import annotations

import re

_NO_DIGITS = re.compile(r"[^0-9]+")
FULL = 10  # digits with the area code
LOCAL = 7


def digits(text: str) -> str:
    """The last ten digits (a leading 1 or country code dropped); "" for fewer than seven."""
    found = _NO_DIGITS.sub("", text)
    return found[-FULL:] if len(found) >= LOCAL else ""


def same(one: str, other: str) -> bool:
    """Whether two numbers are one; a local number (no area code) matches the end of a full one."""
    a, b = digits(one), digits(other)
    if not a or not b:
        return False
    return a == b or (min(len(a), len(b)) == LOCAL and a[-LOCAL:] == b[-LOCAL:])
