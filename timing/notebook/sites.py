"""Sites in the notebook file: rows in and out."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from typing import Any

from timing.errors import DataError, UsageError
from timing.intake.stations import Station
from timing.notebook.checks import FieldError, unknown
from timing.notebook.journal import Writer
from timing.notebook.model import NotebookSite, SiteStation
from timing.notebook.readings import Kind, Readings, read_readings, read_span
from timing.notebook.schema import rebuilt
from timing.notebook.words import counted
from timing.plain_text import lookup_key
from timing.species.hazards import load_hazard

SiteEdit = Callable[[NotebookSite], NotebookSite]
Beside = Mapping[Kind, Readings | None]  # what is to be kept beside a site's own; None: nothing


def find(db: sqlite3.Connection, table: str, name: str) -> sqlite3.Row:
    """Row of a site or a tree by its name, whatever the letter case.

    Raises
    ------
    FieldError : there is none; the message lists the nearest names.
    """
    row: sqlite3.Row | None = db.execute(
        f"SELECT * FROM {table} WHERE key = ?", (lookup_key(name),)
    ).fetchone()
    if row is None:
        names = db.execute(f"SELECT name FROM {table} ORDER BY key").fetchall()
        raise unknown(table, name, (str(known["name"]) for known in names))
    return row


def refuse_taken(db: sqlite3.Connection, table: str, name: str, but: int | None = None) -> None:
    """Names are unique: refuse one that another row of the table bears."""
    row = db.execute(
        f"SELECT name FROM {table} WHERE key = ? AND number IS NOT ?", (lookup_key(name), but)
    ).fetchone()
    if row is not None:
        raise FieldError(
            "name",
            f"a {table} called {row['name']} is there already; choose another name",
        )


def read_sites(db: sqlite3.Connection, tag: str | None = None) -> tuple[NotebookSite, ...]:
    """Every site in the order of their names, or those that bear a tag."""
    sites = (_site(row) for row in db.execute("SELECT * FROM site ORDER BY key").fetchall())
    wanted = None if tag is None else lookup_key(tag)
    return tuple(
        site
        for site in sites
        if wanted is None or wanted in {lookup_key(known) for known in site.tags}
    )


def read_site(db: sqlite3.Connection, name: str | None) -> tuple[int, NotebookSite]:
    """Number and content of the site of that name; without a name, of the only one."""
    if name is None:
        names = [str(row["name"]) for row in db.execute("SELECT name FROM site ORDER BY key")]
        if len(names) != 1:
            listed = ", ".join(names[:6]) + (", …" if len(names) > 6 else "")
            held = f"the notebook holds {listed}" if names else "the notebook holds no site yet"
            raise FieldError("site", f"say which site; {held}")
        name = names[0]
    row = find(db, "site", name)
    return int(row["number"]), _site(row)


def add_site(
    writer: Writer, site: NotebookSite, readings: Readings | None, beside: Beside | None = None
) -> str:
    """Write a new site; returns what was done, in words."""
    refuse_taken(writer.db, "site", site.name)
    _refuse_unknown_hazard(site)
    number = writer.add("site", _row(site))
    if readings is not None:
        writer.replace_readings(number, readings, new=True)
    _keep_beside(writer, number, beside)
    return f"added site {site.name} with {_days(writer.db, number)}"


def change_site(
    writer: Writer,
    name: str,
    edit: SiteEdit,
    readings: Readings | None,
    beside: Beside | None = None,
) -> str:
    """Write what ``edit`` makes of a site, and new readings where there are some."""
    number, old = read_site(writer.db, name)
    new = edit(old)
    if readings is not None and new.station is not None and new.station == old.station:
        new = _without_station(new, old)
        beside = {"forecast": None, **(beside or {})}
    new = new.moved(old)
    refuse_taken(writer.db, "site", new.name, but=number)
    _refuse_unknown_hazard(new)
    writer.change("site", number, _row(new))
    _keep_beside(writer, number, beside)
    renamed = "" if new.name == old.name else f", now called {new.name}"
    if readings is None:
        return f"changed site {old.name}{renamed}{_changes(old, new)}"
    if not readings.same(read_readings(writer.db, number)):
        writer.replace_readings(number, readings)
    return f"changed site {old.name}{renamed}; it has {_days(writer.db, number)}"


def _keep_beside(writer: Writer, number: int, beside: Beside | None) -> None:
    for kind, readings in (beside or {}).items():
        writer.replace_beside(number, readings, kind)


def update_site(
    writer: Writer,
    name: str,
    readings: tuple[Readings, Readings],
    edit: SiteEdit,
    news: str,
    *,
    beside: Beside | None = None,
) -> str:
    """Write a site's readings with what its station brought, and what ``edit`` notes of it.

    ``readings`` are those that were brought up to date, and what they became.

    Raises
    ------
    DataError : the site holds other readings by now.
    """
    number, old = read_site(writer.db, name)
    before, after = readings
    if old.station is None or not before.same(read_readings(writer.db, number)):
        raise DataError(f"site {old.name} was changed meanwhile; nothing was kept, update again")
    writer.change("site", number, _row(edit(old)))
    if not after.same(before):
        writer.replace_readings(number, after)
    _keep_beside(writer, number, beside)
    return f"updated site {old.name}: {news}"


def _changes(old: NotebookSite, new: NotebookSite) -> str:
    """Which values of a site changed besides its name, and to what where that is short."""
    told = []
    for field in fields(NotebookSite):
        value = getattr(new, field.name)
        if field.name == "name" or value == getattr(old, field.name):
            continue
        label = field.name.removesuffix("_m").removesuffix("_c")
        if field.name == "station":
            told.append("its station's correction")
        elif isinstance(value, tuple):
            told.append(f"{label} {', '.join(value) or 'none'}")
        else:
            told.append(f"{label} {value:g}" if isinstance(value, float) else label)
    return f": {'; '.join(told)}" if told else ""


def _refuse_unknown_hazard(site: NotebookSite) -> None:
    for name in site.hazards:
        try:
            load_hazard(name)
        except UsageError as error:
            raise FieldError("hazards", str(error)) from error


def _without_station(new: NotebookSite, old: NotebookSite) -> NotebookSite:
    """A site whose station made way for a file: what credited the station goes with it."""
    return replace(
        new,
        station=None,
        attribution="" if new.attribution == old.attribution else new.attribution,
        licence="" if new.licence == old.licence else new.licence,
    )


def remove_site(writer: Writer, name: str) -> str:
    """Delete a site with its temperatures, its trees, their records and its observed dates.

    A date observed at another site on a tree that stands here now stays with that site.
    """
    db = writer.db
    number, site = read_site(db, name)
    trees = numbers(db, "tree", "site", number)
    dates = numbers(db, "observation", "site", number)
    for date in dates:
        writer.drop("observation", date)
    records = len(dates) + sum(drop_tree(writer, tree) for tree in trees)
    days = _days(db, number)
    writer.drop("site", number)
    return (
        f"removed site {site.name} with {days}, {counted(len(trees), 'tree')} and "
        f"{counted(records, 'record')}"
    )


def drop_tree(writer: Writer, number: int) -> int:
    """Delete a tree with its shelters, work and runners; its observed dates stay with their site.

    Returns how many records went.
    """
    db = writer.db
    for date in numbers(db, "observation", "tree", number):
        writer.change("observation", date, {**writer.row("observation", date), "tree": None})
    for shelter in numbers(db, "shelter", "tree", number):
        writer.drop("shelter", shelter)
    gone = 0
    for table in ("work", "runner"):
        for record in numbers(db, table, "tree", number):
            writer.drop(table, record)
            gone += 1
    writer.drop("tree", number)
    return gone


def numbers(db: sqlite3.Connection, table: str, column: str, value: int) -> list[int]:
    """Numbers of the rows of a table that hold a value in a column."""
    rows = db.execute(f"SELECT number FROM {table} WHERE {column} = ?", (value,)).fetchall()
    return [int(row["number"]) for row in rows]


def _days(db: sqlite3.Connection, number: int) -> str:
    span = read_span(db, number)
    if span is None:
        return "no temperatures"
    return f"{counted(span.days, 'day')} of temperatures ({span.first} to {span.last})"


def _row(site: NotebookSite) -> dict[str, Any]:
    return {
        "name": site.name,
        "key": lookup_key(site.name),
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation_m": site.elevation_m,
        "tags": ";".join(site.tags),
        "source": site.source,
        "attribution": site.attribution,
        "licence": site.licence,
        **_station_row(site.station),
        "hazards": ";".join(site.hazards),
        "notes": "\n".join(site.notes),
        "neighbour": site.neighbour,
        "neighbour_credit": site.neighbour_credit,
    }


def _station_row(held: SiteStation | None) -> dict[str, Any]:
    station = held.station if held else None
    return {
        "station": station.code if station else None,
        "station_name": station.name if station else None,
        "station_latitude": station.latitude if station else None,
        "station_longitude": station.longitude if station else None,
        "station_elevation_m": station.elevation_m if station else None,
        "offset_c": held.offset_c if held else None,
        "fetched": held.fetched.isoformat() if held else None,
    }


def _station(row: sqlite3.Row) -> SiteStation | None:
    if row["station"] is None:
        return None
    station = Station(
        row["station"],
        row["station_name"],
        row["station_latitude"],
        row["station_longitude"],
        row["station_elevation_m"],
    )
    return SiteStation(station, row["offset_c"], dt.date.fromisoformat(row["fetched"]))


def _site(row: sqlite3.Row) -> NotebookSite:
    return rebuilt(
        lambda: NotebookSite(
            name=row["name"],
            latitude=row["latitude"],
            longitude=row["longitude"],
            elevation_m=row["elevation_m"],
            tags=tuple(row["tags"].split(";")) if row["tags"] else (),
            source=row["source"],
            attribution=row["attribution"],
            licence=row["licence"],
            station=_station(row),
            hazards=tuple(row["hazards"].split(";")) if row["hazards"] else (),
            notes=tuple(row["notes"].split("\n")) if row["notes"] else (),
            neighbour=row["neighbour"],
            neighbour_credit=row["neighbour_credit"],
        )
    )
