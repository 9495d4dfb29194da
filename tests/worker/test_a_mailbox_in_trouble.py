"""What happens to mail in a mailbox that people, programs and servers meddle with: it is stored, whole and once."""

from __future__ import annotations

import shlex
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from replacements import access_tokens
from replacements.requests import intake
from tests.servers.between import bad_line
from tests.servers.dovecot import DovecotServer
from tests.servers.pymap import PymapServer
from tests.worker.conftest import MailOffice, OfficeOf
from worker.mailbox import imap
from worker.mailbox.opening import open_source
from worker.mailbox.source import Found, MailboxTrouble
from worker.mailbox.taking_in import take_in


def _mail(number: int) -> bytes:
    return f"From: ada@home.example\r\nSubject: {number}\r\n\r\nI tore my ballot.\r\n".encode()


@pytest.fixture(params=["dovecot", "pymap"])
def server(request: pytest.FixtureRequest) -> DovecotServer | PymapServer:
    found: DovecotServer | PymapServer = request.getfixturevalue(request.param)
    return found


def test_each_look_stores_what_is_new_once(server: DovecotServer | PymapServer, mail_office: OfficeOf) -> None:
    office = mail_office(server)
    server.append(_mail(1))
    assert [office.fetch(), office.fetch()] == [1, 0]
    server.append(_mail(2))
    assert [office.fetch(), office.fetch()] == [1, 0]
    assert office.stored() == [_mail(1), _mail(2)]


def test_a_folder_made_anew_under_an_open_connection_is_read_anew(
    server: DovecotServer | PymapServer, mail_office: OfficeOf
) -> None:
    server.make_anew("Ballots")
    office = mail_office(server, server.url.replace("INBOX", "Ballots"))
    work = office.work
    server.append(_mail(1), "Ballots")
    source = open_source(work.settings)
    assert take_in(work.database, source, now=work.now).new == 1
    server.make_anew("Ballots")
    server.append(_mail(2), "Ballots")
    if take_in(work.database, source, now=work.now).trouble:  # a server may end the connection at this
        source.close()
        source = open_source(work.settings)
        take_in(work.database, source, now=work.now)
    source.close()
    assert office.stored() == [_mail(1), _mail(2)]


@pytest.mark.parametrize("to", ["", "Elsewhere"])
def test_a_message_that_somebody_takes_away_between_search_and_fetch_holds_up_no_other(
    server: DovecotServer | PymapServer, mail_office: OfficeOf, to: str
) -> None:
    uid = server.append(_mail(1))
    server.append(_mail(2))
    office = mail_office(server)

    def taken_away(_validity: str, asked: str) -> bool:
        if asked == str(uid):
            with server.client() as client:
                client.select_folder("INBOX")
                if to:
                    client.create_folder(to)
                    client.move([uid], to)
                else:
                    client.delete_messages([uid])
                    client.expunge()
        return False

    source = open_source(office.work.settings)
    assert [found.raw for found in source.new_messages(taken_away)] == [_mail(2)]
    assert source.told == ""
    source.close()


def test_a_message_moved_to_another_folder_that_is_read_is_stored_once(
    server: DovecotServer | PymapServer, mail_office: OfficeOf
) -> None:
    server.make_anew("Not read yet")
    both = f"{server.url} {server.url.replace('INBOX', 'Not%20read%20yet')}"
    office = mail_office(server, both)
    uid = server.append(_mail(1))
    server.append(_mail(2), "Not read yet")
    assert office.fetch() == 2
    with server.client() as client:
        client.select_folder("INBOX")
        client.move([uid], "Not read yet")
    assert office.fetch() == 0
    assert len(office.stored()) == 2


def test_one_folder_in_trouble_keeps_no_other_from_being_read(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    office = mail_office(dovecot, f"{dovecot.url.replace('INBOX', 'Nowhere')} {dovecot.url}")
    dovecot.append(_mail(1))
    assert office.fetch() == 1
    assert "has no folder Nowhere" in office.told()[1]
    assert office.told("mailbox 2")[0]


def test_a_message_moves_to_the_folder_for_stored_ones_only_after_it_is_stored(
    server: DovecotServer | PymapServer, mail_office: OfficeOf
) -> None:
    office = mail_office(server, mailbox_kept="Taken in")
    server.append(_mail(1))
    source = open_source(office.work.settings)
    found = next(iter(source.new_messages(lambda _validity, _uid: False)))
    source.put_away()
    assert server.messages() == 1
    source.close()
    assert found.raw == _mail(1)
    assert office.fetch() == 1  # the folder is made where it is missing
    assert (server.messages(), server.messages("Taken in")) == (0, 1)


def test_a_server_without_move_copies_and_removes_that_message_alone(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    with dovecot.client() as client:
        client.create_folder("Taken in")
    other = dovecot.append(_mail(1))
    dovecot.append(_mail(2))
    with bad_line(dovecot) as line:
        line.down = lambda text: text.replace(b" MOVE", b"")
        url = dovecot.url.replace(str(dovecot.port), str(line.port))
        office = mail_office(dovecot, url)
        assert office.fetch() == 2
        with dovecot.client() as client:  # a person means to delete this one, and has not yet
            client.select_folder("INBOX")
            client.delete_messages([other])
        mail_office(dovecot, url, mailbox_kept="Taken in").fetch()
    assert dovecot.messages("Taken in") == 1
    assert dovecot.messages() == 1


def test_where_the_folder_for_stored_messages_is_full_they_stay_and_the_page_says_so(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    with dovecot.client() as client:
        client.create_folder("Archive/Taken in")
        client.append("Archive/Taken in", b"Subject: old\r\n\r\n" + b"x" * 1960)
    office = mail_office(dovecot, mailbox_kept="Archive/Taken in")
    dovecot.append(_mail(1))
    dovecot.append(_mail(2))
    assert [office.fetch(), office.fetch()] == [2, 0]
    assert dovecot.messages() == 2
    ok, text = office.told()
    assert not ok
    assert "2 stored messages could not be moved to the folder Archive/Taken in" in text
    assert "no room left" in text
    assert "Nothing is lost" in text
    with dovecot.client() as client:
        client.select_folder("Archive/Taken in")
        client.delete_messages(client.search("ALL"))
        client.expunge()
    assert office.fetch() == 0
    assert (dovecot.messages(), dovecot.messages("Archive/Taken in")) == (0, 2)
    assert office.told()[0]
    assert len(office.stored()) == 2


def test_a_shared_mailbox_is_read_as_a_folder_that_the_server_shows(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    with dovecot.client() as client:
        client.create_folder("Shared/Ballots by mail")
    dovecot.append(_mail(1), "Shared/Ballots by mail")
    office = mail_office(dovecot, dovecot.url.replace("INBOX", "Shared/Ballots%20by%20mail"))
    assert office.fetch() == 1
    assert office.told()[0]


def test_a_shared_mailbox_is_read_on_its_behalf(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    dovecot.append(_mail(1))
    office = mail_office(dovecot, f"{dovecot.url}?sign_in={dovecot.deputy}")
    assert office.fetch() == 1
    assert mail_office(dovecot, f"{dovecot.url}?sign_in=stranger@county.example").fetch() == 0
    assert "stranger@county.example" in office.told()[1]


def test_a_certificate_that_nobody_vouches_for_is_told_and_nothing_is_said_to_the_server(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    dovecot.append(_mail(1))
    office = mail_office(dovecot, ca_file="")
    log = dovecot.folder / "log"
    before = log.read_text().count("Login:")
    assert office.fetch() == 0
    ok, text = office.told()
    assert not ok
    assert "not trusted" in text
    assert log.read_text().count("Login:") == before


@pytest.mark.parametrize("hidden", ["", "AUTH=XOAUTH2"])
def test_a_token_that_has_expired_is_fetched_anew_by_the_command(
    dovecot: DovecotServer, mail_office: OfficeOf, tmp_path: Path, hidden: str
) -> None:
    """By XOAUTH2, and by OAUTHBEARER where the server offers only that."""
    at_hand = tmp_path / "token"
    command = _printing(at_hand)
    dovecot.append(_mail(1))
    with bad_line(dovecot) as line:
        line.down = lambda text: text.replace(hidden.encode(), b"") if hidden else text
        url = dovecot.url.replace(str(dovecot.port), str(line.port))
        office = mail_office(dovecot, url, mailbox_password="", mailbox_token_command=command)
        _give_token(dovecot, at_hand, "monday-token")
        assert office.fetch() == 1
        _give_token(dovecot, at_hand, "tuesday-token")
        dovecot.append(_mail(2))
        assert office.fetch() == 1
        assert dovecot.tokens.asked[-1] == "tuesday-token"
        dovecot.tokens.holders.clear()
        assert office.fetch() == 0
    ok, text = office.told()
    assert not ok
    assert "does not accept the token" in text
    assert "tuesday" not in text


def test_the_command_for_the_token_is_not_run_at_each_look(
    dovecot: DovecotServer, mail_office: OfficeOf, tmp_path: Path
) -> None:
    at_hand = tmp_path / "token"
    _give_token(dovecot, at_hand, "monday-token")
    office = mail_office(dovecot, mailbox_password="", mailbox_token_command=_printing(at_hand))
    office.fetch()
    at_hand.unlink()
    office.fetch()
    assert office.told()[0]


@pytest.mark.parametrize(
    ("command", "says"),
    [
        ("/nowhere/token", "cannot be run"),
        ("'unclosed", "quotes"),
        (shlex.join([sys.executable, "-c", "print('secret'); exit(3)"]), "exit code 3"),
        (shlex.join([sys.executable, "-c", "print()"]), "no token"),
        (shlex.join([sys.executable, "-c", "print('two words')"]), "no token"),
    ],
)
def test_a_command_that_gives_no_token_is_told_without_what_it_said(
    dovecot: DovecotServer, mail_office: OfficeOf, command: str, says: str
) -> None:
    office = mail_office(dovecot, mailbox_password="", mailbox_token_command=command)
    assert office.fetch() == 0
    ok, text = office.told()
    assert not ok
    assert says in text
    assert "REPLACEMENTS_MAILBOX_TOKEN_COMMAND" in text
    assert "secret" not in text


def test_a_mail_of_thirty_megabytes_is_stored_whole(server: DovecotServer | PymapServer, mail_office: OfficeOf) -> None:
    huge = _mail(1) + (b"x" * 76 + b"\r\n") * (30_000_000 // 78)
    server.append(huge)
    office = mail_office(server)
    assert office.fetch() == 1
    assert office.stored() == [huge]


def test_of_a_mail_that_is_too_large_the_beginning_is_taken_in_and_the_page_says_so(
    server: DovecotServer | PymapServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imap, "MOST_BYTES", 100_000)
    monkeypatch.setattr(imap, "BEGINNING", 1_000)
    long = _mail(1) + b"It is torn.\r\n" * 10_000
    uid = server.append(long)
    server.append(_mail(2))
    office = mail_office(server)
    assert office.fetch() == 2
    assert office.stored() == [long[:1_000], _mail(2)]
    ok, text = office.told()
    assert not ok
    assert f"message {uid}" in text
    assert "only the beginning" in text


@pytest.mark.parametrize("raw", [b"\x80\xff\r\n" * 100, b"From: \r\nContent-Type: multipart/mixed\r\n\r\n--\r\n", b"x"])
def test_a_broken_mail_is_stored_as_it_is(dovecot: DovecotServer, mail_office: OfficeOf, raw: bytes) -> None:
    dovecot.append(raw)
    office = mail_office(dovecot)
    assert office.fetch() == 1
    assert office.stored()[0].replace(b"\r\n", b"\n").strip() == raw.replace(b"\r\n", b"\n").strip()


def test_a_message_that_the_server_does_not_hand_out_holds_up_no_other_and_is_told(
    dovecot: DovecotServer, mail_office: OfficeOf
) -> None:
    uid = dovecot.append(_mail(1))
    dovecot.append(_mail(2))
    with bad_line(dovecot) as line:
        broken = f"FETCH {uid} (BODY".encode()
        line.up = lambda text: text.replace(broken, b"FETCH 1 (NOTHING") if broken in text else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        assert office.fetch() == 1
        ok, text = office.told()
        assert not ok
        assert f"does not hand out message {uid}" in text
    assert mail_office(dovecot).fetch() == 1
    assert office.told()[0]


def test_a_message_at_which_the_server_breaks_off_is_tried_last(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    uid = dovecot.append(_mail(1))
    dovecot.append(_mail(2))
    with bad_line(dovecot) as line:
        line.up = lambda text: None if f"FETCH {uid} (BODY".encode() in text else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)))
        assert [office.fetch(), office.fetch()] == [0, 1]
        assert not office.told()[0]
    assert office.stored() == [_mail(2)]
    assert mail_office(dovecot).fetch() == 1


def test_a_message_that_cannot_be_stored_stays_unmarked_and_holds_up_no_other(
    dovecot: DovecotServer, mail_office: OfficeOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = dovecot.append(_mail(1))
    dovecot.append(_mail(2))
    office = mail_office(dovecot)
    keep = intake.keep

    def refusing(*args: object, **named: object) -> intake.Kept:
        if named["uid"] == str(first):
            raise ValueError("ada@home.example")
        return keep(*args, **named)  # type: ignore[arg-type]

    with monkeypatch.context() as broken:
        broken.setattr(intake, "keep", refusing)
        assert office.fetch() == 1
    ok, text = office.told()
    assert not ok
    assert f"Message {first} could not be stored" in text
    assert "ada" not in text
    assert dovecot.flags(first) == set()
    assert office.fetch() == 1
    assert office.told()[0]


def test_a_look_that_lasts_too_long_leaves_the_rest_to_the_next(
    server: DovecotServer | PymapServer, mail_office: OfficeOf
) -> None:
    for number in range(3):
        server.append(_mail(number))
    work = mail_office(server).work
    for _ in range(3):
        source = open_source(work.settings)
        assert take_in(work.database, source, now=work.now, seconds=0.0).new == 1
        source.close()


def test_two_looks_at_the_same_moment_store_each_message_once(
    server: DovecotServer | PymapServer, mail_office: OfficeOf
) -> None:
    """As when a queue hands the same task out again while the first still runs."""
    for number in range(3):
        server.append(_mail(number))
    office = mail_office(server)
    first, second = open_source(office.work.settings), open_source(office.work.settings)
    found = iter(first.new_messages(lambda _validity, _uid: False))
    ahead = next(found)
    assert take_in(office.work.database, second, now=office.work.now).new == 3
    new = sum(_keep(office, first.name, one) for one in (ahead, *found))
    first.mark_done(ahead)
    assert new == 0
    assert len(office.stored()) == 3
    first.close()
    second.close()


def test_a_setting_of_several_mailboxes_keeps_the_spaces_of_a_path(mail_office: OfficeOf, tmp_path: Path) -> None:
    class Nobody:
        url, password, ca_file = f"maildir:{tmp_path}/one box maildir:{tmp_path}/two", "", ""

    office = mail_office(Nobody())
    assert office.fetch() == 0
    assert (tmp_path / "one box" / "new").is_dir()
    assert (tmp_path / "two" / "new").is_dir()


@pytest.mark.parametrize("asked", ["?password=x", "?sign_in", "?sign_in=a&folder=b"])
def test_what_a_mailbox_address_may_not_say_is_refused(
    dovecot: DovecotServer, mail_office: OfficeOf, asked: str
) -> None:
    settings = replace(mail_office(dovecot).work.settings, mailbox=f"imaps://a@mail.county.example/INBOX{asked}")
    with pytest.raises(MailboxTrouble, match="REPLACEMENTS_MAILBOX"):
        open_source(settings)


def _keep(office: MailOffice, source: str, found: Found) -> bool:
    place = {"source": source, "validity": found.validity, "uid": found.uid}
    return intake.keep(office.work.database, found.raw, at=office.work.now(), **place).new


def _printing(at_hand: Path) -> str:
    access_tokens.forget(command := shlex.join(["cat", str(at_hand)]))
    return command


def _give_token(server: DovecotServer, at_hand: Path, token: str) -> None:
    """From now on this is the only good token, and what the command prints."""
    server.tokens.holders.clear()
    server.tokens.holders[token] = server.user
    at_hand.write_text(f"{token}\nnot this line\n", encoding="ascii")
