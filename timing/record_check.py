"""Can a record be trusted: coverage, steps, drifts, stuck values, precision, days out of step.

Nothing is changed; the user decides. Steps of several series that lie within three years of each
other are told as one. With a neighbour, its differences lead, for what happened at one of the two
alone shows there best (`timing.homogeneity`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from timing.coverage import Coverage, coverage
from timing.day_order import day_order
from timing.homogeneity import Step, Steps, find_steps
from timing.monthly import departures, month_means, yearly
from timing.neighbour import DayShift, Pair, day_shifts, likeness, pair, readings
from timing.precision import PrecisionRun, precision
from timing.season import Days, Floats, Ints
from timing.site import Site
from timing.step_dates import after, step_sizes
from timing.steps import LEAST_YEARS, level_and_line
from timing.temperature import TemperatureRecord
from timing.trend import Trend, trend

Name = Literal["range", "tmin", "tmax", "day order", "tmin less neighbour", "tmax less neighbour"]
Size = tuple[float, float]

LEVEL = 0.015  # of each series; rates in docs/check.md
DRIFT_P = 0.01
DRIFT_C = 0.02  # a year
BESIDE: tuple[Name, ...] = ("tmin less neighbour", "tmax less neighbour")


@dataclass(frozen=True, eq=False)
class Series:
    """One yearly series and what the test for steps says of it.

    Parameters
    ----------
    years, values : arrays (n,), mean departure of the year [°C].
    steps : None with fewer than ten years.
    """

    years: Ints
    values: Floats
    steps: Steps | None


@dataclass(frozen=True)
class Break:
    """Steps of one or more series at about the same time.

    Parameters
    ----------
    month, early, late : first month after it, and the range of that month.
    series : those in which it was found, the surest first.
    p : chance of the surest without a step.
    sizes : change and standard error of tmin, tmax and range, and of the differences to the
        neighbour where it reaches [°C]; a line is allowed for in tmin and tmax, which warm.
    """

    month: np.datetime64
    early: np.datetime64
    late: np.datetime64
    series: tuple[Name, ...]
    p: float
    sizes: Mapping[Name, Size]


@dataclass(frozen=True)
class Drift:
    """A series that changed little by little, or by a step that looks much the same.

    Parameters
    ----------
    series : which.
    trend : its trend, all breaks taken out first [°C a year].
    step : the step that explains it about as well, or None.
    """

    series: Name
    trend: Trend
    step: Step | None


@dataclass(frozen=True)
class NeighbourCheck:
    """The neighbour: its record, days in common, correlation of daily means, days out of step.

    ``credit`` says whom to name for its temperatures; may be empty.
    """

    record: TemperatureRecord
    days: int
    likeness: float
    shifts: tuple[DayShift, ...]
    credit: str = ""


@dataclass(frozen=True, eq=False)
class RecordCheck:
    """Everything found in a record, by sort; see the modules of each."""

    site: Site
    record: TemperatureRecord
    coverage: Coverage
    series: Mapping[Name, Series]
    breaks: tuple[Break, ...]
    drifts: tuple[Drift, ...]
    precision: tuple[PrecisionRun, ...]
    neighbour: NeighbourCheck | None

    @property
    def tested(self) -> bool:
        """Whether the record is long enough to look for steps."""
        return any(one.steps is not None for one in self.series.values())


def check_record(
    record: TemperatureRecord,
    site: Site,
    neighbour: TemperatureRecord | None = None,
    *,
    credit: str = "",
) -> RecordCheck:
    """Check a record, alone or beside that of a neighbouring place.

    ``credit`` says whom to name for the neighbour's temperatures.

    Raises
    ------
    DataError : the neighbour shares no day with it or holds the same readings.
    """
    both = pair(record, neighbour) if neighbour is not None else None
    series = _all_series(record, both)
    breaks = _breaks(series)
    beside = None
    if neighbour is not None and both is not None:
        shared = int((~np.isnan(both.tmin_c - both.other_tmin_c)).sum())
        beside = NeighbourCheck(neighbour, shared, likeness(both), day_shifts(both), credit)
    calendar = record.first + np.arange(len(record.state))
    return RecordCheck(
        site=site,
        record=record,
        coverage=coverage(record, site),
        series=series,
        breaks=breaks,
        drifts=_drifts(series, breaks),
        precision=precision(calendar, record.raw_tmin_c, record.raw_tmax_c),
        neighbour=beside,
    )


def _all_series(record: TemperatureRecord, both: Pair | None) -> dict[Name, Series]:
    calendar, tmin, tmax = readings(record)
    found: dict[Name, Series] = {
        "range": _series(calendar, tmax - tmin, line=False),
        "tmin": _series(calendar, tmin, line=True),
        "tmax": _series(calendar, tmax, line=True),
        "day order": _series(calendar, day_order(tmin, tmax), line=False),
    }
    if both is not None:
        low, high = both.tmin_c - both.other_tmin_c, both.tmax_c - both.other_tmax_c
        found["tmin less neighbour"] = _series(both.calendar, low, line=False)
        found["tmax less neighbour"] = _series(both.calendar, high, line=False)
    return found


def _series(calendar: Days, values: Floats, *, line: bool) -> Series:
    first_year, means = month_means(calendar, values)
    monthly = departures(means)
    years, yearly_values = yearly(monthly, first_year)
    steps = find_steps(monthly, first_year, line=line, level=LEVEL)
    return Series(years, yearly_values, steps)


def _breaks(series: Mapping[Name, Series]) -> tuple[Break, ...]:
    """Steps of all series, those within three years of a surer one joined to it."""
    found = [(name, step) for name, one in series.items() if one.steps for step in one.steps.found]
    found.sort(key=lambda item: (item[0] not in BESIDE, item[1].p, -item[1].statistic))
    groups: list[list[tuple[Name, Step]]] = []
    for name, step in found:
        near = [group for group in groups if _near(group[0][1].month, step.month)]
        if near:
            near[0].append((name, step))
        else:
            groups.append([(name, step)])
    groups.sort(key=lambda group: group[0][1].month)
    sizes = _sizes(series, [group[0][1].month for group in groups])
    return tuple(
        Break(
            group[0][1].month,
            group[0][1].early,
            group[0][1].late,
            tuple(dict.fromkeys(name for name, _ in group)),
            group[0][1].p,
            sizes[number],
        )
        for number, group in enumerate(groups)
    )


def _sizes(series: Mapping[Name, Series], months: list[np.datetime64]) -> list[dict[Name, Size]]:
    """Sizes of all breaks in every series that reaches a year to either side of them."""
    sizes: list[dict[Name, Size]] = [{} for _ in months]
    for name, one in series.items():
        if one.steps is None:
            continue
        inside = [at for at, month in enumerate(months) if _reaches(one.years, _count(month))]
        line = name in ("tmin", "tmax") or one.steps.line
        found = step_sizes(one.years, one.values, [_count(months[at]) for at in inside], line=line)
        for at, size in zip(inside, found, strict=True):
            sizes[at][name] = size
    return sizes


def _near(one: np.datetime64, other: np.datetime64) -> bool:
    """Whether two months lie within three years of each other."""
    return abs(int((one - other).astype(np.int64))) < 12 * LEAST_YEARS


def _reaches(years: Ints, month: int) -> bool:
    return bool(12 * (years[0] + 1) <= month <= 12 * years[-1])


def _count(month: np.datetime64) -> int:
    """Months since January of year 0."""
    return int(month.astype("datetime64[M]").astype(np.int64)) + 12 * 1970


def _drifts(series: Mapping[Name, Series], breaks: tuple[Break, ...]) -> tuple[Drift, ...]:
    """Trends of the daily range and of the differences, the breaks taken out first."""
    drifts = []
    for name in ("range", *BESIDE):
        one = series.get(name)
        if one is None or one.steps is None:
            continue
        values = one.values
        months = [month for item in breaks if _reaches(one.years, month := _count(item.month))]
        if months:
            shares = np.column_stack([after(one.years, month) for month in months])
            design = np.column_stack([level_and_line(one.years, line=True), shares])
            solution = np.linalg.lstsq(design, values, rcond=None)[0]
            values = values - shares @ solution[2:]
        found = trend(one.years, values)
        step = one.steps.instead
        if step is not None and any(_near(step.month, item.month) for item in breaks):
            step = None
        drifts_far = found is not None and found.p < DRIFT_P and abs(found.slope) > DRIFT_C
        if found is not None and (drifts_far or step is not None):
            drifts.append(Drift(name, found, step))
    return tuple(drifts)
