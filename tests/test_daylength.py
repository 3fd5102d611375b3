"""Day length.

What must hold:
- it agrees with stored ephemeris values and, up to 60°, within 0.3 min (south 0.4) with an
  independent library;
- it depends on the date, not on the day of the year; any array shape passes through;
- the hemispheres mirror each other, the equator has a little over 12 h all year;
- polar night is 0 h, polar day 24 h, the poles themselves included; nothing raises or warns;
- a missing date gives NaN; a latitude that is no latitude is refused.
"""

import datetime

import numpy as np
import pytest
from astral import Observer, SunDirection
from astral.sun import time_at_elevation
from reference import Row, reference_cases

from timing.daylength import day_length

PREFIX = "astropy_daylength_"


def days(*dates: str) -> np.ndarray:
    return np.array(dates, dtype="datetime64[D]")


@pytest.mark.parametrize(
    "row", reference_cases("test_vectors.csv", "name", lambda row: row["name"].startswith(PREFIX))
)
def test_agrees_with_stored_ephemeris_values(row: Row) -> None:
    latitude, date, _, _ = row["inputs"].split(";")
    got = day_length(days(date), float(latitude.removeprefix("lat=")))[0]
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


@pytest.mark.parametrize(
    ("latitude", "date", "hours"),
    [  # astropy 8.0.2, sun's centre at -0.8333°, longitude 0
        (42.5, "2023-06-21", 15.3026),
        (42.5, "2023-12-21", 9.06),
        (51.5, "2023-03-21", 12.2161),
        (35.0, "2023-09-21", 12.1973),
    ],
)
def test_agrees_with_an_ephemeris(latitude: float, date: str, hours: float) -> None:
    assert day_length(days(date), latitude)[0] == pytest.approx(hours, abs=0.005)


@pytest.mark.parametrize("latitude", [-60.0, -45.0, -33.9, 0.0, 30.0, 42.5, 51.5, 60.0])
@pytest.mark.parametrize("year", [1952, 2025, 2048])
def test_agrees_with_astral_up_to_60_degrees(latitude: float, year: int) -> None:
    # astral's own `daylight` uses another horizon and fails away from longitude 0.
    observer = Observer(latitude, 0.0, 0.0)
    dates = [datetime.date(year, 1, 1) + datetime.timedelta(days=5 * k) for k in range(73)]
    expected = []
    for date in dates:
        rise, fall = (
            time_at_elevation(observer, -0.833, date, direction, with_refraction=False)
            for direction in (SunDirection.RISING, SunDirection.SETTING)
        )
        expected.append((fall - rise).total_seconds() / 3600.0)
    got = day_length(np.array(dates, dtype="datetime64[D]"), latitude)
    # Around the new year the sun's own day is half a minute longer than 24 h, which a long
    # southern day feels most.
    minutes = 0.3 if latitude >= 0.0 else 0.4
    np.testing.assert_allclose(got, expected, atol=minutes / 60.0, rtol=0.0)


def test_same_calendar_day_differs_between_years() -> None:
    # Leap years shift the sun: an April day at 60° moves by minutes, which a table of days
    # of the year cannot show.
    hours = day_length(days("2000-04-10", "2001-04-10", "2003-04-10"), 60.0) * 60.0
    assert hours[0] - hours[2] > 3.0
    assert hours[0] > hours[1] > hours[2]


def test_polar_day_and_night_follow_the_season_in_both_hemispheres() -> None:
    solstices = days("2024-06-21", "2024-12-21")
    for latitude in (68.0, 78.2, 90.0):
        assert day_length(solstices, latitude).tolist() == [24.0, 0.0]
        assert day_length(solstices, -latitude).tolist() == [0.0, 24.0]


def test_polar_day_begins_south_of_the_circle() -> None:
    # The upper limb and refraction bring the midnight sun to 66.0° N, the polar night only to
    # 67.4° N.
    year = np.arange("2025-01-01", "2026-01-01", dtype="datetime64[D]")
    north = day_length(year, 66.0)
    assert np.count_nonzero(north == 24.0) == 18
    assert north.min() > 0.0
    assert day_length(year, 67.5).min() == 0.0


def test_every_latitude_stays_between_0_and_24_hours() -> None:
    year = np.arange("2024-01-01", "2025-01-01", dtype="datetime64[D]")
    for latitude in np.linspace(-90.0, 90.0, 37):
        hours = day_length(year, float(latitude))
        assert np.all((hours >= 0.0) & (hours <= 24.0))


def test_equator_has_12_hours_and_7_minutes_all_year() -> None:
    year = np.arange("2024-01-01", "2025-01-01", dtype="datetime64[D]")
    np.testing.assert_allclose(day_length(year, 0.0), 12.0 + 7.0 / 60.0, atol=1.0 / 60.0)


def test_hemispheres_mirror_each_other_about_the_sunrise_definition() -> None:
    # North and south of a latitude together have 24 h plus the same limb-and-refraction surplus.
    date = days("2024-05-11")
    north, south = day_length(date, 40.0)[0], day_length(date, -40.0)[0]
    assert north > 12.0 > south
    assert 24.1 < north + south < 24.4


def test_shape_passes_through_and_missing_dates_give_nan() -> None:
    grid = np.arange("2024-01-01", "2024-01-13", dtype="datetime64[D]").reshape(3, 4)
    grid[1, 2] = np.datetime64("NaT")
    hours = day_length(grid, 45.0)
    assert hours.shape == (3, 4)
    assert np.argwhere(np.isnan(hours)).tolist() == [[1, 2]]
    assert day_length(np.datetime64("2024-06-21"), 42.5).shape == ()
    assert day_length(days(), 42.5).shape == (0,)


@pytest.mark.parametrize("latitude", [90.01, -91.0, float("nan"), float("inf"), -float("inf")])
def test_refuses_what_is_no_latitude(latitude: float) -> None:
    with pytest.raises(ValueError, match="latitude must lie between -90 and 90"):
        day_length(days("2024-06-21"), latitude)
