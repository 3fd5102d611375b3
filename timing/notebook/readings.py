"""Temperatures in the notebook: one row a day, as they were read, before checks and mending."""

from __future__ import annotations

import sqlite3
import zlib
from dataclasses import dataclass
from typing import Literal

import numpy as np

from timing.errors import UsageError
from timing.notebook.schema import rebuilt
from timing.season import Days, Floats
from timing.temperature import TemperatureRecord, record_from_readings

Kind = Literal["own", "neighbour", "forecast"]
BESIDE: tuple[Kind, ...] = ("neighbour", "forecast")  # what is kept beside a site's own readings


@dataclass(frozen=True, eq=False)
class Readings:
    """Daily extremes as they were read.

    Parameters
    ----------
    days : array (readings,), strictly increasing dates; absent days are gaps.
    tmin_c, tmax_c : arrays (readings,), NaN where missing [°C].

    Days on which both are missing are dropped but for the first and the last, which bound the
    record.

    Raises
    ------
    UsageError : there is no reading, the arrays differ in length or the days do not increase.
    """

    days: Days
    tmin_c: Floats
    tmax_c: Floats

    def __post_init__(self) -> None:
        days = np.asarray(self.days, dtype="M8[D]")
        low, high = (np.asarray(values, dtype=float) for values in (self.tmin_c, self.tmax_c))
        if not len(days) == len(low) == len(high) > 0:
            raise UsageError("temperatures need as many minima and maxima as days, one at least")
        if not bool((np.diff(days).astype(np.int64) > 0).all()):
            raise UsageError("temperatures need one reading a day, the days in order")
        if np.isinf(low).any() or np.isinf(high).any():
            raise UsageError("temperatures need finite numbers, or none where a reading is missing")
        kept = ~(np.isnan(low) & np.isnan(high))
        kept[[0, -1]] = True
        for name, values in (("days", days), ("tmin_c", low), ("tmax_c", high)):
            object.__setattr__(self, name, values[kept])

    @classmethod
    def of(cls, record: TemperatureRecord) -> Readings:
        """Readings of a record, before its checks and mending."""
        days = record.first + np.arange(len(record.raw_tmin_c))
        return cls(days, record.raw_tmin_c, record.raw_tmax_c)

    def record(
        self,
        source: str,
        *,
        until: np.datetime64 | None = None,
        neighbour: TemperatureRecord | None = None,
    ) -> TemperatureRecord:
        """The same checked and mended; see `timing.temperature.record_from_readings`."""
        return record_from_readings(
            self.days, self.tmin_c, self.tmax_c, source=source, until=until, neighbour=neighbour
        )

    def shifted(self, offset_c: float) -> Readings:
        """The same, every reading so much warmer [°C]."""
        if not offset_c:
            return self
        return Readings(self.days, self.tmin_c + offset_c, self.tmax_c + offset_c)

    def same(self, other: Readings | None) -> bool:
        """Whether another holds the same days and the same readings."""
        return other is not None and all(
            np.array_equal(one, two, equal_nan=True)
            for one, two in (
                (self.days, other.days),
                (self.tmin_c, other.tmin_c),
                (self.tmax_c, other.tmax_c),
            )
        )

    def packed(self) -> bytes:
        """The same as a compressed block, for the journal."""
        days = self.days.astype(np.int64).astype("<i4")
        parts = (days, self.tmin_c.astype("<f8"), self.tmax_c.astype("<f8"))
        return zlib.compress(b"".join(part.tobytes() for part in parts), level=6)


@dataclass(frozen=True)
class Span:
    """First and last day of a record, days with a full pair of readings, days without."""

    first: np.datetime64
    last: np.datetime64
    days: int
    missing_days: int


def unpacked(block: bytes) -> Readings | None:
    """Readings out of a compressed block; None from an empty one."""
    if not block:
        return None
    try:
        raw = zlib.decompress(block)
    except zlib.error as error:
        raise ValueError(str(error)) from error
    count = len(raw) // 20
    days = np.frombuffer(raw, "<i4", count).astype("M8[D]")
    low = np.frombuffer(raw, "<f8", count, 4 * count)
    high = np.frombuffer(raw, "<f8", count, 12 * count)
    return Readings(days, low, high)


def read_readings(db: sqlite3.Connection, site: int, kind: Kind = "own") -> Readings | None:
    """Readings of a site, or those of a kind kept beside them; None where it has none."""
    cursor = db.cursor()
    cursor.row_factory = None  # plain rows are quicker
    table, key = _place(site, kind)
    rows = cursor.execute(f"SELECT day, tmin_c, tmax_c FROM {table} ORDER BY day", key).fetchall()
    if not rows:
        return None

    def build() -> Readings:
        table = np.array(rows, dtype=float)
        days = table[:, 0].astype(np.int64).astype("M8[D]")
        return Readings(days, table[:, 1], table[:, 2])

    return rebuilt(build)


def write_readings(
    db: sqlite3.Connection, site: int, readings: Readings | None, kind: Kind = "own"
) -> None:
    """Put readings in the place of a site's old ones of that kind."""
    table, key = _place(site, kind)
    db.execute(f"DELETE FROM {table}", key)
    if readings is None:
        return
    days = readings.days.astype(np.int64).tolist()
    low, high = readings.tmin_c.tolist(), readings.tmax_c.tolist()
    keys = ([value] * len(days) for value in key)
    marks = ", ".join("?" * (len(key) + 3))
    db.executemany(
        f"INSERT INTO {table.split()[0]} VALUES ({marks})",  # SQLite keeps NaN as NULL
        zip(*keys, days, low, high, strict=True),
    )


def _place(site: int, kind: Kind) -> tuple[str, tuple[int | str, ...]]:
    """Table and condition of a site's readings of a kind, and what fills the condition."""
    if kind == "own":
        return "temperature WHERE site = ?", (site,)
    return "beside WHERE site = ? AND kind = ?", (site, kind)


def read_span(db: sqlite3.Connection, site: int, kind: Kind = "own") -> Span | None:
    """First and last day of a site's readings of a kind and how many there are, or None."""
    table, key = _place(site, kind)
    first, last, pairs = db.execute(
        f"SELECT min(day), max(day), count(tmin_c + tmax_c) FROM {table}", key
    ).fetchone()
    if first is None:
        return None
    start, end = np.datetime64(first, "D"), np.datetime64(last, "D")
    return Span(start, end, pairs, last - first + 1 - pairs)
