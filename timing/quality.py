"""Checks on raw daily readings before anything is computed from them.

A reading that cannot be true is set aside and counted; a record in another unit or with its
columns mixed up is refused, because guessing would move every date.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError
from timing.season import Days, Floats

HOTTEST_C, COLDEST_C = 60.0, -75.0  # outside the range ever measured near the ground
MISSING_CODES = (-9999.0, -999.9, -999.0, -99.9, 99.9, 999.0, 999.9, 9999.0)
UNIT_SHARE = 0.01  # share of maxima above 60 that betrays another unit
SWAPPED_SHARE = 0.01  # share of days with minimum above maximum that is refused
STUCK_DAYS = 7  # identical pairs in a row; real records hold four at most
IMPOSSIBLE_SD, IMPOSSIBLE_C = 8.0, 25.0  # distance from the usual for the month
UNLIKELY_SD, UNLIKELY_C = 5.0, 15.0


@dataclass(frozen=True)
class Finding:
    """One thing the checks found: its kind, how many days it touches, and a sentence."""

    kind: str
    days: int
    text: str


def screen(
    calendar: Days, tmin_c: Floats, tmax_c: Floats, *, source: str
) -> tuple[Floats, Floats, tuple[Finding, ...]]:
    """Set impossible readings to NaN and say what was found.

    Parameters
    ----------
    calendar : array (days,), contiguous dates.
    tmin_c, tmax_c : arrays (days,), NaN where missing [°C].
    source : name used in messages.

    Returns
    -------
    tmin_c, tmax_c : screened copies.
    findings : in the order the checks ran.

    Raises
    ------
    DataError : unit other than °C, or minimum above maximum on more than 1 % of days.
    """
    _refuse_other_units(tmax_c, source)
    tmin, tmax = tmin_c.copy(), tmax_c.copy()
    findings: list[Finding] = []

    blank = np.isnan(tmin) | np.isnan(tmax)
    if blank.any():
        findings.append(
            Finding("missing", int(blank.sum()), f"{_days(blank)} without a full pair of readings")
        )
    for name, values in (("minimum", tmin), ("maximum", tmax)):
        impossible, unlikely = _odd_values(calendar, values)
        if impossible.any():
            findings.append(
                Finding(
                    "impossible",
                    int(impossible.sum()),
                    f"{_days(impossible)} set aside: a {name} that cannot be true "
                    f"({_example(calendar, values, impossible)})",
                )
            )
        if unlikely.any():
            findings.append(
                Finding(
                    "unlikely",
                    int(unlikely.sum()),
                    f"{_days(unlikely)} kept but worth a look: a {name} far from the usual "
                    f"({_example(calendar, values, unlikely)})",
                )
            )
        values[impossible] = np.nan

    crossed = tmin > tmax
    pairs = int(np.count_nonzero(~(np.isnan(tmin) | np.isnan(tmax))))
    if crossed.any():
        day = calendar[int(np.argmax(crossed))]
        if crossed.sum() > SWAPPED_SHARE * pairs:
            raise DataError(
                f"{source}: the minimum is above the maximum on {_days(crossed)} of {pairs} "
                f"(first on {day}); check that the columns are not swapped"
            )
        findings.append(
            Finding(
                "crossed",
                int(crossed.sum()),
                f"{_days(crossed)} set aside: minimum above maximum (first on {day})",
            )
        )
        tmin[crossed] = tmax[crossed] = np.nan

    stuck = _stuck(tmin, tmax)
    if stuck.any():
        day = calendar[int(np.argmax(stuck))]
        if stuck.sum() > pairs // 5:
            findings.append(
                Finding("constant", int(stuck.sum()), "most of the record repeats the same values")
            )
        else:
            findings.append(
                Finding(
                    "stuck",
                    int(stuck.sum()),
                    f"{_days(stuck)} set aside: the same pair of readings {STUCK_DAYS} days or "
                    f"more in a row (first on {day})",
                )
            )
            tmin[stuck] = tmax[stuck] = np.nan
    return tmin, tmax, tuple(findings)


def _refuse_other_units(tmax: Floats, source: str) -> None:
    known = tmax[~np.isnan(tmax)]
    if known.size == 0:
        raise DataError(f"{source}: no day has a maximum temperature; the file holds no readings")
    for code in MISSING_CODES:
        if float(np.mean(known == code)) > UNIT_SHARE:
            raise DataError(
                f"{source}: the maximum is {code:g} on {_days(tmax == code)}, which looks like a "
                "code for a missing reading; leave those cells blank"
            )
    above = float(np.mean(known > HOTTEST_C))
    if above <= UNIT_SHARE:
        return
    top = float(np.quantile(known, 0.99))
    if float(np.min(known)) > 200:
        unit = "kelvin"
    elif top <= 140:
        unit = "°F"
    else:
        unit = "tenths of °C"
    raise DataError(
        f"{source}: maxima reach {top:.0f} (column tmax_c), which looks like {unit}; "
        "convert the readings to °C"
    )


def _odd_values(calendar: Days, values: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Readings that cannot be true, and readings far from the usual for their month."""
    impossible = (values > HOTTEST_C) | (values < COLDEST_C)
    unlikely = np.zeros(len(values), dtype=bool)
    month = calendar.astype("datetime64[M]").astype(np.int64) % 12
    for number in range(12):
        here = (month == number) & ~np.isnan(values) & ~impossible
        if np.count_nonzero(here) < 60:
            continue
        usual = float(np.median(values[here]))
        distance = np.abs(values - usual)
        spread = 1.4826 * float(np.median(distance[here]))
        here &= distance > UNLIKELY_SD * spread
        wild = here & (distance > max(IMPOSSIBLE_SD * spread, IMPOSSIBLE_C))
        impossible |= wild
        unlikely |= here & ~wild & (distance > UNLIKELY_C)
    return impossible, unlikely


def _stuck(tmin: Floats, tmax: Floats) -> NDArray[np.bool_]:
    """Days inside a run of identical pairs of at least `STUCK_DAYS`."""
    same = (np.diff(tmin) == 0) & (np.diff(tmax) == 0)
    stuck = np.zeros(len(tmin), dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    for start, stop in edges.reshape(-1, 2):
        if stop - start + 1 >= STUCK_DAYS:
            stuck[start : stop + 1] = True
    return stuck


def _days(mask: NDArray[np.bool_]) -> str:
    count = int(np.count_nonzero(mask))
    return "1 day" if count == 1 else f"{count} days"


def _example(calendar: Days, values: Floats, mask: NDArray[np.bool_]) -> str:
    index = int(np.flatnonzero(mask)[np.argmax(np.abs(values[mask]))])
    return f"{values[index]:g} °C on {calendar[index]}"
