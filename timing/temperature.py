"""One site's daily temperature record: what was measured, what was mended, what is missing.

The rest of the library works on a `TemperatureRecord` and never sees a raw file. Gaps of up
to three days are bridged by a straight line, gaps of up to 120 days are filled from the site's
own climatology (the mean of the fifteen days around the calendar day), longer ones stay open.
A gap is never counted as zero heat: a season that still has an open day, or too many mended
ones (`timing.drivers`), is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError
from timing.quality import Finding, screen
from timing.season import Days, Floats

BRIDGE_DAYS = 3
FILL_DAYS = 120
SMOOTHING_DAYS = 15

OBSERVED, BRIDGED, FILLED, OPEN = 0, 1, 2, 3


@dataclass(frozen=True)
class TemperatureRecord:
    """A contiguous daily record.

    Parameters
    ----------
    first : date of the first day.
    tmin_c, tmax_c : arrays (days,), daily extremes after mending; NaN where still open [°C].
    state : array (days,), 0 observed, 1 bridged, 2 filled from climatology, 3 open.
    findings : what the checks found, in plain sentences.
    source : the file or sample the record came from.
    raw_tmin_c, raw_tmax_c : arrays (days,), the readings before checks and mending [°C].
    """

    first: np.datetime64
    tmin_c: Floats
    tmax_c: Floats
    state: NDArray[np.int8]
    findings: tuple[Finding, ...]
    source: str
    raw_tmin_c: Floats
    raw_tmax_c: Floats

    @property
    def last(self) -> np.datetime64:
        """Date of the last day."""
        return self.first + np.timedelta64(len(self.tmin_c) - 1, "D")

    @property
    def missing_days(self) -> int:
        """Days without a usable pair of readings, before mending."""
        return int(np.count_nonzero(self.state != OBSERVED))

    @property
    def repaired_days(self) -> int:
        """Missing days that were bridged or filled."""
        return int(np.count_nonzero((self.state == BRIDGED) | (self.state == FILLED)))

    @property
    def warnings(self) -> tuple[str, ...]:
        """One sentence a finding."""
        return tuple(finding.text for finding in self.findings)

    def until(self, day: np.datetime64) -> TemperatureRecord:
        """The record as it stood on ``day``: later readings are hidden, also from the checks.

        Raises
        ------
        DataError : the record begins after ``day``.
        """
        if day >= self.last:
            return self
        return record_from_readings(
            self.first + np.arange(len(self.tmin_c)),
            self.raw_tmin_c,
            self.raw_tmax_c,
            source=self.source,
            until=day,
        )


def record_from_readings(
    dates: Days,
    tmin_c: Floats,
    tmax_c: Floats,
    *,
    source: str,
    until: np.datetime64 | None = None,
) -> TemperatureRecord:
    """Check and mend raw readings.

    Parameters
    ----------
    dates : array (readings,), strictly increasing dates; absent days are gaps.
    tmin_c, tmax_c : arrays (readings,), NaN where blank [°C].
    source : name used in messages.
    until : later readings are dropped before anything is checked or mended.

    Raises
    ------
    DataError : the record begins after ``until``, the readings are in another unit, or minimum
        and maximum are mixed up on more than one day in a hundred (see `timing.quality.screen`).
    """
    if until is not None:
        kept = int(np.searchsorted(dates, until, side="right"))
        if kept == 0:
            raise DataError(
                f"{source}: the record begins on {dates[0]}, after the day asked about ({until})"
            )
        dates, tmin_c, tmax_c = dates[:kept], tmin_c[:kept], tmax_c[:kept]
    first, days = dates[0], int((dates[-1] - dates[0]).astype(np.int64)) + 1
    position = (dates - first).astype(np.int64)
    tmin, tmax = np.full(days, np.nan), np.full(days, np.nan)
    tmin[position], tmax[position] = tmin_c, tmax_c

    calendar = first + np.arange(days)
    raw_tmin, raw_tmax = tmin, tmax
    tmin, tmax, findings = screen(calendar, tmin, tmax, source=source)
    states = []
    for values in (tmin, tmax):  # one reading may be missing while the other stands
        states.append(_state_of_gaps(np.isnan(values)))
        _mend(calendar, values, states[-1])
    state = np.maximum(*states)
    tmin = np.where(states[0] > OBSERVED, np.minimum(tmin, tmax), tmin)
    tmax = np.where(states[1] > OBSERVED, np.maximum(tmin, tmax), tmax)
    opened = np.isnan(tmin) | np.isnan(tmax)
    tmin[opened] = tmax[opened] = np.nan
    state[opened] = OPEN
    return TemperatureRecord(first, tmin, tmax, state, findings, source, raw_tmin, raw_tmax)


def climatology(calendar: Days, values: Floats) -> Floats:
    """Mean of the fifteen days around each day of the year, over all years.

    Parameters
    ----------
    calendar : array (days,), dates.
    values : array (days,), NaN where missing.

    Returns
    -------
    array (366,), indexed by day of year − 1; NaN where fifteen days around hold nothing.
    """
    day_of_year = (calendar - calendar.astype("datetime64[Y]")).astype(np.int64)
    known = ~np.isnan(values)
    total = np.bincount(day_of_year[known], values[known], minlength=366)
    count = np.bincount(day_of_year[known], minlength=366)
    half = SMOOTHING_DAYS // 2
    window = np.arange(-half, half + 1)
    around = (np.arange(366)[:, None] + window) % 366
    totals, counts = total[around].sum(axis=1), count[around].sum(axis=1)
    mean: Floats = np.divide(totals, counts, out=np.full(366, np.nan), where=counts > 0)
    return mean


def _state_of_gaps(missing: NDArray[np.bool_]) -> NDArray[np.int8]:
    """Decide for every missing day whether its gap is bridged, filled or left open."""
    state = np.zeros(len(missing), dtype=np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], missing.astype(np.int8), [0]))))
    for start, stop in edges.reshape(-1, 2):
        inner = start > 0 and stop < len(missing)
        if inner and stop - start <= BRIDGE_DAYS:
            state[start:stop] = BRIDGED
        else:
            state[start:stop] = FILLED if stop - start <= FILL_DAYS else OPEN
    return state


def _mend(calendar: Days, values: Floats, state: NDArray[np.int8]) -> None:
    """Write the mended values into ``values`` in place."""
    filled, bridged = state == FILLED, state == BRIDGED
    if filled.any():
        day_of_year = (calendar - calendar.astype("datetime64[Y]")).astype(np.int64)
        values[filled] = climatology(calendar, values)[day_of_year[filled]]
    if bridged.any():
        known = np.flatnonzero(state == OBSERVED)
        values[bridged] = np.interp(np.flatnonzero(bridged), known, values[known])
