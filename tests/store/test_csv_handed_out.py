"""CSV that is handed out: whole, and safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replacements.store.csv_text import csv_text, safe


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", " =1", "\0=1", '=HYPERLINK("x")'])
def test_text_that_a_spreadsheet_would_calculate_gets_an_apostrophe(cell: str) -> None:
    assert safe(cell).startswith("'")
    assert "\0" not in safe(cell)


@pytest.mark.parametrize(
    ("cell", "text"), [("a=b", "a=b"), ("7000-1", "7000-1"), (-3, "-3"), (0.5, "0.5"), (None, ""), (True, "True")]
)
def test_other_cells_stay_as_they_are(cell: object, text: str) -> None:
    assert safe(cell) == text


def test_a_day_is_written_as_iso() -> None:
    assert csv_text(["day"], [[date(2031, 10, 7)]]) == "day\r\n2031-10-07\r\n"


@given(st.lists(st.lists(st.text(st.characters(exclude_characters="\0")), min_size=2, max_size=2)))
def test_every_cell_can_be_read_back(rows: list[list[str]]) -> None:
    read = list(csv.reader(io.StringIO(csv_text(["a", "b"], rows), newline="")))
    assert [[cell.removeprefix("'") if cell != "'" else cell for cell in row] for row in read[1:]] == [
        [cell.removeprefix("'") if cell != "'" else cell for cell in row] for row in rows
    ]
