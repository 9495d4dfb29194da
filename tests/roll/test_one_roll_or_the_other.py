"""While a roll is taken in, and when that is cut off: whoever looks sees the old roll or the new one, never a mix."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import func, select

from replacements.roll import index
from replacements.roll.importing import import_file
from replacements.roll.memory import MemoryRoll
from replacements.roll.roll_file import read_roll
from replacements.roll.stored import StoredRoll
from replacements.store.database import Database
from replacements.store.tables import RollImport, VoterRow

HEADING = "voter_id,last_name,first_name,birth_date,street,city,state,zip,style"
FAMILIES = ("Halloran", "Quested", "Nkemelu", "Ibarra", "Soler")
MANY = 3000


def roll_file(folder: Path, name: str, family: str = "", count: int = MANY) -> Path:
    """Voters of five families, or all of one; the new roll has every voter under another name."""
    lines = [
        f"V{n},{family or FAMILIES[n % 5]},Given{n % 90},19{n % 80 + 10}-01-0{n % 9 + 1},{n} Elm St,Ostrey,OR,97999,S1"
        for n in range(count)
    ]
    path = folder / name
    path.write_text("\n".join([HEADING, *lines]) + "\n", encoding="utf-8")
    return path


@contextmanager
def half_way(database: Database, path: Path, lines: int) -> Iterator[subprocess.Popen[str]]:
    """An import in another program that has taken so many lines and goes no further."""
    command = [sys.executable, "-m", "tests.roll.slow_import", database.url, str(path), str(lines)]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert program.stdout is not None
        assert program.stdout.readline() == "half-way\n"
        yield program
    finally:
        program.kill()
        program.wait()
        assert program.stdout is not None
        program.stdout.close()


def families(database: Database) -> set[str]:
    with database.read() as session:
        return set(session.scalars(select(VoterRow.last_name).distinct()))


def test_an_import_that_is_killed_leaves_the_old_roll_and_is_run_again(database: Database, tmp_path: Path) -> None:
    import_file(database, roll_file(tmp_path, "old.csv"))
    newer = roll_file(tmp_path, "new.csv", "Zamora")
    with half_way(database, newer, 1000) as program:
        assert families(database) == {*FAMILIES}
        with database.read() as session:
            assert len(StoredRoll(session).with_keys(["m:quested:given1"])) > 0
            assert StoredRoll(session).with_keys(["m:zamora:given1"]) == []
        program.kill()
        program.wait()
    assert families(database) == {*FAMILIES}
    again = import_file(database, newer)
    assert (again.added, again.changed, again.unchanged, again.refused) == (0, MANY, 0, ())
    assert families(database) == {"Zamora"}
    with database.read() as session:
        roll, fresh = StoredRoll(session), MemoryRoll(read_roll(newer).voters)
        for keys in (["m:quested:given1"], ["m:zamora:given7"], ["a:17:ELM", "b:1927-1-9"]):
            assert roll.with_keys(keys) == fresh.with_keys(keys)
        assert roll.share_of_last_name("Zamora") == 1
        assert roll.share_of_last_name("Quested") == 0.5 / MANY


def test_the_first_import_that_is_killed_leaves_nothing(database: Database, tmp_path: Path) -> None:
    path = roll_file(tmp_path, "roll.csv")
    with half_way(database, path, 1500):
        assert families(database) == set()
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(RollImport)) == 0
    assert import_file(database, path).added == MANY


def test_who_began_to_read_before_the_switch_reads_the_old_roll_to_the_end(database: Database, tmp_path: Path) -> None:
    import_file(database, roll_file(tmp_path, "old.csv"))
    with database.read() as session:
        found = index.numbers_with_keys(session, ["m:quested:given1"])
        import_file(database, roll_file(tmp_path, "new.csv", "Zamora"))
        names = select(VoterRow.last_name).where(VoterRow.number.in_(found)).distinct()
        assert session.scalars(names).all() == ["Quested"]
        assert StoredRoll(session).share_of_last_name("Zamora") < 1 / MANY
    with database.read() as session:
        assert session.scalars(names).all() == ["Zamora"]


def test_two_imports_at_once_do_not_mix(database: Database, tmp_path: Path) -> None:
    """The second one was compared with a roll that is no longer there: it says so and changes nothing."""
    import_file(database, roll_file(tmp_path, "old.csv"))
    code = (
        "import sys; from pathlib import Path; from replacements.roll import importing; "
        "from replacements.store.database import Database; url, one, other = sys.argv[1:]; database = Database(url); "
        "ahead = importing._Scan.read_ahead; "
        "importing._Scan.read_ahead = lambda scan: (ahead(scan), "
        "setattr(importing._Scan, 'read_ahead', ahead), importing.import_file(database, Path(other))); "
        "importing.import_file(database, Path(one))"
    )
    one, other = roll_file(tmp_path, "one.csv", "Zamora"), roll_file(tmp_path, "other.csv", "Tanaka")
    ended = subprocess.run(
        [sys.executable, "-c", code, database.url, str(one), str(other)], capture_output=True, text=True, check=False
    )
    assert "another import ended meanwhile" in ended.stderr
    assert families(database) == {"Tanaka"}
