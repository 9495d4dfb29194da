"""What the signs of a text say about its kinds and causes, by weights learned from messages with right answers.

The weights are a data file that `replacements reading train` makes anew. Log-odds are
`stretch x (bias + trust x cues + sum of weights) + shift`: linear, so that it can be shown to a clerk word by word. The
stretch and the shift make of them probabilities that keep their word (measured on writers who were held out).
"""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from replacements.reading.class_files import Place
from replacements.reading.signs import Signs, scale_of
from replacements.reading.types import Cause, Kind

FILE = "kinds.json.gz"
CLIP = 5.0  # the cues' log-odds are cut off here, in training as in use
# What weights are learned for: kinds (machine mail is told by its headers), and why a ballot is wanted.
KINDS: tuple[Kind, ...] = tuple(k for k in Kind if k is not Kind.AUTOMATIC)
LABELS: tuple[Kind | Cause, ...] = (*KINDS, *Cause)


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


@cache
def weights() -> Weights:
    """The weights in use, loaded once. Raises ValueError where the file is of other labels than this program."""
    raw = json.loads(gzip.decompress((files("replacements.reading") / "weights" / FILE).read_bytes()))
    if raw["labels"] != label_names():
        raise ValueError(f"{FILE} is for other kinds than this program knows: make the weights anew")
    return Weights(
        tuple(raw["bias"]),
        tuple(tuple(row) for row in raw["trust"]),
        tuple((stretch, shift) for stretch, shift in raw["honest"]),
        dict(zip(raw["signs"].split("\n"), raw["weights"], strict=True)),
    )


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
