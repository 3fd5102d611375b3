"""Steps of a monthly series: how many, when, how large.

trend       a series that may have no trend of its own (a difference of two) is tested as it stands.
            A step found there must also explain it better than a line with the same noise would let
            it seem; otherwise the line is taken out and the test begins anew.
more steps  one at a time, those already found taken out of series and simulations; no stretch
            between them is shorter than three years.
date        the month at which a step explains the monthly series best, within two years of the
            yearly one. Its range holds the months that explain it nearly as well.
size        regression of the yearly means on all steps at once, beside a line where one was taken
            out; the error allows for autocorrelation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.monthly import yearly
from timing.season import Floats, Ints
from timing.steps import (
    MEMORIES,
    Verdict,
    beats_line,
    lag_one,
    level_and_line,
    strongest_step,
    without,
)

LEAST_YEARS = 3  # between steps, and to either end
FEWEST_YEARS = 10  # of a series, to be tested at all (our own)
MOST_STEPS = 8
SEARCH_MONTHS = 24  # either side of the first January after the yearly step
NEARLY = 4.0  # fall of twice the log likelihood within the range of a date; docs/method.md


@dataclass(frozen=True)
class Step:
    """A step in one series.

    Parameters
    ----------
    month : first month after it.
    early, late : first and last month it may be.
    size, error : change across it and its standard error [units of the series].
    statistic : Alexandersson's T.
    p : chance of so large a T without a step.
    """

    month: np.datetime64
    early: np.datetime64
    late: np.datetime64
    size: float
    error: float
    statistic: float
    p: float


@dataclass(frozen=True)
class Steps:
    """What the test says of one series.

    Parameters
    ----------
    years, values : arrays (n,), the yearly series.
    found : its steps in the order of time.
    line : a line was taken out before them.
    memory : lag-1 autocorrelation that was simulated.
    p : chance of the largest T of the series as it was last begun.
    """

    years: Ints
    values: Floats
    found: tuple[Step, ...]
    line: bool
    memory: float
    p: float


def find_steps(monthly: Floats, first_year: int, *, line: bool, level: float) -> Steps | None:
    """Steps of a monthly series, or None with fewer than ten years.

    Parameters
    ----------
    monthly : array (years, 12), departures of the months, NaN where missing.
    first_year : calendar year of the first row.
    line : take a line out from the beginning.
    level : chance below which a step is told.
    """
    years, values = yearly(monthly, first_year)
    if len(years) < FEWEST_YEARS:
        return None
    cuts = np.arange(LEAST_YEARS, len(years) - LEAST_YEARS + 1)
    first = strongest_step(years, values, level_and_line(years, line=line), cuts)
    if not line and first.p < level and beats_line(years, values, cuts) >= level:
        line = True
        first = strongest_step(years, values, level_and_line(years, line=True), cuts)
    found: dict[int, Verdict] = {}
    verdict = first
    while verdict.p < level and len(found) < MOST_STEPS:
        found[verdict.at] = verdict
        places = np.array(list(found))
        free = cuts[(np.abs(cuts[:, None] - places) >= LEAST_YEARS).all(axis=1)]
        if free.size == 0:
            break
        earlier = (np.arange(len(years))[:, None] >= places).astype(float)
        base = np.column_stack([level_and_line(years, line=line), earlier])
        verdict = strongest_step(years, values, base, free)
    order = sorted(found)
    dates = _dates(monthly.ravel(), 12 * first_year, [12 * int(years[at]) for at in order], line)
    sizes = step_sizes(years, values, [date[0] for date in dates], line=line)
    steps = tuple(
        Step(
            _month(month),
            _month(early),
            _month(late),
            size,
            error,
            found[at].statistic,
            found[at].p,
        )
        for at, (month, early, late), (size, error) in zip(order, dates, sizes, strict=True)
    )
    return Steps(years, values, steps, line, first.memory, first.p)


def step_sizes(
    years: Ints, values: Floats, months: list[int], *, line: bool
) -> list[tuple[float, float]]:
    """Size and standard error of steps at known months, in the order of ``months``.

    Parameters
    ----------
    years, values : arrays (n,), yearly means.
    months : first months after the steps, counted from January of year 0.
    line : whether the series has a line of its own beside them.
    """
    if not months:
        return []
    shares = [after(years, month) for month in months]
    design = np.column_stack([level_and_line(years, line=line), *shares])
    inverse = np.linalg.pinv(design.T @ design)
    solution = inverse @ design.T @ values
    left = values - design @ solution
    memory = float(np.clip(lag_one(years, left[None, :])[0], 0.0, MEMORIES[-1]))
    alike = memory ** np.abs(years[:, None] - years)
    freedom = max(len(years) - design.shape[1], 1)
    spread = inverse @ design.T @ alike @ design @ inverse * float(left @ left) / freedom
    errors = np.sqrt(np.maximum(np.diag(spread), 0.0))
    count = len(months)
    return list(zip(solution[-count:].tolist(), errors[-count:].tolist(), strict=True))


def after(years: Ints, month: int) -> Floats:
    """Share of each year that lies after the first month of a step, months from year 0."""
    share: Floats = np.clip((12 * years + 12 - month) / 12, 0.0, 1.0)
    return share


def _dates(
    monthly: Floats, origin: int, januaries: list[int], line: bool
) -> list[tuple[int, int, int]]:
    """First month after each step and its range, counted from January of year 0."""
    known = np.flatnonzero(~np.isnan(monthly))
    months, values = origin + known, monthly[known]
    at = list(januaries)
    ranges = [(month, month) for month in at]
    for _ in range(2 if len(at) > 1 else 1):
        for number, start in enumerate(januaries):
            others = [month for other, month in enumerate(at) if other != number]
            near = (np.abs(months - start) <= SEARCH_MONTHS) & (months - months[0] >= 12)
            near &= months[-1] - months >= 12
            for month in others:
                near &= np.abs(months - month) >= 12
            if near.any():
                at[number], *ends = _date(months, values, months[near], others, line)
                ranges[number] = ends[0], ends[1]
    return [(month, *ends) for month, ends in zip(at, ranges, strict=True)]


def _date(
    months: Ints, values: Floats, candidates: Ints, others: list[int], line: bool
) -> tuple[int, int, int]:
    base = np.column_stack(
        [level_and_line(months, line=line), *((months >= m).astype(float) for m in others)]
    )
    steps = without((months[:, None] >= candidates).astype(float).T, base)
    left = without(values[None, :], base)[0]
    length = np.linalg.norm(steps, axis=1)
    length = np.where(length > 1e-9, length, np.inf)
    explained = (steps @ left / length) ** 2
    rest = np.maximum(float(left @ left) - explained, 1e-12)
    best = int(np.argmin(rest))
    step = steps[best] / length[best]
    memory = float(np.clip(lag_one(months, (left - (left @ step) * step)[None, :])[0], 0.0, 0.9))
    count = len(months) * (1 - memory) / (1 + memory)
    close = candidates[count * np.log(rest / rest[best]) <= NEARLY]
    before = months[months < close[0]]
    early = int(before[-1]) + 1 if before.size else int(close[0])
    return int(candidates[best]), early, int(close[-1])


def _month(number: int) -> np.datetime64:
    return np.datetime64(number - 12 * 1970, "M")
