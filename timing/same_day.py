"""The same calendar day in every season, leap years or not.

Seasons are compared by calendar date and autumn limits stand on one: 11 April is 11 April.
A *place* in the season counts days of a season without 29 February, which shares the place of the
28th, so that equal dates have equal places in every year.
"""

from __future__ import annotations

import numpy as np

from timing.season import SEASON_DAYS, Days, Floats, Ints


def leap_offsets(starts: Days) -> Ints:
    """Offset of 29 February in seasons that begin on ``starts``; past the end where there is none.

    >>> leap_offsets(np.array(["2023-09-01", "2024-09-01", "2023-03-01"], dtype="M8[D]"))
    array([181, 488, 365])
    """
    february = (starts.astype("datetime64[Y]") + 1).astype("datetime64[M]") + 1
    first, march = february.astype("M8[D]"), (february + 1).astype("M8[D]")
    leap = (march - first).astype(np.int64) == 29
    offset: Ints = np.where(leap, (march - starts).astype(np.int64) - 1, SEASON_DAYS)
    return offset


def places(offsets: Floats, leap: Ints) -> Floats:
    """Places of offsets; ``leap`` (`leap_offsets`) broadcasts against them."""
    return offsets - (offsets >= leap)


def offsets_at(places: Floats, leap: Ints) -> Floats:
    """Offsets of places in seasons; ``leap`` (`leap_offsets`) broadcasts against them."""
    return places + (places >= leap)


def place_of(date: np.datetime64, start: np.datetime64) -> int:
    """Place of a date in the season that begins on ``start``."""
    offset = np.array([float((date - start).astype(np.int64))])
    return int(places(offset, leap_offsets(np.array([start])))[0])


def date_at(place: int, start: np.datetime64) -> np.datetime64:
    """Date of a place in the season that begins on ``start``."""
    leap = int(leap_offsets(np.array([start]))[0])
    date: np.datetime64 = start + np.timedelta64(place + (place >= leap), "D")
    return date


def by_place(values: Floats, starts: Days) -> Floats:
    """Columns of a season × day matrix at the common places, shape (seasons, columns − 1)."""
    column = np.arange(values.shape[1] - 1)
    column = column + (column >= leap_offsets(starts)[:, None])
    rows: Floats = np.take_along_axis(values, column, axis=1)
    return rows
