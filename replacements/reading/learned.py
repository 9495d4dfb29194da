"""What the words of a text say about its kinds and causes, by weights learned from messages with right answers.

The weights are a data file that `python -m replacements.reading.training` makes anew. They are added to what the cues
say: log-odds are `bias + trust x cues + sum of weights`, so that both halves can be shown to a clerk, word by word.
"""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import sqrt

from replacements.reading.folding import Folded
from replacements.reading.ngrams import features
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
    """Rows in the order of `LABELS`. `trust[label][kind]`: how much the cues' log-odds for a kind count for a label."""

    bias: tuple[float, ...]
    trust: tuple[tuple[float, ...], ...]
    of_feature: dict[str, list[tuple[int, int]]]  # feature -> (label's number, weight in thousandths)


@dataclass(frozen=True, slots=True)
class Spoken:
    """What a text's own words and the cues say together, in log-odds. `places`: the stretches of the plain form that
    say most for each kind, weightiest first, as (weight, start, end)."""

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
        {feature: [(number, weight) for number, weight in pairs] for feature, pairs in raw["features"].items()},
    )


def clipped(cues: dict[Kind, float]) -> list[float]:
    """The cues' log-odds in the order of `KINDS`, cut off at `CLIP`."""
    return [max(-CLIP, min(CLIP, cues.get(kind, -CLIP))) for kind in KINDS]


def speak(folded: Folded, cues: dict[Kind, float], using: Weights | None = None) -> Spoken:
    """Weigh a text's own words together with what the cues say of it."""
    learned = using or weights()
    found = features(folded)
    scale = 1 / (1000 * sqrt(max(1, len(found))))
    said = clipped(cues)
    odds = [
        bias + sum(t * c for t, c in zip(trust, said, strict=True))
        for bias, trust in zip(learned.bias, learned.trust, strict=True)
    ]
    places: list[dict[tuple[int, int], float]] = [{} for _ in LABELS]
    for feature, place in found.items():
        for number, weight in learned.of_feature.get(feature, ()):
            odds[number] += weight * scale
            here = places[number]
            here[place] = here.get(place, 0.0) + weight * scale
    return Spoken(
        dict(zip(KINDS, odds[: len(KINDS)], strict=True)),
        dict(zip(Cause, odds[len(KINDS) :], strict=True)),
        {kind: _most(here) for kind, here in zip(KINDS, places[: len(KINDS)], strict=True)},
    )


def _most(here: dict[tuple[int, int], float]) -> tuple[tuple[float, int, int], ...]:
    ordered = sorted(here.items(), key=lambda item: (-item[1], item[0]))[:3]
    return tuple((weight, start, end) for (start, end), weight in ordered if weight > 0)
