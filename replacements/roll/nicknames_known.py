"""Short forms of given names: the PyPI package `nicknames` (English, both directions) and a Spanish list of our own."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib import resources

from nicknames import NickNamer


@lru_cache(maxsize=1)
def _tables() -> tuple[dict[str, set[str]], dict[str, set[str]], set[tuple[str, str]]]:
    """(short form -> names, name -> short forms, pairs that are firm although their letters differ)."""
    namer = NickNamer()
    full = {short: set(names) for short, names in namer.canonical_lookup.items()}
    short_forms = {name: set(shorts) for name, shorts in namer.nickname_lookup.items()}
    firm: set[tuple[str, str]] = set()
    data = resources.files("replacements.roll") / "data"
    for short, names in tomllib.loads((data / "short_forms.toml").read_text("utf-8")).items():
        for name in names:
            full.setdefault(short, set()).add(name)
            short_forms.setdefault(name, set()).add(short)
            firm.add((short, name))
    for line in (data / "firm_nicknames.txt").read_text("utf-8").splitlines():
        if line and not line.startswith("#"):
            short, *names = line.split()
            for name in names:
                full.setdefault(short, set()).add(name)
                short_forms.setdefault(name, set()).add(short)
                firm.add((short, name))
    return full, short_forms, firm


def full_names(short: str) -> frozenset[str]:
    """The names that `short` (folded) is a short form of."""
    return frozenset(_tables()[0].get(short, ()))


def short_forms(name: str) -> frozenset[str]:
    return frozenset(_tables()[1].get(name, ()))


def is_known(name: str) -> bool:
    """Whether this is a given name or short form in its own right, rather than a slip of the keyboard."""
    full, shorts, _ = _tables()
    return name in full or name in shorts


def meanings(short: str) -> int:
    """How many names a short form may stand for; 1 where it is none (Pat: 3)."""
    return max(1, len(_tables()[0].get(short, ())))


@lru_cache(maxsize=2048)
def relatives(name: str) -> frozenset[str]:
    """Every name that may be the same person's as `name`: its short forms, its full names, and their short forms."""
    names = set(short_forms(name))
    for full in full_names(name):
        names.add(full)
        names.update(short_forms(full))
    return frozenset(names - {name})


def relation(written: str, filed: str) -> str:
    """How two names are linked: "nickname" (a good short form), "loose" (the tables link them weakly), or nothing."""
    full, _, firm = _tables()
    found = ""
    for short, name in ((written, filed), (filed, written)):
        if name in full.get(short, ()):
            if (short, name) in firm or short[0] == name[0] or (len(short) > 2 and short in name):
                return "nickname"
            found = "loose"
    if full.get(written, set()) & full.get(filed, set()) and written[0] == filed[0]:
        return "loose"
    return found
