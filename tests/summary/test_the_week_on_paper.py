"""The printed week: its text can be read by a program, its headings are bookmarks, its pictures those of the page."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader
from reportlab.lib.pagesizes import letter

from replacements.summary import typefaces
from replacements.summary.control import Point
from replacements.summary.figures import Bin, Columns, Machine, Overriding, Rate, Unusual, Week
from replacements.summary.pdf import week_pdf
from replacements.summary.text import sentences

WORDS = {"kind": {"spoiled_ballot": "Spoiled ballot"}}


@pytest.fixture
def full(busy: Week) -> Week:
    """A busy week with something in every table, precincts named in Vietnamese and Korean among it."""
    point = Point(12.5, 0.0, 9.0)
    return replace(
        busy,
        styles=(Rate("B1", 400, 5, point),),
        precincts=(
            Rate("Phường Nguyễn Huệ", 90, 2, Point(22.2, 0, 60.1)),
            Rate("한강 1구역", 80, 1, Point(12.5, 0, 60.0)),
        ),
        books={name: (Columns(None, 4, 3, 2, 1), Columns(None, 44, 33, 22, 11)) for name in ("all", "overseas")},
        machine=Machine((), (Bin("who", 0.9, 0.95, 10, 9, 0.93, 0.6, 0.98),), {"who": 0.03}, 0),
        unusual=Unusual((), (), (), overriding=(Overriding("ada", 40, 30, Point(0.75, 0.1, 0.5)),)),
    )


def _read(document: bytes) -> PdfReader:
    return PdfReader(BytesIO(document))


def _text(document: bytes) -> str:
    return "\n".join(page.extract_text() for page in _read(document).pages)


def test_its_text_can_be_searched_in_every_script(full: Week) -> None:
    text = _text(week_pdf(full, "Fernhollow Elections", words=WORDS, overriding=True))
    flat = " ".join(text.split())
    for sentence in sentences(full):
        assert sentence in flat
    if ord("ễ") in typefaces.typefaces().characters:  # DejaVu is on the machine
        assert "Phường Nguyễn Huệ" in text
    assert "한강" in text
    assert "Spoiled ballot" in text


def test_every_heading_is_a_bookmark(full: Week) -> None:
    marks = [entry.title for entry in _read(week_pdf(full, "Office", words=WORDS, overriding=True)).outline]
    assert marks[:2] == ["The week in three sentences", "Please look at"]
    assert "Spoiled ballots by style" in marks
    assert marks[-1] == "Still waiting"


def test_it_is_letter_paper_and_the_same_week_gives_the_same_bytes(full: Week) -> None:
    document = week_pdf(full, "Office", words=WORDS, overriding=True)
    assert document == week_pdf(full, "Office", words=WORDS, overriding=True)
    assert {(float(page.mediabox.width), float(page.mediabox.height)) for page in _read(document).pages} == {letter}


def test_what_it_is_set_in_is_embedded(full: Week) -> None:
    """All but a Korean face that the machine does not have, which a reader of PDF files brings along."""
    fonts: dict[str, bool] = {}
    for page in _read(week_pdf(full, "Office", words=WORDS, overriding=True)).pages:
        for reference in page["/Resources"]["/Font"].values():  # type: ignore[index]
            font = reference.get_object()
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            descriptor = inner.get("/FontDescriptor")
            fonts[str(font["/BaseFont"])] = descriptor is not None and "/FontFile2" in descriptor.get_object()
    outside = {name for name, embedded in fonts.items() if not embedded}
    assert outside <= ({f"/{typefaces.READERS_OWN}"} if not typefaces.typefaces().embeds_korean else set())
    assert len(fonts) >= 2


def test_what_is_about_members_of_staff_is_for_supervisors_alone(full: Week) -> None:
    assert "Decided otherwise than proposed" in _text(week_pdf(full, "Office", words={}, overriding=True))
    assert "ada" not in _text(week_pdf(full, "Office", words={}, overriding=False))


def test_letters_that_a_typeface_lacks_lose_their_marks_and_no_letter_is_lost() -> None:
    stretches = typefaces.runs("Ắ 한 é")
    assert [name for name, _ in stretches] == [typefaces.PLAIN, typefaces.typefaces().korean, typefaces.PLAIN]
    assert "".join(text for _, text in stretches) in ("Ắ 한 é", "A 한 é")


def test_a_week_without_anything_can_be_printed(quiet: Week) -> None:
    assert "0 requests came in" in _text(week_pdf(quiet, "Office", words={}, overriding=True))
