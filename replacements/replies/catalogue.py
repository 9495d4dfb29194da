"""What a text may name, and what it must go on saying: `facts.toml` and `needed.toml` beside the texts."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from replacements.replies.sources import FOLDER, FRAME, phrases

BODY = "body"  # what the frame stands around


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact that a text may name. `kind` and the words as in facts.toml; `optional`: a text must do without it."""

    name: str
    kind: str
    says: str
    optional: bool
    words: Mapping[str, str]

    @property
    def is_day(self) -> bool:
        return self.kind in ("day", "moment")

    @property
    def written(self) -> str:
        """How a text writes it."""
        return f"{{{{ {self.name}|full }}}}" if self.is_day else f"{{{{ {self.name} }}}}"


@dataclass(frozen=True, slots=True)
class Need:
    """What one text must go on saying, and for what it must say something else. `says`: of a phrase, what it is for."""

    needs: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    says: str = ""


@cache
def facts() -> Mapping[str, Fact]:
    """Every fact by its name."""
    return MappingProxyType(
        {
            name: Fact(
                name,
                str(entry["kind"]),
                str(entry["says"]),
                bool(entry.get("may_be_empty", False)),
                MappingProxyType({key: str(entry[key]) for key in ("yes", "no", "none") if key in entry}),
            )
            for name, entry in _read("facts").items()
        }
    )


@cache
def needed(name: str) -> Need:
    """What a text must go on saying."""
    entry = _read("needed").get(name, {})
    return Need(tuple(entry.get("needs", ())), tuple(entry.get("differs", ())), str(entry.get("says", "")))


@cache
def known(name: str) -> frozenset[str]:
    """Every word that this text may use between braces."""
    return frozenset({*facts(), *phrases(), *((BODY,) if name == FRAME else ())})


def called(name: str) -> str:
    """What a fact or phrase is, in words."""
    if name == BODY:
        return "the reply itself"
    return facts()[name].says if name in facts() else needed(f"phrases/{name}").says


def written(name: str) -> str:
    """How a text names a fact or phrase."""
    return facts()[name].written if name in facts() else f"{{{{ {name} }}}}"


@cache
def _read(file: str) -> dict[str, dict[str, Any]]:
    return tomllib.loads((FOLDER / f"{file}.toml").read_text(encoding="utf-8"))
