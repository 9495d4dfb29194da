"""A mail is sent to an idle office: how long until the clerks' list has its request.

    python -m tests.benchmarks.until_it_is_seen [MAILS] [VOTERS]

A private Dovecot announces each mail (IDLE), Celery's worker stores and reads it, and the list's own query is asked
again and again. Forty mails, each some seconds after the one before, a little more or less. Beside it, in the same run:
how long until a mail program that waits with IDLE has the same kind of mail on its disk. Prints medians, 95th
percentiles and their ratio; and the same for a message that only has to be stored.
"""

from __future__ import annotations

import random
import sys
import threading
import time
from itertools import islice

import numpy as np

from replacements.store.database import Database
from tests.benchmarks.an_office import Office, an_office, load_now, set_up, some_voters
from tests.benchmarks.letters import letters
from tests.benchmarks.private_postgres import private_postgres

BAR = 3.0  # seconds, of which 95 in 100 are below
LOOK = 0.02
_LISTED = "SELECT count(DISTINCT message_id) FROM requests WHERE state IN ('waiting', 'filed')"


def seen(office: Office, mails: list[bytes], chance: random.Random) -> tuple[list[float], list[float]]:
    """Seconds until each was stored, and until its request was there."""
    stored, shown = [], []
    for number, raw in enumerate(mails, start=office.count() + 1):
        time.sleep(2 + chance.random() * 2)
        began = time.monotonic()
        office.deliver([raw])
        office.wait(lambda number=number: office.count() >= number, 120, LOOK)  # type: ignore[misc]
        stored.append(time.monotonic() - began)
        office.wait(lambda number=number: int(str(office.one(_LISTED))) >= number, 120, LOOK)  # type: ignore[misc]
        shown.append(time.monotonic() - began)
    return stored, shown


def by_a_mail_program(office: Office, mails: list[bytes], chance: random.Random) -> list[float]:
    """Seconds until a client that waits with IDLE has fetched each."""
    took: list[float] = []
    with office.dovecot.client() as client:
        client.select_folder("INBOX", readonly=True)
        last = max(client.search(["ALL"]), default=0)
        for raw in mails:
            began: list[float] = []

            def send(raw: bytes = raw, began: list[float] = began) -> None:
                began.append(time.monotonic())
                office.deliver([raw])

            client.idle()
            later = threading.Timer(1 + chance.random(), send)
            later.start()
            while not client.idle_check(1.0):
                pass
            client.idle_done()
            later.join()
            new = client.search(["UID", f"{last + 1}:*"])
            last = max(new)
            client.fetch(new, ["BODY.PEEK[]"])
            took.append(time.monotonic() - began[0])
    return took


def main(mails: int = 40, voters: int = 100_000, url: str = "") -> None:
    if not url:
        with private_postgres() as server:
            database = Database(server)
            set_up(database, voters)
            database.close()
            main(mails, voters, server)
        return
    with an_office(url) as office:
        chance = random.Random(1)
        some = list(islice(letters(some_voters(office.database, mails * 2)), mails * 2))
        office.start(2)
        seen(office, some[:4], chance)  # so that no first-time loading is measured
        stored, shown = seen(office, some[4:mails], chance)
        load = load_now()
        office.stop()
        alone = by_a_mail_program(office, some[mails : mails + mails // 2], chance)
    print(f"{voters} voters, {len(shown)} mails, {load}")
    for name, times in (("stored", stored), ("in the clerks' list", shown), ("a mail program has it", alone)):
        middle, late = np.percentile(times, 50), np.percentile(times, 95)
        print(f"{name:24} median {middle:6.2f} s   95 in 100 {late:6.2f} s   longest {max(times):6.2f} s")
    ratio = np.percentile(shown, 95) / np.percentile(alone, 95)
    print(f"bar {BAR} s; ratio {ratio:.1f}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
