"""The outbox: every reply goes once, or ends in a state that a person sees."""

from __future__ import annotations

import mailbox
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from replacements.replies import outbox
from replacements.replies.outbox import SendReport, UnusableAddress
from replacements.replies.texts import Rendered
from replacements.replies.transport import (
    MaildirTransport,
    PermanentTrouble,
    ServerTrouble,
    TemporaryTrouble,
    Transport,
)
from replacements.store.database import Database
from replacements.store.tables import Reply

NOON = datetime(2026, 10, 14, 16, 0, tzinfo=UTC)
TEXT = Rendered("reissue", "en", "Your new ballot", "Hello,\n\nit is on its way.\n", "<!DOCTYPE html><p>Hello</p>")


class Post:
    """A way out that keeps what it was given, and does first what the test wants."""

    def __init__(self, *, before: Callable[[str], None] = lambda to: None) -> None:
        self.sent: list[tuple[str, str, bytes]] = []
        self.before = before

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        self.before(to)
        self.sent.append((to, message_id, raw))


class Broken(Post):
    def __init__(self, trouble: Exception) -> None:
        super().__init__()
        self.trouble = trouble
        self.tries = 0

    def send(self, raw: bytes, *, to: str, sender: str, message_id: str) -> None:
        self.tries += 1
        raise self.trouble


def queue(database: Database, seed: str = "1", *, to: str = "voter@inbox.example", held: bool = False) -> int:
    with database.write() as session:
        return outbox.queue(
            session,
            election_id="2026-11-03-general",
            request_id=None,
            rendered=TEXT,
            to=to,
            in_reply_to="<first@inbox.example>",
            references="<zero@inbox.example> <first@inbox.example>",
            domain="quillhaven.example",
            seed=seed,
            at=NOON,
            held=held,
        )


def send(database: Database, transport: Transport, now: datetime = NOON, limit: int = 100) -> SendReport:
    return outbox.send_due(
        database,
        transport,
        sender_name="Quillhaven County Elections",
        sender_address="ballots@quillhaven.example",
        now=now,
        limit=limit,
    )


def row(database: Database, number: int) -> Reply:
    with database.read() as session:
        reply = session.scalars(select(Reply).where(Reply.id == number)).one()
        session.expunge(reply)
        return reply


def test_a_queued_reply_goes_out_once_in_its_thread(database: Database) -> None:
    number = queue(database)
    post = Post()
    assert send(database, post) == SendReport(sent=1)
    assert send(database, post, NOON + timedelta(days=1)) == SendReport()
    ((to, message_id, raw),) = post.sent
    assert to == "voter@inbox.example"
    assert message_id == row(database, number).message_id
    assert b"In-Reply-To: <first@inbox.example>" in raw
    assert b"<zero@inbox.example> <first@inbox.example>" in raw
    assert row(database, number).state == "sent"
    assert row(database, number).sent_at is not None


def test_queueing_the_same_reply_twice_is_one_reply(database: Database) -> None:
    assert queue(database, "7") == queue(database, "7")
    assert queue(database, "7") != queue(database, "8")
    assert send(database, Post()).sent == 2


def test_a_held_reply_waits_for_its_mailing(database: Database) -> None:
    number = queue(database, held=True)
    assert send(database, Post()).sent == 0
    with database.write() as session:
        assert outbox.release(session, reply_ids=[number], at=NOON) == 1
        assert outbox.release(session, reply_ids=[number], at=NOON) == 0
    assert send(database, Post()).sent == 1


def test_a_reply_taken_back_never_goes(database: Database) -> None:
    number = queue(database, held=True)
    with database.write() as session:
        assert outbox.cancel(session, reply_ids=[number], at=NOON) == 1
        assert outbox.release(session, reply_ids=[number], at=NOON) == 0
    assert send(database, Post()).sent == 0


def test_a_passing_trouble_is_tried_again_later_and_later_and_then_shown(database: Database) -> None:
    number = queue(database)
    post = Broken(TemporaryTrouble("The mailbox is busy."))
    now, waits = NOON, []
    for _ in range(outbox.MOST_TRIES - 1):
        assert send(database, post, now).later == 1
        assert send(database, post, now).later == 0  # not before its time
        waits.append((row(database, number).next_try_at - now).total_seconds() // 60)
        now = row(database, number).next_try_at
    assert waits == [1, 5, 15] + [60] * 8
    assert send(database, post, now) == SendReport(failed=1)
    assert row(database, number).state == "failed"
    assert "busy" in (row(database, number).error or "")
    assert post.tries == outbox.MOST_TRIES


def test_a_refused_address_is_shown_at_once_and_can_be_tried_again_by_a_person(database: Database) -> None:
    number = queue(database)
    assert send(database, Broken(PermanentTrouble("The address was refused."))) == SendReport(failed=1)
    assert row(database, number).error == "The address was refused."
    with database.write() as session:
        assert outbox.try_again(session, reply_ids=[number], at=NOON) == 1
    assert send(database, Post()).sent == 1


def test_a_server_that_takes_nothing_uses_up_no_tries_and_stops_the_round(database: Database) -> None:
    numbers = [queue(database, str(n)) for n in range(3)]
    post = Broken(ServerTrouble("The mail server cannot be reached."))
    report = send(database, post)
    assert (report.later, report.trouble) == (1, "The mail server cannot be reached.")
    assert post.tries == 1
    assert [row(database, n).attempts for n in numbers] == [0, 0, 0]
    assert {row(database, n).state for n in numbers} == {"queued"}


def test_a_reply_lost_in_a_crash_goes_after_ten_minutes_under_the_same_id(database: Database) -> None:
    number = queue(database)

    class Crash(BaseException):
        pass

    def crash(_to: str) -> None:
        raise Crash

    with pytest.raises(Crash):
        send(database, Post(before=crash))
    assert row(database, number).state == "sending"
    post = Post()
    assert send(database, post, NOON + timedelta(minutes=9)).sent == 0
    assert send(database, post, NOON + timedelta(minutes=11)).sent == 1
    assert post.sent[0][1] == row(database, number).message_id


def test_a_reply_that_crashes_every_time_is_shown_in_the_end(database: Database) -> None:
    number = queue(database)
    with database.write() as session:
        reply = session.get_one(Reply, number)
        reply.state, reply.attempts = "sending", outbox.MOST_TRIES
    assert send(database, Post()) == SendReport(failed=1)
    assert row(database, number).state == "failed"


def test_two_senders_at_once_send_every_reply_once(database: Database) -> None:
    for n in range(40):
        queue(database, str(n), to=f"voter{n}@inbox.example")
    post, start = Post(), threading.Barrier(3)
    reports: list[SendReport] = []

    def work() -> None:
        start.wait()
        reports.append(send(database, post))

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    send(database, post)
    assert sorted(to for to, _, _ in post.sent) == sorted(f"voter{n}@inbox.example" for n in range(40))
    assert len({message_id for _, message_id, _ in post.sent}) == 40


def test_a_slow_sender_does_not_undo_what_another_has_done_since(database: Database) -> None:
    number = queue(database)
    quick = Post()

    def slow(_to: str) -> None:
        assert send(database, quick, NOON + timedelta(minutes=20)).sent == 1
        raise PermanentTrouble("too late")

    send(database, Post(before=slow))
    assert row(database, number).state == "sent"


def test_at_most_so_many_go_in_one_round(database: Database) -> None:
    for n in range(5):
        queue(database, str(n))
    assert send(database, Post(), limit=3).sent == 3


@pytest.mark.parametrize(
    "address",
    [
        *(
            "",
            "nobody",
            "a@b.example\r\nBcc: c@d.example",
            "a@b.example, c@d.example",
            "<a@b.example>",
            "a b@c.example",
        ),
        *("a@b..example", "a@.example", "a@" + "b" * 64 + ".example", "a@\u0627b.example"),
        *("a@b\u2024.example", "a@b\uff0cc.example", "\ud800@b.example"),  # what becomes a sign when it is written out
    ],
)
def test_what_is_not_one_plain_address_is_not_queued(sqlite_database: Database, address: str) -> None:
    with pytest.raises(UnusableAddress) as found:
        queue(sqlite_database, to=address)
    assert not address or address not in str(found.value)  # the error may be logged, the address not


def test_the_same_sender_is_known_to_have_had_the_same_text(database: Database) -> None:
    queue(database, to="Voter@Inbox.example")
    with database.read() as session:
        week = NOON - outbox.SAME_AGAIN
        assert outbox.already_answered(session, to="voter@inbox.example", template="reissue", since=week)
        assert not outbox.already_answered(session, to="voter@inbox.example", template="mailed", since=week)
        assert not outbox.already_answered(session, to="other@inbox.example", template="reissue", since=week)
        later = NOON + timedelta(seconds=1)
        assert not outbox.already_answered(session, to="voter@inbox.example", template="reissue", since=later)


def test_a_maildir_holds_one_file_for_one_reply(sqlite_database: Database, tmp_path: Path) -> None:
    queue(sqlite_database)
    transport = MaildirTransport(tmp_path / "sent")
    assert send(sqlite_database, transport).sent == 1
    box = mailbox.Maildir(tmp_path / "sent", create=False)
    (key,) = box.keys()
    message = box[key]
    assert message["Subject"] == "Your new ballot"
    transport.send(b"again", to="", sender="", message_id=message["Message-ID"])
    assert len(box) == 1
    (moved,) = (tmp_path / "sent" / "new").iterdir()
    moved.rename(tmp_path / "sent" / "cur" / f"{moved.name}:2,S")
    transport.send(b"again", to="", sender="", message_id=message["Message-ID"])
    assert not list((tmp_path / "sent" / "new").iterdir())
