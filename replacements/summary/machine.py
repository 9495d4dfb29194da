"""How good the proposals are, by what people decided: followed or not, and do the probabilities keep their word?

What the office's rules decided by themselves proves nothing and is left out. A claim of who a voter is came true where
a person decided for that voter; a claim of what is asked came true where a person followed the proposal or corrected
the reading to the same, and failed where a correction says otherwise.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from replacements.store.tables import Account, Correction, Request
from replacements.summary.asked import DECLINED, LAPSED, Decided
from replacements.summary.control import wilson
from replacements.summary.figures import Bin, Followed, Machine

WHO, KIND = "who", "kind"
EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 1.0)  # a ballot may be voided from 0.8, by rule from 0.95: finer up there
Claim = tuple[float, bool]


def measure_machine(
    session: Session, election_id: str, start: datetime, end: datetime, decided: Sequence[Decided]
) -> Machine:
    """Over the requests that people decided from `start` to before `end`."""
    people = set(session.scalars(select(Account.name)))
    by_people = [r for r in decided if r.decided_by in people and r.decision not in (None, LAPSED)]
    corrections = _corrections(session, election_id, start, end)
    claims = _claims(by_people, corrections)
    bins, off = [], {}
    for what, pairs in claims.items():
        if pairs:
            found = binned(what, pairs)
            bins += found
            off[what] = sum(abs(one.claimed * one.claims - one.right) for one in found) / len(pairs)
    return Machine(followed(by_people), tuple(bins), off, len(corrections))


def followed(decided: Iterable[Decided]) -> tuple[Followed, ...]:
    """By kind (a request of two kinds counts in both) and standing: accepted, changed, refused."""
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for request in decided:
        place = 2 if request.decision == DECLINED or request.state == DECLINED else int(request.overridden)
        for kind in dict.fromkeys(request.kinds):
            counts[kind, request.standing or "none"][place] += 1
    return tuple(Followed(kind, standing, *row) for (kind, standing), row in sorted(counts.items()))


def binned(what: str, claims: Iterable[Claim]) -> list[Bin]:
    """Claims put together by size, each lot with the share that came true and Wilson's interval for it."""
    rows: list[list[Claim]] = [[] for _ in EDGES[1:]]
    for p, right in claims:
        rows[max(0, bisect_right(EDGES, p, hi=len(EDGES) - 1) - 1)].append((p, right))
    found = []
    for row, lower, upper in zip(rows, EDGES, EDGES[1:], strict=False):
        if row:
            true = sum(right for _, right in row)
            low, high = wilson(true, len(row))
            found.append(Bin(what, lower, upper, len(row), true, sum(p for p, _ in row) / len(row), low, high))
    return found


def _corrections(session: Session, election_id: str, start: datetime, end: datetime) -> dict[int, list[str]]:
    """What people said that messages of these days' decisions ask; the newest word on a message counts."""
    rows = session.execute(
        select(Correction.message_id, Correction.kinds)
        .join(Request, Request.message_id == Correction.message_id)
        .where(Request.election_id == election_id, Request.decided_at >= start, Request.decided_at < end)
        .order_by(Correction.id)
    )
    return {message_id: kinds for message_id, kinds in rows}  # noqa: C416 (the newest overwrites)


def _claims(decided: Iterable[Decided], corrections: dict[int, list[str]]) -> dict[str, list[Claim]]:
    """What was claimed of each request's voter and, once a message, of what it asks, and whether it came true."""
    found: dict[str, list[Claim]] = {WHO: [], KIND: []}
    seen: set[int] = set()
    for request in decided:
        if request.state == "done" and request.voter_id and request.first is not None and request.who is not None:
            found[WHO].append((request.who, request.voter_id == request.first))
        if request.sure is None or request.message_id in seen:
            continue
        if request.message_id in corrections:
            found[KIND].append((request.sure, request.kind in corrections[request.message_id]))
        elif request.decision == request.proposal:
            found[KIND].append((request.sure, True))
        else:
            continue
        seen.add(request.message_id)
    return found
