"""Day length by date and latitude.

The length of the day depends on what is called sunrise. Here it is the moment at which the sun's
upper limb touches a level sea horizon under mean refraction, so that the sun's centre stands
0.833° below the horizon (zenith angle 90.833°). A rule fitted with another definition (sun's
centre on the horizon, civil twilight) needs its threshold restated before it is used with these
hours: at 50° the sun's centre gives 10 to 13 minutes less, civil twilight about an hour more.
"""

import numpy as np
import numpy.typing as npt

SUNRISE_ZENITH_DEG = 90.833
"""Zenith angle of the sun's centre at sunrise and sunset [°]: 90° + 34' refraction + 16' radius."""

_JULIAN_DAY_1970_NOON = 2440588.0
_JULIAN_DAY_J2000 = 2451545.0
_DAYS_PER_JULIAN_CENTURY = 36525.0


def day_length(dates: npt.ArrayLike, latitude: float) -> npt.NDArray[np.float64]:
    """Hours from sunrise to sunset.

    Parameters
    ----------
    dates : array of datetime64[D], any shape
        Calendar days. The sun's declination is taken at 12:00 UTC of each day.
    latitude : float
        Geographic latitude, north positive [°], -90 to 90.

    Returns
    -------
    array of the shape of `dates`
        Day length [h]: 0 in polar night, 24 in polar day, NaN where the date is NaT.

    Raises
    ------
    ValueError
        If the latitude is not finite or outside -90 to 90.

    Notes
    -----
    Within 0.3 minutes of a full ephemeris from the equator to 60° N, 0.4 minutes to 60° S and 1.2
    minutes at 66° N; most of that is the sun's own day differing from 24 hours. Site elevation and
    the height of the real horizon are left out.

    References
    ----------
    Meeus, J. (1998). Astronomical Algorithms, 2nd ed. Willmann-Bell, Richmond, chapter 25, in the
    form of the solar calculation of the NOAA Global Monitoring Laboratory (Solar Calculation
    Details).

    Examples
    --------
    >>> day_length(np.array(["2023-06-21", "2023-12-21"], dtype="datetime64[D]"), 42.5).round(2)
    array([15.3 ,  9.06])
    """
    if not -90.0 <= latitude <= 90.0:  # also false for NaN
        raise ValueError(f"latitude must lie between -90 and 90 degrees, got {latitude}")
    days = np.asarray(dates, dtype="datetime64[D]")
    noon = days.astype(np.int64).astype(np.float64) + _JULIAN_DAY_1970_NOON
    sin_declination = _sin_solar_declination((noon - _JULIAN_DAY_J2000) / _DAYS_PER_JULIAN_CENTURY)
    cos_declination = np.sqrt(1.0 - sin_declination**2)
    phi = np.deg2rad(latitude)
    cos_hour_angle = (np.cos(np.deg2rad(SUNRISE_ZENITH_DEG)) - np.sin(phi) * sin_declination) / (
        np.cos(phi) * cos_declination
    )
    half_day = np.arccos(np.clip(cos_hour_angle, -1.0, 1.0))
    hours = half_day * (24.0 / np.pi)
    return np.where(np.isnat(days), np.nan, hours)


def _sin_solar_declination(t: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Sine of the sun's apparent declination, `t` Julian centuries after 2000-01-01 12:00."""
    mean_longitude = 280.46646 + t * (36000.76983 + t * 0.0003032)
    anomaly = np.deg2rad(357.52911 + t * (35999.05029 - t * 0.0001537))
    equation_of_centre = (
        np.sin(anomaly) * (1.914602 - t * (0.004817 + t * 0.000014))
        + np.sin(2.0 * anomaly) * (0.019993 - t * 0.000101)
        + np.sin(3.0 * anomaly) * 0.000289
    )
    node = np.deg2rad(125.04 - 1934.136 * t)
    apparent_longitude = np.deg2rad(
        mean_longitude + equation_of_centre - 0.00569 - 0.00478 * np.sin(node)
    )
    arc_seconds = 21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))
    obliquity = np.deg2rad(23.0 + (26.0 + arc_seconds / 60.0) / 60.0 + 0.00256 * np.cos(node))
    sine: npt.NDArray[np.float64] = np.sin(obliquity) * np.sin(apparent_longitude)
    return sine
