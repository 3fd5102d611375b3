"""Calendar days and seasons agree in both hemispheres, in every year.

What must hold:

* season y runs from 1 September y-1 to 31 December y in the north and from 1 March y to
  30 June y+1 in the south, leap years included: the spring of September 2024 is season 2024;
* a day is named after the season that is ending where two overlap, and lies inside it;
* `seasons_between` lists exactly the seasons that share a day with the span;
* the cycle day counts from 1 March (0) to 28 February (364), 29 February shares 364, and
  `next_date` gives the first such day on or after a date: the two are inverse to each other;
* `season_matrix` puts every value on its own date and NaN where the record does not reach;
* the named offsets fall on the calendar dates they are named after to within two days, in both
  hemispheres and in leap years.
"""

import datetime as dt
from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from timing.season import (
    CYCLE_DAYS,
    FIRST_FEBRUARY,
    FIRST_JULY,
    NEW_YEAR,
    SEASON_DAYS,
    SUMMER_SOLSTICE,
    WINTER_SOLSTICE,
    cycle_day,
    next_date,
    season_end,
    season_matrix,
    season_of,
    season_start,
    seasons_between,
)

Hemisphere = Literal["north", "south"]
HEMISPHERES: tuple[Hemisphere, Hemisphere] = ("north", "south")

days = st.dates(dt.date(1800, 1, 1), dt.date(2200, 12, 31))
years = st.integers(1800, 2200)
hemispheres = st.sampled_from(HEMISPHERES)


def day(text: str | dt.date) -> np.datetime64:
    return np.datetime64(str(text), "D")


def bounds(year: int, hemisphere: Hemisphere) -> tuple[dt.date, dt.date]:
    """First and last day of a season, straight from its definition."""
    if hemisphere == "north":
        return dt.date(year - 1, 9, 1), dt.date(year, 12, 31)
    return dt.date(year, 3, 1), dt.date(year + 1, 6, 30)


def plain_cycle_day(date: dt.date) -> int:
    """Days since 1 March in a year without a leap day; 29 February counts as the 28th."""
    if (date.month, date.day) == (2, 29):
        date = date.replace(day=28)
    common = dt.date(2023 if date.month < 3 else 2022, date.month, date.day)
    return (common - dt.date(2022, 3, 1)).days


# ---------------------------------------------------------------------------- boundaries


@pytest.mark.parametrize(
    ("year", "hemisphere", "first", "last", "length"),
    [
        (2024, "north", "2023-09-01", "2024-12-31", 488),  # holds 29 February 2024
        (2023, "north", "2022-09-01", "2023-12-31", 487),
        (1900, "north", "1899-09-01", "1900-12-31", 487),  # no leap year
        (2000, "north", "1999-09-01", "2000-12-31", 488),
        (2024, "south", "2024-03-01", "2025-06-30", 487),
        (2023, "south", "2023-03-01", "2024-06-30", 488),  # holds 29 February 2024
        (1899, "south", "1899-03-01", "1900-06-30", 487),
        (1999, "south", "1999-03-01", "2000-06-30", 488),
    ],
)
def test_a_season_lasts_sixteen_months(
    year: int, hemisphere: Hemisphere, first: str, last: str, length: int
) -> None:
    start, end = season_start(year, hemisphere), season_end(year, hemisphere)
    assert (str(start), str(end)) == (first, last)
    assert int((end - start).astype(int)) + 1 == length <= SEASON_DAYS


@given(years, hemispheres)
def test_boundaries_follow_the_definition_in_every_year(year: int, hemisphere: Hemisphere) -> None:
    first, last = bounds(year, hemisphere)
    assert season_start(year, hemisphere) == day(first)
    assert season_end(year, hemisphere) == day(last)


@pytest.mark.parametrize(
    ("date", "hemisphere", "season"),
    [
        ("2024-09-23", "south", 2024),  # the southern spring of September 2024
        ("2024-04-10", "north", 2024),
        ("2024-12-31", "north", 2024),  # the overlap belongs to the season that ends
        ("2025-01-01", "north", 2025),
        ("2024-06-30", "south", 2023),
        ("2024-07-01", "south", 2024),
        ("2024-02-29", "north", 2024),
        ("2024-02-29", "south", 2023),
    ],
)
def test_season_of_named_days(date: str, hemisphere: Hemisphere, season: int) -> None:
    assert season_of(day(date), hemisphere) == season


@given(days, hemispheres)
def test_the_season_of_a_day_holds_it_and_no_earlier_one_does(
    date: dt.date, hemisphere: Hemisphere
) -> None:
    season = season_of(day(date), hemisphere)
    first, last = bounds(season, hemisphere)
    assert first <= date <= last
    assert bounds(season - 1, hemisphere)[1] < date


@given(days, st.integers(0, 2000), hemispheres)
def test_seasons_between_lists_every_season_that_shares_a_day(
    first: dt.date, length: int, hemisphere: Hemisphere
) -> None:
    last = first + dt.timedelta(days=length)
    expected = [
        year
        for year in range(first.year - 3, last.year + 4)
        if bounds(year, hemisphere)[0] <= last and bounds(year, hemisphere)[1] >= first
    ]
    assert list(seasons_between(day(first), day(last), hemisphere)) == expected


# ---------------------------------------------------------------------------- cycle days


@pytest.mark.parametrize(
    ("date", "cycle"),
    [
        ("2023-03-01", 0),
        ("2024-03-01", 0),
        ("2024-02-28", 364),
        ("2024-02-29", 364),
        ("2023-02-28", 364),
        ("2023-12-31", 305),  # 31+30+31+30+31+31+30+31+30+31 = 306 days from 1 March to 31 December
        ("2024-01-01", 306),
        ("1900-02-28", 364),
    ],
)
def test_cycle_days_of_named_dates(date: str, cycle: int) -> None:
    assert int(cycle_day(np.asarray(day(date)))) == cycle


@given(days)
def test_cycle_day_is_the_calendar_day_without_its_year(date: dt.date) -> None:
    assert int(cycle_day(np.asarray(day(date)))) == plain_cycle_day(date)


def test_cycle_day_keeps_the_shape_of_its_input() -> None:
    dates = np.array([["2023-03-01", "2023-03-02"], ["2024-02-29", "2024-03-01"]], dtype="M8[D]")
    assert cycle_day(dates).tolist() == [[0, 1], [364, 0]]


@given(st.integers(0, CYCLE_DAYS - 1), days)
def test_next_date_is_the_first_such_day_not_before(cycle: int, start: dt.date) -> None:
    found = next_date(cycle, day(start))
    candidate = start
    while plain_cycle_day(candidate) != cycle:
        candidate += dt.timedelta(days=1)
    assert found == day(candidate)


@given(days)
def test_next_date_of_a_days_own_cycle_day_is_that_day(date: dt.date) -> None:
    assert next_date(plain_cycle_day(date), day(date)) == day(date)


@given(st.integers(0, CYCLE_DAYS - 1), days)
def test_cycle_day_and_next_date_are_inverse(cycle: int, start: dt.date) -> None:
    assert int(cycle_day(np.asarray(next_date(cycle, day(start))))) == cycle


# ---------------------------------------------------------------------------- the matrix


@given(days, st.integers(1, 1500), hemispheres)
def test_every_value_of_a_record_stands_on_its_own_date(
    first: dt.date, length: int, hemisphere: Hemisphere
) -> None:
    last = first + dt.timedelta(days=length - 1)
    numbers = [
        year
        for year in range(first.year - 1, last.year + 2)
        if bounds(year, hemisphere)[0] <= last and bounds(year, hemisphere)[1] >= first
    ]
    starts = np.array([day(bounds(year, hemisphere)[0]) for year in numbers])
    values = np.arange(length, dtype=float)  # each day's value is its place in the record

    matrix = season_matrix(values, day(first), starts, SEASON_DAYS)

    assert matrix.shape == (len(numbers), SEASON_DAYS)
    for row, year in enumerate(numbers):
        lead = (bounds(year, hemisphere)[0] - first).days
        place = lead + np.arange(SEASON_DAYS)
        expected = np.where((place >= 0) & (place < length), place.astype(float), np.nan)
        np.testing.assert_array_equal(matrix[row], expected)


def test_a_record_that_starts_and_ends_mid_season_leaves_both_ends_open() -> None:
    first, last = day("2021-01-15"), day("2023-04-10")
    values = np.full(int((last - first).astype(int)) + 1, 7.0)
    starts = np.array(["2020-09-01", "2021-09-01", "2022-09-01"], dtype="M8[D]")

    early, whole, late = season_matrix(values, first, starts, SEASON_DAYS)

    assert np.isnan(early[:136]).all()  # 1 September to 14 January: 30 + 31 + 30 + 31 + 14 days
    assert (early[136:] == 7.0).all()
    assert (whole == 7.0).all()
    assert (late[:222] == 7.0).all()  # 122 days of 2022, then 31 + 28 + 31 + 10 of 2023
    assert np.isnan(late[222:]).all()


def test_a_record_outside_every_row_gives_only_gaps() -> None:
    matrix = season_matrix(np.ones(10), day("2010-05-01"), np.array([day("2020-09-01")]), 30)
    assert np.isnan(matrix).all()


# ---------------------------------------------------------------------------- named offsets


@pytest.mark.parametrize(
    ("offset", "north", "south"),
    [
        (NEW_YEAR, (1, 1), (7, 1)),
        (WINTER_SOLSTICE, (12, 21), (6, 20)),
        (FIRST_FEBRUARY, (2, 1), (8, 1)),
        (SUMMER_SOLSTICE, (6, 21), (12, 19)),
        (FIRST_JULY, (7, 1), (12, 29)),
    ],
)
@pytest.mark.parametrize("hemisphere", HEMISPHERES)
@pytest.mark.parametrize("year", [1900, 2000, 2023, 2024])
def test_offsets_land_on_the_dates_they_are_named_after(
    offset: int, north: tuple[int, int], south: tuple[int, int], hemisphere: Hemisphere, year: int
) -> None:
    start = bounds(year, hemisphere)[0]
    landed = start + dt.timedelta(days=offset)
    month, number = north if hemisphere == "north" else south
    named = min(
        (dt.date(y, month, number) for y in (start.year, start.year + 1)),
        key=lambda date: abs((date - landed).days),
    )
    assert abs((landed - named).days) <= 2


@pytest.mark.parametrize(
    ("hemisphere", "year", "winter", "summer"),
    [  # solstices in universal time, as almanacs print them
        ("north", 2024, "2023-12-22", "2024-06-20"),
        ("north", 2023, "2022-12-21", "2023-06-21"),
        ("south", 2023, "2023-06-21", "2023-12-22"),
        ("south", 2024, "2024-06-20", "2024-12-21"),
    ],
)
def test_solstice_offsets_fall_within_two_days_of_the_solstices(
    hemisphere: Hemisphere, year: int, winter: str, summer: str
) -> None:
    start = bounds(year, hemisphere)[0]
    for offset, solstice in ((WINTER_SOLSTICE, winter), (SUMMER_SOLSTICE, summer)):
        landed = start + dt.timedelta(days=offset)
        assert abs((landed - dt.date.fromisoformat(solstice)).days) <= 2
