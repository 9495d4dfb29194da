"""How a candidate's weight comes about: from the odds before anything is read, fact by fact, to the result. Pure."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from replacements.roll.types import Candidate

# The order in which a clerk would look at them. What is not named here comes behind.
ORDER = (
    "name", "middle_name", "suffix", "birth_date", "age", "address", "voter_id", "ballot_number", "email", "phone",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """One fact. `weight` in bits; `after` is the sum so far; `words`: the level for a clerk, without personal data."""

    field: str
    level: str
    words: str
    weight: float
    after: float


@dataclass(frozen=True, slots=True)
class Waterfall:
    """`prior`: log2 of the odds that any one voter of the roll is meant, before anything is read. `result`: the same
    after every fact. `p`: the probability, when the other candidates and people who are not on the roll compete."""

    prior: float
    steps: tuple[Step, ...]
    result: float
    p: float


@lru_cache(maxsize=1)
def level_words() -> Mapping[str, Mapping[str, str]]:
    """Field -> level -> words."""
    found: dict[str, dict[str, str]] = tomllib.loads(
        (resources.files("replacements.roll") / "level_words.toml").read_text("utf-8")
    )
    return found


def prior_bits(size: float, not_on_the_roll: float) -> float:
    """log2 of the odds of one voter among `size`, where a share of the writers is on no roll."""
    each = min(0.5, (1 - not_on_the_roll) / max(size, 1.0))
    return math.log2(each / (1 - each))


def waterfall(candidate: Candidate) -> Waterfall:
    """The steps add up: `prior` and all weights give `result`."""
    after, steps = candidate.prior, []
    for field in sorted(candidate.weights, key=lambda name: ORDER.index(name) if name in ORDER else len(ORDER)):
        weight = candidate.weights[field]
        after += weight
        level = candidate.evidence.get(field, "")
        words = level_words().get(field, {}).get(level, level)
        steps.append(Step(field, level, words, weight, round(after, 2)))
    return Waterfall(candidate.prior, tuple(steps), round(after, 2), candidate.p)
