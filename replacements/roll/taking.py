"""What an import writes: voters, their place in the index, how common names are, and what changed about whom."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, compress, repeat
from operator import lt
from typing import Any

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.orm import Session

from replacements.roll import checksums, register
from replacements.roll.index import COLUMNS, FIELDS, change, in_pieces
from replacements.roll.memory import counted_firsts, counted_lasts
from replacements.roll.postings import Gathered
from replacements.roll.read_aside import Together
from replacements.roll.roll_file import stands_already
from replacements.store.bulk import insert_rows, run_many
from replacements.store.csv_files import Refused
from replacements.store.tables import NameCount, RollImport, VoterChange, VoterRow

_PLACE = {name: place for place, name in enumerate(FIELDS)}
Values = tuple[Any, ...]  # a voter's, in the order of `Voter`
HISTORY = ("style", "precinct", "status")  # what ballots depend on: every change of it is kept
_UPDATE = (
    f"UPDATE voters SET {', '.join(f'{name} = :{name}' for name in (*FIELDS, 'number'))} WHERE voter_id = :voter_id"  # noqa: S608
)


@dataclass(slots=True)
class Line:
    """A line that is not known: with its values, or refused. `place`: where its digest stands in the new register."""

    line: int
    voter_id: str
    values: Values | None
    refused: Refused | None
    place: int
    checksums: Sequence[int] | None = None  # of the voter's keys, where they are made already


class Taking:
    """One import. `known` and `place` need no database; `begin` starts the writing, `finish` ends it."""

    def __init__(self, before: register.Register) -> None:
        self.added = self.changed = self.unchanged = 0
        self.refused: list[Refused] = []
        self._before = before
        self._line_of = array(
            "I", bytes(4 * (1 + max(before.numbers, default=0)))
        )  # voter's number -> line in the file
        self._digests = array("Q")
        self._numbers = array("I")
        self._refused_ids: dict[str, int] = {}
        self._gathered = Gathered()
        self._lasts: Counter[str] = Counter()
        self._firsts: Counter[str] = Counter()
        self._history: list[tuple[str, str, str, str]] = []

    # The file against the register

    def known(self, number: int, mark: int, line: int) -> bool:
        """Pass a line over that is on record; False where it stands in the file a second time."""
        if self._line_of[number]:
            return False
        self._line_of[number] = line
        self._digests.append(mark)
        self._numbers.append(number)
        self.unchanged += 1
        return True

    def place(self, mark: int) -> int:
        """Keep the line's place; its voter's number is filled in when it is taken."""
        self._digests.append(mark)
        self._numbers.append(0)
        return len(self._numbers) - 1

    @property
    def good(self) -> int:
        return self.added + self.changed + self.unchanged

    # Writing

    def begin(self, session: Session, import_id: int, at: datetime, form: str) -> None:
        self._session, self._import_id, self._at = session, import_id, at
        on_roll = select(func.count(), func.max(VoterRow.number)).where(VoterRow.number.is_not(None))
        self.on_record, highest = session.execute(on_roll).one()
        given = session.scalar(select(RollImport.highest).order_by(RollImport.id.desc()).limit(1))
        self._highest: int = max(highest or 0, given or 0)
        self._removed = 0
        # a first import, as long as its ids ascend: nothing can be on record of them
        self._in_order, self._greatest = session.execute(select(VoterRow.voter_id).limit(1)).first() is None, ""
        nothing = dict.fromkeys(("lines", "added", "changed", "removed", "refused", "highest"), 0)
        session.execute(insert(RollImport), [{"id": import_id, "at": at, "form": form, **nothing}])
        self._grow()

    def _grow(self) -> None:
        short = self._highest + 1 - len(self._line_of)
        if short > 0:
            self._line_of.frombytes(bytes(4 * short))

    def take(self, some: Together | Sequence[Line]) -> None:
        """Insert or update one batch."""
        if not isinstance(some, Together):
            self._take_each(some)
        elif self._in_order and self._follow([read.voter_id for read in some.lines if read.voter_id]):
            self._take_new(some)
        else:
            self._take_each(self._lines(some))
        self._gathered.spill()
        self._write_history()

    def _take_new(self, together: Together) -> None:
        """A batch of voters none of whom can be on record: the way of a first roll, as long as its ids ascend."""
        good = [read for read in together.lines if read.values is not None]
        for read in together.lines:
            if read.values is None:
                self.refused.append(Refused(read.line, read.refused))
                if read.voter_id:
                    self._refused_ids[read.voter_id] = read.line
        first = self._highest + 1
        self._highest += len(good)
        numbers = range(first, self._highest + 1)
        self._grow()
        self._line_of[first : self._highest + 1] = array("I", [read.line for read in good])
        self._digests.extend([read.mark for read in good])
        self._numbers.extend(numbers)
        owners = chain.from_iterable(map(repeat, numbers, filter(None, together.counts)))
        entries = [value << 32 | number for value, number in zip(array("I", together.checksums), owners, strict=True)]
        entries.sort()
        self._gathered.add_sorted(entries)
        rows = [(*read.values, number) for read, number in zip(good, numbers, strict=True) if read.values is not None]
        self._lasts.update([row[_PLACE["last_name"]] for row in rows])
        self._firsts.update([row[_PLACE["first_name"]] for row in rows])
        self.added += len(good)
        insert_rows(self._session, "voters", (*FIELDS, "number"), rows)

    def _lines(self, together: Together) -> Iterator[Line]:
        for read, keys in together.by_line():
            if read.values is None:
                yield Line(read.line, read.voter_id, None, Refused(read.line, read.refused), 0)
            else:
                yield Line(read.line, read.voter_id, read.values, None, self.place(read.mark), keys)

    def _take_each(self, some: Iterable[Line]) -> None:
        lines = list(some)
        ids = [line.voter_id for line in lines if line.voter_id]
        stored = self._stored(ids)
        new: list[tuple[Any, ...]] = []
        changed: list[dict[str, Any]] = []
        for line in lines:
            number, old = stored.get(line.voter_id, (None, None))
            values = line.values
            if line.voter_id in self._refused_ids:
                self._refuse(line, stands_already(line.voter_id, self._refused_ids[line.voter_id]))
            elif number and self._line_of[number]:
                self._refuse(line, stands_already(line.voter_id, self._line_of[number]))
            elif values is None:
                if line.refused is not None:
                    self.refused.append(line.refused)
                if line.voter_id:
                    self._refused_ids[line.voter_id] = line.line
                if number:  # they stay as they were; the next file's line is read again
                    self._seen(number, line.line)
                    self._numbers[self.place(register.UNKNOWN)] = number
            elif old is None:
                number = self._new_number()
                self._seen(number, line.line)
                self._numbers[line.place] = number
                stored[line.voter_id] = (number, values)
                new.append((*values, number))
                self._count(values, +1)
                self._gathered.add(line.checksums or checksums.of_values(values), number)
                self.added += 1
            elif number and old == values:
                self._seen(number, line.line)
                self._numbers[line.place] = number
                self.unchanged += 1
            else:
                was_off = not number
                number = number or self._new_number()
                self._seen(number, line.line)
                self._numbers[line.place] = number
                stored[line.voter_id] = (number, values)
                changed.append({**dict(zip(FIELDS, values, strict=True)), "number": number})
                self._turn(old, values, number, was_off=was_off)
                self.changed += 1
        insert_rows(self._session, "voters", (*FIELDS, "number"), new)
        run_many(self._session, _UPDATE, changed)

    def _follow(self, ids: Sequence[str]) -> bool:
        """Whether these ids are greater than all before, in order; then none of them can be on record already."""
        self._in_order = all(map(lt, chain((self._greatest,), ids), ids))
        self._greatest = ids[-1] if ids else self._greatest
        return self._in_order

    def _stored(self, ids: Sequence[str]) -> dict[str, tuple[int | None, Values | None]]:
        """What is on record of these voters, (number, values) by id."""
        found = self._session.execute(select(VoterRow.number, *COLUMNS).where(VoterRow.voter_id.in_(ids)))
        return {row[1]: (row[0], tuple(row)[1:]) for row in found}

    def _new_number(self) -> int:
        self._highest += 1
        self._line_of.append(0)
        return self._highest

    def _seen(self, number: int, line: int) -> None:
        self._line_of[number] = line

    def _refuse(self, line: Line, reason: str) -> None:
        self.refused.append(Refused(line.line, reason))

    def _turn(self, old: Values, new: Values, number: int, *, was_off: bool) -> None:
        """Index, counts and history of a voter who was one thing and is another."""
        before = set() if was_off else checksums.of_values(old)
        after = checksums.of_values(new)
        self._gathered.remove(before - after, number)
        self._gathered.add(after - before, number)
        if not was_off:
            self._count(old, -1)
        self._count(new, +1)
        self._note(old, new)

    def _note(self, old: Values, new: Values) -> None:
        for name in HISTORY:
            was, became = old[_PLACE[name]], new[_PLACE[name]]
            if was != became:
                self._history.append((old[0], name, was, became))

    def _count(self, values: Values, by: int) -> None:
        self._lasts[values[_PLACE["last_name"]]] += by
        self._firsts[values[_PLACE["first_name"]]] += by

    # Who is missing

    def missing(self) -> list[int]:
        """Numbers of the voters on the roll who have no line in the file."""
        numbers: Iterable[int | None] = self._before.numbers
        if len(self._before) != self.on_record:
            numbers = self._session.scalars(select(VoterRow.number).where(VoterRow.number.is_not(None)))
        return [number for number in numbers if number and not self._line_of[number]]

    def remove(self, missing: Sequence[int]) -> tuple[str, ...]:
        """Take these voters off the roll: kept and inactive, found by no key. Returns their ids."""
        gone: list[str] = []
        for some in in_pieces(missing):
            query = select(VoterRow.number, *COLUMNS).where(VoterRow.number.in_(some))
            for number, *values in self._session.execute(query).all():
                gone.append(values[0])
                self._gathered.remove(checksums.of_values(tuple(values)), number)
                self._count(tuple(values), -1)
                if (status := values[_PLACE["status"]]) != "inactive":
                    self._history.append((values[0], "status", status, "inactive"))
        run_many(
            self._session,
            "UPDATE voters SET status = 'inactive', number = NULL WHERE voter_id = :voter_id",
            ({"voter_id": voter_id} for voter_id in gone),
        )
        self._removed = len(gone)
        return tuple(sorted(gone))

    # The end

    def finish(self, lines: int) -> None:
        session = self._session
        made = {
            "lines": lines,
            "added": self.added,
            "changed": self.changed,
            "removed": self._removed,
            "refused": len(self.refused),
            "highest": self._highest,
        }
        session.execute(update(RollImport).where(RollImport.id == self._import_id).values(made))
        self._write_history()
        if not all(self._numbers):
            self._digests = array("Q", compress(self._digests, self._numbers))
            self._numbers = array("I", filter(None, self._numbers))
        if self._digests != self._before.digests or self._numbers != self._before.numbers:
            register.keep(session, self._digests, self._numbers)
        change(session, self._gathered)
        self._keep_counts()

    def _write_history(self) -> None:
        rows = [
            {
                "voter_id": voter_id,
                "import_id": self._import_id,
                "at": self._at,
                "field": name,
                "was": was,
                "became": became,
            }
            for voter_id, name, was, became in self._history
        ]
        if rows:
            self._session.execute(insert(VoterChange), rows)
        self._history.clear()

    def _keep_counts(self) -> None:
        """Add the differences to `name_counts`; `all` counts the voters on the roll."""
        differing: Counter[tuple[str, str]] = Counter()
        for last_name, by in self._lasts.items():
            for name in counted_lasts(last_name):
                differing["last", name] += by
        for first_name, by in self._firsts.items():
            for name in counted_firsts(first_name):
                differing["first", name] += by
        differing["all", ""] += self._lasts.total()
        rows = sorted((part, name, by) for (part, name), by in differing.items() if by)
        if not self.on_record:
            self._session.execute(delete(NameCount).where(NameCount.part != "keys"))
            insert_rows(self._session, "name_counts", ("part", "name", "voters"), rows)
            return
        run_many(
            self._session,
            "INSERT INTO name_counts (part, name, voters) VALUES (:part, :name, :by) "
            "ON CONFLICT (part, name) DO UPDATE SET voters = name_counts.voters + excluded.voters",
            ({"part": part, "name": name, "by": by} for part, name, by in rows),
        )
        self._session.execute(delete(NameCount).where(NameCount.part != "keys", NameCount.voters <= 0))
