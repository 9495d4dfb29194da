"""An office that is struck by faults while two thousand mails come in, and what it answers for afterwards.

    python -m tests.faults.three_hundred_faults [--faults 300] [--mails 2000] [--seed 1] [--seconds 600]

Real servers, private and gone afterwards: PostgreSQL, Redis, Dovecot, an SMTP server; the worker with its processes,
the schedule and the pages as an installation starts them, started again whenever they end. Clerks decide on the pages
meanwhile. Then the faults stop, the clock goes on, and what was left half-way is taken up. Ends with 1 where the
account shows a fault. Full disks need root (a small tmpfs); a clock that steps needs libfaketime (Debian: faketime).
"""

# ruff: noqa: T201 (a script: it prints)

from __future__ import annotations

import argparse
import itertools
import os
import random
import shutil
import signal
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta

from rich.console import Console
from rich.table import Table

from replacements.store.database import Database
from tests.faults.accounting import Line, account, how_far
from tests.faults.clerks_at_once import FastClerk
from tests.faults.clerks_on_pages import Clerk
from tests.faults.mail_of_a_day import Mail, mail_of_a_day
from tests.faults.office_under_faults import PASSPHRASE, STAFF, Office, an_office
from tests.faults.striking import Striker

AIMED_EVERY = 50  # faults, after which the worker is killed once more, as a reply is taken over
SETTLING = timedelta(minutes=6)  # by which the clock goes on at each look while the rest is taken up
LOOK = 4.0  # seconds between two such looks
LONGEST_SETTLING = 900.0  # seconds
AT_THE_PAGES = "cleo"  # the clerk who works in a browser
LONGEST_DECIDING = 240.0  # seconds that clerks still have after the last mail was read


@dataclass
class Run:
    """What happened, and the account."""

    struck: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    ended: Counter[str] = field(default_factory=Counter)
    met: Counter[str] = field(default_factory=Counter)
    lines: list[Line] = field(default_factory=list)
    storm: float = 0.0
    settling: float = 0.0

    @property
    def faults(self) -> list[str]:
        return [f"{line.what}: {line.found} (bar: {line.bar})" for line in self.lines if line.fault]


def run(office: Office, *, faults: int, mails: int, seed: int, seconds: float, readers: int = 2) -> Run:
    """Set up, let mail, clerks and faults loose on the office, let it settle, and draw up the account."""
    office.set_up()
    voters = office.voters_with_ballots()
    post = mail_of_a_day(mails, out=voters, today=office.today, now=office.clock.now(), seed=seed)
    office.start(readers)
    striker = Striker(office, random.Random(seed))
    clerks: list[Clerk | FastClerk] = [Clerk(office.url, AT_THE_PAGES, PASSPHRASE, seed)]
    for number, (name, roles) in enumerate(STAFF.items()):
        if name != AT_THE_PAGES:
            clerks.append(FastClerk(office.postgres.url, name, tuple(roles), office.clock.now, seed + number))
    done, began = Run(), time.monotonic()
    stopped = threading.Event()
    threads = [threading.Thread(target=_bring, args=(office, post, seconds * 0.9, seed), daemon=True)]
    threads += [threading.Thread(target=clerk.work, args=(stopped,), daemon=True) for clerk in clerks]
    for thread in threads:
        thread.start()
    _note("the office is open")
    _strike(striker, faults, seconds)
    office.stop_cutting()
    threads[0].join()
    _note(f"the faults are over; left to store, to read, to send: {_left(office)}")
    done.storm = time.monotonic() - began
    began = time.monotonic()
    with _calm(stopped, threads[1:]):
        _settle(office, clerks)
    _note(f"the clerks are done; left: {_left(office)}")
    _wait_until_settled(office)
    done.settling = time.monotonic() - began
    done.struck, done.missed = striker.struck, striker.missed
    done.ended = Counter({program.name: program.ended for program in office.keeper.programs})
    for clerk in clerks:
        done.met.update(clerk.met)
    done.lines = account(office, [one for clerk in clerks for one in clerk.told], mails=mails, striker=striker)
    return done


def _note(text: str) -> None:
    print(f"{time.strftime('%H:%M:%S')} {text}", file=sys.stderr, flush=True)


@contextmanager
def _calm(stopped: threading.Event, clerks: Sequence[threading.Thread]) -> Iterator[None]:
    """Clerks go on as long as the block lasts."""
    try:
        yield
    finally:
        stopped.set()
        for thread in clerks:
            thread.join(60)


def _bring(office: Office, post: Sequence[Mail], seconds: float, seed: int) -> None:
    """Deliver all mail within so many seconds, now one and now many."""
    chance, began = random.Random(seed), time.monotonic()
    moments = sorted(chance.uniform(0, seconds) for _ in post)
    for moment, mail in zip(moments, post, strict=True):
        time.sleep(max(0.0, began + moment - time.monotonic()))
        office.deliver(mail.raw)


def _strike(striker: Striker, faults: int, seconds: float) -> None:
    """So many faults that meet something, spread over about so many seconds; and between them some that are aimed."""
    began = time.monotonic()
    while (struck := striker.struck.total()) < faults:
        if striker.strikes % 25 == 0:
            _note(f"{struck} faults")
        at = began + seconds * struck / faults
        time.sleep(max(0.0, at - time.monotonic()) * striker.chance.uniform(0.5, 1.0))
        striker.strike()
        if striker.strikes % AIMED_EVERY == 0:
            striker.kill_at_acceptance()


def _left(office: Office) -> tuple[int, int, int]:
    """Mails not stored yet, messages not read yet, replies still to go."""
    database = Database(office.postgres.url)
    try:
        stored, unread, unsent = how_far(database)
    finally:
        database.close()
    return office.delivered - stored, unread, unsent


def _settle(office: Office, clerks: Sequence[Clerk | FastClerk]) -> None:
    """Until every mail is read, and the clerks have decided what there is to decide, or have had their time."""
    until, noted = time.monotonic() + LONGEST_SETTLING, 0.0
    while time.monotonic() < until and any((left := _left(office))[:2]):
        if time.monotonic() - noted > 30:
            noted = time.monotonic()
            _note(f"left to store, to read, to send: {left}")
        time.sleep(LOOK)
    until, quiet, before = time.monotonic() + LONGEST_DECIDING, 0, -1
    while time.monotonic() < until and quiet < 3:
        now = sum(len(clerk.told) for clerk in clerks)
        quiet, before = (quiet + 1 if now == before else 0), now
        time.sleep(LOOK)


def _wait_until_settled(office: Office) -> None:
    """The sweep: what was claimed or put off is taken up as the clock goes on, and the copies that were left."""
    until = time.monotonic() + LONGEST_SETTLING
    for look in itertools.count():
        left = _left(office)
        if not any(left) or time.monotonic() > until:
            break
        if look % 10 == 0:
            _note(f"left to store, to read, to send: {left}")
        # Slowly, so that what is in hand is not taken for left behind.
        office.clock.step(SETTLING)
        time.sleep(LOOK)


def told(done: Run, *, seed: int, mails: int) -> None:
    out = Console()
    out.print(f"seed {seed}: {done.struck.total()} faults, {mails} mails")
    strikes = Table("fault", "struck")
    for name, count in sorted(done.struck.items()):
        strikes.add_row(name, str(count))
    out.print(strikes)
    books = Table("", "found", "bar", "")
    for line in done.lines:
        books.add_row(line.what, line.found, line.bar, "MISSED" if line.fault else "")
    out.print(books)
    ended = ", ".join(f"{name} {count}" for name, count in done.ended.items() if count) or "none"
    print(f"Faults for {done.storm:.0f} s, then {done.settling:.0f} s. Programs that ended by themselves: {ended}.")
    print(f"Clerks met: {', '.join(f'{what} ({count})' for what, count in done.met.most_common(8))}.")
    if done.missed:
        print(f"Found nothing to strike: {', '.join(f'{name} ({count})' for name, count in done.missed.items())}.")


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--faults", type=int, default=300)
    asked.add_argument("--mails", type=int, default=2_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=600.0, help="for which the faults strike")
    asked.add_argument("--keep-logs", help="folder to which the programs' logs are copied")
    how = asked.parse_args()
    os.nice(max(0, 5 - os.nice(0)))
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(3))  # so that the servers are stopped
    with an_office() as office:
        try:
            done = run(office, faults=how.faults, mails=how.mails, seed=how.seed, seconds=how.seconds)
        finally:
            if how.keep_logs:
                os.makedirs(how.keep_logs, exist_ok=True)
                for path in office.folder.glob("*.log"):
                    shutil.copy(path, how.keep_logs)
        told(done, seed=how.seed, mails=how.mails)
    return 1 if done.faults else 0


if __name__ == "__main__":
    sys.exit(main())
