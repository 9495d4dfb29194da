"""The printed week: its text can be read by a program, its headings are bookmarks, its pictures those of the page."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from reportlab.lib.pagesizes import letter

from replacements.summary import pdf, typefaces
from replacements.summary.control import Point
from replacements.summary.figures import (
    Bin,
    Columns,
    Compared,
    Machine,
    Overriding,
    Rate,
    Unusual,
    Waiting,
    Week,
    Where,
)
from replacements.summary.pdf import MOST_LINES, week_pdf
from replacements.summary.rates import shares
from replacements.summary.text import sentences
from tests.summary.conftest import MONDAY, NOTE

DAY, WEEK = timedelta(days=1), timedelta(days=7)


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
            Rate("제2투표구 (東)", 70, 1, Point(14.3, 0, 60.0)),
        ),
        languages=shares({"en": 18, "vi": 3}, 21),
        books={name: (Columns(None, 4, 3, 2, 1), Columns(None, 44, 33, 22, 11)) for name in ("all", "overseas")},
        where={"B1": Where(1000, 700, 10, 20, 200, 10, 10, 50), "Thôn 1": Where(3, 1, 0, 0, 0, 0, 0, 1)},
        before=Compared(
            "the days before",
            MONDAY - WEEK,
            MONDAY - DAY,
            30,
            5,
            {"automatic": 9},
            4,
            4,
            {"lost": 5},
            {"B1": 5},
            {"Phường Nguyễn Huệ": 5},
            {"en": 29, "und": 1},
        ),
        earlier=Compared(
            "General 2029",
            date(2029, 12, 31),
            date(2030, 1, 6),
            20,
            2,
            {},
            4,
            4,
            {"lost": 2},
            None,
            {"제2투표구 (東)": 2},
            {"en": 11, "ht": 9},
        ),
        machine=Machine((), (Bin("who", 0.9, 0.95, 10, 9, 0.93, 0.6, 0.98),), {"who": 0.03}, 0),
        unusual=Unusual((), (), (), overriding=(Overriding("ada", 40, 30, Point(0.75, 0.1, 0.5)),)),
    )


@pytest.fixture
def every_script() -> None:
    """Typefaces for Vietnamese and Korean, which the check of the whole installs."""
    faces = typefaces.typefaces()
    if ord("ễ") not in faces.characters or not faces.embeds_korean:
        pytest.skip("fonts-dejavu-core and fonts-nanum are not on this machine")


@pytest.fixture
def without(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., None]]:
    """A machine on which typefaces are missing: `_KOREAN`, `_FAMILIES` are what is looked for."""

    def look_for(**names: tuple[object, ...]) -> None:
        for name, files in names.items():
            monkeypatch.setattr(typefaces, name, files)
        typefaces.typefaces.cache_clear()

    yield look_for
    monkeypatch.undo()
    typefaces.typefaces.cache_clear()


def _read(document: bytes) -> PdfReader:
    return PdfReader(BytesIO(document))


def _text(document: bytes) -> str:
    return "\n".join(page.extract_text() for page in _read(document).pages)


def _fonts(document: bytes) -> dict[str, bool]:
    """The typefaces of a document, and which of them are in the file."""
    fonts: dict[str, bool] = {}
    for page in _read(document).pages:
        for reference in page["/Resources"]["/Font"].values():  # type: ignore[index]
            font = reference.get_object()
            inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            descriptor = inner.get("/FontDescriptor")
            fonts[str(font["/BaseFont"])] = descriptor is not None and "/FontFile2" in descriptor.get_object()
    return fonts


@pytest.mark.usefixtures("every_script")
def test_its_text_can_be_searched_in_every_script(full: Week) -> None:
    text = _text(week_pdf(full, "Fernhollow Elections", overriding=True))
    flat = " ".join(text.split())
    for sentence in sentences(full):
        assert sentence in flat
    for name in (rate.name for rate in full.precincts):
        assert name in text
    assert "Spoiled ballot" in text


@pytest.mark.usefixtures("every_script")
def test_another_program_reads_the_names_as_they_are(full: Week, tmp_path: Path) -> None:
    (tmp_path / "week.pdf").write_bytes(week_pdf(full, "Fernhollow Elections", overriding=True))
    told = subprocess.run(["pdftotext", "week.pdf", "-"], cwd=tmp_path, capture_output=True, check=True)
    for name in (rate.name for rate in full.precincts):
        assert name in told.stdout.decode()


@pytest.mark.usefixtures("every_script")
def test_names_are_drawn_and_none_is_a_row_of_boxes(full: Week, tmp_path: Path) -> None:
    """Names that differ look different on paper; those of letters that no typeface has all look alike."""

    def drawn(name: str) -> bytes:
        week = replace(full, precincts=(Rate(name, 90, 2, Point(22.2, 0, 60.1)),))
        (tmp_path / "one.pdf").write_bytes(week_pdf(week, "Office", overriding=False))
        subprocess.run(["pdftoppm", "-r", "60", "-gray", "one.pdf", "one"], cwd=tmp_path, check=True)
        pages = sorted(tmp_path.glob("one-*.pgm"))
        return b"".join(page.read_bytes() for page in pages[1:])  # the first says which letters have no typeface

    boxes = drawn("\U000f0000" * 4)
    assert drawn("\U000f0001" * 4) == boxes
    names = [drawn(name) for name in ("한강구역", "행운동길", "Ấp Thạnh", "Ắp Thạnh")]
    assert len({boxes, *names}) == 5


def test_every_heading_is_a_bookmark(full: Week) -> None:
    marks = [entry.title for entry in _read(week_pdf(full, "Office", overriding=True)).outline]
    assert marks[:2] == ["The week in three sentences", "Please look at"]
    assert "Spoiled ballots by style" in marks
    assert marks[-1] == "Still waiting"


def test_it_is_letter_paper_and_the_same_week_gives_the_same_bytes(full: Week) -> None:
    document = week_pdf(full, "Office", overriding=True)
    assert document == week_pdf(full, "Office", overriding=True)
    assert {(float(page.mediabox.width), float(page.mediabox.height)) for page in _read(document).pages} == {letter}


@pytest.mark.usefixtures("every_script")
def test_what_it_is_set_in_is_in_the_file(full: Week) -> None:
    fonts = _fonts(week_pdf(full, "Office", overriding=True))
    assert len(fonts) == 3  # plain, bold, Korean
    assert all(fonts.values())


@pytest.mark.usefixtures("every_script")
def test_all_is_well_with_the_names_and_so_nothing_is_said_about_typefaces(full: Week) -> None:
    assert typefaces.shortfalls(pdf._names(full, "Office")) == []
    assert "typeface" not in _text(week_pdf(full, "Office", overriding=True))


@pytest.mark.usefixtures("every_script")
def test_without_a_korean_typeface_the_names_stand_in_the_text_and_the_first_page_says_what_may_not_be_seen(
    full: Week, without: Callable[..., None]
) -> None:
    without(_KOREAN=())
    document = week_pdf(full, "Office", overriding=True)
    outside = {name for name, embedded in _fonts(document).items() if not embedded}
    assert outside == {f"/{typefaces.READERS_OWN}"}
    first = " ".join(_read(document).pages[0].extract_text().split())
    assert "Names in Korean letters show only where" in first
    assert "(Debian: fonts-nanum)" in first
    assert "no typeface of the machine that made this file has (U+6771)" in first
    assert "한강 1구역" in _text(document)


def test_a_week_without_korean_names_says_nothing_of_a_missing_korean_typeface(
    full: Week, without: Callable[..., None]
) -> None:
    without(_KOREAN=())
    document = week_pdf(replace(full, precincts=(), earlier=None), "Office", overriding=True)
    assert "typeface" not in _text(document)
    assert all(_fonts(document).values())


def test_without_vietnamese_letters_marks_are_lost_and_the_first_page_says_which_letters_lost_them(
    full: Week, without: Callable[..., None]
) -> None:
    without(_FAMILIES=typefaces._FAMILIES[-1:])
    document = week_pdf(full, "Office", overriding=True)
    assert "Phuong Nguyen Hue" in _text(document)
    first = " ".join(_read(document).pages[0].extract_text().split())
    assert "Names lost marks on these letters: e o u." in first
    assert all(_fonts(document).values())


def test_what_is_about_members_of_staff_is_for_supervisors_alone(full: Week) -> None:
    assert "Decided otherwise than proposed" in _text(week_pdf(full, "Office", overriding=True))
    assert "ada" not in _text(week_pdf(full, "Office", overriding=False))


@pytest.mark.usefixtures("every_script")
def test_each_letter_is_set_in_a_typeface_that_has_it() -> None:
    assert typefaces.runs("Ắ 한東 é") == [
        (typefaces.PLAIN, "Ắ "),
        (typefaces.KOREAN, "한東"),
        (typefaces.PLAIN, " é"),
    ]


def test_no_column_is_so_narrow_that_a_word_is_cut(full: Week) -> None:
    text = _text(week_pdf(replace(full, requests=12_345), "Office", overriding=True))
    lines = text.splitlines()
    for heading in (
        "Requests",
        "Reissues",
        "Per thousand",
        "Out",
        "Count",
        "Note",
        "Pending",
        "Undeliverable",
        "Thôn 1",
        "12345",
    ):
        assert any(heading in line for line in lines), heading


def test_a_week_without_anything_can_be_printed(quiet: Week) -> None:
    text = _text(week_pdf(quiet, "Office", overriding=True))
    assert "0 requests came in" in text
    for said in ("No request came in.", "No ballot was reissued.", "No request waits for a decision."):
        assert said in text
    assert "None" not in text


def test_all_that_a_supervisor_asks_of_a_week_is_on_paper(full: Week) -> None:
    """Requests and reissues by every part beside other weeks, voids, the balance, what was overruled and declined."""
    flat = " ".join(_text(week_pdf(full, "Office", overriding=True)).split())
    for said in (
        "change since -9 +2",  # 21 requests and 7 reissues, after 30 and 5
        "Spoiled ballot 20 0 +20 0 +20",
        "Machine mail 0 9 -9 0 0",
        "English 18 29 -11 11 +7 Haitian Creole 0 0 0 9 -9 Not recognised 0 1 -1 0 0 Vietnamese 3 0 +3 0 +3",
        "Lost 0 5 -5 2 -2",
        "=1+1 7 0 +7 – –",  # of styles the loaded election says nothing
        "Phường Nguyễn Huệ 2 5 -3 0 +2",
        "제2투표구 (東) 1 0 +1 2 -1",
        "Reason Ballots Mismarked 7",
        "B1 1000 700 10 20 200 10 10 50 yes",
        "Thôn 1 3 1 0 0 0 0 0 1 NO",
        "All 1003 701 10 20 200 10 10 51 NO",
        "Reissue → come in 2",
        "Reissue was proposed; declined: 1 (request 14)",
        "Request 12, read 75",
        "The books of ballot style Thôn 1 do not balance.",
    ):
        assert said in flat, said
    assert NOTE not in flat


def test_no_code_is_printed(full: Week) -> None:
    """What the pages call by words, paper calls by the same."""
    text = _text(week_pdf(full, "Office", overriding=True))
    lines = {" ".join(line.split()) for line in text.splitlines()}
    assert {"Spoiled ballot", "Machine mail", "Mismarked", "Lost", "Not recognised", "Vietnamese"} <= lines
    assert lines.isdisjoint({"spoiled_ballot", "spoiled ballot", "automatic", "spoiled", "lost", "und", "vi", "en"})


def test_of_more_precincts_than_a_table_holds_it_says_how_many_are_in_the_files(full: Week) -> None:
    assert full.before is not None
    many = {f"P{n:03}": 1 for n in range(MOST_LINES + 7)}
    week = replace(full, precincts=(), before=replace(full.before, by_precinct=many), earlier=None)
    text = _text(week_pdf(week, "Office", overriding=True))
    assert f"P{MOST_LINES - 1:03}" in text
    assert f"P{MOST_LINES:03}" not in text
    assert "and 7 more, in the files." in text


def test_a_long_table_begins_below_its_heading_where_the_page_has_room(quiet: Week) -> None:
    """Not on a page of its own, with the page before left empty."""
    week = replace(quiet, waiting=tuple(Waiting(n, "read", "waiting", 9.0, False) for n in range(MOST_LINES)))
    document = _read(week_pdf(week, "Office", overriding=True))
    pages = [page.extract_text() for page in document.pages]
    begins = next(n for n, page in enumerate(pages) if "Still waiting" in page)
    assert "Declined" in pages[begins]
    assert "Request 0, read" in pages[begins]
    assert f"Request {MOST_LINES - 1}, read" in pages[begins + 1]
