"""Runs of years whose readings are whole degrees, Celsius or Fahrenheit."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Literal

import numpy as np

from timing.season import Days, Floats

Unit = Literal["whole °C", "whole °F", "finer"]

NEARLY_ALL = 0.97  # share of a year's readings; of tenths of °C, 56% fall on a whole °F by chance
FEWEST_READINGS = 100  # of a year
_EXACT = 1e-6


@dataclass(frozen=True)
class PrecisionRun:
    """Neighbouring years with one precision."""

    first_year: int
    last_year: int
    unit: Unit


def precision(calendar: Days, tmin_c: Floats, tmax_c: Floats) -> tuple[PrecisionRun, ...]:
    """Precision of the readings as they were given, years with the same one joined.

    Parameters
    ----------
    calendar : array (days,), contiguous dates.
    tmin_c, tmax_c : arrays (days,), NaN where missing [°C].
    """
    year = calendar.astype("datetime64[Y]").astype(np.int64) + 1970
    units = []
    for number in range(int(year[0]), int(year[-1]) + 1):
        here = year == number
        values = np.concatenate((tmin_c[here], tmax_c[here]))
        values = values[np.isfinite(values)]
        if values.size >= FEWEST_READINGS:
            units.append((number, _unit(values)))
    runs = []
    for unit, same in groupby(units, key=lambda item: item[1]):
        years = [number for number, _ in same]
        runs.append(PrecisionRun(years[0], years[-1], unit))
    return tuple(runs)


def _unit(values: Floats) -> Unit:
    if float((np.abs(values - np.rint(values)) < _EXACT).mean()) >= NEARLY_ALL:
        return "whole °C"
    tenths = np.abs(10 * values - np.rint(10 * values)) < 10 * _EXACT
    slack = 0.05 if float(tenths.mean()) >= NEARLY_ALL else 0.005  # of °C, by rounding
    fahrenheit = 1.8 * values + 32
    near = np.abs(fahrenheit - np.rint(fahrenheit)) <= 1.8 * slack + _EXACT
    return "whole °F" if float(near.mean()) >= NEARLY_ALL else "finer"
