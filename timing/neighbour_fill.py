"""Readings of a neighbouring place brought to the level of a site, to fill its gaps.

How much warmer or colder the site is, is taken from the days both places read: the mean difference
of each calendar month, minima and maxima apart. Sixty days in common of every month are asked for
(our own): with differences that scatter by 2 °C from day to day and half forget the day before,
the mean of sixty is known to within about half a degree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.errors import DataError
from timing.plain_text import signed_tenths
from timing.season import Days, Floats, Ints

FEWEST_COMMON_DAYS = 60  # of every calendar month


@dataclass(frozen=True, eq=False)
class MonthlyOffsets:
    """How much warmer a site is than its neighbour.

    Parameters
    ----------
    tmin_c, tmax_c : arrays (12,), by calendar month, January first [°C].
    days : days both places read.
    """

    tmin_c: Floats
    tmax_c: Floats
    days: int

    def text(self) -> str:
        """Their ranges, in words."""
        parts = (
            f"{name} {signed_tenths(values.min())} to {signed_tenths(values.max())} °C"
            for name, values in (("minima", self.tmin_c), ("maxima", self.tmax_c))
        )
        return f"{', '.join(parts)} by month, from {self.days} days in common"


def monthly_offsets(
    calendar: Days,
    own: tuple[Floats, Floats],
    other: tuple[Floats, Floats],
    *,
    source: str,
) -> MonthlyOffsets:
    """Mean difference of each calendar month over the days both places read.

    Parameters
    ----------
    calendar : array (days,), dates.
    own, other : minima and maxima of the site and of the neighbour, arrays (days,), NaN where
        missing [°C].
    source : the neighbour's name, for messages.

    Raises
    ------
    DataError : some month has fewer than sixty days in common.
    """
    month = month_of(calendar)
    found = []
    fewest, where = len(calendar), 0
    for here, there in zip(own, other, strict=True):
        difference = here - there
        known = ~np.isnan(difference)
        count = np.bincount(month[known], minlength=12)
        if count.min() < fewest:
            fewest, where = int(count.min()), int(count.argmin())
        total = np.bincount(month[known], difference[known], minlength=12)
        found.append(total / np.maximum(count, 1))
    if fewest < FEWEST_COMMON_DAYS:
        name = MONTH_NAMES[where]
        raise DataError(
            f"{source}: {fewest} {'day' if fewest == 1 else 'days'} of {name} in common, where "
            f"{FEWEST_COMMON_DAYS} of every month are needed to tell how much warmer or colder "
            "the neighbouring place is; give a neighbour that was read in the same years"
        )
    both = ~np.isnan(own[0] - other[0]) & ~np.isnan(own[1] - other[1])
    return MonthlyOffsets(found[0], found[1], int(both.sum()))


def month_of(calendar: Days) -> Ints:
    """Calendar month of each date, 0 to 11."""
    month: Ints = calendar.astype("datetime64[M]").astype(np.int64) % 12
    return month


MONTH_NAMES = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
