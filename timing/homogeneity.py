"""Steps of a monthly series: how many, when, how large.

trend       a series that may have no trend of its own (a difference of two) is tested as it stands.
            A step found there must also explain it better than a line with the same noise would let
            it seem; otherwise the line is taken out and the test begins anew.
more steps  one at a time, or two that only show together, those already found taken out of series
            and simulations; no stretch between them is shorter than three years.
parts       where that tells of none, between the steps and in stretches of thirty years, the chance
            divided among them: many steps up and down look like memory from afar (our own).
date, size  `timing.step_dates`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from timing.monthly import yearly
from timing.season import Floats, Ints
from timing.step_dates import step_dates, step_sizes
from timing.steps import (
    LEAST_YEARS,
    Verdict,
    beats_line,
    level_and_line,
    strongest_steps,
    unit_steps,
    without,
)

FEWEST_YEARS = 10  # of a series, to be tested at all (our own)
PART_YEARS = 30
MOST_STEPS = 12


@dataclass(frozen=True)
class Step:
    """A step in one series.

    Parameters
    ----------
    month : first month after it.
    early, late : first and last month it may be.
    size, error : change across it and its standard error [units of the series].
    statistic, p : Alexandersson's T and its chance without a step, or those of the pair where it
        only shows with another.
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
    p : chance of the strongest step, and of the strongest pair, of the series at its beginning.
    instead : a step that a line explains about as well, or None.
    """

    years: Ints
    values: Floats
    found: tuple[Step, ...]
    line: bool
    memory: float
    p: tuple[float, float]
    instead: Step | None


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
    search = _Search(years, values, line, level)
    search.run()
    steps = _described(monthly, first_year, search.found, line=search.line)
    instead = {} if search.found else search.instead
    described = _described(monthly, first_year, instead, line=False)
    return Steps(
        years,
        values,
        steps,
        search.line,
        search.first.memory,
        search.first.p,
        described[0] if described else None,
    )


def _described(
    monthly: Floats, first_year: int, found: dict[int, tuple[float, float]], *, line: bool
) -> tuple[Step, ...]:
    """Dates and sizes of steps, in the order of time."""
    years, values = yearly(monthly, first_year)
    order = sorted(found)
    months = [12 * int(years[at]) for at in order]
    dates = step_dates(monthly.ravel(), 12 * first_year, months, line=line)
    sizes = step_sizes(years, values, [date[0] for date in dates], line=line)
    return tuple(
        Step(_month(month), _month(early), _month(late), size, error, *found[at])
        for at, (month, early, late), (size, error) in zip(order, dates, sizes, strict=True)
    )


class _Search:
    """The steps of one yearly series.

    ``found`` is index of the first year → T and chance; ``instead`` the same of a step that a line
    explains as well.
    """

    def __init__(self, years: Ints, values: Floats, line: bool, level: float) -> None:
        self.years, self.values, self.level = years, values, level
        self.cuts = np.arange(LEAST_YEARS, len(years) - LEAST_YEARS + 1)
        self.found: dict[int, tuple[float, float]] = {}
        self.line, self.first, plain = _begun(years, values, line, level)
        alone = plain is not self.first and _passes(plain, level) == 1
        told = plain.statistic[0], plain.p[0]
        self.instead = {plain.at[0]: told} if alone else {}

    def run(self) -> None:
        """Find every step: of the whole, and where that tells of none, of its parts."""
        verdict = self.first
        while True:
            count = _passes(verdict, self.level)
            if count:
                told = verdict.statistic[count - 1], verdict.p[count - 1]
                self.found |= dict.fromkeys(verdict.at[:count], told)
                self._settle()
            elif not self._in_parts():
                return
            free = _apart(self.cuts, list(self.found))
            if free.size == 0 or len(self.found) >= MOST_STEPS:
                return
            base = _base(self.years, list(self.found), self.line)
            verdict = strongest_steps(self.years, self.values, base, free)

    def _in_parts(self) -> bool:
        """Look between the steps and in stretches of thirty years; whether any was found."""
        parts = self._parts()
        more: dict[int, tuple[float, float]] = {}
        for first, stop in parts:
            years, values = self.years[first:stop], self.values[first:stop]
            level = self.level / len(parts)
            _, verdict, _ = _begun(years, values, self.line, level)
            count = _passes(verdict, level)
            for at in verdict.at[:count]:
                p = min(len(parts) * verdict.p[count - 1], 1.0)
                told = verdict.statistic[count - 1], p
                if _apart(np.array([first + at]), [*self.found, *more]).size:
                    more[first + at] = told
        self.found |= more
        if more:
            self._settle()
        return bool(more)

    def _parts(self) -> list[tuple[int, int]]:
        ends = [0, *sorted(self.found), len(self.years)]
        parts = []
        for first, stop in pairwise(ends):
            if stop - first > PART_YEARS + PART_YEARS // 2:
                begins = range(first, stop - PART_YEARS // 2, PART_YEARS // 2)
                parts += [(begin, min(begin + PART_YEARS, stop)) for begin in begins]
            elif self.found and stop - first >= FEWEST_YEARS:
                parts.append((first, stop))
        return parts

    def _settle(self) -> None:
        """Move each step to where it explains most beside the others."""
        for at in list(self.found) if len(self.found) > 1 else []:
            told = self.found.pop(at)
            others = list(self.found)
            base = _base(self.years, others, self.line)
            steps = unit_steps(len(self.years), base, free := _apart(self.cuts, others))
            gain = (steps @ without(self.values[None, :], base)[0]) ** 2
            self.found[int(free[int(np.argmax(gain))])] = told


def _begun(years: Ints, values: Floats, line: bool, level: float) -> tuple[bool, Verdict, Verdict]:
    """Whether a line is taken out, the strongest steps then, and those of the series as it is."""
    cuts = np.arange(LEAST_YEARS, len(years) - LEAST_YEARS + 1)
    plain = strongest_steps(years, values, level_and_line(years, line=line), cuts)
    count = _passes(plain, level)
    if line or not count or beats_line(years, values, cuts, count) < level:
        return line, plain, plain
    return True, strongest_steps(years, values, level_and_line(years, line=True), cuts), plain


def _passes(verdict: Verdict, level: float) -> int:
    """How many steps a verdict tells of: one, two where only the pair stands out, or none."""
    return 1 if verdict.p[0] < level else 2 if verdict.p[1] < level else 0


def _base(years: Ints, steps: list[int], line: bool) -> Floats:
    after_steps = (np.arange(len(years))[:, None] >= np.array(steps, dtype=int)).astype(float)
    return np.column_stack([level_and_line(years, line=line), after_steps])


def _apart(cuts: Ints, steps: list[int]) -> Ints:
    """Cuts at least three years from every step."""
    away = np.abs(cuts[:, None] - np.array(steps, dtype=int)) >= LEAST_YEARS
    apart: Ints = cuts[away.all(axis=1)]
    return apart


def _month(number: int) -> np.datetime64:
    return np.datetime64(number - 12 * 1970, "M")
