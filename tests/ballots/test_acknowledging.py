"""The answer of the office's own system to a hand-over."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from replacements.ballots import life
from replacements.ballots.acknowledging import Answer, acknowledge, handed_over
from replacements.ballots.handover import NoSuchHandOver, hand_over, repeat
from replacements.ballots.ledger import verify
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.tables import Ballot

ELECTION = "2031-11-04-general"
AT = datetime(2031, 10, 7, 15, 0, tzinfo=UTC)


@pytest.fixture
def handed(office: Database) -> tuple[Database, str]:
    """Hand-over 1: ballot 1001 voided and its replacement issued."""
    with office.write() as session:
        new = life.reissue(session, number="1001", cause="spoiled", by="kim", at=AT, prefix="7").number
        hand_over(session, ELECTION, by="lee", at=AT)
    return office, new


def answer(database: Database, folder: Path, lines: str, number: int = 1) -> Answer:
    path = folder / "answer.csv"
    path.write_text(lines, encoding="utf-8")
    with database.write() as session:
        return acknowledge(session, ELECTION, number, path, by="lee", at=AT)


def states(database: Database) -> list[tuple[int, str]]:
    with database.read() as session:
        return [(one.number, one.state) for one in handed_over(session, ELECTION)]


def test_a_hand_over_is_open_until_it_is_answered(handed: tuple[Database, str], tmp_path: Path) -> None:
    database, new = handed
    assert states(database) == [(1, "open")]
    found = answer(database, tmp_path, f"ballot_number,event,result\n1001,voided,taken\n{new},reissued,\n")
    assert (found.taken, found.complete, found.known) == (2, True, False)
    assert states(database) == [(1, "taken")]
    with database.read() as session:
        assert verify(session).broken is None


def test_what_was_not_taken_not_answered_and_never_handed_over_is_named(
    handed: tuple[Database, str], tmp_path: Path
) -> None:
    database, new = handed
    found = answer(database, tmp_path, "ballot_number,event,result\n1001,voided,voter moved\n1003,voided,taken\n")
    assert found == Answer(1, 0, ("1001 voided: voter moved",), (f"{new} reissued",), ("1003 voided",))
    assert states(database) == [(1, "differs")]


def test_the_same_answer_is_recorded_once_and_a_later_one_counts(handed: tuple[Database, str], tmp_path: Path) -> None:
    database, new = handed
    wrong = "ballot_number,event\n1001,voided\n"
    assert not answer(database, tmp_path, wrong).known
    assert answer(database, tmp_path, wrong).known
    assert states(database) == [(1, "differs")]
    answer(database, tmp_path, f"ballot_number,event\n{new},reissued\n1001,voided\n")
    assert states(database) == [(1, "taken")]
    with database.read() as session:
        assert verify(session).entries == 5


def test_the_handed_over_file_itself_sent_back_is_an_answer(handed: tuple[Database, str], tmp_path: Path) -> None:
    database, _ = handed
    with database.read() as session:
        text = repeat(session, ELECTION, 1).text
    assert answer(database, tmp_path, text).complete


@pytest.mark.parametrize("written", ["-1009", "'-1009"])
def test_a_number_that_begins_with_a_dash_is_known_with_and_without_the_apostrophe_of_the_file(
    office: Database, tmp_path: Path, written: str
) -> None:
    """The file is safe in a spreadsheet, so the dash has an apostrophe in front there; the office's own system may
    send back either."""
    with office.write() as session:
        old = session.get_one(Ballot, "1001")
        life.void(session, number=old.number, reason="damaged", by="kim", at=AT)
        session.add(Ballot(number="-1009", election_id=ELECTION, voter_id=old.voter_id, style="A", state="issued"))
        session.flush()
        life.void(session, number="-1009", reason="damaged", by="kim", at=AT)
        assert ",'-1009," in "," + hand_over(session, ELECTION, by="lee", at=AT).text.replace("\n", "\n,")
    found = answer(office, tmp_path, f"ballot_number,event,result\n1001,voided,taken\n{written},voided,taken\n")
    assert (found.taken, found.complete) == (2, True)


def test_an_answer_to_nothing_and_a_file_that_is_none_are_refused(handed: tuple[Database, str], tmp_path: Path) -> None:
    database, _ = handed
    with pytest.raises(NoSuchHandOver, match="no hand-over 2"):
        answer(database, tmp_path, "ballot_number,event\n", number=2)
    with pytest.raises(FileTrouble, match="'event'"):
        answer(database, tmp_path, "ballot_number\n1001\n")
    assert states(database) == [(1, "open")]
