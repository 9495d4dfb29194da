"""Everybody's first message is read before anybody's second, and each by one reader alone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from replacements.requests import intake, turns
from replacements.requests.turns import apparent_sender, next_to_read, turns_of
from replacements.store.database import Database
from replacements.store.tables import Message, RawMail
from tests.requests.conftest import MONDAY, set_up


def _mail(sender: str, number: int) -> bytes:
    return (
        f"From: {sender}\r\nTo: ballots@saltgrass.example\r\nSubject: hours\r\nMessage-ID: <{number}@post.example>\r\n"
        f"\r\nWhat are your hours on day {number}?\r\n"
    ).encode()


def _keep(database: Database, mails: list[bytes]) -> list[int]:
    """Their ids, in the order of the mails."""
    found = [
        intake.keep(database, raw, source="test", validity="1", uid=str(number), at=MONDAY)
        for number, raw in enumerate(mails, start=1)
    ]
    return [kept.message_id for kept in found]


def _order(database: Database, most: int = 100) -> list[int]:
    with database.read() as session:
        return next_to_read(session, most, begun_before=MONDAY)


def test_one_mail_behind_a_hundred_of_one_sender_is_read_second(database: Database) -> None:
    set_up(database)
    flood = [_mail("Busy <busy@post.example>", number) for number in range(100)]
    *many, ada = _keep(database, [*flood, _mail("ada@post.example", 100)])
    assert _order(database, 3) == [many[0], ada, many[1]]


def test_two_mails_of_one_sender_keep_their_order(database: Database) -> None:
    set_up(database)
    first, other, second = _keep(
        database, [_mail("ada@post.example", 1), _mail("bo@post.example", 2), _mail("Ada <ADA@post.example>", 3)]
    )
    assert _order(database) == [first, other, second]


def test_who_wrote_is_told_by_the_from_line_however_it_is_written() -> None:
    assert apparent_sender(b'Subject: x\r\nFROM: "Quill, Ada"\r\n <Ada@Post.example>\r\n\r\n') == "ada@post.example"
    assert apparent_sender(b"Subject: x\n\nFrom: ada@post.example\n") == ""
    assert apparent_sender(b"\xff\x00 no mail") == ""


def test_turns_count_for_each_sender() -> None:
    assert turns_of({7: "a", 3: "a", 5: "b"}) == {3: 0, 5: 0, 7: 1}


def test_what_one_reader_has_begun_another_leaves_alone_for_a_while(database: Database) -> None:
    set_up(database)
    first, second = _keep(database, [_mail("ada@post.example", 1), _mail("bo@post.example", 2)])
    with database.write() as session:  # as another reader does when it begins
        message = session.get_one(Message, first)
        message.attempts, message.reading_since = 1, MONDAY
    assert intake.read_waiting(database, now=lambda: MONDAY) == 1
    assert _states(database) == {first: "stored", second: "read"}
    assert intake.read_waiting(database, now=lambda: MONDAY + intake.LEFT_ALONE) == 1
    assert _states(database) == {first: "read", second: "read"}


def test_reading_ends_when_its_time_is_over_and_the_rest_is_read_next_time(database: Database) -> None:
    set_up(database)
    _keep(database, [_mail(f"voter{number}@post.example", number) for number in range(3)])
    assert intake.read_waiting(database, now=lambda: MONDAY, seconds=0.0) == 0
    assert intake.read_waiting(database, now=lambda: MONDAY) == 3


def test_mails_stored_together_are_as_if_each_were_stored_alone(database: Database) -> None:
    set_up(database)
    mails = [_mail("ada@post.example", number) for number in range(3)]
    before = intake.keep(database, mails[0], source="test", validity="1", uid="1", at=MONDAY)
    together = {"1": mails[0], "2": mails[1], "3": mails[2], "4": mails[2]}  # the last one was delivered twice
    for turn in range(2):  # and it may be done twice
        kept = intake.keep_together(database, together, source="test", validity="1", at=MONDAY)
        assert [kept[uid].new for uid in together] == ([False, True, True, False] if turn == 0 else [False] * 4)
        assert kept["1"].message_id == before.message_id
        assert kept["3"].message_id == kept["4"].message_id
    with database.read() as session:
        assert list(session.scalars(select(RawMail.raw).order_by(RawMail.message_id))) == mails
        assert set(session.scalars(select(Message.sender))) == {"ada@post.example"}
        assert intake.seen_among(session, source="test", validity="1", uids=["2", "4", "5"]) == {"2", "4"}


def test_of_two_readers_each_has_its_own(database: Database) -> None:
    set_up(database)
    ids = _keep(database, [_mail(f"voter{number}@post.example", number) for number in range(2)])
    claimed = [intake._claim(database, ids, now=MONDAY, begun_before=MONDAY - intake.LEFT_ALONE) for _ in range(3)]
    assert claimed == [*ids, None]


def test_what_was_broken_off_three_times_is_set_aside_by_the_next_reader(database: Database) -> None:
    set_up(database)
    [message_id] = _keep(database, [_mail("ada@post.example", 1)])
    for _ in range(turns.MOST_ATTEMPTS):  # the process ends after each
        assert intake._claim(database, [message_id], now=MONDAY) == message_id
    assert intake.read_waiting(database, now=lambda: MONDAY) == 0
    assert _states(database) == {message_id: "stored"}
    intake.read_waiting(database, now=lambda: MONDAY + intake.LONGEST_READING)
    assert _states(database) == {message_id: "failed"}


@pytest.mark.parametrize("attempts", [1, turns.MOST_ATTEMPTS])
def test_a_reading_begun_by_a_clock_that_was_put_back_since_waits_for_no_hours(
    database: Database, attempts: int
) -> None:
    set_up(database)
    [message_id] = _keep(database, [_mail("ada@post.example", 1)])
    for _ in range(attempts):  # the process ends after each
        assert intake._claim(database, [message_id], now=MONDAY + timedelta(hours=3)) == message_id
    intake.read_waiting(database, now=lambda: MONDAY)
    assert _states(database) == {message_id: "read" if attempts < turns.MOST_ATTEMPTS else "failed"}


def test_a_clock_a_little_ahead_keeps_what_it_reads(database: Database) -> None:
    set_up(database)
    [message_id] = _keep(database, [_mail("ada@post.example", 1)])
    assert intake._claim(database, [message_id], now=MONDAY + timedelta(minutes=2)) == message_id
    assert intake.read_waiting(database, now=lambda: MONDAY) == 0


def _states(database: Database) -> dict[int, str]:
    with database.read() as session:
        return dict(session.execute(select(Message.id, Message.state)).all())  # type: ignore[arg-type]
