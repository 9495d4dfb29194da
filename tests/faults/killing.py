"""Clerks who decide at random, and are killed at random: what the ledger and the tables say afterwards.

    python -m tests.faults.killing --database postgresql --processes 16 --operations 20000 --kills 50
    python -m tests.faults.killing --database sqlite --processes 4 --operations 5000 --kills 50

Every operation has a name of its own, which stands on its ledger entries as who did it. A clerk notes it in a file
before it begins, and when it is committed. So it can be told afterwards: what was noted as done is on the ledger once
and whole; what was cut off by the kill is there whole or not at all; what was refused left nothing.
"""

# ruff: noqa: T201 (a script: it prints)

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from replacements.ballots import life, rebuilding
from replacements.ballots.importing import import_ballots
from replacements.ballots.ledger import verify
from replacements.ballots.reconciling import reconcile
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import LIVE_STATES, Ballot, Election, LedgerEntry

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
TODAY = date(2031, 10, 7)
A_WHILE = 0.02  # seconds between two looks at how far the clerks are
PATIENCE = 60.0  # seconds without any progress after which the clerks are said to hang


@dataclass(slots=True)
class Outcome:
    """What a run left behind. Everything in `faults` is a fault, in words."""

    done: int = 0
    refused: int = 0
    cut_off: int = 0
    kills: int = 0
    entries: int = 0
    seconds: float = 0.0
    faults: list[str] = field(default_factory=list)


def set_up(database: Database, folder: Path, voters: int) -> None:
    """An election with a ballot for every voter, imported."""
    lines = "\n".join(f"{1_000_000 + n},V{n},{'ABC'[n % 3]},issued" for n in range(voters))
    (folder / "ballots.csv").write_text(f"ballot_number,voter_id,style,state\n{lines}\n", encoding="utf-8")
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))
        session.flush()
        import_ballots(session, folder / "ballots.csv", election_id=ELECTION, at=AT)


def one_operation(session: Session, chance: random.Random, voters: int, name: str) -> int:
    """Something that may happen to a ballot of some voter; how many ledger entries it must leave."""
    rows = session.execute(
        select(Ballot.number, Ballot.state, Ballot.replaces, Ballot.mailed_on)
        .where(Ballot.election_id == ELECTION, Ballot.voter_id == f"V{chance.randrange(voters)}")
        .order_by(Ballot.number)
    ).all()
    # mostly what can be done, so that much happens; now and then what cannot, to be refused
    number, state, replaces, _ = chance.choice([row for row in rows if row.state in LIVE_STATES] or rows)
    if chance.random() < 0.1:
        number, state, replaces, _ = chance.choice(rows)
    acts: list[Callable[[], object]] = [
        lambda: life.reissue(
            session, number=number, cause="spoiled", by=name, at=AT, prefix="7",
            original=chance.choice(["void", "void", "suspend"]),
        ),
        lambda: life.take_back(session, replacement=number, reason="found", by=name, at=AT),
        lambda: life.mark_mailed(session, numbers=[number], on=TODAY, by=name, at=AT),
        lambda: life.mark_undeliverable(session, number=number, by=name, at=AT),
        lambda: life.take_in(session, number=number, on=TODAY, by=name, at=AT),
        lambda: life.accept(session, number=number, by=name, at=AT),
        lambda: life.challenge(session, number=number, reason="no signature", by=name, at=AT),
        lambda: life.cure(session, number=number, by=name, at=AT),
        lambda: life.void(session, number=number, reason="wrong_style", by=name, at=AT),
    ]  # fmt: skip
    weights = {
        "issued": (8, 6 if replaces else 0, 4, 1, 2, 0, 0, 0, 0),
        "undeliverable": (6, 0, 0, 0, 1, 0, 0, 0, 1),
        "returned": (0, 0, 0, 0, 0, 2, 3, 0, 0),
        "challenged": (0, 0, 0, 0, 0, 0, 0, 4, 1),
    }.get(state, (1,) * len(acts))
    before = session.scalar(select(func.count()).select_from(LedgerEntry).where(LedgerEntry.by == name)) or 0
    chance.choices(acts, weights)[0]()
    after = session.scalar(select(func.count()).select_from(LedgerEntry).where(LedgerEntry.by == name)) or 0
    return after - before


def clerk(url: str, notes: Path, name: str, voters: int, seed: str, until: Path) -> None:
    """One process: an operation after the other, each noted before and after, until the file `until` is there."""
    chance = random.Random(seed)
    database = Database(url)
    with notes.open("a", buffering=1, encoding="ascii") as file:
        count = 0
        while not until.exists():
            count += 1
            operation = f"{name}.{count}"
            file.write(f"begin {operation}\n")
            try:
                with database.write() as session:
                    left = one_operation(session, chance, voters, operation)
                file.write(f"done {operation} {left}\n")
            except life.NotPossible:
                file.write(f"refused {operation}\n")
            except Exception as error:  # whatever else: a fault, to be told by the one who looks
                file.write(f"error {operation} {type(error).__name__}\n")
    database.close()


def run(url: str, folder: Path, *, processes: int, operations: int, kills: int, seed: int, voters: int) -> Outcome:
    """Set up, let the clerks work and kill them, then look. `operations` counts what was done or refused."""
    database = Database(url)
    migrate(database)
    set_up(database, folder, voters)
    database.close()
    outcome, chance, until = Outcome(), random.Random(seed), folder / "stop"
    context = multiprocessing.get_context("fork")
    started = time.monotonic()
    made = 0

    def start() -> multiprocessing.process.BaseProcess:
        nonlocal made
        made += 1
        name = f"c{made}"
        process = context.Process(target=clerk, args=(url, folder / name, name, voters, f"{seed} {name}", until))
        process.start()
        return process

    clerks = [start() for _ in range(processes)]
    at_which = sorted(chance.uniform(0.02, 0.98) * operations for _ in range(kills))
    far, moved = 0, time.monotonic()
    while far < operations:
        time.sleep(A_WHILE)
        now_far = sum(_ended(path) for path in folder.glob("c*"))
        if now_far > far:
            far, moved = now_far, time.monotonic()
        elif time.monotonic() - moved > PATIENCE:
            outcome.faults.append(f"nothing happened for {PATIENCE:.0f} seconds: the clerks wait for each other")
            break
        while at_which and at_which[0] <= far:
            at_which.pop(0)
            place = chance.randrange(processes)
            time.sleep(chance.uniform(0, A_WHILE))
            os.kill(clerks[place].pid or 0, signal.SIGKILL)
            clerks[place].join()
            outcome.kills += 1
            clerks[place] = start()
    until.touch()
    for process in clerks:
        process.join(timeout=PATIENCE)
        if process.is_alive():
            process.kill()
            outcome.faults.append("a clerk did not come to an end")
    outcome.seconds = time.monotonic() - started
    database = Database(url)
    with database.read() as session:
        look(session, folder, outcome)
    database.close()
    return outcome


def _ended(path: Path) -> int:
    data = path.read_bytes()
    return data.count(b"\ndone ") + data.count(b"\nrefused ")


def look(session: Session, folder: Path, outcome: Outcome) -> None:
    """Hold the clerks' notes, the ledger and the tables against each other."""
    left: dict[str, int] = defaultdict(int)
    for name in session.scalars(select(LedgerEntry.by)):
        left[name] += 1
    begun: set[str] = set()
    for path in folder.glob("c*"):
        for line in path.read_text(encoding="ascii").splitlines():
            what, operation, *more = line.split()
            if what == "begin":
                begun.add(operation)
                continue
            begun.discard(operation)
            if what == "done":
                outcome.done += 1
                if left[operation] != int(more[0]) or left[operation] == 0:
                    outcome.faults.append(f"{operation}: {more[0]} entries were committed, {left[operation]} are there")
            elif what == "refused":
                outcome.refused += 1
                if left[operation]:
                    outcome.faults.append(f"{operation}: refused, but {left[operation]} entries are there")
            else:
                outcome.faults.append(f"{operation}: {' '.join(more)}")
    outcome.cut_off = len(begun)
    known = {name for name in left if "." in name}
    _look_at_cut_off(session, begun & known, outcome)
    verdict = verify(session)
    outcome.entries = verdict.entries
    if verdict.broken is not None:
        outcome.faults.append(f"the chain: {verdict.broken.text}")
    two = session.execute(
        select(Ballot.voter_id, func.count())
        .where(Ballot.state.in_(LIVE_STATES))
        .group_by(Ballot.voter_id)
        .having(func.count() > 1)
    ).all()
    outcome.faults += [f"voter {voter} has {count} live ballots" for voter, count in two]
    books = reconcile(session, ELECTION)
    outcome.faults += [f"ballot {one.number}: {one.text}" for one in books.differences]
    if not books.agrees:
        outcome.faults.append("the books do not balance")
    rebuilt = rebuilding.rebuild(session, ELECTION)
    differs = rebuilding.compare(session, ELECTION, rebuilt)
    outcome.faults += [f"ballot {one.number}: {one.text}" for one in differs]
    numbers = Counter(session.scalars(select(LedgerEntry.ballot_number).where(LedgerEntry.event == "reissued")))
    outcome.faults += [f"number {number} was issued {count} times" for number, count in numbers.items() if count > 1]


def _look_at_cut_off(session: Session, cut_off: set[str], outcome: Outcome) -> None:
    """What was cut off and is there must be whole: a void with its reissue, a replacement with its original."""
    for operation in sorted(cut_off):
        rows = session.scalars(select(LedgerEntry.event).where(LedgerEntry.by == operation)).all()
        events = Counter(rows)
        ended = events["voided"] + events["suspended"]
        if events["reissued"] and ended != 1:
            outcome.faults.append(f"{operation}: a replacement without the end of its original")
        if events["reinstated"] and events["voided"] != 1:
            outcome.faults.append(f"{operation}: an original reinstated without the end of its replacement")


def main() -> int:
    from tests.benchmarks.private_postgres import private_postgres

    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--database", choices=["sqlite", "postgresql"], required=True)
    asked.add_argument("--processes", type=int, default=4)
    asked.add_argument("--operations", type=int, default=5_000)
    asked.add_argument("--kills", type=int, default=50)
    asked.add_argument("--voters", type=int, default=0, help="default: one for every three operations")
    asked.add_argument("--seed", type=int, default=1)
    how = asked.parse_args()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="killed-clerks-")))
        url = stack.enter_context(private_postgres()) if how.database == "postgresql" else str(folder / "office.db")
        if not url:
            print("PostgreSQL is not installed.", file=sys.stderr)
            return 2
        outcome = run(
            url, folder, processes=how.processes, operations=how.operations, kills=how.kills, seed=how.seed,
            voters=how.voters or how.operations // 3,
        )  # fmt: skip
    print(
        f"{how.database}, {how.processes} processes, {outcome.kills} kills, {outcome.seconds:.0f} s: "
        f"{outcome.done} done, {outcome.refused} refused, {outcome.cut_off} cut off, {outcome.entries} ledger entries; "
        f"{len(outcome.faults)} faults"
    )
    for fault in outcome.faults[:50]:
        print(fault)
    return 1 if outcome.faults else 0


if __name__ == "__main__":
    sys.exit(main())
