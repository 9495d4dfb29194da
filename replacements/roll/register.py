"""The lines of the last roll file, in its order: which lines of a newer file are known, and which voters are missing.

A line is known by 64 bits of a digest. Files of two nights have nearly the same order, so that the next line is nearly
always the expected one; after a line that is not, the place is found again by looking ahead. A line that is not found
costs no more than being read: then its voter is looked up and compared.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from replacements.roll.postings import packed, unpacked
from replacements.store.bulk import insert_rows
from replacements.store.tables import RollImport, RollLines

_CHUNK = 2048  # lines in a row of the table: 16 bytes each
_CHUNKS_TOGETHER = 64  # rows written in one go
_AHEAD = 256  # how far the next known line is looked for
UNKNOWN = 0  # the digest of a voter whose line must be read again


class Register:
    """The voters with a number, in the order of the last file. `form`: how that file was read."""

    def __init__(self, session: Session) -> None:
        last = session.execute(select(RollImport.id, RollImport.form).order_by(RollImport.id.desc()).limit(1)).first()
        self.import_id: int = last.id if last else 0
        self.form: str = last.form if last else ""
        self.digests = array("Q")
        self.numbers = array("I")
        for lines in session.scalars(select(RollLines.lines).order_by(RollLines.chunk)):
            both = unpacked(lines)
            self.digests.extend(both[: len(both) // 2])
            self.numbers.extend(both[len(both) // 2 :].tolist())
        self._next = 0
        self._missed = 0

    def __len__(self) -> int:
        return len(self.numbers)

    def forget(self) -> None:
        """No line is known: the file is read in another way than the last one."""
        self.digests = array("Q", bytes(8 * len(self.numbers)))

    def find(self, line: int) -> int:
        """The number of the voter whose line has this digest, 0 where none was found."""
        place = self._next
        if place < len(self.digests) and self.digests[place] == line:
            self._next, self._missed = place + 1, 0
            return self.numbers[place]
        self._missed += 1
        try:
            if self._missed >= _AHEAD and not self._missed & (self._missed - 1):
                place = self.digests.index(line)  # far off: everywhere, after 256 lines in a row, after 512, 1024, …
            else:
                place = self.digests.index(line, place, place + _AHEAD)
        except ValueError:
            return 0
        self._next, self._missed = place + 1, 0
        return self.numbers[place]


def keep(session: Session, digests: Sequence[int], numbers: Sequence[int]) -> None:
    """Put these lines in place of those on record."""
    session.execute(delete(RollLines))
    for first in range(0, len(numbers), _CHUNK * _CHUNKS_TOGETHER):
        rows = [
            (start // _CHUNK, packed(array("Q", [*digests[start : start + _CHUNK], *numbers[start : start + _CHUNK]])))
            for start in range(first, min(first + _CHUNK * _CHUNKS_TOGETHER, len(numbers)), _CHUNK)
        ]
        insert_rows(session, "roll_lines", ("chunk", "lines"), rows)
