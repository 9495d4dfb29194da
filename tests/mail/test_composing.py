"""The office's answers as they go out, and as they are read again."""

from __future__ import annotations

import base64
import contextlib
import email
import unicodedata
from dataclasses import replace
from datetime import UTC, datetime
from email import policy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.mail.composing import Outgoing, can_be_written_to, compose, reply_message_id, thread_headers
from replacements.mail.letter import UnreadableMail
from replacements.mail.parsing import parse

ANSWER = Outgoing(
    message_id="<r1@county.example>",
    sender_name="County Ballots",
    sender_address="ballots@county.example",
    to="ada@home.example",
    subject="Your new ballot",
    text="Dear Ada Fenn,\nyour new ballot goes out today.\n",
    html="<p>Dear Ada Fenn,<br>your new ballot goes out today.</p>",
    language="en",
    date=datetime(2026, 10, 5, 9, tzinfo=UTC),
    in_reply_to="<q1@home.example>",
    references=("<q0@home.example>", "<q1@home.example>"),
)


def test_an_answer_is_marked_threaded_and_for_one_reader() -> None:
    message = email.message_from_bytes(compose(ANSWER), policy=policy.default)
    assert message["Auto-Submitted"] == "auto-replied"
    assert message["Content-Language"] == "en"
    assert message["To"] == "ada@home.example"
    assert message["In-Reply-To"] == "<q1@home.example>"
    assert message["References"] == "<q0@home.example> <q1@home.example>"
    assert message.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in message.iter_parts()] == ["text/plain", "text/html"]
    assert all(part.get_content_charset() == "utf-8" for part in message.iter_parts())


def test_the_same_answer_is_the_same_bytes() -> None:
    assert compose(ANSWER) == compose(ANSWER)


@pytest.mark.parametrize(
    "evil",
    [
        "x\r\nBcc: all@far.example",
        "x\nBcc: all@far.example",
        "x\r\n\r\nbody",
        "x\x0bBcc: y",
        "x\u2028Bcc: y",
        "x\x85Bcc: y",
    ],
)
def test_no_field_can_be_smuggled_in_by_name_or_subject(evil: str) -> None:
    message = email.message_from_bytes(compose(replace(ANSWER, subject=evil, sender_name=evil)), policy=policy.default)
    assert message["Bcc"] is None
    assert message["To"] == "ada@home.example"
    assert message.get_content_type() == "multipart/alternative"


@pytest.mark.parametrize("field", ["to", "sender_address", "message_id", "in_reply_to", "language"])
@pytest.mark.parametrize(
    "evil",
    ["a@b.example\r\nBcc: x@far.example", "a@b.example, x@far.example", "A <a@b.example>", "no address", "a@b@c"],
)
def test_addresses_ids_and_languages_of_another_form_are_refused(field: str, evil: str) -> None:
    changed: dict[str, Any] = {field: evil}
    with pytest.raises(ValueError, match=r"outgoing message|form"):
        compose(replace(ANSWER, **changed))


def test_internationalised_addresses() -> None:
    assert b"ada@xn--mhle-0ra.example" in compose(replace(ANSWER, to="ada@mühle.example")).replace(b"\r\n ", b" ")
    assert "이현우@home.example".encode() in compose(replace(ANSWER, to="이현우@home.example"))


@pytest.mark.parametrize(
    ("subject", "text"),
    [
        ("Su nueva boleta", "Estimada señora Núñez:\nhoy sale su boleta nueva."),
        ("Lá phiếu mới của quý vị", "Kính gửi ông Trần,\nchúng tôi đã gửi lá phiếu mới."),
        ("새 투표용지", "김민준 님께,\n오늘 새 투표용지를 보냈습니다."),
        ("A" * 300, "=3D > From here\n.\n..\nFrom there\n" + "long " * 400),
    ],
)
def test_what_is_composed_is_read_the_same(subject: str, text: str) -> None:
    letter = parse(compose(replace(ANSWER, subject=subject, text=text)))
    assert letter.subject == subject
    assert letter.text().split() == text.split()
    assert letter.machine is not None
    assert (letter.message_id, letter.in_reply_to) == ("<r1@county.example>", ("<q1@home.example>",))


def test_the_same_cause_has_the_same_message_id() -> None:
    assert reply_message_id("request 7", "county.example") == reply_message_id("request 7", "county.example")
    assert reply_message_id("request 7", "county.example") != reply_message_id("request 8", "county.example")
    assert reply_message_id("x", "county.example").endswith("@county.example>")


def test_a_very_long_thread_keeps_its_beginning_and_its_end() -> None:
    chain = [f"<{n}@home.example>" for n in range(200)]
    parent, references = thread_headers("<last@home.example>", chain, [])
    assert parent == "<last@home.example>"
    assert (references[0], references[-2:]) == ("<0@home.example>", ("<199@home.example>", "<last@home.example>"))
    assert len(references) <= 30


def test_what_is_no_message_id_is_not_answered_to() -> None:
    assert thread_headers("", ["<a@home.example>"], []) == ("", ())
    assert thread_headers("<a@home.example>", ["junk\r\nBcc: x"], []) == ("<a@home.example>", ("<a@home.example>",))


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=2000))
def test_any_bytes_are_read_or_refused_in_so_many_words(raw: bytes) -> None:
    with contextlib.suppress(UnreadableMail):
        parse(raw)


_FIELDS = [
    "From",
    "To",
    "Subject",
    "Date",
    "Received",
    "Message-ID",
    "References",
    "Content-Type",
    "Content-Transfer-Encoding",
    "Content-Disposition",
    "Reply-To",
    "Authentication-Results",
    "Auto-Submitted",
    "Precedence",
    "Return-Path",
]
_PIECES = st.sampled_from(
    [
        b"multipart/mixed; boundary=b",
        b"multipart/alternative; boundary=b",
        b"multipart/report; boundary=b",
        b"text/html; charset=utf-7",
        b"message/rfc822",
        b"text/plain; charset=hz; format=flowed",
        b"base64",
        b"quoted-printable",
        b"x-uuencode",
        b'"',
        b"<",
        b">",
        b"(",
        b"=?utf-8?b?4pi=?=",
        b"; name*0*=utf-8''%ff; name*2=x",
        b"attachment; filename*=x''%zz",
        b"a@b.example",
        b"mx.b.example; spf=pass",
        b";",
        b"\x00",
        b"Mon, 31 Dec 9999 23:59:59 -2359",
        b"Mon, 99 Foo 1 1:1",
        b"text/calendar; method=",
        b"message/delivery-status",
        b"utf-16",
        b"\xff\xfe",
    ]
)
_LINES = st.sampled_from(
    [
        b"--b",
        b"--b--",
        b"",
        b"> quoted",
        b"On 1 May 2026 x@y.example wrote:",
        b"-- ",
        b"<p style='color:white'>x</p>",
        b"<blockquote>",
        b"From: x",
        b"To: y",
        b"Subject: z",
        b"Content-Type: multipart/mixed; boundary=b",
        b"Content-Type: text/html",
        b"begin 644 x",
        b"=E9=",
        b"Action: failed",
        b"-----Original Message-----",
        b"\xea\xb0\x80",
        b"&#xD800;&#0;",
        b"BEGIN:VCALENDAR",
        b"Sent from my phone",
    ]
)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(_FIELDS), st.lists(_PIECES | st.binary(max_size=12), max_size=4)),
        min_size=1,
        max_size=8,
    ),
    st.lists(_LINES, max_size=25),
)
def test_broken_messages_of_every_shape_are_read(fields: list[tuple[str, list[bytes]]], lines: list[bytes]) -> None:
    head = b"".join(
        name.encode() + b": " + b" ".join(pieces).replace(b"\n", b" ").replace(b"\r", b" ") + b"\n"
        for name, pieces in fields
    )
    letter = parse(head + b"\n" + b"\n".join(lines), office_addresses=frozenset({"ballots@b.example"}))
    assert letter.arrived.tzinfo is not None
    for part in letter.parts:
        assert part.text.strip()
        part.text.encode("utf-8")


_TEXT = st.text(st.characters(codec="utf-8", categories=("L", "N")), min_size=1, max_size=60)


@settings(max_examples=100, deadline=None)
@given(st.lists(_TEXT, min_size=1, max_size=5))
def test_text_survives_the_way_out_and_in(words: list[str]) -> None:
    text = unicodedata.normalize("NFC", " ".join(words))
    assert parse(compose(replace(ANSWER, text=text))).text().split() == text.split()


def _is_utf8(body: bytes) -> bool:
    try:
        body.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["utf-8", "utf-16", "cp1252", "cp949", "iso-8859-15", "cp1258", "iso2022_kr", "gb18030"]),
    st.text(max_size=80),
)
def test_text_survives_in_many_character_sets(charset: str, text: str) -> None:
    said = "Dear office " + "".join(c for c in text if c.isalnum())
    try:
        body = said.encode(charset)
    except UnicodeEncodeError:
        return
    if unicodedata.normalize("NFC", body.decode(charset)) != unicodedata.normalize("NFC", said):
        return
    if charset in ("cp1252", "iso-8859-15", "cp1258") and not body.isascii() and _is_utf8(body):
        return  # such bytes are far more often UTF-8 under a wrong name, and read as that (common practice)
    raw = (
        f"From: a@home.example\nContent-Type: text/plain; charset={charset}\nContent-Transfer-Encoding: base64\n\n"
    ).encode()
    assert parse(raw + base64.encodebytes(body)).new_text == unicodedata.normalize("NFC", said).strip()


@given(st.text(st.characters(exclude_categories=()), max_size=8), st.text(max_size=8))
def test_to_an_address_that_can_be_written_to_a_mail_can_be_made_for_one_reader(left: str, right: str) -> None:
    address = f"{left}@{right}.example"
    if can_be_written_to(address):
        message = email.message_from_bytes(compose(replace(ANSWER, to=address)), policy=policy.default)
        assert len(message["To"].addresses) == 1
        assert message["Bcc"] is None
    else:
        with pytest.raises(ValueError, match="address"):
            compose(replace(ANSWER, to=address))
