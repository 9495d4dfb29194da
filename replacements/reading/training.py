"""Make the weights anew from messages with right answers (needs the `train` extra: NumPy and SciPy)."""

from __future__ import annotations

import gzip
import json
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from replacements.reading.kinds import heard
from replacements.reading.learned import (
    FILE,
    GROUPS,
    KINDS,
    LABELS,
    Weights,
    all_said,
    apart,
    as_heard,
    clipped,
    label_names,
    together,
    word_lists,
)
from replacements.reading.signs import Signs, scale_of
from replacements.reading.teaching import Example
from replacements.reading.types import Kind, Topic

STRENGTH = 12.0  # inverse of the regularisation of the logistic regression
FEWEST = 3  # a sign must stand in so many messages
KEPT = 0.06  # weights smaller than this are left out of the file
FOLDS = 5
_LAST_STRENGTH = 1.0
_FEW = 5  # messages that say yes to a label: with fewer its probabilities are left as they are
_UNTAUGHT = -4.0  # log-odds of a label that no message taught
_CURVE = 0.03  # about p (1 - p) of a kind
WEIGHTS = Path(__file__).parent / "weights" / FILE


class Lesson:
    """An example with everything that is heard in it, so that it is listened to once."""

    __slots__ = ("cues", "example", "signs")

    def __init__(self, example: Example) -> None:
        self.example = example
        self.signs: Signs
        self.cues: dict[Kind, float]
        self.signs, self.cues = heard(example.letter)


def learn(lessons: Sequence[Lesson]) -> Weights:
    """Weights from lessons by logistic regression, each label by itself; the same lessons give the same weights. Their
    probabilities are not yet made honest."""
    import numpy as np
    from scipy.sparse import csr_matrix

    often = Counter(sign for lesson in lessons for group in lesson.signs for sign in group)
    names = sorted(sign for sign, n in often.items() if n >= FEWEST)
    column = {sign: i for i, sign in enumerate(names)}
    values, indices, ends = [], [], [0]
    for lesson in lessons:
        for group in lesson.signs:
            known = [column[sign] for sign in group if sign in column]
            indices.extend(known)
            values.extend([scale_of(group)] * len(known))
        indices.extend(range(len(names), len(names) + len(KINDS)))
        values.extend(clipped(lesson.cues))
        ends.append(len(indices))
    table = csr_matrix((values, indices, ends), shape=(len(lessons), len(names) + len(KINDS)))
    weights, bias = np.zeros((table.shape[1], len(LABELS))), np.full(len(LABELS), _UNTAUGHT)
    # Topics are taught by fewer messages than kinds: those alone are looked at for them.
    for labels in (LABELS[: -len(Topic)], LABELS[-len(Topic) :]):
        answers = [[lesson.example.answers(label) for label in labels] for lesson in lessons]
        rows = [i for i, row in enumerate(answers) if any(a is not None for a in row)]
        if not rows:
            continue
        right = np.array([[bool(a) for a in answers[i]] for i in rows], dtype=float).reshape(len(rows), len(labels))
        asked = np.array([[a is not None for a in answers[i]] for i in rows], dtype=float).reshape(right.shape)
        first = LABELS.index(labels[0])
        place = slice(first, first + len(labels))
        weights[:, place], bias[place] = _fit(table[rows], right, asked)
    of_sign: dict[str, int] = {}
    for i, sign in enumerate(names):
        kept = np.flatnonzero(np.abs(weights[i]) >= KEPT)
        if len(kept):
            of_sign[sign] = together((int(n), round(float(weights[i, n]) * 1000)) for n in kept)
    trust = tuple(tuple(round(float(w), 4) for w in weights[len(names) :, n]) for n in range(len(LABELS)))
    return Weights(
        tuple(round(float(b), 4) for b in bias),
        trust,
        tuple(row for group in GROUPS for row in as_heard(group)),
        of_sign,
        word_lists(),
    )


def _fit(table: Any, right: Any, asked: Any, strength: float = STRENGTH) -> tuple[Any, Any]:
    """Regularised logistic regression of every column of `right` at once, over the rows where `asked` is 1.

    Weights are (signs x labels), bias (labels). The labels do not touch each other; one run for all is a matter of
    speed. The bias is not regularised.
    """
    import numpy as np
    from scipy.optimize import minimize

    rows, signs = table.shape
    labels = right.shape[1]
    turned = table.T.tocsr()
    # Steps are taken in units that suit each column: cues are large and in every row, most signs small and rare.
    unit = np.ones((signs + 1, 1))
    unit[:-1, 0] = 1 / np.sqrt(_CURVE * np.asarray(table.multiply(table).sum(axis=0)).ravel() + 1 / strength)
    unit[-1] = 1 / np.sqrt(_CURVE * rows)

    def loss(flat: Any) -> tuple[float, Any]:
        parted = flat.reshape(signs + 1, labels) * unit
        odds = table @ parted[:-1] + parted[-1]
        value = (asked * (np.logaddexp(0, odds) - right * odds)).sum() + (parted[:-1] ** 2).sum() / (2 * strength)
        wrong = asked * (1 / (1 + np.exp(-odds)) - right)
        slope = np.empty_like(parted)
        slope[:-1] = turned @ wrong + parted[:-1] / strength
        slope[-1] = wrong.sum(axis=0)
        return float(value), (slope * unit).ravel()

    start = np.zeros((signs + 1) * labels)
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 120, "ftol": 1e-5, "maxcor": 8})
    parted = found.x.reshape(signs + 1, labels) * unit
    return parted[:-1], parted[-1]


def made_honest(weights: Weights, lessons: Sequence[Lesson], progress: Callable[[int], None]) -> Weights:
    """The same weights with a last step after which probabilities keep their word.

    What is said of writers who were held out is compared with what was right, by logistic regression over the log-odds
    of all labels of a group (after Platt, 'Probabilistic outputs for support vector machines', 1999). Only messages as
    a mailbox brings them count, where there are any: how likely a kind is beforehand is part of its probability.
    `progress` is told after each fold.
    """
    drawn = any(lesson.example.drawn for lesson in lessons)
    said: list[list[float]] = []
    asked: list[list[bool | None]] = []
    fold_of = folds(lessons)
    for number in range(FOLDS):
        taught = learn([lesson for lesson in lessons if fold_of[lesson.example.writer] != number])
        for lesson in lessons:
            if fold_of[lesson.example.writer] != number or (drawn and not lesson.example.drawn):
                continue
            said.append(all_said(lesson.signs, lesson.cues, taught))
            asked.append([lesson.example.answers(label) for label in LABELS])
        progress(number)
    honest: list[tuple[float, ...]] = []
    for group in GROUPS:
        honest.extend(_last_step([row[group] for row in said], [row[group] for row in asked], as_heard(group)))
    return replace(weights, honest=tuple(honest))


def _last_step(
    said: list[list[float]], answers: list[list[bool | None]], unchanged: tuple[tuple[float, ...], ...]
) -> list[tuple[float, ...]]:
    """The rows of `Weights.honest` of one group; those of labels about which too little is known stay `unchanged`."""
    import numpy as np
    from scipy.sparse import csr_matrix

    rows = [i for i, row in enumerate(answers) if any(a is not None for a in row)]
    if not rows:
        return list(unchanged)
    odds = csr_matrix(np.array([said[i] for i in rows]))
    right = np.array([[bool(a) for a in answers[i]] for i in rows], dtype=float)
    asked = np.array([[a is not None for a in answers[i]] for i in rows], dtype=float)
    weights, bias = _fit(odds, right, asked, strength=_LAST_STRENGTH)
    told = [(right[:, n] * asked[:, n]).sum() for n in range(right.shape[1])]
    return [
        (*(round(float(w), 4) for w in weights[:, n]), round(float(bias[n]), 4)) if told[n] >= _FEW else unchanged[n]
        for n in range(right.shape[1])
    ]


def folds(lessons: Sequence[Lesson]) -> dict[str, int]:
    """Which fold each writer is in; a writer's messages stay together."""
    return {w: i % FOLDS for i, w in enumerate(sorted({lesson.example.writer for lesson in lessons}))}


def write(weights: Weights, path: Path) -> None:
    """The weights' file: the same weights give the same bytes."""
    ordered = dict(sorted(weights.of_sign.items()))
    raw = {
        "labels": label_names(),
        "bias": weights.bias,
        "trust": weights.trust,
        "honest": weights.honest,
        "heard_with": weights.heard_with,
        "signs": "\n".join(ordered),
        "weights": [[n for pair in enumerate(apart(number)) if pair[1] for n in pair] for number in ordered.values()],
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(raw, ensure_ascii=False, separators=(",", ":"))
    path.write_bytes(gzip.compress(text.encode("utf-8"), compresslevel=9, mtime=0))


def train(known: Sequence[Example], path: Path, progress: Callable[[str], None]) -> int:
    """Learn from every example and write the weights. Returns how many there were; `progress` is told what is done."""
    lessons = []
    for number, example in enumerate(known, start=1):
        lessons.append(Lesson(example))
        if number % 500 == 0 or number == len(known):
            progress(f"{number} of {len(known)} messages listened to")
    weights = learn(lessons)
    progress("weights learned")
    weights = made_honest(weights, lessons, lambda n: progress(f"probabilities checked, part {n + 1} of {FOLDS}"))
    write(weights, path)
    return len(lessons)
