"""How often the check of a record cries wolf, and how often it finds a step that was put in.

    python tests/step_rates.py        the numbers of docs/check.md and docs/validation.md, 20 min

Made-up monthly series have the spread and the memory of ten real records: monthly departures of
the daily mean 1.65 °C with a lag-1 correlation of 0.2 and yearly swings of 0.4 °C with 0.35; of the
daily range 0.95 °C (0.2) and 0.3 °C (0.45); of the difference to a neighbour 0.5 °C (0.2) and
0.2 °C (0.4). Everything warms by 0.3 °C a decade. Real records get a step on a day of ours.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from sites import REAL, Place, place

from timing.homogeneity import Steps, find_steps
from timing.monthly import departures
from timing.record_check import LEVEL, RecordCheck, check_record
from timing.steps import autoregressive
from timing.temperature import TemperatureRecord, record_from_readings

Floats = NDArray[np.float64]
FIRST = 1950
LONG = [name for name in REAL if name != "whately_2012_2016"]
NEIGHBOURS = (
    ("hubbard_brook_hq_1985_2019", "hubbard_brook_sta1_1985_2019"),
    ("hubbard_brook_sta1_1985_2019", "hubbard_brook_hq_1985_2019"),
    ("hubbard_brook_sta14_1985_2019", "hubbard_brook_sta6_1985_2019"),
    ("hubbard_brook_sta6_1985_2019", "hubbard_brook_hq_1985_2019"),
    ("harvard_forest_1964_2020", "boston_1951_2025"),
    ("washington_dc_1941_2026", "boston_1951_2025"),
)


def noise(
    rng: np.random.Generator, years: int, monthly_c: float, yearly_c: float, yearly_memory: float
) -> Floats:
    """Monthly departures (years, 12) with a memory of months and of years [°C]."""

    def drawn(count: int, memory: float) -> Floats:
        series = autoregressive(rng.standard_normal((1, count)), memory)[0]
        return series * np.sqrt(1 - memory**2)

    months = monthly_c * drawn(12 * years, 0.2).reshape(years, 12)
    return months + yearly_c * drawn(years, yearly_memory)[:, None]


def line(years: int, per_decade: float) -> Floats:
    """A straight line over the months (years, 12) [°C]."""
    return per_decade * np.arange(12 * years).reshape(years, 12) / 120


@dataclass(frozen=True)
class Made:
    """A made-up record: minima, maxima, and their differences to a neighbour (years, 12)."""

    tmin: Floats
    tmax: Floats
    tmin_beside: Floats
    tmax_beside: Floats

    def stepped(self, at: int, tmin_c: float, tmax_c: float) -> Made:
        """The same with a step from month ``at`` on."""

        def add(values: Floats, size: float) -> Floats:
            months = np.arange(values.size).reshape(values.shape)
            return values + size * (months >= at)

        return Made(
            add(self.tmin, tmin_c),
            add(self.tmax, tmax_c),
            add(self.tmin_beside, tmin_c),
            add(self.tmax_beside, tmax_c),
        )

    def found(self, *, beside: bool = False) -> dict[str, Steps]:
        """Steps of every series of the check."""
        series = {"range": (self.tmax - self.tmin, False), "tmin": (self.tmin, True)}
        series["tmax"] = self.tmax, True
        if beside:
            series["tmin_beside"] = self.tmin_beside, False
            series["tmax_beside"] = self.tmax_beside, False
        found = {}
        for name, (monthly, with_line) in series.items():
            steps = find_steps(departures(monthly), FIRST, line=with_line, level=LEVEL)
            assert steps is not None
            found[name] = steps
        return found


def made(rng: np.random.Generator, years: int, *, range_trend: float = 0.0) -> Made:
    """A record without a step; ``range_trend`` widens its daily range a decade [°C]."""
    mean = noise(rng, years, 1.65, 0.4, 0.35) + line(years, 0.3)
    half = (noise(rng, years, 0.95, 0.3, 0.45) + line(years, range_trend)) / 2
    beside = [noise(rng, years, 0.5, 0.2, 0.4) for _ in range(2)]
    return Made(mean - half, mean + half, *beside)


def months_off(found: dict[str, Steps], at: int) -> int | None:
    """Months between a true step and the nearest one found, or None."""
    true = np.datetime64(FIRST - 1970, "Y").astype("datetime64[M]") + at
    steps = [step for one in found.values() for step in one.found]
    return min((abs(int((step.month - true).astype(int))) for step in steps), default=None)


def told(found: dict[str, Steps]) -> bool:
    """Whether anything is told, be it a step or a slow change that may be one."""
    return any(one.found or one.instead is not None for one in found.values())


def flagged(
    years: int, records: int, *, range_trend: float = 0.0, beside: bool = False, seed: int = 1
) -> tuple[float, float]:
    """Share of records without a step in which one is told, and in which anything is told."""
    rng = np.random.default_rng(seed)
    hits = []
    for _ in range(records):
        found = made(rng, years, range_trend=range_trend).found(beside=beside)
        hits.append((any(one.found for one in found.values()), told(found)))
    step, anything = np.mean(hits, axis=0)
    return float(step), float(anything)


def power(
    years: int, records: int, sizes: tuple[float, float], *, beside: bool = False, seed: int = 2
) -> tuple[float, float, float]:
    """Share of records with a step that are told of: within a year of it, of a step, of anything.

    ``sizes`` are those of the step in minima and maxima [°C].
    """
    rng = np.random.default_rng(seed)
    hits = []
    for _ in range(records):
        at = int(rng.integers(12 * years // 5, 12 * years * 4 // 5))
        found = made(rng, years).stepped(at, *sizes).found(beside=beside)
        off = months_off(found, at)
        hits.append((off is not None and off <= 12, off is not None, told(found)))
    near, step, anything = np.mean(hits, axis=0)
    return float(near), float(step), float(anything)


def with_step(spot: Place, since: np.datetime64, sizes: tuple[float, float]) -> TemperatureRecord:
    """A real record with a step of our own; minima stay below maxima."""
    record = spot.record
    later = record.first + np.arange(len(record.state)) >= since
    low, high = record.raw_tmin_c + sizes[0] * later, record.raw_tmax_c + sizes[1] * later
    low = np.where(np.isnan(high), low, np.fmin(low, high))
    days = record.first + np.arange(len(record.state))
    return record_from_readings(days, low, high, source=record.source)


def quiet_middle(check: RecordCheck) -> np.datetime64:
    """First day of the month in the middle of the longest stretch without a step of its own."""
    record = check.record
    ends = [record.first.astype("datetime64[M]"), *(item.month for item in check.breaks)]
    ends.append(record.last.astype("datetime64[M]"))
    first, last = max(pairwise(ends), key=lambda pair: pair[1] - pair[0])
    return (first + (last - first) // 2).astype("datetime64[D]")


def found_in_real(
    name: str, sizes: tuple[float, float], neighbour: str | None = None
) -> Literal["step", "slow change or step", "nothing"]:
    """What is told within a year of a step of our own in a real record."""
    spot = place(name)
    beside = place(neighbour).record if neighbour else None
    since = quiet_middle(check_record(spot.record, spot.site, beside))
    check = check_record(with_step(spot, since, sizes), spot.site, beside)

    def near(month: np.datetime64) -> bool:
        return abs(int((month - since.astype("datetime64[M]")).astype(int))) <= 12

    if any(near(item.month) for item in check.breaks):
        return "step"
    if any(item.step is not None and near(item.step.month) for item in check.drifts):
        return "slow change or step"
    return "nothing"


def order_flagged(years: int, records: int, seed: int = 5) -> float:
    """Share of made-up series of the day order, without a step, in which one is told.

    Their monthly scatter of 0.5 °C and yearly swings of 0.07 °C are those of real records.
    """
    rng = np.random.default_rng(seed)
    hits = 0
    for _ in range(records):
        monthly = departures(noise(rng, years, 0.5, 0.07, 0.2))
        steps = find_steps(monthly, FIRST, line=False, level=LEVEL)
        hits += bool(steps and steps.found)
    return hits / records


def moved_maxima_found(name: str, days: int) -> bool:
    """Whether maxima moved by a day from a month on are told within a year of it, without more."""
    spot = place(name)
    record = spot.record
    since = quiet_middle(check_record(record, spot.site))
    calendar = record.first + np.arange(len(record.state))
    high = np.where(calendar >= since, np.roll(record.raw_tmax_c, days), record.raw_tmax_c)
    low = np.where(np.isnan(high), record.raw_tmin_c, np.fmin(record.raw_tmin_c, high))
    moved = record_from_readings(calendar, low, high, source=record.source)
    month = since.astype("datetime64[M]")
    return any(
        abs(int((item.month - month).astype(int))) <= 12 and "day order" in item.series
        for item in check_record(moved, spot.site).breaks
    )


def main() -> None:
    """Print the numbers of docs/check.md."""
    print("day order, none", [order_flagged(years, 300) for years in (20, 40, 80)])
    trials = [moved_maxima_found(name, days) for name in LONG for days in (1, -1)]
    print("day order, maxima moved a day", sum(trials), "of", len(trials), flush=True)
    for years in (20, 40, 80):
        none, drifting = flagged(years, 300), flagged(years, 300, range_trend=0.2)
        print(years, "none", none, "drifting", drifting, "beside", flagged(years, 300, beside=True))
        for sizes in ((0.5, 0.0), (1.0, 0.0), (2.0, 0.0), (1.0, 1.0)):
            alone, beside = power(years, 150, sizes), power(years, 150, sizes, beside=True)
            print(years, sizes, "alone", alone, "beside a neighbour", beside, flush=True)
    for sizes in ((1.0, 0.0), (-1.0, 0.0), (1.0, 1.0), (2.0, 0.0), (2.0, 2.0)):
        alone = Counter(found_in_real(name, sizes) for name in LONG)
        beside = Counter(found_in_real(one, sizes, other) for one, other in NEIGHBOURS)
        print("real", sizes, alone, "beside a neighbour", beside, flush=True)


if __name__ == "__main__":
    main()
