"""Which maximum a minimum goes with: that of the day before, or that of its own day.

Where the hour of reading changes, or readings are written to another day, means may stay nearly as
they were while this turns round. It is told from days on which the minimum rose or fell: had the
maximum done so the day before, or does it on the same day? Differences from day to day leave slow
changes and offsets out. Of three such measures tried on eleven real records it told of the fewest
steps nobody knows a reason for (our own).
"""

from __future__ import annotations

import numpy as np

from timing.season import Floats

MOST_C = 15.0  # of a difference, so that no single day rules a month


def day_order(tmin_c: Floats, tmax_c: Floats) -> Floats:
    """How much more the maximum before a change of the minimum moved with it than the one after.

    Parameters
    ----------
    tmin_c, tmax_c : arrays (days,), contiguous days, NaN where missing [°C].

    Returns
    -------
    array (days,) : for each day, half of the difference, positive where minima follow the maxima
        of the day before; NaN where a reading of it or its neighbours is missing [°C].
    """
    nothing = [np.nan]
    rise = np.diff(tmin_c, append=nothing)
    before = np.diff(tmax_c, prepend=nothing)
    beside = np.diff(tmax_c, append=nothing)
    order: Floats = np.sign(rise) * np.clip(before - beside, -MOST_C, MOST_C) / 2
    return order
