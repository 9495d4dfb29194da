"""A large roll file that is all new, read in a program of its own: one core reads and makes the keys, one writes.

Only what the lines say comes back, a batch at a time (as `marshal` packs it: strings and numbers, between two programs
of one interpreter, in half of pickle's time); the reader never looks at the database. If the program that
imports is killed, the reader finds nobody at the other end and stops.
"""

from __future__ import annotations

import gc
import marshal
import os
from array import array
from collections.abc import Iterator, Mapping
from itertools import islice
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from time import perf_counter
from typing import Any, NamedTuple

from replacements.roll import checksums
from replacements.roll.roll_file import NO_ID, RollReader, digest
from replacements.store.csv_files import FileTrouble, Refused

LARGE = 1 << 24  # bytes; a smaller file is read before another program has started
BATCH = 500  # lines
_AT_ONCE = 0.001  # seconds; a batch taken as soon as this was awaited: whoever has time makes the next one's keys


class Read(NamedTuple):
    """A line as read: `values` of its voter, or why it is refused."""

    line: int
    voter_id: str
    values: tuple[Any, ...] | None
    refused: str
    mark: int


class Together(NamedTuple):
    """Lines that were read together. `checksums`: those of the keys of all their voters, one voter's after another's,
    as the bytes of an array; `counts`: how many are each voter's."""

    lines: list[Read]
    counts: list[int]
    checksums: bytes

    def by_line(self) -> Iterator[tuple[Read, array[int]]]:
        """Each line with the checksums of its voter."""
        start, checksums = 0, array("I", self.checksums)
        for line, count in zip(self.lines, self.counts, strict=True):
            yield line, checksums[start : start + count]
            start += count


def read(reader: RollReader) -> Iterator[Together]:
    """Every line of the file in turn."""
    return map(with_keys, _read_lines(reader))


def _read_lines(reader: RollReader) -> Iterator[list[Read]]:
    rows = reader.rows()
    while some := list(islice(rows, BATCH)):
        yield [_read_line(reader, line, row) for line, row in some]


def with_keys(lines: list[Read]) -> Together:
    keys = array("I")
    counts = []
    for read in lines:
        found = checksums.of_values(read.values) if read.values is not None else ()
        counts.append(len(found))
        keys.extend(found)
    return Together(lines, counts, keys.tobytes())


def _read_line(reader: RollReader, line: int, row: list[str] | Refused) -> Read:
    if isinstance(row, Refused):
        return Read(line, "", None, row.reason, 0)
    voter_id = reader.voter_id(row)
    try:
        if not voter_id:
            raise ValueError(NO_ID)
        return Read(line, voter_id, reader.values(row), "", digest("\x1f".join(row)))
    except ValueError as error:
        return Read(line, voter_id, None, str(error), 0)


def read_aside(path: Path, columns: Mapping[str, str] | None) -> Iterator[Together]:
    """As `read`, in a program of its own. Raises FileTrouble as reading here would."""
    context = get_context("spawn")
    here, there = context.Pipe(duplex=False)
    program = context.Process(target=_read, args=(there, path, dict(columns or {})), daemon=True)
    program.start()
    there.close()
    try:
        while True:
            some = marshal.loads(here.recv_bytes())  # noqa: S302  (from our own program)
            if isinstance(some, str):
                raise FileTrouble(some)
            if not some:
                return
            lines, counts, keys = some
            lines = list(map(Read._make, lines))
            yield Together(lines, counts, keys) if counts else with_keys(lines)
    except EOFError as error:
        raise FileTrouble(f"{path}: reading stopped in the middle. Nothing was changed; import it again.") from error
    finally:
        here.close()
        program.join(timeout=5)
        if program.is_alive():
            program.terminate()


def _read(to: Connection, path: Path, columns: dict[str, str]) -> None:
    gc.disable()
    awaited = False
    try:
        for lines in _read_lines(RollReader(path, columns)):
            counts, keys = ([], b"") if awaited else with_keys(lines)[1:]
            batch = marshal.dumps((list(map(tuple, lines)), counts, keys))
            began = perf_counter()
            to.send_bytes(batch)
            awaited = perf_counter() - began < _AT_ONCE
        to.send_bytes(marshal.dumps(()))
    except FileTrouble as trouble:
        to.send_bytes(marshal.dumps(str(trouble)))
    except BrokenPipeError:  # the import was cut off
        pass
    to.close()
    os._exit(0)  # at once: letting go of all that it remembers would take a second for which the import waits
