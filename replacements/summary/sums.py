"""Sums over the ledger's days: how many ballots are where, and what happened to them, by style, precinct and reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import accumulate, pairwise
from typing import NamedTuple

STYLE, PRECINCT, REASON = PARTS = ("style", "precinct", "reason")  # as they are kept, each of every entry
WHOLE = "whole"  # all together, without a name


class Key(NamedTuple):
    """What a sum is of; see `LedgerDay`. What is loaded, a replacement, of a voter overseas is told apart in the WHOLE
    alone: nobody asks it of a name."""

    part: str
    day: date
    name: str
    loaded: bool = False
    replacement: bool = False
    overseas: bool = False


Sums = dict[Key, list[int]]


class Tally(NamedTuple):
    """Counts of ballots, as `LedgerDay` has them, added up over days and names."""

    issued: int = 0
    out: int = 0
    undeliverable: int = 0
    returned: int = 0
    accepted: int = 0
    challenged: int = 0
    suspended: int = 0
    voided: int = 0
    rejected: int = 0
    brought_back: int = 0
    reissued: int = 0
    spoiled: int = 0
    taken_back: int = 0
    voids: int = 0
    suspensions: int = 0

    @property
    def received(self) -> int:
        """Ballots that came back and were taken in, whatever became of them."""
        return self.returned + self.accepted + self.challenged + self.rejected


COUNTS = Tally._fields
PLACE = {name: n for n, name in enumerate(COUNTS)}
_OUT, _UNDELIVERABLE = PLACE["out"], PLACE["undeliverable"]
STATE_COLUMNS = {"issued": "out"} | {
    state: state for state in ("undeliverable", "returned", "accepted", "challenged", "suspended", "voided")
}


@dataclass(frozen=True)
class Days:
    """The sums of an election up to a day: of the WHOLE, and of the parts that were read."""

    sums: Sums = field(default_factory=dict)

    @cached_property
    def _of(self) -> Mapping[str, Sequence[tuple[Key, list[int]]]]:
        """The sums by part: precincts are many, and few questions are about them."""
        found: dict[str, list[tuple[Key, list[int]]]] = {part: [] for part in (WHOLE, *PARTS)}
        for key, counts in self.sums.items():
            found[key.part].append((key, counts))
        return found

    def tally(
        self,
        first: date | None = None,
        last: date | None = None,
        *,
        replacement: bool | None = None,
        overseas: bool | None = None,
        loaded: bool | None = None,
    ) -> Tally:
        """All ballots together, from `first` to `last`, both included."""
        return _total(
            counts
            for key, counts in self._of[WHOLE]
            if (first is None or key.day >= first)
            and (last is None or key.day <= last)
            and (replacement is None or key.replacement == replacement)
            and (overseas is None or key.overseas == overseas)
            and (loaded is None or key.loaded == loaded)
        )

    def by_name(self, part: str, first: date, last: date, count: str) -> dict[str, int]:
        """One count for each name of a part, the largest first; names with nothing are left out."""
        place, found = PLACE[count], defaultdict[str, int](int)
        for key, counts in self._of[part]:
            if counts[place] and first <= key.day <= last:
                found[key.name] += counts[place]
        return dict(sorted(((n, c) for n, c in found.items() if c), key=lambda pair: (-pair[1], pair[0])))

    def out_by_day(self, days: Sequence[date], part: str = STYLE) -> dict[str, list[int]]:
        """For each name, how many ballots were out on each of these days (ascending, without a gap): at its beginning
        or its end, whichever is more, since on the day when they are sent there were none before."""
        places, found = {day: n + 1 for n, day in enumerate(days)}, dict[str, list[int]]()
        for key, counts in self._of[part]:
            out = _out(counts)
            place = 0 if key.day < days[0] else places.get(key.day)
            if out and place is not None:
                if key.name not in found:
                    found[key.name] = [0] * (len(days) + 1)
                found[key.name][place] += out
        for name, changes in found.items():
            ends = list(accumulate(changes))
            found[name] = [max(start, end) for start, end in pairwise(ends)]
        return found

    def whole_out_by_day(self, days: Sequence[date]) -> list[int]:
        """The same for all ballots together."""
        return self.out_by_day(days, WHOLE).get("", [0] * len(days))

    def places(self, last: date | None = None) -> dict[str, Tally]:
        """Where the ballots of each style are at the end of that day, or now."""
        found = defaultdict[str, list[list[int]]](list)
        for key, counts in self._of[STYLE]:
            if last is None or key.day <= last:
                found[key.name].append(counts)
        return {name: _total(rows) for name, rows in sorted(found.items())}

    def by_day(self, days: Sequence[date], count: str) -> list[int]:
        """One count of all ballots together for each day."""
        place, found = PLACE[count], dict.fromkeys(days, 0)
        for key, counts in self._of[WHOLE]:
            if key.day in found:
                found[key.day] += counts[place]
        return [found[day] for day in days]


def _total(rows: Iterable[Sequence[int]]) -> Tally:
    return Tally(*map(sum, zip(*rows, strict=True)))


def _out(counts: Sequence[int]) -> int:
    """How many more ballots could still come back: with voters, or brought back by the post."""
    return counts[_OUT] + counts[_UNDELIVERABLE]
