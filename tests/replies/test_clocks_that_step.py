"""The outbox when the machine's clock is put forward or back: no reply goes twice for it, and none waits for hours."""

from __future__ import annotations

from datetime import datetime, timedelta

from replacements.replies import outbox
from replacements.replies.limits import parse_limits
from replacements.replies.outbox import SendReport
from replacements.replies.transport import Transport
from replacements.store.database import Database
from replacements.store.tables import Reply
from tests.replies.test_outbox import NOON, Post, queue, row, send

LATER = NOON + timedelta(hours=3)


class Clock:
    """What time it is, as the test says."""

    def __init__(self) -> None:
        self.at = NOON

    def __call__(self) -> datetime:
        return self.at


def send_by(database: Database, transport: Transport, clock: Clock, limit: str = "1000/minute") -> SendReport:
    return outbox.send_due(
        database,
        transport,
        sender_name="Quillhaven County Elections",
        sender_address="ballots@quillhaven.example",
        now=clock.at,
        limits=parse_limits(limit),
        clock=clock,
    )


def test_a_clock_put_forward_during_a_round_hands_no_reply_to_a_second_sender(database: Database) -> None:
    """While the first sends its second reply, another sender comes, by the new time."""
    clock, numbers = Clock(), [queue(database, str(n)) for n in range(2)]
    other, went = Post(), list[str]()

    def between(to: str) -> None:
        went.append(to)
        if len(went) == 1:
            clock.at = LATER
        else:
            send_by(database, other, clock)

    assert send_by(database, Post(before=between), clock).sent == len(numbers)
    assert other.sent == []


def test_a_reply_put_off_by_a_clock_that_was_put_back_goes_now(database: Database) -> None:
    number = queue(database)
    with database.write() as session:
        session.get_one(Reply, number).next_try_at = LATER
    assert send(database, Post()).sent == 1


def test_a_reply_that_waits_its_hour_is_not_taken_for_one_put_off_by_a_wrong_clock(database: Database) -> None:
    number = queue(database)
    with database.write() as session:
        session.get_one(Reply, number).next_try_at = NOON + timedelta(hours=1)
    assert send(database, Post()).sent == 0
    assert row(database, number).state == "queued"


def test_what_a_second_sender_has_claimed_is_left_to_it_whatever_the_clock_says(database: Database) -> None:
    number = queue(database)
    with database.write() as session:
        reply = session.get_one(Reply, number)
        reply.state, reply.attempts, reply.next_try_at = "sending", 1, LATER
    assert send(database, Post()).sent == 0


def test_replies_that_went_by_a_clock_ahead_do_not_use_up_the_limit_of_now(database: Database) -> None:
    clock = Clock()
    queue(database, "1")
    clock.at = LATER
    assert send_by(database, Post(), clock, "1/minute").sent == 1
    queue(database, "2")
    clock.at = NOON
    assert send_by(database, Post(), clock, "1/minute").sent == 1
    queue(database, "3")
    assert send_by(database, Post(), clock, "1/minute").full
