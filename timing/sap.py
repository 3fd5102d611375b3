"""When sap moves before the leaves: its first spell and its strongest fortnight.

Sap of maples and walnuts runs on thawing days after freezing nights (Kurokawa et al. 2024,
iForest); birches, hornbeams and vines press it up from warming soil. The thresholds are from
memory (birches were seen to run at daily means of 3 to 6 °C: Gryazkin et al. 2023, Lesnoy Zhurnal
4:180), the weights of a sap day were tried on two seasons at the Whately sugarbush (Baumer et
al., CC0).
"""

from __future__ import annotations

import numpy as np

from timing.crossings import first_from, running_mean
from timing.drivers import Drivers
from timing.season import NEW_YEAR, SEASON_DAYS, WINTER_SOLSTICE, Floats

FREEZE_C, THAW_C = 0.0, 4.0
MILD_C = 5.0
ROOT_PRESSURE_C = 4.0
SAP_DAY_C, SAP_FULL_C = 2.0, 8.0  # flow grows with the thaw, from 1 °C to 9 °C (from memory)
SAP_SPREAD_DAYS = 15.0  # the strongest fortnight is sought around the middle of the flow
MIN_SAP_DAYS = 6
MID_JANUARY = NEW_YEAR + 15.0  # thaws of deep winter yield little (from memory)


def first_movement(drivers: Drivers, mechanism: str, half_chilled: Floats) -> Floats:
    """First day on which sap moves after the winter solstice, (seasons, 1); NaN where never.

    Parameters
    ----------
    drivers : the seasons.
    mechanism : freeze_thaw or root_pressure.
    half_chilled : array (seasons, 1), day on which half of the chill is met.
    """
    if mechanism == "root_pressure":
        warm = drivers.mean_of("tmean_c", 10, lambda: drivers.tmean_c) > ROOT_PRESSURE_C
        return first_from(warm, half_chilled)
    runs = drivers.mean_of("spell", 10, lambda: _spell(drivers)) > 0.25  # three days in ten
    mild = drivers.mean_of("mild", 5, lambda: (drivers.tmean_c > MILD_C).astype(float)) > 0.9
    start = np.full_like(half_chilled, float(WINTER_SOLSTICE))
    earlier: Floats = np.fmin(first_from(runs, start), first_from(mild, half_chilled))
    return earlier


def _spell(drivers: Drivers) -> Floats:
    """Days of frost and thaw from the winter solstice on: 1 or 0."""
    spell = (drivers.tmin_c < FREEZE_C) & (drivers.tmax_c > THAW_C)
    spell[:, :WINTER_SOLSTICE] = False
    return spell.astype(float)


def strongest_fortnight(drivers: Drivers, first: Floats, last: Floats) -> Floats:
    """Middle of the strongest fortnight of freeze-thaw flow, (seasons, 1); NaN below six sap days.

    Parameters
    ----------
    drivers : the seasons.
    first, last : arrays (seasons,), usual days between which sap may flow.
    """
    day = np.arange(SEASON_DAYS)
    first = np.maximum(first, MID_JANUARY)
    with np.errstate(invalid="ignore"):
        running = (day >= first[:, None]) & (day < last[:, None]) & (drivers.tmin_c < FREEZE_C)
        running &= drivers.tmax_c > SAP_DAY_C
    flow = np.where(running, np.minimum(drivers.tmax_c - 1.0, SAP_FULL_C), 0.0)
    total = flow.sum(axis=1, keepdims=True)
    middle = (flow * day).sum(axis=1, keepdims=True) / np.where(total > 0, total, 1.0)
    near = np.exp(-0.5 * ((day - 6.5 - middle) / SAP_SPREAD_DAYS) ** 2)
    peak: Floats = np.argmax(np.nan_to_num(running_mean(flow, 14)) * near, axis=1) - 6.5
    peak[running.sum(axis=1) < MIN_SAP_DAYS] = np.nan
    return peak[:, None]
