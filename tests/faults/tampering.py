"""Edits made straight in the database file, past everything that refuses them: is each one found, and named?

    python -m tests.faults.tampering --edits 1000

Each edit is made in a fresh copy of one SQLite file whose ledger was signed (with a rung for each entry): by somebody
who only knows SQL, by somebody who can calculate an entry's hash, and by somebody who calculates the whole chain anew.
"""

# ruff: noqa: T201 (a script: it prints)

from __future__ import annotations

import argparse
import json
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from nacl.signing import SigningKey

from replacements.ballots import heads, life
from replacements.ballots.examining import examine
from replacements.ballots.ledger import BEFORE_THE_FIRST, canonical, chained
from replacements.store.database import Database
from replacements.store.migrate import migrate
from tests.faults.killing import ELECTION, one_operation, set_up

AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
KEY = SigningKey(b"t" * 32)
COLUMNS = ("seq", "at", "event", "election_id", "ballot_number", "voter_id", "by", "details", "prev_hash", "hash")
Name = tuple[str, object]  # ("entry", number) or ("ballot", number)


def whole_office(folder: Path, *, voters: int, operations: int, seed: int) -> tuple[Path, heads.Head]:
    """A file with some life in it, and its signed head."""
    path = folder / "office.db"
    database = Database(str(path))
    migrate(database)
    set_up(database, folder, voters)
    chance = random.Random(seed)
    for count in range(operations):
        try:
            with database.write() as session:
                one_operation(session, chance, voters, f"kim.{count}")
        except life.NotPossible:
            continue
    with database.read() as session:
        head = heads.sign(session, KEY, at=AT, every=1)
    database.close()
    return path, head


class Tamperer:
    """One edit at random. `entries` is the ledger as it was, by number."""

    def __init__(self, connection: sqlite3.Connection, chance: random.Random) -> None:
        self.connection, self.chance = connection, chance
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        rows = connection.execute(f"SELECT {', '.join(COLUMNS)} FROM ledger ORDER BY seq").fetchall()
        self.entries = [dict(zip(COLUMNS, row, strict=True)) for row in rows]

    def any_entry(self) -> int:
        return self.chance.randint(1, len(self.entries))

    def write(self, entries: list[dict[str, Any]]) -> None:
        self.connection.execute("DELETE FROM ledger")
        marks = ", ".join("?" * len(COLUMNS))
        self.connection.executemany(
            f"INSERT INTO ledger ({', '.join(COLUMNS)}) VALUES ({marks})",
            [tuple(entry[name] for name in COLUMNS) for entry in entries],
        )

    def calculate(self, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
        """The chain as the service itself would have made it of these entries."""
        before, made = BEFORE_THE_FIRST, []
        for seq, entry in enumerate(entries, 1):
            new = {**entry, "seq": seq, "prev_hash": before}
            new["hash"] = before = _hash(new)
            made.append(new)
        return made

    def a_change(self, entry: dict[str, Any]) -> dict[str, Any]:
        column = self.chance.choice(("at", "event", "election_id", "ballot_number", "voter_id", "by", "details"))
        old = entry[column]
        details = json.loads(entry["details"])
        details["note"] = "other"
        values = {
            "at": ["2031-10-07T15:00:00.000001+00:00", "2031-10-07T15:00:00Z", ""],
            "event": ["accepted", "voided", "returned", "mailed", "Voided"],
            "details": ["{}", canonical(details), f" {old}", f"{old} ", "", "null"],
        }.get(
            column,
            [
                "V0",
                "1000000",
                "sam",
                "",
                f"{old} ",
                f"{old}\0",
                "Ｖ１",
                *([None] if column in ("ballot_number", "voter_id") else []),
            ],
        )
        return {**entry, column: self.chance.choice([value for value in values if value != old])}

    def changed(self) -> Name:
        seq = self.any_entry()
        new = self.a_change(self.entries[seq - 1])
        sets = ", ".join(f"{name} = ?" for name in COLUMNS)
        self.connection.execute(f"UPDATE ledger SET {sets} WHERE seq = {seq}", [new[name] for name in COLUMNS])
        return "entry", seq

    def changed_in_its_bytes(self) -> Name:
        seq = self.any_entry()
        column = self.chance.choice(("at", "event", "by", "details", "hash", "prev_hash"))
        how = self.chance.choice(("CAST({0} AS BLOB)", "CAST(X'c328' AS TEXT)", "upper({0}) || 'x'", "X'00ff'"))
        self.connection.execute(f"UPDATE ledger SET {column} = {how.format(column)} WHERE seq = {seq}")
        return "entry", seq

    def changed_with_its_hash(self) -> Name:
        seq = self.any_entry()
        new = self.a_change(self.entries[seq - 1])
        sets = ", ".join(f"{name} = ?" for name in COLUMNS)
        new["hash"] = _hash(new)
        self.connection.execute(f"UPDATE ledger SET {sets} WHERE seq = {seq}", [new[name] for name in COLUMNS])
        # the entry is whole in itself: what shows is that the next one does not follow, or the signed head
        return "entry", seq if seq == len(self.entries) else seq + 1

    def changed_and_all_calculated_anew(self) -> Name:
        seq = self.any_entry()
        entries = [dict(entry) for entry in self.entries]
        entries[seq - 1] = self.a_change(entries[seq - 1])
        self.write(self.calculate(entries))
        return "entry", seq

    def removed(self) -> Name:
        seq = self.any_entry()
        self.connection.execute(f"DELETE FROM ledger WHERE seq = {seq}")
        return "entry", seq

    def cut_off_the_end(self) -> Name:
        seq = len(self.entries) - self.chance.randint(0, 9)
        self.connection.execute(f"DELETE FROM ledger WHERE seq >= {seq}")
        return "entry", seq

    def removed_and_numbered_anew(self) -> Name:
        seq = self.chance.randint(1, len(self.entries) - 1)
        self.connection.execute(f"DELETE FROM ledger WHERE seq = {seq}")
        for later in range(seq + 1, len(self.entries) + 1):
            self.connection.execute(f"UPDATE ledger SET seq = {later - 1} WHERE seq = {later}")
        return "entry", seq

    def removed_and_all_calculated_anew(self) -> Name:
        seq = self.any_entry()
        self.write(self.calculate([entry for entry in self.entries if entry["seq"] != seq]))
        return "entry", seq

    def swapped(self) -> Name:
        first, second = sorted(self.chance.sample(range(1, len(self.entries) + 1), 2))
        self.connection.execute(f"UPDATE ledger SET seq = -1 WHERE seq = {first}")
        self.connection.execute(f"UPDATE ledger SET seq = {first} WHERE seq = {second}")
        self.connection.execute(f"UPDATE ledger SET seq = {second} WHERE seq = -1")
        return "entry", first

    def swapped_and_all_calculated_anew(self) -> Name:
        first, second = sorted(self.chance.sample(range(1, len(self.entries) + 1), 2))
        entries = list(self.entries)
        entries[first - 1], entries[second - 1] = entries[second - 1], entries[first - 1]
        self.write(self.calculate(entries))
        return "entry", first

    def appended_badly(self) -> Name:
        last = self.entries[-1]
        new = {**self.chance.choice(self.entries), "seq": last["seq"] + 1}
        new |= {"prev_hash": self.chance.choice((last["hash"], "x")), "hash": "made up"}
        self.write([*self.entries, new])
        return "entry", new["seq"]

    def appended_as_the_service_would(self) -> Name:
        """An entry that fits the chain and its ballot; only the table of ballots knows nothing of it."""
        number, voter, style, state = self.chance.choice(
            self.connection.execute(
                "SELECT number, voter_id, style, state FROM ballots WHERE state IN ('issued', 'returned')"
            ).fetchall()
        )
        event = "voided" if state == "issued" else self.chance.choice(("accepted", "challenged"))
        details = canonical({"from": state, "reason": "wrong_style", "style": style})
        new = {**self.entries[-1], "event": event, "ballot_number": number, "voter_id": voter, "details": details}
        self.write(self.calculate([*self.entries, new]))
        return "entry", len(self.entries) + 1

    def put_in_between_and_all_calculated_anew(self) -> Name:
        place = self.any_entry()
        entries = list(self.entries)
        entries.insert(place - 1, {**self.chance.choice(self.entries), "by": "sam"})
        self.write(self.calculate(entries))
        return "entry", place

    def ballot_changed(self) -> Name:
        self.connection.execute("DROP INDEX one_live_ballot")
        self.connection.execute("DROP INDEX one_accepted_ballot")
        self.connection.execute("DROP INDEX one_replacement_standing")
        rows = self.connection.execute("SELECT number, state, style FROM ballots").fetchall()
        number, state, style = self.chance.choice(rows)
        states = {"issued", "undeliverable", "returned", "accepted", "challenged", "suspended", "voided"} - {state}
        column, value = self.chance.choice(
            (
                ("state", self.chance.choice(sorted(states))),
                ("style", f"{style}x"),
                ("voter_id", "V999999"),
                ("mailed_on", self.chance.choice(("2031-01-01", "never"))),
                ("returned_on", "2031-01-01"),
                ("void_reason", "because"),
            )
        )
        self.connection.execute(f"UPDATE ballots SET {column} = ? WHERE number = ?", (value, number))
        return "ballot", number

    def ballot_put_in(self) -> Name:
        self.connection.execute(
            "INSERT INTO ballots (number, election_id, voter_id, style, state) VALUES ('55', ?, 'V99', 'A', 'voided')",
            (ELECTION,),
        )
        return "ballot", "55"

    def ballot_removed(self) -> Name:
        number = self.chance.choice(
            self.connection.execute(
                "SELECT number FROM ballots AS b WHERE NOT EXISTS (SELECT 1 FROM ballots WHERE replaces = b.number)"
            ).fetchall()
        )[0]
        self.connection.execute("DELETE FROM ballots WHERE number = ?", (number,))
        return "ballot", number


EDITS: tuple[Callable[[Tamperer], Name], ...] = (
    Tamperer.changed,
    Tamperer.changed_in_its_bytes,
    Tamperer.changed_with_its_hash,
    Tamperer.changed_and_all_calculated_anew,
    Tamperer.removed,
    Tamperer.cut_off_the_end,
    Tamperer.removed_and_numbered_anew,
    Tamperer.removed_and_all_calculated_anew,
    Tamperer.swapped,
    Tamperer.swapped_and_all_calculated_anew,
    Tamperer.appended_badly,
    Tamperer.appended_as_the_service_would,
    Tamperer.put_in_between_and_all_calculated_anew,
    Tamperer.ballot_changed,
    Tamperer.ballot_put_in,
    Tamperer.ballot_removed,
)


def _hash(entry: dict[str, Any]) -> str:
    """As the service makes it: `details` goes in as it stands, even where it is no JSON."""
    mark = "the details go here"
    data = {name: value for name, value in entry.items() if name not in ("prev_hash", "hash")}
    return chained(entry["prev_hash"], canonical({**data, "details": mark}).replace(f'"{mark}"', entry["details"]))


def tamper(folder: Path, *, edits: int, seed: int, voters: int = 120, operations: int = 300) -> list[tuple[str, str]]:
    """Make the edits, each in a copy of its own. Returns (edit, what was missed or named otherwise); empty is good."""
    whole, head = whole_office(folder, voters=voters, operations=operations, seed=seed)
    key = bytes(KEY.verify_key).hex()
    missed: list[tuple[str, str]] = []
    chance = random.Random(seed)
    for count in range(edits):
        edit = EDITS[count % len(EDITS)]
        path = folder / "copy.db"
        for extra in ("", "-wal", "-shm"):
            Path(f"{path}{extra}").unlink(missing_ok=True)
        shutil.copyfile(whole, path)
        connection = sqlite3.connect(path)
        kind, name = edit(Tamperer(connection, chance))
        connection.commit()
        connection.close()
        database = Database(str(path))
        with database.read() as session:
            found = examine(session, signed=[head], key=key)
        database.close()
        named = {one.entry if kind == "entry" else one.ballot for one in found.trouble}
        if not found.trouble:
            missed.append((edit.__name__, f"{kind} {name}: nothing was found"))
        elif name not in named:
            missed.append((edit.__name__, f"{kind} {name}: named {sorted(map(str, named))[:5]}"))
    return missed


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--edits", type=int, default=1_000)
    asked.add_argument("--seed", type=int, default=1)
    how = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="tampered-") as folder:
        missed = tamper(Path(folder), edits=how.edits, seed=how.seed)
    print(f"{how.edits} edits of {len(EDITS)} kinds: {how.edits - len(missed)} found and named rightly.")
    for edit, text in missed[:50]:
        print(f"{edit}: {text}")
    print(dict(Counter(edit for edit, _ in missed)) or "none missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
