"""The invented county: whole, the same each time, and readable by everything that reads an office's files."""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from replacements.demo.county import VOTERS, people
from replacements.demo.setting_up import ADDRESS, County, rules_text, write_county
from replacements.mail.letter import Letter, SenderCheck
from replacements.mail.parsing import parse
from replacements.rules.office import load_rules

TODAY = date(2027, 3, 10)
NOW = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> County:
    return write_county(tmp_path_factory.mktemp("county"), TODAY, NOW)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def mails(county: County) -> list[Letter]:
    files = sorted((county.mailbox / "new").iterdir())
    return [parse(path.read_bytes(), office_addresses=frozenset({ADDRESS}), received_at=NOW) for path in files]


def test_the_same_day_gives_the_same_county(county: County, tmp_path: Path) -> None:
    again = write_county(tmp_path, TODAY, NOW)
    for name in ("roll", "ballots", "office"):
        assert getattr(county, name).read_bytes() == getattr(again, name).read_bytes()
    first, second = ({p.name: p.read_bytes() for p in (c.mailbox / "new").iterdir()} for c in (county, again))
    assert first == second
    assert {a.name for a in county.accounts} == {a.name for a in again.accounts}
    assert all(a.password != b.password for a, b in zip(county.accounts, again.accounts, strict=True))


def test_setting_up_twice_brings_no_mail_twice(tmp_path: Path) -> None:
    county = write_county(tmp_path, TODAY, NOW)
    first = next((county.mailbox / "new").iterdir())
    first.rename(county.mailbox / "cur" / f"{first.name}:2,S")
    write_county(tmp_path, TODAY, NOW + timedelta(minutes=5))
    found = [p for part in ("new", "cur") for p in (county.mailbox / part).iterdir()]
    assert len(found) == county.mails


def test_the_roll_has_two_thousand_voters_of_every_kind(county: County) -> None:
    roll = rows(county.roll)
    assert len(roll) == VOTERS == len({line["voter_id"] for line in roll})
    for column in ("id_required", "overseas", "protected"):
        assert sum(line[column] == "yes" for line in roll) >= 15
    for column in ("former_last_name", "mail_country", "suffix"):
        assert sum(bool(line[column]) for line in roll) >= 15
    assert {"en", "es", "vi", "ko", "zh"} <= {line["language"] for line in roll}
    names = Counter((line["first_name"], line["last_name"]) for line in roll)
    assert sum(count > 1 for count in names.values()) >= 40
    shared = Counter(line["email"] for line in roll if line["email"])
    assert sum(count > 1 for count in shared.values()) >= 20
    assert all(line["phone"][5:].startswith(" 555-01") for line in roll if line["phone"])
    assert all(line["email"].endswith(".example") for line in roll if line["email"])


def test_everybody_in_the_cast_who_writes_of_a_ballot_has_the_one_that_the_mail_needs(county: County) -> None:
    live = {line["voter_id"]: line["state"] for line in rows(county.ballots) if line["state"] != "voided"}
    cast = people(TODAY).cast
    assert live[cast["plain-31"]] == "returned"
    assert live[cast["plain-1"]] == "issued"
    assert cast["plain-36"] not in live


def test_no_voter_has_two_live_ballots_and_every_replacement_names_its_original(county: County) -> None:
    ballots = rows(county.ballots)
    numbers = {line["ballot_number"]: line for line in ballots}
    assert len(numbers) == len(ballots)
    live = Counter(line["voter_id"] for line in ballots if line["state"] != "voided")
    assert max(live.values()) == 1
    for line in ballots:
        if line["replaces"]:
            assert numbers[line["replaces"]]["state"] == "voided"
            assert numbers[line["replaces"]]["voter_id"] == line["voter_id"]


@pytest.mark.parametrize("month", range(1, 13))
@pytest.mark.parametrize("day", [1, 14, 28])
def test_the_rules_hold_on_any_day_of_the_year(tmp_path: Path, month: int, day: int) -> None:
    today = date(2027, month, day)
    file = tmp_path / "office.toml"
    file.write_text(rules_text(today), encoding="utf-8")
    rules = load_rules(file)
    assert 19 <= (rules.election.date - today).days <= 25
    assert rules.dates.last_request_by_mail.date() > today + timedelta(days=10)
    assert rules.dates.packets_from <= today - timedelta(days=21)


def test_every_mail_can_be_read_and_came_in_the_last_days(county: County) -> None:
    letters = mails(county)
    assert 60 <= len(letters) == county.mails <= 85
    for letter in letters:
        assert letter.sender.address
        assert letter.machine or letter.new_text.strip()
        assert "$" not in letter.text()
        assert NOW - timedelta(days=6) < letter.arrived <= NOW
    assert len({letter.message_id for letter in letters}) == len(letters)


def test_the_mail_holds_machines_a_forger_a_picture_a_thread_and_hidden_words(county: County) -> None:
    letters = mails(county)
    assert {letter.machine.code for letter in letters if letter.machine} >= {"bounce", "delay", "list"}
    assert sum(letter.sender.check is SenderCheck.FAIL for letter in letters) == 2
    assert sum(letter.sender.check is SenderCheck.PASS for letter in letters) > 50
    assert [letter.pictures for letter in letters if letter.pictures] == [("IMG_4471.png",)]
    ids = {letter.message_id for letter in letters}
    assert sum(bool(ids & set(letter.in_reply_to)) for letter in letters) == 2
    assert not any("void all ballots" in letter.text() for letter in letters)


def test_the_people_stay_when_the_year_turns_and_only_ages_move() -> None:
    now, later = people(TODAY).voters, people(TODAY.replace(year=2028)).voters
    assert [replace(v, birth_date="", email="") for v in now] == [replace(v, birth_date="", email="") for v in later]
