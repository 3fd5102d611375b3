"""Trend of a yearly series.

What must hold:
- the published Mann-Kendall example gives its score, variance and Z, and its Theil-Sen slope;
- slopes, ranges and scores agree with scipy, with ties and with missing years;
- an exact line gives its slope whatever years are missing; a constant series has no trend;
- turning the series round turns the slope round and leaves p;
- fewer than ten years give no trend;
- with independent years about one series in twenty is called a trend, and with years that follow
  each other not many more, where the plain test would call several times as many;
- a real trend is still found.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from reference import reference_rows
from scipy import stats

from timing.trend import (
    Trend,
    p_value,
    pair_slopes,
    score,
    score_variance,
    slope_range,
    standard_score,
    trend,
    variance_factor,
)

Floats = NDArray[np.float64]


def published() -> tuple[Floats, dict[str, tuple[float, float]]]:
    """The worked example: its series, and name → expected value and tolerance."""
    rows = [
        row
        for row in reference_rows("test_vectors.csv")
        if any(value.startswith(("mannkendall", "theilsen")) for value in row.values() if value)
    ]
    columns = list(rows[0])
    found = {}
    for row in rows:
        name, text, value, tolerance = (row[column] for column in columns[:4])
        found[name] = float(value), float(tolerance)
    series = text.split(";")[0].split()
    return np.array([float(value) for value in series]), found


def test_the_published_example() -> None:
    values, expected = published()
    total, variance = score(values), score_variance(values)
    years = np.arange(len(values))
    slopes = pair_slopes(years, values)
    for name, found in (
        ("mannkendall_S", total),
        ("mannkendall_varS", variance),
        ("mannkendall_Z", standard_score(total, variance)),
        ("theilsen_slope", float(np.median(slopes))),
    ):
        value, tolerance = expected[name]
        assert found == pytest.approx(value, abs=max(tolerance, 1e-9)), name
    assert slope_range(slopes, variance) == pytest.approx((0.325, 0.8667), abs=1e-4)


def test_a_case_by_hand() -> None:
    """1 3 2 4: five pairs rise, one falls; slopes 2 1/2 1 -1 1/2 2; var = 4 · 3 · 13 / 18."""
    values = np.array([1.0, 3.0, 2.0, 4.0])
    assert score(values) == 4
    assert score_variance(values) == pytest.approx(26 / 3)
    assert standard_score(4, 26 / 3) == pytest.approx(3 / (26 / 3) ** 0.5)
    slopes = pair_slopes(np.arange(4), values)
    assert slopes.tolist() == [-1.0, 0.5, 0.5, 1.0, 2.0, 2.0]
    assert np.median(slopes) == 0.75


series = st.lists(st.integers(-20, 20), min_size=10, max_size=40).filter(
    lambda values: len(set(values)) > 1
)


@settings(max_examples=40)
@given(series, st.randoms(use_true_random=False))
def test_slope_range_and_score_agree_with_scipy(values: list[int], random: object) -> None:
    y = np.array(values, dtype=float)
    years = np.sort(np.array(random.sample(range(1950, 2010), len(y))))  # type: ignore[attr-defined]
    slopes, variance = pair_slopes(years, y), score_variance(y)
    theirs = stats.theilslopes(y, years, 0.95)
    assert np.median(slopes) == pytest.approx(theirs.slope)
    assert slope_range(slopes, variance) == pytest.approx((theirs.low_slope, theirs.high_slope))
    tau = stats.kendalltau(years, y, method="asymptotic")
    uncorrected = 2 * stats.norm.sf(abs(score(y)) / variance**0.5)
    assert uncorrected == pytest.approx(tau.pvalue, abs=1e-9)


def test_an_exact_line_with_missing_years() -> None:
    years = np.array([1950, 1951, 1955, 1956, 1957, 1963, 1970, 1971, 1972, 1980, 1981])
    found = trend(years, 100 - 0.3 * years)
    assert found is not None
    assert (found.slope, found.low, found.high) == pytest.approx((-0.3, -0.3, -0.3))
    assert (found.years, found.first, found.last) == (11, 1950, 1981)
    assert found.sure


def test_a_constant_series_has_no_trend() -> None:
    found = trend(np.arange(1990, 2010), np.full(20, 7.0))
    assert found == Trend(0.0, 0.0, 0.0, 1.0, 1.0, 20, 1990, 2009)
    assert not found.sure


def test_many_ties_are_not_called_a_sure_trend_of_no_days() -> None:
    values = np.array([0.0] * 25 + [1.0] * 4)
    found = trend(np.arange(29), values)
    assert found is not None
    assert (found.slope, found.low, found.high) == (0.0, 0.0, 0.0)
    assert not found.sure


def test_turned_round() -> None:
    values = np.random.default_rng(3).normal(size=30) + 0.05 * np.arange(30)
    one, other = trend(np.arange(30), values), trend(np.arange(30), -values)
    assert one is not None
    assert other is not None
    assert (other.slope, other.low, other.high) == pytest.approx((-one.slope, -one.high, -one.low))
    assert other.p == pytest.approx(one.p)


@pytest.mark.parametrize("count", [0, 1, 3, 9])
def test_fewer_than_ten_years_give_no_trend(count: int) -> None:
    assert trend(np.arange(count), np.arange(count, dtype=float)) is None


def following(count: int, likeness: float, length: int, seed: int) -> Floats:
    """Series (count, length) without a trend in which each year follows the one before."""
    noise = np.random.default_rng(seed).normal(size=(count, length + 50))
    values = np.zeros_like(noise)
    for year in range(1, length + 50):
        values[:, year] = likeness * values[:, year - 1] + noise[:, year]
    return values[:, 50:]


@pytest.mark.parametrize(("likeness", "plain_share"), [(0.0, 0.0), (0.5, 0.15)])
def test_false_alarms(likeness: float, plain_share: float) -> None:
    years = np.arange(40)
    found = [trend(years, values) for values in following(300, likeness, 40, seed=5)]
    plain = [
        p_value(score(values), score_variance(values))
        for values in following(300, likeness, 40, seed=5)
    ]
    assert np.mean([item is not None and item.p < 0.05 for item in found]) < 0.09
    assert np.mean(np.array(plain) < 0.05) >= plain_share


def test_a_real_trend_is_found() -> None:
    years = np.arange(1960, 2000)
    noisy = following(40, 0.2, 40, seed=9) * 4 - 0.3 * years  # three days a decade earlier
    found = [trend(years, values) for values in noisy]
    assert np.mean([item is not None and item.sure for item in found]) > 0.7
    inside = [item is not None and item.low <= -0.3 <= item.high for item in found]
    assert np.mean(inside) >= 0.9


def test_only_neighbouring_years_tell_of_their_likeness() -> None:
    values = following(1, 0.8, 60, seed=2)[0]
    apart = np.arange(0, 600, 10)
    assert variance_factor(np.arange(60), values) > 2
    assert variance_factor(apart, values) == 1.0
