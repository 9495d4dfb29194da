"""The week as CSV, as a mail and as charts."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree as ET

import pytest

from replacements.summary.chart import reissue_rate, requests_per_day
from replacements.summary.control import Point
from replacements.summary.export import tables
from replacements.summary.figures import (
    Columns,
    Day,
    Declined,
    Repeated,
    SharedAddress,
    Speed,
    Unusual,
    Waiting,
    Week,
)
from replacements.summary.text import mail_text

MONDAY = date(2031, 12, 29)
NOTE = "Sam Doe of 1 Main St called"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def busy() -> Week:
    days = tuple(Day(MONDAY + timedelta(days=n), n, 1, 1000, Point(9.5 if n == 2 else 1.0, 0.0, 5.0)) for n in range(7))
    return Week(
        election_id="e",
        monday=MONDAY,
        sunday=MONDAY + timedelta(days=6),
        zone="America/New_York",
        as_of=datetime(2032, 1, 5, 5, tzinfo=UTC),
        messages=30,
        requests=21,
        by_kind={"spoiled_ballot": 20, "question": 1},
        reissues=7,
        reissues_by_cause={"spoiled": 7},
        reissues_by_style={"=1+1": 7},
        taken_back=1,
        speed=Speed(7, 6, 6 / 7, (0.49, 0.97), 20.4, 60.0, (11,)),
        waiting=(Waiting(12, "read", "waiting", 75.0, True), Waiting(13, "reissue", "second", 2.0, False)),
        asked=1,
        declined=(Declined(14, "reissue", "declined", NOTE),),
        voided=7,
        suspended=0,
        voided_by_reason={"spoiled": 7},
        this_week=Columns(9, 7, 3, 2, 0),
        to_date=Columns(19, 17, 13, 12, 1),
        mean_rate=1.2,
        days=days,
        unusual=Unusual((SharedAddress(3, (1, 2, 5)),), (Repeated("V1", 3),), ("1001",)),
        decisions=8,
        overrides={("reissue", "come_in"): 2},
        replies_sent=8,
        replies_failed=1,
    )


@pytest.fixture
def quiet(busy: Week) -> Week:
    nothing = Columns(0, 0, 0, 0, 0)
    return replace(
        busy, requests=0, by_kind={}, reissues=0, reissues_by_cause={}, reissues_by_style={}, taken_back=0,
        speed=Speed(0, 0, None, None, None, None, ()), waiting=(), declined=(), voided=0, voided_by_reason={},
        this_week=nothing, to_date=nothing, mean_rate=None, unusual=Unusual((), (), ()), overrides={}, replies_failed=0,
        days=tuple(replace(day, requests=0, reissues=0, out=0, rate=None) for day in busy.days),
    )  # fmt: skip


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
        "- Past the promised day and not mailed: requests 11.",
        "- Wednesday: 1 reissues, 9.50 per thousand ballots out, is outside the limits (0.00 to 5.00).",
        "- 1 reply could not be sent.",
    ]


def test_a_quiet_week_is_said_in_three_sentences(quiet: Week) -> None:
    text = mail_text(quiet, "Office")[1]
    said = "0 requests came in, and 0 replacement ballots were issued. No packet was mailed. No request is waiting."
    assert said in text
    assert "Please look at" not in text


def test_one_of_each_is_said_in_the_singular(quiet: Week) -> None:
    one = replace(quiet, requests=1, reissues=1, waiting=(Waiting(1, "read", "waiting", 1.2, False),))
    text = mail_text(one, "Office")[1]
    assert "1 request came in, and 1 replacement ballot was issued." in text
    assert "1 request has been waiting for 1 hour." in text


@pytest.mark.parametrize(("share", "said"), [(0.999, "99%"), (1.0, "100%"), (0.001, "1%"), (0.0, "0%")])
def test_a_share_is_never_rounded_to_all_or_nothing(busy: Week, share: float, said: str) -> None:
    assert f"({said})" in mail_text(replace(busy, speed=replace(busy.speed, share=share)), "Office")[1]


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
