"""A text filled with marks in place of facts, for every combination of what may be there and what not.

The marks show which facts and phrases a text tells in which case, without reading its words.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import combinations, product
from math import prod
from typing import Any

from jinja2 import Environment, StrictUndefined
from jinja2.sandbox import ImmutableSandboxedEnvironment

from replacements.replies.catalogue import BODY, Fact, facts
from replacements.replies.sources import phrases
from replacements.replies.texts import IDENTITY_FACTS, tidy

MOST = 4096  # fillings of one text
_OPEN, _PLAIN, _CLOSE = "\ue000", "\ue002", "\ue001"  # private characters: no text has them
_SHOWN = re.compile(f"{_OPEN}([a-z_]+){_CLOSE}")
_BARE = re.compile(f"{_PLAIN}([a-z_]+){_CLOSE}")


class Misused(Exception):
    """A fact was written in a way that cannot work; the text says how it is written."""


@dataclass(frozen=True, slots=True)
class _Day:
    """Stands for a day. Written as it is, it leaves a mark of its own: a day needs a form."""

    name: str
    has_hour: bool

    def __str__(self) -> str:
        return f"{_PLAIN}{self.name}{_CLOSE}"


@dataclass(frozen=True, slots=True)
class Filled:
    """What came out for one case. `case`: the value of every switch, by name."""

    case: dict[str, Any]
    text: str

    @property
    def shown(self) -> frozenset[str]:
        """The facts and phrases that are told in this case."""
        return frozenset(_SHOWN.findall(self.text))

    @property
    def bare_days(self) -> frozenset[str]:
        """Days that stand there without a form."""
        return frozenset(_BARE.findall(self.text))


def mark(name: str) -> str:
    return f"{_OPEN}{name}{_CLOSE}"


def values(fact: Fact) -> list[Any]:
    """What a fact can be, as far as a text can tell the difference."""
    if fact.kind == "text":
        return [mark(fact.name), ""] if fact.optional else [mark(fact.name)]
    if fact.is_day:
        day = _Day(fact.name, fact.kind == "moment")
        return [day, None] if fact.optional else [day]
    if fact.kind == "boxes":
        full = {"place": mark("boxes"), "address": "x", "hours": "x"} | {
            end: _Day("boxes", False) for end in ("open", "close")
        }
        return [[full, {**full, "address": "", "hours": ""}], []]
    if fact.kind == "list":
        return [[mark(fact.name)], []] if fact.optional else [[mark(fact.name)]]
    if fact.kind == "details":
        return [list(some) for n in range(1, 5) for some in combinations(IDENTITY_FACTS, n)]
    return [True, False, None] if fact.kind == "answer" else [True, False]


def how_many(names: Iterable[str]) -> int:
    """The number of cases that a text of these names has."""
    return prod(len(values(facts()[name])) for name in set(names) & set(facts()))


def cases(names: Iterable[str]) -> Iterator[dict[str, Any]]:
    """Every case of these facts: only those that can be more than one thing."""
    switches = {name: values(facts()[name]) for name in sorted(set(names) & set(facts()))}
    switches = {name: found for name, found in switches.items() if len(found) > 1}
    for chosen in product(*switches.values()):
        yield dict(zip(switches, chosen, strict=True))


def filled(body: str, names: Iterable[str]) -> list[Filled]:
    """The text in every case. Raises Misused, or what the template raises, with the case as its note."""
    template = _environment().from_string(tidy(body))
    always = _always()
    done = []
    for case in cases(names):
        try:
            done.append(Filled(case, template.render({**always, **case}).strip()))
        except Exception as error:
            error.add_note(in_words(case))
            raise
    return done


def in_words(case: dict[str, Any]) -> str:
    """What holds in a case, as far as it is not what a text can count on; empty where nothing is special."""
    said = []
    for name, value in case.items():
        fact = facts()[name]
        key = "none" if value is None and "none" in fact.words else "yes" if value else "no"
        if key in fact.words:
            said.append(fact.words[key])
    return ", and ".join(said)


def narrowed(failing: list[dict[str, Any]], every: list[dict[str, Any]]) -> str:
    """What the failing cases have in common that others do not have, in words; empty where all fail."""
    if len(failing) == len(every) or not failing:
        return ""
    common = {
        name: value
        for name, value in failing[0].items()
        if all(case[name] == value for case in failing) and any(case[name] != value for case in every)
    }
    return in_words(common)


@cache
def _always() -> dict[str, Any]:
    """The first value of every fact: the one that is there."""
    return {
        **{name: values(fact)[0] for name, fact in facts().items()},
        **{name: mark(name) for name in phrases()},
        BODY: mark(BODY),
    }


@cache
def _environment() -> Environment:
    made = ImmutableSandboxedEnvironment(undefined=StrictUndefined, autoescape=False)
    made.filters.update(full=_form("full"), short=_form("short"), hour=_form("hour"))
    return made


def _form(form: str) -> Any:
    def write(value: Any) -> str:
        if value is None:
            raise Misused(
                f"“|{form}” is used where there is no day. Put it between “{{% if … %}}” and “{{% endif %}}”."
            )
        if not isinstance(value, _Day):
            raise Misused(f"“|{form}” only goes with a day.")
        if form == "hour" and not value.has_hour:
            raise Misused(f"“{value.name}” is a day without an hour: write “|full” or “|short”.")
        return mark(value.name)

    return write
