"""A record beside one of a neighbouring place: differences, likeness, maxima a day out of step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from timing.errors import DataError
from timing.season import Days, Floats
from timing.temperature import OBSERVED, TemperatureRecord, climatology

FEWEST_DAYS = 180  # of a year, to compare lags
AHEAD = 0.05  # by how much another day must beat the same day (our own; docs/check.md)
ALIKE = 0.5  # least correlation at the better lag

Element = Literal["tmin", "tmax"]


@dataclass(frozen=True, eq=False)
class Pair:
    """Days two records share.

    ``calendar`` (days,), and own and other minima and maxima (days,), NaN where not read [°C].
    """

    calendar: Days
    tmin_c: Floats
    tmax_c: Floats
    other_tmin_c: Floats
    other_tmax_c: Floats


@dataclass(frozen=True)
class DayShift:
    """Years in which a reading follows the neighbour's of another day.

    Parameters
    ----------
    element : tmin or tmax.
    days : 1 where it stands a day later than the neighbour's, −1 where a day earlier.
    years : which.
    same_day, shifted : mean correlation with the neighbour on the same day and on the other one.
    """

    element: Element
    days: int
    years: tuple[int, ...]
    same_day: float
    shifted: float


def readings(record: TemperatureRecord) -> tuple[Days, Floats, Floats]:
    """Dates, minima and maxima of a record, NaN on days without a full pair that was read."""
    read = record.state == OBSERVED
    calendar = record.first + np.arange(len(read))
    return calendar, np.where(read, record.tmin_c, np.nan), np.where(read, record.tmax_c, np.nan)


def pair(record: TemperatureRecord, neighbour: TemperatureRecord) -> Pair:
    """The days both records span.

    Raises
    ------
    DataError : there is none, or both hold the same readings.
    """
    first, last = max(record.first, neighbour.first), min(record.last, neighbour.last)
    if first > last:
        raise DataError(
            f"{neighbour.source}: the neighbour's record ({neighbour.first} to {neighbour.last}) "
            f"shares no day with {record.source} ({record.first} to {record.last})"
        )
    days = int((last - first).astype(np.int64)) + 1
    parts = []
    for one in (record, neighbour):
        _, low, high = readings(one)
        start = int((first - one.first).astype(np.int64))
        parts += [low[start : start + days], high[start : start + days]]
    if np.array_equal(parts[0], parts[2], True) and np.array_equal(parts[1], parts[3], True):
        raise DataError(
            f"{neighbour.source}: the neighbour holds the same readings as {record.source}; "
            "give the record of another place"
        )
    return Pair(first + np.arange(days), *parts)


def day_shifts(both: Pair) -> tuple[DayShift, ...]:
    """Years in which minima or maxima follow the neighbour's of the day before or after better.

    Departures from each record's own climatology are correlated year by year. Days that were
    read in the morning and written down as that day's maximum trail by a day.
    """
    year = both.calendar.astype("datetime64[Y]").astype(np.int64) + 1970
    found = []
    elements: tuple[tuple[Element, Floats, Floats], ...] = (
        ("tmin", both.tmin_c, both.other_tmin_c),
        ("tmax", both.tmax_c, both.other_tmax_c),
    )
    for element, here, there in elements:
        own, other = _departure(both.calendar, here), _departure(both.calendar, there)
        shifted: dict[int, list[tuple[int, float, float]]] = {-1: [], 1: []}
        for number in range(int(year[0]), int(year[-1]) + 1):
            at = np.flatnonzero(year == number)
            at = at[(at > 0) & (at < len(year) - 1)]
            same = _correlation(own[at], other[at])
            for days, rows in shifted.items():
                moved = _correlation(own[at], other[at - days])
                if moved >= ALIKE and moved > same + AHEAD:
                    rows.append((number, same, moved))
        for days, rows in shifted.items():
            if rows:
                years, before, after = zip(*rows, strict=True)
                found.append(
                    DayShift(element, days, years, float(np.mean(before)), float(np.mean(after)))
                )
    return tuple(found)


def likeness(both: Pair) -> float:
    """Correlation of the daily means' departures, NaN with too few days in common."""
    own = _departure(both.calendar, (both.tmin_c + both.tmax_c) / 2)
    other = _departure(both.calendar, (both.other_tmin_c + both.other_tmax_c) / 2)
    return _correlation(own, other)


def _departure(calendar: Days, values: Floats) -> Floats:
    day_of_year = (calendar - calendar.astype("datetime64[Y]")).astype(np.int64)
    departure: Floats = values - climatology(calendar, values)[day_of_year]
    return departure


def _correlation(one: Floats, two: Floats) -> float:
    known = ~(np.isnan(one) | np.isnan(two))
    if known.sum() < FEWEST_DAYS:
        return float("nan")
    a, b = one[known] - one[known].mean(), two[known] - two[known].mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0 else float("nan")
