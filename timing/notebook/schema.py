"""The notebook file: its tables, how it is opened, and what is said when it cannot be.

One SQLite file with a rollback journal and full synchronisation, so that one notebook stays one
file and a killed program leaves the old state or the new one. A program that writes waits up
to ten seconds for another that is writing.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TypeVar

from timing.errors import DataError, SapdialError, UsageError

Migration = Callable[[sqlite3.Connection], None]
T = TypeVar("T")

APPLICATION_ID = 0x53415044  # marks the file as a notebook of this program
BUSY_SECONDS = 10.0
SMALLEST_BYTES = 512  # of a SQLite file that holds anything
CHECKED_BYTES = 64_000_000  # a larger file is checked when it is opened for writing only

# Columns of the tables whose rows the journal keeps; each has a column ``number`` besides.
TABLES: dict[str, tuple[str, ...]] = {
    "site": (
        *("name", "key", "latitude", "longitude", "elevation_m"),
        *("tags", "source", "attribution", "licence"),
        *("station", "station_name", "station_latitude", "station_longitude"),
        *("station_elevation_m", "offset_c", "fetched", "hazards"),
        *("notes", "neighbour", "neighbour_credit"),
    ),
    "tree": ("name", "key", "species", "site", "condition", "pot_cm", "note"),
    "shelter": ("tree", "kind", "key", "tmin_offset_c", "tmax_offset_c", "starts", "until"),
    "observation": ("species", "event", "date", "tree", "site", "note"),
    "work": ("tree", "kind", "date", "fraction", "note"),
    "runner": ("tree", "place", "begun", "ended", "note", "looked"),
}

VERSION_1 = (
    """CREATE TABLE site (
        number INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        key TEXT NOT NULL UNIQUE,
        latitude REAL NOT NULL CHECK (latitude BETWEEN -90 AND 90),
        longitude REAL NOT NULL CHECK (longitude BETWEEN -180 AND 180),
        elevation_m REAL,
        tags TEXT NOT NULL, -- separated by semicolons
        source TEXT NOT NULL,
        attribution TEXT NOT NULL,
        licence TEXT NOT NULL)""",
    """CREATE TABLE tree (
        number INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        key TEXT NOT NULL UNIQUE,
        species TEXT NOT NULL,
        site INTEGER NOT NULL REFERENCES site,
        condition TEXT NOT NULL CHECK (condition IN ('vigorous', 'established', 'weak')),
        pot_cm REAL,
        note TEXT NOT NULL)""",
    """CREATE TABLE shelter (
        number INTEGER PRIMARY KEY,
        tree INTEGER NOT NULL REFERENCES tree,
        kind TEXT NOT NULL,
        key TEXT NOT NULL,
        tmin_offset_c REAL NOT NULL,
        tmax_offset_c REAL NOT NULL,
        starts TEXT NOT NULL, -- MM-DD, or '' for all year
        until TEXT NOT NULL,
        UNIQUE (tree, key))""",
    """CREATE TABLE observation (
        number INTEGER PRIMARY KEY,
        species TEXT NOT NULL,
        event TEXT NOT NULL,
        date TEXT NOT NULL,
        tree INTEGER REFERENCES tree,
        site INTEGER NOT NULL REFERENCES site,
        note TEXT NOT NULL)""",
    """CREATE TABLE work (
        number INTEGER PRIMARY KEY,
        tree INTEGER NOT NULL REFERENCES tree,
        kind TEXT NOT NULL,
        date TEXT NOT NULL,
        fraction REAL CHECK (fraction BETWEEN 0 AND 1),
        note TEXT NOT NULL)""",
    """CREATE TABLE runner (
        number INTEGER PRIMARY KEY,
        tree INTEGER NOT NULL REFERENCES tree,
        place TEXT NOT NULL,
        begun TEXT NOT NULL,
        ended TEXT,
        note TEXT NOT NULL)""",
    """CREATE TABLE temperature (
        site INTEGER NOT NULL REFERENCES site,
        day INTEGER NOT NULL, -- since 1970-01-01
        tmin_c REAL, -- NULL: missing
        tmax_c REAL,
        PRIMARY KEY (site, day)) WITHOUT ROWID""",
    "CREATE INDEX tree_site ON tree (site)",
    "CREATE INDEX observation_site ON observation (site, date)",
    "CREATE INDEX observation_tree ON observation (tree)",
    "CREATE INDEX work_tree ON work (tree)",
    "CREATE INDEX runner_tree ON runner (tree)",
    # the last number given to a row of each sort; observations, work and runners share one
    "CREATE TABLE numbering (sort TEXT PRIMARY KEY, last INTEGER NOT NULL) WITHOUT ROWID",
    """CREATE TABLE change (
        number INTEGER PRIMARY KEY AUTOINCREMENT,
        made TEXT NOT NULL,
        what TEXT NOT NULL)""",
    """CREATE TABLE change_row (
        change INTEGER NOT NULL REFERENCES change ON DELETE CASCADE,
        step INTEGER NOT NULL,
        relation TEXT NOT NULL,
        row INTEGER NOT NULL,
        before TEXT, -- the row as JSON; NULL: there was none
        temperatures BLOB, -- a site's readings before; NULL: they did not change
        PRIMARY KEY (change, step))""",
)


def _create(db: sqlite3.Connection) -> None:
    for statement in VERSION_1:
        db.execute(statement)


def _add_stations(db: sqlite3.Connection) -> None:
    """The weather station of a site, all NULL where its temperatures came as a file."""
    for column in (
        *("station TEXT", "station_name TEXT", "station_latitude REAL", "station_longitude REAL"),
        *("station_elevation_m REAL", "offset_c REAL", "fetched TEXT"),
    ):
        db.execute(f"ALTER TABLE site ADD COLUMN {column}")
    db.execute("DELETE FROM change_row")  # nothing cascades while tables change
    db.execute("DELETE FROM change")


def _add_hazards_and_looks(db: sqlite3.Connection) -> None:
    """The hazards of a site, separated by semicolons; when a running shoot was last looked at."""
    db.execute("ALTER TABLE site ADD COLUMN hazards TEXT NOT NULL DEFAULT ''")
    db.execute("ALTER TABLE runner ADD COLUMN looked TEXT")
    db.execute("DELETE FROM change_row")
    db.execute("DELETE FROM change")


def _add_intake(db: sqlite3.Connection) -> None:
    """What reading a site's temperatures told, and temperatures beside them: a neighbour's, which
    fill its gaps, and what is forecast."""
    for column in ("notes", "neighbour", "neighbour_credit"):
        db.execute(f"ALTER TABLE site ADD COLUMN {column} TEXT NOT NULL DEFAULT ''")
    db.execute(
        """CREATE TABLE beside (
        site INTEGER NOT NULL REFERENCES site,
        kind TEXT NOT NULL CHECK (kind IN ('neighbour', 'forecast')),
        day INTEGER NOT NULL, -- since 1970-01-01
        tmin_c REAL, -- NULL: missing
        tmax_c REAL,
        PRIMARY KEY (site, kind, day)) WITHOUT ROWID"""
    )
    db.execute("DELETE FROM change_row")
    db.execute("DELETE FROM change")


# Step n takes a notebook from version n to n + 1. A step that changes the columns of TABLES
# also empties the table ``change``, whose rows were kept in the old form.
MIGRATIONS: tuple[Migration, ...] = (
    _create,
    _add_stations,
    _add_hazards_and_looks,
    _add_intake,
)


class NoNotebookError(DataError):
    """There is no notebook at the path yet."""


class BrokenRowError(Exception):
    """A row of the file cannot be what this library wrote; `explained` says so."""


def connect(
    path: Path, *, create: bool = False, migrations: Sequence[Migration] | None = None
) -> sqlite3.Connection:
    """Open a notebook file, made or brought up to date where needed.

    Parameters
    ----------
    path : the file.
    create : make the notebook where there is none; its folder must exist.
    migrations : the steps to the newest version.

    Raises
    ------
    NoNotebookError : there is none and it should not be made.
    UsageError : the path is a folder, or its folder does not exist.
    DataError : the file is no notebook, comes from a newer version, or is damaged.
    """
    steps = MIGRATIONS if migrations is None else migrations
    if path.is_dir():
        raise UsageError(f"{path}: a folder, where a notebook is one file; name a file in it")
    if not path.exists():
        if not create:
            raise _none(path)
        if not path.parent.is_dir():
            raise UsageError(f"{path}: cannot be made, its folder does not exist")
    elif 0 < path.stat().st_size < SMALLEST_BYTES and not _journal(path).exists():
        raise _no_database(path)  # SQLite would take a scrap for an empty file and write over it
    with explained(path):
        uri = f"{path.absolute().as_uri()}?mode={'rwc' if create else 'rw'}"
        db = sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None)
        try:
            _prepare(db, path, create, steps)
        except BaseException:
            db.close()
            raise
    return db


def _prepare(db: sqlite3.Connection, path: Path, create: bool, steps: Sequence[Migration]) -> None:
    db.row_factory = sqlite3.Row
    db.execute("PRAGMA trusted_schema = OFF")
    db.execute("PRAGMA cell_size_check = ON")
    db.execute("PRAGMA synchronous = FULL")
    version = _version(db, path, len(steps))
    if version == 0 and not create and _empty(db):
        raise _none(path)
    if create or path.stat().st_size <= CHECKED_BYTES:
        found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
        if found != "ok":
            raise _damaged(path, str(found))
    if version < len(steps):
        with writing(db, path):
            for step in steps[_version(db, path, len(steps)) :]:  # another may have been faster
                step(db)
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute(f"PRAGMA user_version = {len(steps)}")
            if db.execute("PRAGMA foreign_key_check").fetchone():
                raise _damaged(path, "a row points to one that is not there")
    if not _tables(steps) <= _statements(db):
        raise _damaged(path, "its tables are not those that were made")
    db.execute("PRAGMA foreign_keys = ON")


def _version(db: sqlite3.Connection, path: Path, newest: int) -> int:
    """Version of the tables, 0 for an empty file; refuses what is no notebook or a newer one."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        if version == 0 and _empty(db):
            return 0
        raise DataError(f"{path}: a database of another program, not a notebook")
    if version > newest:
        raise DataError(
            f"{path}: written by a newer version of sapdial (notebook version {version}, this one "
            f"reads up to {newest}); install the newer sapdial to open it"
        )
    return version


def _tables(steps: Sequence[Migration]) -> set[tuple[str, str]]:
    """Names and definitions of the tables that the steps make."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        for step in steps:
            step(fresh)
        return _statements(fresh)


def _statements(db: sqlite3.Connection) -> set[tuple[str, str]]:
    rows = db.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    return {(row[0], row[1]) for row in rows}


def _empty(db: sqlite3.Connection) -> bool:
    return db.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone() is None


@contextmanager
def reading(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Everything read in the block belongs to one moment."""
    with explained(path):
        db.execute("BEGIN")
        try:
            yield
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")


@contextmanager
def writing(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Everything written in the block is kept, or nothing where it fails."""
    with explained(path):
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn what SQLite complains about into one sentence."""
    try:
        yield
    except sqlite3.ProgrammingError:  # a mistake in this library
        raise
    except sqlite3.Error as error:
        raise _sentence(path, error) from error
    except (BrokenRowError, UnicodeDecodeError) as error:
        raise _damaged(path, str(error)) from error


def rebuilt(build: Callable[[], T]) -> T:
    """Make something from a row of the file, or say that the row is broken."""
    try:
        return build()
    except (ValueError, TypeError, UsageError) as error:
        raise BrokenRowError(str(error)) from error


def _sentence(path: Path, error: sqlite3.Error) -> SapdialError:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return DataError(
            f"{path}: another program is using the notebook and did not finish within "
            f"{BUSY_SECONDS:g} seconds; nothing was changed, try again"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM):
        return UsageError(
            f"{path}: cannot be written, the file or the folder it lies in is read-only; nothing "
            "was changed"
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return UsageError(
            f"{path}: cannot be opened or written; the file must be yours to read, and to change "
            "it its folder must be writable too; nothing was changed"
        )
    if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return DataError(
            f"{path}: could not be read or written ({error}); nothing was changed, see whether the "
            "disk has room and try again"
        )
    if code == sqlite3.SQLITE_NOTADB:
        return _no_database(path)
    return _damaged(path, str(error))


def _journal(path: Path) -> Path:
    """Where SQLite keeps what stood in the file while a change is being written."""
    return path.with_name(f"{path.name}-journal")


def _no_database(path: Path) -> DataError:
    return DataError(
        f"{path}: not a notebook (no SQLite file), or its beginning is damaged; name another file "
        "or put a copy back in its place"
    )


def _damaged(path: Path, detail: str) -> DataError:
    return DataError(
        f"{path}: the notebook is damaged ({' '.join(detail.split())[:80]}); keep this file as it "
        "is, then put back a copy or an export, or take what can still be read with "
        "'sqlite3 FILE .recover'"
    )


def _none(path: Path) -> NoNotebookError:
    return NoNotebookError(f"{path}: no notebook there yet; 'sapdial site add' begins one")
