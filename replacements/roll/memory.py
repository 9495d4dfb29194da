"""A roll held in memory: for `rehearse`, which must touch no database, and for tests."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence

from replacements.roll.keys import kind_bit, voter_keys, worth_weighing
from replacements.roll.names import joined, on_file, surname_parts
from replacements.roll.types import Voter

MOST_PER_KEY = 400  # a key that more voters have finds nobody: others of the same person's keys are rarer


def counted_names(voter: Voter) -> tuple[frozenset[str], frozenset[str]]:
    """The (family, given) names that a voter is counted under; a double name counts whole and in parts."""
    return counted_lasts(voter.last_name), counted_firsts(voter.first_name)


def counted_lasts(last_name: str) -> frozenset[str]:
    lasts = on_file("", "", last_name, "", "").lasts
    return frozenset(form for whole, tokens, _ in lasts for form in (whole, *surname_parts(tokens)))


def counted_firsts(first_name: str) -> frozenset[str]:
    first = on_file(first_name, "", "", "", "").first
    return frozenset({"".join(first), *first[:1]} - {""})


class MemoryRoll:
    """A `Roll` over any number of voters that fit into memory."""

    def __init__(self, voters: Iterable[Voter]) -> None:
        self._voters: dict[str, Voter] = {}
        self._by_key: dict[str, list[str]] = defaultdict(list)
        self._lasts: Counter[str] = Counter()
        self._firsts: Counter[str] = Counter()
        for voter in voters:
            if voter.voter_id in self._voters:
                continue  # the first line stands, as in an import
            self._voters[voter.voter_id] = voter
            for key in voter_keys(voter):
                self._by_key[key].append(voter.voter_id)
            lasts, firsts = counted_names(voter)
            self._lasts.update(lasts)
            self._firsts.update(firsts)

    def __len__(self) -> int:
        return len(self._voters)

    def __iter__(self) -> Iterator[Voter]:
        return iter(self._voters.values())

    def with_keys(self, keys: Iterable[str]) -> Sequence[Voter]:
        found: dict[str, int] = {}
        for key in keys:
            ids = self._by_key.get(key, ())
            if len(ids) <= MOST_PER_KEY:
                kind = kind_bit(key)
                for voter_id in ids:
                    found[voter_id] = found.get(voter_id, 0) | kind
        return [self._voters[voter_id] for voter_id in sorted(worth_weighing(found))]

    def voter(self, voter_id: str) -> Voter | None:
        return self._voters.get(voter_id)

    def share_of_last_name(self, last_name: str) -> float:
        return share(self._lasts.get(joined(last_name), 0), len(self._voters))

    def share_of_first_name(self, first_name: str) -> float:
        return share(self._firsts.get(joined(first_name), 0), len(self._voters))


def share(voters: int, of: int) -> float:
    """A name's share of the roll; half a voter's for a name that nobody has, so that it is never nought."""
    return max(voters, 0.5) / max(of, 1)
