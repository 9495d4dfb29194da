"""Every reply goes once, by a real mail server, and lies in the folder of sent mail, whatever breaks."""

from __future__ import annotations

import shlex
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from replacements import access_tokens
from replacements.replies import outbox, pausing
from replacements.replies.texts import Rendered
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Condition, Reply
from tests.requests.conftest import MONDAY, OfficeAtWork, county  # noqa: F401 - a fixture
from tests.servers.dovecot import DovecotServer
from tests.servers.pymap import PymapServer
from tests.servers.smtp import SmtpServer
from worker import jobs
from worker.jobs import Work

TEXT = Rendered("reissue", "en", "Your new ballot", "Hello,\n\nit is on its way.\n", "<!DOCTYPE html><p>Hello</p>")
VOTER = "voter@inbox.example"


class Sending:
    """An office that sends by this SMTP server, at the time that the test says."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self.at = MONDAY
        self.work = Work(database, settings, lambda: self.at)

    def queue(self, seed: str = "1") -> int:
        with self.work.database.write() as session:
            return outbox.queue(
                session,
                election_id="2026-11-03-general",
                request_id=None,
                rendered=TEXT,
                to=VOTER,
                in_reply_to="",
                references="",
                domain="county.example",
                seed=seed,
                at=self.at,
            )

    def send(self, after: timedelta = timedelta()) -> int:
        self.at += after
        return jobs.send_replies(self.work)

    def row(self, number: int) -> Reply:
        with self.work.database.read() as session:
            reply = session.scalars(select(Reply).where(Reply.id == number)).one()
            session.expunge(reply)
            return reply

    def told(self, name: str = "outbox") -> tuple[bool, str]:
        with self.work.database.read() as session:
            found = session.get_one(Condition, name)
            return found.ok, found.text

    def with_settings(self, **changed: str) -> None:
        settings = replace(self.work.settings, **changed)  # type: ignore[arg-type]
        self.work = Work(self.work.database, settings, lambda: self.at)


@pytest.fixture
def sending(
    sqlite_database: Database,
    county: Callable[..., OfficeAtWork],  # noqa: F811
    tmp_path: Path,
    smtp_server: SmtpServer,
) -> Sending:
    county(sqlite_database)
    settings = Settings.from_environment({}, data=tmp_path)
    return Sending(sqlite_database, replace(settings, outbox=smtp_server.url))


@pytest.fixture(params=["dovecot", "pymap"])
def server(request: pytest.FixtureRequest, sending: Sending) -> DovecotServer | PymapServer:
    """The office's mailbox."""
    found: DovecotServer | PymapServer = request.getfixturevalue(request.param)
    sending.with_settings(mailbox=found.url, mailbox_password=found.password, ca_file=found.ca_file)
    return found


def _sent(server: DovecotServer | PymapServer, folder: str = "Sent") -> list[str]:
    """Message-IDs in the folder of sent mail."""
    with server.client() as client:
        if not client.folder_exists(folder):
            return []
        client.select_folder(folder, readonly=True)
        found = client.fetch(client.search("ALL"), ["ENVELOPE"]).values()
        return sorted(one[b"ENVELOPE"].message_id.decode() for one in found)


def test_every_reply_that_goes_lies_in_the_folder_of_sent_mail(
    sending: Sending, smtp_server: SmtpServer, server: DovecotServer | PymapServer
) -> None:
    numbers = [sending.queue(seed) for seed in "12"]
    assert sending.send() == 2
    assert _sent(server) == sorted(sending.row(number).message_id for number in numbers)
    assert sending.told() == (True, "Nothing waits.")
    assert sending.send(timedelta(hours=1)) == 0
    assert len(_sent(server)) == len(smtp_server.delivered) == 2


def test_a_reply_that_went_before_a_crash_is_found_there_and_not_sent_again(
    sending: Sending,
    smtp_server: SmtpServer,
    server: DovecotServer | PymapServer,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    number = sending.queue()
    settle = outbox._settle

    def fails(database: Database, claim: outbox._Claim, **values: object) -> None:
        if values["state"] == "sent":
            raise ConnectionError("the database is away")
        settle(database, claim, **values)

    with monkeypatch.context() as broken:
        broken.setattr(outbox, "_settle", fails)
        with pytest.raises(ConnectionError):
            sending.send()
    assert sending.row(number).state == "sending"
    assert sending.send(timedelta(minutes=9)) == 0
    assert sending.send(timedelta(minutes=2)) == 1
    assert sending.row(number).state == "sent"
    assert len(smtp_server.delivered) == 1
    assert len(_sent(server)) == 1


def test_a_server_that_is_gone_after_the_message_has_sent_it_where_the_folder_says_so(
    sending: Sending, smtp_server: SmtpServer, server: DovecotServer | PymapServer
) -> None:
    """Some providers file what they send by themselves."""
    number = sending.queue()
    smtp_server.hangs_up = True
    assert sending.send() == 0
    assert sending.row(number).state == "queued"
    assert "It may have gone" in (sending.row(number).error or "")
    with server.client() as client:
        if not client.folder_exists("Sent"):
            client.create_folder("Sent")
        client.append("Sent", smtp_server.delivered[0].raw)
    smtp_server.hangs_up = False
    assert sending.send(timedelta(minutes=2)) == 1
    assert sending.row(number).state == "sent"
    assert len(smtp_server.delivered) == len(_sent(server)) == 1


def test_a_server_that_is_gone_after_the_message_gets_it_again_under_the_same_id_where_nothing_says_it_went(
    sending: Sending, smtp_server: SmtpServer, server: DovecotServer | PymapServer
) -> None:
    sending.queue()
    smtp_server.hangs_up = True
    sending.send()
    smtp_server.hangs_up = False
    assert sending.send(timedelta(minutes=2)) == 1
    ids = {one.message["Message-ID"] for one in smtp_server.delivered}
    assert len(smtp_server.delivered) == 2
    assert len(ids) == 1
    assert _sent(server) == list(ids)


def test_what_may_have_gone_waits_while_the_folder_of_sent_mail_cannot_be_asked(
    sending: Sending, smtp_server: SmtpServer, dovecot: DovecotServer
) -> None:
    sending.with_settings(mailbox=dovecot.url, mailbox_password="wrong", ca_file=dovecot.ca_file)
    number = sending.queue()
    smtp_server.hangs_up = True
    sending.send()
    smtp_server.hangs_up = False
    assert sending.send(timedelta(minutes=2)) == 0
    assert len(smtp_server.delivered) == 1
    sending.with_settings(mailbox_password=dovecot.password)
    assert sending.send(timedelta(minutes=30)) == 1
    assert sending.row(number).state == "sent"


def test_a_copy_that_cannot_be_filed_holds_up_no_reply_and_is_filed_later(
    sending: Sending, smtp_server: SmtpServer, server: DovecotServer | PymapServer
) -> None:
    sending.with_settings(mailbox_password="wrong")
    number = sending.queue()
    assert sending.send() == 1
    assert sending.row(number).state == "sent"
    ok, text = sending.told()
    assert not ok
    assert "Replies were sent, and copies are missing" in text
    sending.with_settings(mailbox_password=server.password)
    assert sending.send(timedelta(minutes=11)) == 0
    assert _sent(server) == [sending.row(number).message_id]
    assert sending.told()[0]
    sending.send(timedelta(minutes=11))
    assert len(smtp_server.delivered) == len(_sent(server)) == 1


def test_a_folder_of_sent_mail_that_is_full_is_told(
    sending: Sending, smtp_server: SmtpServer, dovecot: DovecotServer
) -> None:
    with dovecot.client() as client:
        client.create_folder("Archive/Sent")
        client.append("Archive/Sent", b"Subject: old\r\n\r\n" + b"x" * 1960)
    sending.with_settings(
        mailbox=dovecot.url, mailbox_password=dovecot.password, ca_file=dovecot.ca_file, sent="Archive/Sent"
    )
    sending.queue()
    assert sending.send() == 1
    assert "no room left" in sending.told()[1]
    assert len(smtp_server.delivered) == 1


@pytest.mark.parametrize("sent", ["no", "Replies"])
def test_the_office_says_which_folder_gets_copies_or_that_none_does(
    sending: Sending, dovecot: DovecotServer, sent: str
) -> None:
    sending.with_settings(mailbox=dovecot.url, mailbox_password=dovecot.password, ca_file=dovecot.ca_file, sent=sent)
    sending.queue()
    assert sending.send() == 1
    assert len(_sent(dovecot, "Replies")) == (sent == "Replies")
    assert _sent(dovecot) == []


def test_a_refusal_for_now_is_tried_again_and_one_for_good_goes_to_a_person(
    sending: Sending, smtp_server: SmtpServer
) -> None:
    number = sending.queue()
    smtp_server.answers[VOTER] = "450 4.2.1 later"
    sending.send()
    assert sending.row(number).state == "queued"
    assert sending.send(timedelta(seconds=50)) == 0
    smtp_server.answers[VOTER] = "550 5.1.1 unknown"
    sending.send(timedelta(minutes=2))
    assert sending.row(number).state == "failed"
    ok, text = sending.told()
    assert not ok
    assert VOTER not in text


def test_a_message_that_the_server_refuses_as_a_whole_for_now_is_tried_again(
    sending: Sending, smtp_server: SmtpServer
) -> None:
    sending.queue()
    smtp_server.after_data = "451 4.3.0 later"
    assert sending.send() == 0
    smtp_server.after_data = ""
    assert sending.send(timedelta(minutes=2)) == 1


def test_while_sending_is_paused_nothing_goes_and_everybody_sees_why(sending: Sending, smtp_server: SmtpServer) -> None:
    sending.queue()
    with sending.work.database.write() as session:
        pausing.pause(session, by="sue", why="A text names the wrong day.", at=sending.at)
    assert sending.send() == 0
    ok, text = sending.told(pausing.NAME)
    assert not ok
    assert "paused by sue: A text names the wrong day" in text
    with sending.work.database.write() as session:
        assert pausing.go_on(session, by="sam", at=sending.at)
        assert not pausing.go_on(session, by="sam", at=sending.at)
    assert sending.told(pausing.NAME)[0]
    assert sending.send() == 1
    assert len(smtp_server.delivered) == 1


def test_a_pause_stops_a_round_that_is_under_way(
    sending: Sending, smtp_server: SmtpServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    for seed in "123":
        sending.queue(seed)
    settle = outbox._settle

    def then_pause(database: Database, claim: outbox._Claim, **values: object) -> None:
        settle(database, claim, **values)
        with database.write() as session:
            pausing.pause(session, by="sue", why="stop", at=sending.at)

    monkeypatch.setattr(outbox, "_settle", then_pause)
    assert sending.send() == 1
    assert len(smtp_server.delivered) == 1


def test_no_more_go_than_the_provider_allows_and_the_rest_follow(sending: Sending, smtp_server: SmtpServer) -> None:
    sending.with_settings(outbox_limit="2/minute 3/hour")
    for seed in "12345":
        sending.queue(seed)
    assert sending.send() == 2
    ok, text = sending.told()
    assert ok
    assert "the rest follow" in text
    assert sending.send(timedelta(seconds=30)) == 0
    assert sending.send(timedelta(minutes=2)) == 1
    assert sending.send(timedelta(minutes=2)) == 0
    assert sending.send(timedelta(hours=1)) == 2
    assert len(smtp_server.delivered) == 5


@pytest.mark.parametrize("limit", ["many", "0/minute", "5/week", "5"])
def test_a_limit_that_cannot_be_understood_stops_sending_and_is_told(
    sending: Sending, smtp_server: SmtpServer, limit: str
) -> None:
    sending.with_settings(outbox_limit=limit)
    sending.queue()
    assert sending.send() == 0
    assert "REPLACEMENTS_OUTBOX_LIMIT" in sending.told()[1]
    assert smtp_server.delivered == []


def test_an_access_token_that_has_expired_is_fetched_anew(
    sending: Sending, smtp_server: SmtpServer, tmp_path: Path
) -> None:
    at_hand = tmp_path / "token"
    command = shlex.join(["cat", str(at_hand)])
    access_tokens.forget(command)
    sending.with_settings(
        outbox=smtp_server.url.replace("//", "//ballots%40county.example@"), outbox_token_command=command
    )
    for day, seed in (("monday", "1"), ("tuesday", "2")):
        at_hand.write_text(f"{day}-token\n", encoding="ascii")
        smtp_server.tokens = {f"{day}-token"}
        sending.queue(seed)
        assert sending.send() == 1
    assert smtp_server.refused == 1
    smtp_server.tokens = set()
    number = sending.queue("3")
    assert sending.send() == 0
    assert sending.row(number).state == "queued"
    ok, text = sending.told()
    assert not ok
    assert "access token" in text
    assert "tuesday-token" not in text
    at_hand.unlink()
    sending.send(timedelta(minutes=5))
    assert "REPLACEMENTS_OUTBOX_TOKEN_COMMAND" in sending.told()[1]


def test_two_senders_at_once_send_and_file_each_reply_once(
    sending: Sending, smtp_server: SmtpServer, server: DovecotServer | PymapServer
) -> None:
    """As when a queue hands the same task out again while the first still runs."""
    numbers = [sending.queue(str(seed)) for seed in range(6)]
    threads = [threading.Thread(target=sending.send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    sending.send(timedelta(minutes=30))
    assert len(smtp_server.delivered) == 6
    assert _sent(server) == sorted(sending.row(number).message_id for number in numbers)


def test_the_moment_of_the_copy_is_the_moment_of_sending(sending: Sending, dovecot: DovecotServer) -> None:
    sending.with_settings(mailbox=dovecot.url, mailbox_password=dovecot.password, ca_file=dovecot.ca_file)
    sending.queue()
    sending.send()
    with dovecot.client() as client:
        client.select_folder("Sent", readonly=True)
        (found,) = client.fetch([1], ["INTERNALDATE", "FLAGS"]).values()
    when: datetime = found[b"INTERNALDATE"].astimezone(MONDAY.tzinfo)
    assert abs(when - MONDAY) < timedelta(seconds=2)
    assert b"\\Seen" in found[b"FLAGS"]
