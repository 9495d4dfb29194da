"""However a mail is built, it is read in linear time and little memory, and what was left out is said."""

# ruff: noqa: E501 (a message a line)

from __future__ import annotations

import base64
import subprocess
import sys
import time

import pytest

from replacements.mail.letter import UnreadableMail
from replacements.mail.parsing import parse
from replacements.mail.structure import MAX_DEPTH, MAX_PARTS
from tests.mail.mutations import mutated, seeds

SIZE = 10_000_000
LONGEST = 5.0  # seconds of processor time on a slow, busy machine; about one here
SENDER = b"From: Ada <ada@home.example>\n"


def _mail(head: bytes, body: bytes) -> bytes:
    return SENDER + b"Subject: ballot\n" + head + b"\n" + body


def _nested(levels: int) -> bytes:
    heads = b"".join(b"Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n" % (n, n) for n in range(levels))
    return SENDER + heads + b"Content-Type: text/plain\n\nmy ballot is torn"


HTML = b"Content-Type: text/html\n"
MIXED = b"Content-Type: multipart/mixed; boundary=b\n"
QUOTED = b"Content-Transfer-Encoding: quoted-printable\n"
BASE64 = b"Content-Transfer-Encoding: base64\n"
UU = b"Content-Transfer-Encoding: x-uuencode\n"
TOO_MUCH = {
    "one line of ten megabytes": _mail(b"", b"a" * SIZE),
    "a million short lines": _mail(b"", b"torn it\n" * (SIZE // 8)),
    "quote marks only": _mail(b"", b"> " * (SIZE // 2)),
    "everything in base64": _mail(BASE64, base64.encodebytes(b"my ballot is torn\n" * (SIZE // 25))),
    "uuencoded lines": _mail(UU, b"begin 644 a\n" + b"#86)C\n" * (SIZE // 7)),
    "tags without end": _mail(HTML, b"<p>a" * (SIZE // 4)),
    "tables in tables": _mail(HTML, b"<table><tr><td>" * (SIZE // 15)),
    "signs that begin no tag": _mail(HTML, b"<" * SIZE),
    "tags that never close": _mail(HTML, b"<a " * (SIZE // 3)),
    "a hundred thousand levels": _nested(100_000),
    "attached messages in each other": SENDER + b"Content-Type: message/rfc822\n\n" * 300_000 + b"hi",
    "a million parts": _mail(MIXED, b"--b\n\nhi\n" * (SIZE // 8)),
    "a digest of many": _mail(
        b"Content-Type: multipart/digest; boundary=b\n", b"--b\n\nFrom: a@b.example\n\nhi\n" * 20_000
    ),
}
BAIT = {
    "a part that is not finished": _mail(MIXED, b"--b\n\nmy ballot is torn\n"),
    "boundaries that are none": _mail(MIXED, (b"--b" + b" " * 1000 + b"x\n") * (SIZE // 1005)),
    "comments in a return path": SENDER + b"Return-Path: " + b"(" * SIZE + b"\n\nhi",
    "comments in an encoding": SENDER + b"Content-Transfer-Encoding: " + b"(" * SIZE + b"\n\nhi",
    "comments in Auto-Submitted": SENDER + b"Auto-Submitted: " + b"(" * SIZE + b"\n\nhi",
    "groups in groups of recipients": SENDER + b"To: " + b"a:" * (SIZE // 2) + b"\n\nhi",
    "brackets in recipients": SENDER + b"To: " + b"([<" * (SIZE // 3) + b"\n\nhi",
    "quotes in a sender": b"From: " + b'"\\' * (SIZE // 2) + b"\n\nhi",
    "a hundred thousand recipients": SENDER + b"To: " + b",\n ".join(b"v%d@home.example" % n for n in range(100_000)) + b"\n\nhi",
    "a million header fields": SENDER + b"X: y\n" * (SIZE // 5) + b"\nhi",
    "encoded words that never end": SENDER + b"Subject: " + b"=?utf-8?q?" * (SIZE // 10) + b"\n\nhi",
    "message ids that never end": SENDER + b"References: " + b"<a" * (SIZE // 2) + b"\n\nhi",
    "results of many servers": SENDER
    + b"Received: by mx.home.example; x\n"
    + (b"Authentication-Results: mx.home.example; " + b"dkim=pass header.d=a; " * 300 + b"\n") * 900
    + b"\nhi",
    "parameters without end": SENDER + b"Content-Type: text/plain; " + b'a="\\' * (SIZE // 5) + b"\n\nhi",
    "blanks where a line might be": SENDER + b"X: y\n" + b" " * SIZE + b"x\n\nhi",
    "a page of comments": _mail(HTML, b"<!--" * (SIZE // 4)),
    "a sheet without end": _mail(HTML, b"<style>" + b"a{" * (SIZE // 2)),
    "soft line ends": _mail(QUOTED, b"=\n" * (SIZE // 2)),
    "a report without end": _mail(
        b"Content-Type: multipart/report; boundary=b\n",
        b"--b\n\nx\n--b\nContent-Type: message/delivery-status\n\n" + b"\n \t" * (SIZE // 3),
    ),
    "marks upon one letter": _mail(b"Content-Type: text/plain; charset=utf-8\n", b"a" + b"\xcc\x81" * (SIZE // 2)),
}  # fmt: skip


@pytest.mark.parametrize("raw", TOO_MUCH.values(), ids=TOO_MUCH.keys())
def test_what_is_too_much_is_left_out_and_said(raw: bytes) -> None:
    started = time.process_time()
    letter = parse(raw)
    assert time.process_time() - started < LONGEST
    assert "not_read" in {notice.code for notice in letter.notices}


@pytest.mark.parametrize("raw", BAIT.values(), ids=BAIT.keys())
def test_no_bait_makes_reading_slow(raw: bytes) -> None:
    started = time.process_time()
    letter = parse(raw)
    assert time.process_time() - started < LONGEST
    assert letter.sender.address == "ada@home.example" or raw.startswith(b'From: "')


def test_a_part_that_is_not_finished_is_read_to_its_end() -> None:
    assert parse(BAIT["a part that is not finished"]).new_text == "my ballot is torn"


def test_letters_within_the_limits_are_read_whole() -> None:
    assert parse(_nested(MAX_DEPTH)).new_text == "my ballot is torn"
    many = parse(_mail(MIXED, b"--b\n\nhi\n" * (MAX_PARTS - 2) + b"--b\n\nmy ballot is torn\n--b--\n"))
    assert many.new_text.endswith("my ballot is torn")
    assert not {"not_read", "broken_structure"} & {notice.code for notice in many.notices}


@pytest.mark.parametrize(
    "bomb", ["a hundred thousand levels", "uuencoded lines", "a million parts", "tags without end"]
)
def test_ten_megabytes_take_less_than_two_hundred_more(bomb: str) -> None:
    """In a process of its own: the most memory it ever had, above what it had before reading."""
    program = (
        "import resource, sys\n"
        "from replacements.mail.parsing import parse\n"
        "parse(b'From: a@home.example\\n\\nhi')\n"
        "raw = sys.stdin.buffer.read()\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "parse(raw)\n"
        "print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], input=TOO_MUCH[bomb], capture_output=True, check=True)
    assert int(done.stdout) < 200


def test_hundreds_of_mutated_mails_break_nothing() -> None:
    slow = 0
    for raw in mutated(seeds(), 400, seed=7):
        started = time.process_time()
        try:
            letter = parse(raw)
        except UnreadableMail:
            continue
        slow += time.process_time() - started > 1.0
        assert letter.arrived.tzinfo is not None
    assert slow == 0
