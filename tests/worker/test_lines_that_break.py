"""A line to the mail server that breaks while the office signs in is told as that, not as a wrong password."""

from __future__ import annotations

import pytest

from tests.servers.between import bad_line
from tests.servers.dovecot import DovecotServer
from tests.worker.conftest import OfficeOf


@pytest.mark.parametrize("sign_in", ["", "?sign_in=clerk@county.example"])
def test_a_line_that_breaks_while_signing_in_says_nothing_of_the_password(
    dovecot: DovecotServer, mail_office: OfficeOf, sign_in: str
) -> None:
    dovecot.append(b"From: ada@home.example\r\nSubject: 1\r\n\r\nI tore my ballot.\r\n")
    with bad_line(dovecot) as line:
        line.up = lambda text: None if b"LOGIN" in text or b"AUTHENTICATE" in text else text
        office = mail_office(dovecot, dovecot.url.replace(str(dovecot.port), str(line.port)) + sign_in)
        assert office.fetch() == 0
        ok, text = office.told()
        assert not ok
        assert "password" not in text
        assert "broke off" in text
        line.up = lambda text: text
        assert office.fetch() == 1


def test_a_wrong_password_is_told_as_that(dovecot: DovecotServer, mail_office: OfficeOf) -> None:
    office = mail_office(dovecot).with_settings(mailbox_password="another one")
    assert office.fetch() == 0
    ok, text = office.told()
    assert not ok
    assert "does not accept the password" in text
