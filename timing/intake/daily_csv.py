"""Read the plain daily file: ``date,tmin_c,tmax_c``, ISO dates, °C, blank (or NA) = missing.

Other columns are ignored, header names are matched without regard to case, and a byte order
mark is accepted. Nothing is guessed: a cell that is not a number or a date that is not ISO is
named with its line.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from timing.errors import DataError
from timing.intake.text import quoted, read_utf8, shown_name
from timing.season import Days, Floats
from timing.temperature import TemperatureRecord, record_from_readings

if TYPE_CHECKING:
    from _csv import Reader as CsvReader

FIRST_YEAR, LAST_YEAR = 1600, 2200  # no thermometer before, no record after
COLUMNS = ("date", "tmin_c", "tmax_c")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}\Z")
_DECIMAL = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?\Z")
_MISSING = {"", "na", "nan"}
_ORDINARY = re.compile(  # a whole file of the three columns and nothing odd
    r"date,tmin_c,tmax_c(?:\n\d{4}-\d\d-\d\d(?:,(?:-?\d{1,3}(?:\.\d{1,3})?)?){2})+\n?", re.ASCII
)


def read_daily_csv(path: Path, *, until: np.datetime64 | None = None) -> TemperatureRecord:
    """Read, check and mend one file.

    Parameters
    ----------
    path : the file.
    until : later readings are dropped before anything is checked or mended.

    Raises
    ------
    UsageError : the file does not exist or cannot be opened.
    DataError : it is not text, lacks a column, or a line cannot be read.
    """
    return parse_daily_csv(read_utf8(path), source=shown_name(path), until=until)


def parse_daily_csv(
    text: str, *, source: str, until: np.datetime64 | None = None
) -> TemperatureRecord:
    """Parse the text of a daily file; see `read_daily_csv`."""
    if _ORDINARY.fullmatch(text):
        dates, tmin, tmax, line_of = _ordinary(text, source)
    else:
        rows = csv.reader(io.StringIO(text, newline=""), strict=True)
        try:
            dates, tmin, tmax, line_of = _readings(rows, source)
        except csv.Error as error:
            raise DataError(
                f"{source}, line {rows.line_num}: not readable as CSV ({error})"
            ) from error
    order = np.argsort(dates, kind="stable")
    dates = dates[order]
    repeated = np.flatnonzero(dates[1:] == dates[:-1])
    if repeated.size:
        line = line_of[int(order[repeated[0] + 1])]
        raise DataError(
            f"{source}, line {line}: {dates[repeated[0]]} stands there a second time; "
            "keep one row a day"
        )
    return record_from_readings(dates, tmin[order], tmax[order], source=source, until=until)


def _ordinary(text: str, source: str) -> tuple[Days, Floats, Floats, list[int]]:
    """What `_readings` finds in such a file, without a look at every cell."""
    cells = text.rstrip("\n").replace("\n", ",").split(",")[len(COLUMNS) :]
    days = cells[:: len(COLUMNS)]
    low, high = (
        np.array([float(cell) if cell else math.nan for cell in cells[column :: len(COLUMNS)]])
        for column in (1, 2)
    )
    lines = list(range(2, 2 + len(days)))
    return _dates(days, lines, source), low, high, lines


def _readings(rows: CsvReader, source: str) -> tuple[Days, Floats, Floats, list[int]]:
    """Dates, minima, maxima and the line each row begins on."""
    where, width = _header(rows, source)
    lines: list[int] = []
    days: list[str] = []
    low: list[float] = []
    high: list[float] = []
    ended = rows.line_num
    for row in rows:
        line, ended = ended + 1, rows.line_num
        if not any(cell.strip() for cell in row):
            continue
        if len(row) < width:
            raise DataError(
                f"{source}, line {line}: {len(row)} of {width} cells; every line needs all columns"
            )
        if any(cell.strip() for cell in row[width:]):
            raise DataError(
                f"{source}, line {line}: {len(row)} cells where the header names {width}; write "
                "decimals with a point and one row a line"
            )
        day = row[where[0]].strip(" ")
        if not _ISO.match(day):
            raise DataError(
                f"{source}, line {line}: date {quoted(day)} is not an ISO date; "
                "write year-month-day, as in 2024-03-31"
            )
        lines.append(line)
        days.append(day)
        low.append(_number(row[where[1]], source, line, COLUMNS[1]))
        high.append(_number(row[where[2]], source, line, COLUMNS[2]))
    if not days:
        raise DataError(f"{source}: the file has a header but no readings")
    return _dates(days, lines, source), np.array(low), np.array(high), lines


def _header(rows: CsvReader, source: str) -> tuple[list[int], int]:
    """Position of each column, and how many columns there are."""
    names = next((row for row in rows if any(cell.strip() for cell in row)), [])
    header = [name.strip().lower() for name in names]
    if not header:
        raise DataError(f"{source}: the file is empty; it needs a header {','.join(COLUMNS)}")
    absent = [name for name in COLUMNS if name not in header]
    if absent:
        raise DataError(
            f"{source}, line {rows.line_num}: no column {', '.join(absent)} (found "
            f"{quoted(', '.join(header), 80)}); the header must name {', '.join(COLUMNS)}"
        )
    twice = [name for name in COLUMNS if header.count(name) > 1]
    if twice:
        raise DataError(
            f"{source}, line {rows.line_num}: column {twice[0]} stands there twice; keep one"
        )
    return [header.index(name) for name in COLUMNS], len(header)


def _number(cell: str, source: str, line: int, column: str) -> float:
    text = cell.strip(" ")
    if text.lower() in _MISSING:
        return math.nan
    value = float(text) if _DECIMAL.match(text) else math.inf
    if not math.isfinite(value):
        raise DataError(
            f"{source}, line {line}: {column} {quoted(text)} is not a number; "
            "write degrees with a decimal point, or leave the cell blank"
        )
    return value


def _dates(days: list[str], lines: list[int], source: str) -> Days:
    try:
        dates = np.array(days, dtype="datetime64[D]")
    except ValueError as error:
        line, day = next(pair for pair in zip(lines, days, strict=True) if not _exists(pair[1]))
        raise DataError(f"{source}, line {line}: {day} is not a day of the calendar") from error
    years = dates.astype("datetime64[Y]").astype(np.int64) + 1970
    outside = np.flatnonzero((years < FIRST_YEAR) | (years > LAST_YEAR))
    if outside.size:
        raise DataError(
            f"{source}, line {lines[outside[0]]}: {days[outside[0]]} lies outside the years "
            f"{FIRST_YEAR} to {LAST_YEAR}; check the year"
        )
    return dates


def _exists(day: str) -> bool:
    try:
        dt.date.fromisoformat(day)
    except ValueError:
        return False
    return True
