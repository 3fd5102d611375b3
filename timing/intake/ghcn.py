"""What the files of GHCN-Daily share: whose data they are, their flags, hours of reading.

GHCN-Daily: Menne et al. 2012, doi:10.7289/V5D21VHZ; formats and flags from its readme. Values
are tenths of °C. A quality flag that is not blank means that the reading failed a check. An hour
of reading before noon means that the maximum was usually reached on the day before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from timing.errors import DataError, UsageError
from timing.intake.cells import numbers
from timing.intake.dates import compact_days
from timing.intake.series import Choices, Origin, Series, flagged, in_order, paired
from timing.intake.units import Unit

ORIGIN = Origin("GHCN-Daily, NOAA (Menne et al. 2012, doi:10.7289/V5D21VHZ)")
ELEMENTS = ("TMIN", "TMAX")


@dataclass
class Readings:
    """Readings of one element as they are collected."""

    lines: list[int] = field(default_factory=list)
    days: list[str] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    early: list[bool] = field(default_factory=list)

    def add(self, line: int, day: str, value: str, early: bool = False) -> None:
        """One reading: its line, its day as YYYYMMDD, its value, whether read before noon."""
        self.lines.append(line)
        self.days.append(day)
        self.values.append(value)
        self.early.append(early)


def is_before_noon(hour: str) -> bool:
    """Whether an hour of reading such as 0700 lies before noon; midnight and blank do not."""
    return hour.isascii() and hour.isdigit() and 0 < int(hour) < 1200


def refuse_other_unit(choices: Choices, unit: Unit, what: str, source: str) -> None:
    """Refuse a unit that a format rules out.

    Raises
    ------
    UsageError : the user named another unit.
    """
    if choices.units not in (None, unit):
        raise UsageError(
            f"{source}: {what} hold {'tenths of °C' if unit == 'tenths_c' else '°C'}, not what "
            f"--units {choices.units} says; leave --units out"
        )


def series_of(
    found: dict[str, Readings], dropped: Readings, choices: Choices, source: str
) -> Series:
    """One series from the readings of both elements that passed, and those that failed a check.

    Raises
    ------
    DataError : an element is missing, a value or a date cannot be read, or stands there twice.
    """
    sides = []
    for element in ELEMENTS:
        readings = found[element]
        if not readings.lines:
            raise DataError(
                f"{source}: no usable {element} for this station; take a station with both TMIN "
                "and TMAX"
            )
        days = compact_days(readings.days, readings.lines, source)
        values = numbers(readings.values, readings.lines, element, source)
        early = np.array(readings.early)
        days, values, _, order = in_order(days, values, values, readings.lines, source)
        sides.append((days, values, early[order]))
    (low_days, low, _), (high_days, high, early) = sides
    days, low, high, place = paired((low_days, low), (high_days, high))
    failed_days = days[:0]
    if dropped.lines:
        failed_days = compact_days(dropped.days, dropped.lines, source)
    before_noon = np.zeros(len(days), dtype=bool)
    before_noon[place] = early
    return Series(
        days,
        low,
        high,
        "tenths_c",
        "format",
        before_noon,
        tuple(flagged(failed_days, choices)),
        ORIGIN,
        ELEMENTS,
    )


def failed(attributes: Sequence[str]) -> bool:
    """Whether attributes ``measurement, quality, source[, hour]`` say that a check failed."""
    return len(attributes) > 1 and bool(attributes[1].strip())
