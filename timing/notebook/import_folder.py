"""Read a folder of plain CSV files into a notebook, as one change; see `tables`.

What the notebook holds already, value for value, is skipped; a site, tree, shelter or record that
it holds with other values is refused, and then nothing is read. A file that is missing counts as
empty. So ``observations.csv`` alone, which is also what ``--observations`` takes, will do.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

from timing.errors import UsageError
from timing.intake.daily_csv import read_daily_csv
from timing.intake.stations import Station
from timing.notebook import sites, trees
from timing.notebook.checks import FieldError, shown
from timing.notebook.journal import Change, Writer
from timing.notebook.model import (
    NotebookSite,
    ObservedDate,
    Record,
    Runner,
    Shelter,
    SiteStation,
    Tree,
    Work,
    WorkDone,
)
from timing.notebook.readings import Kind, Readings, read_readings
from timing.notebook.records import prepared, same_record
from timing.notebook.store import Notebook
from timing.notebook.tables import BESIDE_FILES, FILES, TEMPERATURES, Line, read_table
from timing.notebook.words import counted
from timing.plain_text import lookup_key
from timing.species.model import Condition

Kept = dict[Kind, Readings | None]
_SORTS = ("site", "tree", "shelter", "record")


@dataclass(frozen=True)
class Folder:
    """What a folder holds, checked by itself; each item beside the line it stands on."""

    name: str
    sites: tuple[tuple[Line, NotebookSite, Kept], ...]
    trees: tuple[tuple[Line, Tree], ...]
    shelters: tuple[tuple[Line, Shelter], ...]
    records: tuple[tuple[Line, Record], ...]


@dataclass(frozen=True)
class Imported:
    """What reading a folder did: the change, and what was new and what was there, by sort."""

    change: Change
    added: dict[str, int]
    skipped: dict[str, int]


def read_folder(folder: Path) -> Folder:
    """Read the files of a folder.

    Raises
    ------
    UsageError : the folder does not exist or holds none of the files.
    DataError : a value is wrong; file, line and column are named.
    """
    found = {name: folder / name for name in FILES if (folder / name).is_file()}
    if not found:
        raise UsageError(f"{folder}: no folder with {', '.join(FILES)} or one of them")
    lines = {name: read_table(path, FILES[name]) for name, path in found.items()}
    records: list[tuple[Line, Record]] = []
    for name, build in (
        ("observations.csv", _observed),
        ("work.csv", _work),
        ("runners.csv", _runner),
    ):
        records += ((line, build(line)) for line in lines.get(name, ()))
    return Folder(
        folder.name,
        tuple((line, *_site(line)) for line in lines.get("sites.csv", ())),
        tuple((line, _tree(line)) for line in lines.get("trees.csv", ())),
        tuple((line, _shelter(line)) for line in lines.get("shelters.csv", ())),
        tuple(records),
    )


def import_folder(book: Notebook, folder: Folder, *, when: dt.datetime) -> Imported:
    """Write what a folder holds into a notebook, as one change.

    Raises
    ------
    DataError : a value does not suit the notebook, or differs from what it holds; file, line and
        column are named.
    """
    added: Counter[str] = Counter()
    seen: Counter[str] = Counter()

    def count(sort: str, new: bool) -> None:
        (added if new else seen)[sort] += 1

    with book.changing(when) as writer:
        for line, site, kept in folder.sites:
            with line.blamed():
                count("site", _import_site(writer, site, kept))
        for line, tree in folder.trees:
            with line.blamed():
                count("tree", _import_tree(writer, tree))
        for line, shelter in folder.shelters:
            with line.blamed():
                count("shelter", _import_shelter(writer, line.text("tree"), shelter))
        last = _last_record(writer.db)
        for line, record in folder.records:
            with line.blamed():
                count("record", _import_record(writer, record, last))
        parts = [counted(added[sort], sort) for sort in _SORTS if added[sort]]
        writer.what = f"imported {', '.join(parts) or 'nothing new'} from {folder.name}"
    return Imported(writer.change_made, dict(added), dict(seen))


def _site(line: Line) -> tuple[NotebookSite, Kept]:
    with line.blamed():
        site = NotebookSite(
            name=line.text("name"),
            latitude=line.value("latitude"),
            longitude=line.value("longitude"),
            elevation_m=line.optional_value("elevation_m"),
            tags=tuple(tag for tag in line.text("tags").split(";") if tag.strip()),
            source=line.text("source"),
            attribution=line.text("attribution"),
            licence=line.text("licence"),
            station=_station(line),
            hazards=tuple(word.strip() for word in line.text("hazards").split(";") if word.strip()),
            notes=tuple(line.text("notes").splitlines()),
            neighbour=line.text("neighbour"),
            neighbour_credit=line.text("neighbour_credit"),
        )
        columns: dict[Kind, str] = {"own": TEMPERATURES, **BESIDE_FILES}
        files = {kind: _file(line, column) for kind, column in columns.items()}
    return site, {
        kind: Readings.of(read_daily_csv(line.path.parent / TEMPERATURES / file)) if file else None
        for kind, file in files.items()
    }


def _file(line: Line, column: str) -> str:
    """Name of a file of temperatures, or empty."""
    file = line.cells.get(column, "").strip()
    if file and (Path(file).name != file or set(file) & set("\\\0") or file in (".", "..")):
        raise FieldError(column, f"{shown(file)} is not the plain name of a file in {TEMPERATURES}")
    return file


def _station(line: Line) -> SiteStation | None:
    if not line.text("station"):
        return None
    station = Station(
        line.text("station"),
        line.text("station_name"),
        line.value("station_latitude"),
        line.value("station_longitude"),
        line.optional_value("station_elevation_m"),
    )
    return SiteStation(station, line.value("offset_c"), line.day("fetched"))


def _tree(line: Line) -> Tree:
    with line.blamed():
        return Tree(
            name=line.text("name"),
            species=trees.one_species(line.text("species")),
            site=line.text("site"),
            condition=cast("Condition", line.text("condition") or "established"),
            pot_cm=line.optional_value("pot_cm"),
            note=line.text("note"),
        )


def _shelter(line: Line) -> Shelter:
    with line.blamed():
        return Shelter(
            kind=line.text("kind"),
            tmin_offset_c=line.value("tmin_offset_c"),
            tmax_offset_c=line.value("tmax_offset_c"),
            starts=line.text("starts"),
            until=line.text("until"),
        )


def _observed(line: Line) -> ObservedDate:
    with line.blamed():
        species = line.text("species")
        return ObservedDate(
            event=line.text("event"),
            date=line.day("date"),
            tree=line.text("tree"),
            site=line.text("site"),
            species=trees.one_species(species) if species else "",
            note=line.text("note"),
        )


def _work(line: Line) -> WorkDone:
    with line.blamed():
        return WorkDone(
            tree=line.text("tree"),
            kind=cast("Work", line.text("kind")),
            date=line.day("date"),
            fraction=line.optional_value("fraction"),
            note=line.text("note"),
        )


def _runner(line: Line) -> Runner:
    with line.blamed():
        return Runner(
            tree=line.text("tree"),
            place=line.text("place"),
            begun=line.day("begun"),
            ended=line.optional_day("ended"),
            note=line.text("note"),
            looked=line.optional_day("looked"),
        )


def _import_site(writer: Writer, site: NotebookSite, kept: Kept) -> bool:
    """Write a site unless it is there; whether it was written."""
    db = writer.db
    row = _present(db, "site", site.name)
    if row is None:
        beside = {kind: kept[kind] for kind in BESIDE_FILES}
        sites.add_site(writer, site, kept["own"], beside)
        return True
    number, held = sites.read_site(db, site.name)
    alike = all(
        readings is None if (known := read_readings(db, number, kind)) is None
        else known.same(readings)
        for kind, readings in kept.items()
    )  # fmt: skip
    _refuse_other(held == site and alike, f"site {held.name}")
    return False


def _import_tree(writer: Writer, tree: Tree) -> bool:
    db = writer.db
    tree = replace(tree, site=sites.find(db, "site", tree.site)["name"])
    if _present(db, "tree", tree.name) is None:
        trees.add_tree(writer, tree)
        return True
    _, held = trees.read_tree(db, tree.name)
    _refuse_other(replace(held, shelters=()) == tree, f"tree {held.name}")
    return False


def _import_shelter(writer: Writer, name: str, shelter: Shelter) -> bool:
    number, tree = trees.read_tree(writer.db, name)
    held = {lookup_key(known.kind): known for known in tree.shelters}.get(lookup_key(shelter.kind))
    if held is None:
        trees.put_shelter(writer, number, shelter)
        return True
    _refuse_other(held == shelter, f"shelter {held.kind} of {tree.name}")
    return False


def _import_record(writer: Writer, record: Record, last: int) -> bool:
    """Write a record unless it was there before; ``last`` is the last number given before."""
    table, row = prepared(writer, record)
    number = same_record(writer.db, table, row, upto=last)
    if number is None:
        writer.add(table, row)
        return True
    _refuse_other(writer.row(table, number) == row, f"record {number}")
    return False


def _present(db: sqlite3.Connection, table: str, name: str) -> sqlite3.Row | None:
    row: sqlite3.Row | None = db.execute(
        f"SELECT 1 FROM {table} WHERE key = ?", (lookup_key(name),)
    ).fetchone()
    return row


def _refuse_other(alike: bool, what: str) -> None:
    if not alike:
        raise FieldError(
            "name", f"{what} is in the notebook with other values; make them agree, or rename one"
        )


def _last_record(db: sqlite3.Connection) -> int:
    row = db.execute("SELECT last FROM numbering WHERE sort = 'record'").fetchone()
    return 0 if row is None else int(row["last"])
