"""Units of temperature: which numbers a unit can hold, and the way to °C.

Numbers decide nothing; they can only contradict what the format, the header or the user says.
The limits rest on invented full-year climates with a warmest month of at least 10 °C: the
largest maximum told °C, °F and tenths of °C apart in all but 0.04 % of 12,000 of them, but
failed in every fifth file that held a hundred winter days alone. So on less than a year only
fractions and the gap between minimum and maximum are used, and only against tenths.
"""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np

from timing.errors import DataError
from timing.quality import HOTTEST_C, UNIT_SHARE
from timing.season import Floats

Unit = Literal["c", "f", "tenths_c", "k"]
UnitOrigin = Literal["format", "header", "option"]
UNITS: tuple[Unit, ...] = get_args(Unit)
NAMES: dict[Unit, str] = {"c": "°C", "f": "°F", "tenths_c": "tenths of °C", "k": "kelvin"}

HOTTEST_F = 140.0
COLDEST_K = 150.0
YEAR_OF_READINGS = 330
SMALLEST_RANGE_TENTHS = 30.0  # no place has a median daily range below 3 °C (from memory)


def missing_codes(unit: Unit) -> tuple[float, ...]:
    """Numbers that stand for a missing reading in a unit that cannot hold them otherwise."""
    codes = (-9999.9, -9999.0, -999.9, -999.0, 999.0, 999.9, 9999.0, 9999.9)
    return codes if unit == "tenths_c" else (*codes, -99.9)


def to_celsius(values: Floats, unit: Unit) -> Floats:
    """Temperatures in °C; from °F and kelvin rounded to a hundredth."""
    if unit == "f":
        return np.round((values - 32) / 1.8, 2)
    if unit == "k":
        return np.round(values - 273.15, 2)
    return values / 10 if unit == "tenths_c" else values


def refuse_unlikely(
    low: Floats, high: Floats, unit: Unit, unit_from: UnitOrigin, source: str
) -> None:
    """Refuse readings that contradict their unit.

    Parameters
    ----------
    low, high : arrays (readings,), minima and maxima, NaN where missing [``unit``].
    unit, unit_from : the unit and who says so.
    source : name used in messages.

    Raises
    ------
    DataError : the numbers look like another unit.
    """
    known = high[~np.isnan(high)]
    if known.size == 0:
        return
    top = float(np.quantile(known, 1 - UNIT_SHARE / 2))
    likely = _likely(known, top)
    if unit == "tenths_c":
        likely = _instead_of_tenths(low, high, likely, unit_from)
    fits = {
        "c": float(np.mean(known > HOTTEST_C)) <= UNIT_SHARE,
        "f": top <= HOTTEST_F and (likely != "c" or known.size < YEAR_OF_READINGS),
        "k": float(np.mean(known < COLDEST_K)) <= UNIT_SHARE,
        "tenths_c": likely == "tenths_c",
    }
    if fits[unit]:
        return
    if unit_from == "header":
        cure = "correct the header"
    elif unit_from == "option":
        cure = f"check --units {unit}"
    else:
        cure = "say --units and the unit it is in"
    raise DataError(
        f"{source}: maxima reach {top:.0f}, which looks like {NAMES[likely]}, not {NAMES[unit]}; "
        f"{cure}"
    )


def _likely(known: Floats, top: float) -> Unit:
    """What a year of maxima would be by its largest ones."""
    if known.min() > 200 and top < 340:
        return "k"
    return "c" if top <= HOTTEST_C else "f" if top <= HOTTEST_F else "tenths_c"


def _instead_of_tenths(low: Floats, high: Floats, likely: Unit, unit_from: UnitOrigin) -> Unit:
    """The unit that readings given as tenths of °C are in, tenths where nothing speaks against."""
    known = high[~np.isnan(high)]
    if np.any(known % 1 != 0):
        return "c" if likely == "tenths_c" else likely
    if likely in ("c", "f") and known.size >= YEAR_OF_READINGS:
        return likely
    ranges = (high - low)[~np.isnan(high - low)]
    narrow = ranges.size > 0 and float(np.median(ranges)) < SMALLEST_RANGE_TENTHS
    if narrow and (likely == "k" or unit_from != "option"):
        return "f" if likely == "tenths_c" else likely
    return "tenths_c"
