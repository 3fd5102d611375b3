"""Hourly temperatures from daily minima and maxima.

What must hold:
- the stored numbers are reproduced within their stated tolerance;
- the curve starts at the minimum, reaches the maximum, and falls to the next day's minimum;
- it stays between the bounding minima and the maximum, for every day length, polar days included;
- leading axes are independent; missing values do what the documentation says; it is fast.
"""

import re
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference import Row, reference_cases, reference_rows

from timing.thermal import hourly_temperatures

PREFIX = "hourly_linvill_"
# Two other reconstructions, which this package does not have.
NOT_COVERED = {
    "hourly_partonlogan_day",
    "hourly_partonlogan_evening",
    "hourly_partonlogan_predawn",
    "hourly_cesaraccio_day",
    "hourly_cesaraccio_night",
}


def linvill_cases() -> list[object]:
    return reference_cases("test_vectors.csv", "name", lambda row: row["name"].startswith(PREFIX))


@pytest.mark.parametrize("row", linvill_cases())
def test_stored_hours(row: Row) -> None:
    number = {
        key: float(value)
        for key, value in re.findall(
            r"(tmin_next|tmin|tmax|daylength|hour)[= ](-?[\d.]+)", row["inputs"]
        )
    }
    got = hourly_temperatures(
        [number["tmin"], number["tmin_next"]], [number["tmax"]] * 2, number["daylength"]
    )[0, int(number["hour"])]
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


def test_no_stored_number_is_left_out() -> None:
    names = {row["name"] for row in reference_rows("test_vectors.csv")}
    hourly = {name for name in names if name.startswith("hourly_")}
    assert {name for name in hourly if not name.startswith(PREFIX)} == NOT_COVERED
    assert len(hourly - NOT_COVERED) == len(linvill_cases()) == 7


def test_known_day() -> None:
    # xclim 0.62.0 and an independent calculation: 42.5° N, day 80 of the year.
    got = hourly_temperatures([2.0, 2.0], [14.0, 14.0], 11.99194556)[0]
    assert got[[0, 1, 6, 8, 12, 13, 18, 23]] == pytest.approx(
        [2.0, 4.3422, 13.0893, 14.0, 10.4621, 8.1819, 4.0464, 2.2647], abs=1e-4
    )
    assert got.mean() == pytest.approx(7.642, abs=5e-4)


def test_night_falls_to_the_next_minimum() -> None:
    curve = hourly_temperatures([5.0, -4.0, 3.0], [15.0, 10.0, 12.0], 12.0)
    sunset = 5.0 + 10.0 * np.sin(np.pi * 12.0 / 16.0)
    hour = np.arange(13, 24)
    expected = sunset - (sunset + 4.0) * np.log(hour - 12.0 + 1.0) / np.log(13.0)
    assert curve[0, 13:] == pytest.approx(expected)
    # One hour more and the logarithm reaches the next minimum at the next sunrise.
    step = (sunset + 4.0) * (1.0 - np.log(12.0) / np.log(13.0))
    assert curve[0, 23] - curve[1, 0] == pytest.approx(step)
    assert curve[:, 0].tolist() == [5.0, -4.0, 3.0]


def test_last_day_and_a_missing_next_minimum_fall_to_the_days_own() -> None:
    last = hourly_temperatures([5.0], [15.0], 12.0)[0]
    before_gap = hourly_temperatures([5.0, np.nan], [15.0, 12.0], 12.0)
    same = hourly_temperatures([5.0, 5.0], [15.0, 12.0], 12.0)
    np.testing.assert_array_equal(last, same[0])
    np.testing.assert_array_equal(before_gap[0], same[0])
    assert np.all(np.isnan(before_gap[1]))


def test_missing_maximum_or_day_length_spoils_its_own_day_only() -> None:
    got = hourly_temperatures([1.0, 2.0, 3.0], [9.0, np.nan, 9.0], [12.0, 12.0, np.nan])
    assert np.isnan(got).sum(axis=1).tolist() == [0, 24, 24]


@pytest.mark.parametrize(("polar", "limit"), [(0.0, 4.0), (24.0, 23.0)])
def test_polar_day_lengths_are_clipped(polar: float, limit: float) -> None:
    tmin, tmax = [-20.0, -25.0], [-10.0, -8.0]
    got = hourly_temperatures(tmin, tmax, polar)
    np.testing.assert_array_equal(got, hourly_temperatures(tmin, tmax, limit))
    assert np.all((got >= -25.0) & (got <= -8.0))


@pytest.mark.parametrize("day_length", [0.0, 4.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0])
def test_maximum_is_reached_within_an_hours_reading(day_length: float) -> None:
    got = hourly_temperatures([0.0, 0.0], [10.0, 10.0], day_length)[0]
    assert got.max() > 9.2
    assert got.max() <= 10.0


temperatures = st.integers(-300, 350).map(lambda tenths: tenths / 10.0)
days = st.tuples(
    temperatures, st.integers(0, 250).map(lambda tenths: tenths / 10.0), st.floats(0.0, 24.0)
)
quick = settings(max_examples=100, deadline=None)


@quick
@given(st.lists(days, min_size=1, max_size=6))
def test_curve_stays_between_the_bounding_minima_and_the_maximum(
    week: list[tuple[float, float, float]],
) -> None:
    tmin, swing, length = np.array(week).T
    tmax = tmin + swing
    following = np.append(tmin[1:], tmin[-1])
    got = hourly_temperatures(tmin, tmax, length)
    assert got.shape == (len(week), 24)
    assert np.all(got >= np.minimum(tmin, following)[:, np.newaxis] - 1e-9)
    # A warm front can bring a minimum above the day's maximum.
    assert np.all(got <= np.maximum(tmax, following)[:, np.newaxis] + 1e-9)


@quick
@given(st.lists(days, min_size=2, max_size=6))
def test_leading_axes_are_independent(week: list[tuple[float, float, float]]) -> None:
    tmin, swing, length = np.array(week).T
    low = np.stack([tmin, tmin[::-1] - 1.0])
    high = low + swing
    together = hourly_temperatures(low, high, length)
    assert together.shape == (2, len(week), 24)
    for index in range(2):
        alone = hourly_temperatures(low[index], high[index], length)
        np.testing.assert_allclose(together[index], alone, rtol=0.0, atol=1e-12)


def test_arrays_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="broadcast"):
        hourly_temperatures([1.0, 2.0], [3.0, 4.0, 5.0], 12.0)


def test_thirty_five_years_take_well_under_a_tenth_of_a_second() -> None:
    days = 35 * 365
    tmin = np.sin(np.arange(days) / 58.0) * 10.0
    length = 12.0 + 4.0 * np.sin(np.arange(days) / 58.0)
    best = min(timed(tmin, tmin + 9.0, length) for _ in range(5))
    assert best < 0.1


def timed(tmin: np.ndarray, tmax: np.ndarray, length: np.ndarray) -> float:
    start = time.perf_counter()
    hourly_temperatures(tmin, tmax, length)
    return time.perf_counter() - start
