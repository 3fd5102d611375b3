"""Tables with a header: where it stands, what divides the cells, and the rows below it.

The header is the first line that names a date and either a minimum and a maximum or one
temperature; lines before it (titles, comments, coordinates) are passed over. Cells may be
divided by commas, semicolons, tabs or bars.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace
from operator import itemgetter

from timing.errors import DataError, UsageError
from timing.intake.headers import (
    CLOCK,
    DATE,
    MAXIMUM,
    MINIMUM,
    STAMP,
    TEMPERATURE,
    Column,
    read_name,
    unit_in,
)
from timing.intake.text import quoted
from timing.intake.units import NAMES, Unit, UnitOrigin

DIVIDERS = (",", ";", "\t", "|")
HEADER_WITHIN = 100  # lines of title and comment before the header
LONGEST_HEADER = 20_000
COMMENTS = ("#", "//", "!", "%")


@dataclass(frozen=True)
class Layout:
    """What a header says.

    Parameters
    ----------
    line : its line in the file, counted from 1.
    divider : what divides the cells.
    names : the names as written, blank ones at the end left out.
    date : places of the date, or of year, month and day.
    clock : the column with the time of day, None where the date holds it or there is none.
    minimum, maximum : the two columns of a daily table, else None.
    temperature : the one column of a table of readings, else None.
    offset : offset from UTC that the name of the time column states.
    """

    line: int
    divider: str
    names: tuple[str, ...]
    date: tuple[int, ...]
    clock: int | None
    minimum: Column | None
    maximum: Column | None
    temperature: Column | None
    offset: str | None

    @property
    def is_daily(self) -> bool:
        """Whether it names a minimum and a maximum."""
        return self.minimum is not None and self.maximum is not None

    @property
    def values(self) -> list[Column]:
        """Columns that hold temperatures, the minimum first."""
        found = [self.minimum, self.maximum] if self.is_daily else [self.temperature]
        return [column for column in found if column is not None]


@dataclass(frozen=True)
class Rows:
    """Cells of the columns that matter.

    Parameters
    ----------
    lines : line of each row.
    date : one cell a row; year, month and day joined by dashes.
    clock : one cell a row, or empty where there is no such column.
    values : one list of cells a column of temperatures.
    units : unit a second header line gives each column of temperatures.
    """

    lines: list[int]
    date: list[str]
    clock: list[str]
    values: list[list[str]]
    units: list[Unit | None]


def find_layout(text: str, source: str, units: Unit | None = None) -> Layout | None:
    """The header of a table of temperatures, or None where no line is one.

    Parameters
    ----------
    text : the file, or its first lines.
    source : name used in messages.
    units : the unit the user named, which chooses among columns that differ in nothing else.

    Raises
    ------
    UsageError : two columns could both be the minimum, the maximum or the temperature.
    """
    for number, line in enumerate(_first_lines(text), start=1):
        for divider in DIVIDERS:
            cells = _split(line.lstrip(" #%!/"), divider)
            if len(cells) < 2:
                continue
            found = _layout(cells, number, divider, units, source)
            if found is not None:
                return found
    return None


def first_line(text: str) -> tuple[int, str]:
    """The first line that is neither blank nor a comment, or else the first that is not blank."""
    lines = [(number, line.strip()) for number, line in enumerate(_first_lines(text), start=1)]
    filled = [(number, line) for number, line in lines if line]
    plain = [(number, line) for number, line in filled if not line.startswith(COMMENTS)]
    return (plain or filled or [(0, "")])[0]


def read_rows(text: str, layout: Layout, source: str) -> Rows:
    """Rows below a header.

    Raises
    ------
    DataError : a line is too short or too long, or is not readable as CSV.
    """
    rest = text.split("\n", layout.line)[-1] if text.count("\n") >= layout.line else ""
    reader = csv.reader(io.StringIO(rest, newline=""), delimiter=layout.divider, strict=True)
    kept: list[list[str]] = []
    lines: list[int] = []
    units: list[Unit | None] = [None for _ in layout.values]
    ended, width = 0, len(layout.names)
    try:
        for row in reader:
            line, ended = layout.line + ended + 1, reader.line_num
            if len(row) != width or not row[0][:1].isalnum():
                if not any(map(str.strip, row)) or row[0].lstrip().startswith(COMMENTS):
                    continue
                _check_width(row, width, line, layout.divider, source)
            if not lines and _is_second_header(row, layout):
                units = [unit_in(row[column.place]) for column in layout.values]
                continue
            lines.append(line)
            kept.append(row)
    except csv.Error as error:
        line = layout.line + ended + 1
        raise DataError(f"{source}, line {line}: not readable as CSV ({error})") from error
    if not lines:
        raise DataError(f"{source}: the file has a header but no readings")
    if len(layout.date) == 1:
        date = list(map(itemgetter(layout.date[0]), kept))
    else:
        date = ["-".join(row[place].strip() for place in layout.date) for row in kept]
    clock = [] if layout.clock is None else [row[layout.clock] for row in kept]
    values = [list(map(itemgetter(column.place), kept)) for column in layout.values]
    return Rows(lines, date, clock, values, units)


def stated_unit(
    layout: Layout, rows: Rows, told: Unit | None, source: str
) -> tuple[Unit, UnitOrigin] | None:
    """The unit of a table and who says so; None where nobody does.

    Raises
    ------
    DataError : the header contradicts itself.
    UsageError : the header and the user disagree.
    """
    said = {column.unit for column in layout.values} | set(rows.units)
    said.discard(None)
    names = " and ".join(NAMES[unit] for unit in sorted(unit for unit in said if unit))
    if len(said) > 1:
        raise DataError(
            f"{source}, line {layout.line}: the header says {names}; keep both temperatures in "
            "one unit"
        )
    header = next(iter(said), None)
    if told is not None and header not in (None, told):
        raise UsageError(
            f"{source}, line {layout.line}: the header says {names}, --units {told} says "
            f"{NAMES[told]}; leave --units out or correct the header"
        )
    if header is not None:
        return header, "header"
    return None if told is None else (told, "option")


def _first_lines(text: str) -> list[str]:
    lines = text[: HEADER_WITHIN * LONGEST_HEADER].split("\n", HEADER_WITHIN)[:HEADER_WITHIN]
    return [line.rstrip("\r") if len(line) <= LONGEST_HEADER else "" for line in lines]


def _split(line: str, divider: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=divider, strict=True), [])
    except csv.Error:
        return []


def _layout(
    cells: list[str], line: int, divider: str, units: Unit | None, source: str
) -> Layout | None:
    while cells and not cells[-1].strip():
        cells = cells[:-1]
    columns = [read_name(place, cell) for place, cell in enumerate(cells)]
    low, high, single = (
        [column for column in columns if column.stem in names]
        for names in (MINIMUM, MAXIMUM, TEMPERATURE)
    )
    daily = bool(low and high)
    if not daily and not single:
        return None
    date, clock = _when(columns, daily)
    if not date:
        return None
    zones = [column.offset for column in columns if column.place in (*date, clock)]
    found = Layout(
        line, divider, tuple(cells), date, clock, None, None, None, next(filter(None, zones), None)
    )
    if not daily:
        return replace(found, temperature=_one(single, units, line, source))
    minimum, maximum = (_one(columns, units, line, source) for columns in (low, high))
    return replace(found, minimum=minimum, maximum=maximum)


def _when(columns: list[Column], daily: bool) -> tuple[tuple[int, ...], int | None]:
    """Places of the date and of the time of day."""
    place = {column.stem: column.place for column in reversed(columns)}
    dates = [c.place for c in columns if c.stem in DATE and c.stem not in ("day", "dia", "jour")]
    days = [c.place for c in columns if c.stem in ("day", "dia", "jour")]
    stamps = [c.place for c in columns if c.stem in STAMP]
    clocks = [c.place for c in columns if c.stem in CLOCK]
    parts = [place.get("year"), place.get("month"), days[0] if days else None]
    whole = tuple(part for part in parts if part is not None)
    if daily and dates:
        return (dates[0],), None
    if stamps:
        return (stamps[0],), None
    if dates:
        return (dates[0],), clocks[0] if clocks else None
    if len(whole) == 3:
        return whole, clocks[0] if clocks else None
    if days and None in (place.get("year"), place.get("month")):
        return (days[0],), clocks[0] if clocks else None
    return ((clocks[0],), None) if clocks else ((), None)


def _one(columns: list[Column], units: Unit | None, line: int, source: str) -> Column:
    """The only column, or the only one in the unit named."""
    if len(columns) > 1:
        fitting = [column for column in columns if units is not None and column.unit == units]
        if len(fitting) != 1:
            names = ", ".join(quoted(column.name, 30) for column in columns[:4])
            raise UsageError(
                f"{source}, line {line}: {len(columns)} columns could be meant by one name "
                f"({names}); keep one, or say --units where they differ in their unit"
            )
        columns = fitting
    return columns[0]


def _is_second_header(row: list[str], layout: Layout) -> bool:
    """Whether a row right below the header holds no reading but units or explanations."""
    cells = [row[place] for place in (*layout.date, *(c.place for c in layout.values))]
    if any(letter.isdigit() for cell in cells[: len(layout.date)] for letter in cell):
        return False
    return any(unit_in(cell) for cell in cells[len(layout.date) :])


def _check_width(row: list[str], width: int, line: int, divider: str, source: str) -> None:
    if len(row) < width:
        raise DataError(
            f"{source}, line {line}: {len(row)} of {width} cells; every line needs all columns"
        )
    if any(cell.strip() for cell in row[width:]):
        advice = (
            "write decimals with a point and one row a line"
            if divider == ","
            else ("write one row a line")
        )
        raise DataError(
            f"{source}, line {line}: {len(row)} cells where the header names {width}; {advice}"
        )
