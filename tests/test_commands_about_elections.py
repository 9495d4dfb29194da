"""The command line where two elections are open: which one a command is about, and what it says where that is open."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import select

from replacements.cli import main
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import Ballot
from tests.requests.conftest import FILES, RULES

Run = Callable[..., Result]
HEAD = "ballot_number,voter_id,style,state,mailed_on,returned_on,replaces,void_reason\n"


def rules(name: str, days_away: int) -> str:
    """The rules of an election so many days from today."""
    day = datetime.now(UTC).date() + timedelta(days=days_away)

    def at(days: int, hour: int) -> str:
        return datetime.combine(day + timedelta(days=days), time(hour)).isoformat()

    head, _, rest = RULES.partition("[election]")
    _, _, rest = rest.partition("[statement]")
    dates = f"""[election]
name = "{name}"
date = {day.isoformat()}

[dates]
packets_from = {(day - timedelta(days=45)).isoformat()}
last_request_by_mail = {at(-7, 17)}
last_in_person = {at(-3, 15)}
return_rule = "postmarked"
return_by = {at(0, 19)}
grace_until = {at(3, 17)}

[statement]"""
    rest = "\n".join(line for line in rest.splitlines() if not line.startswith(("open = ", "close = ")))
    return head + dates + rest + "\n"


def id_of(name: str, days_away: int) -> str:
    return f"{datetime.now(UTC).date() + timedelta(days=days_away)}-{name.lower().replace(' ', '-')}"


GENERAL, RUNOFF = ("General election", 30), ("Runoff election", 15)


@pytest.fixture
def run(tmp_path: Path) -> Run:
    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, ["--data", str(tmp_path / "var"), *map(str, arguments)])

    return invoke


@pytest.fixture
def both(run: Run, tmp_path: Path) -> Run:
    """Both elections are adopted, on the command line."""
    for name, away in (GENERAL, RUNOFF):
        file = tmp_path / f"{name}.toml"
        file.write_text(rules(name, away), encoding="utf-8")
        done = run("rules", "adopt", file, "--by", "Registrar Penn")
        assert done.exit_code == 0, done.output
    return run


def test_adopting_a_second_elections_rules_lists_what_is_open(both: Run, tmp_path: Path) -> None:
    done = both("rules", "adopt", tmp_path / "Runoff election.toml", "--by", "Registrar Penn")
    assert id_of(*GENERAL) in done.output
    assert id_of(*RUNOFF) in done.output


def test_rules_show_lists_every_election(both: Run) -> None:
    shown = both("rules", "show").output
    assert f"{id_of(*GENERAL)}: open" in shown
    assert f"{id_of(*RUNOFF)}: open" in shown
    assert shown.count("adopted by Registrar Penn") == 2


def test_rules_that_wait_for_their_adoption_are_shown_beside_those_in_force(both: Run, tmp_path: Path) -> None:
    newer = tmp_path / "newer.toml"
    newer.write_text(rules(*GENERAL) + "\n[retention]\nmonths = 30\n", encoding="utf-8")
    assert "stays in force until it is" in both("rules", "load", newer).output
    assert "Loaded and not adopted yet" in both("rules", "show").output


@pytest.mark.parametrize("command", [("ballots", "import", FILES / "ballots.csv"), ("reconcile",), ("handover",)])
def test_a_command_that_could_be_about_either_election_names_them_and_does_nothing(
    both: Run, tmp_path: Path, command: tuple[str | Path, ...]
) -> None:
    refused = both(*command)
    assert refused.exit_code == 2
    assert "More than one election is open: name one with --election." in refused.output
    assert id_of(*GENERAL) in refused.output
    assert id_of(*RUNOFF) in refused.output
    assert "Traceback" not in refused.output
    database = Database(Settings.from_environment({}, data=tmp_path / "var").database)
    with database.read() as session:
        assert session.scalars(select(Ballot)).all() == []
    database.close()


def test_a_name_that_is_no_elections_is_refused_with_those_on_record(both: Run) -> None:
    refused = both("reconcile", "--election", "2020-01-01-nothing")
    assert refused.exit_code == 2
    assert "There is no election '2020-01-01-nothing'" in refused.output
    assert id_of(*RUNOFF) in refused.output


def test_each_election_has_its_own_ballots_books_and_hand_overs(both: Run, tmp_path: Path) -> None:
    other = tmp_path / "runoff.csv"
    other.write_text(HEAD + "5200001,61000001,12-A,issued,2026-10-01,,,\n", encoding="utf-8")
    assert both("ballots", "import", FILES / "ballots.csv", "--election", id_of(*GENERAL)).exit_code == 0
    assert "1 ballots added" in both("ballots", "import", other, "--election", id_of(*RUNOFF)).output
    wrong = both("ballots", "import", other, "--election", id_of(*GENERAL))
    assert "belongs to another election" in wrong.output
    assert "The books balance." in both("reconcile", "--election", id_of(*RUNOFF)).output
    for election in (id_of(*GENERAL), id_of(*RUNOFF)):
        assert both("handover", "--folder", tmp_path, "--election", election).exit_code == 0
    assert len(list(tmp_path.glob("*-handover-00001.csv"))) == 2


def test_a_closed_election_takes_no_ballots_and_leaves_one_to_work_with(both: Run, tmp_path: Path) -> None:
    closed = both("rules", "close", id_of(*RUNOFF), "--by", "Registrar Penn")
    assert "is closed, by Registrar Penn" in closed.output
    assert f"{id_of(*RUNOFF)}: closed by Registrar Penn" in both("rules", "show").output
    refused = both("ballots", "import", FILES / "ballots.csv", "--election", id_of(*RUNOFF))
    assert refused.exit_code == 2
    assert "was closed by Registrar Penn" in refused.output
    assert "5 ballots added" in both("ballots", "import", FILES / "ballots.csv").output
    assert both("reconcile", "--election", id_of(*RUNOFF)).exit_code == 0  # what is closed stays readable
    assert "is open again" in both("rules", "reopen", id_of(*RUNOFF), "--by", "Registrar Penn").output
    assert both("reconcile").exit_code == 2


@pytest.fixture
def letters(tmp_path: Path) -> Path:
    folder = tmp_path / "letters"
    folder.mkdir()
    for number, words in enumerate(("ballot", "runoff ballot", "general election ballot")):
        message = EmailMessage()
        message["From"] = "Ada Quillfeather <ada.q@post.example>"
        message["To"] = "ballots@saltgrass.example"
        message["Subject"] = "spoiled"
        message["Date"] = format_datetime(datetime.now(UTC))
        message["Message-ID"] = f"<{number}@post.example>"
        message.set_content(
            f"I filled in the wrong oval and ruined my {words}. Please send me another one.\n\n"
            "Ada Quillfeather\n14 Otter Bank Rd, Eelpoint\nborn March 7, 1958\n"
        )
        (folder / f"{number}.eml").write_bytes(message.as_bytes())
    return folder


def test_a_rehearsal_over_two_elections_says_which_one_each_request_is_about(
    run: Run, letters: Path, tmp_path: Path
) -> None:
    arguments: list[str | Path] = ["--roll", FILES / "roll.csv"]
    today = date.today()  # noqa: DTZ011  the files are written for the day of the test
    for number, (name, away) in enumerate((GENERAL, RUNOFF), start=1):
        file, ballots = tmp_path / f"{number}.toml", tmp_path / f"{number}.csv"
        file.write_text(rules(name, away), encoding="utf-8")
        mailed = (today - timedelta(days=5)).isoformat()
        ballots.write_text(f"{HEAD}510000{number},61000001,12-A,issued,{mailed},,,\n", encoding="utf-8")
        arguments += ["--office", file, "--ballots", ballots]
    done = run("rehearse", letters, *arguments)
    assert done.exit_code == 0, done.output
    found = [json.loads(line)["requests"][0] for line in done.stdout.splitlines() if line.startswith("{")]
    assert [(one["election"], one["proposal"]) for one in found] == [
        (None, "read"),
        (id_of(*RUNOFF), "reissue"),
        (id_of(*GENERAL), "reissue"),
    ]
    one = run("rehearse", letters, *arguments[:6])
    assert all("election" not in json.loads(line)["requests"][0] for line in one.stdout.splitlines())


def test_a_rehearsal_needs_a_list_of_ballots_for_each_rules_file(run: Run, letters: Path, tmp_path: Path) -> None:
    file = tmp_path / "one.toml"
    file.write_text(rules(*GENERAL), encoding="utf-8")
    files = ("--roll", FILES / "roll.csv", "--office", file, "--ballots", FILES / "ballots.csv")
    uneven = run("rehearse", letters, *files, "--office", file)
    assert uneven.exit_code == 2
    assert "2 --office and 1 --ballots" in uneven.output
    twice = run("rehearse", letters, *files, "--office", file, "--ballots", FILES / "ballots.csv")
    assert twice.exit_code == 2
    assert "of the same election" in twice.output
