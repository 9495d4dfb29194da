"""Mail is stored as the server announces it; if anything breaks, a little later, once, and the page says so."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from replacements.requests import intake
from tests.servers.between import bad_line
from tests.servers.dovecot import DovecotServer
from tests.servers.pymap import PymapServer
from tests.worker.conftest import MailOffice, OfficeOf, soon
from worker import watching
from worker.in_process import InProcess
from worker.mailbox import connection
from worker.watching import Watch, watched

LIVE = "mailbox, live"


def _mail(number: int) -> bytes:
    return f"From: ada@home.example\r\nSubject: {number}\r\n\r\nI tore my ballot.\r\n".encode()


@contextmanager
def _watching(office: MailOffice, renew: float = 60.0) -> Iterator[list[str]]:
    """Watch until the block ends; gives a row that grows each time somebody is woken."""
    woken: list[str] = []
    watch = Watch(office.work, lambda: woken.append("now"), renew=renew)
    watch.start()
    try:
        yield woken
    finally:
        watch.stop()


@pytest.fixture(params=["dovecot", "pymap"])
def server(request: pytest.FixtureRequest) -> DovecotServer | PymapServer:
    found: DovecotServer | PymapServer = request.getfixturevalue(request.param)
    return found


def test_a_mail_is_stored_within_three_seconds(server: DovecotServer | PymapServer, mail_office: OfficeOf) -> None:
    office = mail_office(server)
    with _watching(office) as woken:
        soon(lambda: office.told(LIVE)[1] != "")
        for number in range(3):  # one while IDLE begins, and others while it lasts
            server.append(_mail(number))
            assert soon(lambda expected=number + 1: len(office.stored()) == expected) < 3  # type: ignore[misc]
        soon(lambda: len(woken) == 3)
    assert office.stored() == [_mail(0), _mail(1), _mail(2)]
    assert office.told() == (True, "The mailbox was read.")
    assert office.told(LIVE) == (True, "The mail server announces new mail at once.")


def test_a_mail_that_comes_while_another_is_being_stored_does_not_wait_for_the_next_look(
    server: DovecotServer | PymapServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server announces it with its answers about the other one, and only once."""
    keep = intake.keep

    def meanwhile(*args: object, **named: object) -> intake.Kept:
        if len(office.stored()) < 3:
            server.append(_mail(len(office.stored()) + 1))
        return keep(*args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(intake, "keep", meanwhile)
    office = mail_office(server)
    server.append(_mail(0))
    with _watching(office):
        soon(lambda: office.told(LIVE)[1] != "")
        assert soon(lambda: len(office.stored()) == 4) < 15  # three in a row; the next look is a minute away


def test_a_mailbox_in_which_nothing_happens_is_left_in_peace(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    dovecot.append(_mail(1))
    with bad_line(dovecot) as line:
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office):
            soon(lambda: office.told(LIVE)[1] != "")
            time.sleep(4)
        assert sum(b"SELECT" in said for said in line.said) <= 3


def test_a_server_that_announces_nothing_is_looked_at_all_the_same(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    with bad_line(dovecot) as line:
        line.down = lambda text: b"" if text.rstrip().endswith((b"EXISTS", b"RECENT")) else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office, renew=2.0):
            soon(lambda: any(b"IDLE" in said for said in line.said))
            dovecot.append(_mail(1))
            soon(lambda: len(office.stored()) == 1)
        assert line.connections == 1


def test_a_server_without_idle_is_looked_at_every_few_seconds(
    dovecot: DovecotServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watching, "WITHOUT_IDLE_SECONDS", 1.0)
    with bad_line(dovecot) as line:
        line.down = lambda text: text.replace(b" IDLE", b"")
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office):
            soon(lambda: office.told(LIVE)[1] != "")
            dovecot.append(_mail(1))
            soon(lambda: len(office.stored()) == 1)
        assert not any(b"IDLE" in said for said in line.said)
        assert "does not announce" in office.told(LIVE)[1]


def test_a_server_that_falls_silent_in_idle_is_left_after_the_time_limit(
    dovecot: DovecotServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """DONE is never answered, as behind a router that has forgotten the connection."""
    monkeypatch.setattr(connection, "SECONDS", 2)
    with bad_line(dovecot) as line:
        line.up = lambda text: b"" if text == b"DONE\r\n" and line.connections == 1 else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office, renew=60.0):
            soon(lambda: line.connections == 2)
            dovecot.append(_mail(1))
            soon(lambda: len(office.stored()) == 1)
            soon(lambda: office.told()[0])


@pytest.mark.parametrize("at", [b"LOGIN", b"SELECT", b"SEARCH", b"FETCH", b"STORE", b"IDLE"])
def test_a_connection_cut_at_any_command_is_made_again_and_the_mail_is_stored_once(
    dovecot: DovecotServer, mail_office: OfficeOf, at: bytes
) -> None:
    dovecot.append(_mail(1))
    with bad_line(dovecot) as line:
        line.up = lambda text: None if at in text and line.connections == 1 else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office):
            soon(lambda: line.connections == 2 and office.told(LIVE)[0] and len(office.stored()) == 1)
    assert office.stored() == [_mail(1)]


def test_a_connection_cut_in_the_middle_of_a_message_stores_nothing_half(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    long = _mail(1) + b"torn, " * 20 + b"\r\n" + b"It is torn.\r\n" * 2000
    dovecot.append(long)
    with bad_line(dovecot) as line:
        line.down = lambda text: None if b"torn, torn" in text and line.connections == 1 else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office):
            soon(lambda: len(office.stored()) == 1)
    assert office.stored() == [long]


def test_a_server_that_ends_every_session_is_found_again(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    office = mail_office(dovecot)
    with _watching(office):
        soon(lambda: office.told(LIVE)[0] and office.told(LIVE)[1] != "")
        dovecot.hang_up()
        dovecot.append(_mail(1))
        soon(lambda: len(office.stored()) == 1)


def test_a_mailbox_that_cannot_be_reached_is_told_and_tried_less_and_less_often(
    dovecot: DovecotServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watching, "FIRST_WAIT", 0.2)
    with bad_line(dovecot) as line:
        line.up = lambda text: None
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        with _watching(office):
            took = soon(lambda: line.connections == 5)
            assert not office.told()[0]
            assert not office.told(LIVE)[0]
        assert took > 0.75 * (0.2 + 0.4 + 0.8 + 1.6)


def test_what_is_watched_is_not_read_by_the_scheduled_job_too(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    office = mail_office(dovecot)
    assert watched(office.work) == frozenset()
    with _watching(office):
        soon(lambda: office.told(LIVE)[1] != "")
        assert watched(office.work) == {"mailbox"}


def test_what_was_said_of_a_mailbox_that_is_read_no_more_is_taken_back(
    dovecot: DovecotServer, mail_office: OfficeOf, tmp_path: Path
) -> None:
    both = mail_office(dovecot, f"{dovecot.url} {dovecot.url.replace('INBOX', 'Nowhere')}")
    with _watching(both):
        soon(lambda: both.told("mailbox 2, live")[1] != "" and both.told(LIVE)[1] != "")
    office = mail_office(dovecot, f"maildir:{tmp_path}/mailbox")
    assert watched(office.work) == frozenset()  # at once, though the watcher was heard of a moment ago
    with _watching(office):
        assert office.told("mailbox 2") == office.told("mailbox 2, live") == office.told(LIVE) == (True, "")


def test_beside_the_pages_a_mail_is_stored_at_once_whatever_job_is_at_hand(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    office = mail_office(dovecot)
    runner = InProcess(office.work)
    seen = []

    def long_job(_: object) -> None:
        soon(lambda: office.told(LIVE)[1] != "")
        dovecot.append(_mail(1))
        seen.append(soon(lambda: len(office.stored()) == 1))

    runner.steps = {"check_books": long_job}
    runner.start()
    soon(lambda: seen != [])
    runner.stop()
    assert seen[0] < 3
