"""Requests of earlier elections: taken in without names, refused with reasons, and compared with."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from sqlalchemy import select

from replacements.cli import main
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.tables import Election, PastRequest, VoterRow
from replacements.summary.export import tables
from replacements.summary.history import load_history
from replacements.summary.ledger_days import roll_forward
from replacements.summary.week import week
from tests.summary.conftest import ELECTION

AT = datetime(2031, 9, 1, tzinfo=UTC)
MONDAY = date(2031, 10, 6)
HEADING = "election,held_on,reference,received_on,kind,outcome,cause,mailed_on,style,voter_name\n"
# The same requests in the file of an office that knows more of each.
MORE = "election,held_on,reference,received_on,kind,outcome,precinct,language\n"
MORE_LINES = (
    "General 2029,2029-11-06,17,2029-10-08,spoiled_ballot,reissued,P1,en\n"
    "General 2029,2029-11-06,18,2029-10-12,not_received,reissued,,ko\n"
    "General 2029,2029-11-06,19,2029-10-14,question,other,P2,\n"
    "General 2029,2029-11-06,20,2029-10-15,question,other,P3,es\n"  # the Monday after
)
LINES = (
    "General 2029,2029-11-06,17,2029-10-08,spoiled_ballot,reissued,spoiled,2029-10-09,B1,Ann Nobody\n"
    "General 2029,2029-11-06,18,2029-10-12,not_received,reissued,lost,2029-10-16,B1,Ann Nobody\n"
    "General 2029,2029-11-06,19,2029-10-14,question,other,,,,Ann Nobody\n"
    "General 2029,2029-11-06,20,2029-10-15,question,other,,,,Ann Nobody\n"  # the Monday after
)


def _file(folder: Path, text: str) -> Path:
    path = folder / "earlier.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_is_taken_once_and_a_newer_one_changes_what_differs(election: Database, tmp_path: Path) -> None:
    path = _file(tmp_path, HEADING + LINES)
    with election.write() as session:
        report = load_history(session, path, at=AT)
        assert (report.added, report.changed, report.unchanged, report.refused) == (4, 0, 0, ())
        assert report.elections == ("General 2029",)
    path = _file(tmp_path, HEADING + LINES.replace("question,other", "other,declined", 1))
    with election.write() as session:
        report = load_history(session, path, at=AT)
        assert (report.added, report.changed, report.unchanged) == (0, 1, 3)


def test_no_name_is_kept(election: Database, tmp_path: Path) -> None:
    with election.write() as session:
        load_history(session, _file(tmp_path, HEADING + LINES), at=AT)
        rows = session.scalars(select(PastRequest)).all()
        kept = " ".join(str(getattr(row, column.key)) for row in rows for column in PastRequest.__table__.columns)
    assert "Nobody" not in kept


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("G,2029-11-06,1,2029-10-8,question,other,,,,", "received_on is '2029-10-8'"),
        ("G,2029-11-06,,2029-10-08,question,other,,,,", "reference is empty"),
        ("G,2029-11-06,1,2029-10-08,complaint,other,,,,", "kind is 'complaint'; expected one of spoiled_ballot"),
        ("G,2029-11-06,1,2029-10-08,question,sent,,,,", "outcome is 'sent'; expected one of reissued"),
        ("G,2029-11-06,1,2029-10-08,question,other,tired,,,", "cause is 'tired'"),
        ("G,2029-11-06,1,2029-10-08,question,reissued,,2029-10-07,,", "mailed_on 2029-10-07 is before"),
        ("G,2029-11-06,1,2029-10-08", "4 entries, but the heading line has 10"),
    ],
)
def test_a_line_that_cannot_be_used_is_refused_with_its_reason(
    election: Database, tmp_path: Path, line: str, reason: str
) -> None:
    with election.write() as session:
        report = load_history(session, _file(tmp_path, f"{HEADING}{LINES}{line}\n"), at=AT)
        assert report.added == 4
        assert [refused.line for refused in report.refused] == [6]
        assert reason in report.refused[0].reason
        strict = load_history(session, _file(tmp_path, f"{HEADING}{LINES}{line}\n"), at=AT, strict=True)
        assert not strict.taken


def test_a_number_that_comes_twice_is_taken_once(election: Database, tmp_path: Path) -> None:
    with election.write() as session:
        report = load_history(session, _file(tmp_path, HEADING + LINES + LINES.splitlines()[0] + "\n"), at=AT)
        assert (report.added, [refused.line for refused in report.refused]) == (4, [6])


def test_a_file_without_a_needed_column_is_refused_whole(election: Database, tmp_path: Path) -> None:
    with election.write() as session, pytest.raises(FileTrouble, match="no column 'held_on'"):
        load_history(session, _file(tmp_path, "election,reference\nG,1\n"), at=AT)


def test_the_same_week_of_an_earlier_election_is_as_far_from_its_election_day(
    records: Any, election: Database, tmp_path: Path
) -> None:
    records.request(datetime(2031, 10, 7, 15, tzinfo=UTC))
    records.done()
    with election.write() as session:
        load_history(session, _file(tmp_path, HEADING + LINES), at=AT)
    with election.read() as session:
        earlier = week(session, ELECTION, MONDAY, "America/New_York", now=AT).earlier
    assert earlier is not None
    assert (earlier.what, earlier.first, earlier.last) == ("General 2029", date(2029, 10, 8), date(2029, 10, 14))
    assert (earlier.requests, earlier.reissues) == (3, 2)
    assert earlier.by_kind == {"spoiled_ballot": 1, "not_received": 1, "question": 1}
    assert (earlier.mailed, earlier.kept) == (1, 1)  # the other was mailed in the week after
    assert (earlier.by_cause, earlier.by_style) == ({"spoiled": 1, "lost": 1}, {"B1": 2})


def test_of_what_a_file_does_not_say_nothing_is_known(records: Any, election: Database, tmp_path: Path) -> None:
    """No style in any line is not the same as no replacement of any style."""
    records.done()
    with election.write() as session:
        load_history(session, _file(tmp_path, HEADING + LINES.replace(",B1,", ",,")), at=AT)
    with election.read() as session:
        found = week(session, ELECTION, MONDAY, "America/New_York", now=AT)
    assert found.earlier is not None
    assert (found.earlier.by_cause, found.earlier.by_style) == ({"spoiled": 1, "lost": 1}, None)
    rows = list(csv.DictReader(tables(found)["compared_reissues"].splitlines()))
    assert [(row["name"], row["reissues"], row["reissues_then"], row["change"]) for row in rows] == [
        ("lost", "0", "1", "-1"),
        ("spoiled", "0", "1", "-1"),
    ]


def test_precincts_and_languages_are_compared_where_the_file_has_them(
    records: Any, election: Database, tmp_path: Path
) -> None:
    records.done()
    for columns, lines, by_precinct, by_language in (
        (HEADING, LINES, None, None),
        (MORE, MORE_LINES, {"P1": 1, "unknown": 1}, {"en": 1, "ko": 1, "und": 1}),
    ):
        with election.write() as session:
            load_history(session, _file(tmp_path, columns + lines), at=AT)
        with election.read() as session:
            found = week(session, ELECTION, MONDAY, "America/New_York", now=AT)
        assert found.earlier is not None
        assert (found.earlier.by_precinct, found.earlier.by_language) == (by_precinct, by_language)
    rows = list(csv.DictReader(tables(found)["compared_languages"].splitlines()))
    then = [row for row in rows if row["with"] == "General 2029"]
    assert [(row["language"], row["requests"], row["requests_then"], row["change"]) for row in then] == [
        ("en", "0", "1", "-1"),
        ("ko", "0", "1", "-1"),
        ("und", "0", "1", "-1"),
    ]


def test_the_days_before_are_compared_by_precinct_and_language(records: Any, election: Database) -> None:
    """Of the week before, and not of the one before that; whether the ledger was added up in between or not."""
    now = datetime(2031, 10, 14, tzinfo=UTC)
    for number, (days, precinct, language) in enumerate(
        [(0, "P1", "en"), (-1, "P1", "vi"), (-2, "P2", "vi"), (-8, "P2", "en"), (-9, "P2", "ko")]
    ):
        at = datetime(2031, 10, 6, 15, tzinfo=UTC) + timedelta(days=days)
        voter = VoterRow(voter_id=f"V{number}", last_name="Q", first_name="Q", precinct=precinct, number=number + 1)
        records.session.add(voter)
        records.ballot(f"{number}1", voter.voter_id)
        records.event("reissued", at, f"{number}1", '{"reason":"spoiled"}')
        records.request(at, language=language)
    records.done()
    for rolled in (False, True):
        if rolled:
            roll_forward(election, ELECTION, "America/New_York")
        with election.read() as session:
            found = week(session, ELECTION, MONDAY, "America/New_York", now=now)
        assert found.before is not None
        assert found.counted_by["precinct"] == {"P1": 1}
        assert found.before.by_precinct == {"P1": 1, "P2": 1}
        assert found.counted_by["language"] == {"en": 1}
        assert found.before.by_language == {"vi": 2}


def test_an_earlier_election_of_the_service_itself_is_compared_by_every_part(records: Any, election: Database) -> None:
    at = datetime(2031, 10, 7, 15, tzinfo=UTC)
    for number, reason in (("11", "spoiled"), ("12", "spoiled"), ("13", "lost")):
        records.ballot(number, f"V{number}", style="B" if reason == "lost" else "A")
        if number != "13":  # whose voter is no longer on the roll
            voter = VoterRow(voter_id=f"V{number}", last_name="Q", first_name="Q", precinct="P7", number=int(number))
            records.session.add(voter)
        records.request(at, language="ko" if reason == "lost" else "en")
        records.event("reissued", at, number, f'{{"reason": "{reason}"}}')
    records.event("reissued", at + timedelta(days=7), "13", '{"reason": "lost"}')  # the week after
    records.done()
    with election.write() as session:
        session.add(Election(id="next", name="Primary", held_on=date(2032, 6, 1), created_at=at))
    monday = MONDAY + (date(2032, 5, 31) - date(2031, 11, 3))
    with election.read() as session:
        found = week(session, "next", monday, "America/New_York", now=datetime(2032, 6, 2, tzinfo=UTC))
    assert found.earlier is not None
    assert (found.earlier.what, found.earlier.first, found.earlier.reissues) == ("General", MONDAY, 3)
    assert found.earlier.by_cause == {"spoiled": 2, "lost": 1}
    assert found.earlier.by_style == {"A": 2, "B": 1}
    assert found.earlier.by_precinct == {"P7": 2, "unknown": 1}
    assert found.earlier.by_language == {"en": 2, "ko": 1}


def test_without_an_earlier_election_there_is_only_the_week_before(records: Any, election: Database) -> None:
    records.request(datetime(2031, 9, 30, 15, tzinfo=UTC))
    records.done()
    with election.read() as session:
        found = week(session, ELECTION, MONDAY, "America/New_York", now=AT)
    assert found.earlier is None
    assert found.before is not None
    assert (found.before.first, found.before.requests) == (date(2031, 9, 29), 1)


def test_the_command_says_what_was_taken_and_what_was_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REPLACEMENTS_DATA", str(tmp_path / "data"))
    path = _file(tmp_path, f"{HEADING}{LINES}G,2029-11-06,1,soon,question,other,,,,\n")
    done = CliRunner().invoke(main, ["history", "load", str(path)])
    assert done.exit_code == 0
    assert "4 requests added, 0 changed, 0 as before, 1 lines refused." in done.output
    assert "received_on is 'soon'" in done.output
    assert CliRunner().invoke(main, ["history", "load", str(path), "--strict"]).exit_code == 2
    assert "received_on" in CliRunner().invoke(main, ["history", "columns"]).output
