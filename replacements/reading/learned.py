"""What the signs of a text say about its kinds, causes and topics, by weights learned from messages with right answers.

The weights are a data file that `replacements reading train` makes anew. Log-odds are `bias + trust x cues + sum of
weights`: linear, so that it can be shown to a clerk word by word. A last step makes of them probabilities that keep
their word: each label's log-odds are a sum over those of its group, as measured on writers who were held out (a letter
that asks a question is hardly "other" as well).
"""

from __future__ import annotations

import gzip
import hashlib
import json
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import isfinite
from pathlib import Path
from typing import Any

from replacements.reading.ngrams import Place
from replacements.reading.signs import NOWHERE, Signs, scale_of
from replacements.reading.types import Cause, Kind, Topic

FILE = "kinds.json.gz"
CLIP = 5.0  # the cues' log-odds are cut off here, in training as in use
# Kinds but for machine mail, which is told by its headers; what is learned besides: why a ballot is wanted, what about.
KINDS: tuple[Kind, ...] = tuple(k for k in Kind if k is not Kind.AUTOMATIC)
Label = Kind | Cause | Topic
LABELS: tuple[Label, ...] = (*KINDS, *Cause, *Topic)
GROUPS = (
    slice(0, len(KINDS)),
    slice(len(KINDS), len(KINDS) + len(Cause)),
    slice(len(KINDS) + len(Cause), len(LABELS)),
)
LOUDEST = 8.0  # log-odds beyond this say no more to the other labels
_NUMBERS = range(len(LABELS))
_ALL_NUMBERS = frozenset(_NUMBERS)
_FIELD = 40  # bits a label: thousandths of log-odds over any number of signs
_MASK, _MIDDLE = (1 << _FIELD) - 1, 1 << _FIELD - 1
_LIFT = sum(_MIDDLE << _FIELD * number for number in _NUMBERS)
_LOUDEST_SIGN = 1 << 20  # in thousandths; no weight that was learned comes near
_MAKE_ANEW = "Make it anew with `replacements reading train --out`, or set another one."


def label_names() -> list[str]:
    """The labels as the weights' file names them; a kind and a cause may share a name."""
    return [f"{type(label).__name__}.{label.name}" for label in LABELS]


@dataclass(frozen=True, slots=True)
class Weights:
    """Rows in the order of `LABELS`. `trust[label][kind]`: how much the cues' log-odds for a kind count for a label.
    `honest[label]`: what the log-odds of each label of its group (`GROUPS`) count for it, and a shift. `of_sign`:
    sign -> its weights for all labels in thousandths, put together in one whole number (`together`), so that those of
    a thousand signs are added up as one sum."""

    bias: tuple[float, ...]
    trust: tuple[tuple[float, ...], ...]
    honest: tuple[tuple[float, ...], ...]
    of_sign: dict[str, int]
    heard_with: str = ""  # `word_lists()` when they were learned


def together(pairs: Iterable[tuple[int, int]]) -> int:
    """(label's number, weight in thousandths) pairs as one whole number, a field of bits for each label. Numbers made
    so can be added: every field of the sum is the sum of the fields."""
    return sum([weight << _FIELD * number for number, weight in pairs])


def apart(number: int, labels: range = _NUMBERS) -> list[int]:
    """The weights of these labels in a number that `together` made, or in a sum of such numbers."""
    lifted = number + _LIFT  # no field is negative any more
    return [(lifted >> _FIELD * label & _MASK) - _MIDDLE for label in labels]


def word_lists() -> str:
    """SHA-256 over the cue files and the classes of words: what the weights are over."""
    digest = hashlib.sha256()
    for folder in ("cues", "classes"):
        for file in sorted((files("replacements.reading") / folder).iterdir(), key=lambda f: f.name):
            if file.name.endswith(".toml"):
                digest.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()


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
        tuple(tuple(row) for row in raw["honest"]),
        dict(zip(raw["signs"].split("\n"), map(_paired, raw["weights"]), strict=True)) if raw["weights"] else {},
        str(raw.get("heard_with", "")),
    )
    whole = (
        len(found.bias) == len(found.trust) == len(found.honest) == len(LABELS)
        and all(len(row) == len(KINDS) for row in found.trust)
        and all(len(found.honest[n]) == group.stop - group.start + 1 for group in GROUPS for n in _NUMBERS[group])
        and all(isfinite(n) for row in (found.bias, *found.trust, *found.honest) for n in row)
    )
    if not whole:
        raise ValueError("not as many weights as labels")
    return found


def _paired(row: list[int]) -> int:
    """One sign's weights as the file has them: label's number, weight, and so on in turn."""
    numbers, weights = row[::2], row[1::2]
    if set(map(type, row)) != {int} or not _ALL_NUMBERS.issuperset(numbers):
        raise ValueError("no weights of a sign")
    if max(weights) > _LOUDEST_SIGN or min(weights) < -_LOUDEST_SIGN:
        raise ValueError("no weights of a sign")
    return together(zip(numbers, weights, strict=True))


def clipped(cues: dict[Kind, float]) -> list[float]:
    """The cues' log-odds in the order of `KINDS`, cut off at `CLIP`."""
    return [max(-CLIP, min(CLIP, cues.get(kind, -CLIP))) for kind in KINDS]


def said_of_kinds(signs: Signs, cues: dict[Kind, float], using: Weights | None = None) -> dict[Kind, float]:
    """The log-odds of each kind: what the signs of a text say together with its cues."""
    return dict(zip(KINDS, _said(signs, cues, 0, using), strict=True))


def said_of_causes(signs: Signs, cues: dict[Kind, float], using: Weights | None = None) -> dict[Cause, float]:
    """The log-odds of each cause."""
    return dict(zip(Cause, _said(signs, cues, 1, using), strict=True))


def said_of_topics(signs: Signs, cues: dict[Kind, float], using: Weights | None = None) -> dict[Topic, float]:
    """The log-odds of each topic."""
    return dict(zip(Topic, _said(signs, cues, 2, using), strict=True))


def all_said(signs: Signs, cues: dict[Kind, float], using: Weights) -> list[float]:
    """The log-odds of every label, in the order of `LABELS`."""
    return [odds for which in range(len(GROUPS)) for odds in _said(signs, cues, which, using)]


def _said(signs: Signs, cues: dict[Kind, float], which: int, using: Weights | None) -> list[float]:
    learned, group = using or weights(), GROUPS[which]
    heard = clipped(cues)
    odds = list(learned.bias)
    for number in range(group.start, group.stop):
        odds[number] += sum(t * c for t, c in zip(learned.trust[number], heard, strict=True))
    labels = _NUMBERS[group]
    for own in signs:
        scale = scale_of(own) / 1000
        for number, weight in zip(labels, apart(sum(filter(None, map(learned.of_sign.get, own))), labels), strict=True):
            odds[number] += weight * scale
    return _honest(odds[group], learned.honest[group])


def places(signs: Signs, kind: Kind, most: int = 3) -> list[Place]:
    """The stretches of the plain form that say most for a kind, weightiest first; none that speaks against it."""
    number, of_sign = KINDS.index(kind), weights().of_sign
    label = _NUMBERS[number : number + 1]
    here: dict[Place, float] = {}
    for group in signs:
        scale = scale_of(group)
        for sign, place in group.items():
            known = of_sign.get(sign)
            if known and place is not NOWHERE:
                here[place] = here.get(place, 0.0) + apart(known, label)[0] * scale
    ordered = sorted(here.items(), key=lambda item: (-item[1], item[0]))
    return [place for place, weight in ordered[:most] if weight > 0]


def _honest(odds: list[float], rows: tuple[tuple[float, ...], ...]) -> list[float]:
    heard = [max(-LOUDEST, min(LOUDEST, value)) for value in odds]
    return [sum(c * v for c, v in zip(row[:-1], heard, strict=True)) + row[-1] for row in rows]


def as_heard(group: slice) -> tuple[tuple[float, ...], ...]:
    """Rows of `honest` that change nothing."""
    size = group.stop - group.start
    return tuple(tuple(float(i == own) for i in range(size + 1)) for own in range(size))
