"""Mail against its published standards. Messages are written here in the form that each section describes."""

from __future__ import annotations

from importlib import resources

import pytest

from replacements.mail.composing import thread_headers
from replacements.mail.enclosed import _unpacked, without_armour
from replacements.mail.letter import PartLabel, SenderCheck
from replacements.mail.machine import delivery_actions
from replacements.mail.parsing import parse
from replacements.mail.structure import Allowance, read_tree


def _with(*head: str) -> bytes:
    return "\n".join(["From: Ada <ada@home.example>", "Subject: ballot", *head, "", "I tore my ballot."]).encode()


def test_rfc_5322_appendix_a_2_threading() -> None:
    """RFC 5322 (October 2008), appendix A.2: three messages of one thread."""
    first, second = "<1234@local.machine.example>", "<3456@example.net>"
    assert thread_headers(first, (), ()) == (first, (first,))
    assert thread_headers(second, (first,), (first,)) == (second, (first, second))


def test_rfc_5322_section_3_6_4_references_of_an_answer() -> None:
    """RFC 5322 section 3.6.4: what becomes of a parent without References, with one or with two ids in In-Reply-To."""
    parent = "<c@home.example>"
    assert thread_headers(parent, (), ("<a@home.example>",)) == (parent, ("<a@home.example>", parent))
    assert thread_headers(parent, (), ("<a@home.example>", "<b@home.example>")) == (parent, (parent,))
    assert thread_headers("", ("<a@home.example>",), ()) == ("", ())


@pytest.mark.parametrize(
    "value",
    [
        "auto-replied",
        "Auto-Generated",
        "AUTO-REPLIED; owner-email=x@home.example",
        "auto-generated (failure)",
        "(said by a machine) auto-notified",
        "auto-of-tomorrow",
    ],
)
def test_rfc_3834_section_5_any_value_but_no_is_automatic(value: str) -> None:
    """RFC 3834 (August 2004), sections 2 and 5: compared without case; parameters and comments ignored."""
    machine = parse(_with(f"Auto-Submitted: {value}")).machine
    assert machine is not None
    assert machine.code == "auto_submitted"


@pytest.mark.parametrize("value", ["no", "No", "no; x=y", "no (a person wrote this)"])
def test_rfc_3834_section_5_no_means_a_person(value: str) -> None:
    assert parse(_with(f"Auto-Submitted: {value}")).machine is None


def test_rfc_3834_section_2_null_return_path_and_lists() -> None:
    for head, code in (
        ("Return-Path: <>", "null_return_path"),
        ("List-Id: <l.home.example>", "list"),
        ("Precedence: junk", "list"),
    ):
        machine = parse(_with(head)).machine
        assert machine is not None
        assert machine.code == code


def test_rfc_3834_section_3_1_5_the_prefix_auto_is_no_evidence() -> None:
    assert parse(b"From: ada@home.example\nSubject: Auto: ballot\n\nI tore it.").machine is None


_RECIPIENTS = [
    ("louisl", "rfc822", "4.0.0", "Failed"),
    ("arathib", "rfc822", "5.0.0", "failed"),
    ("johnh", "rfc822", "4.0.0", "delayed"),
    ("wsnell", "rfc822", "5.0.0", "failed"),
    ("nair_s", "unknown", "5.0.0", "FAILED"),
    ("thomas", "rfc822", "4.0.0", "Delayed"),
]


def _report(recipients: list[tuple[str, str, str, str]]) -> bytes:
    groups = "\n\n".join(
        f"Final-Recipient: {kind}; {name}@far.example\nAction: {action}\nStatus: {status}"
        for name, kind, status, action in recipients
    )
    return (
        "From: MAILER-DAEMON@gate.example\nSubject: report\nMIME-Version: 1.0\n"
        "Content-Type: multipart/report; "
        "report-type=delivery-status; "
        "boundary=r\n\n--r\n\nNot "
        "everybody was reached.\n\n"
        f"--r\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; gate.example\n\n{groups}\n\n--r--\n"
    ).encode()


def test_rfc_3464_appendix_e_six_recipients() -> None:
    """RFC 3464 (January 2003), section 2.3 and the recipients of appendix E: four failed, two delayed."""
    allowance = Allowance()
    actions = delivery_actions(read_tree(_report(_RECIPIENTS), allowance), allowance)
    assert [action for _, action in actions] == ["failed", "failed", "delayed", "failed", "failed", "delayed"]
    assert actions[4][0] == "nair_s@far.example"
    machine = parse(_report(_RECIPIENTS)).machine
    assert machine is not None
    assert machine.code == "bounce"


def test_rfc_3464_section_2_3_3_delayed_is_not_final() -> None:
    machine = parse(_report([one for one in _RECIPIENTS if one[3].lower() == "delayed"])).machine
    assert machine is not None
    assert machine.code == "delay"


def test_rfc_6522_a_report_inside_another_multipart() -> None:
    """RFC 6522 (January 2012), section 3: the report may be nested."""
    raw = (
        b"From: x@gate.example\nContent-Type: multipart/mixed; boundary=o\n\n--o\n"
        + _report(_RECIPIENTS).partition(b"MIME-Version: 1.0\n")[2]
        + b"\n--o--\n"
    )
    machine = parse(raw).machine
    assert machine is not None
    assert machine.code == "bounce"


def test_rfc_8098_a_disposition_notification_is_a_receipt() -> None:
    """RFC 8098 (February 2017), section 3."""
    raw = (
        b"From: ada@home.example\nSubject: "
        b"Disposition notification\nContent-Type: "
        b"multipart/report; "
        b"report-type=disposition-notification; boundary=r\n\n"
        b"--r\n\nIt was displayed.\n--r\nContent-Type: "
        b"message/disposition-notification\n\n"
        b"Final-Recipient: rfc822;ada@home.example\n"
        b"Disposition: manual-action/MDN-sent-manually; displayed\n--r--\n"
    )
    machine = parse(raw).machine
    assert machine is not None
    assert machine.code == "receipt"


@pytest.mark.parametrize("result", ["fail", "neutral", "none", "pass", "permerror", "policy", "softfail", "temperror"])
def test_rfc_8601_section_2_7_results_of_spf(result: str) -> None:
    """RFC 8601 (May 2019), section 2.7.2: each result is read; only `pass` can pass, only `fail` by itself fails."""
    raw = _with(f"Authentication-Results: mx.county.example; spf={result} smtp.mailfrom=home.example")
    expected = {"pass": SenderCheck.PASS, "fail": SenderCheck.FAIL}.get(result, SenderCheck.NONE)
    assert parse(raw, office_addresses=frozenset({"b@county.example"})).sender.check is expected


def test_rfc_8601_section_5_a_field_of_another_authority_is_ignored() -> None:
    raw = _with("Authentication-Results: mx.far.example; dmarc=pass header.from=home.example")
    assert parse(raw, office_addresses=frozenset({"b@county.example"})).sender.check is SenderCheck.NONE


def test_rfc_3676_section_4_3_the_signature_line() -> None:
    """RFC 3676 (February 2004), section 4.3: "-- " is never joined to the line above, flowed or not."""
    raw = b"From: ada@home.example\nContent-Type: text/plain; format=flowed\n\nI tore \nit. \n-- \nFenn Roofing\n"
    assert parse(raw).new_text.rstrip() == "I tore it."


def test_rfc_2047_section_8_encoded_words() -> None:
    """RFC 2047 (November 1996), section 8: white space between encoded words is not shown, other white space is."""
    for written, shown in (
        ("=?ISO-8859-1?Q?a?=", "a"),
        ("=?ISO-8859-1?Q?a?= b", "a b"),
        ("=?ISO-8859-1?Q?a?= =?ISO-8859-1?Q?b?=", "ab"),
        ("=?ISO-8859-1?Q?a?=\n  =?ISO-8859-1?Q?b?=", "ab"),
        ("=?ISO-8859-1?Q?a_b?=", "a b"),
        ("=?ISO-8859-1?Q?a?= =?ISO-8859-2?Q?_b?=", "a b"),
    ):
        assert parse(f"From: ada@home.example\nSubject: {written}\n\nx".encode()).subject == shown


def test_messages_of_the_reference_librarys_own_tests_are_all_read() -> None:
    """CPython, Lib/test/test_email/data (as installed with this interpreter): malformed and unusual messages."""
    try:
        folder = resources.files("test.test_email") / "data"
        files = sorted((one for one in folder.iterdir() if one.name.startswith("msg_")), key=lambda one: one.name)
    except (ModuleNotFoundError, FileNotFoundError):
        pytest.skip("this interpreter was installed without its test data")
    reports = 0
    for file in files:
        letter = parse(file.read_bytes())
        assert letter.arrived.tzinfo is not None
        reports += letter.machine is not None and letter.machine.code in ("bounce", "delay")
    assert len(files) >= 40
    assert reports >= 3


def test_ms_oxrtfcp_section_3_1_1_a_packed_text() -> None:
    """[MS-OXRTFCP] Rich Text Format (RTF) Compression Algorithm, section 3.1.1 "Example 1: Simple Compressed RTF";
    the bytes are from memory."""
    packed = bytes.fromhex(
        "2d0000002b0000004c5a4675f1c5c7a703000a007263706731323542320af32068656c090020627705b06c647d0a800fa0"
    )
    assert _unpacked(packed) == b"{\\rtf1\\ansi\\ansicpg1252\\pard hello world}\r\n"


def test_rfc_4880_section_7_1_dash_escaped_text() -> None:
    """RFC 4880 (November 2007), section 7.1: a line that begins with a dash is written with "- " before it."""
    text = (
        "-----BEGIN PGP SIGNED MESSAGE-----\nHash: SHA1\n\n- - one\n- -----\ntwo\n-----BEGIN PGP SIGNATURE-----\n\nx\n"
    )
    assert without_armour(text)[0] == "- one\n-----\ntwo"


def test_rfc_3676_section_4_1_delsp() -> None:
    """RFC 3676 (February 2004), section 4.1: DelSp=yes takes the last space of a flowed line away."""
    head = b"From: a@home.example\nContent-Type: text/plain; format=flowed; delsp=yes\n\n"
    letter = parse(head + b"I to \nre my bal \nlot.\n> When \n> ever?\n")
    assert letter.new_text == "I tore my ballot."
    assert "Whenever?" in letter.text(PartLabel.QUOTED)


def test_rfc_3676_section_4_4_space_stuffing() -> None:
    """RFC 3676 (February 2004), section 4.4: a line that begins with a space, "From " or ">" has one more."""
    raw = b"From: a@home.example\nContent-Type: text/plain; format=flowed\n\n >5 pages came.\n From here.\n  in.\n"
    assert parse(raw).new_text == ">5 pages came.\nFrom here.\n in."
