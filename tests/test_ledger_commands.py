"""The commands about the ledger, as an office meets them."""

from __future__ import annotations

import json
import re
import sqlite3
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import select

from replacements.ballots import life
from replacements.cli import main
from replacements.commands.basics import now
from replacements.store.database import Database
from replacements.store.tables import Ballot
from tests.requests.conftest import FILES

RULES = Path(__file__).parent / "rules" / "saltgrass.toml"
Run = Callable[..., Result]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "var"


@pytest.fixture
def run(folder: Path) -> Run:
    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, ["--data", str(folder), *map(str, arguments)])

    assert invoke("rules", "load", RULES).exit_code == 0
    assert invoke("ballots", "import", FILES / "ballots.csv").exit_code == 0
    return invoke


def edit(folder: Path, *statements: str) -> None:
    """Straight in the file, past everything that refuses it."""
    connection = sqlite3.connect(folder / "replacements.db")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


def test_the_key_is_made_once_and_shown_ever_after(run: Run, folder: Path) -> None:
    made = run("ledger", "key")
    assert "Made: " in made.output
    assert stat.S_IMODE((folder / "ledger-key").stat().st_mode) == 0o600
    again = run("ledger", "key")
    assert "The key is there" in again.output
    assert made.output.splitlines()[1:] == again.output.splitlines()[1:]


def test_without_a_key_no_head_is_signed_and_one_is_told_how(run: Run) -> None:
    done = run("ledger", "head")
    assert done.exit_code == 2
    assert "replacements ledger key" in done.output


def test_a_head_signed_then_is_compared_now_as_a_file_and_from_paper(run: Run, folder: Path, tmp_path: Path) -> None:
    run("ledger", "key")
    signed = run("ledger", "head", "--out", tmp_path / "head.json", "--every", "1")
    entries, digest = (re.search(rf"^{name} +(.+)$", signed.output, re.MULTILINE) for name in ("Entries", "Head"))
    assert entries is not None
    assert digest is not None
    paper = ("ledger", "compare", "--entries", entries[1], "--hash", digest[1])
    for asked in (("ledger", "compare", tmp_path / "head.json"), paper):
        done = run(*asked)
        assert done.exit_code == 0, done.output
        assert "none of them changed" in done.output
    edit(folder, f"DELETE FROM ledger WHERE seq = {entries[1]}")
    for asked in (("ledger", "compare", tmp_path / "head.json"), paper):
        done = run(*asked)
        assert done.exit_code == 1
        assert f"BROKEN at entry {entries[1]} (removed)" in done.output
    assert run("ledger", "verify").exit_code == 0  # the chain alone cannot know


def test_a_broken_ledger_is_never_signed(run: Run, folder: Path, tmp_path: Path) -> None:
    run("ledger", "key")
    edit(folder, "UPDATE ledger SET by = 'sam' WHERE seq = 2")
    done = run("ledger", "head", "--out", tmp_path / "head.json")
    assert done.exit_code == 1
    assert "BROKEN at entry 2 (changed)" in done.output
    assert not (tmp_path / "head.json").exists()


def test_comparing_needs_a_file_or_both_parts_from_paper(run: Run, tmp_path: Path) -> None:
    for asked in ((), ("--entries", "1"), ("--hash", "ab" * 32), (tmp_path / "none.json",)):
        assert run("ledger", "compare", *asked).exit_code == 2
    assert "64 digits" in run("ledger", "compare", "--entries", "1", "--hash", "ab").output


def test_states_are_derived_from_the_ledger_alone_and_compared(run: Run, folder: Path, tmp_path: Path) -> None:
    done = run("ledger", "rebuild", "--check", "--out", tmp_path / "states.csv")
    assert done.exit_code == 0, done.output
    assert "The tables say what the ledger says." in done.output
    assert (tmp_path / "states.csv").read_text().startswith("number,voter_id,style,state")
    edit(folder, "UPDATE ballots SET style = 'nowhere' WHERE number = (SELECT min(number) FROM ballots)")
    done = run("ledger", "rebuild", "--check")
    assert done.exit_code == 1
    assert "style: nowhere on record" in done.output
    assert run("ledger", "rebuild").exit_code == 0


def test_the_ledger_is_written_as_an_event_log_and_its_events_explained(run: Run, tmp_path: Path) -> None:
    assert run("ledger", "export", tmp_path / "log.json").exit_code == 0
    assert run("ledger", "export", tmp_path / "public.json", "--public").exit_code == 0
    assert run("ledger", "export", tmp_path / "words.json", "--documentation").exit_code == 0
    names = ("log.json", "public.json", "words.json")
    whole, public, words = (json.loads((tmp_path / name).read_text(encoding="utf-8")) for name in names)
    assert len(whole["Device"][0]["Event"]) == len(public["Device"][0]["Event"]) > 0
    assert "Details" in whole["Device"][0]["Event"][0]
    assert "Details" not in public["Device"][0]["Event"][0]
    assert words["EventIdDescription"]
    assert stat.S_IMODE((tmp_path / "log.json").stat().st_mode) == 0o600


def test_requests_are_written_a_document_a_line(run: Run, tmp_path: Path) -> None:
    assert run("ledger", "requests", tmp_path / "requests.jsonl").exit_code == 0
    assert (tmp_path / "requests.jsonl").read_text() == ""  # no mail came yet


def test_a_hand_over_is_answered_by_the_other_sides_file(run: Run, folder: Path, tmp_path: Path) -> None:
    database = Database(str(folder / "replacements.db"))
    with database.write() as session:
        number = session.scalars(select(Ballot.number).where(Ballot.state == "issued").limit(1)).one()
        life.void(session, number=number, reason="wrong_style", by="kim", at=now())
    database.close()
    assert run("handover", "--folder", tmp_path).exit_code == 0
    assert "open" in run("ledger", "handovers").output
    (tmp_path / "answer.csv").write_text(f"ballot_number,event,result\n{number},voided,no such ballot\n")
    done = run("ledger", "acknowledge", "1", tmp_path / "answer.csv")
    assert done.exit_code == 1
    assert f"Not taken: {number} voided: no such ballot" in done.output
    assert "differs" in run("ledger", "handovers").output
    assert run("ledger", "acknowledge", "1", tmp_path / "handover-00001.csv").exit_code == 0
    assert "taken" in run("ledger", "handovers").output
    assert run("ledger", "acknowledge", "2", tmp_path / "answer.csv").exit_code == 2
