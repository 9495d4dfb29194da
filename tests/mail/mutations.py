"""Mails that no program and no person wrote: well-formed ones, cut, glued, doubled and overwritten at random."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from replacements.demo.setting_up import write_county
from replacements.requests.mail_files import messages_in

LARGEST = 60_000  # bytes of a mutated mail

_PIECES = (
    b"\n\n", b"\r", b"\0", b"=?utf-8?q?", b"?=", b"=?x?b?", b"<", b">", b"<!--", b"-->", b"<blockquote>", b"</div>",
    b"--", b"-- \n", b"> ", b">>>>", b"&#x0;", b"&amp", b"=", b"=3D=\n", b"(((((", b'"', b"\\", b"[", b";;", b"::",
    b"Content-Type: multipart/mixed; boundary=b\n", b"--b\n", b"--b--\n", b"Content-Type: message/rfc822\n\n",
    b"Content-Transfer-Encoding: base64\n", b"Content-Type: text/html; charset=utf-16\n", b"charset=utf-7",
    b"On Mon, 5 Oct 2026 at 10:00, X <x@far.example> wrote:\n", b"From: ", b"\nFrom: x\nTo: y\nSubject: z\n",
    b"\xff\xfe", b"\xe2\x80\xae", b"\xed\xa0\x80", b"+AGE-", b"a,b:c;", b"@", b"<a@b>", b"begin 644 x\n", b"*" * 400,
    b"- " * 300, b"_" * 500, b"a-" * 300, b"\t" * 400, b". " * 300, b"1/2/2026 " * 60, b"ballot " * 100,
)  # fmt: skip


def seeds() -> list[bytes]:
    """The demo's mails and, where this interpreter has them, the samples of CPython's Lib/test/test_email/data."""
    now = datetime(2026, 10, 5, 15, tzinfo=UTC)
    with tempfile.TemporaryDirectory() as folder:
        found = [raw for _, raw in messages_in(write_county(Path(folder), now.date(), now).mailbox)]
    try:
        samples = resources.files("test.test_email") / "data"
        names = sorted(one.name for one in samples.iterdir() if one.name.startswith("msg_"))
        found += [(samples / name).read_bytes() for name in names]
    except (ModuleNotFoundError, FileNotFoundError):
        pass
    return found


def mutated(originals: list[bytes], count: int, seed: int) -> Iterator[bytes]:
    """`count` mails, the same ones for the same seed."""
    chance = random.Random(seed)
    for _ in range(count):
        raw = bytearray(chance.choice(originals)[:LARGEST])
        for _ in range(chance.choice((1, 2, 4, 8, 16))):
            _change(raw, chance, originals)
        yield bytes(raw[:LARGEST])


def _change(raw: bytearray, chance: random.Random, originals: list[bytes]) -> None:
    at = chance.randrange(len(raw) + 1)
    end = min(len(raw), at + chance.choice((1, 3, 30, 300)))
    match chance.randrange(7):
        case 0:
            del raw[at:end]
        case 1:
            raw[at:end] = bytes(chance.randrange(256) for _ in range(end - at))
        case 2:
            raw[at:at] = raw[at:end] * chance.choice((1, 2, 50))
        case 3:
            raw[at:at] = chance.choice(_PIECES) * chance.choice((1, 1, 3, 40))
        case 4:
            other = chance.choice(originals)
            start = chance.randrange(len(other) + 1)
            raw[at:at] = other[start : start + 3000]
        case 5:
            raw[at:end] = raw[at:end].replace(b"\n", chance.choice((b"", b"\r\n", b"\n\n", b"\n ", b"\n>")))
        case _:
            del raw[at:]
            raw += chance.choice(_PIECES)
