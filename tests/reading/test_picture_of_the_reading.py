"""The picture of what is taken for what says in words and digits all that its shades say."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from replacements.reading.measuring import Measured
from replacements.reading.picture import by_language, claims_kept, draw
from replacements.reading.teaching import Example, example
from replacements.reading.types import Kind

SVG = "{http://www.w3.org/2000/svg}"
Q, S, O = Kind.QUESTION, Kind.SPOILED_BALLOT, Kind.OTHER  # noqa: E741


def _known() -> list[Example]:
    def told(source: str, text: str, kind: str) -> Example:
        return example({"text": text, "kinds": [kind]}, source)

    return [
        told("en_counter", "When is it due?", "question"),
        told("en_counter", "Where is the box?", "question"),
        told("es", "Se rompió.", "spoiled_ballot"),
        told("ordinary", "The barn has been sold and the members are not at all happy about how it was done.", "other"),
    ]


@pytest.fixture
def found() -> tuple[list[Example], Measured]:
    """Four messages: a question was taken for a spoiled ballot, the rest was right."""
    known = _known()
    return known, Measured(
        messages=4,
        by_source={"": Counter(right=3, missed=1, extra=1)},
        claims=[(0.95, True), (0.97, True), (0.55, False), (0.52, True)],
        taken_for=Counter({(Q, Q): 1, (Q, S): 1, (S, S): 1, (O, O): 1}),
        misread=[(known[1], (S,))],
    )


def _texts(svg: str) -> list[str]:
    return [node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_it_has_a_title_and_a_description_that_say_the_whole(found: tuple[list[Example], Measured]) -> None:
    root = ElementTree.fromstring(draw(*found))
    assert root.get("role") == "img"
    names = str(root.get("aria-labelledby")).split()
    title, description = (next(n for n in root if n.get("id") == name) for name in names)
    assert (title.tag, description.tag) == (f"{SVG}title", f"{SVG}desc")
    assert "Question: 1 of 2 right; 1 as spoiled ballot." in str(description.text)
    assert "English 0.667" in str(description.text)
    assert "Of 2 kinds said with 90 to 100 percent, 100 percent came true." in str(description.text)


def test_both_axes_and_every_row_are_named_in_plain_words(found: tuple[list[Example], Measured]) -> None:
    texts = _texts(draw(*found))
    assert {"What it was taken for", "What the writer asks", "question (2)", "spoiled ballot (1)", "other (1)"} <= set(
        texts
    )
    assert not any("_" in text for text in texts)
    assert "machine mail" not in " ".join(texts)  # nothing was, and nothing was taken for it


def _cells(svg: str) -> list[tuple[int, str, str, str]]:
    """(grey, digits, colour of the digits, width of the frame) of each cell, row by row."""
    nodes = list(ElementTree.fromstring(svg))
    return [
        (int(str(box.get("fill"))[1:3], 16), str(words.text), str(words.get("fill")), str(box.get("stroke-width")))
        for box, words in pairwise(nodes)
        if box.tag == f"{SVG}rect" and words.tag == f"{SVG}text" and words.get("text-anchor") == "middle"
    ]


def test_cells_hold_their_numbers_and_are_darker_the_larger_their_share(found: tuple[list[Example], Measured]) -> None:
    cells = _cells(draw(*found))
    assert [digits for _, digits, _, _ in cells] == ["1", "0", "0", "1", "1", "0", "0", "0", "1"]
    grey = [cell[0] for cell in cells]
    assert grey[1] == 255
    assert grey[0] < grey[3] == grey[4] < grey[1]
    assert [width for _, _, _, width in cells] == ["2", "1", "1", "1", "2", "1", "1", "1", "2"]


def test_digits_stand_out_from_their_cell_in_black_and_white() -> None:
    """WCAG 2.2, 1.4.3: at least 4.5 to 1."""
    for right in range(101):
        measured = Measured(messages=100, taken_for=Counter({(Q, Q): right, (Q, S): 100 - right, (S, S): 1}))
        for grey, _, colour, _ in _cells(draw([], measured)):
            light, ink = _luminance(grey), _luminance(int(colour[1:3], 16))
            assert (max(light, ink) + 0.05) / (min(light, ink) + 0.05) >= 4.5, (grey, colour)


def _luminance(grey: int) -> float:
    share = grey / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def test_nothing_is_told_by_colour(found: tuple[list[Example], Measured]) -> None:
    for colour in re.findall(r"#([0-9a-f]{6})", draw(*found)):
        assert colour[:2] == colour[2:4] == colour[4:], colour


def test_f1_by_language_goes_by_the_files_name_and_else_by_the_text(found: tuple[list[Example], Measured]) -> None:
    counts = by_language(*found)
    assert {code: count["messages"] for code, count in counts.items()} == {"en": 3, "es": 1}
    assert counts["en"] == Counter(messages=3, right=2, missed=1, extra=1)


def test_probabilities_are_compared_with_what_came_true(found: tuple[list[Example], Measured]) -> None:
    low, high = claims_kept(found[1])
    assert low == (50, 2, pytest.approx(0.535), 0.5)
    assert high == (90, 2, pytest.approx(0.96), 1.0)


def test_it_is_the_same_picture_every_time(found: tuple[list[Example], Measured]) -> None:
    assert draw(*found) == draw(*found)


def test_without_any_message_it_is_still_a_picture() -> None:
    assert "0 messages" in " ".join(_texts(draw([], Measured())))
