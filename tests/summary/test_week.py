"""The week in numbers, as a supervisor would count it by hand."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from replacements.store.database import Database
from replacements.summary.figures import Columns, Repeated, SharedAddress
from replacements.summary.week import Week, week

ELECTION = "2031-11-04-general"
OFFICE = ZoneInfo("America/New_York")
MONDAY = date(2031, 10, 6)
LATER = datetime(2032, 6, 1, tzinfo=UTC)

Count = Callable[..., Week]


def at(day: int, hour: int, minute: int = 0, month: int = 10) -> datetime:
    return datetime(2031, month, day, hour, minute, tzinfo=OFFICE)


@pytest.fixture
def count(election: Database) -> Count:
    def count(monday: date = MONDAY, now: datetime = LATER, **options: Any) -> Week:
        with election.read() as session:
            return week(session, ELECTION, monday, "America/New_York", now=now, **options)

    return count


def test_an_empty_week_counts_nothing_and_divides_by_nothing(count: Count) -> None:
    found = count()
    assert (found.requests, found.reissues, found.waiting, found.speed.share, found.mean_rate) == (0, 0, (), None, None)
    assert [day.rate for day in found.days] == [None] * 7
    assert not found.unusual.anything
    assert found.oldest_hours is None


def test_a_week_begins_on_a_monday(count: Count) -> None:
    with pytest.raises(ValueError, match="2031-10-07 is not a Monday"):
        count(date(2031, 10, 7))


def test_requests_are_counted_by_kind_and_a_request_of_two_kinds_in_both(records: Any, count: Count) -> None:
    records.request(at(6, 0), kinds=["spoiled_ballot"])
    records.request(at(12, 23, 59), kinds=["spoiled_ballot", "question"])
    records.request(at(5, 23, 59), kinds=["other"])  # the Sunday before
    records.request(at(13, 0), kinds=["other"])  # the Monday after
    records.done()
    found = count()
    assert (found.requests, found.by_kind) == (2, {"spoiled_ballot": 2, "question": 1})
    assert [day.requests for day in found.days] == [1, 0, 0, 0, 0, 0, 1]
    assert found.messages == 2


def test_the_promise_is_the_next_business_days_mailing(records: Any, count: Count) -> None:
    friday = records.request(at(3, 16), decided_at=at(3, 16, 30), state="done", decision="reissue")
    records.mailed(friday, date(2031, 10, 6), at(6, 16))  # Friday to Monday: kept
    monday = records.request(at(6, 9), decided_at=at(6, 10), state="done", decision="reissue")
    records.mailed(monday, date(2031, 10, 6), at(6, 16))  # the same day: kept
    second = records.request(at(6, 9), decided_at=at(8, 10), state="done", decision="reissue")
    records.mailed(second, date(2031, 10, 8), at(8, 16))  # Monday to Wednesday: not kept
    pulled = records.request(at(6, 9), decided_at=at(6, 10), state="done", decision="reissue")
    records.mailed(pulled, date(2031, 10, 6), at(6, 16), state="pulled")
    records.done()
    speed = count().speed
    assert (speed.mailed, speed.kept) == (3, 2)
    assert speed.share == pytest.approx(2 / 3)
    assert speed.interval is not None
    assert speed.interval[0] < 2 / 3 < speed.interval[1]
    assert speed.median == pytest.approx(55)  # 7, 55 and 72 hours
    assert speed.ninetieth == pytest.approx(55 + 0.8 * 17)


def test_a_mailing_that_is_signed_off_a_day_late_is_late(records: Any, count: Count) -> None:
    request = records.request(at(6, 9), decided_at=at(6, 10), state="done", decision="reissue")
    records.mailed(request, date(2031, 10, 7), at(8, 9))
    records.done()
    assert (count().speed.mailed, count().speed.kept) == (1, 0)


def test_a_holiday_of_the_office_is_no_business_day(records: Any, count: Count) -> None:
    request = records.request(at(6, 9), decided_at=at(6, 10), state="done", decision="reissue")
    records.mailed(request, date(2031, 10, 8), at(8, 16))
    records.done()
    assert count().speed.kept == 0
    assert count(is_business_day=lambda day: day.weekday() < 5 and day != date(2031, 10, 7)).speed.kept == 1


def test_a_packet_past_its_promise_that_is_not_mailed_is_overdue(records: Any, count: Count) -> None:
    late = records.request(at(8, 9), decided_at=at(8, 10), state="done", decision="reissue")
    records.mailed(late, date(2031, 10, 9), None, state="queued")
    friday = records.request(at(10, 9), decided_at=at(10, 10), state="done", decision="reissue")
    records.mailed(friday, date(2031, 10, 13), None, state="queued")
    records.done()
    assert count(now=at(9, 12)).speed.overdue == ()
    assert count(now=at(10, 12)).speed.overdue == (late.id,)
    assert count().speed.overdue == (late.id,)


def test_what_waits_is_shown_with_its_age_at_the_weeks_end(records: Any, count: Count) -> None:
    old = records.request(at(1, 0), proposal="read", two_people=True)
    new = records.request(at(12, 0), state="second")
    records.request(at(7, 0), state="filed", proposal="drop")
    records.request(at(7, 0), state="asked", proposal="ask_identity", decision="ask_identity", decided_at=at(7, 1))
    records.request(at(7, 0), state="done", decided_at=at(8, 0), decision="reissue")
    records.done()
    found = count()
    assert [(entry.request, entry.hours, entry.state) for entry in found.waiting] == [
        (old.id, 288, "waiting"),
        (new.id, 24, "second"),
    ]
    assert (found.oldest_hours, found.asked, found.waiting[0].two_people) == (288, 1, True)


def test_a_week_that_is_not_over_is_seen_as_of_now(records: Any, count: Count) -> None:
    records.request(at(6, 9))
    records.done()
    found = count(now=at(7, 9))
    assert (found.as_of, found.oldest_hours) == (at(7, 9), 24)


def test_a_request_decided_after_the_week_was_waiting_at_its_end(records: Any, count: Count) -> None:
    records.request(at(11, 0), state="done", decision="reissue", decided_at=at(14, 0))
    records.done()
    assert [entry.state for entry in count().waiting] == ["waiting"]


def test_decisions_that_differ_from_proposals_are_counted(records: Any, count: Count) -> None:
    for decision in ("reissue", "come_in", "come_in", "declined"):
        records.request(
            at(7, 0), state="declined" if decision == "declined" else "done", decision=decision, decided_at=at(7, 1),
            decision_note="no ballot of ours",
        )  # fmt: skip
    records.done()
    found = count()
    assert found.decisions == 4
    assert found.overrides == {("reissue", "come_in"): 2, ("reissue", "declined"): 1}
    assert [(entry.proposal, entry.note) for entry in found.declined] == [("reissue", "no ballot of ours")]


def test_reissues_voids_and_what_came_back_after_voiding(records: Any, count: Count) -> None:
    records.ballot("1", "V1", state="voided")
    records.ballot("7", "V1", replaces="1")
    records.event("voided", at(7, 9), "1", '{"from":"issued","reason":"spoiled","replaced_by":"7","style":"A"}')
    records.event("reissued", at(7, 9), "7", '{"reason":"spoiled","replaces":"1","style":"B"}')
    records.event("voided", at(8, 9), "2", '{"from":"issued","reason":"voted_in_person","style":"A"}')
    records.event("suspended", at(8, 9), "3", '{"from":"issued","reason":"lost","replaced_by":"8","style":"A"}')
    records.event("returned_after_void", at(9, 9), "1", '{"state":"voided"}')
    records.event("returned_again", at(9, 9), "1", '{"state":"voided"}')
    records.event("voided", at(13, 0), "4", '{"from":"issued","reason":"spoiled","style":"A"}')
    records.done()
    found = count()
    assert (found.reissues, found.reissues_by_cause, found.reissues_by_style) == (1, {"spoiled": 1}, {"B": 1})
    assert (found.voided, found.suspended) == (2, 1)
    assert found.voided_by_reason == {"spoiled": 1, "voted_in_person": 1, "lost": 1}
    assert found.unusual.voided_returned == ("1",)


def test_the_five_columns(records: Any, count: Count) -> None:
    for number in range(1, 6):
        records.ballot(f"{number}", f"V{number}", state="voided")
        records.ballot(f"7{number}", f"V{number}", replaces=f"{number}")
        records.event("reissued", at(7, 9), f"7{number}", '{"reason":"spoiled","style":"A"}')
    records.ballot("8", "V8", state="voided")
    records.ballot("9", "V8", replaces="8", state="returned")
    records.event("imported", at(6, 9), "9", '{"replaces":"8","state":"returned","style":"A"}')
    records.event("returned", at(8, 9), "1", '{"from":"issued","style":"A"}')  # an original: in no column
    for replacement in ("71", "72", "73"):
        records.event("returned", at(8, 9), replacement, '{"from":"issued","style":"A"}')
    records.event("accepted", at(8, 10), "71", '{"from":"returned","style":"A"}')
    records.event("import_changed", at(14, 9), "72", '{"from":"returned","state":"accepted","style":"A"}')
    records.event("challenged", at(8, 10), "73", '{"from":"returned","style":"A"}')
    records.event("voided", at(9, 10), "73", '{"from":"challenged","reason":"rejected","style":"A"}')
    records.request(at(6, 9), kinds=["not_received"])
    records.request(at(6, 9), kinds=["missing_materials"], issued_ballot="71")
    first = records.request(at(1, 9), kinds=["spoiled_ballot"])
    records.request(at(6, 9), kinds=["spoiled_ballot"], continues=first.id)
    records.request(at(6, 9), kinds=["question"])
    records.done()
    found = count()
    assert found.this_week == Columns(requested=2, issued=5, received=3, counted=1, rejected=1)
    assert found.to_date == Columns(requested=3, issued=6, received=4, counted=1, rejected=1)
    assert found.to_date.pending == 2
    assert count(date(2031, 10, 13)).to_date.counted == 2


def test_the_rate_of_a_day_is_held_against_limits(records: Any, count: Count) -> None:
    for number in range(200):
        records.event("imported", at(1, 9), f"{number}", '{"state":"issued","style":"A"}')
    records.event("imported", at(1, 9), "500", '{"state":"voided","style":"A"}')
    for number in range(30):
        records.event("voided", at(8, 9), f"{number}", '{"from":"issued","reason":"spoiled","style":"A"}')
        records.event("reissued", at(8, 9), f"7{number}", '{"reason":"spoiled","style":"A"}')
    for number in range(100, 180):
        records.event("returned", at(9, 9), f"{number}", '{"from":"issued","style":"A"}')
    records.done()
    found = count()
    assert [day.out for day in found.days] == [200, 200, 200, 200, 120, 120, 120]
    assert [day.reissues for day in found.days] == [0, 0, 30, 0, 0, 0, 0]
    wednesday = found.days[2].rate
    assert wednesday is not None
    assert (wednesday.value, wednesday.outside) == (150, True)
    days = 5 + 4 + 3 * 0.6  # October 1 to 12, those with 120 out weigh less
    assert found.mean_rate == pytest.approx(30 / (0.2 * days))


def test_a_day_that_has_not_begun_has_no_rate_and_bends_no_limit(records: Any, count: Count) -> None:
    for number in range(200):
        records.event("imported", at(1, 9), f"{number}", '{"state":"issued","style":"A"}')
    records.event("voided", at(8, 9), "1", '{"from":"issued","reason":"spoiled","style":"A"}')
    records.event("reissued", at(8, 9), "71", '{"reason":"spoiled","style":"A"}')
    records.done()
    found = count(now=at(8, 10))
    assert [day.rate is not None for day in found.days] == [True, True, True, False, False, False, False]
    assert found.mean_rate == pytest.approx(1 / (0.2 * 8))  # October 1 to 8


def test_one_address_for_several_voters_is_shown_without_the_address(records: Any, count: Count) -> None:
    ids = [
        records.request(at(day, 9), sender=sender, voter_id=voter).id
        for day, sender, voter in [
            (1, "a@mail.example", "V1"),
            (6, "A@mail.example", "V2"),
            (7, "a@mail.example", "V3"),
        ]
    ]
    for voter in ("V4", "V5"):
        records.request(at(6, 9), sender="b@mail.example", voter_id=voter)
    records.done()
    assert count().unusual.shared_addresses == (SharedAddress(3, tuple(ids)),)
    assert count(date(2031, 10, 13)).unusual.shared_addresses == ()


def test_voters_with_repeated_replacements_are_shown_without_the_cancelled_ones(records: Any, count: Count) -> None:
    for voter, numbers in {"V1": ("1", "2", "3"), "V2": ("4", "5")}.items():
        for before, number in zip((None, *numbers), numbers, strict=False):
            records.ballot(number, voter, state="voided", replaces=before, void_reason="spoiled")
    records.ballot("6", "V2", state="voided", replaces="4", void_reason="cancelled")
    records.done()
    assert count().unusual.repeated == (Repeated("V1", 2),)


@pytest.mark.parametrize(
    ("monday", "hours"),
    [
        (date(2031, 10, 27), 7 * 24 + 1),  # clocks go back on Sunday, November 2
        (date(2031, 3, 3), 7 * 24 - 1),  # clocks go forward on Sunday, March 9
        (date(2031, 12, 29), 7 * 24),  # the year ends on the Wednesday
    ],
)
def test_a_week_has_as_many_hours_as_the_clocks_give_it(records: Any, count: Count, monday: date, hours: int) -> None:
    first = datetime(monday.year, monday.month, monday.day, tzinfo=OFFICE)
    last_moment = first.astimezone(UTC) + timedelta(hours=hours, seconds=-1)
    records.request(first)
    records.request(last_moment)
    records.request(first - timedelta(seconds=1))
    records.request(last_moment + timedelta(seconds=1))
    records.done()
    found = count(monday, now=datetime(2033, 1, 1, tzinfo=UTC))
    assert found.requests == 2
    assert [day.requests for day in found.days] == [1, 0, 0, 0, 0, 0, 1]
    assert (found.as_of - first.astimezone(UTC)) == timedelta(hours=hours)
    assert found.days[6].day == found.last == monday + timedelta(days=6)
