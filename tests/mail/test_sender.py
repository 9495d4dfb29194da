"""Who sent it, and whether the office's own server could tell."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from replacements.mail.letter import Letter, SenderCheck
from replacements.mail.parsing import parse

OFFICE = frozenset({"ballots@county.example"})
PASS, FAIL, NONE = SenderCheck.PASS, SenderCheck.FAIL, SenderCheck.NONE
RECEIVED = "Received: from mail.home.example by mx.county.example; Mon, 05 Oct 2026 09:00:00 -0700"
SECOND = "Received: from pc by mail.home.example; Mon, 05 Oct 2026 08:59:00 -0700"


def _parse(*head: str, office: frozenset[str] = OFFICE, sender: str = "Ada Fenn <ada@home.example>") -> Letter:
    return parse("\n".join([*head, f"From: {sender}", "", "x"]).encode(), office_addresses=office)


def _check(results: str) -> SenderCheck:
    return _parse(f"Authentication-Results: mx.county.example; {results}", RECEIVED, SECOND).sender.check


@pytest.mark.parametrize(
    ("results", "check"),
    [
        (
            "spf=pass smtp.mailfrom=home.example; dkim=pass header.d=home.example; dmarc=pass header.from=home.example",
            PASS,
        ),
        ("dmarc=pass (p=NONE sp=NONE) header.from=home.example;", PASS),
        ("spf=pass smtp.mailfrom=ada@home.example", PASS),
        ("spf=pass smtp.mailfrom=mail.home.example", PASS),
        ("dkim=pass header.i=@home.example header.s=s1 header.b=ab", PASS),
        (
            "spf=fail smtp.mailfrom=home.example; dkim=pass header.d=home.example; dmarc=none header.from=home.example",
            PASS,
        ),
        ("spf=pass smtp.mailfrom=bulk.example", NONE),
        ("dkim=pass header.d=bulk.example", NONE),
        ("spf=pass smtp.mailfrom=otherhome.example", NONE),
        ("dmarc=pass header.from=elsewhere.example", NONE),
        (
            "spf=fail smtp.mailfrom=home.example; dkim=fail header.d=home.example; dmarc=fail header.from=home.example",
            FAIL,
        ),
        (
            "spf=pass smtp.mailfrom=bulk.example; dkim=pass header.d=bulk.example; dmarc=fail header.from=home.example",
            FAIL,
        ),
        ("spf=fail smtp.mailfrom=home.example; dkim=fail header.d=home.example", FAIL),
        ("spf=fail smtp.mailfrom=home.example", FAIL),
        ("spf=fail smtp.mailfrom=home.example; dkim=none", FAIL),
        ("spf=none; dkim=fail header.d=home.example", FAIL),
        ("spf=softfail smtp.mailfrom=home.example", NONE),
        ("spf=neutral smtp.mailfrom=home.example; dkim=none", NONE),
        ("none", NONE),
        ("unheard-of=pass; spf=marvellous", NONE),
        (
            "spf=pass smtp.mailfrom=home.example; dmarc=pass header.from=home.example; compauth=fail reason=000 ;; =",
            PASS,
        ),
    ],
)
def test_what_the_offices_server_found(results: str, check: SenderCheck) -> None:
    assert _check(results) is check


GOOD = "spf=pass smtp.mailfrom=home.example; dmarc=pass header.from=home.example"


def test_only_the_offices_own_server_is_believed() -> None:
    assert _parse(f"Authentication-Results: mx.home.example; {GOOD}", RECEIVED, SECOND).sender.check is NONE
    assert (
        _parse(f"Authentication-Results: mx.county.example.evil.example; {GOOD}", RECEIVED, SECOND).sender.check is NONE
    )
    assert _parse(f"Authentication-Results: county.example; {GOOD}", RECEIVED, SECOND).sender.check is PASS


def test_a_finding_below_the_second_hop_was_there_before_and_counts_for_nothing() -> None:
    assert _parse(RECEIVED, SECOND, f"Authentication-Results: mx.county.example; {GOOD}").sender.check is NONE


def test_a_forged_finding_cannot_mend_what_the_server_found() -> None:
    found = (
        "Authentication-Results: mx.county.example; spf=fail "
        "smtp.mailfrom=home.example; dmarc=fail header.from=home.example"
    )
    forged = f"Authentication-Results: mx.county.example; {GOOD}"
    assert _parse(found, RECEIVED, forged).sender.check is FAIL
    assert _parse(found, forged, RECEIVED).sender.check is FAIL


def test_without_known_addresses_the_last_hop_names_the_server() -> None:
    head = f"Authentication-Results: mx.county.example; {GOOD}"
    assert _parse(head, RECEIVED, SECOND, office=frozenset()).sender.check is PASS
    assert _parse(f"Authentication-Results: mx.home.example; {GOOD}", RECEIVED, office=frozenset()).sender.check is NONE


def _codes(letter: Letter) -> set[str]:
    return {notice.code for notice in letter.notices}


def test_an_answer_that_would_go_elsewhere_is_told() -> None:
    assert "reply_to_differs" in _codes(_parse("Reply-To: other@far.example"))
    assert "reply_to_differs" not in _codes(_parse("Reply-To: Ada <ADA@home.example>"))


def test_a_name_that_looks_like_another_address_is_told() -> None:
    letter = _parse(sender='"lou@home.example" <ada@home.example>')
    assert "display_name_trick" in _codes(letter)
    assert letter.sender.address == "ada@home.example"
    assert "display_name_trick" not in _codes(_parse(sender='"ada@home.example" <Ada@home.example>'))


def test_two_senders_never_pass() -> None:
    head = f"Authentication-Results: mx.county.example; {GOOD}"
    letter = _parse(head, RECEIVED, SECOND, sender="ada@home.example, x@far.example")
    assert letter.sender.check is NONE
    assert "several_senders" in _codes(letter)


@pytest.mark.parametrize(
    "written",
    [
        "",
        "<>",
        "undisclosed",
        '"Fenn, Ada" ',
        "=?utf-8?q?Ada?=",
        "@",
        "Ada <ada@>",
        "a@b",
        "(((",
        "Ada <ada@home.example> <",
    ],
)
def test_odd_senders_are_read_without_trouble(written: str) -> None:
    assert "@b" not in _parse(sender=written).sender.address


def test_the_time_of_arrival() -> None:
    zone = timezone(timedelta(hours=-7))
    assert _parse(RECEIVED, SECOND, "Date: Mon, 05 Oct 2026 01:00:00 -0700").arrived == datetime(
        2026, 10, 5, 9, tzinfo=zone
    )
    assert _parse("Date: Mon, 05 Oct 2026 01:00:00 -0700").arrived == datetime(2026, 10, 5, 1, tzinfo=zone)
    assert _parse("Received: nonsense", "Date: Mon, 05 Oct 2026 01:00:00").arrived == datetime(
        2026, 10, 5, 1, tzinfo=UTC
    )
    given = datetime(2026, 10, 6, tzinfo=UTC)
    assert parse(b"From: a@home.example\nDate: soon\n\nx", received_at=given).arrived == given
    undated = parse(b"From: a@home.example\n\nx")
    assert undated.arrived == datetime(1970, 1, 1, tzinfo=UTC)
    assert "no_date" in _codes(undated)
