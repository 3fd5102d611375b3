"""Read GHCN-Daily with one day a line: the files of its "access" folder, and orders like them.

``STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME`` and then an element and its attributes in
turn, such as ``TMAX,TMAX_ATTRIBUTES``; tenths of °C padded with blanks, attributes
``measurement, quality, source[, hour of reading]``. Source: GHCN-Daily access documentation and
readme (Menne et al. 2012, doi:10.7289/V5D21VHZ).

An order from the data service has nearly the same header in another order (from its
documentation; not tried on a live order) but °F or °C, as ordered, and does not say which: the
unit must be told.
"""

from __future__ import annotations

import csv
import io

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError, UsageError
from timing.intake.cells import numbers
from timing.intake.dates import parse_days
from timing.intake.ghcn import ELEMENTS, ORIGIN, failed, is_before_noon
from timing.intake.series import Choices, Series, flagged, in_order, one_station
from timing.intake.units import Unit, UnitOrigin

ACCESS = ("STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME")
ATTRIBUTES = "_ATTRIBUTES"
DIVIDERS = (",", ";", "\t")


def wide_divider(line: str) -> str | None:
    """What divides the cells of a first line of such a file, or None where it is another."""
    for divider in DIVIDERS:
        names = {cell.strip(' "').upper() for cell in line.split(divider)}
        if {"STATION", "DATE"} <= names and names & set(ELEMENTS):
            return divider
    return None


def read_wide(text: str, divider: str, choices: Choices, source: str) -> Series:
    """Readings of one station.

    Raises
    ------
    DataError : a line cannot be read, a column is missing, or a date stands there twice.
    UsageError : the unit or the station must be told.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=divider, strict=True)
    lines, rows, ended = [], [], 0
    try:
        names = [name.strip().upper() for name in next(row for row in reader if any(row))]
        ended = reader.line_num
        for row in reader:
            line, ended = ended + 1, reader.line_num
            if not any(map(str.strip, row)):
                continue
            if len(row) != len(names):
                raise DataError(
                    f"{source}, line {line}: {len(row)} cells where the header names "
                    f"{len(names)}; the file is cut off or damaged"
                )
            lines.append(line)
            rows.append(row)
    except csv.Error as error:
        raise DataError(f"{source}, line {ended + 1}: not readable as CSV ({error})") from error
    if not rows:
        raise DataError(f"{source}: the file has a header but no readings")
    for name in (*ACCESS[:2], *ELEMENTS):
        if names.count(name) != 1:
            much = "no" if name not in names else "more than one"
            cure = "take a station with both" if name in ELEMENTS else "the file is damaged"
            raise DataError(f"{source}, line 1: {much} column {name}; {cure}")
    station = one_station((row[names.index("STATION")] for row in rows), choices.station, source)
    kept = [n for n, row in enumerate(rows) if row[names.index("STATION")] == station]
    lines, rows = [lines[n] for n in kept], [rows[n] for n in kept]
    return _series(names, rows, lines, divider=divider, choices=choices, source=source)


def _series(
    names: list[str],
    rows: list[list[str]],
    lines: list[int],
    *,
    divider: str,
    choices: Choices,
    source: str,
) -> Series:
    days = parse_days(
        [row[names.index("DATE")] for row in rows], lines, source, day_first=choices.day_first
    )
    dropped: list[int] = []
    sides = []
    early: NDArray[np.bool_] = np.zeros(len(rows), dtype=bool)
    for element in ELEMENTS:
        cells = [row[names.index(element)] for row in rows]
        if element + ATTRIBUTES in names:
            place = names.index(element + ATTRIBUTES)
            for number, row in enumerate(rows):
                attributes = row[place].split(",")
                if cells[number].strip() and failed(attributes):
                    cells[number] = ""
                    dropped.append(number)
                elif element == "TMAX" and len(attributes) > 3:
                    early[number] = is_before_noon(attributes[3].strip())
        sides.append(
            numbers(
                cells,
                lines,
                element,
                source,
                decimal_comma=choices.decimal_comma,
                commas_divide=divider == ",",
            )
        )
    failed_days = days[dropped]
    unit = _unit(names, sides, choices, source)
    days, low, high, order = in_order(days, sides[0], sides[1], lines, source)
    return Series(
        days, low, high, *unit, early[order], tuple(flagged(failed_days, choices)), ORIGIN, ELEMENTS
    )


def _unit(
    names: list[str], sides: list[NDArray[np.float64]], choices: Choices, source: str
) -> tuple[Unit, UnitOrigin]:
    if choices.units is not None:
        return choices.units, "option"
    whole = all(bool((values[~np.isnan(values)] % 1 == 0).all()) for values in sides)
    attributed = all(element + ATTRIBUTES in names for element in ELEMENTS)
    if tuple(names[: len(ACCESS)]) == ACCESS and attributed and whole:
        return "tenths_c", "format"
    raise UsageError(
        f"{source}, line 1: an order of station data does not say its unit; say --units f for °F "
        "(standard units) or --units c for °C (metric)"
    )
