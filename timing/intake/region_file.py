"""Read a list of sites: a CSV ``name,latitude,longitude,elevation_m,temperatures``."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

from timing.errors import DataError, UsageError
from timing.intake.text import quoted, read_utf8
from timing.site import Site

COLUMNS = ("name", "latitude", "longitude", "elevation_m", "temperatures")
LONGEST_NAME = 80


@dataclass(frozen=True)
class ListedSite:
    """One site, the file of its temperatures, and the line it stands on."""

    site: Site
    temperatures: Path
    line: int


def read_region(path: Path) -> tuple[ListedSite, ...]:
    """Read one file; columns may stand in any order, further ones are passed over.

    Paths of temperatures count from the folder of the file. An elevation may be blank.

    Raises
    ------
    UsageError : the file cannot be opened.
    DataError : it is not text, lacks a column, or a line is wrong; the message names line and
        column.
    """
    try:
        rows = list(csv.reader(read_utf8(path).splitlines(), strict=True))
    except csv.Error as error:
        raise DataError(f"{path}: not readable as CSV ({error})") from error
    header = [name.strip().lower() for name in rows[0]] if rows else []
    if absent := [name for name in COLUMNS if name not in header]:
        raise DataError(
            f"{path}, line 1: no column {', '.join(absent)}; the header must name "
            f"{', '.join(COLUMNS)}"
        )
    if twice := [name for name in COLUMNS if header.count(name) > 1]:
        raise DataError(f"{path}, line 1: column {twice[0]} stands twice; keep one")
    found: list[ListedSite] = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            raise DataError(
                f"{path}, line {line}: {len(row)} cells where the header has {len(header)}; "
                "every line needs all columns"
            )
        cells = {name: row[header.index(name)].strip() for name in COLUMNS}
        item = _listed(cells, path, line)
        for other in found:
            if other.site.name.casefold() == item.site.name.casefold():
                raise DataError(
                    f"{path}, line {line}: name {quoted(item.site.name, 40)} stands on line "
                    f"{other.line} already; give each site its own name"
                )
        found.append(item)
    if not found:
        raise DataError(f"{path}: no site below the header; write one line a site")
    return tuple(found)


def _listed(cells: dict[str, str], path: Path, line: int) -> ListedSite:
    where = f"{path}, line {line}"
    name = cells["name"]
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise DataError(
            f"{where}: name {quoted(name)} is not 1 to {LONGEST_NAME} letters; name the site"
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
    if not file.is_file():
        raise DataError(
            f"{where}: temperatures {quoted(cells['temperatures'], 60)} is no file; paths count "
            f"from the folder of the list, {path.parent}"
        )
    return ListedSite(site, file, line)


def _number(text: str, column: str, limit: float, where: str) -> float:
    try:
        value = float(text.replace("\u2212", "-"))
    except ValueError:
        value = math.nan
    if not abs(value) <= limit or math.isinf(value):
        right = (
            "metres above sea level, or leave it blank"
            if math.isinf(limit)
            else f"decimal degrees between -{limit:g} and {limit:g}"
        )
        raise DataError(f"{where}: {column} {quoted(text)} is wrong; write {right}")
    return value
