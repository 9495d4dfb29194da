"""Make the weights anew from messages with right answers (needs the `train` extra: scikit-learn).

Messages are JSON lines: `text`, `kinds`, and where they apply `cause`, `subject`, `quoted`, `attachments`, and
`kinds_ok` (kinds that reasonable clerks might add; such a message says nothing about them). `writer` keeps one
writer's messages together when accuracy is measured, so that nobody is tested on a voice that was learned from.
"""

from __future__ import annotations

import gzip
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import sqrt
from pathlib import Path
from typing import Any

from replacements.mail.letter import Attachment, Letter, PartLabel, Sender, TextPart
from replacements.reading.folding import fold
from replacements.reading.kinds import cue_odds, spoken_text
from replacements.reading.learned import FILE, KINDS, LABELS, Weights, clipped, label_names, speak
from replacements.reading.ngrams import features
from replacements.reading.types import Cause, Kind

STRENGTH = 16.0  # inverse of the regularisation of scikit-learn's LogisticRegression
FEWEST = 2  # a feature must stand in so many messages
CUE_SCALE = 1.0  # how much of the regularisation the cues' log-odds are spared, as they are few and known to be good
KEPT = 0.02  # weights smaller than this are left out of the file


@dataclass(frozen=True, slots=True)
class Example:
    """A message with its right answer."""

    writer: str
    letter: Letter
    kinds: frozenset[Kind]
    tolerated: frozenset[Kind] = frozenset()
    cause: Cause | None = None

    def answers(self, label: Kind | Cause) -> bool | None:
        """Whether the label is right; None where this message says nothing about it."""
        if isinstance(label, Cause):
            wanted = bool(self.kinds & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED})
            return None if wanted and self.cause is None else self.cause is label
        return None if label in self.tolerated and label not in self.kinds else label in self.kinds


def examples(folder: Path) -> list[Example]:
    """Every message of every `.jsonl` file under a folder, in the order of the files' names."""
    found = []
    for path in sorted(folder.rglob("*.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.strip():
                found.append(example(json.loads(line), path.stem))
    return found


def example(message: dict[str, Any], source: str = "") -> Example:
    parts = [TextPart(PartLabel.NEW, message["text"])]
    if message.get("quoted"):
        parts.append(TextPart(PartLabel.QUOTED, message["quoted"]))
    letter = Letter(
        message_id="<1@training.example>",
        sender=Sender("writer@training.example", ""),
        subject=message.get("subject", ""),
        arrived=datetime(2026, 10, 12, 9, 0, tzinfo=UTC),
        parts=tuple(parts),
        attachments=tuple(Attachment(n, "application/pdf", 900) for n in message.get("attachments", ())),
    )
    return Example(
        f"{source}/{message.get('writer', '')}",
        letter,
        frozenset(Kind(k) for k in message["kinds"]),
        frozenset(Kind(k) for k in message.get("kinds_ok", ())),
        Cause(message["cause"]) if message.get("cause") else None,
    )


class Learner:
    """One set of weights, learned from examples."""

    def __init__(self, learned_from: Sequence[Example]) -> None:
        from scipy.sparse import csr_matrix
        from sklearn.linear_model import LogisticRegression

        rows = [features(fold(spoken_text(e.letter))) for e in learned_from]
        often = Counter(f for row in rows for f in row)
        names = sorted(f for f, n in often.items() if n >= FEWEST)
        column = {f: i for i, f in enumerate(names)}
        values, indices, ends = [], [], [0]
        for e, row in zip(learned_from, rows, strict=True):
            scale = 1 / sqrt(max(1, len(row)))
            for f in row:
                if f in column:
                    indices.append(column[f])
                    values.append(scale)
            for i, value in enumerate(clipped(cue_odds(e.letter))):
                indices.append(len(names) + i)
                values.append(value * CUE_SCALE)
            ends.append(len(indices))
        table = csr_matrix((values, indices, ends), shape=(len(rows), len(names) + len(KINDS)))
        bias, trust = [], []
        of_feature: dict[str, list[tuple[int, int]]] = {}
        for number, label in enumerate(LABELS):
            counted = [i for i, e in enumerate(learned_from) if e.answers(label) is not None]
            answers = [bool(learned_from[i].answers(label)) for i in counted]
            model = LogisticRegression(C=STRENGTH, max_iter=2000).fit(table[counted], answers)
            bias.append(round(float(model.intercept_[0]), 4))
            trust.append(tuple(round(float(w) * CUE_SCALE, 4) for w in model.coef_[0][len(names) :]))
            for f, i in column.items():
                weight = float(model.coef_[0][i])
                if abs(weight) >= KEPT:
                    of_feature.setdefault(f, []).append((number, round(weight * 1000)))
        self.weights = Weights(tuple(bias), tuple(trust), dict(sorted(of_feature.items())))

    def write(self, path: Path) -> None:
        """The weights' file: the same weights give the same bytes."""
        raw = {
            "labels": label_names(),
            "bias": self.weights.bias,
            "trust": self.weights.trust,
            "features": self.weights.of_feature,
        }
        path.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps(raw, ensure_ascii=False, separators=(",", ":"))
        path.write_bytes(gzip.compress(text.encode("utf-8"), compresslevel=9, mtime=0))

    def kinds(self, letter: Letter) -> set[Kind]:
        """The kinds of a letter under these weights."""
        odds = speak(fold(spoken_text(letter)), cue_odds(letter), self.weights).kinds
        return {kind for kind in KINDS if odds[kind] >= 0} or {Kind.OTHER}


def held_out_f1(known: Sequence[Example], folds: int = 5) -> tuple[float, dict[str, float]]:
    """Micro F1 over kinds when every writer is read by weights learned from the others, whole and by source file."""
    writers = sorted({e.writer for e in known})
    fold_of = {writer: i % folds for i, writer in enumerate(writers)}
    tally: dict[str, Counter[str]] = {"": Counter()}
    for number in range(folds):
        learner = Learner([e for e in known if fold_of[e.writer] != number])
        for e in (e for e in known if fold_of[e.writer] == number):
            count = judged(e, learner.kinds(e.letter))
            for key in ("", e.writer.partition("/")[0]):
                tally.setdefault(key, Counter()).update(count)
    scores = {key: f1(count) for key, count in tally.items()}
    return scores.pop(""), scores


def judged(e: Example, got: Iterable[Kind]) -> Counter[str]:
    """Right, missed and extra kinds; a tolerated kind counts for nothing or stands in for a missed one."""
    found = set(got)
    missed, extra = len(e.kinds - found), len(found - e.kinds - e.tolerated)
    missed = max(0, missed - len(found & e.tolerated))
    return Counter(right=len(e.kinds) - missed, missed=missed, extra=extra)


def f1(count: Counter[str]) -> float:
    return 2 * count["right"] / max(1, 2 * count["right"] + count["missed"] + count["extra"])


def train(folder: Path, *, measure: bool = True) -> tuple[int, float, dict[str, float]]:
    """Learn from every message under `folder` and write the weights. Returns how many messages, and how well writers
    who were held out are read (0 where it was not measured)."""
    known = examples(folder)
    score, by_source = held_out_f1(known) if measure else (0.0, {})
    Learner(known).write(Path(__file__).parent / "weights" / FILE)
    return len(known), score, by_source


if __name__ == "__main__":
    import sys

    count, micro, sources = train(Path(sys.argv[1]))
    print(f"{count} messages; writers held out are read with micro F1 {micro:.3f}")
    for name, value in sorted(sources.items()):
        print(f"  {name:24} {value:.3f}")
