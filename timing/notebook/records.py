"""Observed dates, work done and shoots left to run in the notebook file: rows in and out."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from timing.notebook.checks import FieldError, refuse_future
from timing.notebook.journal import RECORD_TABLES, Writer
from timing.notebook.model import ObservedDate, Record, Runner, WorkDone, begins
from timing.notebook.schema import rebuilt
from timing.notebook.sites import find, read_site
from timing.notebook.trees import checked_event
from timing.notebook.words import record_text

RecordEdit = Callable[[Record], Record]

# What makes two records the same one; what else differs is a change of it.
_IDENTITY = {
    "observation": ("species", "event", "date", "tree", "site"),
    "work": ("tree", "kind", "date"),
    "runner": ("tree", "place", "begun"),
}
_NAMED = {
    "observation": (
        "SELECT r.*, tree.name AS tree_name, site.name AS site_name FROM observation AS r "
        "JOIN site ON site.number = r.site LEFT JOIN tree ON tree.number = r.tree"
    ),
    "work": "SELECT r.*, tree.name AS tree_name FROM work AS r JOIN tree ON tree.number = r.tree",
    "runner": (
        "SELECT r.*, tree.name AS tree_name FROM runner AS r JOIN tree ON tree.number = r.tree"
    ),
}


def read_records(
    db: sqlite3.Connection, *, tree: str | None = None, site: str | None = None
) -> tuple[Record, ...]:
    """Records in the order of their dates: all, those of a tree, or those at a site.

    At a site are the dates observed there and the work on the trees that stand there now.
    """
    values: tuple[int, ...] = ()
    where = dict.fromkeys(RECORD_TABLES, "")
    if tree is not None:
        values = (int(find(db, "tree", tree)["number"]),)
        where = dict.fromkeys(RECORD_TABLES, "WHERE r.tree = ?")
    elif site is not None:
        values = (int(find(db, "site", site)["number"]),)
        where = dict.fromkeys(RECORD_TABLES, "WHERE tree.site = ?")
        where["observation"] = "WHERE r.site = ?"
    found = [
        _record(table, row)
        for table in RECORD_TABLES
        for row in db.execute(f"{_NAMED[table]} {where[table]}", values).fetchall()
    ]
    return tuple(sorted(found, key=lambda record: (begins(record), record.number)))


def read_record(db: sqlite3.Connection, number: int) -> Record:
    """The record of that number.

    Raises
    ------
    FieldError : there is none.
    """
    if 0 < number < 2**63:
        for table in RECORD_TABLES:
            row = db.execute(f"{_NAMED[table]} WHERE r.number = ?", (number,)).fetchone()
            if row is not None:
                return _record(table, row)
    raise FieldError(
        "record", f"no record {number} in the notebook; 'sapdial record list' shows all"
    )


def add_record(writer: Writer, record: Record) -> int:
    """Write a new record; returns its number.

    Raises
    ------
    FieldError : tree or site are unknown, the taxon has no such event, the date is to come, or
        the same thing is noted already.
    """
    table, row = prepared(writer, record)
    _refuse_noted(writer.db, table, row)
    number = writer.add(table, row)
    writer.what = f"noted {number}: {record_text(read_record(writer.db, number))}"
    return number


def change_record(writer: Writer, number: int, edit: RecordEdit) -> None:
    """Write what ``edit`` makes of a record, which must stay of its kind."""
    old = read_record(writer.db, number)
    new = edit(old)
    if type(new) is not type(old):
        raise FieldError("record", f"record {number} cannot become another kind of record")
    if isinstance(new, ObservedDate) and isinstance(old, ObservedDate) and new.tree != old.tree:
        new = replace(new, species="", site="") if new.tree else new  # the other tree's own
    table, row = prepared(writer, new)
    _refuse_noted(writer.db, table, row, but=number)
    writer.change(table, number, row)
    writer.what = f"changed record {number}: {record_text(read_record(writer.db, number))}"


def remove_record(writer: Writer, number: int) -> None:
    """Delete a record."""
    old = read_record(writer.db, number)
    writer.drop(_table(old), number)
    writer.what = f"removed record {number}: {record_text(old)}"


def prepared(writer: Writer, record: Record) -> tuple[str, dict[str, Any]]:
    """Table and row of a record, checked against the notebook and its species."""
    db = writer.db
    tree = find(db, "tree", record.tree) if record.tree else None
    if isinstance(record, ObservedDate):
        refuse_future(record.date, "date", writer.when)
        return "observation", _observation(db, record, tree)
    assert tree is not None
    if isinstance(record, WorkDone):
        refuse_future(record.date, "date", writer.when)
        return "work", {
            "tree": tree["number"],
            "kind": record.kind,
            "date": record.date.isoformat(),
            "fraction": record.fraction,
            "note": record.note,
        }
    refuse_future(record.begun, "begun", writer.when)
    refuse_future(record.ended, "ended", writer.when)
    refuse_future(record.looked, "looked", writer.when)
    return "runner", {
        "tree": tree["number"],
        "place": record.place,
        "begun": record.begun.isoformat(),
        "ended": None if record.ended is None else record.ended.isoformat(),
        "note": record.note,
        "looked": None if record.looked is None else record.looked.isoformat(),
    }


def same_record(
    db: sqlite3.Connection,
    table: str,
    row: dict[str, Any],
    *,
    but: int = 0,
    upto: int = 2**63 - 1,
) -> int | None:
    """Number of the record that notes the same thing, or None.

    Parameters
    ----------
    but : a record that does not count.
    upto : later records do not count.
    """
    names = _IDENTITY[table]
    where = " AND ".join(f"{name} IS ?" for name in names)
    found = db.execute(
        f"SELECT number FROM {table} WHERE {where} AND number != ? AND number <= ? ORDER BY number",
        (*(row[name] for name in names), but, upto),
    ).fetchone()
    return None if found is None else int(found["number"])


def _refuse_noted(db: sqlite3.Connection, table: str, row: dict[str, Any], *, but: int = 0) -> None:
    number = same_record(db, table, row, but=but)
    if number is not None:
        raise FieldError(
            "record",
            f"noted already as record {number}: {record_text(read_record(db, number))}; change "
            "that one",
        )


def _observation(
    db: sqlite3.Connection, record: ObservedDate, tree: sqlite3.Row | None
) -> dict[str, Any]:
    if record.site or tree is None:
        site, _ = read_site(db, record.site or None)
    else:
        site = int(tree["site"])
    species = record.species or str(tree["species"] if tree is not None else "")
    if tree is not None and species != tree["species"]:
        raise FieldError(
            "species", f"{tree['name']} is {tree['species']}, not {species}; leave the species out"
        )
    checked_event(species, record.event)
    return {
        "species": species,
        "event": record.event,
        "date": record.date.isoformat(),
        "tree": None if tree is None else tree["number"],
        "site": site,
        "note": record.note,
    }


def _table(record: Record) -> str:
    if isinstance(record, ObservedDate):
        return "observation"
    return "runner" if isinstance(record, Runner) else "work"


def _record(table: str, row: sqlite3.Row) -> Record:
    return rebuilt(lambda: _build(table, row))


def _build(table: str, row: sqlite3.Row) -> Record:
    if table == "observation":
        return ObservedDate(
            event=row["event"],
            date=dt.date.fromisoformat(row["date"]),
            tree=row["tree_name"] or "",
            site=row["site_name"],
            species=row["species"],
            note=row["note"],
            number=row["number"],
        )
    if table == "work":
        return WorkDone(
            tree=row["tree_name"],
            kind=row["kind"],
            date=dt.date.fromisoformat(row["date"]),
            fraction=row["fraction"],
            note=row["note"],
            number=row["number"],
        )
    return Runner(
        tree=row["tree_name"],
        place=row["place"],
        begun=dt.date.fromisoformat(row["begun"]),
        ended=None if row["ended"] is None else dt.date.fromisoformat(row["ended"]),
        note=row["note"],
        looked=None if row["looked"] is None else dt.date.fromisoformat(row["looked"]),
        number=row["number"],
    )
