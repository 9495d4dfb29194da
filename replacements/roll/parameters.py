"""The figures that evidence is weighed by: the package's own, with what the office measured on its roll.

The package's are in `weights.toml`, each with its source. An office's own file (`replacements roll weights --estimate`)
holds chances of agreement by accident (`u`, `u_voters`) only: how its voters write cannot be measured on a roll.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

MEASURED = "measured on the office's own roll"


class WeightsTrouble(Exception):
    """An office's file of measured figures that cannot be used, in plain words."""


@dataclass(frozen=True, slots=True)
class Parameter:
    """One level of one field. Exactly one of the three `u…` is set. `source`: what the figures rest on."""

    m: float
    u: float | None = None
    u_times: float | None = None
    u_voters: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Parameters:
    """Field -> level -> figures, and the thresholds of the decision."""

    fields: Mapping[str, Mapping[str, Parameter]]
    decision: Mapping[str, float]


_in_use: list[Parameters] = []


def use(path: Path | None) -> None:
    """Weigh by this office's file from now on; None: by the package's figures alone. Raises WeightsTrouble."""
    _in_use[:] = [with_measured(own(), path)] if path is not None else []


def parameters() -> Parameters:
    """The figures in use."""
    return _in_use[0] if _in_use else own()


@lru_cache(maxsize=1)
def own() -> Parameters:
    """The package's figures."""
    data = tomllib.loads((resources.files("replacements.roll") / "weights.toml").read_text("utf-8"))
    decision = {name: float(value) for name, value in data.pop("decision").items()}
    return Parameters(
        {field: {level: Parameter(**figures) for level, figures in levels.items()} for field, levels in data.items()},
        decision,
    )


def with_measured(base: Parameters, path: Path) -> Parameters:
    """`base` with the figures of an office's file in their place. Raises WeightsTrouble with what is wrong."""
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise WeightsTrouble(f"{path}: cannot be read as a file of measured figures: {error}") from error
    fields = {field: dict(levels) for field, levels in base.fields.items()}
    for field, levels in data.items():
        for level, figures in levels.items() if isinstance(levels, dict) else [("", levels)]:
            try:
                fields[field][level] = _measured(fields[field][level], figures)
            except (KeyError, TypeError, ValueError) as error:
                raise WeightsTrouble(
                    f"{path}: [{field}] {level!r} is no figure that can be measured. Make the file anew with "
                    "`replacements roll weights --estimate`."
                ) from error
    return Parameters(fields, base.decision)


def _measured(parameter: Parameter, figures: Mapping[str, Any]) -> Parameter:
    """Raises ValueError for a figure that this level does not have, or that is no chance."""
    ((name, value),) = figures.items()
    if name not in ("u", "u_voters") or getattr(parameter, name) is None:
        raise ValueError(name)
    number = float(value)
    if not (0 < number < 1 if name == "u" else 0 < number < 1e9):
        raise ValueError(name)
    changed = {"u": number} if name == "u" else {"u_voters": number}
    return replace(parameter, source=MEASURED, **changed)
