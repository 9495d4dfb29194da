"""Control limits, intervals and percentiles against published and independently worked values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import poisson

from replacements.summary.control import most_by_chance, p_chart, percentile, u_chart, wilson


def test_the_wafer_example_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2, "Proportions control charts": 30 samples of 50 wafers.

    The mean .2313 is the handbook's; the single counts are from memory and agree with it.
    """
    counts = [
        12,
        15,
        8,
        10,
        4,
        7,
        16,
        9,
        14,
        10,
        5,
        6,
        17,
        12,
        22,
        8,
        10,
        5,
        13,
        11,
        20,
        18,
        24,
        15,
        9,
        12,
        7,
        13,
        9,
        6,
    ]
    chart = p_chart(counts, [50] * 30)
    assert chart.mean == pytest.approx(0.2313, abs=5e-5)
    assert chart.points[0].upper == pytest.approx(0.4102, abs=5e-5)
    assert chart.points[0].lower == pytest.approx(0.0524, abs=5e-5)
    assert [place for place, point in enumerate(chart.points, 1) if point.outside] == [15, 23]


def test_the_wafer_counts_example_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.3.1, "Counts control charts": 25 wafers, as a u chart of one unit each.

    The counts are from memory; mean 16 and limits 4 and 28 follow from them. The 28 lies on the limit: it is within.
    """
    counts = [16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13]
    chart = u_chart(counts, [1] * 25)
    assert (chart.mean, chart.points[0].lower, chart.points[0].upper) == (16, 4, 28)
    assert [place for place, point in enumerate(chart.points, 1) if point.outside] == [24]


def test_limits_follow_the_size_of_each_day() -> None:
    """Worked from the formula u ± 3 √(u/n) of the same handbook, 6.3.3.1; the lower limit is not below 0."""
    chart = u_chart([12, 9, 20, 7], [4, 3, 5, 2.5])
    assert chart.mean == pytest.approx(3.3103, abs=5e-5)
    limits = [(round(point.lower, 3), round(point.upper, 3)) for point in chart.points]
    assert limits == [(0.581, 6.039), (0.159, 6.462), (0.869, 5.751), (0.0, 6.762)]


@pytest.mark.parametrize(
    ("count", "size", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilsons_interval(count: int, size: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (from memory)."""
    assert wilson(count, size) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("values", [list(range(1, 11)), [2, 3, 5, 8, 13], [4], [7, 7, 1, 30, 2, 2]])
@pytest.mark.parametrize("share", [0.0, 0.5, 0.9, 0.95, 1.0])
def test_percentiles_are_numpys(values: list[float], share: float) -> None:
    """numpy.quantile, method "linear"."""
    assert percentile(values, share) == pytest.approx(float(np.quantile(values, share)))


@pytest.mark.parametrize("expected", [0.0, 0.2, 1.0, 3.5, 12.0, 80.0])
@pytest.mark.parametrize("tries", [1, 24, 168])
def test_the_most_by_chance_is_a_quantile_of_poissons_distribution(expected: float, tries: int) -> None:
    """scipy.stats.poisson.ppf at 1 - 0.01 / tries (Bonferroni's correction for so many numbers looked at)."""
    assert most_by_chance(expected, tries) == (poisson.ppf(1 - 0.01 / tries, expected) if expected else 0)


def test_nothing_to_go_by() -> None:
    assert percentile([], 0.5) is None
    assert wilson(0, 0) == (0.0, 1.0)
    assert u_chart([], []).points == ()
    assert u_chart([0, 0], [1, 2]).mean == 0
