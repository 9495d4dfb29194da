"""One message's people -> candidates and standing, over a roll in SQLite, beside two other ways of finding a voter.

    python -m tests.benchmarks.finding_voters [VOTERS] [MESSAGES] [FILE]

The others, in the same run over the same voters and messages: RapidFuzz's `process.extractOne` over the whole roll in
memory ("given family, street" with its usual scorer, cut at nothing), and PostgreSQL with a `pg_trgm` index (GiST, the
nearest by distance), where its programs and that extension are installed. FILE: a roll to use instead of a fresh one.
Prints milliseconds (median, 99th percentile, mean), found-right shares, ratios and peak memory.
"""

from __future__ import annotations

import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import psycopg
from rapidfuzz import process

from replacements.roll.importing import import_file
from replacements.roll.matching import identify
from replacements.roll.nicknames_known import short_forms
from replacements.roll.roll_file import RollReader
from replacements.roll.standing import SUFFICIENT
from replacements.roll.stored import StoredRoll
from replacements.roll.types import AddressClue, Clues, Voter
from replacements.store.csv_files import Refused
from replacements.store.database import Database
from replacements.store.migrate import migrate
from tests.benchmarks.private_postgres import private_postgres
from tests.benchmarks.roll_generator import Generator, write_roll

TODAY = date(2026, 10, 20)
FUZZY = 12  # messages for the slow way: each takes a second or more


def slip(word: str, chance: random.Random) -> str:
    """One slip of the keyboard."""
    if len(word) < 4:
        return word
    at = chance.randrange(1, len(word) - 1)
    return chance.choice(
        (word[:at] + word[at + 1 :], word[:at] + word[at + 1] + word[at] + word[at + 2 :], word[:at] + "e" + word[at:])
    )


def message(voter: Voter, chance: random.Random) -> Clues:
    """What a voter says of themselves: the name with a slip or a short form now and then; address, birth date or both;
    a voter id or an account less often."""
    first, last = voter.first_name, voter.last_name
    way = chance.random()
    if way < 0.12:
        last = slip(last, chance)
    elif way < 0.2:
        first = slip(first, chance)
    elif way < 0.3 and (short := sorted(short_forms(first.lower()))):
        first = chance.choice(short).title()
    told = chance.random()
    year, month, day = map(int, voter.birth_date.split("-"))
    clues = Clues(names=(f"{first} {last}",))
    if told < 0.7:
        street = slip(voter.street, chance) if chance.random() < 0.1 else voter.street
        clues = replace(clues, addresses=(AddressClue(street, voter.unit, voter.city, "OR", voter.zip),))
    if told > 0.45:
        clues = replace(clues, birth_dates=((year, month, day),))
    if chance.random() < 0.15:
        clues = replace(clues, voter_ids=(voter.voter_id,))
    if voter.email and chance.random() < 0.6:
        clues = replace(clues, emails=(voter.email,))
    return clues


def as_text(voter: Voter) -> str:
    return f"{voter.first_name} {voter.last_name}, {voter.street}, {voter.birth_date}"


def said(clues: Clues) -> str:
    born = "-".join(f"{part or 0:02}" for part in clues.birth_dates[0]) if clues.birth_dates else ""
    street = clues.addresses[0].street if clues.addresses else ""
    return f"{clues.names[0]}, {street}, {born}"


def timed(name: str, asked: Sequence[tuple[Voter, Clues]], find: Callable[[Clues], str | None]) -> tuple[float, float]:
    """Print and return (mean milliseconds, share of messages for which the right voter came first)."""
    taken, right = [], 0
    for voter, clues in asked:
        started = time.perf_counter()
        found = find(clues)
        taken.append((time.perf_counter() - started) * 1000)
        right += found == voter.voter_id
    taken.sort()
    mean, share = sum(taken) / len(taken), right / len(taken)
    print(
        f"{name:22} median {taken[len(taken) // 2]:9.2f} ms   p99 {taken[int(len(taken) * 0.99)]:9.2f} ms   "
        f"mean {mean:9.2f} ms   found right {share:.3f}   ({len(taken)} messages)",
        flush=True,
    )
    return mean, share


def sampled(path: Path, count: int, of: int, chance: random.Random) -> list[Voter]:
    wanted = set(chance.sample(range(of), count))
    reader = RollReader(path)
    found = [
        reader.voter(row)
        for place, (_, row) in enumerate(reader.rows())
        if place in wanted and not isinstance(row, Refused)
    ]
    chance.shuffle(found)
    return found


def everybody(path: Path) -> Iterator[Voter]:
    reader = RollReader(path)
    for _, row in reader.rows():
        if not isinstance(row, Refused):
            yield reader.voter(row)


def by_likeness(path: Path, asked: Sequence[tuple[Voter, Clues]]) -> tuple[float, float]:
    lines = {voter.voter_id: as_text(voter) for voter in everybody(path)}
    return timed("RapidFuzz extractOne", asked, lambda clues: str(process.extractOne(said(clues), lines)[2]))


def by_trigrams(url: str, path: Path, asked: Sequence[tuple[Voter, Clues]]) -> tuple[float, float]:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute("CREATE EXTENSION pg_trgm")
        connection.execute("CREATE TABLE roll (voter_id text, line text)")
        with connection.cursor() as cursor, cursor.copy("COPY roll FROM STDIN") as copy:
            for voter in everybody(path):
                copy.write_row((voter.voter_id, as_text(voter)))
        connection.execute("CREATE INDEX ON roll USING gist (line gist_trgm_ops(siglen=64))")
        connection.execute("ANALYZE roll")

        def find(clues: Clues) -> str | None:
            row = connection.execute(
                "SELECT voter_id FROM roll ORDER BY line <-> %s LIMIT 1", (said(clues),)
            ).fetchone()
            return row[0] if row else None

        return timed("PostgreSQL pg_trgm", asked, find)


def main(voters: int = 1_000_000, messages: int = 2000, file: str = "") -> None:
    chance = random.Random(3)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(file) if file else Path(folder) / "roll.csv"
        if not file:
            write_roll(path, Generator().voters(voters))
        stored = Path(file + ".sqlite3") if file else Path(folder) / "roll.sqlite3"
        database = Database(str(stored))
        migrate(database)
        import_file(database, path)
        asked = [(voter, message(voter, chance)) for voter in sampled(path, messages, voters, chance)]
        certain: dict[bool, int] = {True: 0, False: 0}

        def ours(clues: Clues) -> str | None:
            with database.read() as session:
                who = identify(clues, StoredRoll(session), sufficient=SUFFICIENT, today=TODAY)
            return who.candidates[0].voter.voter_id if who.candidates else None

        for _, clues in asked[:50]:
            ours(clues)  # a worker has read a few messages before
        own, _ = timed("the roll's index", asked[50:], ours)
        print(f"{'':22} peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB with the import")
        with database.read() as session:
            for voter, clues in asked[50:]:
                found = identify(clues, StoredRoll(session), sufficient=SUFFICIENT, today=TODAY)
                if found.standing == "certain" and found.voter is not None:
                    certain[found.voter.voter_id == voter.voter_id] += 1
        print(f"{'':22} certain and right {certain[True]}, certain and wrong {certain[False]}")
        del asked[:50]
        _, same_few = timed("  of the first dozen", asked[:FUZZY], ours)
        _, same_more = timed("  of the first 240", asked[: FUZZY * 20], ours)
        other, share = by_likeness(path, asked[:FUZZY])
        print(f"{'':22} {other / own:.0f} times as long; found right {share:.3f} against {same_few:.3f} of the same")
        with private_postgres() as url:
            if not url:
                print("PostgreSQL with pg_trgm is not installed here: not compared")
                return
            other, share = by_trigrams(url, path, asked[: FUZZY * 20])
        print(f"{'':22} {other / own:.0f} times as long; found right {share:.3f} against {same_more:.3f} of the same")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]), *sys.argv[3:4])
