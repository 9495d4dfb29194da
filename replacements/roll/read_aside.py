"""A large roll file that is all new, read in a program of its own: one core reads and makes the keys, one writes.

Only what the lines say comes back, a batch at a time (as `marshal` packs it: strings and numbers, between two programs
of one interpreter, in half of pickle's time); the reader never looks at the database. If the program that
imports is killed, the reader finds nobody at the other end and stops.
"""

from __future__ import annotations

import gc
import marshal
from collections.abc import Iterator, Mapping
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, NamedTuple

from replacements.roll import checksums
from replacements.roll.register import digest
from replacements.roll.roll_file import NO_ID, RollReader
from replacements.store.csv_files import FileTrouble, Refused

LARGE = 1 << 24  # bytes; a smaller file is read before another program has started
_BATCH = 500


class Read(NamedTuple):
    """A line as read: `values` and the checksums of its voter's keys, or why it is refused."""

    line: int
    voter_id: str
    values: tuple[Any, ...] | None
    refused: str
    mark: int
    checksums: tuple[int, ...] | None


def read(reader: RollReader, *, with_keys: bool) -> Iterator[Read]:
    """Every line of the file in turn."""
    for line, row in reader.rows():
        if isinstance(row, Refused):
            yield Read(line, "", None, row.reason, 0, None)
            continue
        voter_id = reader.voter_id(row)
        try:
            if not voter_id:
                raise ValueError(NO_ID)
            values = reader.values(row)
        except ValueError as error:
            yield Read(line, voter_id, None, str(error), 0, None)
            continue
        keys = tuple(checksums.of_values(values)) if with_keys else None
        yield Read(line, voter_id, values, "", digest("\x1f".join(row)), keys)


def read_aside(path: Path, columns: Mapping[str, str] | None) -> Iterator[Read]:
    """As `read`, with keys, in a program of its own. Raises FileTrouble as reading here would."""
    context = get_context("spawn")
    here, there = context.Pipe(duplex=False)
    program = context.Process(target=_read, args=(there, path, dict(columns or {})), daemon=True)
    program.start()
    there.close()
    try:
        while True:
            batch = marshal.loads(here.recv_bytes())  # noqa: S302  (from our own program)
            if isinstance(batch, str):
                raise FileTrouble(batch)
            if not batch:
                return
            yield from map(Read._make, batch)
    except EOFError as error:
        raise FileTrouble(f"{path}: reading stopped in the middle. Nothing was changed; import it again.") from error
    finally:
        here.close()
        program.join(timeout=5)
        if program.is_alive():
            program.terminate()


def _read(to: Connection, path: Path, columns: dict[str, str]) -> None:
    gc.disable()
    batch: list[tuple[Any, ...]] = []
    try:
        for one in read(RollReader(path, columns), with_keys=True):
            batch.append(tuple(one))
            if len(batch) == _BATCH:
                to.send_bytes(marshal.dumps(batch))
                batch = []
        if batch:
            to.send_bytes(marshal.dumps(batch))
        to.send_bytes(marshal.dumps([]))
    except FileTrouble as trouble:
        to.send_bytes(marshal.dumps(str(trouble)))
    except BrokenPipeError:  # the import was cut off
        return
