"""The week as CSV, as a mail and as charts."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from xml.etree import ElementTree as ET
from zipfile import ZipFile

import pytest

from replacements.summary.chart import reissue_rate, requests_per_day
from replacements.summary.control import Point
from replacements.summary.export import archive, tables
from replacements.summary.figures import Burst, Rate, Waiting, Week
from replacements.summary.text import mail_text
from tests.summary.conftest import NOTE

SVG = "{http://www.w3.org/2000/svg}"


def test_the_mail_begins_with_the_three_sentences_that_matter(busy: Week) -> None:
    subject, text = mail_text(busy, "Fernhollow Elections")
    assert subject == "Replacement ballots, December 29 to January 4, 2032"
    assert text.split("\n\n")[1] == (
        "21 requests came in, and 7 replacement ballots were issued (1 reissue taken back). "
        "Of 7 packets mailed, 6 (86%) went out by the next business day; half went out within 20 hours and nine in ten "
        "within 2.5 days. 2 requests are waiting, the oldest for 3.1 days."
    )


def test_the_mail_says_what_to_look_at(busy: Week) -> None:
    assert mail_text(busy, "Office")[1].split("\n\n")[2].splitlines() == [
        "Please look at:",
        "- One sender's address was used for 3 voters: requests 1, 2, 5.",
        "- 1 voter with two or more replacements.",
        "- 1 voided ballot came back and must not be counted.",
        "- Past the promised day and not mailed: request 11.",
        "- Wednesday: 1 reissue, 9.50 per thousand ballots out, is outside the limits (0.00 to 5.00).",
        "- 1 reply could not be sent.",
    ]


def test_a_quiet_week_is_said_in_three_sentences(quiet: Week) -> None:
    text = mail_text(quiet, "Office")[1]
    said = "0 requests came in, and 0 replacement ballots were issued. No packet was mailed. No request is waiting."
    assert said in text
    assert "Please look at" not in text


def test_one_of_each_is_said_in_the_singular(quiet: Week) -> None:
    one = replace(quiet, requests=1, reissues=1, waiting_in_all=1, waiting=(Waiting(1, "read", "waiting", 1.2, False),))
    text = mail_text(one, "Office")[1]
    assert "1 request came in, and 1 replacement ballot was issued." in text
    assert "1 request has been waiting for 1 hour." in text


def test_the_mail_calls_things_by_their_words(busy: Week) -> None:
    lines = [" ".join(line.split()) for line in mail_text(busy, "Office")[1].splitlines()]
    assert {"Spoiled ballot 20", "Question 1", "Mismarked 7", "Reissue -> come in 2"} <= set(lines)
    assert not any(line.startswith(("spoiled", "reissue ->")) for line in lines)


@pytest.mark.parametrize(("share", "said"), [(0.999, "99%"), (1.0, "100%"), (0.001, "1%"), (0.0, "0%")])
def test_a_share_is_never_rounded_to_all_or_nothing(busy: Week, share: float, said: str) -> None:
    assert f"({said})" in mail_text(replace(busy, speed=replace(busy.speed, share=share)), "Office")[1]


def test_what_stands_in_every_column_is_said(busy: Week) -> None:
    """The file `columns.csv` of the archive names each column of each table once, in the tables' own order."""
    with ZipFile(BytesIO(archive(busy))) as whole:
        said = list(csv.DictReader(whole.read("columns.csv").decode().splitlines()))
        headings = {
            (name.removesuffix(".csv"), column)
            for name in whole.namelist()
            if name != "columns.csv"
            for column in next(csv.reader(whole.read(name).decode().splitlines()))
        }
    assert len(said) == len(headings)
    assert {(row["table"], row["column"]) for row in said} == headings
    assert all(row["meaning"] for row in said)


def test_the_archive_for_others_has_nothing_about_voters_or_members_of_staff(busy: Week) -> None:
    with ZipFile(BytesIO(archive(busy, overriding=False))) as whole:
        assert {"unusual.csv", "overriding.csv"}.isdisjoint(whole.namelist())


def test_a_style_whose_spoil_rate_is_out_of_limits_is_named(busy: Week) -> None:
    rates = (Rate("B7", 400, 12, Point(30.0, 0.0, 20.0)), Rate("B8", 400, 4, Point(10.0, 0.0, 20.0)))
    said = mail_text(replace(busy, styles=rates), "Office")[1]
    assert "- Ballot style B7: 12 spoiled of 400 ballots out, 30.00 per thousand, is outside the limits" in said
    assert "B8" not in said


def test_a_burst_is_said_with_what_is_usual(busy: Week) -> None:
    burst = Burst(datetime(2031, 12, 30, 14, tzinfo=UTC), 30, 2.5, 9)
    said = mail_text(replace(busy, unusual=replace(busy.unusual, bursts=(burst,))), "Office")[1]
    assert "30 requests in the hour from Tuesday 09:00; 2.5 are usual, and chance brings at most 9." in said


def test_every_table_is_a_csv_file_of_even_lines(busy: Week, quiet: Week) -> None:
    for week in (busy, quiet):
        for name, text in tables(week).items():
            rows = list(csv.reader(text.splitlines()))
            assert len({len(row) for row in rows}) == 1, name
            assert text.endswith("\r\n")


def test_the_tables_hold_what_the_page_shows(busy: Week) -> None:
    found = {name: list(csv.reader(text.splitlines())) for name, text in tables(busy).items()}
    assert found["kinds"] == [["kind", "requests"], ["spoiled_ballot", "20"], ["question", "1"]]
    assert found["replacements"][1:] == [
        ["this week", "9", "7", "3", "2", "0", "1"],
        ["to date", "19", "17", "13", "12", "1", "0"],
    ]
    assert found["days"][3] == ["2031-12-31", "2", "1", "1000", "9.5", "0.0", "5.0", "1.2", "yes"]
    assert ["share mailed by the next business day", "0.8571"] in found["figures"]
    assert found["waiting"][1] == ["12", "read", "waiting", "75.0", "yes"]
    assert found["decisions"][1] == ["reissue", "come_in", "2"]
    assert found["unusual"][1:] == [
        ["one address, several voters", "", "3", "1 2 5"],
        ["repeated replacements", "V1", "3", ""],
        ["voided ballot returned", "1001", "1", ""],
    ]


def test_a_cell_that_a_spreadsheet_would_calculate_is_neutralised_in_the_tables(busy: Week) -> None:
    assert "'=1+1,7" in tables(busy)["styles"]


def test_what_a_clerk_wrote_is_in_no_file_and_no_mail(busy: Week) -> None:
    assert NOTE not in "".join(tables(busy).values())
    assert NOTE not in mail_text(busy, "Office")[1]


def test_a_chart_says_its_numbers_in_words(busy: Week) -> None:
    svg = ET.fromstring(requests_per_day(busy))
    assert svg.get("role") == "img"
    title, description = svg.find(f"{SVG}title"), svg.find(f"{SVG}desc")
    assert title is not None
    assert description is not None
    assert svg.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    assert title.text == "Requests per day"
    assert (description.text or "").endswith(
        "Monday 0, Tuesday 1, Wednesday 2, Thursday 3, Friday 4, Saturday 5, Sunday 6."
    )
    assert [text.text for text in svg.iter(f"{SVG}text")][:4] == ["0", "Mon", "1", "Tue"]


def test_a_day_outside_the_limits_is_marked_by_more_than_colour(busy: Week, quiet: Week) -> None:
    svg = ET.fromstring(reissue_rate(busy))
    assert "9.50 !" in [text.text for text in svg.iter(f"{SVG}text")]
    assert "Wednesday 9.50 (outside the limits)" in reissue_rate(busy)
    assert "No ballot was out" in reissue_rate(quiet)
    assert ET.fromstring(requests_per_day(quiet)) is not None
