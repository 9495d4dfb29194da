"""The command line as an office meets it: what it does, and what it says when something is wrong."""

from __future__ import annotations

import json
import mailbox
import socket
from collections.abc import Callable
from datetime import UTC, datetime
from email.message import EmailMessage
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import select, text

from replacements.cli import main
from replacements.demo.running import MARK
from replacements.store.database import Database
from replacements.store.tables import Account, Factor, LedgerEntry
from tests.requests.conftest import FILES

RULES = Path(__file__).parent / "rules" / "saltgrass.toml"
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, ["--data", str(tmp_path / "var"), *map(str, arguments)])

    return invoke


@pytest.fixture
def mail(tmp_path: Path) -> Path:
    """A folder with one .eml, one mbox of two, one Maildir of one, and a file that is no mail."""
    folder = tmp_path / "mail"
    (folder / "older").mkdir(parents=True)
    message = EmailMessage()
    message["From"] = "Ada Quillfeather <ada.q@post.example>"
    message["To"] = "ballots@saltgrass.example"
    message["Subject"] = "wet ballot"
    message["Date"] = "Mon, 05 Oct 2026 09:30:00 -0400"
    message["Message-ID"] = "<one@post.example>"
    message.set_content(
        "My ballot fell into the sink and is ruined, please send me another.\n\n"
        "Ada Quillfeather, 14 Otter Bank Rd, Eelpoint, born 3/7/1958\n"
    )
    (folder / "a.eml").write_bytes(message.as_bytes())
    (folder / "b-broken.eml").write_bytes(b"\x00\xff\xfe nothing of a mail")
    (folder / "readme.txt").write_text("not a mail", encoding="utf-8")
    box = mailbox.mbox(folder / "c.mbox")
    box.add(message)
    box.add(message)
    box.close()
    mailbox.Maildir(folder / "older" / "box", create=True).add(message)
    return folder


def rehearse(run: Run, mail: Path, *more: str | Path) -> Result:
    files = ("--roll", FILES / "roll.csv", "--ballots", FILES / "ballots.csv", "--office", RULES)
    return run("rehearse", mail, *files, *more)


def test_a_rehearsal_reads_every_kind_of_mail_file_in_order(run: Run, mail: Path, tmp_path: Path) -> None:
    done = rehearse(run, mail, "--out", tmp_path / "out.jsonl", "--timings")
    assert done.exit_code == 0, done.output
    lines = [json.loads(line) for line in (tmp_path / "out.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [line["mail"] for line in lines[:4]] == ["a.eml", "b-broken.eml", "c.mbox#1", "c.mbox#2"]
    assert len(lines) == 5
    first = lines[0]
    assert first["at"] == "2026-10-05T09:30:00-04:00"
    assert first["requests"][0]["proposal"] == "reissue"
    assert first["requests"][0]["in_time"]["mailed"] == "2026-10-05"
    assert first["requests"][0]["in_time"]["destination"] == "in_county"
    assert {"reading", "deciding"} <= set(first["milliseconds"])


def test_what_cannot_be_read_goes_to_a_person_and_the_rehearsal_goes_on(run: Run, mail: Path) -> None:
    done = rehearse(run, mail / "b-broken.eml")
    assert done.exit_code == 0
    (answer,) = map(json.loads, done.stdout.splitlines())
    assert (answer["kinds"], answer["proposal"]) == ([], "read")
    assert answer["notices"]


def test_a_rehearsal_at_another_moment_judges_by_that_moment(run: Run, mail: Path) -> None:
    done = rehearse(run, mail / "a.eml", "--at", "2026-10-28T08:00")
    assert json.loads(done.stdout)["requests"][0]["proposal"] == "come_in"


@pytest.mark.parametrize("missing", ["--roll", "--ballots", "--office"])
def test_a_missing_file_is_one_clear_error(run: Run, mail: Path, missing: str) -> None:
    done = rehearse(run, mail, missing, "nowhere/at-all.file")
    assert done.exit_code == 2
    assert "at-all.file" in done.stderr
    assert "Traceback" not in done.output


def test_mistakes_in_the_rules_name_file_line_entry_and_what_was_expected(run: Run, tmp_path: Path) -> None:
    wrong = tmp_path / "office.toml"
    text_ = RULES.read_text(encoding="utf-8").replace('return_rule = "postmarked"', 'return_rule = "arrived"')
    wrong.write_text(text_.replace("cut_off = 14:30:00", 'cut_of = "2.30 pm"'), encoding="utf-8")
    done = run("rules", "check", wrong)
    assert done.exit_code == 2
    line = text_.splitlines().index('return_rule = "arrived"') + 1
    assert str(wrong) in done.stderr
    assert f"{line}" in done.stderr
    assert "dates.return_rule" in done.stderr
    assert "postmarked" in done.stderr
    assert "cut_off" in done.stderr  # the nearest known entry
    assert not (tmp_path / "var").exists()


def test_a_roll_without_a_needed_column_changes_nothing(run: Run, tmp_path: Path) -> None:
    bad = tmp_path / "roll.csv"
    bad.write_text("id,name\n1,Ada\n", encoding="utf-8")
    done = run("roll", "import", bad)
    assert done.exit_code == 2
    assert "voter_id" in done.stderr
    assert "line 1" in done.stderr


def test_a_bad_line_is_refused_with_its_reason_and_strict_refuses_the_file(run: Run, tmp_path: Path) -> None:
    roll = tmp_path / "roll.csv"
    good = (FILES / "roll.csv").read_text(encoding="utf-8")
    roll.write_text(good + "61000009,,NoLastName,,,,,,,,,,,,\n", encoding="utf-8")
    strict = run("roll", "import", roll, "--strict")
    assert strict.exit_code == 2
    assert "Nothing was imported" in strict.output
    lenient = run("roll", "import", roll)
    assert lenient.exit_code == 0
    assert "5 voters added" in lenient.output
    assert "7" in lenient.output
    again = run("roll", "import", roll)
    assert "0 voters added, 0 changed" in again.output


def test_nothing_is_adopted_without_a_name(run: Run) -> None:
    assert run("rules", "adopt", RULES).exit_code == 2
    run("rules", "load", RULES)
    assert "NOT adopted" in run("rules", "show").output
    assert run("rules", "adopt", RULES, "--by", "the registrar").exit_code == 0
    assert "adopted by the registrar" in run("rules", "show").output


def test_ledger_and_books_are_checked_and_tampering_is_named(run: Run, tmp_path: Path) -> None:
    run("rules", "adopt", RULES, "--by", "the registrar")
    run("roll", "import", FILES / "roll.csv")
    run("ballots", "import", FILES / "ballots.csv")
    assert run("ledger", "verify").exit_code == 0
    assert run("reconcile").exit_code == 0
    database = Database(str(tmp_path / "var" / "replacements.db"))
    with database.write() as session:
        session.execute(text("DROP TRIGGER ledger_no_update"))
        session.execute(text("""UPDATE ledger SET "by" = 'nobody' WHERE seq = 3"""))
    database.close()
    broken = run("ledger", "verify")
    assert broken.exit_code == 1
    assert "3" in broken.stderr


def test_a_hand_over_is_numbered_and_can_be_written_again(run: Run, tmp_path: Path) -> None:
    run("rules", "adopt", RULES, "--by", "the registrar")
    first = run("handover", "--folder", tmp_path)
    assert first.exit_code == 0
    assert run("handover", "--again", "1", "--folder", tmp_path).exit_code == 0
    assert run("handover", "--again", "7", "--folder", tmp_path).exit_code == 2


def test_a_newer_database_is_left_alone(run: Run, tmp_path: Path) -> None:
    run("rules", "load", RULES)
    database = Database(str(tmp_path / "var" / "replacements.db"))
    with database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    database.close()
    done = run("rules", "show")
    assert done.exit_code == 2
    assert "newer version" in done.stderr
    assert "Nothing was changed" in done.stderr


def test_a_port_in_use_is_said_in_plain_words(run: Run) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = run("serve", "--port", str(taken.getsockname()[1]))
    assert done.exit_code == 2
    assert "--port" in done.stderr


def test_a_short_passphrase_makes_no_account(run: Run) -> None:
    done = run("accounts", "create", "clara", "--role", "clerk", "--passphrase", "short")
    assert done.exit_code == 2
    assert "15" in done.stderr


def test_the_demo_never_starts_over_what_is_not_its_own(run: Run, tmp_path: Path) -> None:
    run("rules", "load", RULES)
    fresh = run("demo", "--once", "--fresh")
    assert fresh.exit_code == 2
    assert (tmp_path / "var" / "replacements.db").exists()
    assert run("demo", "--once").exit_code == 2
    assert not (tmp_path / "var" / MARK).exists()


def test_a_lone_supervisor_who_lost_the_second_factor_is_helped_at_the_machine_itself(run: Run, tmp_path: Path) -> None:
    run("rules", "load", RULES)
    run("accounts", "create", "sunniva", "--role", "supervisor", "--passphrase", "a passphrase long enough")
    database = Database(str(tmp_path / "var" / "replacements.db"))
    with database.write() as session:
        account = session.scalars(select(Account)).one()
        session.add(Factor(account_id=account.id, kind="totp", data=b"sealed", made_at=datetime.now(UTC)))
    nobody = run("accounts", "remove-second-factor", "nobody", "--by", "The official")
    assert nobody.exit_code == 2
    assert "Nothing was changed" in nobody.stderr
    assert run("accounts", "remove-second-factor", "sunniva", "--by", "The official").exit_code == 0
    with database.read() as session:
        assert session.scalars(select(Factor)).all() == []
        entry = session.scalars(select(LedgerEntry).where(LedgerEntry.event == "account_second_factor_removed")).one()
    assert entry.by == "The official"
    database.close()
