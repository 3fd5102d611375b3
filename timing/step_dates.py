"""When a step happened to the month, and how large it is.

date    the month at which a step explains the monthly series best, within two years of the yearly
        step. Its range holds the months that explain it nearly as well; how nearly was set by
        simulation, so that it holds nine true dates in ten.
size    regression of the yearly means on all steps at once, beside a line where the series has one;
        the error allows for autocorrelation.
"""

from __future__ import annotations

import numpy as np

from timing.season import Floats, Ints
from timing.steps import MEMORIES, lag_one, level_and_line, without

SEARCH_MONTHS = 24  # either side of the first January after the yearly step
EDGE_MONTHS = 12  # to either end and to other steps
NEARLY = 9.0  # fall of twice the log likelihood within the range


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


def step_dates(
    monthly: Floats, origin: int, januaries: list[int], *, line: bool
) -> list[tuple[int, int, int]]:
    """First month after each step, and the first and last month it may be.

    Months are counted from January of year 0.

    Parameters
    ----------
    monthly : array (months,), departures, NaN where missing.
    origin : month of the first.
    januaries : first January after each step, as the yearly series has it.
    line : whether the series has a line of its own beside them.
    """
    known = np.flatnonzero(~np.isnan(monthly))
    months, values = origin + known, monthly[known]
    at = list(januaries)
    ranges = [(month, month) for month in at]
    for _ in range(2 if len(at) > 1 else 1):
        for number, start in enumerate(januaries):
            others = [month for other, month in enumerate(at) if other != number]
            near = (np.abs(months - start) <= SEARCH_MONTHS) & (months - months[0] >= EDGE_MONTHS)
            near &= months[-1] - months >= EDGE_MONTHS
            for month in others:
                near &= np.abs(months - month) >= EDGE_MONTHS
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
