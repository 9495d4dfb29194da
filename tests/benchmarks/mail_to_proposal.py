"""From a mail on an IMAP server to a proposal in PostgreSQL, with all that stands between: how many a second.

    python -m tests.benchmarks.mail_to_proposal [VOTERS] [MAILS] [READERS]

A private Dovecot, PostgreSQL and Redis, and Celery's worker with so many processes (2), as in an installation. All
mails (2,000) come at one moment; the clock runs from then until the last has its proposal. Half of them are the
invented counties' mail, half are letters signed by voters of the roll (a million). Beside it, in the same run: the same
mails fetched one by one from the same server and parsed by the standard library, the text taken out, and nothing else.
"""

from __future__ import annotations

import email
import email.policy
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from replacements.store.database import Database
from tests.benchmarks.an_office import Office, an_office, fetched_one_by_one, load_now, set_up, some_voters
from tests.benchmarks.letters import letters
from tests.benchmarks.private_postgres import private_postgres
from tests.benchmarks.rehearsing import mails as counties_mails

BAR = 60  # mails a second
WARM = 20  # mails that are read first, so that no first-time loading is measured


def mixed(database: Database, count: int) -> list[bytes]:
    """So many mails, one of a county and one of the roll in turn."""
    both = zip(counties_mails(), letters(some_voters(database, count // 2 + 1)), strict=False)
    return list(islice((raw for pair in both for raw in pair), count))


@dataclass(frozen=True)
class Reading:
    """Seconds from the moment at which the mails came until all were stored, until all had their proposals, and the
    processor's seconds that each part of the office took for it."""

    stored: float
    read: float
    busy: dict[str, float]


def read_all(office: Office, raws: list[bytes], readers: int) -> Reading:
    office.start(readers)
    office.deliver(raws[:WARM])
    office.wait(lambda: office.count("read") + office.count("failed") >= WARM, 120)
    before = office.processor_seconds()
    began = time.monotonic()
    office.deliver(raws[WARM:])
    office.wait(lambda: office.count() >= len(raws), 3600, every=0.25)
    stored = time.monotonic() - began
    office.wait(lambda: office.count("read") + office.count("failed") >= len(raws), 3600, every=0.25)
    read = time.monotonic() - began
    after = office.processor_seconds()
    return Reading(stored, read, {part: after[part] - before[part] for part in after})


def fetched_and_parsed(office: Office) -> tuple[int, float]:
    """(how many, seconds) for fetching and parsing alone."""
    began, count = time.monotonic(), 0
    for raw in fetched_one_by_one(office.dovecot):
        count += 1
        body = email.message_from_bytes(raw, policy=email.policy.default).get_body(("plain", "html"))
        if body is not None:
            try:
                _text(body)
            except (LookupError, UnicodeError):
                continue
    return count, time.monotonic() - began


def _text(body: object) -> Iterator[str]:
    return body.get_content()  # type: ignore[attr-defined, no-any-return]


def main(voters: int = 1_000_000, mails: int = 2_000, readers: int = 2, url: str = "") -> None:
    if not url:
        with private_postgres() as server:
            database = Database(server)
            set_up(database, voters)
            database.close()
            main(voters, mails, readers, server)
        return
    with an_office(url) as office:
        raws = mixed(office.database, mails)
        found = read_all(office, raws, readers)
        office.stop()
        requests = office.one("SELECT count(*) FROM requests")
        failed = office.count("failed")
        before = time.process_time()
        alone, seconds = fetched_and_parsed(office)
        busy_alone = (time.process_time() - before) / alone
    timed = len(raws) - WARM
    busy = sum(found.busy.values()) / timed
    print(f"{voters} voters, {timed} mails, {readers} readers, {load_now()}")
    print(f"stored            {timed / found.stored:8.1f} mails a second")
    print(
        f"read and proposed {timed / found.read:8.1f} mails a second (bar {BAR}); {requests} requests, {failed} failed"
    )
    print(f"fetched, parsed   {alone / seconds:8.1f} mails a second   ratio {found.read / timed / seconds * alone:.1f}")
    parts = ", ".join(f"{part} {spent / timed * 1000:.1f}" for part, spent in found.busy.items())
    print(f"processor         {busy * 1000:8.1f} ms a mail: {parts}; ratio to fetched, parsed {busy / busy_alone:.1f}")
    print(f"                  {2 / busy:8.1f} mails a second is what two cores with nothing else to do have time for")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:4]))
