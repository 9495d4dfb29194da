"""Who sent it, and whether the office's own server could tell."""

from __future__ import annotations

import base64
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


def _from(written: str) -> set[str]:
    raw = f"From: {written}\nSubject: x\n\nx".encode()
    return _codes(parse(raw, office_addresses=OFFICE, office_name="Saltgrass County Elections"))


def _word(text: str) -> str:
    return f"=?utf-8?b?{base64.b64encode(text.encode()).decode()}?="


@pytest.mark.parametrize(
    "written",
    [
        '"lou@home.example" <ada@home.example>',
        '"lou @ home . example" <ada@home.example>',
        f"{_word('lou＠home.example')} <ada@home.example>",
        f"{_word('lou@home.exa' + chr(0x200B) + 'mple')} <ada@home.example>",
        f"{_word('lou@home.example, ')} <ada@home.example>",
        "=?utf-8?q?lou=40home=2Eexample=3E=2C_Ada?= <ada@home.example>",
        "=?utf-8?q?=22lou=40home=2Eexample=22?= <ada@home.example>",
        "lou@home.example (Lou) <ada@home.example>",
    ],
)
def test_a_name_that_is_another_address_is_told_however_it_is_written(written: str) -> None:
    assert {"display_name_trick", "several_senders"} & _from(written)


def test_an_encoded_comma_makes_no_second_sender() -> None:
    letter = _parse(sender="=?utf-8?q?Fenn=2C_Ada?= <ada@home.example>")
    assert (letter.sender.name, letter.sender.address) == ("Fenn, Ada", "ada@home.example")
    assert not {"several_senders", "display_name_trick"} & _codes(letter)
    hidden = _parse(sender="=?utf-8?q?lou=40home=2Eexample=2C?= <ada@home.example>")
    assert hidden.sender.address == "ada@home.example"


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("Ada \u202enneF", "name_turned"),
        ("\u2067Ada Fenn\u2069", "name_turned"),
        ("A\u200bda Fenn", "name_unseen"),
        ("Ada\u2060 Fenn", "name_unseen"),
        ("Ad\u200da Fenn", "name_unseen"),
        ("Ada\u00ad Fenn", "name_unseen"),
        ("Ad\u0430 Fenn", "name_look_alike"),  # a Cyrillic letter among Latin ones
        ("\u0410d\u0430 Fenn", "name_look_alike"),
        ("\u0421\u0430\u0440\u0430 Fenn", "name_look_alike"),  # a whole word that only looks Latin
        ("\u039fdile Fenn", "name_look_alike"),  # a Greek capital
        ("\U0001d400\U0001d41d\U0001d41a Fenn", "name_look_alike"),  # letters of mathematics
        ("Ａｄａ Fenn", "name_look_alike"),
    ],
)
def test_a_name_in_a_guise_is_told(name: str, code: str) -> None:
    assert code in _from(f"{_word(name)} <ada@home.example>")
    assert code in _from(f'"{name}" <ada@home.example>')


GUISES = {
    *("name_turned", "name_unseen", "name_look_alike", "address_look_alike", "poses_as_office", "display_name_trick"),
    "several_senders",
}


@pytest.mark.parametrize(
    "written",
    [
        "Ada Fenn <ada@home.example>",
        '"Fenn, Ada" <ada@home.example>',
        "Ada O'Fenn-Quill Jr. <ada@home.example>",
        "김민준 <mj@home.example>",
        "Nguyễn Thị Hoa <hoa@home.example>",
        "Анна Петрова <anna@home.example>",
        "Анна Fenn <anna@home.example>",
        "Ελένη Παπαδάκη <eleni@home.example>",
        "محمد <m@home.example>",
        "\u200fדנה\u200f <d@home.example>",
        "علی\u200cرضا <a@home.example>",
        "Ada 🌻 Fenn <ada@home.example>",
        "José Núñez <jose@home.example>",
        "ada@home.example <ada@home.example>",
        "County Ballots <ballots@county.example>",
        "Front Desk <desk@county.example>",
        "Ada Voter <ada.voter@home.example>",
    ],
)
def test_an_honest_name_in_any_writing_is_no_guise(written: str) -> None:
    assert not GUISES & _from(written)


@pytest.mark.parametrize(
    "written",
    [
        "Saltgrass County Elections <help@far.example>",
        "SALTGRASS COUNTY  ELECTIONS <help@far.example>",
        "S\u0430ltgr\u0430ss County Elections <help@far.example>",
        '"ballots@county.example" <help@far.example>',
        "Election Office <help@far.example>",
        "Board of Elections <help@far.example>",
        "The Ballot Desk <help@far.example>",
        "Oficina Electoral <help@far.example>",
        "Văn phòng bầu cử <help@far.example>",
        "선거관리위원회 <help@far.example>",
        "Ada <ballots@county.example.far.example>",
        "Ada <ballots@county-example.far.example>",
        "Ada <ballots@countv.example>",
        "Ada <ballots@c0unty.example>",
        "Ada <ballots@conuty.example>",
        "Ada <ballots@xn--cunty-jye.example>",
    ],
)
def test_somebody_who_poses_as_the_office_is_told(written: str) -> None:
    assert "poses_as_office" in _from(written)


def test_an_address_with_look_alike_letters_is_told() -> None:
    domain = "h\u043eme".encode("idna").decode()  # a Cyrillic letter
    assert "address_look_alike" in _from(f"Ada <ada@{domain}.example>")


def test_where_the_rules_name_the_server_no_other_host_of_the_domain_is_believed() -> None:
    def check(host: str) -> SenderCheck:
        raw = f"Authentication-Results: {host}; {GOOD}\n{RECEIVED}\n{SECOND}\nFrom: ada@home.example\n\nx"
        return parse(raw.encode(), office_addresses=OFFICE, office_server="MX.county.example.").sender.check

    assert check("mx.county.example") is PASS
    assert check("MX.County.Example") is PASS
    assert check("printer.county.example") is NONE
    assert check("county.example") is NONE


def test_a_server_of_another_domain_is_believed_where_the_rules_name_it() -> None:
    raw = f"Authentication-Results: mx.host.example; {GOOD}\n{RECEIVED}\n{SECOND}\nFrom: ada@home.example\n\nx"
    assert parse(raw.encode(), office_addresses=OFFICE, office_server="mx.host.example").sender.check is PASS
    assert parse(raw.encode(), office_addresses=OFFICE).sender.check is NONE


INNER = [
    "Received: from mx.county.example ([10.0.0.7]) by store.county.example; Mon, 05 Oct 2026 09:00:02 -0700",
    "Received: from localhost (localhost [127.0.0.1]) by mx.county.example; Mon, 05 Oct 2026 09:00:01 -0700",
    "Received: by store.county.example with LMTP id 7; Mon, 05 Oct 2026 09:00:03 -0700",
]
EDGE = "Received: from mail.home.example ([203.0.113.5]) by mx.county.example; Mon, 05 Oct 2026 09:00:00 -0700"


@pytest.mark.parametrize("inner", [INNER[:1], INNER[1:2], INNER[2:], INNER[:2]])
def test_hops_within_the_house_stand_above_the_finding(inner: list[str]) -> None:
    found = f"Authentication-Results: mx.county.example; {GOOD}"
    assert _parse(*inner, found, EDGE, SECOND).sender.check is PASS
    assert _parse(*inner, EDGE, SECOND, found).sender.check is NONE


def test_a_sender_who_says_that_it_is_our_own_host_is_still_outside() -> None:
    posing = (
        "Received: from mx.county.example (unknown [203.0.113.9]) by mx.county.example; Mon, 05 Oct 2026 09:00:00 -0700"
    )
    forged = f"Authentication-Results: mx.county.example; {GOOD}"
    assert _parse(posing, EDGE, forged).sender.check is NONE


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
