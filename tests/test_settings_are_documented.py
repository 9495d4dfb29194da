"""What the documents say of the settings is what the program reads: none is left out, none is made up, none is told
wrongly. The program is asked itself, by an environment that remembers what it was asked for."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import fields
from pathlib import Path

import pytest

from replacements import settings as module
from replacements.settings import Settings

ROOT = Path(__file__).parents[1]
NAME = re.compile(r"\bREPLACEMENTS_[A-Z]+(?:_[A-Z]+)*\b")
DATA = Path("/data")
FAMILY = {"REPLACEMENTS_OIDC"}  # what a row of several begins with


class Remembering(Mapping[str, str]):
    """An environment that remembers the names that it was asked for."""

    def __init__(self, holds: Mapping[str, str]) -> None:
        self._holds = holds
        self.asked: set[str] = set()

    def __getitem__(self, name: str) -> str:
        self.asked.add(name)
        return self._holds[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._holds)

    def __len__(self) -> int:
        return len(self._holds)


def asked_for() -> set[str]:
    environment = Remembering({"REPLACEMENTS_DATA": str(DATA)})
    Settings.from_environment(environment)
    return environment.asked


def in_a_file_too() -> set[str]:
    """Settings that may stand in a file: the program asks for the name of that file first."""
    asked = asked_for()
    return {name for name in asked if f"{name}_FILE" in asked}


def known() -> set[str]:
    """Every setting by its own name."""
    return asked_for() - {f"{name}_FILE" for name in in_a_file_too()}


def table() -> dict[str, list[str]]:
    """The rows of the developers' table, by variable."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.partition("\n## Settings\n")[2].partition("\n## ")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if line[:2] == "| "]
    return {row[0].strip("`"): row[1:] for row in rows if row[0].startswith("`")}


def field_of(name: str) -> str:
    short = name.removeprefix("REPLACEMENTS_").lower()
    return short if short in {field.name for field in fields(Settings)} else ""


def documents() -> list[Path]:
    """Whatever speaks of settings to people or to programs."""
    names = ("README.md", "DEVELOPERS.md", "docker-compose.yml", "worker/sample.env", "replacements/health/alerts.yml")
    found = [ROOT / name for name in names]
    for folder, ends in (("replacements", ".py"), ("worker", ".py"), ("templates", ".html"), (".ci", "")):
        found += [path for path in sorted((ROOT / folder).rglob(f"*{ends}")) if path.is_file()]
    return found


def test_the_developers_table_names_every_setting_and_no_other() -> None:
    assert set(table()) == known()


def test_every_setting_is_told_in_the_modules_own_table() -> None:
    told = {
        name
        for line in (module.__doc__ or "").splitlines()
        if line.startswith("| REPLACEMENTS_")
        for name in NAME.findall(line.split("|")[1])
    }
    assert told == known()


@pytest.mark.parametrize("name", sorted(known()))
def test_what_holds_where_nothing_is_set_is_what_the_table_says(name: str) -> None:
    assert field_of(name), f"{name} has no field"
    value = getattr(Settings.from_environment({"REPLACEMENTS_DATA": str(DATA)}), field_of(name))
    told = table()[name][1]
    if name == "REPLACEMENTS_DATA":
        assert told.startswith(f"`{Settings.from_environment({}).data.name}`")
    elif told == "nothing":
        assert value in ("", None)
    else:
        assert str(value).replace(str(DATA), "<data>") == told.strip("`")


@pytest.mark.parametrize("name", sorted(known()))
def test_what_may_stand_in_a_file_is_what_the_table_says(name: str, tmp_path: Path) -> None:
    assert table()[name][0] == ("yes" if name in in_a_file_too() else "no")
    if name in in_a_file_too():
        file = tmp_path / "secret"
        file.write_text("something-long-enough-to-be-a-token\n", encoding="utf-8")
        read = Settings.from_environment({f"{name}_FILE": str(file)})
        assert getattr(read, field_of(name)) == "something-long-enough-to-be-a-token"


def test_every_field_is_set_by_a_setting() -> None:
    assert {field_of(name) for name in known()} == {field.name for field in fields(Settings)}


def test_no_document_and_no_message_names_a_setting_that_there_is_not() -> None:
    there = asked_for()
    for path in documents():
        named = set(NAME.findall(path.read_text(encoding="utf-8", errors="replace")))
        assert named <= there | FAMILY, path.relative_to(ROOT)


def test_what_stands_in_a_file_is_never_told_as_a_value_in_the_sample() -> None:
    sample = (ROOT / "worker" / "sample.env").read_text(encoding="utf-8")
    assert not in_a_file_too() & set(NAME.findall(sample))


def test_a_token_that_can_be_guessed_is_refused_with_what_to_do() -> None:
    with pytest.raises(module.SettingTrouble, match="openssl rand"):
        Settings.from_environment({"REPLACEMENTS_METRICS_TOKEN": "hush"})
