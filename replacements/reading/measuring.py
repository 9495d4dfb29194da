"""How well messages with right answers are read: F1 of kinds, honesty of probabilities, what is taken for what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from replacements.reading.kinds import KindsFound, find_kinds
from replacements.reading.teaching import Example
from replacements.reading.types import Kind

KIND_WORDS: dict[Kind, str] = {
    Kind.SPOILED_BALLOT: "spoiled ballot",
    Kind.NOT_RECEIVED: "not received",
    Kind.MISSING_MATERIALS: "missing materials",
    Kind.ADDRESS_CHANGE: "address change",
    Kind.ASSISTANCE: "assistance",
    Kind.QUESTION: "question",
    Kind.WITHDRAWAL: "withdrawal",
    Kind.DETAILS: "details asked for",
    Kind.AUTOMATIC: "machine mail",
    Kind.OTHER: "other",
}
BINS = 10


@dataclass(slots=True)
class Measured:
    """What came out of reading messages whose answers are known.

    `by_source`: right, missed and extra kinds by file (the language, where a file is a language), `""` over all.
    `claims`: (probability, right) of every kind that was named. `taken_for[want, got]`: messages of a single kind by
    what they were taken for. `causes`: how often a cause was `asked` for and how often it was `right`.
    """

    messages: int = 0
    by_source: dict[str, Counter[str]] = field(default_factory=dict)
    by_kind: dict[Kind, Counter[str]] = field(default_factory=dict)
    claims: list[tuple[float, bool]] = field(default_factory=list)
    taken_for: Counter[tuple[Kind, Kind]] = field(default_factory=Counter)
    causes: Counter[str] = field(default_factory=Counter)
    misread: list[tuple[Example, tuple[Kind, ...]]] = field(default_factory=list)

    def f1(self, source: str = "") -> float:
        """Micro F1 over kinds, of one source or of all."""
        return f1(self.by_source.get(source, Counter()))

    @property
    def calibration_error(self) -> float:
        """Expected calibration error of the kinds that were named, over ten bins of equal width (0 to 1)."""
        return calibration_error(self.claims)


def measure(known: Sequence[Example]) -> Measured:
    """Read every message and compare."""
    result = Measured()
    for example in known:
        found = find_kinds(example.letter)
        got = {k.kind for k in found.kinds}
        count = judged(example, got)
        result.messages += 1
        for source in ("", example.source):
            result.by_source.setdefault(source, Counter()).update(count)
        for kind in Kind:
            mine = result.by_kind.setdefault(kind, Counter())
            mine["right"] += kind in got and kind in example.kinds
            mine["missed"] += kind in example.kinds and kind not in got
            mine["extra"] += kind in got and kind not in example.kinds | example.tolerated
        result.claims.extend(
            (k.p, k.kind in example.kinds) for k in found.kinds if k.kind not in example.tolerated - example.kinds
        )
        if len(example.kinds) == 1:
            (want,) = example.kinds
            result.taken_for[want, want if want in got else found.kinds[0].kind] += 1
        _count_cause(result.causes, example, found)
        if count["missed"] or count["extra"]:
            result.misread.append((example, tuple(sorted(got))))
    return result


def _count_cause(causes: Counter[str], example: Example, found: KindsFound) -> None:
    if example.cause is not None and example.kinds & {k.kind for k in found.kinds}:
        causes["right"] += found.cause in {example.cause, *example.causes_tolerated}
        causes["asked"] += 1


def judged(example: Example, got: Iterable[Kind]) -> Counter[str]:
    """Right, missed and extra kinds; a tolerated kind counts for nothing or stands in for a missed one."""
    found = set(got)
    missed, extra = len(example.kinds - found), len(found - example.kinds - example.tolerated)
    missed = max(0, missed - len(found & example.tolerated))
    return Counter(right=len(example.kinds) - missed, missed=missed, extra=extra)


def f1(count: Counter[str]) -> float:
    """Harmonic mean of precision and recall, 0 to 1."""
    return 2 * count["right"] / max(1, 2 * count["right"] + count["missed"] + count["extra"])


def calibration_error(claims: Sequence[tuple[float, bool]]) -> float:
    """Expected calibration error: over bins of equal width the mean distance between what was claimed and what came
    true, weighted by how many claims fell into each (Naeini, Cooper, Hauskrecht, 2015)."""
    bins: list[list[tuple[float, bool]]] = [[] for _ in range(BINS)]
    for p, right in claims:
        bins[min(BINS - 1, int(p * BINS))].append((p, right))
    apart = (abs(sum(p for p, _ in row) - sum(right for _, right in row)) for row in bins)
    return sum(apart) / max(1, len(claims))
