"""`replacements health`: what an office is told on the machine, and by which exit status a watchdog knows."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from replacements.cli import main
from replacements.health.types import Part
from replacements.requests import office
from replacements.store.database import Database
from replacements.store.tables import Condition

RULES = (Path(__file__).parent / "web" / "office.toml").read_text(encoding="utf-8")
JOBS = ("mailbox", "outbox", "reconciliation")


def health(folder: Path, *arguments: str, **environment: str) -> Result:
    return CliRunner().invoke(main, ["--data", str(folder), "health", *arguments], env=environment)


@pytest.fixture
def folder(tmp_path: Path, sqlite_template: Path) -> Path:
    """The data folder of an office whose jobs have all just said that they are well."""
    shutil.copyfile(sqlite_template, tmp_path / "replacements.db")
    database = Database(str(tmp_path / "replacements.db"))
    now = datetime.now(UTC)
    with database.write() as session:
        office.load(session, RULES, at=now)
        session.add_all([Condition(name=name, ok=True, text="Well.", at=now) for name in JOBS])
    database.close()
    return tmp_path


def test_where_everything_works_the_exit_status_is_0(folder: Path) -> None:
    found = health(folder)
    assert found.exit_code == 0, found.output
    assert found.output.endswith("Everything works.\n")
    assert "works       Database: SQLite answers." in found.output


def test_where_anything_is_behind_the_exit_status_is_1_and_it_is_named(folder: Path) -> None:
    database = Database(str(folder / "replacements.db"))
    with database.write() as session:
        session.merge(
            Condition(name="mailbox", ok=False, text="The mail server does not answer.", at=datetime.now(UTC))
        )
    database.close()
    found = health(folder)
    assert found.exit_code == 1
    assert "BEHIND      Mailbox: Mailbox: The mail server does not answer." in found.output


def test_before_anything_was_set_up_it_says_so_and_makes_nothing(tmp_path: Path) -> None:
    found = health(tmp_path / "var")
    assert found.exit_code == 1
    assert "There is no database yet" in found.output
    assert not (tmp_path / "var").exists()


def test_a_key_file_that_is_gone_is_said_and_the_rest_is_told_still(folder: Path) -> None:
    found = health(folder, REPLACEMENTS_MAIL_KEYS=str(folder / "gone"))
    assert found.exit_code == 1
    assert "BROKEN      Keys of stored mail:" in found.output
    assert "works       Database:" in found.output
    assert found.output.count("Keys of stored mail") == 1


def test_a_program_is_told_the_same_as_one_object(folder: Path) -> None:
    found = health(folder, "--json")
    told = json.loads(found.output)
    assert (found.exit_code, told["status"]) == (0, "pass")
    assert set(told["checks"]) == {part.value for part in Part}
