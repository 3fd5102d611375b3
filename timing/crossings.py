"""When a daily series reaches something: running sums, conditions and running means."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from timing.season import Floats


def reach(sums: Floats, targets: Floats) -> Floats:
    """First column at which each row of running sums reaches its targets.

    Parameters
    ----------
    sums : array (rows, columns), non-decreasing along a row, NaN from some column on allowed.
    targets : array (rows, k).

    Returns
    -------
    array (rows, k); NaN where a target is NaN or never reached.
    """
    if targets.shape[1] == 1:
        above = sums >= targets  # nowhere where one of them is NaN
        first = above.argmax(axis=1)
        once: Floats = np.where(above[np.arange(len(sums)), first], first, np.nan)[:, None]
        return once
    index = np.empty(targets.shape, dtype=np.int64)
    for row, (along, wanted) in enumerate(zip(sums, targets, strict=True)):
        index[row] = along.searchsorted(wanted)  # NaN sorts last
    found: Floats = index.astype(float)
    unknown = np.isnan(sums)
    lengths = np.where(unknown[:, -1], unknown.argmax(axis=1), sums.shape[1])[:, None]
    found[(index >= lengths) | np.isnan(targets)] = np.nan
    return found


def first_from(condition: NDArray[np.bool_], start: Floats) -> Floats:
    """First column at or after ``start`` (rows, k) where a row's condition holds, else NaN."""
    columns = condition.shape[1]
    upcoming = np.where(condition, np.arange(columns), columns)
    upcoming = np.minimum.accumulate(upcoming[:, ::-1], axis=1)[:, ::-1]
    never = np.isnan(start)
    index = np.clip(np.where(never, columns, np.ceil(start)), 0, columns - 1).astype(np.int64)
    found = upcoming[np.arange(len(upcoming))[:, None], index].astype(float)
    found[(found >= columns) | never | (start > columns - 1)] = np.nan
    return found


def running_mean(values: Floats, days: int) -> Floats:
    """Mean of each day and the ``days − 1`` before it; NaN until that many are known."""
    total = np.cumsum(np.concatenate((np.zeros((len(values), 1)), values), axis=1), axis=1)
    mean = np.full(values.shape, np.nan)
    mean[:, days - 1 :] = (total[:, days:] - total[:, :-days]) / days
    return mean


def sum_at(sums: Floats, day: Floats) -> Floats:
    """Running sums at offsets (seasons, k); NaN where there is no day."""
    never = np.isnan(day)
    index = np.clip(np.where(never, 0.0, day).round(), 0, sums.shape[1] - 1).astype(np.int64)
    value: Floats = sums[np.arange(len(sums))[:, None], index]
    value[never] = np.nan
    return value
