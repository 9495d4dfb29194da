"""Each mail that came while servers and programs failed is answered or in front of a person (the script
`three_hundred_faults` beside this does the same at full size)."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.faults.office_under_faults import an_office
from tests.faults.three_hundred_faults import run

MAILS, FAULTS = 40, 12
# Of so few replies one that goes twice would be many in a hundred; the script holds the share.
NOT_HERE = "replies doubled, under the same Message-ID"


def test_every_mail_that_came_while_servers_failed_is_answered_or_seen() -> None:
    if not (shutil.which("cc") and shutil.which("redis-server") and Path("/usr/lib/postgresql").exists()):
        pytest.skip("Redis, PostgreSQL or a C compiler (for the clock that can be put on) is not installed")
    with an_office() as office:
        done = run(office, faults=FAULTS, mails=MAILS, seed=4, seconds=15, readers=1)
    assert [line for line in done.lines if line.fault and not line.what.startswith(NOT_HERE)] == []
    assert done.struck.total() >= FAULTS
