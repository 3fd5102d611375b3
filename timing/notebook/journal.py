"""Every change writes what it replaced into a journal, in the same transaction."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from timing.errors import DataError
from timing.notebook.readings import (
    BESIDE,
    Kind,
    Readings,
    read_readings,
    unpacked,
    write_readings,
)
from timing.notebook.schema import TABLES, BrokenRowError, rebuilt, writing

KEPT_CHANGES = 20  # older ones can no longer be undone
RECORD_TABLES = ("observation", "work", "runner")

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Change:
    """One change: when it was made, and what it did in words."""

    when: dt.datetime
    what: str


class Writer:
    """Writes rows and remembers what stood there; one object serves one change."""

    def __init__(self, db: sqlite3.Connection, when: dt.datetime) -> None:
        self.db, self.when, self.what = db, when, ""
        made = when.isoformat(timespec="seconds")
        self._change = db.execute(
            "INSERT INTO change (made, what) VALUES (?, '')", (made,)
        ).lastrowid
        self._steps = 0

    @property
    def change_made(self) -> Change:
        """What was done, for the caller."""
        return Change(self.when, self.what)

    def row(self, table: str, number: int) -> dict[str, Any]:
        """What stands under a number of a table, without the number."""
        columns = ", ".join(TABLES[table])
        found = self.db.execute(f"SELECT {columns} FROM {table} WHERE number = ?", (number,))
        return dict(found.fetchone())

    def add(self, table: str, row: Row) -> int:
        """Insert a row and give it the next number of its sort, which is never given again."""
        sort = "record" if table in RECORD_TABLES else table
        self.db.execute("INSERT OR IGNORE INTO numbering VALUES (?, 0)", (sort,))
        self.db.execute("UPDATE numbering SET last = last + 1 WHERE sort = ?", (sort,))
        number = int(
            self.db.execute("SELECT last FROM numbering WHERE sort = ?", (sort,)).fetchone()[0]
        )
        self._remember(table, number, None)
        _insert(self.db, table, number, row)
        return number

    def change(self, table: str, number: int, row: Row) -> None:
        """Write a row in the place of the one of that number, unless they are equal."""
        before = self.row(table, number)
        if before != dict(row):
            self._remember(table, number, before)
            _update(self.db, table, number, row)

    def drop(self, table: str, number: int) -> None:
        """Delete a row, and a site's temperatures with it."""
        if table == "site":
            for kind in BESIDE:
                self.replace_beside(number, None, kind)
        before = self.row(table, number)
        kept = _packed(self.db, number) if table == "site" else None
        self._remember(table, number, before, kept)
        _delete(self.db, table, number)

    def replace_readings(self, site: int, readings: Readings, *, new: bool = False) -> None:
        """Put readings in the place of a site's old ones; a new site's are not remembered."""
        if not new:
            self._remember("site", site, self.row("site", site), _packed(self.db, site))
        write_readings(self.db, site, readings)

    def replace_beside(self, site: int, readings: Readings | None, kind: Kind) -> None:
        """Put readings in the place of those of a kind kept beside a site's own, if they differ."""
        held = read_readings(self.db, site, kind)
        if held is None if readings is None else readings.same(held):
            return
        self._remember(kind, site, None, b"" if held is None else held.packed())
        write_readings(self.db, site, readings, kind)

    def finish(self) -> None:
        """Say in words what was done and forget the oldest changes.

        Where nothing was changed nothing can be undone either.
        """
        if not self._steps:
            self.db.execute("DELETE FROM change WHERE number = ?", (self._change,))
            return
        self.db.execute("UPDATE change SET what = ? WHERE number = ?", (self.what, self._change))
        self.db.execute(
            "DELETE FROM change WHERE number <= "
            "(SELECT number FROM change ORDER BY number DESC LIMIT 1 OFFSET ?)",
            (KEPT_CHANGES,),
        )

    def _remember(
        self, table: str, number: int, before: Row | None, temperatures: bytes | None = None
    ) -> None:
        self._steps += 1
        text = None if before is None else json.dumps(dict(before))
        self.db.execute(
            "INSERT INTO change_row VALUES (?, ?, ?, ?, ?, ?)",
            (self._change, self._steps, table, number, text, temperatures),
        )


@contextmanager
def changing(db: sqlite3.Connection, path: Path, when: dt.datetime) -> Iterator[Writer]:
    """One change: everything the block writes, with its journal, or nothing."""
    with writing(db, path):
        writer = Writer(db, when)
        yield writer
        writer.finish()


def last_change(db: sqlite3.Connection) -> Change | None:
    """The change that `undo` would revert, or None."""
    row = db.execute("SELECT made, what FROM change ORDER BY number DESC LIMIT 1").fetchone()
    if row is None:
        return None
    return rebuilt(lambda: Change(dt.datetime.fromisoformat(row["made"]), row["what"]))


def undo(db: sqlite3.Connection, path: Path) -> Change:
    """Put back what the last change replaced.

    Raises
    ------
    DataError : there is no change left to undo.
    """
    with writing(db, path):
        change = last_change(db)
        if change is None:
            raise DataError(f"{path}: nothing to undo (the last {KEPT_CHANGES} changes are kept)")
        number = db.execute("SELECT max(number) FROM change").fetchone()[0]
        steps = db.execute(
            "SELECT * FROM change_row WHERE change = ? ORDER BY step DESC", (number,)
        ).fetchall()
        for step in steps:  # backwards, so that every state passed through was one before
            _revert(db, step)
        db.execute("DELETE FROM change WHERE number = ?", (number,))
    return change


def _revert(db: sqlite3.Connection, step: sqlite3.Row) -> None:
    table, number = step["relation"], step["row"]
    if table in BESIDE:
        held = rebuilt(lambda: unpacked(step["temperatures"] or b""))
        write_readings(db, number, held, table)
        return
    if table not in TABLES:
        raise BrokenRowError(f"a change of {table!r}")
    if step["before"] is None:
        _delete(db, table, number)
        return
    before = rebuilt(lambda: dict(json.loads(step["before"])))
    if set(before) != set(TABLES[table]):
        raise BrokenRowError(f"a change of a {table} that has other columns")
    if db.execute(f"SELECT 1 FROM {table} WHERE number = ?", (number,)).fetchone():
        _update(db, table, number, before)
    else:
        _insert(db, table, number, before)
    if step["temperatures"] is not None:
        write_readings(db, number, rebuilt(lambda: unpacked(step["temperatures"])))


def _packed(db: sqlite3.Connection, site: int) -> bytes:
    readings = read_readings(db, site)
    return b"" if readings is None else readings.packed()


def _insert(db: sqlite3.Connection, table: str, number: int, row: Row) -> None:
    columns = TABLES[table]
    marks = ", ".join("?" * (len(columns) + 1))
    db.execute(
        f"INSERT INTO {table} (number, {', '.join(columns)}) VALUES ({marks})",
        (number, *(row[name] for name in columns)),
    )


def _update(db: sqlite3.Connection, table: str, number: int, row: Row) -> None:
    columns = TABLES[table]
    db.execute(
        f"UPDATE {table} SET {', '.join(f'{name} = ?' for name in columns)} WHERE number = ?",
        (*(row[name] for name in columns), number),
    )


def _delete(db: sqlite3.Connection, table: str, number: int) -> None:
    if table == "site":
        for kind in ("own", *BESIDE):
            write_readings(db, number, None, kind)
    db.execute(f"DELETE FROM {table} WHERE number = ?", (number,))
