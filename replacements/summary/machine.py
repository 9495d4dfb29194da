"""How good the proposals are, by what people decided: followed or not, and do the probabilities keep their word?

What the office's rules decided by themselves proves nothing and is left out. A claim of who a voter is came true where
a person decided for that voter; a claim of what is asked came true where a person followed the proposal or corrected
the reading to the same, and failed where a correction says otherwise.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from sqlalchemy import Select, select

from replacements.store.tables import Account, Correction, Request
from replacements.summary.asked import DECLINED, EDGES, LAPSED, Alike, Claims, Decided, Read, decided_in, otherwise
from replacements.summary.control import wilson
from replacements.summary.figures import Bin, Followed, Machine, Proposals
from replacements.summary.questions import Answer, Answers, question
from replacements.summary.unusual import overriding

WHO, KIND = "who", "kind"
Lots = dict[tuple[int, bool], Claims]  # by place in EDGES, and whether they came true


_CORRECTIONS, _PUT_RIGHT, _PEOPLE = "corrections", "put right", "people"
_Question = Select[*tuple[Any, ...]]


def questions_about_proposals(election_id: str, start: datetime, end: datetime) -> tuple[_Question, ...]:
    """What is to be asked beside the requests that were decided; see `proposals_made`."""
    return (
        corrected(_CORRECTIONS, election_id, start, end),
        readings_put_right(_PUT_RIGHT, election_id, start, end),
        question(_PEOPLE, Account.name, number=Account.id),
    )


def proposals_made(decided: Decided, answers: Answers) -> Proposals:
    """What people made of the proposals. `answers`: to `questions_about_proposals`."""
    people = {row.first for row in answers[_PEOPLE]}
    return Proposals(
        decided.requests,
        otherwise((one.proposal, one.decision, claims.many) for one, claims in decided.alike.items()),
        measure_machine(decided, people, answers[_CORRECTIONS], answers[_PUT_RIGHT]),
        overriding(by_people(decided, people)),
    )


def measure_machine(
    decided: Decided, people: Container[str | None], corrections: Sequence[Answer], put_right: Sequence[Answer]
) -> Machine:
    """Over the requests that `people` decided. `corrections`, `put_right`: what the questions of these names were
    answered."""
    newest = _newest(corrections)
    found, off = list[Bin](), {}
    for what, lots in ((WHO, _of_voters(decided, people)), (KIND, _of_readings(decided, people, newest, put_right))):
        if lots:
            bins = binned(what, lots)
            found += bins
            off[what] = sum(abs(one.claimed * one.claims - one.right) for one in bins) / sum(one.claims for one in bins)
    return Machine(followed(by_people(decided, people)), tuple(found), off, len(newest))


def by_people(decided: Decided, people: Container[str | None]) -> dict[Alike, int]:
    """What people decided, and not the office's rules by themselves."""
    return {one: claims.many for one, claims in decided.alike.items() if _by_people(one, people)}


def _by_people(one: Alike | Read, people: Container[str | None]) -> bool:
    return one.decided_by in people and one.decision not in (None, LAPSED)


def followed(decided: Mapping[Alike, int]) -> tuple[Followed, ...]:
    """By kind (a request of two kinds counts in both) and standing: accepted, changed, refused."""
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for one, count in decided.items():
        place = 2 if one.decision == DECLINED or one.state == DECLINED else int(one.overridden)
        for kind in dict.fromkeys(one.kinds):
            counts[kind, one.standing or "none"][place] += count
    return tuple(Followed(kind, standing, *row) for (kind, standing), row in sorted(counts.items()))


def binned(what: str, lots: Lots) -> list[Bin]:
    """Each lot of claims with the share that came true and Wilson's interval for it."""
    found = []
    for place, (lower, upper) in enumerate(pairwise(EDGES)):
        none = Claims(0, 0.0)
        true, false = lots.get((place, True), none), lots.get((place, False), none)
        if size := true.many + false.many:
            low, high = wilson(true.many, size)
            claimed = (true.claimed + false.claimed) / size
            found.append(Bin(what, lower, upper, size, true.many, claimed, low, high))
    return found


def lot_of(p: float) -> int:
    """The place in EDGES of a claim, as the database puts it."""
    return max(0, bisect_right(EDGES, p, hi=len(EDGES) - 1) - 1)


def corrected(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks what people said that messages of these days' decisions ask."""
    return (
        question(name, Correction.message_id, Correction.kinds, number=Correction.id)
        .join(Request, Request.message_id == Correction.message_id)
        .where(*decided_in(election_id, start, end))
    )


def readings_put_right(name: str, election_id: str, start: datetime, end: datetime) -> _Question:
    """Asks what had been claimed of the messages of these days' decisions, by people, whose reading was put right."""
    return question(name, Request.message_id, Request.kind_claimed, Request.kind_p, number=Request.id).where(
        Request.message_id.in_(select(Correction.message_id)),
        *decided_in(election_id, start, end),
        Request.place == 0, Request.kind_p.is_not(None), Request.decision.is_not(None), Request.decision != LAPSED,
        Request.decided_by.in_(select(Account.name)),
    )  # fmt: skip


def _newest(rows: Iterable[Answer]) -> dict[int, list[str]]:
    """The newest word on a message counts."""
    in_order = sorted(rows, key=lambda row: row.number)
    return {int(row.first or 0): json.loads(row.second or "[]") for row in in_order}


def _of_voters(decided: Decided, people: Container[str | None]) -> Lots:
    """What was claimed of each request's voter, and whether it came true."""
    found: Lots = {}
    for one, claims in decided.alike.items():
        if _by_people(one, people) and one.state == "done" and one.right is not None and one.lot is not None:
            _add(found, one.lot, one.right, claims)
    return found


def _of_readings(
    decided: Decided, people: Container[str | None], newest: Mapping[int, Sequence[str]], put_right: Sequence[Answer]
) -> Lots:
    """What was claimed of each message, once, with its first request; what led to another decision says nothing."""
    found: Lots = {}
    for one, claims in decided.read.items():
        if _by_people(one, people) and one.decision == one.proposal:
            _add(found, one.lot, True, claims)
    for row in put_right:
        message, kind, p = int(row.first or 0), row.second, float(row.third or 0)
        if message in newest:
            _add(found, lot_of(p), kind in newest[message], Claims(1, p))
    return found


def _add(lots: Lots, place: int, right: bool, claims: Claims) -> None:
    before = lots.get((place, right), Claims(0, 0.0))
    lots[place, right] = Claims(before.many + claims.many, before.claimed + claims.claimed)
