"""How good the proposals are, by what people decided: followed or not, and do the probabilities keep their word?

What the office's rules decided by themselves proves nothing and is left out. A claim of who a voter is came true where
a person decided for that voter; a claim of what is asked came true where a person followed the proposal or corrected
the reading to the same, and failed where a correction says otherwise.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Select

from replacements.store.tables import Correction, Request
from replacements.summary.asked import DECLINED, LAPSED, Alike, Decided
from replacements.summary.control import wilson
from replacements.summary.figures import Bin, Followed, Machine
from replacements.summary.questions import Answer, question

WHO, KIND = "who", "kind"
EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 1.0)  # a ballot may be voided from 0.8, by rule from 0.95: finer up there
Claim = tuple[float, bool]


def measure_machine(decided: Decided, people: Container[str | None], corrections: Sequence[Answer]) -> Machine:
    """Over the requests that `people` decided. `corrections`: what `corrected` was answered."""
    put_right = _newest(corrections)
    found, off = list[Bin](), {}
    for what, claims in _claims(decided, people, put_right).items():
        if claims:
            bins = binned(what, claims)
            found += bins
            off[what] = sum(abs(one.claimed * one.claims - one.right) for one in bins) / claims.total()
    return Machine(followed(by_people(decided, people)), tuple(found), off, len(put_right))


def by_people(decided: Decided, people: Container[str | None]) -> dict[Alike, int]:
    """What people decided, and not the office's rules by themselves."""
    return {one: count for one, count in decided.alike.items() if _by_people(one, people)}


def _by_people(one: Alike, people: Container[str | None]) -> bool:
    return one.decided_by in people and one.decision not in (None, LAPSED)


def followed(decided: Mapping[Alike, int]) -> tuple[Followed, ...]:
    """By kind (a request of two kinds counts in both) and standing: accepted, changed, refused."""
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for one, count in decided.items():
        place = 2 if one.decision == DECLINED or one.state == DECLINED else int(one.overridden)
        for kind in dict.fromkeys(one.kinds):
            counts[kind, one.standing or "none"][place] += count
    return tuple(Followed(kind, standing, *row) for (kind, standing), row in sorted(counts.items()))


def binned(what: str, claims: Iterable[Claim]) -> list[Bin]:
    """Claims put together by size, each lot with the share that came true and Wilson's interval for it."""
    rows: list[list[tuple[float, bool, int]]] = [[] for _ in EDGES[1:]]
    for (p, right), count in Counter(claims).items():
        rows[max(0, bisect_right(EDGES, p, hi=len(EDGES) - 1) - 1)].append((p, right, count))
    found = []
    for row, lower, upper in zip(rows, EDGES, EDGES[1:], strict=False):
        if row:
            size, true = sum(count for _, _, count in row), sum(count for _, right, count in row if right)
            low, high = wilson(true, size)
            claimed = sum(p * count for p, _, count in row) / size
            found.append(Bin(what, lower, upper, size, true, claimed, low, high))
    return found


def corrected(name: str, election_id: str, start: datetime, end: datetime) -> Select[*tuple[Any, ...]]:
    """Asks what people said that messages of these days' decisions ask."""
    return (
        question(name, Correction.message_id, Correction.kinds, number=Correction.id)
        .join(Request, Request.message_id == Correction.message_id)
        .where(Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end)
    )


def _newest(rows: Iterable[Answer]) -> dict[int, list[str]]:
    """The newest word on a message counts."""
    in_order = sorted(rows, key=lambda row: row.number)
    return {int(row.first or 0): json.loads(row.second or "[]") for row in in_order}


def _claims(
    decided: Decided, people: Container[str | None], corrections: Mapping[int, Sequence[str]]
) -> dict[str, Counter[Claim]]:
    """What was claimed of each request's voter and, once a message, of what it asks, and whether it came true."""
    who, kind = Counter[Claim](), Counter[Claim]()
    for one, count in by_people(decided, people).items():
        if one.state == "done" and one.right is not None and one.who is not None:
            who[one.who, bool(one.right)] += count
    seen: set[int] = set()
    for message_id, one in zip(decided.messages, decided.each, strict=True):
        if one.sure is None or message_id in seen or not _by_people(one, people):
            continue
        if message_id in corrections:
            kind[one.sure, one.kind in corrections[message_id]] += 1
        elif one.decision == one.proposal:
            kind[one.sure, True] += 1
        else:
            continue
        seen.add(message_id)
    return {WHO: who, KIND: kind}
