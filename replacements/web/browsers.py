"""What a browser says of itself, in plain words: `Firefox on Windows`. Nothing else of it is kept.

A browser may say what it likes: this helps a person to tell their own sign-ins apart and decides nothing. Most browsers
also name others that they want to be taken for, so that the more particular name is looked for first.
"""

from __future__ import annotations

UNKNOWN = "a browser that does not say what it is"
_PROGRAMS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chromium/", "Chromium"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
    ("curl/", "a program (curl)"),
)
_SYSTEMS = (
    ("iPhone", "an iPhone"),
    ("iPad", "an iPad"),
    ("Android", "Android"),
    ("CrOS", "ChromeOS"),
    ("Windows", "Windows"),
    ("Mac OS X", "a Mac"),
    ("Linux", "Linux"),
)


def in_plain_words(user_agent: str) -> str:
    """`Firefox on Windows`, from the header User-Agent (RFC 9110, 10.1.5)."""
    program = next((name for mark, name in _PROGRAMS if mark in user_agent), "")
    system = next((name for mark, name in _SYSTEMS if mark in user_agent), "")
    if not program:
        return f"a browser on {system}" if system else UNKNOWN
    return f"{program} on {system}" if system else program
