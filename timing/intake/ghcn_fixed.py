"""Read GHCN-Daily's ``.dly``: one month of one element a line, in columns of fixed width.

Station 1-11, year 12-15, month 16-17, element 18-21, then 31 times value (5), measurement flag,
quality flag and source flag; tenths of °C, -9999 missing, also for the days a month lacks.
Source: GHCN-Daily readme, section III (Menne et al. 2012, doi:10.7289/V5D21VHZ). The format does
not say at which hour a reading was taken.
"""

from __future__ import annotations

import re

from timing.errors import DataError
from timing.intake.ghcn import ELEMENTS, Readings, refuse_other_unit, series_of
from timing.intake.series import Choices, Series, one_station
from timing.intake.text import quoted

WIDTH, DAYS, DAY_WIDTH, START = 269, 31, 8, 21
MISSING = "-9999"
_LINE = re.compile(r"[A-Z0-9_-]{11}[0-9]{4}(0[1-9]|1[0-2])[A-Z0-9]{4}[ 0-9-]{4}[0-9]")


def is_fixed(line: str) -> bool:
    """Whether a first line belongs to such a file."""
    return bool(_LINE.match(line)) and "," not in line


def read_fixed(text: str, choices: Choices, source: str) -> Series:
    """Readings of one station.

    Raises
    ------
    DataError : a line cannot be read, or there is no minimum or no maximum.
    UsageError : the file holds several stations and none, or one it lacks, was named.
    """
    refuse_other_unit(choices, "tenths_c", "GHCN-Daily files", source)
    lines = [line.rstrip("\r") for line in text.split("\n")]
    station = one_station((line[:11] for line in lines if line.strip()), choices.station, source)
    found = {element: Readings() for element in ELEMENTS}
    dropped = Readings()
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        if not _LINE.match(line) or not WIDTH - 3 <= len(line) <= WIDTH:  # blank flags may be cut
            raise DataError(
                f"{source}, line {number}: {len(line)} of {WIDTH} characters ({quoted(line)}); "
                "the file is cut off or damaged"
            )
        if line[17:21] not in found or line[:11] != station:
            continue
        readings, month = found[line[17:21]], line[11:17]
        padded = line.ljust(WIDTH)
        for day in range(1, DAYS + 1):
            place = START + (day - 1) * DAY_WIDTH
            value = padded[place : place + 5].strip()
            if value == MISSING:
                continue
            passed = padded[place + 6] == " "
            (readings if passed else dropped).add(number, f"{month}{day:02}", value)
    return series_of(found, dropped, choices, source)
