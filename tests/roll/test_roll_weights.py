"""The figures that evidence is weighed by: their sources, and what is measured on the office's own roll."""

from __future__ import annotations

import csv
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from replacements.cli import main
from replacements.roll import parameters
from replacements.roll.estimating import as_text, estimate
from replacements.roll.matching import identify
from replacements.roll.memory import MemoryRoll
from replacements.roll.parameters import WeightsTrouble
from replacements.roll.standing import SUFFICIENT
from replacements.roll.types import AddressClue, Clues, Voter
from tests.roll.invented_roll import Maker, county

TODAY = date(2026, 10, 20)
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Run]:
    def invoke(*arguments: str | Path) -> Result:
        return CliRunner().invoke(main, ["--data", str(tmp_path / "var"), *map(str, arguments)])

    yield invoke
    parameters.use(None)


@pytest.fixture
def roll_file(tmp_path: Path) -> Path:
    fields = list(Voter.__dataclass_fields__)
    fields = fields[: fields.index("status")]
    path = tmp_path / "roll.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(fields)
        writer.writerows([getattr(voter, name) for name in fields] for voter in county(ordinary=300).voters)
    return path


def test_every_figure_says_what_it_rests_on() -> None:
    for field, levels in parameters.own().fields.items():
        for level, figures in levels.items():
            assert figures.source, (field, level)


def test_a_town_where_everybody_lives_tells_nothing_and_a_small_one_tells_much() -> None:
    maker = Maker(3)
    one_town = [maker.voter(city="Ostrey", zip="97999") for _ in range(400)]
    many = [replace(v, city=f"Mardle {n % 100}", zip=f"9{n % 100:04}") for n, v in enumerate(one_town)]
    assert estimate(one_town, TODAY).get(("address", "same town")) is not None
    assert estimate(one_town, TODAY)["address", "city only"][1] == pytest.approx(1.0)
    assert estimate(many, TODAY)["address", "city only"][1] == pytest.approx(0.0075, rel=0.02)  # 3 of 399 others


def test_birth_dates_are_measured_as_they_are() -> None:
    chance = random.Random(1)
    maker = Maker(4)
    years = [
        maker.voter(birth_date=f"{chance.choice((1950, 1960))}-{chance.randint(1, 12):02}-15") for _ in range(2000)
    ]
    figures = estimate(years, TODAY)
    assert figures["birth_date", "year"][1] == pytest.approx(1 / 2, rel=0.05)
    assert figures["birth_date", "month and year"][1] == pytest.approx(1 / 24, rel=0.05)
    assert figures["birth_date", "same"][1] == pytest.approx(1 / 24, rel=0.05)


def test_who_shares_an_address_or_an_account_is_counted() -> None:
    maker = Maker(5)
    couples = []
    for _ in range(200):
        one = maker.voter(unit="", email=maker.account())
        couples += [one, maker.at_home_of(one, unit="", email=one.email)]
    figures = estimate(couples, TODAY)
    assert figures["address", "same"] == ("u_voters", pytest.approx(2.0, rel=0.03))
    assert figures["email", "on file"] == ("u_voters", 2.0)


def test_a_part_of_a_large_roll_gives_nearly_the_same_figures() -> None:
    voters = county(ordinary=1500).voters
    whole, part = estimate(voters, TODAY), estimate(voters, TODAY, size=2_000_000)
    for key in (("address", "same"), ("address", "unit not given"), ("birth_date", "year"), ("middle_name", "initial")):
        assert part[key][1] == pytest.approx(whole[key][1], rel=0.25), key
    assert estimate(voters[::-1], TODAY).keys() == whole.keys()


def test_what_hardly_anybody_shows_keeps_the_packages_figure() -> None:
    few = [Maker(6).voter() for _ in range(3)]
    assert ("birth_date", "same") not in estimate(few, TODAY)


def test_an_office_measures_and_is_weighed_by_it(run: Run, roll_file: Path, tmp_path: Path) -> None:
    assert run("roll", "import", roll_file).exit_code == 0
    before = run("roll", "weights")
    assert before.exit_code == 0
    assert "chosen" in before.output
    measured = run("roll", "weights", "--estimate")
    assert measured.exit_code == 0, measured.output
    written = tmp_path / "var" / "roll-weights.toml"
    assert written.exists()
    assert run("roll", "weights").exit_code == 0
    assert parameters.parameters().fields["birth_date"]["year"].source == parameters.MEASURED
    assert parameters.parameters().fields["birth_date"]["year"].m == parameters.own().fields["birth_date"]["year"].m
    elsewhere = tmp_path / "mine.toml"
    assert run("roll", "weights", "--estimate", "--out", elsewhere).exit_code == 0
    assert elsewhere.read_text(encoding="utf-8") == written.read_text(encoding="utf-8")


def test_an_empty_roll_and_a_lone_out_are_refused_with_what_to_do(run: Run, tmp_path: Path) -> None:
    empty = run("roll", "weights", "--estimate")
    assert empty.exit_code == 2
    assert "replacements roll import" in empty.output
    assert run("roll", "weights", "--out", tmp_path / "x.toml").exit_code == 2
    assert not (tmp_path / "x.toml").exists()


@pytest.mark.parametrize(
    "text",
    [
        "[birth_date\n",
        '[birth_date]\n"same" = { m = 0.5 }\n',
        '[birth_date]\n"same" = { u = 0.0 }\n',
        '[birth_date]\n"same" = { u = 1.5 }\n',
        '[birth_date]\n"same" = { u_voters = 3 }\n',
        '[birth_date]\n"never" = { u = 0.1 }\n',
        '[shoe_size]\n"same" = { u = 0.1 }\n',
        "birth_date = 3\n",
    ],
)
def test_a_file_that_was_not_measured_stops_the_program(run: Run, tmp_path: Path, text: str) -> None:
    path = tmp_path / "var" / "roll-weights.toml"
    path.parent.mkdir()
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WeightsTrouble):
        parameters.use(path)
    refused = run("ledger", "verify")
    assert refused.exit_code == 2
    assert "roll-weights.toml" in refused.output.replace("\n", "")


def test_a_file_that_cannot_be_used_is_made_anew(run: Run, roll_file: Path, tmp_path: Path) -> None:
    assert run("roll", "import", roll_file).exit_code == 0
    (tmp_path / "var" / "roll-weights.toml").write_text("[birth_date\n", encoding="utf-8")
    assert run("ledger", "verify").exit_code == 2
    assert run("roll", "weights").exit_code == 2
    assert run("roll", "weights", "--estimate").exit_code == 0
    assert run("ledger", "verify").exit_code == 0


def test_measured_figures_change_weights_and_no_full_evidence(tmp_path: Path) -> None:
    voters = county(ordinary=300).voters
    path = tmp_path / "weights.toml"
    path.write_text(as_text(estimate(voters, TODAY), len(voters), TODAY), encoding="utf-8")
    voter = voters[0]
    year, month, day = (int(part) for part in voter.birth_date.split("-"))
    clues = Clues(
        names=(f"{voter.first_name} {voter.last_name}",),
        birth_dates=((year, month, day),),
        addresses=(AddressClue(voter.street, voter.unit, voter.city),),
    )
    plain = identify(clues, MemoryRoll(voters), sufficient=SUFFICIENT, today=TODAY)
    parameters.use(path)
    try:
        measured = identify(clues, MemoryRoll(voters), sufficient=SUFFICIENT, today=TODAY)
    finally:
        parameters.use(None)
    assert (measured.standing, measured.voter) == (plain.standing, voter)
    assert measured.candidates[0].weight != plain.candidates[0].weight
