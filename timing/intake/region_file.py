"""Read a list of sites: a CSV ``name,latitude,longitude,elevation_m,temperatures``."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from timing.errors import DataError, UsageError
from timing.intake.text import DECIMAL, csv_rows, quoted
from timing.plain_text import lookup_key, unshown
from timing.site import Site

COLUMNS = ("name", "latitude", "longitude", "elevation_m", "temperatures")
LONGEST_NAME = 80


@dataclass(frozen=True)
class ListedSite:
    """One site, the file of its temperatures, and the line it stands on."""

    site: Site
    temperatures: Path
    line: int


@dataclass(frozen=True)
class WrongLine:
    """A line that names no site that could be read, the name that stands there, and why."""

    name: str
    line: int
    error: DataError


def read_region(path: Path) -> tuple[ListedSite, ...]:
    """Read one file; columns may stand in any order, further ones are passed over.

    Paths of temperatures count from the folder of the file. An elevation may be blank.

    Raises
    ------
    UsageError : the file cannot be opened.
    DataError : it is not text, lacks a column, or a line is wrong; the message names line and
        column.
    """
    found = []
    for item in listed_sites(path):
        if isinstance(item, WrongLine):
            raise item.error
        found.append(item)
    return tuple(found)


def listed_sites(path: Path) -> Iterator[ListedSite | WrongLine]:
    """The lines of such a file one by one, so that a wrong one does not stop the others.

    Raises
    ------
    UsageError : the file cannot be opened.
    DataError : it is not text, lacks a column, or holds no line below the header.
    """
    rows = csv_rows(path)
    header = _header(*(rows[0] if rows else (1, [])), path)
    lines: dict[str, int] = {}
    for line, row in rows[1:]:
        yield _site_of_line(row, header, path, line, lines)
    if not lines:
        raise DataError(f"{path}: no site below the header; write one line a site")


def _header(line: int, row: list[str], path: Path) -> list[str]:
    header = [name.strip().lower() for name in row]
    if absent := [name for name in COLUMNS if name not in header]:
        raise DataError(
            f"{path}, line {line}: no column {', '.join(absent)}; the header must name "
            f"{', '.join(COLUMNS)}"
        )
    if twice := [name for name in COLUMNS if header.count(name) > 1]:
        raise DataError(f"{path}, line {line}: column {twice[0]} stands twice; keep one")
    return header


def _site_of_line(
    row: list[str], header: list[str], path: Path, line: int, lines: dict[str, int]
) -> ListedSite | WrongLine:
    """One line; ``lines`` holds the line of every name so far."""
    where = f"{path}, line {line}"
    name = row[header.index("name")].strip() if header.index("name") < len(row) else ""
    if not lookup_key(name) or len(name) > LONGEST_NAME or unshown(name):
        name = f"line {line}"
    try:
        if len(row) != len(header):
            raise DataError(
                f"{where}: {len(row)} cells where the header has {len(header)}; every line needs "
                "all columns"
            )
        cells = {column: row[header.index(column)].strip() for column in COLUMNS}
        item = _listed(cells, path, line)
        first = lines.get(lookup_key(item.site.name))
        if first is not None:
            raise DataError(
                f"{where}: name {quoted(item.site.name, 40)} stands on line {first} already; give "
                "each site its own name"
            )
    except DataError as error:
        lines.setdefault("", line)  # a name is never blank
        return WrongLine(name, line, error)
    lines[lookup_key(item.site.name)] = line
    return item


def _listed(cells: dict[str, str], path: Path, line: int) -> ListedSite:
    where = f"{path}, line {line}"
    name = cells["name"]
    if not lookup_key(name) or len(name) > LONGEST_NAME:
        raise DataError(
            f"{where}, column name: {quoted(name)} is not 1 to {LONGEST_NAME} letters; name the "
            "site"
        )
    if letter := unshown(name):
        raise DataError(
            f"{where}, column name: {quoted(name)} holds the character U+{ord(letter):04X}, which "
            "cannot be shown; leave it out"
        )
    latitude = _number(cells["latitude"], "latitude", 90, where)
    longitude = _number(cells["longitude"], "longitude", 180, where)
    height = None
    if cells["elevation_m"]:
        height = _number(cells["elevation_m"], "elevation_m", math.inf, where)
    try:
        site = Site(name, latitude, longitude, height)
    except UsageError as error:
        raise DataError(f"{where}: {error}") from error
    if not cells["temperatures"]:
        raise DataError(
            f"{where}: temperatures is blank; name the site's file, counted from {path.parent}"
        )
    file = path.parent / cells["temperatures"]
    if not os.path.isfile(file):  # noqa: PTH113 - a name too long to exist is no error here
        raise DataError(
            f"{where}: temperatures {quoted(cells['temperatures'], 60)} is no file; paths count "
            f"from the folder of the list, {path.parent}"
        )
    return ListedSite(site, file, line)


def _number(text: str, column: str, limit: float, where: str) -> float:
    plain = text.replace("\u2212", "-")
    value = float(plain) if DECIMAL.match(plain) else math.nan  # float() takes 4_5 for 45
    if not abs(value) <= limit or math.isinf(value):
        right = (
            "metres above sea level, or leave it blank"
            if math.isinf(limit)
            else f"decimal degrees between -{limit:g} and {limit:g}"
        )
        raise DataError(f"{where}: {column} {quoted(text)} is wrong; write {right}")
    return value
