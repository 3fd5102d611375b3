"""The minimum a day's second half cools towards."""

import numpy as np
import numpy.typing as npt


def next_minimum(tmin: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the following day's minimum along the last axis, same shape and unit as `tmin`.

    Where tomorrow's minimum is not known (the last day, a single day, or NaN) the day's own
    minimum stands in.
    """
    following = tmin.copy()
    if tmin.ndim:
        following[..., :-1] = tmin[..., 1:]
    return np.where(np.isnan(following), tmin, following)
