"""One site's daily temperature record: what was measured, what was mended, what is missing.

The rest of the library works on a `TemperatureRecord` and never sees a raw file. Gaps of up
to three days are bridged by a straight line, gaps of up to 120 days are filled from the site's
own climatology (the mean of the fifteen days around the calendar day), longer ones stay open.
Where a neighbouring record is given, its days fill gaps of more than three days first, brought to
the site's level month by month (`timing.neighbour_fill`); what it leaves is treated as before.
A gap is never counted as zero heat: a season that still has an open day, or too many days mended
without a neighbour (`timing.drivers`), is left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError
from timing.neighbour_fill import MonthlyOffsets, month_of, monthly_offsets
from timing.quality import Finding, screen
from timing.season import Days, Floats

BRIDGE_DAYS = 3
FILL_DAYS = 120
SMOOTHING_DAYS = 15

OBSERVED, BRIDGED, NEIGHBOUR, FILLED, OPEN = 0, 1, 2, 3, 4  # from the best to the worst


@dataclass(frozen=True, eq=False)
class Forecast:
    """Days that a weather service expected; never part of a record.

    Parameters
    ----------
    days : array (days,), strictly increasing dates, from the day it was made on.
    tmin_c, tmax_c : arrays (days,), NaN where missing [°C].
    made : the day it was fetched.
    """

    days: Days
    tmin_c: Floats
    tmax_c: Floats
    made: np.datetime64

    def known_on(self, day: np.datetime64) -> Forecast | None:
        """The forecast as somebody knew it on a day: None before it was made."""
        return self if self.made <= day else None


@dataclass(frozen=True)
class TemperatureRecord:
    """A contiguous daily record.

    Parameters
    ----------
    first : date of the first day.
    tmin_c, tmax_c : arrays (days,), daily extremes after mending; NaN where still open [°C].
    state : array (days,), 0 observed, 1 bridged, 2 filled from a neighbour, 3 filled from
        climatology, 4 open.
    findings : what the checks found, in plain sentences.
    source : the file or sample the record came from.
    raw_tmin_c, raw_tmax_c : arrays (days,), the readings before checks and mending [°C].
    neighbour : the record its gaps were filled from, or None.
    ahead : what is forecast of the days after it, or None; no part of the record.
    """

    first: np.datetime64
    tmin_c: Floats
    tmax_c: Floats
    state: NDArray[np.int8]
    findings: tuple[Finding, ...]
    source: str
    raw_tmin_c: Floats
    raw_tmax_c: Floats
    neighbour: TemperatureRecord | None = None
    ahead: Forecast | None = None

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
        return int(np.count_nonzero((self.state != OBSERVED) & (self.state != OPEN)))

    @property
    def neighbour_days(self) -> int:
        """Missing days that were filled from a neighbour."""
        return int(np.count_nonzero(self.state == NEIGHBOUR))

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
        record = record_from_readings(
            self.first + np.arange(len(self.tmin_c)),
            self.raw_tmin_c,
            self.raw_tmax_c,
            source=self.source,
            until=day,
            neighbour=self.neighbour,
        )
        return replace(record, ahead=self.ahead.known_on(day) if self.ahead else None)


def record_from_readings(
    dates: Days,
    tmin_c: Floats,
    tmax_c: Floats,
    *,
    source: str,
    until: np.datetime64 | None = None,
    neighbour: TemperatureRecord | None = None,
) -> TemperatureRecord:
    """Check and mend raw readings.

    Parameters
    ----------
    dates : array (readings,), strictly increasing dates; absent days are gaps.
    tmin_c, tmax_c : arrays (readings,), NaN where blank [°C].
    source : name used in messages.
    until : later readings are dropped before anything is checked or mended.
    neighbour : fills gaps of more than three days; where the two have too few days in common,
        none is filled and a finding says so.

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
    beside = _seen_until(neighbour, until)
    levelled, offsets, told = _levelled(beside, calendar, tmin, tmax)
    states = []
    for values, other in zip(
        (tmin, tmax), levelled, strict=True
    ):  # one may stand without the other
        states.append(_state_of_gaps(np.isnan(values)))
        taken = (states[-1] >= FILLED) & ~np.isnan(other)
        if taken.any():
            values[taken] = other[taken]
            states[-1] = np.where(taken, np.int8(NEIGHBOUR), _state_of_gaps(np.isnan(values)))
        _mend(calendar, values, states[-1])
    state = np.maximum(*states)
    tmin = np.where(states[0] > OBSERVED, np.minimum(tmin, tmax), tmin)
    tmax = np.where(states[1] > OBSERVED, np.maximum(tmin, tmax), tmax)
    opened = np.isnan(tmin) | np.isnan(tmax)
    tmin[opened] = tmax[opened] = np.nan
    state[opened] = OPEN
    record = TemperatureRecord(
        first, tmin, tmax, state, findings, source, raw_tmin, raw_tmax, neighbour
    )
    if beside is not None:
        record = replace(record, findings=(*findings, _neighbour_finding(record, offsets, told)))
    return record


def neighbour_offsets(record: TemperatureRecord, neighbour: TemperatureRecord) -> MonthlyOffsets:
    """How much warmer a site is than a neighbour, month by month; from days both really read.

    Raises
    ------
    DataError : they have too few days in common (`timing.neighbour_fill.monthly_offsets`).
    """
    calendar = record.first + np.arange(len(record.state))
    read = record.state == OBSERVED
    own = np.where(read, record.tmin_c, np.nan), np.where(read, record.tmax_c, np.nan)
    return monthly_offsets(calendar, own, _laid_on(calendar, neighbour), source=neighbour.source)


def _seen_until(
    neighbour: TemperatureRecord | None, until: np.datetime64 | None
) -> TemperatureRecord | None:
    """A neighbour as it stood on a day; None where it began later."""
    if neighbour is None or until is None:
        return neighbour
    return neighbour.until(until) if neighbour.first <= until else None


def _levelled(
    neighbour: TemperatureRecord | None, calendar: Days, tmin_c: Floats, tmax_c: Floats
) -> tuple[tuple[Floats, Floats], MonthlyOffsets | None, str]:
    """A neighbour's minima and maxima at the site's level, NaN where there are none; and why."""
    none = np.full(len(calendar), np.nan)
    if neighbour is None:
        return (none, none), None, ""
    other = _laid_on(calendar, neighbour)
    try:
        offsets = monthly_offsets(calendar, (tmin_c, tmax_c), other, source=neighbour.source)
    except DataError as error:
        return (none, none), None, str(error)
    month = month_of(calendar)
    return (other[0] + offsets.tmin_c[month], other[1] + offsets.tmax_c[month]), offsets, ""


def _laid_on(calendar: Days, other: TemperatureRecord) -> tuple[Floats, Floats]:
    """Readings of another record on the days of a calendar, NaN where it read no full pair."""
    place = (calendar - other.first).astype(np.int64)
    inside = (place >= 0) & (place < len(other.state))
    at = np.where(inside, place, 0)
    read = inside & (other.state[at] == OBSERVED)
    return np.where(read, other.tmin_c[at], np.nan), np.where(read, other.tmax_c[at], np.nan)


def _neighbour_finding(
    record: TemperatureRecord, offsets: MonthlyOffsets | None, why_not: str
) -> Finding:
    if offsets is None:
        return Finding("neighbour", 0, f"no day filled from the neighbour, {why_not}")
    count = record.neighbour_days
    name = record.neighbour.source if record.neighbour else ""
    days = "1 day" if count == 1 else f"{count} days"
    return Finding("neighbour", count, f"{days} filled from {name} ({offsets.text()})")


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
        known = np.flatnonzero((state == OBSERVED) | (state == NEIGHBOUR))
        values[bridged] = np.interp(np.flatnonzero(bridged), known, values[known])
