"""What speaks for a kind, in log-odds: the numbers, and the shape of a piece of evidence.

The numbers are judgements of the trade, set by hand: 0 is even, 2.4 about ten to one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from replacements.reading.scanning import Hit, Scan
from replacements.reading.types import Cause, Kind

FAULTS = {"mismark": 3.0, "damage": 2.5, "ruin": 2.1, "goof": 2.0}
GONE = {"never": 2.8, "lost": 2.5, "thrown": 2.6, "stolen": 2.9, "undeliverable": 2.6}
CAUSES = {
    "mismark": Cause.SPOILED, "goof": Cause.SPOILED, "damage": Cause.DAMAGED, "ruin": Cause.SPOILED,
    "never": Cause.NOT_RECEIVED, "lost": Cause.LOST, "thrown": Cause.LOST, "stolen": Cause.STOLEN,
    "undeliverable": Cause.UNDELIVERABLE, "resend": Cause.NOT_RECEIVED,
}  # fmt: skip
PIECES = ("envelope", "form", "page")
STRANGE = {"junk": 2.2, "press": 2.6, "job": 2.4, "threat": 3.2, "commands": 3.2, "complaint": 1.6, "bulk": 2.0}
SHORT = 25  # words: below this a mail to this mailbox is taken to be about the writer's ballot


@dataclass(frozen=True, slots=True)
class Weight:
    """One piece of evidence for a kind. `scan` is the text (body or subject) that `hit` stands in."""

    kind: Kind
    hit: Hit
    scan: Scan
    weight: float
    cause: Cause | None = None


@dataclass(slots=True)
class Weighed:
    """The log-odds of every kind and what they were made of."""

    odds: dict[Kind, float] = field(default_factory=dict)
    evidence: list[Weight] = field(default_factory=list)
    hypothetical: bool = False
    ballot_missing: Hit | None = None


def share_of(about: str, concept: str, grounded: bool) -> float:
    """How much of a mishap counts: less where it befell something else, or is told far from any ballot."""
    if about == "thing":
        return 0.7 if concept == "damage" else 0.4
    return 1.0 if grounded else 0.5


def is_close(hit: Hit, thing: Hit) -> bool:
    return max(thing.start - hit.end, hit.start - thing.end) <= 30


def nearest_to(hit: Hit, things: list[Hit], scan: Scan) -> Hit:
    """The thing that stands closest to a hit; a comma between counts as far, of two as close the one after it wins."""

    def distance(thing: Hit) -> tuple[int, bool]:
        between = scan.folded.text[min(hit.end, thing.end) : max(hit.start, thing.start)]
        return len(between) + 40 * ("," in between), thing.start < hit.start

    return min(things, key=distance)
