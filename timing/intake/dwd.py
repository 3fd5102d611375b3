"""Read the daily climate text of the Deutscher Wetterdienst (``produkt_klima_tag``).

Cells divided by semicolons under a header padded with blanks; dates as YYYYMMDD, TXK and TNK the
extremes of air temperature at two metres in °C, -999 missing. TGK, the minimum at the ground, is
not read. QN_4 says how far the checks of a row have come; it marks no reading as wrong, so none
is dropped. Source: DWD Climate Data Center, daily station observations (KL), data set
description; terms CC BY 4.0.
"""

from __future__ import annotations

from timing.errors import DataError
from timing.intake.cells import numbers
from timing.intake.dates import compact_days
from timing.intake.ghcn import refuse_other_unit
from timing.intake.series import Choices, Origin, Series, in_order, one_station

ORIGIN = Origin(
    "data basis: Deutscher Wetterdienst, Climate Data Center, values processed", "CC BY 4.0"
)
COLUMNS = ("STATIONS_ID", "MESS_DATUM", "TNK", "TXK")


def is_dwd(line: str) -> bool:
    """Whether a first line belongs to such a file."""
    return set(COLUMNS) <= set(_cells(line.upper()))


def read_dwd(text: str, choices: Choices, source: str) -> Series:
    """Readings of one station.

    Raises
    ------
    DataError : a line cannot be read, or a date stands there twice.
    UsageError : the file holds several stations and none, or one it lacks, was named.
    """
    refuse_other_unit(choices, "c", "the daily files of this service", source)
    header, *rest = text.lstrip("\r\n").split("\n")
    skipped = text[: len(text) - len(text.lstrip("\r\n"))].count("\n") + 2
    names = _cells(header.upper())
    if names[-1] == "":
        names = names[:-1]
    rows = [(number, _cells(line)) for number, line in enumerate(rest, skipped) if line.strip()]
    for number, row in rows:
        if len(row) < len(names) or (names[-1] == "EOR" and row[len(names) - 1].upper() != "EOR"):
            raise DataError(
                f"{source}, line {number}: {len(row)} of {len(names)} cells; the file is cut off "
                "or damaged"
            )
    if not rows:
        raise DataError(f"{source}: the file has a header but no readings")
    places = [names.index(name) for name in COLUMNS]
    wanted = choices.station.lstrip("0") if choices.station else None
    station = one_station((row[places[0]].lstrip("0") for _, row in rows), wanted, source)
    rows = [pair for pair in rows if pair[1][places[0]].lstrip("0") == station]
    lines = [number for number, _ in rows]
    days = compact_days([row[places[1]] for _, row in rows], lines, source)
    low, high = (
        numbers([row[place] for _, row in rows], lines, name, source)
        for name, place in zip(COLUMNS[2:], places[2:], strict=True)
    )
    days, low, high, _ = in_order(days, low, high, lines, source)
    return Series(days, low, high, "c", "format", origin=ORIGIN, columns=("TNK", "TXK"))


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.split(";")]
