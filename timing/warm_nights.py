"""The warm season of tropical taxa: when nights stay warm, and when they no longer do.

Ten-day mean of the minimum at 15 °C, from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from timing.crossings import first_from
from timing.drivers import Drivers
from timing.season import SEASON_DAYS, SUMMER_SOLSTICE, WINTER_SOLSTICE, Floats

WARM_NIGHT_C = 15.0


def warm_nights_begin(drivers: Drivers) -> Floats:
    """Day after the last cool night before midsummer, or the first warm one after it.

    Returns
    -------
    array (seasons, 1); −inf where no night of the spring is cool, NaN where the record ends.
    """
    warm = drivers.mean_of("tmin_c", 10, lambda: drivers.tmin_c) >= WARM_NIGHT_C
    spring = warm[:, WINTER_SOLSTICE : SUMMER_SOLSTICE + 1]
    since = np.argmax(~spring[:, ::-1], axis=1)  # warm days in a row up to midsummer
    day: Floats = SUMMER_SOLSTICE + 1.0 - since[:, None]
    day[spring.all(axis=1)] = -np.inf
    late = ~spring[:, -1]
    midsummer = np.full((len(warm), 1), float(SUMMER_SOLSTICE))
    day[late] = first_from(warm, midsummer)[late]
    day[np.isnan(drivers.tmin_c[:, SUMMER_SOLSTICE])] = np.nan
    return day


def warm_nights_end(drivers: Drivers, start: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """First cool night after midsummer and after the warmth has begun, and where none comes.

    Parameters
    ----------
    drivers : the seasons.
    start : array (seasons, draws), the beginning of the warm season.
    """
    nights = drivers.mean_of("tmin_c", 10, lambda: drivers.tmin_c)
    day = first_from(nights < WARM_NIGHT_C, np.maximum(start, float(SUMMER_SOLSTICE)))
    known = ~np.isnan(nights[:, SEASON_DAYS - 2])
    return day, np.isnan(day) & ~np.isnan(start) & known[:, None]
