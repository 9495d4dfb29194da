"""CSV that is handed out: whole, and safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from replacements.store.csv_text import as_written, csv_text, safe

SIGNS = "=+-@＝＋－＠﹦﹢﹣﹫"
# White space and what takes no room or shows nothing: by category, and those that are letters or symbols by theirs.
UNSEEN = st.characters(categories=("Cc", "Cf", "Zs", "Zl", "Zp"), include_characters="\u115f\u1160\u2800\u3164\uffa0")
SEEN = st.characters(categories=("L", "N"), exclude_characters="\u115f\u1160\u3164\uffa0")


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx", " =1", "\0=1", '=HYPERLINK("x")'])
def test_text_that_a_spreadsheet_would_calculate_gets_an_apostrophe(cell: str) -> None:
    assert safe(cell).startswith("'")
    assert "\0" not in safe(cell)


@pytest.mark.parametrize("cell", ["＝1+1", "＋1", "－1", "＠SUM(A1)", "﹦1"])
def test_full_width_signs_are_signs(cell: str) -> None:
    assert safe(cell) == f"'{cell}"


@pytest.mark.parametrize(
    "before", ["\u00a0", "\u200b", "\ufeff", "\u3000", "\u2060", "\u00ad", "\u202e", "\u3164", "\n"]
)
def test_what_cannot_be_seen_hides_no_sign(before: str) -> None:
    assert safe(f"{before}=1+1") == f"'{before}=1+1"


@given(st.text(UNSEEN), st.sampled_from(SIGNS), st.text())
@example("\0", "＝", "")
@example("\ufeff \u200b\u00a0", "@", "x")
def test_no_sign_comes_first_whatever_stands_unseen_before_it(before: str, sign: str, after: str) -> None:
    cell = safe(before + sign + after)
    assert cell == "'" + (before + sign + after).replace("\0", "")


@given(st.sampled_from("\t\r\n\0"), st.text())
def test_a_line_end_a_tab_or_nothing_at_all_never_comes_first(first: str, after: str) -> None:
    assert safe(first + after).startswith("'")


@given(st.text("  \u00a0\u200b"), SEEN, st.text())
def test_text_that_begins_with_a_letter_or_a_figure_stays_as_it_is(before: str, first: str, after: str) -> None:
    text = before + first + after
    assert safe(text) == text.replace("\0", "")


@given(st.integers() | st.floats() | st.decimals(allow_nan=False).map(float))
def test_figures_stay_figures(figure: float) -> None:
    assert safe(figure) == str(figure)


@pytest.mark.parametrize(
    ("cell", "text"), [("a=b", "a=b"), ("7000-1", "7000-1"), (-3, "-3"), (0.5, "0.5"), (None, ""), (True, "True")]
)
def test_other_cells_stay_as_they_are(cell: object, text: str) -> None:
    assert safe(cell) == text


@pytest.mark.parametrize("text", ["–", "— none", "'tis", "(5)", "$5", "#12", "½", "≠ 3", "\u2212 3", '"=1"'])
def test_marks_that_start_no_formula_stay_as_they_are(text: str) -> None:
    assert safe(text) == text


def test_a_day_is_written_as_iso() -> None:
    assert csv_text(["day"], [[date(2031, 10, 7)]]) == "day\r\n2031-10-07\r\n"


CELLS = st.text(st.characters(exclude_characters="\0")) | st.builds(
    lambda before, sign, after: before + sign + after,
    st.text(UNSEEN.filter(lambda one: one != "\0"), max_size=2),
    st.sampled_from(SIGNS),
    st.text(st.characters(exclude_characters="\0")),
)


@given(st.lists(st.lists(CELLS.filter(lambda cell: cell[:1] != "'"), min_size=2, max_size=2)))
def test_every_cell_can_be_read_back_as_it_was_written(rows: list[list[str]]) -> None:
    read = list(csv.reader(io.StringIO(csv_text(["a", "b"], rows), newline="")))
    assert [[as_written(cell) for cell in row] for row in read[1:]] == rows
