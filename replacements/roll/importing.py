"""Take a roll file into the database: only what differs is touched, and what was refused is told line by line.

An import is one transaction, so that readers see the old roll or the new one, and one that is killed leaves nothing
behind: it is run again. What can be done without the database's write lock is done before (`prepare`). A voter who is
missing from a newer file is kept (their ballots and requests stay on record), marked inactive, found by no message any
more, and listed. A voter whose line was refused is left as they were.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain, islice
from pathlib import Path

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from replacements.roll import index, read_aside
from replacements.roll.read_aside import BATCH, Together
from replacements.roll.register import Register
from replacements.roll.roll_file import NO_ID, RollFile, RollReader, digest, read_roll
from replacements.roll.taking import Line, Taking
from replacements.store.bulk import is_sqlite, more_cache
from replacements.store.csv_files import FileTrouble, Refused
from replacements.store.database import Database
from replacements.store.tables import RollImport

__all__ = ["RollFile", "RollReport", "import_file", "import_roll", "read_roll"]

MOST_MISSING = 0.5  # a file that lacks more of the roll than this is half a file, not a newer one
_HELD = 20_000  # lines that differ and are read before the write lock is taken; the others are read under it
_LOCK = 70_132  # any number; the key of PostgreSQL's advisory lock around an import

Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class RollReport:
    """What an import did. `left_out`: ids of voters who are no longer in the file and were taken off the roll by it.

    `taken` is False where `strict` refused the whole file; nothing was changed then.
    """

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    left_out: tuple[str, ...] = ()
    refused: tuple[Refused, ...] = ()
    taken: bool = True

    @property
    def touched(self) -> int:
        """How many voters were written."""
        return self.added + self.changed + len(self.left_out)


def import_file(
    database: Database,
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    strict: bool = False,
    progress: Progress | None = None,
    at: datetime | None = None,
) -> RollReport:
    """As `import_roll`, in transactions of its own: others can write while the file is compared with the last one."""
    with database.read() as session:
        scan = _Scan(session, path, columns, progress)
    scan.read_ahead()
    with database.write() as session:
        return _take(session, scan, strict=strict, at=at)


def import_roll(
    session: Session,
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    strict: bool = False,
    progress: Progress | None = None,
    at: datetime | None = None,
) -> RollReport:
    """Bring the stored roll to the state of the file, inside the caller's transaction.

    `columns` maps our names to the office's headings. `strict`: one bad line refuses the whole file. `progress` is
    called with the number of lines done. `at`: when, for the record of what changed. Raises FileTrouble for a file that
    cannot be used at all, has no good line, or that lacks more than half of the voters on record.
    """
    return _take(session, _Scan(session, path, columns, progress), strict=strict, at=at)


class _Scan:
    """The file against the lines on record: known lines are passed over, the others handed out."""

    def __init__(
        self, session: Session, path: Path, columns: Mapping[str, str] | None, progress: Progress | None
    ) -> None:
        self.path = path
        self.reader = RollReader(path, columns)
        self.register = Register(session)
        if self.register.form != self.reader.form:
            self.register.forget()
        self.lines = 0
        self._progress, self._columns = progress, columns
        self.taking = Taking(self.register)
        self.differing: Iterator[Together | list[Line]] = self._walk()

    def read_ahead(self) -> None:
        held: list[Together | list[Line]] = []
        for some in self.differing:
            held.append(some)
            if len(held) * BATCH >= _HELD:
                break
        self.differing = chain(held, self.differing)

    def _walk(self) -> Iterator[Together | list[Line]]:
        if self.register:
            differing = self._differing()
            while batch := list(islice(differing, BATCH)):
                yield batch
        else:
            large = self.path.stat().st_size >= read_aside.LARGE
            for together in read_aside.read_aside(self.path, self._columns) if large else read_aside.read(self.reader):
                self._told(len(together.lines))
                yield together
        self._told(0)

    def _differing(self) -> Iterator[Line]:
        find, reader, taking = self.register.find, self.reader, self.taking
        for line, row in reader.rows():
            self._told(1)
            if isinstance(row, Refused):
                yield Line(line, "", None, row, 0)
                continue
            mark = digest("\x1f".join(row))
            if (number := find(mark)) and taking.known(number, mark, line):
                continue
            voter_id = reader.voter_id(row)
            try:
                if not voter_id:
                    raise ValueError(NO_ID)
                yield Line(line, voter_id, reader.values(row), None, taking.place(mark))
            except ValueError as error:
                yield Line(line, voter_id, None, Refused(line, str(error)), 0)

    def _told(self, more: int) -> None:
        """Tell how far it is, after so many more lines; 0 at the end."""
        self.lines += more
        if self._progress and (not more or self.lines % BATCH < more):
            self._progress(self.lines)


def _take(session: Session, scan: _Scan, *, strict: bool, at: datetime | None) -> RollReport:
    if not is_sqlite(session):
        session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
    last = session.scalar(select(RollImport.id).order_by(RollImport.id.desc()).limit(1)) or 0
    if last != scan.register.import_id:
        raise FileTrouble(
            f"{scan.path}: another import ended meanwhile. Nothing was changed by this one; run it again."
        )
    more_cache(session, more=True)
    collecting = gc.isenabled()
    gc.disable()  # nothing here goes round in circles, and looking for circles takes a quarter of the time
    try:
        with session.begin_nested() as whole:
            report = _taken(session, scan, at or datetime.now(UTC))
            if strict and report.refused:
                whole.rollback()
                return RollReport(refused=report.refused, taken=False)
            return report
    finally:
        more_cache(session, more=False)
        if collecting:
            gc.enable()


def _taken(session: Session, scan: _Scan, at: datetime) -> RollReport:
    if index.is_old(session):
        index.renew(session)
    taking = scan.taking
    taking.begin(session, scan.register.import_id + 1, at, scan.reader.form)
    for some in scan.differing:
        taking.take(some)
    if not taking.good:
        raise FileTrouble(f"{scan.path}: no line could be taken ({len(taking.refused)} refused). Nothing was changed.")
    missing = taking.missing()
    if len(missing) > MOST_MISSING * taking.on_record:
        raise FileTrouble(
            f"{scan.path}: {len(missing)} of {taking.on_record} voters on record are not in this file. That looks "
            "like a part of a roll, not a newer one. Nothing was changed. Hand in the whole file."
        )
    left_out = taking.remove(missing)
    taking.finish(scan.lines)
    return RollReport(taking.added, taking.changed, taking.unchanged, left_out, tuple(taking.refused))
