"""However many slips an official makes in one file: each is named, where it stands, with what would be right."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replacements.rules.checks import _all_entries, _walk
from replacements.rules.mistakes import Mistake
from replacements.rules.office import Rules, RulesError, parse_rules
from tests.rules.conftest import SALTGRASS
from tests.rules.test_odd_rules_files import assignments

TEXT = SALTGRASS.read_text(encoding="utf-8")
LINES = TEXT.splitlines()
UNREADABLE = ("yes please", "15:00", '"open', "1 2", "= 3", "[1,")
# Of one entry a line, those that stand for themselves: a slip in one is no slip in another.
ALONE = [
    number
    for number, name in assignments(TEXT)
    if name not in ("date", "return_rule", "return_by", "packets_from", "grace_until", "open", "close", "time_zone")
    and "last_" not in name
]


def mistakes_of(lines: list[str]) -> tuple[Mistake, ...]:
    with pytest.raises(RulesError) as caught:
        parse_rules("\n".join(lines), "rules.toml")
    return caught.value.mistakes


def typo(draw: Any, name: str) -> str:
    """A name with one letter too many, too few, or another."""
    at = draw(st.integers(0, len(name) - 1))
    letter = draw(st.sampled_from("abcdefghijklmnopqrstuvwxyz_"))
    slipped = draw(st.sampled_from([name[:at] + letter + name[at:], name[:at] + letter + name[at + 1 :]]))
    return str(slipped)


@st.composite
def slips(draw: Any) -> tuple[list[str], dict[int, str]]:
    """A file with several slips, and on which lines (from 1) they are, with the name that was meant."""
    lines, where = list(LINES), {}
    for number in draw(st.lists(st.sampled_from(ALONE), min_size=1, max_size=6, unique=True)):
        name, _, value = LINES[number].partition(" = ")
        kind = draw(st.sampled_from(["value", "unreadable", "renamed"]))
        if kind == "value":
            lines[number] = f"{name} = [{{ nonsense = true }}]"
        elif kind == "unreadable":
            lines[number] = f"{name} = {draw(st.sampled_from(UNREADABLE))}"
        else:
            slipped = typo(draw, name)
            if slipped == name:
                continue
            lines[number] = f"{slipped} = {value}"
        where[number + 1] = name
    return lines, where


@settings(max_examples=300, deadline=None)
@given(slips())
def test_every_slip_of_a_file_is_named_on_its_line(found: tuple[list[str], dict[int, str]]) -> None:
    lines, where = found
    if not where:
        return
    mistakes = mistakes_of(lines)
    assert where.keys() <= {mistake.line for mistake in mistakes}
    for mistake in mistakes:
        assert 1 <= mistake.line <= len(lines)
        assert mistake.entry
        assert mistake.found
        assert mistake.expected
        assert mistake.example
    # An entry without a default is also missing where its name was mistyped; nothing else is said about other lines.
    assert all(mistake.line in where or mistake.found == "nothing" for mistake in mistakes)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_mistyped_entry_is_told_the_name_that_was_meant(data: st.DataObject) -> None:
    number = data.draw(
        st.sampled_from([n for n, name in assignments(TEXT) if len(name) > 4 and name not in "voter_id"])
    )
    name, _, value = LINES[number].partition(" = ")
    slipped = typo(data.draw, name)
    known = {entry.rsplit(".", 1)[-1] for entry in _all_entries(Rules)}
    if slipped in known:
        return
    mistakes = mistakes_of([*LINES[:number], f"{slipped} = {value}", *LINES[number + 1 :]])
    unknown = next(m for m in mistakes if m.line == number + 1 and m.found == "an unknown entry")
    near = re.search(r"nearest is ([\w.]+)", unknown.expected)
    assert near is not None
    assert near[1].endswith(name) or near[1].rsplit(".", 1)[-1] in known


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, len(LINES) - 1), st.sampled_from(["gone", "twice", "cut", "swapped", "joined"])),
        min_size=1,
        max_size=8,
    )
)
def test_a_file_cut_up_in_any_way_is_read_or_every_mistake_is_whole(cuts: list[tuple[int, str]]) -> None:
    lines = list(LINES)
    for at, how in cuts:
        at = min(at, len(lines) - 1)
        if how == "gone" and len(lines) > 1:
            del lines[at]
        elif how == "twice":
            lines.insert(at, lines[at])
        elif how == "cut":
            lines[at] = lines[at][: len(lines[at]) // 2]
        elif how == "swapped":
            lines[at], lines[at - 1] = lines[at - 1], lines[at]
        else:
            lines[at] += lines[at - 1]
    try:
        parse_rules("\n".join(lines))
    except RulesError as error:
        for mistake in error.mistakes:
            assert 1 <= mistake.line <= len(lines)
            assert mistake.found
            assert mistake.expected
            assert mistake.example


def test_lines_that_cannot_be_read_do_not_hide_what_is_wrong_elsewhere() -> None:
    text = TEXT.replace("cut_off = 14:30:00", "cut_off = 14:30").replace('name = "General election"', "name = General")
    text = text.replace("witness = true", 'witness = "yes"')
    assert [mistake.entry for mistake in mistakes_of(text.splitlines())] == [
        "election.name",
        "statement.witness",
        "mailing.cut_off",
    ]


def test_a_list_that_is_not_closed_is_named_where_it_begins() -> None:
    number = LINES.index('days = ["mon", "tue", "wed", "thu", "fri"]')
    (mistake,) = mistakes_of([*LINES[:number], 'days = ["mon", "tue"', *LINES[number + 1 :]])
    assert (mistake.line, mistake.entry) == (number + 1, "mailing.days")
    assert "closed" in mistake.expected


def test_after_a_section_line_that_cannot_be_read_nothing_is_guessed() -> None:
    (mistake,) = mistakes_of([line.replace("[mailing]", "[mailing") for line in LINES])
    assert LINES[mistake.line - 1] == "[mailing]"


def test_a_section_that_is_missing_is_to_be_added_at_the_end() -> None:
    mistakes = mistakes_of(LINES[: LINES.index("[election]")])
    assert {m.entry for m in mistakes} == {"election", "dates"}
    assert all(m.line == LINES.index("[election]") - 1 for m in mistakes)  # the last line that is not empty


def test_every_entry_says_what_it_expects_and_shows_an_example() -> None:
    sections = ("overseas", "in_county", "in_state", "elsewhere", "roll", "ballots")
    for entry in _all_entries(Rules):
        holder, said = _walk(Rules, tuple(entry.split(".")))
        is_section = "." not in entry or entry.rsplit(".", 1)[-1] in sections or entry.startswith("reasons.")
        assert holder is not None
        assert said is not None or is_section, entry
