"""Winter chill from hourly temperatures: chilling hours, Utah units, chill portions.

The three count different things and no factor converts one into another. A requirement is only
meaningful together with the model it was stated in.
"""

import math

import numpy as np
import numpy.typing as npt

ZERO_CELSIUS_K = 273.15

UTAH_BREAKS_C = (1.4, 2.4, 9.1, 12.4, 15.9, 18.0)
"""Upper ends of the Utah temperature bands, each belonging to the band below it [°C]."""
UTAH_UNITS = (0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0)
"""Chill units an hour in each band is worth, from the coldest band up."""

DYNAMIC_E0_K = 4153.5
"""Activation energy of forming the intermediate product, over the gas constant [K]."""
DYNAMIC_E1_K = 12888.8
"""Activation energy of destroying the intermediate product, over the gas constant [K]."""
DYNAMIC_A0_PER_H = 1.395e5
"""Rate constant of forming the intermediate product [1/h]."""
DYNAMIC_A1_PER_H = 2.567e18
"""Rate constant of destroying the intermediate product [1/h]."""
DYNAMIC_SLOPE = 1.6
"""Slope of the sigmoid that fixes the intermediate product as a portion."""
DYNAMIC_TF_K = 277.0
"""Temperature at which half of a full intermediate product is fixed in an hour [K]."""

SIDE_BY_SIDE = 30
"""Series from which stepping them together is quicker than one after the other (measured)."""
HOURS_AT_ONCE = 240
"""Hours of many series whose terms are computed at once: few enough for the processor's cache."""


def chilling_hours(
    hourly_c: npt.ArrayLike, lower_c: float = 0.0, upper_c: float = 7.2
) -> npt.NDArray[np.float64]:
    """Count hours between two temperatures, both included.

    Parameters
    ----------
    hourly_c : array, any shape
        Hourly temperature [°C].
    lower_c, upper_c : float
        The range that chills [°C]. 0 to 7.2 °C (32 to 45 °F) leaves frost out; with
        ``lower_c=-inf`` every hour at or below 7.2 °C counts.

    Returns
    -------
    array of the same shape
        1 where the hour chills, 0 where it does not, NaN where the temperature is NaN.

    Raises
    ------
    ValueError
        If `upper_c` is below `lower_c`, or one of them is NaN.

    References
    ----------
    Weinberger, J. H. (1950). Chilling requirements of peach varieties. Proceedings of the American
    Society for Horticultural Science 56:122-128.

    Examples
    --------
    >>> chilling_hours([-1.0, 0.0, 7.2, 7.3])
    array([0., 1., 1., 0.])
    """
    if not lower_c <= upper_c:
        raise ValueError(f"chilling hours need lower_c <= upper_c, got {lower_c} and {upper_c}")
    hourly = np.asarray(hourly_c, dtype=np.float64)
    counted = ((hourly >= lower_c) & (hourly <= upper_c)).astype(np.float64)
    return np.where(np.isnan(hourly), np.nan, counted)


def utah_units(hourly_c: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Utah chill units of each hour; warm hours count against chill.

    Parameters
    ----------
    hourly_c : array, any shape
        Hourly temperature [°C].

    Returns
    -------
    array of the same shape
        Chill units of each hour, -1 to 1; NaN where the temperature is NaN.

    Notes
    -----
    The bands are the metric ones: up to 1.4 °C 0; to 2.4 °C 0.5; to 9.1 °C 1; to 12.4 °C 0.5; to
    15.9 °C 0; to 18.0 °C -0.5; above -1. The table in °F has its steps at 34, 36, 48, 54, 60 and
    65 °F, which lie 0.2 to 0.4 °C lower (the last 0.3 °C higher). Some programs put the last step
    at 17.9 °C, which matters in records rounded to whole degrees.

    References
    ----------
    Richardson, E. A., Seeley, S. D. & Walker, D. R. (1974). A model for estimating the completion
    of rest for 'Redhaven' and 'Elberta' peach trees. HortScience 9:331-332.

    Examples
    --------
    >>> utah_units([0.0, 2.0, 6.0, 14.0, 20.0])
    array([ 0. ,  0.5,  1. ,  0. , -1. ])
    """
    hourly = np.asarray(hourly_c, dtype=np.float64)
    units = np.asarray(UTAH_UNITS)[np.searchsorted(UTAH_BREAKS_C, hourly, side="left")]
    return np.where(np.isnan(hourly), np.nan, units)


def chill_portions(hourly_c: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Chill portions of the Dynamic model, cumulated from the first hour.

    Cold builds an intermediate product that warmth destroys again; once the product reaches its
    full amount, a share of it that depends on the temperature is fixed as a chill portion for good.

    Parameters
    ----------
    hourly_c : array (..., hours)
        Hourly temperature [°C] from the start of the season on, last axis in time.

    Returns
    -------
    array (..., hours)
        Portions fixed up to and including each hour; never falls. The first hour is the state
        before chill (0). An hour whose temperature is NaN adds nothing and leaves the intermediate
        product as it was; fill gaps first, for a long one loses the chill it hides.

    Raises
    ------
    ValueError
        If `hourly_c` has no time axis (a scalar).

    Notes
    -----
    Kelvin is °C + 273.15. Programs that add 273 differ: -18 % at a constant 0 °C, -2 % at 4 °C,
    +4 % at 12 °C.

    References
    ----------
    Fishman, S., Erez, A. & Couvillon, G. A. (1987). The temperature dependence of dormancy
    breaking in plants: mathematical analysis of a two-step model involving a cooperative
    transition. Journal of Theoretical Biology 124:473-483.

    Erez, A., Fishman, S., Linsley-Noakes, G. C. & Allan, P. (1990). The dynamic model for rest
    completion in peach buds. Acta Horticulturae 276:165-174.

    Luedeling, E., Zhang, M., Luedeling, V. & Girvetz, E. H. (2009). Sensitivity of winter chill
    models for fruit and nut trees to climatic changes expected in California's Central Valley.
    Agriculture, Ecosystems & Environment 133:23-31 (constants).

    Examples
    --------
    >>> chill_portions(np.full(1000, 6.0))[-1].round(3)
    np.float64(34.371)
    """
    hourly = np.asarray(hourly_c, dtype=np.float64)
    if hourly.ndim == 0:
        raise ValueError("chill portions need hours along the last axis, got a single temperature")
    series = hourly.reshape(math.prod(hourly.shape[:-1]), hourly.shape[-1])
    step = _fixed_side_by_side if len(series) >= SIDE_BY_SIDE else _fixed_one_by_one
    return step(series).reshape(hourly.shape)


def _terms(hourly_c: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], ...]:
    """What each hour forms, the share it keeps, and the share it fixes of a full amount."""
    idle = np.isnan(hourly_c)
    kelvin = np.where(idle, DYNAMIC_TF_K, hourly_c + ZERO_CELSIUS_K)
    equilibrium = (DYNAMIC_A0_PER_H / DYNAMIC_A1_PER_H) * np.exp(
        (DYNAMIC_E1_K - DYNAMIC_E0_K) / kelvin
    )
    kept = np.exp(-DYNAMIC_A1_PER_H * np.exp(-DYNAMIC_E1_K / kelvin))
    sigmoid = np.exp(-DYNAMIC_SLOPE * DYNAMIC_TF_K * (kelvin - DYNAMIC_TF_K) / kelvin)
    fixed_share = 1.0 / (1.0 + sigmoid)
    formed = equilibrium * (1.0 - kept)
    kept[idle] = 1.0
    formed[idle] = 0.0
    fixed_share[idle] = 0.0
    return formed, kept, fixed_share


# Each hour depends on the one before it. Few series run one by one in plain Python floats, a
# millisecond or two a season; many run side by side, an hour at a time in NumPy. Both take the same
# steps in the same order and give the same bits.


def _fixed_one_by_one(series: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Portions of each row of hours, cumulated."""
    portions = np.zeros(series.shape)
    series = series.copy()
    series[:, :1] = np.nan  # the first hour is the state before chill
    for fixed, formed, kept, share in zip(portions, *_terms(series), strict=True):
        product = 0.0
        for hour, (gain, remaining) in enumerate(zip(formed.tolist(), kept.tolist(), strict=True)):
            product = product * remaining + gain
            if product >= 1.0:
                portion = product * float(share[hour])
                fixed[hour] = portion
                product -= portion
    return np.cumsum(portions, axis=1)


def _fixed_side_by_side(series: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The same, some days of all rows at a time so that they stay in the processor's cache."""
    by_hour = np.array(series.T, order="C")
    by_hour[:1] = np.nan
    portions = np.zeros_like(by_hour)
    product = np.zeros(len(series))
    for start in range(0, len(by_hour), HOURS_AT_ONCE):
        hours = slice(start, start + HOURS_AT_ONCE)
        for gain, remaining, share, fixed in zip(
            *_terms(by_hour[hours]), portions[hours], strict=True
        ):
            product *= remaining
            product += gain
            np.multiply(product, share, out=fixed, where=product >= 1.0)
            product -= fixed
    return np.cumsum(portions, axis=0).T
