"""Taking the office's roll file in, on SQLite and PostgreSQL."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from operator import attrgetter
from pathlib import Path

import pytest
from sqlalchemy import delete, event, func, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from replacements.roll import checksums, index
from replacements.roll.importing import RollReport, import_file, import_roll, read_roll
from replacements.roll.keys import voter_keys
from replacements.roll.matching import identify
from replacements.roll.memory import MOST_PER_KEY, MemoryRoll
from replacements.roll.postings import unpacked
from replacements.roll.standing import SUFFICIENT
from replacements.roll.stored import StoredRoll
from replacements.roll.types import AddressClue, Clues, Standing, Voter
from replacements.store.csv_files import FileTrouble
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Ballot, Election, NameCount, RollBucket, RollImport, VoterChange, VoterRow
from tests.roll.invented_roll import county

HEADING = "voter_id,last_name,first_name,birth_date,street,unit,city,state,zip,email,status,id_required"
LINES = [
    "A100,Halloran,Bridget,1961-04-09,14 Kettle Ln,,Ostrey,OR,97999,bridget@post.example,active,no",
    "A101,Halloran,Declan,1959-12-30,14 Kettle Ln,,Ostrey,OR,97999,,active,no",
    "A102,Ibáñez Soler,José,07/02/1984,220 Pell St,Apt 4,Ostrey,OR,97999,,active,yes",
    "A103,Nkemelu,Ada,1990,9 Brine Ct,,Ostrey,OR,97999,,inactive,no",
]


def roll_file(folder: Path, lines: list[str], heading: str = HEADING, name: str = "roll.csv") -> Path:
    path = folder / name
    path.write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")
    return path


def taken(database: Database, path: Path, *, strict: bool = False) -> RollReport:
    with database.write() as session:
        return import_roll(session, path, strict=strict)


def test_a_first_import_takes_every_voter(database: Database, tmp_path: Path) -> None:
    report = taken(database, roll_file(tmp_path, LINES))
    assert (report.added, report.changed, report.unchanged, report.left_out) == (4, 0, 0, ())
    with database.read() as session:
        roll = StoredRoll(session)
        jose = roll.voter("A102")
        assert jose is not None
        assert (jose.birth_date, jose.id_required, jose.last_name) == ("1984-07-02", True, "Ibáñez Soler")
        assert roll.size == 4
        assert roll.share_of_last_name("HALLORAN") == 0.5
        assert roll.share_of_last_name("Nobody") == 0.5 / 4
        assert roll.voter("A999") is None


def test_the_same_file_twice_changes_nothing(database: Database, tmp_path: Path) -> None:
    path = roll_file(tmp_path, LINES)
    taken(database, path)
    before = everything(database)
    report = taken(database, path)
    assert (report.added, report.changed, report.unchanged, report.touched) == (0, 0, 4, 0)
    assert everything(database) == before


def everything(database: Database) -> list[list[tuple[object, ...]]]:
    with database.read() as session:
        return [
            sorted(tuple(row) for row in session.execute(select(VoterRow.voter_id, VoterRow.status, VoterRow.street))),
            sorted(entries_of_the_index(session)),
            sorted(tuple(row) for row in session.execute(select(NameCount.part, NameCount.name, NameCount.voters))),
        ]


def test_a_newer_file_changes_only_what_differs(database: Database, tmp_path: Path) -> None:
    taken(database, roll_file(tmp_path, LINES))
    newer = [
        LINES[0].replace("Halloran", "Quested"),
        *LINES[1:],
        "A104,Quested,Owen,1958-01-01,1 Elm St,,Ostrey,OR,97999,,active,no",
    ]
    report = taken(database, roll_file(tmp_path, newer))
    assert (report.added, report.changed, report.unchanged) == (1, 1, 3)
    with database.read() as session:
        roll = StoredRoll(session)
        assert [v.voter_id for v in roll.with_keys(["l:quested"])] == ["A100", "A104"]
        assert [v.voter_id for v in roll.with_keys(["l:halloran"])] == ["A101"]
        assert roll.share_of_last_name("Quested") == 2 / 5
        assert roll.share_of_last_name("Halloran") == 1 / 5


def test_keys_and_counts_after_many_imports_are_those_of_one(database: Database, tmp_path: Path) -> None:
    taken(database, roll_file(tmp_path, LINES))
    moved = [line.replace("Halloran,Declan", "Soler,Dec").replace("9 Brine Ct", "12 Brine Ct") for line in LINES]
    taken(database, roll_file(tmp_path, moved))
    taken(database, roll_file(tmp_path, LINES))
    kept = everything(database)
    fresh = Database(str(tmp_path / "fresh.sqlite3"))
    migrate(fresh)
    taken(fresh, roll_file(tmp_path, LINES))
    assert kept == everything(fresh)
    fresh.close()


def test_a_voter_missing_from_a_newer_file_is_kept_and_listed_but_found_by_no_message(
    database: Database, tmp_path: Path
) -> None:
    taken(database, roll_file(tmp_path, LINES))
    report = taken(database, roll_file(tmp_path, LINES[1:]))
    assert report.left_out == ("A100",)
    again = taken(database, roll_file(tmp_path, LINES[1:]))
    assert again.touched == 0
    with database.read() as session:
        gone = StoredRoll(session).voter("A100")
        assert gone is not None
        assert gone.status == "inactive"
        clues = Clues(names=("Bridget Halloran",), birth_dates=((1961, 4, 9),), voter_ids=("A100",))
        who = identify(clues, StoredRoll(session), sufficient=SUFFICIENT, today=date(2026, 10, 1))
        assert gone not in [candidate.voter for candidate in who.candidates]
        assert StoredRoll(session).size == 3
    back = taken(database, roll_file(tmp_path, LINES))
    assert (back.changed, back.left_out) == (1, ())
    with database.read() as session:
        who = identify(clues, StoredRoll(session), sufficient=SUFFICIENT, today=date(2026, 10, 1))
        assert who.voter is not None
        assert (who.voter.voter_id, who.voter.status) == ("A100", "active")


def test_half_a_roll_is_not_taken_for_a_newer_one(database: Database, tmp_path: Path) -> None:
    taken(database, roll_file(tmp_path, LINES))
    before = everything(database)
    with pytest.raises(FileTrouble, match="part of a roll"):
        taken(database, roll_file(tmp_path, LINES[3:]))
    assert everything(database) == before


def entries_of_the_index(session: Session) -> Iterator[tuple[int, str]]:
    """(checksum of a key, voter id): numbers differ where voters came in another order."""
    ids = dict(session.execute(select(VoterRow.number, VoterRow.voter_id)).all())
    for postings in session.scalars(select(RollBucket.postings)):
        yield from ((entry >> 32, ids.get(entry & 0xFFFFFFFF, "closed")) for entry in unpacked(postings))


BAD_LINES = [
    (",Halloran,Nora,1961-04-09,,,,,,,active,no", "no voter_id"),
    ("A100,Halloran,Nora,1961-04-09,,,,,,,active,no", "stands on line 2 already"),
    ("B1,,Nora,1961-04-09,,,,,,,active,no", "no last_name"),
    ("B2,Halloran,Nora,1961-02-30,,,,,,,active,no", "no day of the calendar"),
    ("B3,Halloran,Nora,9 April 1961,,,,,,,active,no", "no date as YYYY-MM-DD"),
    ("B4,Halloran,Nora,1799-04-09,,,,,,,active,no", "is before 1890"),
    ("B5,Halloran,Nora,1961-04-09,,,,,,,active,perhaps", "neither yes nor no"),
    ("B6,Halloran,Nora,1961-04-09,,,,,,,moved,no", "neither active nor inactive"),
    ("B7,Halloran,Nora,1961-04-09,,,", "7 entries, but the heading line has 12"),
    ("B8," + "x" * 400 + ",Nora,1961-04-09,,,,,,,active,no", "has 400 characters"),
]


@pytest.mark.parametrize(("line", "reason"), BAD_LINES)
def test_a_bad_line_is_refused_with_its_reason_and_the_rest_is_taken(tmp_path: Path, line: str, reason: str) -> None:
    found = read_roll(roll_file(tmp_path, [LINES[0], line, LINES[1]]))
    assert [v.voter_id for v in found.voters] == ["A100", "A101"]
    assert [(r.line, reason in r.reason) for r in found.refused] == [(3, True)], found.refused


def test_a_strict_import_refuses_the_whole_file_for_one_bad_line(database: Database, tmp_path: Path) -> None:
    report = taken(database, roll_file(tmp_path, [*LINES, BAD_LINES[3][0]]), strict=True)
    assert not report.taken
    assert [r.line for r in report.refused] == [6]
    assert everything(database) == [[], [], []]


def test_a_voter_whose_newer_line_is_refused_stays_as_they_were(database: Database, tmp_path: Path) -> None:
    taken(database, roll_file(tmp_path, LINES))
    report = taken(database, roll_file(tmp_path, [LINES[0].replace("1961-04-09", "1961-04-99"), *LINES[1:]]))
    assert len(report.refused) == 1
    assert report.left_out == ()
    with database.read() as session:
        voter = StoredRoll(session).voter("A100")
        assert voter is not None
        assert (voter.birth_date, voter.status) == ("1961-04-09", "active")


def test_a_file_without_one_good_line_changes_nothing(database: Database, tmp_path: Path) -> None:
    with pytest.raises(FileTrouble, match="no line could be taken"):
        taken(database, roll_file(tmp_path, [BAD_LINES[2][0]]))
    assert everything(database) == [[], [], []]


def test_a_file_without_given_names_is_no_roll(tmp_path: Path) -> None:
    with pytest.raises(FileTrouble, match="first_name"):
        read_roll(roll_file(tmp_path, ["A1,Halloran"], "voter_id,last_name"))


def test_the_offices_own_headings_and_windows_1252(tmp_path: Path) -> None:
    path = tmp_path / "roll.csv"
    path.write_bytes("Reg No,Surname,Given\r\nA1,Ibáñez,Zoë\r\n".encode("cp1252"))
    found = read_roll(path, {"voter_id": "Reg No", "last_name": "Surname", "first_name": "Given"})
    assert [v.full_name for v in found.voters] == ["Zoë Ibáñez"]


def test_the_stored_roll_answers_as_the_roll_in_memory_does(database: Database, tmp_path: Path) -> None:
    path = roll_file(tmp_path, LINES)
    taken(database, path)
    memory = MemoryRoll(read_roll(path).voters)
    asked = [
        Clues(names=("Jose Ibanez",), addresses=(AddressClue("220 Pell Street #4", city="Ostrey"),)),
        Clues(names=("B. Halloran",), emails=("BRIDGET@post.example",)),
        Clues(names=("Declan Halloran",)),
        Clues(names=("Nobody Here",), birth_dates=((1959, 12, 30),)),
    ]
    with database.read() as session:
        for clues in asked:
            one = identify(clues, StoredRoll(session), sufficient=SUFFICIENT, today=date(2026, 10, 1))
            assert one == identify(clues, memory, sufficient=SUFFICIENT, today=date(2026, 10, 1))
        first = identify(asked[0], StoredRoll(session), sufficient=SUFFICIENT, today=date(2026, 10, 1))
        assert first.standing is Standing.CERTAIN


def test_a_name_that_too_many_share_is_passed_over_by_the_family_name_key(database: Database, tmp_path: Path) -> None:
    many = [f"C{n},Marlowe,Given{n},1970-01-01,{n} Elm St,,Ostrey,OR,97999,,active,no" for n in range(MOST_PER_KEY + 1)]
    taken(database, roll_file(tmp_path, many))
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(VoterRow)) == MOST_PER_KEY + 1
        roll = StoredRoll(session)
        assert roll.with_keys(["l:marlowe"]) == []
        assert [v.voter_id for v in roll.with_keys(["l:marlowe", "m:marlowe:given7"])] == ["C7"]


def test_keys_of_an_earlier_version_are_made_anew(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = roll_file(tmp_path, LINES)
    taken(database, path)
    before = everything(database)
    with database.write() as session:
        session.execute(delete(RollBucket).where(RollBucket.bucket % 2 == 0))
    monkeypatch.setattr("replacements.roll.keys.VERSION", "next")
    report = taken(database, path)
    assert report.touched == 0
    assert everything(database)[:2] == before[:2]


def test_a_program_with_other_keys_makes_them_anew_when_it_starts(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = roll_file(tmp_path, LINES)
    taken(database, path)
    before = everything(database)
    with database.write() as session:
        session.execute(delete(RollBucket))
    assert not index.make_ready(database)
    monkeypatch.setattr("replacements.roll.keys.VERSION", "next")
    assert index.make_ready(database)
    assert everything(database)[:2] == before[:2]
    assert taken(database, path).touched == 0


def test_progress_is_told_in_lines(database: Database, tmp_path: Path) -> None:
    told: list[int] = []
    with database.write() as session:
        import_roll(session, roll_file(tmp_path, LINES), progress=told.append)
    assert told == [4]


def test_one_message_costs_the_database_a_handful_of_queries(database: Database, tmp_path: Path) -> None:
    many = [f"C{n},Marlowe,Given{n},1970-01-01,{n} Elm St,,Ostrey,OR,97999,,active,no" for n in range(120)]
    taken(database, roll_file(tmp_path, [*LINES, *many]))
    statements: list[str] = []

    @event.listens_for(database.engine, "before_cursor_execute")
    def note(*arguments: object) -> None:
        statements.append(str(arguments[2]))

    with database.read() as session:
        clues = Clues(names=("Marlowe",), birth_dates=((1970, 1, 1),), addresses=(AddressClue("7 Elm St"),))
        found = identify(clues, StoredRoll(session), sufficient=SUFFICIENT, today=date(2026, 10, 1))
    event.remove(database.engine, "before_cursor_execute", note)
    assert found.candidates
    assert len([s for s in statements if s.startswith("SELECT")]) <= 6, statements


def test_changes_of_style_precinct_and_status_are_kept(database: Database, tmp_path: Path) -> None:
    heading = "voter_id,last_name,first_name,precinct,style,status"
    first, other = "A1,Halloran,Nora,P1,S1,active", "A2,Quested,Owen,P1,S1,active"
    taken(database, roll_file(tmp_path, [first, other], heading))
    taken(database, roll_file(tmp_path, ["A1,Halloran,Nora,P2,S4,active", other], heading))
    taken(database, roll_file(tmp_path, ["A1,Halloran,Nora,P2,S4,active"], heading))
    with database.read() as session:
        kept = session.scalars(select(VoterChange).order_by(VoterChange.id)).all()
        told = [(one.voter_id, one.import_id, one.field, one.was, one.became) for one in kept]
        assert told == [
            ("A1", 2, "style", "S1", "S4"),
            ("A1", 2, "precinct", "P1", "P2"),
            ("A2", 3, "status", "active", "inactive"),
        ]
        imports = session.scalars(select(RollImport).order_by(RollImport.id)).all()
        assert [(one.lines, one.added, one.changed, one.removed) for one in imports] == [
            (2, 2, 0, 0),
            (2, 0, 1, 0),
            (1, 0, 0, 1),
        ]
    with pytest.raises(DBAPIError, match="never changed"), database.write() as session:
        session.execute(delete(VoterChange))


def test_a_voter_with_a_ballot_who_left_the_roll_keeps_both(database: Database, tmp_path: Path) -> None:
    taken(database, roll_file(tmp_path, LINES))
    with database.write() as session:
        session.add(
            Election(id="e", name="General", held_on=date(2026, 11, 3), created_at=datetime(2026, 9, 1, tzinfo=UTC))
        )
        session.flush()
        session.add(Ballot(number="1001", election_id="e", voter_id="A100", style="S1", state="issued"))
    taken(database, roll_file(tmp_path, LINES[1:]))
    with database.read() as session:
        assert session.get_one(Ballot, "1001").state == "issued"
        assert session.get_one(VoterRow, "A100").last_name == "Halloran"


def test_the_same_line_twice_in_a_file_is_refused_every_night(database: Database, tmp_path: Path) -> None:
    path = roll_file(tmp_path, [*LINES, LINES[0], LINES[1].replace("Declan", "Deklan")])
    for _ in range(3):
        report = taken(database, path)
        assert [(r.line, r.reason[-30:]) for r in report.refused] == [
            (6, "'A100' stands on line 2 already"[-30:]),
            (7, "'A101' stands on line 3 already"[-30:]),
        ]
    assert (report.touched, report.unchanged) == (0, 4)


def test_lines_in_another_order_are_no_change(database: Database, tmp_path: Path) -> None:
    lines = [f"C{n},Marlowe,Given{n},1970-01-01,{n} Elm St,,Ostrey,OR,97999,,active,no" for n in range(2000)]
    taken(database, roll_file(tmp_path, lines))
    before = everything(database)
    report = taken(database, roll_file(tmp_path, lines[::-1]))
    assert (report.touched, report.unchanged, report.refused) == (0, 2000, ())
    shifted = taken(database, roll_file(tmp_path, [*lines[:100], *lines[1200:], *lines[100:1200]]))
    assert (shifted.touched, shifted.unchanged) == (0, 2000)
    assert everything(database) == before


def test_another_column_has_every_line_read_again(database: Database, tmp_path: Path) -> None:
    taken(database, roll_file(tmp_path, ["A1,Halloran,Nora"], "voter_id,last_name,first_name"))
    report = taken(database, roll_file(tmp_path, ["A1,Nora,Halloran"], "voter_id,first_name,last_name"))
    assert (report.changed, report.unchanged) == (0, 1)


def test_the_checksums_are_those_of_the_keys() -> None:
    """Every kind of voter that the tests know, with addresses of every form."""
    chance = random.Random(5)
    streets = [
        "12 Oak St 4",
        "9 E St",
        "12 1/2 Elm St",
        "RR 2 Box 9",
        "4 Lot 7",
        "55 1700 South",
        "8 #4",
        "",
        "PO Box 3",
    ]
    firsts, lasts = ["Mary Ann", "José-Luis", "", "J."], ["de la Cruz López", "Smith Jr", "O'Neil", ".", "王"]
    voters = county().voters
    odd = [
        replace(
            voter,
            street=chance.choice(streets),
            first_name=chance.choice(firsts),
            last_name=chance.choice(lasts),
            birth_date=chance.choice(["", "1970", voter.birth_date]),
        )
        for voter in voters
    ]
    values = attrgetter(*Voter.__dataclass_fields__)
    for voter in (*voters, *odd):
        assert checksums.of_values(values(voter)) == {checksums.checksum(key) for key in voter_keys(voter)}, voter


def test_a_large_file_read_by_a_program_of_its_own_gives_the_same_roll(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    many = [f"C{n},Marlowe,Given{n},1970-01-01,{n} Elm St,,Ostrey,OR,97999,,active,no" for n in range(1200)]
    path = roll_file(tmp_path, [*many, *LINES, *(line for line, _ in BAD_LINES)])
    here = taken(database, path)
    before = everything(database)
    other = Database(str(tmp_path / "other.sqlite3"))
    migrate(other)
    monkeypatch.setattr("replacements.roll.read_aside.LARGE", 0)
    told: list[int] = []
    aside = import_file(other, path, progress=told.append)
    assert aside == here
    assert told[-1] == aside.added + len(aside.refused)
    assert everything(other) == before
    other.close()


def test_trouble_in_the_middle_of_a_large_file_is_told_and_nothing_is_changed(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("replacements.roll.read_aside.LARGE", 0)
    with pytest.raises(FileTrouble, match="no line could be taken"):
        import_file(database, roll_file(tmp_path, [BAD_LINES[2][0]]))
    assert everything(database) == [[], [], []]
