"""A survey as NetCDF (CF conventions): arrays of site × taxon × event and site × taxon × work.

Needs netCDF4 (extra ``grid``). Of the windows of a kind of work only the longest is kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

import numpy as np
from netCDF4 import Dataset

from timing.season import Floats
from timing.species.model import EVENT_ORDER, WORK_KINDS
from timing.survey_parts import read_rows
from timing.survey_rows import FIRST_OF_JANUARY, Row

DIMENSIONS = {"event": (*EVENT_ORDER, "last_frost", "first_frost"), "work": WORK_KINDS}
LEVELS = ("none", "marginal", "safe")
NO_DAY = -9999


class Variable(NamedTuple):
    """One array: its dimensions after site, type, what stands where nothing is known, unit."""

    dimensions: tuple[str, ...]
    form: str
    missing: float
    units: str
    text: str


DAY = "days since 2022-01-01"
OF_EVENT, OF_WORK = ("taxon", "event"), ("taxon", "work")
VARIABLES = {
    "latitude": Variable((), "f8", np.nan, "degrees_north", "latitude"),
    "longitude": Variable((), "f8", np.nan, "degrees_east", "longitude"),
    "elevation_m": Variable((), "f8", np.nan, "m", "height above sea level"),
    "seasons": Variable((), "i2", 0, "1", "seasons that the dates rest on"),
    "early": Variable(OF_EVENT, "i2", NO_DAY, DAY, "date by which one case in ten has come"),
    "median": Variable(OF_EVENT, "i2", NO_DAY, DAY, "median date"),
    "late": Variable(OF_EVENT, "i2", NO_DAY, DAY, "date by which nine cases in ten have come"),
    "share": Variable(OF_EVENT, "f4", np.nan, "1", "share of cases in which the event happens"),
    "opens": Variable(OF_WORK, "i2", NO_DAY, DAY, "first day of the longest window"),
    "closes": Variable(OF_WORK, "i2", NO_DAY, DAY, "last day of the longest window"),
    "level": Variable(OF_WORK, "i1", -1, "1", "level of the windows"),
    "best_chance": Variable(OF_WORK, "f4", np.nan, "1", "highest chance of a day in it"),
}


def write(path: Path, parts: Sequence[Path], taxa: Sequence[str]) -> None:
    """Write the parts of a survey site by site."""
    names = {"taxon": tuple(taxa), **DIMENSIONS}
    place = {dim: {name: at for at, name in enumerate(of)} for dim, of in names.items()}
    sites = sum(1 for row in read_rows(parts) if row.kind == "site")
    with Dataset(str(path), "w", format="NETCDF4") as file:
        file.Conventions = "CF-1.8"
        file.title = "Usual dates and safe windows for cuts, by site and taxon"
        file.createDimension("site", sites)
        for dim, of in names.items():
            file.createDimension(dim, len(of))
            file.createVariable(dim, str, (dim,))[:] = np.array(of, dtype=object)
        for name in ("site", "note"):
            file.createVariable(name, str, ("site",))
        for name, of_name in VARIABLES.items():
            _create(file, name, of_name)
        for number, rows in groupby(_numbered(parts), key=lambda item: item[0]):
            _write_site(file, number, [row for _, row in rows], place)


def _numbered(parts: Sequence[Path]) -> Iterator[tuple[int, Row]]:
    """Rows with the number of their site; a site begins with its row of kind ``site``."""
    number = -1
    for row in read_rows(parts):
        number += row.kind == "site"
        yield number, row


def _create(file: Dataset, name: str, of: Variable) -> None:
    made = file.createVariable(
        name, of.form, ("site", *of.dimensions), zlib=True, fill_value=of.missing
    )
    made.units, made.long_name = of.units, of.text
    if of.units == DAY:
        made.calendar = "standard"
    if name == "level":
        made.flag_values = np.arange(len(LEVELS), dtype="i1")
        made.flag_meanings = " ".join(LEVELS)


def _write_site(
    file: Dataset, number: int, rows: list[Row], place: dict[str, dict[str, int]]
) -> None:
    first = rows[0]
    file["site"][number], file["note"][number] = first.site, first.note
    values: dict[str, Floats] = {
        name: np.full([len(place[dim]) for dim in of.dimensions], of.missing)
        for name, of in VARIABLES.items()
    }
    for row in rows:
        if row.number not in ("", "1"):
            continue
        at: tuple[int, ...] = ()
        if row.kind != "site":
            at = place["taxon"][row.taxon], place[row.kind][row.name]
        for name, of in VARIABLES.items():
            text = getattr(row, name)
            if text and (len(of.dimensions) == len(at)):
                values[name][at] = _number(text, of, name)
    for name, of_site in values.items():
        file[name][number] = of_site


def _number(text: str, of: Variable, name: str) -> float:
    if of.units == DAY:
        return float((np.datetime64(text, "D") - FIRST_OF_JANUARY).astype(np.int64))
    return float(LEVELS.index(text)) if name == "level" else float(text)
