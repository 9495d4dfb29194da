"""What people made of the proposals: by kind and standing, by member of staff; do the probabilities keep their word?"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from replacements.store.database import Database
from replacements.store.tables import Account, Correction
from replacements.summary.asked import Claims
from replacements.summary.figures import Followed, Week
from replacements.summary.machine import binned, lot_of
from replacements.summary.week import Stretch, week
from tests.summary.conftest import ELECTION

MONDAY = date(2031, 10, 6)
AT = datetime(2031, 10, 7, 15, tzinfo=UTC)
LATER = datetime(2032, 6, 1, tzinfo=UTC)


@pytest.fixture
def staffed(election: Database) -> Database:
    with election.write() as session:
        for name in ("ada", "bo", "cyd"):
            session.add(Account(name=name, password_hash="x", roles=["clerk"], created_at=AT))
    return election


def _count(database: Database, **options: Any) -> Week:
    with database.read() as session:
        return week(session, ELECTION, MONDAY, "America/New_York", now=LATER, **options)


def _decided(records: Any, by: str, decision: str, **entries: Any) -> Any:
    state = "declined" if decision == "declined" else "done"
    return records.request(AT, decided_at=AT, decided_by=by, decision=decision, state=state, **entries)


def test_somebody_far_above_the_others_is_named_with_counts_and_limits(records: Any, staffed: Database) -> None:
    for name, other in (("ada", 4), ("bo", 5), ("cyd", 30)):
        for n in range(60):
            _decided(records, name, "come_in" if n < other else "reissue")
    records.done()
    found = _count(staffed).unusual.overriding
    assert [(one.account, one.decided, one.otherwise) for one in found] == [("cyd", 60, 30)]
    mean = 39 / 180
    assert found[0].share.upper == pytest.approx(mean + 3 * (mean * (1 - mean) / 60) ** 0.5)


def test_a_little_more_than_the_others_is_chance_and_names_nobody(records: Any, staffed: Database) -> None:
    for name, other in (("ada", 4), ("bo", 5), ("cyd", 9)):
        for n in range(60):
            _decided(records, name, "come_in" if n < other else "reissue")
    records.done()
    assert _count(staffed).unusual.overriding == ()


def test_nobody_is_named_for_a_handful_of_decisions(records: Any, staffed: Database) -> None:
    """The limits around one decision, or four, are rough: no habit can be seen in them."""
    for _ in range(200):
        _decided(records, "ada", "reissue")
    for _ in range(4):
        _decided(records, "bo", "come_in")
    records.done()
    assert _count(staffed).unusual.overriding == ()
    _decided(records, "bo", "come_in")
    records.done()
    assert [(one.account, one.otherwise) for one in _count(staffed).unusual.overriding] == [("bo", 5)]


def test_who_decides_alone_is_compared_with_nobody_and_a_rule_is_no_person(records: Any, staffed: Database) -> None:
    for _ in range(60):
        _decided(records, "ada", "come_in")
        _decided(records, "rules: clear case", "reissue")
    records.done()
    found = _count(staffed)
    assert found.unusual.overriding == ()
    assert sum(one.decided for one in found.machine.followed) == 60


def test_decisions_are_counted_by_kind_and_standing(records: Any, staffed: Database) -> None:
    _decided(records, "ada", "reissue", standing="certain", kinds=["spoiled_ballot", "question"])
    _decided(records, "ada", "come_in", standing="certain")
    _decided(records, "bo", "declined", standing="likely")
    _decided(records, "bo", "lapsed", standing="likely")
    records.done()
    assert _count(staffed).machine.followed == (
        Followed("question", "certain", 1, 0, 0),
        Followed("spoiled_ballot", "certain", 1, 1, 0),
        Followed("spoiled_ballot", "likely", 0, 0, 1),
    )


def test_a_claim_of_who_it_is_came_true_where_a_person_decided_for_that_voter(records: Any, staffed: Database) -> None:
    for chosen in ("V1", "V1", "V1", "V2"):
        _decided(records, "ada", "reissue", voter_id=chosen, who_p=0.97, who_claimed="V1")
    records.done()
    bins = [one for one in _count(staffed).machine.bins if one.what == "who"]
    assert [(one.lower, one.upper, one.claims, one.right) for one in bins] == [(0.95, 0.99, 4, 3)]
    assert _count(staffed).machine.off["who"] == pytest.approx(0.97 - 0.75)


def test_a_correction_says_what_a_message_asked(records: Any, staffed: Database) -> None:
    right, wrong = _decided(records, "ada", "reissue"), _decided(records, "ada", "answer")
    for request, said in ((right, "spoiled_ballot"), (wrong, "question")):
        request.kind_claimed, request.kind_p = "spoiled_ballot", 0.85
        records.session.add(Correction(message_id=request.message_id, kinds=[said], cause=None, account="ada", at=AT))
    records.done()
    machine = _count(staffed).machine
    assert [(one.what, one.claims, one.right) for one in machine.bins] == [("kind", 2, 1)]
    assert machine.corrected == 2


def test_a_claim_on_an_edge_belongs_to_the_lot_above_it() -> None:
    lots = {(lot_of(p), True): Claims(1, p) for p in (0.5, 0.8, 1.0)}
    assert [(one.lower, one.claims) for one in binned("who", lots)] == [
        (0.5, 1),
        (0.8, 1),
        (0.99, 1),
    ]


def test_one_request_in_a_week_divides_by_nothing_and_is_shown_as_a_small_count(
    records: Any, staffed: Database
) -> None:
    records.request(AT)
    records.done()
    found = _count(staffed)
    assert [(one.name, one.count, one.size, one.few) for one in found.kinds] == [("spoiled_ballot", 1, 1, True)]
    assert (found.unusual.bursts, found.styles, found.causes) == ((), (), ())


def test_days_that_are_no_week_are_counted_and_a_stretch_too_long_is_not(records: Any, staffed: Database) -> None:
    for days in range(10):
        records.request(AT + timedelta(days=days))
    records.done()
    with staffed.read() as session:
        found = Stretch(ELECTION, date(2031, 10, 8), date(2031, 10, 12), "America/New_York", now=LATER).week(session)
        assert found.requests == 5
        with pytest.raises(ValueError, match="is not a stretch of 1 to 400 days"):
            Stretch(ELECTION, date(2031, 10, 8), date(2032, 12, 1), "America/New_York").week(session)
        with pytest.raises(ValueError, match="is not a stretch"):
            Stretch(ELECTION, date(2031, 10, 8), date(2031, 10, 7), "America/New_York").week(session)


def test_a_burst_is_more_than_chance_brings_in_that_hour_of_the_day(records: Any, staffed: Database) -> None:
    for days in range(1, 22):
        records.request(AT - timedelta(days=days))
    for _ in range(12):
        records.request(AT)
    records.done()
    bursts = _count(staffed).unusual.bursts
    assert [(burst.hour, burst.requests) for burst in bursts] == [(AT, 12)]
    assert bursts[0].expected == pytest.approx(1.0)
