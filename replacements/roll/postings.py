"""The index of the roll as bytes: which voters have a key. Pure, apart from nameless temporary files.

A key (`replacements.roll.keys`) is known by its CRC-32. The upper half of that names a bucket, one row of the database;
the checksum and the voter's number, 32 bits each, make an entry of the bucket. Two keys of one checksum only bring a
candidate too many, and candidates are weighed. A key that more than `MOST_PER_KEY` voters have is closed: one entry
with the number 0 stands for them all, and stays until the index is made anew.
"""

from __future__ import annotations

import sys
import tempfile
from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from typing import IO
from zlib import crc32

from replacements.roll.keys import kind_bit
from replacements.roll.memory import MOST_PER_KEY

PARTS = 128  # the buckets are worked through in so many parts, each of which fits into memory
_PART_SHIFT = 25  # the upper 7 bits of a checksum
_HELD = 1 << 14  # entries of a part held in memory before they go to its file
_NUMBER = 0xFFFFFFFF


def packed(entries: array[int]) -> bytes:
    """Entries, eight bytes each, the least first."""
    if sys.byteorder == "big":
        entries = entries[:]
        entries.byteswap()
    return entries.tobytes()


def unpacked(blob: bytes) -> array[int]:
    found = array("Q")
    found.frombytes(blob)
    if sys.byteorder == "big":
        found.byteswap()
    return found


def by_bucket(keys: Iterable[str]) -> dict[int, list[tuple[int, int]]]:
    """The buckets to read for these keys, with the checksums to look for in each and the kind of the key as a bit."""
    found: dict[int, list[tuple[int, int]]] = {}
    for key in keys:
        value = crc32(key.encode())
        found.setdefault(value >> 16, []).append((value, kind_bit(key)))
    return found


def look_up(blob: bytes, wanted: Iterable[tuple[int, int]], found: dict[int, int]) -> None:
    """Add the numbers of the voters with these keys to `found`, with the kinds of the keys; none for a closed key."""
    entries = unpacked(blob)
    for value, kind in wanted:
        start = bisect_left(entries, value << 32)
        stop = bisect_left(entries, (value + 1) << 32, start)
        if start < stop and entries[start] & _NUMBER:
            for entry in entries[start:stop]:
                number = entry & _NUMBER
                found[number] = found.get(number, 0) | kind


class Gathered:
    """Changes of the index, gathered in any number and handed out by bucket. Memory is bounded: much goes to files."""

    def __init__(self) -> None:
        self._added = [_Part() for _ in range(PARTS)]
        self._removed = [_Part() for _ in range(PARTS)]
        self._add = [part.append for part in self._added]
        self._remove = [part.append for part in self._removed]

    def add(self, checksums: Iterable[int], number: int) -> None:
        to = self._add
        for value in checksums:
            to[value >> _PART_SHIFT](value << 32 | number)

    def add_sorted(self, entries: Sequence[int]) -> None:
        """Many entries, the least first: each part's are next to one another."""
        start = 0
        for place, part in enumerate(self._added, 1):
            stop = bisect_left(entries, place << _PART_SHIFT + 32, start)
            if stop > start:
                part.extend(entries[start:stop])
                start = stop

    def remove(self, checksums: Iterable[int], number: int) -> None:
        to = self._remove
        for value in checksums:
            to[value >> _PART_SHIFT](value << 32 | number)

    def spill(self) -> None:
        """Let much go to files; to be called every thousand voters or so."""
        for part in (*self._added, *self._removed):
            part.spill()

    def parts(self) -> Iterator[tuple[list[int], list[int]]]:
        """(added, removed) entries, ascending, a part of the buckets at a time. Can be walked once."""
        for added, removed in zip(self._added, self._removed, strict=True):
            yield added.taken(), removed.taken()


class _Part:
    __slots__ = ("_file", "_held", "append", "extend")

    def __init__(self) -> None:
        self._file: IO[bytes] | None = None
        self._held = array("Q")
        self.append = self._held.append
        self.extend = self._held.extend

    def spill(self) -> None:
        if len(self._held) >= _HELD:
            if self._file is None:
                self._file = tempfile.TemporaryFile()  # noqa: SIM115  closed in `taken`
            self._held.tofile(self._file)
            del self._held[:]

    def taken(self) -> list[int]:
        found = array("Q")
        if self._file is not None:
            self._file.seek(0)
            found.frombytes(self._file.read())
            self._file.close()
            self._file = None
        found.extend(self._held)
        del self._held[:]
        return sorted(found)


def by_buckets(entries: list[int]) -> Iterator[tuple[int, bytes]]:
    """Ascending entries as the database keeps them: (bucket, its entries packed)."""
    whole = array("Q", entries)
    start = 0
    while start < len(whole):
        bucket = whole[start] >> 48
        stop = bisect_left(whole, (bucket + 1) << 48, start)
        yield bucket, packed(whole[start:stop])
        start = stop


def grouped(entries: list[int]) -> dict[int, list[int]]:
    """Ascending entries by bucket."""
    found: dict[int, list[int]] = {}
    for entry in entries:
        found.setdefault(entry >> 48, []).append(entry)
    return found


def changed(entries: array[int], added: Iterable[int], removed: Iterable[int]) -> array[int]:
    """The entries of a bucket after a change, in place: of hundreds, few are touched in a night."""
    for entry in removed:
        place = bisect_left(entries, entry)
        if place < len(entries) and entries[place] == entry:
            del entries[place]
    for entry in added:
        key = entry >> 32 << 32
        start = bisect_left(entries, key)
        place = bisect_left(entries, entry, start)
        if (start < len(entries) and entries[start] == key) or (place < len(entries) and entries[place] == entry):
            continue  # closed, or there already
        entries.insert(place, entry)
        stop = bisect_left(entries, key + (1 << 32), place)
        if stop - start > MOST_PER_KEY:
            entries[start:stop] = array("Q", [key])
    return entries


def closed(entries: list[int]) -> list[int]:
    """Ascending entries of a new index, with the keys closed that too many voters have."""
    kept: list[int] = []
    done = 0
    step = MOST_PER_KEY // 2
    for place in range(0, len(entries) - step, step):  # a longer run than MOST_PER_KEY covers two such places
        value = entries[place] >> 32
        if place >= done and value == entries[place + step] >> 32:
            start = bisect_left(entries, value << 32)
            stop = bisect_left(entries, (value + 1) << 32, start)
            if stop - start > MOST_PER_KEY:
                kept += entries[done:start]
                kept.append(value << 32)
                done = stop
    return kept + entries[done:] if done else entries
