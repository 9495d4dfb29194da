"""A mailbox in which very much waits: fetched and stored together, in turns; a part that fails loses nothing."""

from __future__ import annotations

import re

import pytest

from replacements.requests import intake
from tests.servers.between import bad_line
from tests.servers.dovecot import DovecotServer
from tests.servers.pymap import PymapServer
from tests.worker.conftest import OfficeOf
from worker.mailbox import imap
from worker.mailbox.opening import open_source

COUNT = 30


def _mail(number: int, sender: str = "") -> bytes:
    sender = sender or f"voter{number}@home.example"
    return f"From: {sender}\r\nSubject: {number}\r\n\r\nI tore my ballot.\r\n".encode()


@pytest.fixture(params=["dovecot", "pymap"])
def server(request: pytest.FixtureRequest) -> DovecotServer | PymapServer:
    found: DovecotServer | PymapServer = request.getfixturevalue(request.param)
    return found


def _fill(server: DovecotServer | PymapServer, mails: list[bytes]) -> None:
    with server.client() as client:
        for raw in mails:
            client.append("INBOX", raw)


def test_all_are_stored_whole_and_in_order_and_marked(
    server: DovecotServer | PymapServer, mail_office: OfficeOf
) -> None:
    mails = [_mail(number) for number in range(COUNT)]
    mails[3] += b"I tore it twice.\r\n" * 20_000  # too large to be fetched with others
    _fill(server, mails)
    office = mail_office(server)
    assert [office.fetch(), office.fetch()] == [COUNT, 0]
    assert office.stored() == mails
    assert office.told()[0]


def test_the_server_is_asked_a_few_times_and_not_for_each_message(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    _fill(dovecot, [_mail(number) for number in range(COUNT)])
    asked: list[bytes] = []
    with bad_line(dovecot) as line:
        line.up = lambda text: asked.append(text) or text  # type: ignore[func-returns-value]
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        assert office.fetch() == COUNT
    assert len(asked) < COUNT


def test_where_the_server_refuses_them_together_each_is_fetched_alone(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    mails = [_mail(number) for number in range(COUNT)]
    _fill(dovecot, mails)
    with bad_line(dovecot) as line:
        line.up = lambda text: re.sub(rb"FETCH \d+[:,]\S+ \(BODY", b"FETCH 1 (NOTHING", text)
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        assert office.fetch() == COUNT
    assert office.stored() == mails


def test_where_the_connection_breaks_at_some_together_all_others_come_first_and_then_each_alone(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    _fill(dovecot, [_mail(number) for number in range(COUNT)])
    with bad_line(dovecot) as line:
        line.up = lambda text: None if re.search(rb"FETCH 1,\S+ \(BODY", text) else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        assert [office.fetch(), office.fetch()] == [0, COUNT]
    assert sorted(office.stored()) == sorted(_mail(number) for number in range(COUNT))
    assert office.stored()[0] == _mail(imap.MOST_TOGETHER)


def test_one_that_cannot_be_stored_with_the_others_holds_up_none(
    dovecot: DovecotServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    _fill(dovecot, [_mail(number) for number in range(COUNT)])
    office = mail_office(dovecot)
    fingerprint = intake.fingerprint

    def refusing(raw: bytes) -> str:
        if b"Subject: 7\r\n" in raw:
            raise ValueError("voter7@home.example")
        return fingerprint(raw)

    with monkeypatch.context() as broken:
        broken.setattr(intake, "fingerprint", refusing)
        assert office.fetch() == COUNT - 1
    ok, text = office.told()
    assert not ok
    assert "could not be stored" in text
    assert "voter7" not in text
    assert office.fetch() == 1
    assert office.told()[0]


def test_where_very_many_wait_one_senders_many_come_behind_the_others(
    server: DovecotServer | PymapServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imap, "MANY", 20)
    busy = [_mail(number, "Busy <busy@home.example>") for number in range(COUNT)]
    _fill(server, [*busy, _mail(98), _mail(99)])
    source = open_source(mail_office(server).work.settings)
    order = [found.raw for found in source.new_messages(lambda _validity, _uid: False)]
    source.close()
    assert order == [busy[0], _mail(98), _mail(99), *busy[1:]]
