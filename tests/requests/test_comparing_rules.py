"""New rules before they are adopted: which proposals of earlier mail would change, and by which rule."""

from __future__ import annotations

from datetime import timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest
from click.testing import CliRunner

from replacements.cli import main
from replacements.proposals.types import Action, Because, Proposal
from replacements.requests.comparing import Change, Compared, compare, deciding_rule
from replacements.rules.office import parse_rules
from tests.requests.conftest import FILES, RULES

SPOILED = "I filled in the wrong oval on my ballot and ruined it. Please send me another one."
NEVER = "My ballot never came in the mail. Please send me one."
ADA = "Ada Quillfeather, 14 Otter Bank Rd, Eelpoint, born March 7, 1958"
TEMI = "Temi Oyelowa, 220 Ferry Lane Apt 4, Saltgrass, born July 19, 1990"
DEADLINE = "last_request_by_mail = 2026-10-27T17:00:00"


def write(folder: Path, number: int, text: str, sender: str, day: str) -> None:
    message = EmailMessage()
    message["From"] = sender
    message["To"] = "ballots@saltgrass.example"
    message["Subject"] = "my ballot"
    message["Date"] = f"{day} 10:00:00 -0400"
    message["Message-ID"] = f"<mail-{number}@post.example>"
    message.set_content(text)
    (folder / f"{number}.eml").write_bytes(message.as_bytes())


@pytest.fixture
def mail(tmp_path: Path) -> Path:
    folder = tmp_path / "mail"
    folder.mkdir()
    write(folder, 1, f"{SPOILED}\n\n{ADA}\n", "Ada Quillfeather <ada.q@post.example>", "Thu, 22 Oct 2026")
    write(folder, 2, f"{NEVER}\n\n{TEMI}\n", "Temi Oyelowa <temi@post.example>", "Mon, 12 Oct 2026")
    write(folder, 3, "When is the last day to return my ballot?\n", "Someone <who@post.example>", "Mon, 12 Oct 2026")
    (folder / "4.eml").write_bytes(b"\x00\xff\xfe nothing of a mail")
    return folder


def compared(mail: Path, new: str, old: str = RULES) -> Compared:
    found = compare([mail], parse_rules(old), parse_rules(new), roll=FILES / "roll.csv", ballots=FILES / "ballots.csv")
    assert found.refused == ()
    return found


def test_the_same_rules_change_nothing(mail: Path) -> None:
    found = compared(mail, RULES)
    assert (found.messages, found.requests, found.unreadable, found.changes) == (4, 3, 1, ())


def test_an_earlier_deadline_turns_a_reissue_into_an_invitation(mail: Path) -> None:
    found = compared(mail, RULES.replace(DEADLINE, "last_request_by_mail = 2026-10-20T17:00:00"))
    assert found.changes == (
        Change("<mail-1@post.example>", "Ada Quillfeather", "reissue", "come_in", "dates.last_request_by_mail"),
    )


def test_a_statement_that_is_no_longer_asked_for_is_named_as_the_rule(mail: Path) -> None:
    found = compared(mail, RULES.replace("not_received = { statement = true", "not_received = { statement = false"))
    (change,) = found.changes
    assert (change.old, change.new) == ("statement_first", "reissue")
    assert change.rule == "reasons.not_received.statement"


def test_a_second_person_is_a_change_too(mail: Path) -> None:
    found = compared(
        mail,
        RULES.replace(
            "spoiled = { statement = false, two_people = false }", "spoiled = { statement = false, two_people = true }"
        ),
    )
    (change,) = found.changes
    assert (change.old, change.new) == ("reissue", "reissue, two people")
    assert change.rule == "reasons.spoiled.two_people"


def test_the_mail_moves_with_the_election(mail: Path) -> None:
    """A year later, 364 days on: the same weekdays, the same distances, the same proposals."""
    moved = timedelta(days=364)
    new = RULES
    for day in ("2026-11-03", "2026-09-18", "2026-10-27", "2026-10-31", "2026-11-06", "2026-11-02", "2026-11-12"):
        year, month, number = map(int, day.split("-"))
        from datetime import date

        new = new.replace(day, str(date(year, month, number) + moved))
    new = new.replace("open = 2026-10-15\nclose = 2027-10-30\n", "").replace("open = 2026-10-15\n", "")
    found = compared(mail, new)
    assert found.moved == moved
    assert found.changes == ()


def test_of_two_rows_the_upper_one_makes_the_difference() -> None:
    def proposal(row: int, rule: str, *more: str) -> Proposal:
        return Proposal(Action.READ, tuple(Because(r, r) for r in (rule, *more)), row=row)

    upper, lower = proposal(3, "upper"), proposal(9, "lower")
    assert deciding_rule(upper, lower) == deciding_rule(lower, upper) == "upper"
    assert deciding_rule(proposal(9, "a"), proposal(9, "a", "transit.threshold", "two")) == "two"


def test_the_command_counts_and_lists_and_ends_well(mail: Path, tmp_path: Path) -> None:
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text(RULES, encoding="utf-8")
    new.write_text(RULES.replace(DEADLINE, "last_request_by_mail = 2026-10-20T17:00:00"), encoding="utf-8")
    files = ["--mail", mail, "--roll", FILES / "roll.csv", "--ballots", FILES / "ballots.csv"]
    done = CliRunner(env={"COLUMNS": "200"}).invoke(main, ["rules", "compare", *map(str, [old, new, *files])])
    assert done.exit_code == 0, done.output
    assert "4 messages, 3 requests; 1 would be proposed otherwise." in done.stdout
    assert "1 messages cannot be read" in done.stdout
    for shown in ("<mail-1@post.example>", "Ada Quillfeather", "reissue", "come_in", "dates.last_request_by_mail"):
        assert shown in done.stdout
    same = CliRunner().invoke(main, ["rules", "compare", *map(str, [old, old, *files])])
    assert same.exit_code == 0
    assert "0 would be proposed otherwise" in same.stdout


def test_a_mistake_in_the_new_rules_is_said_before_anything_is_judged(mail: Path, tmp_path: Path) -> None:
    old, new = tmp_path / "old.toml", tmp_path / "new.toml"
    old.write_text(RULES, encoding="utf-8")
    new.write_text(RULES.replace("14:30:00", "14:30"), encoding="utf-8")
    files = ["--mail", mail, "--roll", FILES / "roll.csv", "--ballots", FILES / "ballots.csv"]
    done = CliRunner().invoke(main, ["rules", "compare", *map(str, [old, new, *files])])
    assert done.exit_code == 2
    assert "mailing.cut_off" in done.stderr
