"""Days out, kept and back, learned from ballots whose true days are known; printed to paste, adopted by nobody."""

from __future__ import annotations

import csv
import random
from collections import Counter
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from replacements.cli import main
from replacements.requests.pieces import pieces_on_record
from replacements.rules.calendar import is_mailing_day
from replacements.rules.destinations import Destination
from replacements.rules.learning import LEAST_PIECES, LEGS, Piece, as_toml, learn
from replacements.rules.office import Rules, parse_rules
from replacements.rules.transit import after_post_days, chance
from replacements.store.database import Database
from replacements.store.tables import Ballot
from tests.requests.conftest import set_up
from tests.rules.conftest import SALTGRASS

TRUE = {
    "outbound": {1: 0.2, 2: 0.5, 3: 0.3},
    "kept_by_voter": {0: 0.3, 2: 0.4, 5: 0.3},
    "inbound": {1: 0.5, 2: 0.3, 4: 0.2},
}


def trip(rules: Rules, mailed: date, dice: random.Random, *, office_days: bool = False) -> date:
    """One ballot's way, walked day by day; the day on which it is written down."""
    out, kept, back = (dice.choices(list(TRUE[leg]), list(TRUE[leg].values()))[0] for leg in LEGS)
    arrived = after_post_days(rules, mailed, out)
    day = after_post_days(rules, after_post_days(rules, arrived + timedelta(days=kept), 0), back)
    while office_days and not is_mailing_day(rules, day):
        day += timedelta(days=1)
    return day


def pieces(rules: Rules, number: int, *, office_days: bool = False, to: Destination | None = None) -> list[Piece]:
    dice = random.Random(7)
    days = [d for n in range(36) if is_mailing_day(rules, d := date(2026, 9, 18) + timedelta(days=n))]
    return [
        Piece(mailed, trip(rules, mailed, dice, office_days=office_days), to)
        for mailed in (dice.choice(days) for _ in range(number))
    ]


@pytest.fixture(scope="module")
def received(saltgrass_text: str) -> Rules:
    return parse_rules(saltgrass_text.replace('"postmarked"', '"received"'))


def pasted(text: str, toml: str) -> Rules:
    """The rules after an official has put what was learned in place of the present entries."""
    head, _, rest = text.partition("[transit]\n")
    columns = rest[rest.index("[columns.roll]") :]
    return parse_rules(f"{head}{toml}threshold = 0.75\n\n{columns}")


@pytest.mark.parametrize("office_days", [False, True], ids=["desk open on Saturdays", "desk closed on Saturdays"])
def test_the_chance_by_what_was_learned_is_the_true_one(
    received: Rules, saltgrass_text: str, office_days: bool
) -> None:
    (found,) = learn(pieces(received, 6_000, office_days=office_days), received)
    assert found.pieces + found.left_out == 6_000
    after = pasted(saltgrass_text.replace('"postmarked"', '"received"'), as_toml([found]))
    truth = received.model_copy(update={"transit": received.transit.model_copy(update=TRUE)})
    for day in (20, 22, 23, 26, 27, 28, 29):
        mailed = date(2026, 10, day)
        assert chance(after, mailed) == pytest.approx(chance(truth, mailed), abs=0.06)
    assert chance(received, date(2026, 10, 27)) - chance(truth, date(2026, 10, 27)) > 0.2  # there was much to learn


def test_what_is_printed_parses_and_every_figure_has_its_pieces(received: Rules) -> None:
    (found,) = learn(pieces(received, 800), received)
    printed = as_toml([found])
    assert f"# {found.pieces:,} pieces" in printed
    assert printed.count("# pieces behind each: ") == 3
    for leg in LEGS:
        assert sum(found.spreads[leg].values()) == pytest.approx(1)
        assert sum(found.behind[leg].values()) == pytest.approx(found.pieces, abs=3)  # days of few pieces are left out
        assert found.spreads[leg].keys() == found.behind[leg].keys()


def test_each_destination_is_learned_apart_and_few_pieces_are_not_learned_from(received: Rules) -> None:
    many = pieces(received, 300, to=Destination.IN_COUNTY)
    few = pieces(received, LEAST_PIECES - 1, to=Destination.OVERSEAS)
    county, overseas = learn([*few, *many], received)
    assert (county.to, overseas.to) == (Destination.IN_COUNTY, Destination.OVERSEAS)
    assert county.spreads
    assert overseas.spreads == {}
    printed = as_toml([county, overseas])
    assert "[transit.in_county]  # " in printed
    assert f"# [transit.overseas]: {overseas.pieces} pieces" in printed
    assert "too few" in printed


def test_a_ballot_back_before_it_was_mailed_is_not_learned_from(received: Rules) -> None:
    wrong = [Piece(date(2026, 10, 5), date(2026, 10, 1)), Piece(date(2026, 7, 1), date(2026, 10, 30))]
    (found,) = learn([*pieces(received, 200), *wrong], received)
    assert found.left_out >= 2


def test_while_ballots_still_come_the_youngest_are_left_out(received: Rules) -> None:
    early = [piece for piece in pieces(received, 600) if piece.returned <= date(2026, 10, 15)]
    (found,) = learn(early, received)
    assert found.pieces == sum(piece.mailed <= max(p.returned for p in early) - timedelta(days=14) for piece in early)


@pytest.fixture
def ballots(tmp_path: Path, received: Rules) -> Path:
    file = tmp_path / "ballots.csv"
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.writer(opened)
        writer.writerow(["ballot_number", "voter_id", "style", "state", "mailed_on", "returned_on", "replaces"])
        for number, piece in enumerate(pieces(received, 300)):
            old = f"52{number:05d}" if number % 2 else ""
            row = [f"51{number:05d}", f"61{number:06d}", "12-A", "accepted", piece.mailed, piece.returned, old]
            writer.writerow(row)
    return file


def run(*arguments: object) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["--data", str(arguments[0]), "rules", "learn", *map(str, arguments[1:])])
    return done.exit_code, done.stdout + done.stderr


def test_the_command_learns_from_files_and_says_where_each_figure_comes_from(tmp_path: Path, ballots: Path) -> None:
    code, told = run(tmp_path / "var", "--office", SALTGRASS, "--ballots", ballots)
    assert code == 0, told
    assert "[transit]  # " in told
    assert "kept_by_voter = { " in told
    code, told = run(tmp_path / "var", "--office", SALTGRASS, "--ballots", ballots, "--replacements-only")
    assert code == 0
    assert "[transit]  # 150 pieces" in told or "were not used" in told


def test_the_command_says_what_it_needs(tmp_path: Path, ballots: Path) -> None:
    assert run(tmp_path / "var", "--ballots", ballots)[0] == 2
    assert run(tmp_path / "var", "--roll", ballots)[0] == 2
    code, told = run(tmp_path / "var")
    assert code == 2
    assert "No rules are loaded" in told


def test_from_the_record_only_what_came_back_counts(sqlite_database: Database) -> None:
    at_work = set_up(sqlite_database)
    rules = parse_rules(SALTGRASS.read_text(encoding="utf-8"))
    with sqlite_database.read() as session:
        returned = [b for b in session.query(Ballot) if b.returned_on]
        found = pieces_on_record(session, at_work.election_id, rules, replacements_only=False)
        assert Counter(found) == Counter(
            Piece(date(2026, 9, 18), b.returned_on, Destination.IN_COUNTY) for b in returned if b.returned_on
        )
        assert found
        assert pieces_on_record(session, at_work.election_id, rules, replacements_only=True) == []
