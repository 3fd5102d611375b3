"""Spring heat from hourly temperatures."""

import numpy as np
import numpy.typing as npt


def growing_degree_hours(
    hourly_c: npt.ArrayLike,
    base_c: float = 4.0,
    optimum_c: float = 25.0,
    critical_c: float = 36.0,
) -> npt.NDArray[np.float64]:
    """Growing degree hours of each hour on the asymmetric curvilinear response (ASYMCUR).

    Parameters
    ----------
    hourly_c : array, any shape
        Hourly temperature [°C].
    base_c, optimum_c, critical_c : float
        Temperatures below which, at which and above which growth stops, is fastest and stops
        again [°C].

    Returns
    -------
    array of the same shape
        Growing degree hours [°C·h per hour], 0 to ``optimum_c - base_c``; NaN where the
        temperature is NaN.

    Raises
    ------
    ValueError
        If not ``base_c < optimum_c < critical_c``.

    Notes
    -----
    With A = optimum - base and no stress factor:

    - base to optimum:      A / 2 (1 + cos(pi + pi (T - base) / A))
    - optimum to critical:  A (1 + cos(pi / 2 + pi / 2 (T - optimum) / (critical - optimum)))
    - elsewhere:            0

    References
    ----------
    Anderson, J. L., Richardson, E. A. & Kesner, C. D. (1986). Validation of chill unit and flower
    bud phenology models for 'Montmorency' sour cherry. Acta Horticulturae 184:71-78.

    Examples
    --------
    >>> growing_degree_hours([4.0, 10.0, 25.0, 36.0]).round(3)
    array([ 0.   ,  3.953, 21.   ,  0.   ])
    """
    if not base_c < optimum_c < critical_c:
        raise ValueError(
            "growing degree hours need base_c < optimum_c < critical_c, "
            f"got {base_c}, {optimum_c} and {critical_c}"
        )
    hourly = np.asarray(hourly_c, dtype=np.float64)
    span = optimum_c - base_c
    rise = np.clip((hourly - base_c) / span, 0.0, 1.0)
    fall = np.clip((hourly - optimum_c) / (critical_c - optimum_c), 0.0, 1.0)
    warming = span / 2.0 * (1.0 - np.cos(np.pi * rise))
    overheating = span * (1.0 - np.sin(np.pi / 2.0 * fall))
    return np.where(hourly > optimum_c, overheating, warming)
