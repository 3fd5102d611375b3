"""Read dates somebody observed: a CSV ``species,event,date`` with optional further columns."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from timing.errors import DataError, SapdialError
from timing.intake.text import csv_rows
from timing.species.model import EVENT_ORDER
from timing.species.names import find_species

COLUMNS = ("species", "event", "date")


@dataclass(frozen=True)
class Observation:
    """One event of one taxon on one date, and the line of the file it stands on.

    ``where`` says what ``line`` counts: lines of a file, or records of the notebook.
    """

    species: str
    event: str
    date: np.datetime64
    line: int
    where: Literal["line", "record"] = "line"


@dataclass(frozen=True)
class ObservationFile:
    """Observations in the order of the file, and what was left out, in sentences."""

    observations: tuple[Observation, ...]
    warnings: tuple[str, ...]


def read_observations(path: Path) -> ObservationFile:
    """Read one file.

    Rows without a date are skipped; events this library does not date are left out and named.

    Raises
    ------
    UsageError : the file cannot be opened.
    DataError : it is not text, lacks a column, or a row names no known taxon or no date.
    """
    rows = iter(csv_rows(path))
    top, names = next(rows, (1, []))
    header = [name.strip().lower() for name in names]
    if absent := [name for name in COLUMNS if name not in header]:
        raise DataError(
            f"{path}, line {top}: no column {', '.join(absent)}; the header must name "
            f"{', '.join(COLUMNS)}"
        )
    where = [header.index(name) for name in COLUMNS]
    found: list[Observation] = []
    undated: dict[str, int] = {}
    for line, row in rows:
        if len(row) <= max(where):
            raise DataError(f"{path}, line {line}: {len(row)} cells; every line needs all columns")
        name, event, day = (row[index].strip() for index in where)
        if not day:
            continue
        if event not in EVENT_ORDER:
            undated[event] = undated.get(event, 0) + 1
            continue
        found.append(Observation(_taxon(name, path, line), event, _day(day, path, line), line))
    warnings = tuple(
        f"{count} dates of {event[:40]!r} left out: no event of that name is dated"
        for event, count in undated.items()
    )
    if not found:
        raise DataError(f"{path}: no usable observation; events are {', '.join(EVENT_ORDER)}")
    return ObservationFile(tuple(found), warnings)


def _taxon(name: str, path: Path, line: int) -> str:
    try:
        slugs = find_species(name)
    except SapdialError as error:
        raise DataError(f"{path}, line {line}: {error}") from error
    if len(slugs) > 1:
        raise DataError(
            f"{path}, line {line}: {name!r} stands for {len(slugs)} taxa; name one, such as "
            f"{slugs[0]}"
        )
    return slugs[0]


def _day(text: str, path: Path, line: int) -> np.datetime64:
    try:
        return np.datetime64(dt.date.fromisoformat(text), "D")
    except ValueError as error:
        raise DataError(
            f"{path}, line {line}: {text[:20]!r} is not a date; write year-month-day, as in "
            "2024-03-31"
        ) from error
