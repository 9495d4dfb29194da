"""Nobody can work out a number that was held back, whoever knows the sum and how numbers are held back."""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from replacements.summary.figures import Week
from replacements.summary.public import public_csv, public_report
from replacements.summary.suppressing import SMALLEST, publishable, suppressed

TABLES = st.dictionaries(st.sampled_from("abcdefgh"), st.integers(0, 60), max_size=8)


def _ways(counts: dict[str, int]) -> dict[str, set[int]]:
    """Every number that each hidden one could be: at least 1, at most the smallest shown, and with the right sum."""
    shown = suppressed(counts)
    hidden = [name for name, count in shown.items() if count is None]
    whole = sum(counts[name] for name in hidden)
    most = min((count for count in shown.values() if count), default=whole)
    reachable = {0: {0}}
    for n in range(1, len(hidden) + 1):
        reachable[n] = {s + one for s in reachable[n - 1] for one in range(1, most + 1) if s + one <= whole}
    others = reachable[max(len(hidden) - 1, 0)]
    return {name: {one for one in range(1, most + 1) if whole - one in others} for name in hidden}


@given(TABLES)
def test_a_hidden_number_could_be_at_least_ten_different_ones(counts: dict[str, int]) -> None:
    if publishable(counts):
        for name, ways in _ways(counts).items():
            assert len(ways) >= SMALLEST
            assert counts[name] in ways


@given(TABLES)
def test_no_small_number_is_shown_and_every_other_that_is_shown_is_right(counts: dict[str, int]) -> None:
    for name, count in suppressed(counts).items():
        assert count is None or count == counts[name]
        assert count is None or count == 0 or count >= SMALLEST


@pytest.mark.parametrize(
    ("counts", "shown"),
    [
        ({"a": 40, "b": 12}, {"a": 40, "b": 12}),
        ({"a": 40, "b": 12, "c": 0}, {"a": 40, "b": 12, "c": 0}),
        ({"a": 40, "b": 30, "c": 3, "d": 9}, {"a": 40, "b": 30, "c": None, "d": None}),
        ({"a": 40, "b": 30, "c": 3}, {"a": 40, "b": None, "c": None}),  # one alone is the sum less the others
    ],
)
def test_others_are_hidden_with_a_small_number(counts: dict[str, int], shown: dict[str, int | None]) -> None:
    assert suppressed(counts) == shown


@pytest.mark.parametrize("counts", [{"a": 3}, {"a": 1, "b": 1}, {"a": 2, "b": 0}])
def test_a_table_of_a_handful_is_not_published_at_all(counts: dict[str, int]) -> None:
    assert not publishable(counts)


def test_the_public_file_has_no_small_number_but_the_whole_offices(busy: Week) -> None:
    report = public_report(replace(busy, by_kind={"question": 15, "spoiled_ballot": 4, "other": 30}), date(2032, 2, 1))
    rows = list(csv.DictReader(public_csv(report).splitlines()))
    assert {row["name"]: row["number"] for row in rows if row["part"] == "kinds"} == {
        "other": "30",
        "question": "",
        "spoiled_ballot": "",
    }
    assert [row["note"] for row in rows if row["part"] == "causes"] == ["whole table held back"]
    assert {row["number"] for row in rows if row["part"] == "replacements ballots"} >= {"9", "7", "3", "2", "0"}
    assert "V1" not in public_csv(report)


def test_only_whole_weeks_are_published_since_others_would_overlap(busy: Week) -> None:
    with pytest.raises(ValueError, match="only a whole week"):
        public_report(replace(busy, last=busy.last + timedelta(days=1)), date(2032, 2, 1))


def test_what_is_hidden_of_the_replacements_does_not_stand_among_the_voids(busy: Week) -> None:
    """A ballot that is replaced is voided for the same reason: told twice, one table would give the other away."""
    week = replace(
        busy,
        reissues_by_cause={"spoiled": 40, "lost": 12, "damaged": 3},
        voided_by_reason={"spoiled": 40, "lost": 12, "damaged": 3, "cancelled": 11, "rejected": 14},
    )
    tables = {table.name: table.counts for table in public_report(week, date(2032, 2, 1)).tables}
    assert tables["causes"] == {"spoiled": 40, "lost": None, "damaged": None}
    assert tables["voids"] == {"cancelled": 11, "rejected": 14}
