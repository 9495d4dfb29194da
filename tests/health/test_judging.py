"""When a part of the service is behind, when it is broken, and that one part's trouble is laid at no other's door."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from replacements.health.judging import GIGABYTE, judge, little
from replacements.health.telling import as_json, in_a_word, status
from replacements.health.types import Counted, Disk, Figures, Part, Said, State
from tests.health.healthy import ALL_WELL, DAY, HOUR, MINUTE, NOW, found, where, where_work

SECOND = timedelta(seconds=1)


def test_where_all_is_well_every_part_is_spoken_of_and_in_order() -> None:
    health = judge(ALL_WELL)
    assert {one.part for one in health.findings} == set(Part)
    assert [one for one in health.findings if one.state is not State.WORKING] == []
    assert (health.in_order, health.serves, status(health), in_a_word(health)) == (True, True, "pass", "working")


def _said(name: str, *, ok: bool = True, before: timedelta = MINUTE, text: str = "It says so.") -> Said:
    return Said(name, ok, text, NOW - before)


TROUBLES: list[tuple[Part, State, Figures]] = [
    (Part.DATABASE, State.BROKEN, where(database_trouble="It does not answer.", stored=None)),
    (Part.SCHEMA, State.BROKEN, where(schema="0012", stored=None)),
    (Part.SCHEMA, State.BROKEN, where(schema="9999", schema_known=False, stored=None)),
    (Part.SCHEMA, State.BROKEN, where(schema=None, stored=None)),
    (Part.REDIS, State.BEHIND, where(redis="Redis does not answer.")),
    (Part.QUEUES, State.BEHIND, where(queues={"intake": Counted(), "nightly": Counted(17, NOW - 16 * MINUTE)})),
    (Part.MAILBOX, State.BEHIND, where_work(mailboxes=())),
    (Part.MAILBOX, State.BEHIND, where_work(mailboxes=(_said("mailbox", ok=False),))),
    (Part.MAILBOX, State.BEHIND, where_work(mailboxes=(_said("mailbox", before=16 * MINUTE),))),
    (Part.MAILBOX, State.BEHIND, where_work(mailboxes=(_said("mailbox"), _said("mailbox 2", before=HOUR)))),
    (Part.READING, State.BEHIND, where_work(to_read=Counted(4, NOW - 16 * MINUTE))),
    (Part.SET_ASIDE, State.BEHIND, where_work(messages={"failed": 3}, set_aside_open=1)),
    (Part.REPLIES, State.BEHIND, where_work(replies={"failed": 1})),
    (Part.REPLIES, State.BEHIND, where_work(due=Counted(2, NOW - 16 * MINUTE))),
    (Part.REPLIES, State.BEHIND, where_work(sending=_said("sending", ok=False))),
    (Part.REPLIES, State.BEHIND, where_work(outbox=_said("outbox", ok=False))),
    (Part.MAILING, State.BEHIND, where_work(not_closed=(date(2026, 10, 13),))),
    (Part.MAILING, State.BEHIND, where_work(unsigned=(date(2026, 10, 13),))),
    (Part.LEDGER, State.BEHIND, where_work(books=None)),
    (Part.LEDGER, State.BEHIND, where_work(books=_said("reconciliation", before=14 * HOUR))),
    (Part.LEDGER, State.BROKEN, where_work(books=_said("reconciliation", ok=False))),
    (Part.BACKUP, State.BEHIND, where_work(backup=None)),
    (Part.BACKUP, State.BEHIND, where_work(backup=_said("backup", ok=False))),
    (Part.BACKUP, State.BEHIND, where_work(backup=_said("backup", before=2 * DAY))),
    (Part.DISK, State.BEHIND, where(disks=(Disk("data", GIGABYTE - 1, 8 * GIGABYTE),))),
    (Part.DISK, State.BROKEN, where(disks=(Disk("data", 10**7, 8 * GIGABYTE),))),
    (Part.CLOCK, State.BEHIND, where(apart=11 * SECOND)),
    (Part.CLOCK, State.BEHIND, where_work(newest_at=NOW + HOUR)),
    (Part.CLOCK, State.BROKEN, where_work(zone_trouble="This machine does not know the zone.")),
    (Part.KEYS, State.BROKEN, where_work(keys_trouble="A key is missing.")),
    (Part.JOBS, State.BEHIND, where_work(others=(_said("close_mailings", ok=False),))),
]


@pytest.mark.parametrize(("part", "state", "figures"), TROUBLES, ids=[f"{n}-{t[0]}" for n, t in enumerate(TROUBLES)])
def test_each_trouble_is_found_in_its_own_part_and_nowhere_else(part: Part, state: State, figures: Figures) -> None:
    health = judge(figures)
    assert {(one.part, one.state) for one in health.findings if not one.in_order} == {(part, state)}
    assert not health.in_order
    assert in_a_word(health) == "behind"


def test_every_part_has_a_trouble_in_these_tests() -> None:
    assert {part for part, _, _ in TROUBLES} == set(Part)


RIGHT: list[tuple[Part, Figures]] = [
    (Part.REDIS, where(redis=None, queues={})),
    (Part.QUEUES, where(redis=None, queues={})),
    (Part.QUEUES, where(queues={"reading": Counted(60, NOW - 14 * MINUTE)})),
    (Part.QUEUES, where(queues={"reading": Counted(2)})),  # handed out by a version that did not say when
    (Part.MAILBOX, where_work(mailboxes=(_said("mailbox", before=14 * MINUTE),))),
    (Part.READING, where_work(to_read=Counted(400, NOW - 14 * MINUTE))),
    (Part.READING, where_work(to_read=Counted(4, NOW - DAY), rules_loaded=False)),
    (Part.SET_ASIDE, where_work(messages={"failed": 3})),
    (Part.REPLIES, where_work(replies={"held": 40}, due=Counted(4, NOW - MINUTE))),
    (Part.MAILING, where_work(mailings=())),
    (Part.LEDGER, where_work(books=_said("reconciliation", before=12 * HOUR))),
    (Part.LEDGER, where_work(books=None, rules_loaded=False)),
    (Part.BACKUP, where_work(backup=_said("backup", before=30 * HOUR))),
    (Part.BACKUP, where(backups_set=False)),
    (Part.DISK, where(disks=())),
    (Part.CLOCK, where(apart=SECOND)),
    (Part.CLOCK, where_work(newest_at=NOW + SECOND)),
    (Part.KEYS, where_work(sealed=False)),
    (Part.JOBS, where_work(others=(_said("close_mailings"),))),
]


@pytest.mark.parametrize(("part", "figures"), RIGHT, ids=[f"{n}-{r[0]}" for n, r in enumerate(RIGHT)])
def test_what_the_schedule_or_the_offices_choice_explains_is_no_trouble(part: Part, figures: Figures) -> None:
    assert found(figures, part).in_order
    assert judge(figures).in_order


@pytest.mark.parametrize(
    ("free", "size", "short"),
    [(2, 8, False), (0.9, 8, True), (4, 100, True), (6, 100, False), (9, 4000, True), (11, 4000, False)],
)
def test_a_disk_runs_full_by_its_size_and_ten_gigabytes_are_never_little(free: float, size: int, short: bool) -> None:
    disk = Disk("data", int(free * GIGABYTE), size * GIGABYTE)
    assert (disk.free < little(disk)) is short


def test_only_what_nothing_works_without_makes_the_machines_answer_fail() -> None:
    failing = {part for part, _, figures in TROUBLES if status(judge(figures)) == "fail"}
    assert failing == {Part.DATABASE, Part.SCHEMA, Part.KEYS}
    assert {status(judge(figures)) for part, _, figures in TROUBLES if part not in failing} == {"warn"}


def test_without_a_database_the_machine_is_spoken_of_still() -> None:
    health = judge(where(database_trouble="It does not answer.", schema=None, redis="", stored=None))
    assert {one.part for one in health.findings} == {Part.DATABASE, Part.SCHEMA, Part.REDIS, Part.QUEUES, Part.DISK}


def test_each_state_says_how_long_and_how_many() -> None:
    reading = found(where_work(to_read=Counted(4, NOW - 3 * HOUR)), Part.READING)
    assert reading.words == "4 messages wait to be read, the oldest for 3 hours."
    one = found(where_work(to_read=Counted(1, NOW - MINUTE)), Part.READING)
    assert one.words == "1 message waits to be read, the oldest for 1 minute."
    waits = where(
        queues={"reading": Counted(1, NOW - SECOND), "nightly": Counted(17, NOW - HOUR), "replies": Counted(2)}
    )
    assert found(waits, Part.QUEUES).words == (
        "Queue reading: 1 task waits for a worker, the oldest for 1 second. "
        "Queue nightly: 17 tasks wait for a worker, the oldest for 1 hour. "
        "Queue replies: 2 tasks wait for a worker. "
        "See whether a worker of nightly runs. No work is lost: the database knows it."
    )
    assert found(where(redis="Redis does not answer.", queues={}), Part.QUEUES).state is State.UNUSED
    assert "closes in 3 hours: 7 packets in it, 2 requests undecided" in found(ALL_WELL, Part.MAILING).words
    assert found(ALL_WELL, Part.LEDGER).words.startswith("Verified and reconciled 2 hours ago.")
    assert found(ALL_WELL, Part.MAILBOX).words == "The mailbox was read 1 minute ago."


def test_as_an_object_each_part_has_a_status_and_words() -> None:
    told: dict[str, Any] = as_json(judge(where_work(books=_said("reconciliation", ok=False, text="Entry 7 is wrong."))))
    assert told["status"] == "warn"
    assert told["checks"]["ledger"][0]["status"] == "fail"
    assert "Entry 7 is wrong." in told["checks"]["ledger"][0]["output"]
    assert set(told["checks"]) == {part.value for part in Part}
