"""How much warmer a bench is than its station, from a few weeks of a thermometer of one's own.

Daily minima and maxima are compared apart, because a wall warms nights and a cold hollow cools them
while days stay alike, and season by season, because sun and snow change. The mean difference is
taken; its standard error allows for days that resemble their neighbours (lag-1 autocorrelation,
effective sample size after Wilks 2011, Statistical Methods in the Atmospheric Sciences, ch. 5).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.errors import DataError
from timing.season import Floats, Ints
from timing.temperature import OBSERVED, TemperatureRecord

FEWEST_DAYS = 14
QUARTERS = (  # first and last day of each, as MM-DD, and its months
    ("12-01", "02-29", (12, 1, 2)),
    ("03-01", "05-31", (3, 4, 5)),
    ("06-01", "08-31", (6, 7, 8)),
    ("09-01", "11-30", (9, 10, 11)),
)


@dataclass(frozen=True)
class QuarterOffset:
    """What the thermometer says of one quarter of the year.

    Parameters
    ----------
    starts, until : first and last day, ``MM-DD``.
    days : days on which both were read.
    tmin_offset_c, tmax_offset_c : how much warmer nights and days are at the bench [°C].
    tmin_error_c, tmax_error_c : standard errors of those [°C].
    """

    starts: str
    until: str
    days: int
    tmin_offset_c: float
    tmax_offset_c: float
    tmin_error_c: float
    tmax_error_c: float


def quarter_offsets(
    station: TemperatureRecord, bench: TemperatureRecord
) -> tuple[QuarterOffset, ...]:
    """Offsets of a bench's own record to the station's, for the quarters with enough days.

    Parameters
    ----------
    station : the record the site answers from.
    bench : the grower's own, some weeks at least.

    Raises
    ------
    DataError : no quarter of the year has 14 days on which both were read.
    """
    first, last = max(station.first, bench.first), min(station.last, bench.last)
    if last < first:
        raise DataError(
            f"{bench.source} runs from {bench.first} to {bench.last}, the site's temperatures from "
            f"{station.first} to {station.last}: they share no day to compare"
        )
    days = first + np.arange(int((last - first).astype(np.int64)) + 1)
    read = _read(station, days) & _read(bench, days)
    months: Ints = days.astype("M8[M]").astype(np.int64) % 12 + 1
    found = []
    for starts, until, wanted in QUARTERS:
        inside = read & np.isin(months, wanted)
        if int(inside.sum()) < FEWEST_DAYS:
            continue
        night, noon = (
            _cut(getattr(bench, name), bench, days)[inside]
            - _cut(getattr(station, name), station, days)[inside]
            for name in ("tmin_c", "tmax_c")
        )
        found.append(
            QuarterOffset(
                starts,
                until,
                int(inside.sum()),
                float(night.mean()),
                float(noon.mean()),
                _standard_error(night),
                _standard_error(noon),
            )
        )
    if not found:
        raise DataError(
            f"{bench.source}: {int(read.sum())} days shared with the site's temperatures; at least "
            f"{FEWEST_DAYS} in one quarter of the year are needed to compare them"
        )
    return tuple(found)


def _cut(values: Floats, record: TemperatureRecord, days: np.ndarray) -> Floats:
    start = int((days[0] - record.first).astype(np.int64))
    part: Floats = values[start : start + len(days)]
    return part


def _read(record: TemperatureRecord, days: np.ndarray) -> np.ndarray:
    start = int((days[0] - record.first).astype(np.int64))
    observed: np.ndarray = record.state[start : start + len(days)] == OBSERVED
    return observed


def _standard_error(values: Floats) -> float:
    """Standard error of a mean of days that resemble their neighbours."""
    departures = values - values.mean()
    variance = float((departures**2).sum()) / max(len(values) - 1, 1)
    if variance == 0:
        return 0.0
    lag = float((departures[1:] * departures[:-1]).sum() / (departures**2).sum())
    lag = min(max(lag, 0.0), 0.95)
    effective = max(len(values) * (1 - lag) / (1 + lag), 1.0)
    return float(np.sqrt(variance / effective))
