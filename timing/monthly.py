"""Monthly and yearly means of a daily record, as departures from the usual for the month.

Only days with a full pair of readings that were really read count: what was mended for the
models is left out, because a filled gap would hide what is looked for.
"""

from __future__ import annotations

import numpy as np

from timing.season import Days, Floats, Ints

FEWEST_DAYS = 20  # of a month, for its mean to count (our own)
FEWEST_MONTHS = 10  # of a year (our own)


def month_means(calendar: Days, values: Floats) -> tuple[int, Floats]:
    """Mean of every month of whole calendar years.

    Parameters
    ----------
    calendar : array (days,), contiguous dates.
    values : array (days,), NaN where missing.

    Returns
    -------
    first_year : calendar year of the first row.
    means : array (years, 12); NaN where fewer than 20 days of the month were read.
    """
    months = calendar.astype("datetime64[M]").astype(np.int64)
    first = int(months[0]) // 12
    years = int(months[-1]) // 12 - first + 1
    place = months - 12 * first
    known = ~np.isnan(values)
    count = np.bincount(place[known], minlength=12 * years)
    total = np.bincount(place[known], values[known], minlength=12 * years)
    means = np.divide(total, count, out=np.full(12 * years, np.nan), where=count >= FEWEST_DAYS)
    return first + 1970, means.reshape(years, 12)


def departures(means: Floats) -> Floats:
    """Monthly means less the mean of the same month over all years, shape (years, 12)."""
    known = ~np.isnan(means)
    count = known.sum(axis=0)
    total = np.where(known, means, 0.0).sum(axis=0)
    usual: Floats = np.divide(total, count, out=np.full(12, np.nan), where=count > 0)
    return means - usual


def yearly(monthly: Floats, first_year: int) -> tuple[Ints, Floats]:
    """Years with at least ten months, and the mean of their departures.

    Parameters
    ----------
    monthly : array (years, 12), departures of the months.
    first_year : calendar year of the first row.
    """
    known = ~np.isnan(monthly)
    enough = known.sum(axis=1) >= FEWEST_MONTHS
    total = np.where(known, monthly, 0.0).sum(axis=1)
    return first_year + np.flatnonzero(enough), total[enough] / known.sum(axis=1)[enough]
