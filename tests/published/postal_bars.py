"""Reading an Intelligent Mail barcode back: from what is drawn in a PDF, or from a picture of the page, to its numbers.

After USPS-B-3200 Revision H, Encoding (read backwards): bars to ten characters of 13 bits by the standard's table of
bars (`postal_bars.csv`), characters to codewords by the tables of 5 and of 2 bits in 13, codewords to one number in
mixed bases, the number to digits; the check value (CRC-11) must agree. Nothing of the program or of ReportLab is used,
so that a fault of the one that draws is not repeated by the one that reads. What the standard refuses is no barcode.
"""

from __future__ import annotations

import csv
import subprocess
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

BARS = 65
GENERATOR = 0x0F35  # CRC-11 of the standard, with this frame at first
FIRST_FRAME = 0x07FF
DIGITS_OF_SERVICE_MAILER_SERIAL = 18
# A routing code's number begins where that of the shorter ones ends.
ROUTING = ((11, 1_000_100_001), (9, 100_001), (5, 1), (0, 0))


class NoBarcode(ValueError):
    """These bars say nothing, or say it with a check value that does not agree."""


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A filled rectangle on a page, in points (or pixels) from the lower left corner."""

    x: float
    y: float
    width: float
    height: float


@cache
def _table() -> list[tuple[int, int, int, int]]:
    """For each bar: character and bit of its descender, character and bit of its ascender."""
    with Path(__file__).with_name("postal_bars.csv").open(encoding="utf-8", newline="") as file:
        return [
            (
                "ABCDEFGHIJ".index(row["descender_character"]),
                int(row["descender_bit"]),
                "ABCDEFGHIJ".index(row["ascender_character"]),
                int(row["ascender_bit"]),
            )
            for row in csv.DictReader(file)
        ]


@cache
def _characters(bits: int) -> list[int]:
    """The 13-bit characters with so many bits, by codeword: pairs of mirror images first, those that are their own
    mirror image from the end backwards."""
    pairs, own = [], []
    for value in range(1 << 13):
        mirrored = int(f"{value:013b}"[::-1], 2)
        if value.bit_count() != bits or mirrored < value:
            continue
        if mirrored == value:
            own.append(value)
        else:
            pairs += [value, mirrored]
    return pairs + own[::-1]


@cache
def _codewords() -> dict[int, int]:
    return {character: codeword for codeword, character in enumerate(_characters(5) + _characters(2))}


def _check_value(payload: int) -> int:
    """CRC-11 over the 102 bits of the payload, the highest first."""
    frame = FIRST_FRAME
    for place in range(101, -1, -1):
        bit = payload >> place & 1
        frame = (frame << 1 ^ (GENERATOR if (frame >> 10 & 1) ^ bit else 0)) & 0x7FF
    return frame


def numbers(bars: str) -> tuple[str, str]:
    """Tracking and routing code of a barcode given as 65 letters: F full, A ascender, D descender, T tracker.

    Raises NoBarcode.
    """
    if len(bars) != BARS or set(bars) - set("FADT"):
        raise NoBarcode(f"{len(bars)} bars")
    characters = [0] * 10
    for bar, (low, low_bit, high, high_bit) in zip(bars, _table(), strict=True):
        characters[low] |= (bar in "DF") << low_bit
        characters[high] |= (bar in "AF") << high_bit
    check, codewords = 0, []
    for place, character in enumerate(characters):
        if character not in _codewords():
            character ^= 0x1FFF
            check |= 1 << place
        if character not in _codewords():
            raise NoBarcode(f"character {'ABCDEFGHIJ'[place]} is none of the tables")
        codewords.append(_codewords()[character])
    if codewords[0] >= 659:
        codewords[0] -= 659
        check |= 1 << 10
    if codewords[9] % 2:
        raise NoBarcode("the last codeword is odd: upside down")
    payload = codewords[0]
    for codeword in codewords[1:9]:
        payload = payload * 1365 + codeword
    payload = payload * 636 + codewords[9] // 2
    if _check_value(payload) != check:
        raise NoBarcode("the check value does not agree")
    payload, rest = divmod(payload, 10**DIGITS_OF_SERVICE_MAILER_SERIAL)
    payload, second = divmod(payload, 5)
    routing, first = divmod(payload, 10)
    digits, start = next((digits, start) for digits, start in ROUTING if routing >= start)
    code = f"{routing - start:0{digits}d}" if digits else ""
    return f"{first}{second}{rest:0{DIGITS_OF_SERVICE_MAILER_SERIAL}d}", code


def letters(bars: Iterable[Rectangle]) -> str:
    """The letters of 65 bars side by side: which reach above the tracker's band, and which below it."""
    row = sorted(bars, key=lambda bar: bar.x)
    if len(row) != BARS:
        raise NoBarcode(f"{len(row)} bars")
    tops, bottoms = [bar.y + bar.height for bar in row], [bar.y for bar in row]
    high, low = (max(tops) + min(tops)) / 2, (max(bottoms) + min(bottoms)) / 2
    return "".join("TDAF"[2 * (top > high) + (bottom < low)] for top, bottom in zip(tops, bottoms, strict=True))


def drawn_on(pdf: bytes) -> list[list[str]]:
    """The postal barcodes of each page as letters, from the top, row by row: read from the drawing operators."""
    reader = PdfReader(BytesIO(pdf))
    return [[letters(row) for row in _rows(_filled(page, reader))] for page in reader.pages]


def _filled(page: object, reader: PdfReader) -> list[Rectangle]:
    """The rectangles of a page with where they are: only what ReportLab writes (`cm` shifts, `re`) is followed."""
    stream = ContentStream(page.get_contents(), reader)  # type: ignore[attr-defined]
    shifts, x, y = [], 0.0, 0.0
    found = []
    for operands, operator in stream.operations:
        if operator == b"q":
            shifts.append((x, y))
        elif operator == b"Q":
            x, y = shifts.pop()
        elif operator == b"cm":
            assert [float(part) for part in operands[:4]] == [1, 0, 0, 1], "only shifts"
            x, y = x + float(operands[4]), y + float(operands[5])
        elif operator == b"re":
            left, bottom, width, height = (float(part) for part in operands)
            found.append(Rectangle(x + left, y + bottom, width, height))
    return found


def _rows(rectangles: list[Rectangle]) -> list[list[Rectangle]]:
    """Runs of 65 thin bars at a pitch of 20 to 24 an inch, one after the other as they are drawn."""
    runs: list[list[Rectangle]] = [[]]
    for bar in rectangles:
        before = runs[-1][-1] if runs[-1] else None
        pitch = bar.x - before.x if before is not None else 0.0
        if before is not None and not (72 / 24 - 0.01 <= pitch <= 72 / 20 + 0.01 and len(runs[-1]) < BARS):
            runs.append([])
        runs[-1].append(bar)
    return [run for run in runs if len(run) == BARS and max(bar.height for bar in run) < 0.17 * 72]


def picture(pdf: bytes, page: int, dots_an_inch: int) -> np.ndarray:
    """A page as a picture, made by pdftoppm: rows from the top, True where it is black. Pages count from 1."""
    command = ["pdftoppm", "-r", str(dots_an_inch), "-gray", "-f", str(page), "-l", str(page), "-"]
    made = subprocess.run(command, input=pdf, capture_output=True, check=True).stdout
    kind, width, height, _most = made.split(maxsplit=4)[:4]
    assert kind == b"P5"
    pixels = np.frombuffer(made[-int(width) * int(height) :], dtype=np.uint8)
    return pixels.reshape(int(height), int(width)) < 128


def seen_in(black: np.ndarray, box: Rectangle, dots_an_inch: int) -> str:
    """The letters of the one barcode within a box of the picture; the box in points from the page's lower left."""
    scale = dots_an_inch / 72
    height = black.shape[0]
    top, bottom = (round(height - y * scale) for y in (box.y + box.height, box.y))
    part = black[top:bottom, round(box.x * scale) : round((box.x + box.width) * scale)]
    columns = part.any(axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], columns.astype(np.int8), [0]))))
    bars = []
    for left, right in edges.reshape(-1, 2):
        inked = np.flatnonzero(part[:, (left + right) // 2])
        bars.append(Rectangle(float(left), float(-inked[-1]), float(right - left), float(inked[-1] - inked[0])))
    return letters(bars)
