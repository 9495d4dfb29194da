"""Very many mails of one sender, with some of others among them: how long these others wait, and what becomes of all.

    python -m tests.benchmarks.flood [MAILS] [OTHERS] [VOTERS] [MINUTES]

50,000 mails of one sender and 100 of others, evenly among them, lie in a private Dovecot's mailbox at one moment. The
clock runs until the last of the others has its proposal. Then it goes on until every mail is stored, at most so many
minutes (15) in all. Beside it, in the same run: the rate at which mail was read, from which it follows how long the
last of the others would have waited if mail were read in the order in which it came.
"""

from __future__ import annotations

import sys
import time
from itertools import islice

from replacements.store.database import Database
from tests.benchmarks.an_office import an_office, load_now, set_up, some_voters
from tests.benchmarks.letters import letters
from tests.benchmarks.private_postgres import private_postgres

BAR = 120.0  # seconds until all of the others have their proposals
BUSY = "busy@flood.example"


def main(mails: int = 50_000, others: int = 100, voters: int = 100_000, minutes: float = 15, url: str = "") -> None:
    if not url:
        with private_postgres() as server:
            database = Database(server)
            set_up(database, voters)
            database.close()
            main(mails, others, voters, minutes, server)
        return
    with an_office(url) as office:
        known = some_voters(office.database, max(others, 1000))
        flood = islice(letters(known, seed=6, sender=f"Busy <{BUSY}>"), mails)
        few = iter(list(islice(letters(known), others)))
        every = mails // others
        mixed = []
        for number, raw in enumerate(flood):
            mixed.append(raw)
            if number % every == every // 2 and (one := next(few, None)) is not None:
                mixed.append(one)
        office.start(2)
        began = time.monotonic()
        office.deliver(mixed)
        delivered = time.monotonic() - began
        done = f"SELECT count(*) FROM messages WHERE sender <> '{BUSY}' AND state <> 'stored'"
        waited = office.wait(lambda: int(str(office.one(done))) >= others, minutes * 60, every=0.5) + delivered
        read = office.count("read") + office.count("failed")
        stored = office.count()
        print(f"{voters} voters, {mails} mails of one sender, {others} of others, {load_now()}", flush=True)
        print(
            f"the others all have proposals after {waited:7.1f} s (bar {BAR:.0f}); {stored} stored, {read} read by then"
        )
        in_order = (len(mixed) - every / 2) / (read / waited)
        print(f"in the order in which they came     {in_order:7.1f} s   ratio {in_order / waited:.1f}", flush=True)
        left = minutes * 60 - (time.monotonic() - began)
        try:
            office.wait(lambda: office.count() >= len(mixed), left, every=2.0)
        except TimeoutError:
            print("not all are stored in the time given")
        now = time.monotonic() - began
        print(f"{office.count()} of {len(mixed)} stored after {now:.0f} s, {office.count() / now:.0f} a second")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:4]), *map(float, sys.argv[4:5]))
