"""Calendar days ↔ seasons, for both hemispheres.

A *season* carries the number of the year in which its spring falls and lasts sixteen
months: the chilling winter, the spring it serves and the leaf fall that ends it.
North: 1 September of the year before to 31 December. South: 1 March of the same year
to 30 June of the next. Neighbouring seasons overlap by four months.

Inside the library a day of a season is an *offset*: days since the season's first day
(0 = 1 September north, 1 March south). Because both halves of the year are nearly equal,
offsets mean the same thing in both hemispheres to within three days of the calendar, and at the
spring equinox to within six of the sun; day lengths are those of the real dates.

A *cycle day* is a calendar day without its year, counted from 1 March (0) to 28 February
(364); 29 February shares 364, so that a leap year shifts nothing else.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from timing.site import Hemisphere

Days = NDArray[np.datetime64]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SEASON_DAYS = 488  # sixteen months, leap year included
CYCLE_DAYS = 365

NEW_YEAR = 122  # offsets of calendar landmarks, named after their northern date
WINTER_SOLSTICE = 111  # 21 December / 20 June
FIRST_FEBRUARY = 153  # 1 February / 1 August
SUMMER_SOLSTICE = 294  # 22 June / 20 December
FIRST_JULY = 303  # 1 July / 29 December
_TABLE_FIRST, _TABLE_LAST = (int(np.datetime64(y, "D").astype(np.int64)) for y in ("1800", "2210"))


def year_of(day: np.datetime64) -> int:
    """Calendar year of a date."""
    return int(day.astype("datetime64[Y]").astype(np.int64)) + 1970


def season_start(year: int, hemisphere: Hemisphere) -> np.datetime64:
    """First day of a season.

    >>> season_start(2024, "north")
    np.datetime64('2023-09-01')
    >>> season_start(2024, "south")
    np.datetime64('2024-03-01')
    """
    if hemisphere == "north":
        return np.datetime64(f"{year - 1:04d}-09-01", "D")
    return np.datetime64(f"{year:04d}-03-01", "D")


def season_end(year: int, hemisphere: Hemisphere) -> np.datetime64:
    """Last day of a season (31 December north, 30 June of the next year south)."""
    if hemisphere == "north":
        return np.datetime64(f"{year:04d}-12-31", "D")
    return np.datetime64(f"{year + 1:04d}-06-30", "D")


def northern_month(year: int, month: int, hemisphere: Hemisphere) -> np.datetime64:
    """First day of a northern month (1 to 12) in a season's year; half a year later in the south.

    >>> northern_month(2024, 4, "north")
    np.datetime64('2024-04-01')
    >>> northern_month(2024, 7, "south")
    np.datetime64('2025-01-01')
    """
    years, index = divmod(month - 1 + (6 if hemisphere == "south" else 0), 12)
    return np.datetime64(f"{year + years:04d}-{index + 1:02d}-01", "D")


def season_of(day: np.datetime64, hemisphere: Hemisphere) -> int:
    """Season whose spring and summer a day belongs to or leads into.

    The overlap (September to December north) is given to the season that is ending, since
    that is the one a grower standing on the day would name.
    """
    year = year_of(day)
    if hemisphere == "north":
        return year
    month = int(str(day.astype("datetime64[M]"))[5:7])
    return year if month >= 7 else year - 1


def seasons_between(first: np.datetime64, last: np.datetime64, hemisphere: Hemisphere) -> range:
    """Every season that shares at least one day with ``first..last`` (both included)."""
    start, stop = year_of(first) - 1, year_of(last) + 1
    years = [
        year
        for year in range(start, stop + 1)
        if season_start(year, hemisphere) <= last and season_end(year, hemisphere) >= first
    ]
    return range(years[0], years[-1] + 1) if years else range(0)


def season_matrix(values: Floats, first: np.datetime64, starts: Days, days: int) -> Floats:
    """Cut a daily series into rows of ``days`` days that begin at ``starts``.

    Parameters
    ----------
    values : array (record days,), daily values.
    first : date of ``values[0]``.
    starts : array (rows,), first date of every row.
    days : length of a row.

    Returns
    -------
    array (rows, days); NaN where the series does not reach.
    """
    index = (starts - first).astype(np.int64)[:, None] + np.arange(days)
    inside = (index >= 0) & (index < len(values))
    rows = np.full(index.shape, np.nan)
    rows[inside] = values[index[inside]]
    return rows


def cycle_day(dates: Days) -> Ints:
    """Cycle day (0 = 1 March … 364 = 28 and 29 February) of dates of any shape.

    >>> cycle_day(np.array(["2024-03-01", "2024-02-29", "2023-12-31"], dtype="M8[D]"))
    array([  0, 364, 305])
    """
    march_year = (dates.astype("datetime64[M]") - 2).astype("datetime64[Y]")
    first_march = (march_year.astype("datetime64[M]") + 2).astype("datetime64[D]")
    cycle: Ints = np.minimum((dates - first_march).astype(np.int64), CYCLE_DAYS - 1)
    return cycle


def cycle_day_of(numbers: Ints) -> Ints:
    """Cycle day of days since 1970-01-01, from a table; for large arrays.

    >>> cycle_day_of(np.array([0, 58, 59]))
    array([306, 364,   0])
    """
    if numbers.size and (numbers.min() < _TABLE_FIRST or numbers.max() > _TABLE_LAST):
        return cycle_day(numbers.astype("M8[D]"))
    return _cycle_table()[numbers - _TABLE_FIRST]


@cache
def _cycle_table() -> Ints:
    return cycle_day(np.arange(_TABLE_FIRST, _TABLE_LAST + 1).astype("M8[D]"))


def next_date(cycle: int, not_before: np.datetime64) -> np.datetime64:
    """First date on or after ``not_before`` whose cycle day is ``cycle``."""
    ahead = (cycle - int(cycle_day(np.asarray(not_before)))) % CYCLE_DAYS
    candidates = not_before + np.arange(ahead, ahead + 2)
    return np.datetime64(candidates[cycle_day(candidates) == cycle][0], "D")
