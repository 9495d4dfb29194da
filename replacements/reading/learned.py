"""What the signs of a text say about its kinds and causes, by weights learned from messages with right answers.

The weights are a data file that `replacements reading train` makes anew. Log-odds are
`stretch x (bias + trust x cues + sum of weights) + shift`: linear, so that it can be shown to a clerk word by word. The
stretch and the shift make of them probabilities that keep their word (measured on writers who were held out).
"""

from __future__ import annotations

import gzip
import json
import zlib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import isfinite
from pathlib import Path
from typing import Any

from replacements.reading.class_files import Place
from replacements.reading.signs import Signs, scale_of
from replacements.reading.types import Cause, Kind

FILE = "kinds.json.gz"
CLIP = 5.0  # the cues' log-odds are cut off here, in training as in use
# What weights are learned for: kinds (machine mail is told by its headers), and why a ballot is wanted.
KINDS: tuple[Kind, ...] = tuple(k for k in Kind if k is not Kind.AUTOMATIC)
LABELS: tuple[Kind | Cause, ...] = (*KINDS, *Cause)
_NUMBERS = range(len(LABELS))
_MAKE_ANEW = "Make it anew with `replacements reading train --out`, or set another one."


def label_names() -> list[str]:
    """The labels as the weights' file names them; a kind and a cause may share a name."""
    return [f"{type(label).__name__}.{label.name}" for label in LABELS]


@dataclass(frozen=True, slots=True)
class Weights:
    """Rows in the order of `LABELS`. `trust[label][kind]`: how much the cues' log-odds for a kind count for a label.
    `honest[label]`: stretch and shift. `of_sign`: sign -> label's number, weight in thousandths, and so on in turn."""

    bias: tuple[float, ...]
    trust: tuple[tuple[float, ...], ...]
    honest: tuple[tuple[float, float], ...]
    of_sign: dict[str, list[int]]


@dataclass(frozen=True, slots=True)
class Spoken:
    """What the signs of a text say together, in log-odds. `places`: the stretches of the plain form that say most for
    each kind, weightiest first, as (weight, start, end)."""

    kinds: dict[Kind, float]
    causes: dict[Cause, float]
    places: dict[Kind, tuple[tuple[float, int, int], ...]]


class WeightsRefused(ValueError):
    """A file of weights cannot be used; the text names the file, what is wrong with it, and what to do."""


_chosen: list[Weights] = []  # an office's own weights, from the program's start on


def use(path: Path | None) -> None:
    """From now on read by the weights in this file; None: by the package's own. Called once, when a program starts.

    Raises WeightsRefused where the file is broken or of other labels; then nothing has changed.
    """
    _chosen[:] = [load(path)] if path is not None else []


def weights() -> Weights:
    """The weights in use: those that `use` chose, else the package's own."""
    return _chosen[0] if _chosen else _of_the_package()


@cache
def _of_the_package() -> Weights:
    return _understood((files("replacements.reading") / "weights" / FILE).read_bytes(), FILE)


def load(path: Path) -> Weights:
    """The weights in a file. Raises WeightsRefused."""
    try:
        return _understood(path.read_bytes(), str(path))
    except OSError as error:
        raise WeightsRefused(f"The weights in {path} cannot be read: {error.strerror or error}.") from error


def _understood(compressed: bytes, name: str) -> Weights:
    try:
        raw = json.loads(gzip.decompress(compressed))
        labels = raw["labels"]
    except (OSError, EOFError, zlib.error, ValueError, KeyError, TypeError) as error:
        raise WeightsRefused(f"{name} is no whole file of weights. {_MAKE_ANEW}") from error
    if labels != label_names():
        raise WeightsRefused(f"The weights in {name} are for other kinds than this program knows. {_MAKE_ANEW}")
    try:
        return _checked(raw)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise WeightsRefused(f"The weights in {name} are damaged. {_MAKE_ANEW}") from error


def _checked(raw: dict[str, Any]) -> Weights:
    """The weights, as many of each as there are labels. Any error of form where they are not."""
    found = Weights(
        tuple(raw["bias"]),
        tuple(tuple(row) for row in raw["trust"]),
        tuple((stretch, shift) for stretch, shift in raw["honest"]),
        dict(zip(raw["signs"].split("\n"), raw["weights"], strict=True)) if raw["weights"] else {},
    )
    whole = (
        len(found.bias) == len(found.trust) == len(found.honest) == len(LABELS)
        and all(len(row) == len(KINDS) for row in found.trust)
        and all(isfinite(n) for row in (found.bias, *found.trust, *found.honest) for n in row)
        and all(
            len(pairs) % 2 == 0 and all(isinstance(n, int) for n in pairs) and all(n in _NUMBERS for n in pairs[::2])
            for pairs in found.of_sign.values()
        )
    )
    if not whole:
        raise ValueError("not as many weights as labels")
    return found


def clipped(cues: dict[Kind, float]) -> list[float]:
    """The cues' log-odds in the order of `KINDS`, cut off at `CLIP`."""
    return [max(-CLIP, min(CLIP, cues.get(kind, -CLIP))) for kind in KINDS]


def speak(signs: Signs, cues: dict[Kind, float], using: Weights | None = None) -> Spoken:
    """Weigh the signs of a text together with what the cues say of it."""
    learned = using or weights()
    said = clipped(cues)
    odds = [
        bias + sum(t * c for t, c in zip(trust, said, strict=True))
        for bias, trust in zip(learned.bias, learned.trust, strict=True)
    ]
    places: list[dict[Place, float]] = [{} for _ in LABELS]
    for group in signs:
        scale = scale_of(group) / 1000
        for sign, place in group.items():
            pairs = learned.of_sign.get(sign)
            if pairs:
                for at in range(0, len(pairs), 2):
                    number, weight = pairs[at], pairs[at + 1] * scale
                    odds[number] += weight
                    here = places[number]
                    here[place] = here.get(place, 0.0) + weight
    odds = [stretch * value + shift for (stretch, shift), value in zip(learned.honest, odds, strict=True)]
    return Spoken(
        dict(zip(KINDS, odds[: len(KINDS)], strict=True)),
        dict(zip(Cause, odds[len(KINDS) :], strict=True)),
        {kind: _most(here) for kind, here in zip(KINDS, places[: len(KINDS)], strict=True)},
    )


def _most(here: dict[Place, float]) -> tuple[tuple[float, int, int], ...]:
    ordered = sorted(here.items(), key=lambda item: (-item[1], item[0]))[:3]
    return tuple((weight, start, end) for (start, end), weight in ordered if weight > 0)
