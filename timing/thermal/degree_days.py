"""Degree days: how far, and for how much of the day, it was warmer than a threshold.

Each method is a shape for the day's temperature between its minimum and its maximum. From the
shape follow two numbers for any threshold: the degree days above it and the share of the day
above it. Every cutoff at the upper threshold is a combination of those two, so a method and a
cutoff are chosen independently.
"""

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from timing.thermal._next_day import next_minimum

_Array = npt.NDArray[np.float64]
_Above = tuple[_Array, _Array]
"""Degree days above a threshold [°·day] and the share of the day above it [0 to 1]."""


def degree_days(
    tmin_c: npt.ArrayLike,
    tmax_c: npt.ArrayLike,
    lower_c: float,
    upper_c: float | None = None,
    *,
    method: str = "single_sine",
    cutoff: str = "horizontal",
) -> _Array:
    """Degree days of each day between a lower and an upper threshold.

    Parameters
    ----------
    tmin_c, tmax_c : arrays (..., days)
        Daily minimum and maximum air temperature [°C]. They must satisfy ``tmin_c <= tmax_c``;
        that is a matter of data quality and is not checked here.
    lower_c : float
        Lower (base) threshold [°C].
    upper_c : float, optional
        Upper threshold [°C]. Without it there is no cutoff.
    method : str
        Shape of the day.

        - ``"average"``: the mean of minimum and maximum, all day;
        - ``"modified_average"``: minimum and maximum are first brought inside the thresholds
          (in the United States known as "50/86" after its thresholds for maize in °F);
        - ``"single_sine"``, ``"single_triangle"``: one curve through minimum and maximum;
        - ``"double_sine"``, ``"double_triangle"``: the second half of the day falls to the next
          day's minimum. On the last day, and before a missing minimum, its own minimum is used.
    cutoff : str
        What heat above the upper threshold is worth.

        - ``"horizontal"``: development goes on at the rate of the upper threshold;
        - ``"intermediate"``: the rate falls again by as much as the temperature rises, but a day
          (half a day in the double methods) is never worth less than under the vertical cutoff;
        - ``"vertical"``: development stops while it is hotter.

    Returns
    -------
    array (..., days)
        Degree days [°C·day per day], never negative. NaN on each day whose minimum or maximum is
        NaN, and on no other day. The functions know no unit: thresholds and temperatures in °F
        give °F·day.

    Raises
    ------
    ValueError
        If the method or cutoff is unknown, a threshold is not finite, the upper threshold is not
        above the lower one, or the two arrays do not broadcast.

    References
    ----------
    McMaster, G. S. & Wilhelm, W. W. (1997). Growing degree-days: one equation, two
    interpretations. Agricultural and Forest Meteorology 87:291-300 (average: method 1; modified
    average: method 2).

    Baskerville, G. L. & Emin, P. (1969). Rapid estimation of heat accumulation from maximum and
    minimum temperatures. Ecology 50:514-517 (single sine).

    Zalom, F. G., Goodell, P. B., Wilson, L. T., Barnett, W. W. & Bentley, W. J. (1983).
    Degree-days: the calculation and use of heat units in pest management. Leaflet 21373,
    University of California, Division of Agriculture and Natural Resources (triangle, double
    methods and cutoffs).

    The floor under the intermediate cutoff is not in those formulas; it is what the University of
    California's published answers show on very hot days.

    Examples
    --------
    >>> degree_days([40.0], [65.0], 50.0).round(2)
    array([5.31])
    >>> degree_days([40.0], [65.0], 50.0, method="average")
    array([2.5])
    """
    if method not in _METHODS:
        raise ValueError(f"unknown degree-day method {method!r}; one of {', '.join(_METHODS)}")
    if cutoff not in _CUTOFFS:
        raise ValueError(f"unknown degree-day cutoff {cutoff!r}; one of {', '.join(_CUTOFFS)}")
    if not math.isfinite(lower_c):
        raise ValueError(f"lower threshold must be finite, got {lower_c}")
    if upper_c is not None and not (math.isfinite(upper_c) and upper_c > lower_c):
        raise ValueError(
            f"upper threshold must be finite and above the lower threshold {lower_c}, got {upper_c}"
        )
    above, two_halves = _METHODS[method]
    tmin, tmax = np.broadcast_arrays(
        np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)
    )

    def between_thresholds(low: _Array, high: _Array) -> _Array:
        total, _ = above(low, high, lower_c)
        if upper_c is not None:
            excess, share = above(low, high, upper_c)
            total = _cut_off(total, excess, (upper_c - lower_c) * share, cutoff)
        return np.maximum(total, 0.0)  # rounding may leave -1e-16

    if not two_halves:
        return between_thresholds(tmin, tmax)
    tomorrow = next_minimum(tmin)
    # A warm front can put the next minimum above today's maximum; the curve then rises.
    second_half = between_thresholds(np.minimum(tomorrow, tmax), np.maximum(tomorrow, tmax))
    return (between_thresholds(tmin, tmax) + second_half) / 2.0


def _cut_off(total: _Array, excess: _Array, span_above: _Array, cutoff: str) -> _Array:
    """Degree days after the cutoff.

    `total` and `excess` are the degree days above the lower and the upper threshold, `span_above`
    the degree days between the thresholds while it is hotter than the upper one.
    """
    horizontal = total - excess
    if cutoff == "horizontal":
        return horizontal
    vertical = horizontal - span_above
    if cutoff == "vertical":
        return vertical
    return np.maximum(horizontal - excess, vertical)


def _average(tmin: _Array, tmax: _Array, threshold: float) -> _Above:
    mean = (tmin + tmax) / 2.0
    return np.maximum(mean - threshold, 0.0), (mean > threshold).astype(np.float64)


def _modified_average(tmin: _Array, tmax: _Array, threshold: float) -> _Above:
    """Half a day at the minimum and half at the maximum: the same as clipping both."""
    excess = (np.maximum(tmin - threshold, 0.0) + np.maximum(tmax - threshold, 0.0)) / 2.0
    share = ((tmin > threshold).astype(np.float64) + (tmax > threshold)) / 2.0
    return excess, share


def _sine(tmin: _Array, tmax: _Array, threshold: float) -> _Above:
    mean = (tmin + tmax) / 2.0
    amplitude = (tmax - tmin) / 2.0
    crossing = np.arcsin(_position(mean, amplitude, threshold))
    excess = ((mean - threshold) * (np.pi / 2.0 - crossing) + amplitude * np.cos(crossing)) / np.pi
    return excess, 0.5 - crossing / np.pi


def _triangle(tmin: _Array, tmax: _Array, threshold: float) -> _Above:
    mean = (tmin + tmax) / 2.0
    amplitude = (tmax - tmin) / 2.0
    share = (1.0 - _position(mean, amplitude, threshold)) / 2.0
    mean_while_above = tmax - amplitude * share
    return share * (mean_while_above - threshold), share


def _position(mean: _Array, amplitude: _Array, threshold: float) -> _Array:
    """Where the threshold lies between minimum (-1) and maximum (+1), clipped to that range.

    A day without amplitude lies wholly above (-1) or wholly at or below the threshold (+1).
    """
    flat = np.where(mean > threshold, -1.0, 1.0)
    within = np.clip(threshold - mean, -amplitude, amplitude)
    return np.divide(within, amplitude, out=flat, where=amplitude > 0.0)


_METHODS: dict[str, tuple[Callable[[_Array, _Array, float], _Above], bool]] = {
    "average": (_average, False),
    "modified_average": (_modified_average, False),
    "single_sine": (_sine, False),
    "single_triangle": (_triangle, False),
    "double_sine": (_sine, True),
    "double_triangle": (_triangle, True),
}
_CUTOFFS = ("horizontal", "intermediate", "vertical")
