"""CSV files that an office hands over: any column order, the office's own headings, UTF-8 or Windows-1252.

A bad line never stops the reading; it is handed out as what it is. A file that cannot be read at all raises FileTrouble
with the file, the line, the entry and what was expected.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path

_TOGETHER = 50  # rows looked at in one go: one entry that wants trimming costs its neighbours the short way
_LINE_ENDS = re.compile(r"\r\n|\r|\n")


class FileTrouble(Exception):
    """A file that cannot be used: which file, where in it, what was found and what was expected."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A line that was not taken, with the reason in the office's words. `line` counts from 1, the heading included."""

    line: int
    reason: str


@dataclass(frozen=True, slots=True)
class Table:
    """An open CSV file. Iterating gives (line number, values by our column name); values are trimmed text."""

    path: Path
    encoding: str
    headings: tuple[str, ...]  # our names, in the file's order; "" for columns that are kept out

    def __iter__(self) -> Iterator[tuple[int, dict[str, str] | Refused]]:
        for line, row in self.rows():
            if isinstance(row, Refused):
                yield line, row
            else:
                yield line, {name: cell for name, cell in zip(self.headings, row, strict=True) if name}

    def rows(self) -> Iterator[tuple[int, list[str] | Refused]]:
        """(line number, trimmed entries in the file's order): the way through a file of millions of lines."""
        with self.path.open(encoding=self.encoding, newline="") as file:
            reader = csv.reader(file)
            next(reader)
            width = len(self.headings)
            while True:
                line, rows, trouble = reader.line_num + 1, list[list[str]](), ""
                try:
                    rows.extend(islice(reader, _TOGETHER))
                except csv.Error as error:  # the rows before it are in `rows`
                    trouble = f"not readable as CSV: {error}"
                if not (rows or trouble):
                    return
                if _plain(rows, width):
                    yield from enumerate(rows, line)
                    line += len(rows)
                else:
                    for row in rows:
                        if (taken := _trimmed(row, width, line)) is not None:
                            yield line, taken
                        line += 1 + len(_LINE_ENDS.findall("".join(row)))
                if trouble:
                    yield line, Refused(line, trouble)


def _plain(rows: Sequence[Sequence[str]], width: int) -> bool:
    """Whether these rows can be taken as they are, each a line of the file: of millions of lines, most can."""
    whole = "|".join(chain.from_iterable(rows))
    return (
        whole.isprintable()  # no white space but the space itself, so no line end either
        and " |" not in whole
        and "| " not in whole
        and whole[:1] != " "
        and whole[-1:] != " "
        and all(map(any, rows))
        and set(map(len, rows)) == {width}
    )


def _trimmed(row: Sequence[str], width: int, line: int) -> list[str] | Refused | None:
    """One row without the white space around its entries; None for an empty one."""
    cells = [cell.strip() for cell in row]
    if not any(cells):
        return None
    return cells if len(cells) == width else Refused(line, f"{len(cells)} entries, but the heading line has {width}")


def read_table(
    path: Path, *, required: Sequence[str], optional: Sequence[str] = (), columns: Mapping[str, str] | None = None
) -> Table:
    """Open a CSV file. `columns` maps our names to the office's headings (`[columns]` of its rules).

    Raises FileTrouble where the file is missing, is not text, or lacks a required column.
    """
    if not path.is_file():
        raise FileTrouble(f"{path}: there is no such file. Expected a CSV file with the columns {', '.join(required)}.")
    encoding = _encoding(path)
    with path.open(encoding=encoding, newline="") as file:
        try:
            heading = next(csv.reader(file), None)
        except csv.Error as error:
            raise FileTrouble(f"{path}, line 1: not readable as CSV ({error}).") from error
    if not heading:
        raise FileTrouble(f"{path}, line 1: the file is empty. Expected a heading line: {', '.join(required)}, …")
    ours = {theirs.strip().lower(): name for name, theirs in (columns or {}).items()}
    known = {*required, *optional}
    headings = []
    for cell in heading:
        name = ours.get(cell.strip().lower(), cell.strip().lower())
        headings.append(name if name in known and name not in headings else "")
    missing = [name for name in required if name not in headings]
    if missing:
        raise FileTrouble(
            f"{path}, line 1: no column {', '.join(repr(m) for m in missing)}. Found: {', '.join(heading)}. "
            "If the office uses other headings, name them under [columns] in office.toml."
        )
    return Table(path, encoding, tuple(headings))


def _encoding(path: Path) -> str:
    """UTF-8 (with or without a byte-order mark) if the whole file is; else Windows-1252, as office programs write."""
    try:
        with path.open(encoding="utf-8", newline="") as file:
            while file.read(1 << 20):
                pass
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def lines_in(path: Path) -> int | None:
    """About how many lines a file has, the heading left out, for a progress bar; None where it cannot be read."""
    try:
        with path.open("rb") as file:
            return max(1, sum(block.count(b"\n") for block in iter(lambda: file.read(1 << 20), b"")) - 1)
    except OSError:
        return None
