"""Write a notebook to a folder of plain CSV files, whole or not at all; see `tables`."""

from __future__ import annotations

import re
import shutil
import sqlite3
import tempfile
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from timing.errors import UsageError
from timing.intake.daily_csv import COLUMNS
from timing.notebook import records, sites, trees
from timing.notebook.model import ObservedDate, Record, Runner, Shelter, SiteStation, Tree, WorkDone
from timing.notebook.readings import Readings, read_readings
from timing.notebook.store import Notebook
from timing.notebook.tables import (
    BESIDE_FILES,
    FILES,
    TEMPERATURES,
    Columns,
    guarded,
    number_cell,
    write_table,
)

_NO_FILE_NAME = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)\Z")  # devices on some systems


def export_folder(book: Notebook, folder: Path) -> dict[str, int]:
    """Write everything a notebook holds into a new folder.

    Returns
    -------
    rows written, by file.

    Raises
    ------
    UsageError : the folder exists already or cannot be made.
    """
    with book.reading() as db, _new_folder(folder) as place:
        (place / TEMPERATURES).mkdir()
        all_trees = trees.read_trees(db)
        rows = {
            "sites.csv": _site_rows(db, place),
            "trees.csv": (_tree_row(tree) for tree in all_trees),
            "shelters.csv": (
                _shelter_row(tree, shelter) for tree in all_trees for shelter in tree.shelters
            ),
        }
        by_type: dict[type, list[Record]] = {ObservedDate: [], WorkDone: [], Runner: []}
        for record in records.read_records(db):
            by_type[type(record)].append(record)
        for name, kind in zip(
            ("observations.csv", "work.csv", "runners.csv"), by_type, strict=True
        ):
            rows[name] = (_record_row(record) for record in by_type[kind])
        return {name: write_table(place / name, FILES[name], cells) for name, cells in rows.items()}


@contextmanager
def _new_folder(folder: Path) -> Iterator[Path]:
    """A folder beside the one wanted that takes its name when the block succeeds."""
    target = folder.absolute()
    if target.exists() or target.is_symlink():
        raise UsageError(f"{folder}: exists already; name a new folder")
    try:
        place = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
        try:
            inner = place / "whole"
            inner.mkdir()
            yield inner
            inner.rename(target)
        finally:
            shutil.rmtree(place, ignore_errors=True)
    except OSError as error:
        raise UsageError(f"{folder}: cannot be written ({error.strerror})") from error


def _site_rows(db: sqlite3.Connection, place: Path) -> Iterator[list[str]]:
    """Rows of the sites; writes each one's temperatures on the way."""
    taken: set[str] = set()
    for site in sites.read_sites(db):
        number = sites.find(db, "site", site.name)["number"]
        files = []
        for kind in ("own", *BESIDE_FILES):
            readings = read_readings(db, number, kind)
            files.append("")
            if readings is not None:
                name = site.name if kind == "own" else f"{site.name[:28]} {kind}"
                files[-1] = _file_name(name, taken)
                _write_readings(place / TEMPERATURES / files[-1], readings)
        yield [
            guarded(site.name),
            *map(number_cell, (site.latitude, site.longitude, site.elevation_m)),
            *map(guarded, (";".join(site.tags), site.source, site.attribution, site.licence)),
            files[0],
            *_station_cells(site.station),
            ";".join(site.hazards),
            *map(guarded, ("\n".join(site.notes), site.neighbour, site.neighbour_credit)),
            *files[1:],
        ]


def _station_cells(held: SiteStation | None) -> list[str]:
    if held is None:
        return [""] * 7
    station = held.station
    place = map(number_cell, (station.latitude, station.longitude, station.elevation_m))
    offset = number_cell(held.offset_c)
    return [station.code, guarded(station.name), *place, offset, held.fetched.isoformat()]


def _file_name(name: str, taken: set[str]) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40] or "site"
    if _NO_FILE_NAME.match(stem):
        stem = f"site-{stem}"
    number = 1
    found = stem
    while found in taken:
        number += 1
        found = f"{stem}-{number}"
    taken.add(found)
    return f"{found}.csv"


def _write_readings(path: Path, readings: Readings) -> None:
    low, high = (
        ["" if cell == "nan" else cell for cell in map(_reading_cell, values.tolist())]
        for values in (readings.tmin_c, readings.tmax_c)
    )
    days = np.datetime_as_string(readings.days).tolist()
    write_table(path, Columns(COLUMNS), zip(days, low, high, strict=True))


def _reading_cell(value: float) -> str:
    text = repr(value)
    return np.format_float_positional(value, trim="0") if "e" in text else text


def _tree_row(tree: Tree) -> list[str]:
    return [
        guarded(tree.name),
        tree.species,
        guarded(tree.site),
        tree.condition,
        number_cell(tree.pot_cm),
        guarded(tree.note),
    ]


def _shelter_row(tree: Tree, shelter: Shelter) -> list[str]:
    offsets = map(number_cell, (shelter.tmin_offset_c, shelter.tmax_offset_c))
    return [guarded(tree.name), guarded(shelter.kind), *offsets, shelter.starts, shelter.until]


def _record_row(record: Record) -> list[str]:
    note = guarded(record.note)
    tree = guarded(record.tree)
    if isinstance(record, ObservedDate):
        day = record.date.isoformat()
        return [record.species, guarded(record.event), day, tree, guarded(record.site), note]
    if isinstance(record, WorkDone):
        return [tree, record.kind, record.date.isoformat(), number_cell(record.fraction), note]
    ended, looked = (day.isoformat() if day else "" for day in (record.ended, record.looked))
    return [tree, guarded(record.place), record.begun.isoformat(), ended, note, looked]
