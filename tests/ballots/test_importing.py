"""ballots.csv from the office's own system: taken line by line, and never against a decision made here."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from replacements.ballots import life
from replacements.ballots.importing import BallotReport, import_ballots
from replacements.ballots.ledger import verify
from replacements.ballots.reconciling import reconcile
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.tables import Ballot, Election, LedgerEntry

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)
HEADING = "ballot_number,voter_id,style,state,mailed_on,returned_on,replaces,void_reason\n"
FIRST = """\
1,V1,A,voided,2031-09-22,,,spoiled
2,V1,A,issued,2031-10-01,,1,
3,V2,B,issued,09/22/2031,,,
4,V3,B,returned,2031-09-22,2031-10-03,,
"""

Load = Callable[..., BallotReport]


@pytest.fixture
def empty(database: Database) -> Database:
    with database.write() as session:
        session.add(Election(id=ELECTION, name="General election", held_on=date(2031, 11, 4), created_at=AT))
    return database


@pytest.fixture
def load(empty: Database, tmp_path: Path) -> Load:
    def load(lines: str, *, heading: str = HEADING, **options: Any) -> BallotReport:
        path = tmp_path / "ballots.csv"
        path.write_text(heading + lines)
        with empty.write() as session:
            return import_ballots(session, path, election_id=ELECTION, at=AT, **options)

    return load


def states(database: Database) -> dict[str, str]:
    with database.read() as session:
        return {row.number: row.state for row in session.execute(select(Ballot.number, Ballot.state))}


def entries(database: Database) -> list[str]:
    with database.read() as session:
        assert verify(session).broken is None
        assert reconcile(session, ELECTION).differences == ()
        return list(session.scalars(select(LedgerEntry.event).order_by(LedgerEntry.seq)))


def reasons(report: BallotReport) -> list[tuple[int, str]]:
    return [(entry.line, entry.reason) for entry in report.refused]


def texts(report: BallotReport) -> list[tuple[str, str]]:
    return [(entry.number, entry.text) for entry in report.disagreements]


def test_the_first_file_is_taken_whole_with_an_entry_for_each_ballot(empty: Database, load: Load) -> None:
    report = load(FIRST)
    assert (report.added, report.changed, report.refused, report.disagreements) == (4, 0, (), ())
    assert states(empty) == {"1": "voided", "2": "issued", "3": "issued", "4": "returned"}
    with empty.read() as session:
        second = session.get_one(Ballot, "2")
        assert (second.replaces, second.mailed_on, second.imported_state) == ("1", date(2031, 10, 1), "issued")
        assert session.get_one(Ballot, "3").mailed_on == date(2031, 9, 22)
    assert entries(empty) == ["imported"] * 4


def test_the_same_file_again_changes_nothing(empty: Database, load: Load) -> None:
    load(FIRST)
    report = load(FIRST)
    assert (report.added, report.changed, report.unchanged, report.disagreements) == (0, 0, 4, ())
    assert len(entries(empty)) == 4


def test_a_newer_file_changes_only_what_differs(empty: Database, load: Load) -> None:
    load(FIRST)
    newer = FIRST.replace("3,V2,B,issued,09/22/2031,", "3,V2,B,returned,2031-09-22,2031-10-06") + "5,V5,A,issued,,,,\n"
    report = load(newer)
    assert (report.added, report.changed, report.unchanged) == (1, 1, 3)
    assert states(empty)["3"] == "returned"
    assert entries(empty) == [*["imported"] * 5, "import_changed"]


def test_an_office_may_replace_a_ballot_in_its_own_system(empty: Database, load: Load) -> None:
    load(FIRST)
    report = load(FIRST.replace("3,V2,B,issued", "3,V2,B,voided") + "6,V2,C,issued,,,3,\n")
    assert (report.added, report.changed, report.refused) == (1, 1, ())
    assert (states(empty)["3"], states(empty)["6"]) == ("voided", "issued")
    assert "import_changed" in entries(empty)


def test_columns_may_have_the_offices_own_headings(empty: Database, load: Load) -> None:
    report = load("A,Issued,9,V9\n", heading="Party Style,Stat,No.,ID\n", columns={
        "ballot_number": "No.", "voter_id": "ID", "style": "Party Style", "state": "Stat"
    })  # fmt: skip
    assert (report.added, states(empty)) == (1, {"9": "issued"})


def test_a_void_made_here_is_not_undone_and_the_disagreement_is_listed(empty: Database, load: Load) -> None:
    load(FIRST)
    with empty.write() as session:
        new = life.reissue(session, number="3", cause="spoiled", by="kim", at=AT, prefix="7").number
    report = load(FIRST)
    assert texts(report) == [("3", "the file says issued, here it is voided (spoiled); it stays voided")]
    assert (report.changed, states(empty)["3"], states(empty)[new]) == (0, "voided", "issued")
    report = load(FIRST.replace("3,V2,B,issued", "3,V2,B,undeliverable"))
    assert texts(report) == [("3", "the file says undeliverable, here it is voided (spoiled); it stays voided")]
    assert states(empty)["3"] == "voided"


def test_the_disagreement_ends_when_the_office_has_loaded_the_hand_over(empty: Database, load: Load) -> None:
    load(FIRST)
    with empty.write() as session:
        new = life.reissue(session, number="3", cause="spoiled", by="kim", at=AT, prefix="7").number
    agreed = FIRST.replace("3,V2,B,issued", "3,V2,B,voided") + f"{new},V2,B,issued,,,3,\n"
    report = load(agreed)
    assert (report.disagreements, report.added, report.changed) == ((), 0, 0)
    assert load(agreed.replace(f"{new},V2,B,issued", f"{new},V2,B,returned")).changed == 1
    assert states(empty)[new] == "returned"
    entries(empty)


def test_a_file_cannot_bring_back_an_original_beside_its_replacement(empty: Database, load: Load) -> None:
    load(FIRST)
    with empty.write() as session:
        new = life.reissue(session, number="3", cause="spoiled", by="kim", at=AT, prefix="7").number
    report = load(FIRST.replace("3,V2,B,issued", "3,V2,B,accepted"))
    assert texts(report) == [("3", "the file says accepted, here it is voided (spoiled); it stays voided")]
    report = load(FIRST + f"{new},V2,B,voided,,,3,cancelled\n")
    assert states(empty)[new] == "voided"
    assert [number for number, _ in texts(report)] == ["3"]


def test_a_replacement_that_is_not_mailed_here_is_not_mailed_by_a_file(empty: Database, load: Load) -> None:
    load(FIRST)
    with empty.write() as session:
        new = life.reissue(session, number="3", cause="lost", by="kim", at=AT, prefix="7", style="C").number
    report = load(FIRST.replace("3,V2,B,issued", "3,V2,B,voided") + f"{new},V2,B,issued,2031-10-07,,3,\n")
    assert texts(report) == [
        (new, "the file says mailed on 2031-10-07, here it is not mailed yet"),
        (new, "the file says style B, here it was issued with style C"),
    ]
    with empty.read() as session:
        assert session.get_one(Ballot, new).mailed_on is None


def test_what_the_desk_took_in_stays_and_may_go_on_in_the_offices_system(empty: Database, load: Load) -> None:
    load(FIRST)
    with empty.write() as session:
        life.take_in(session, number="3", on=date(2031, 10, 7), by="desk", at=AT)
    report = load(FIRST)
    assert texts(report) == [("3", "the file says issued, here it is returned; it stays returned")]
    load(FIRST.replace("3,V2,B,issued", "3,V2,B,accepted"))
    assert states(empty)["3"] == "accepted"
    entries(empty)


def test_a_new_number_for_a_voter_who_has_a_live_ballot_here_is_refused(empty: Database, load: Load) -> None:
    load(FIRST)
    with empty.write() as session:
        new = life.reissue(session, number="3", cause="spoiled", by="kim", at=AT, prefix="7").number
    report = load(FIRST.replace("3,V2,B,issued", "3,V2,B,voided") + "6,V2,B,issued,,,,\n7,V2,B,voided,,,6,\n")
    assert reasons(report) == [
        (6, f"voter V2 would have two live ballots: {new} is on record as live"),
        (7, "ballot 7 replaces 6, whose line was refused"),
    ]


@pytest.mark.parametrize(
    ("lines", "refused"),
    [
        (",V1,A,issued,,,,\n", [(2, "ballot_number is empty")]),
        ("1,,A,issued,,,,\n", [(2, "voter_id is empty")]),
        ("1,V1,,issued,,,,\n", [(2, "style is empty")]),
        ("1 =x,V1,A,issued,,,,\n", [(2, "ballot_number '1 =x' is not a ballot number")]),
        ("1,V1,A,lent,,,,\n", [(2, "state 'lent' is not one of ")]),
        ("1,V1,A,issued,22.9.2031,,,\n", [(2, "mailed_on '22.9.2031' is not a date")]),
        ("1,V1,A,issued,,13/40/2031,,\n", [(2, "returned_on '13/40/2031' is not a date")]),
        ("1,V1,A,issued\n", [(2, "4 entries, but the heading line has 8")]),
        ("1,V1,A,voided,,,1,\n", [(2, "ballot 1 cannot replace itself")]),
        ("1,V1,A,issued,,,99,\n", [(2, "ballot 1 replaces 99, which is not on record")]),
        ("1,V1,A,voided,,,,\n2,V2,A,issued,,,1,\n", [(3, "ballot 2 replaces 1, which is another voter's")]),
        ("1,V1,A,voided,,,2,\n2,V1,A,voided,,,1,\n", [(2, "which replaces it in turn"), (3, "not on record")]),
        ("1,V1,A,issued,,,,\n1,V1,A,issued,,,,\n", [(3, "ballot 1 stands in line 2 already")]),
        ("1,V1,A,issued,,,,\n1,V2,A,issued,,,,\n", [(2, "lines 2 and 3, and they do not agree"), (3, "lines 2 and 3")]),
        ("1,V1,A,issued,,,,\n2,V1,A,returned,,,,\n", [(3, "two live ballots, 1 (line 2) and 2")]),
        (
            "1,V1,A,voided,,,,\n2,V1,A,issued,,,1,\n3,V1,A,suspended,,,1,\n",
            [(4, "ballot 1 has been replaced by 2 already")],
        ),
        ("1,V1,A,lent,,,,\n2,V1,A,issued,,,1,\n", [(2, "state"), (3, "replaces 1, which is not on record")]),
    ],
)
def test_a_bad_line_is_refused_with_its_reason_and_the_others_are_taken(
    empty: Database, load: Load, lines: str, refused: list[tuple[int, str]]
) -> None:
    report = load(lines + "50,V50,A,issued,,,,\n")
    assert [line for line, _ in reasons(report)] == [line for line, _ in refused]
    for (_, found), (_, expected) in zip(reasons(report), refused, strict=True):
        assert expected in found
    assert states(empty)["50"] == "issued"
    entries(empty)


def test_a_number_never_changes_its_voter(empty: Database, load: Load) -> None:
    load(FIRST)
    assert reasons(load("3,V7,B,issued,,,,\n")) == [(2, "ballot 3 is on record for voter V2, not V7")]
    assert reasons(load("2,V1,A,issued,,,3,\n")) == [(2, "ballot 2 is on record as replacing 1, not 3")]


def test_a_number_of_another_election_is_refused(empty: Database, load: Load) -> None:
    with empty.write() as session:
        session.add(Election(id="old", name="Old", held_on=date(2030, 1, 1), created_at=AT))
        session.flush()
        session.add(Ballot(number="1", election_id="old", voter_id="V1", style="A", state="issued"))
    assert reasons(load("1,V1,A,issued,,,,\n")) == [(2, "ballot 1 belongs to another election")]


def test_strict_refuses_the_whole_file(empty: Database, load: Load) -> None:
    report = load(FIRST + "5,V5,A,lent,,,,\n", strict=True)
    assert (report.taken, report.added, len(report.refused)) == (False, 0, 1)
    assert states(empty) == {}
    assert load(FIRST, strict=True).taken


def test_ballots_that_a_newer_file_lacks_stay_and_are_counted(empty: Database, load: Load) -> None:
    load(FIRST)
    assert load("3,V2,B,issued,,,,\n").not_in_file == 3
    assert len(states(empty)) == 4


def test_a_file_without_a_needed_column_cannot_be_used(load: Load) -> None:
    with pytest.raises(FileTrouble, match="'voter_id'"):
        load("1,A,issued\n", heading="ballot_number,style,state\n")


def test_a_large_file_reports_its_progress(empty: Database, load: Load) -> None:
    seen: list[int] = []
    lines = "".join(f"{n},V{n},A,issued,2031-09-22,,,\n" for n in range(1, 12_001))
    assert load(lines, progress=seen.append).added == 12_000
    assert seen == [5_000, 10_000]
    assert len(entries(empty)) == 12_000
