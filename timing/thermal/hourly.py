"""Hourly temperatures rebuilt from daily minima and maxima."""

import numpy as np
import numpy.typing as npt

from timing.thermal._next_day import next_minimum

HOURS_PER_DAY = 24
SHORTEST_DAY_H = 4.0
"""Below four hours the day's sine would end before it reached the maximum [h]."""
LONGEST_DAY_H = 23.0
"""Above 23 hours no night hour is left for the logarithm to fall in [h]."""


def hourly_temperatures(
    tmin_c: npt.ArrayLike, tmax_c: npt.ArrayLike, day_length_h: npt.ArrayLike
) -> npt.NDArray[np.float64]:
    """Temperature at 0, 1, ... 23 hours after each day's sunrise.

    By day the temperature follows a sine from the minimum at sunrise to the maximum about two
    hours after the middle of the day; after sunset it falls with the logarithm of time towards
    the next day's minimum.

    Parameters
    ----------
    tmin_c, tmax_c : arrays (..., days)
        Daily minimum and maximum air temperature [°C], ``tmin_c <= tmax_c``.
    day_length_h : array that broadcasts to (..., days)
        Hours from sunrise to sunset [h]. Values outside 4 to 23 are brought into that range, so
        polar night (0) and polar day (24) give a curve with a short day or a short night. The
        model was not made for them.

    Returns
    -------
    array (..., days, 24)
        Temperature [°C] on each whole hour after sunrise. All 24 hours are NaN where the day's
        minimum, maximum or day length is NaN. Where tomorrow's minimum is not known (the last day,
        or NaN) the night falls to the day's own minimum.

    Raises
    ------
    ValueError
        If the arrays do not broadcast.

    Notes
    -----
    With t hours after sunrise, D day length, Tn and Tx minimum and maximum, Tn' the next minimum:

    - t <= D:  T = Tn + (Tx - Tn) sin(pi t / (D + 4))
    - t > D:   T = Ts - (Ts - Tn') ln(t - D + 1) / ln(24 - D + 1), Ts the day curve at t = D

    The hour added inside both logarithms starts the fall at sunset itself and brings it to Tn' at
    the next sunrise. Hours are counted from sunrise; they are not clock hours, which does not
    matter to sums over whole days.

    References
    ----------
    Linvill, D. E. (1990). Calculating chilling hours and chill units from daily maximum and
    minimum temperature observations. HortScience 25:14-16.

    Examples
    --------
    >>> hourly_temperatures([2.0], [14.0], 12.0)[0, [0, 6, 8, 12]].round(1)
    array([ 2. , 13.1, 14. , 10.5])
    """
    tmin, tmax, day_h = np.broadcast_arrays(
        np.asarray(tmin_c, dtype=np.float64),
        np.asarray(tmax_c, dtype=np.float64),
        np.clip(np.asarray(day_length_h, dtype=np.float64), SHORTEST_DAY_H, LONGEST_DAY_H),
    )
    return _curve(
        np.arange(HOURS_PER_DAY, dtype=np.float64),
        tmin[..., np.newaxis],
        tmax[..., np.newaxis],
        next_minimum(tmin)[..., np.newaxis],
        day_h[..., np.newaxis],
    )


def _curve(
    hour: npt.NDArray[np.float64],
    tmin: npt.NDArray[np.float64],
    tmax: npt.NDArray[np.float64],
    tmin_next: npt.NDArray[np.float64],
    day_h: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Day curve up to sunset, and from there the night curve."""
    daylight = np.minimum(hour, day_h)
    curve = tmin + (tmax - tmin) * np.sin(np.pi * daylight / (day_h + 4.0))
    night = np.log(hour - daylight + 1.0) / np.log(HOURS_PER_DAY - day_h + 1.0)
    # Through the day `night` is 0; after sunset `curve` stays at the sunset temperature.
    temperature: npt.NDArray[np.float64] = curve - (curve - tmin_next) * night
    return temperature
