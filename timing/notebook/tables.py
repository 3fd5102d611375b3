"""Tables of the exchange folder: plain CSV in UTF-8, one header line, safe in spreadsheets.

    sites.csv, trees.csv, shelters.csv, observations.csv, work.csv, runners.csv
    temperatures/<site>.csv    date,tmin_c,tmax_c; <site>-neighbour.csv, <site>-forecast.csv

A text cell that a spreadsheet would take for a formula (it begins with = + - @) is written with
an apostrophe before it, which reading takes away again.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from timing.errors import DataError
from timing.intake.text import DECIMAL, csv_rows
from timing.notebook.checks import FieldError, shown
from timing.notebook.readings import Kind

APOSTROPHE = "'"
_GUARDED = tuple("=+-@＝＋－＠" + APOSTROPHE)


@dataclass(frozen=True)
class Columns:
    """Header of one table: columns it must have, in order, and columns that may be missing."""

    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        """Every column in the order in which it is written."""
        return (*self.needed, *self.optional)


TEMPERATURES = "temperatures"
BESIDE_FILES: dict[Kind, str] = {
    "neighbour": "neighbour_temperatures",
    "forecast": "forecast_temperatures",
}
FILES = {
    "sites.csv": Columns(
        ("name", "latitude", "longitude"),
        (
            *("elevation_m", "tags", "source", "attribution", "licence", TEMPERATURES),
            *("station", "station_name", "station_latitude", "station_longitude"),
            *("station_elevation_m", "offset_c", "fetched", "hazards"),
            *("notes", "neighbour", "neighbour_credit", *BESIDE_FILES.values()),
        ),
    ),
    "trees.csv": Columns(("name", "species", "site"), ("condition", "pot_cm", "note")),
    "shelters.csv": Columns(
        ("tree", "kind", "tmin_offset_c", "tmax_offset_c"), ("starts", "until")
    ),
    "observations.csv": Columns(("species", "event", "date"), ("tree", "site", "note")),
    "work.csv": Columns(("tree", "kind", "date"), ("fraction", "note")),
    "runners.csv": Columns(("tree", "place", "begun"), ("ended", "note", "looked")),
}


@dataclass(frozen=True)
class Line:
    """One row of a table and where it stands."""

    path: Path
    number: int
    cells: dict[str, str]

    def text(self, column: str) -> str:
        """A text cell without its guard."""
        return unguarded(self.cells.get(column, "").strip())

    def value(self, column: str) -> float:
        """A number."""
        found = self.optional_value(column)
        if found is None:
            raise FieldError(column, "the cell is empty; it needs a number")
        return found

    def optional_value(self, column: str) -> float | None:
        """A number, or None from an empty cell."""
        cell = self.cells.get(column, "").strip()
        if not cell:
            return None
        value = float(cell) if DECIMAL.match(cell) else math.nan
        if not math.isfinite(value):
            raise FieldError(
                column, f"{shown(cell, 20)} is not a number; write it with a decimal point"
            )
        return value

    def day(self, column: str) -> dt.date:
        """A date."""
        found = self.optional_day(column)
        if found is None:
            raise FieldError(column, "the cell is empty; it needs a date such as 2024-03-31")
        return found

    def optional_day(self, column: str) -> dt.date | None:
        """A date, or None from an empty cell."""
        cell = self.cells.get(column, "").strip()
        if not cell:
            return None
        try:
            if len(cell) != 10:
                raise ValueError
            return dt.date.fromisoformat(cell)
        except ValueError as error:
            raise FieldError(
                column, f"{shown(cell, 20)} is not a date; write year-month-day, as in 2024-03-31"
            ) from error

    @contextmanager
    def blamed(self) -> Iterator[None]:
        """Say of a wrong value in which file, line and column it stands."""
        try:
            yield
        except FieldError as error:
            column = f", column {error.field}" if error.field in self.cells else ""
            raise DataError(f"{self.path}, line {self.number}{column}: {error}") from error


def guarded(text: str) -> str:
    """A text cell that no spreadsheet takes for a formula.

    >>> guarded("=1+1"), guarded("a=1"), guarded("'tis")
    ("'=1+1", 'a=1', "''tis")
    """
    return f"{APOSTROPHE}{text}" if text.startswith(_GUARDED) else text


def unguarded(cell: str) -> str:
    """The text of a cell that `guarded` wrote.

    >>> unguarded("'=1+1"), unguarded("''tis"), unguarded("'tis")
    ('=1+1', "'tis", "'tis")
    """
    if cell.startswith(APOSTROPHE) and cell[1:].startswith(_GUARDED):
        return cell[1:]
    return cell


def number_cell(value: float | None) -> str:
    """The shortest text that reads back as the same number, or an empty cell."""
    return "" if value is None else repr(float(value)).removesuffix(".0")


def write_table(path: Path, columns: Columns, rows: Iterable[Sequence[str]]) -> int:
    """Write one table; returns the number of its rows."""
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns.all)
        for row in rows:
            writer.writerow(row)
            count += 1
    return count


def read_table(path: Path, columns: Columns) -> list[Line]:
    """Rows of one table; empty lines are skipped.

    Raises
    ------
    UsageError : the file cannot be opened.
    DataError : it is not text or not CSV, a column is missing, unknown or there twice, or a row
        has not as many cells as the header.
    """
    lines: list[Line] = []
    header: list[str] = []
    for number, row in csv_rows(path):
        if not header:
            header = [name.strip().lower() for name in row]
            _check_header(path, number, header, columns)
        elif len(row) != len(header):
            raise DataError(
                f"{path}, line {number}: {len(row)} cells where the header names {len(header)}"
            )
        else:
            lines.append(Line(path, number, dict(zip(header, row, strict=True))))
    if not header:
        raise DataError(f"{path}: the file is empty; it needs a header {','.join(columns.all)}")
    return lines


def _check_header(path: Path, number: int, header: list[str], columns: Columns) -> None:
    for name in header:
        if name not in columns.all:
            raise DataError(
                f"{path}, line {number}: column {shown(name, 40)} is not known and would be lost; "
                f"the columns are {', '.join(columns.all)}"
            )
        if header.count(name) > 1:
            raise DataError(f"{path}, line {number}: column {name} stands there twice; keep one")
    if absent := [name for name in columns.needed if name not in header]:
        raise DataError(
            f"{path}, line {number}: no column {', '.join(absent)}; the header must name "
            f"{', '.join(columns.needed)}"
        )
