"""Every combination of kind, standing, ballot, time, reason, sender and approvals: one proposal each, and no ballot is
ever voided where the trade forbids it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.proposals.rows import ROWS, new_address
from replacements.proposals.situation import SURE_ENOUGH_TO_VOID, Situation
from replacements.proposals.table import deciding_row, propose
from replacements.proposals.types import Action, BallotOnRecord, Proposal
from replacements.reading.types import Cause, Flag, Kind
from replacements.roll.types import Standing
from replacements.rules.office import Rules
from replacements.store.tables import BALLOT_STATES
from tests.proposals.test_decision_table import VOTER, asking, with_rules

KINDS: list[tuple[Kind, ...]] = [(kind,) for kind in Kind] + list(combinations(Kind, 2))
STANDINGS = (None, *Standing)
CAUSES = (None, *Cause)


@dataclass(frozen=True)
class When:
    """The time of asking: by law, and by the post."""

    too_late: bool
    chance: float | None
    mailed_long_ago: bool


TIMES = (When(False, 0.97, True), When(False, 0.4, True), When(False, 0.0, True), When(True, 0.97, True))
TIMES += (When(False, 0.97, False), When(True, None, False))


def _ballots() -> Iterator[BallotOnRecord | None]:
    yield None
    for state in BALLOT_STATES:
        yield BallotOnRecord("5100001", state, "12-A", date(2026, 9, 18))
    yield BallotOnRecord("5100001", "issued", "12-A", date(2026, 9, 18), "5100000", 1, False)
    yield BallotOnRecord("5100001", "issued", "12-A", date(2026, 9, 18), "5100000", 2, False)
    yield BallotOnRecord("5100001", "issued", "12-A", date(2026, 9, 18), "5100000", 1, True)


BALLOTS = tuple(_ballots())


def _every_reason_at_once() -> Rules:
    strict = {
        name: asking(Kind.OTHER)
        .rules.reason(name)
        .model_copy(update={"statement": False, "two_people": name == "stolen"})
        for name in Cause
    }
    return with_rules(reasons=strict, address_change={"by_email": "two_people"}, approval={"by": "clear_cases"})


# Approvals: by staff with statements and forms; clear cases alone, nothing asked for, address changes by two people.
OFFICES = (asking(Kind.OTHER).rules, _every_reason_at_once())


def forbidden(situation: Situation, proposal: Proposal) -> list[str]:
    """Why this ballot must not be voided, by the trade's own words; empty where it may be."""
    s = situation
    checks = {
        "identity is not certain": s.standing is not Standing.CERTAIN,
        "somebody else asks": not s.own_request,
        "the sender failed authentication": s.sender_failed,
        "past the last moment to ask": s.too_late,
        "it cannot be back in time": s.chance is not None and s.chance < 0.01,
        "no ballot is out": s.ballot is None or s.ballot.state not in ("issued", "undeliverable"),
        "no ballot is wanted": not s.wants_ballot,
        "it is taken back": Kind.WITHDRAWAL in s.kinds or Flag.CONFLICT in s.flags,
        "a machine wrote": Kind.AUTOMATIC in s.kinds,
        "it may be a threat": Flag.THREAT in s.flags,
        "the software is spoken to": Flag.COMMANDS_SOFTWARE in s.flags,
        "several voters": Flag.MANY_PEOPLE in s.flags,
        "the ballot is on its way back": Flag.BALLOT_ALREADY_SENT in s.flags,
        "a statement comes first": s.rules.reason(s.why_wanted.value).statement,
        "a form comes first": new_address(s) and s.rules.address_change.by_email == "form",
        "one request is open already": s.earlier_open is not None,
        "one replacement waits already": s.replacement_waits,
        "part of the message was not judged": s.too_long or s.hides_text,
        "nobody knows when it came, or from whom": s.undated or s.nobody_to_answer,
        "its language is not reviewed": s.language not in s.rules.office.languages,
        "it is not read surely": max(s.kinds.values(), default=0) < SURE_ENOUGH_TO_VOID,
        "not out for long enough": s.why_wanted is Cause.NOT_RECEIVED and not s.mailed_long_ago,
        "a new address needs two people": new_address(s) and not proposal.two_people,
        "a ballot replaced before needs two people": s.names_voided_ballot and not proposal.two_people,
        "a third replacement needs two people": bool(s.ballot and s.ballot.replacements_before >= 2)
        and not proposal.two_people,
        "this reason needs two people": s.rules.reason(s.why_wanted.value).two_people and not proposal.two_people,
    }
    return [why for why, holds in checks.items() if holds]


def is_decided(situation: Situation) -> Action:
    """The proposal of a situation, checked: it is one, has its reasons, and voids nothing that it must not."""
    first, again = propose(situation), propose(situation)
    assert first == again
    assert first.action is deciding_row(situation).action
    assert first.reasons
    assert all(reason.rule and reason.text for reason in first.reasons)
    assert first.action is Action.REISSUE or not first.two_people
    assert (first.action is Action.ANSWER) == bool(first.topics)
    assert (first.action is Action.SEND_FORM) == bool(first.form)
    if first.action is Action.REISSUE:
        assert forbidden(situation, first) == []
    return first.action


@pytest.mark.parametrize("sender_failed", [False, True])
@pytest.mark.parametrize("rules", OFFICES, ids=["by staff", "clear cases alone"])
def test_every_combination_has_one_proposal_and_none_voids_what_must_not_be(rules: Rules, sender_failed: bool) -> None:
    found: Counter[Action] = Counter()
    base = replace(asking(Kind.OTHER), rules=rules, sender_failed=sender_failed)
    for kinds, standing, ballot, when, cause in product(KINDS, STANDINGS, BALLOTS, TIMES, CAUSES):
        situation = replace(
            base,
            kinds=dict.fromkeys(kinds, 0.97),
            standing=standing,
            voter=VOTER if standing in (Standing.CERTAIN, Standing.LIKELY) else None,
            ballot=ballot,
            cause=cause,
            too_late=when.too_late,
            chance=when.chance,
            mailed_long_ago=when.mailed_long_ago,
            replacement_waits=bool(ballot and ballot.replacement_waits),
        )
        found[is_decided(situation)] += 1
    assert sum(found.values()) == len(KINDS) * len(STANDINGS) * len(BALLOTS) * len(TIMES) * len(CAUSES)
    assert (found[Action.REISSUE] > 0) is not sender_failed


@st.composite
def situations(draw: st.DrawFn) -> Situation:
    """Any situation at all, also those that no table of combinations lists."""
    kinds = draw(st.dictionaries(st.sampled_from(Kind), st.floats(0, 1), min_size=1, max_size=4))
    ballot = draw(st.sampled_from(BALLOTS))
    standing = draw(st.sampled_from((*STANDINGS, Standing.CERTAIN, Standing.CERTAIN)))
    yes = st.booleans()
    seldom = st.sampled_from([False, False, False, True])
    return replace(
        asking(Kind.OTHER),
        rules=draw(st.sampled_from(OFFICES)),
        kinds=kinds,
        standing=standing,
        voter=VOTER if standing in (Standing.CERTAIN, Standing.LIKELY) else None,
        ballot=ballot,
        cause=draw(st.sampled_from(CAUSES)),
        flags=draw(st.frozensets(st.sampled_from(Flag), max_size=2)),
        topics=draw(st.sampled_from([(), ("deadline",)])),
        own_request=not draw(seldom),
        relation=draw(st.sampled_from(["", "father"])),
        language=draw(st.sampled_from(["en", "es", "fr", "und"])),
        sender_failed=draw(seldom),
        hides_text=draw(seldom),
        too_long=draw(seldom),
        undated=draw(seldom),
        nobody_to_answer=draw(seldom),
        another_place=draw(seldom),
        too_late=draw(seldom),
        chance=draw(st.none() | st.floats(0, 1)),
        mailed_long_ago=draw(yes),
        names_voided_ballot=draw(seldom),
        earlier_open=draw(st.sampled_from([None, None, 7])),
        replacement_waits=draw(seldom),
    )


@settings(max_examples=1_500, deadline=None)
@given(situations())
def test_any_situation_at_all_is_decided_once_and_lawfully(situation: Situation) -> None:
    is_decided(situation)


def test_a_failed_sender_who_also_writes_of_something_else_gets_no_ballot() -> None:
    both = asking(Kind.SPOILED_BALLOT, Kind.OTHER)
    assert is_decided(both) is Action.REISSUE
    for doubt in ("sender_failed", "hides_text", "too_long", "undated", "nobody_to_answer"):
        assert is_decided(replace(both, **{doubt: True})) is Action.READ


@settings(max_examples=300, deadline=None)
@given(situations())
def test_no_row_below_the_one_that_decides_can_speak(situation: Situation) -> None:
    """Rows may hold together; which one decides does not depend on that, and every row above it does not hold."""
    at = ROWS.index(deciding_row(situation))
    assert not any(row.when(situation) for row in ROWS[:at])
    assert ROWS[at].when(situation)


@settings(max_examples=600, deadline=None)
@given(
    situations(),
    st.sampled_from(
        ["sender_failed", "hides_text", "too_long", "undated", "nobody_to_answer", "too_late", "replacement_waits"]
    ),
)
def test_one_more_doubt_never_turns_a_proposal_into_a_reissue(situation: Situation, doubt: str) -> None:
    assert propose(replace(situation, **{doubt: True})).action is not Action.REISSUE
