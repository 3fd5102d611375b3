"""Read GHCN-Daily with one reading a line, as ordered by station or by year.

``ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME``, with or without that header; dates
as YYYYMMDD, tenths of °C, hours as HHMM. Source: GHCN-Daily readmes by_station and by_year
(Menne et al. 2012, doi:10.7289/V5D21VHZ). A file by year holds many stations: one must be named.
"""

from __future__ import annotations

import re

from timing.errors import DataError
from timing.intake.ghcn import ELEMENTS, Readings, is_before_noon, refuse_other_unit, series_of
from timing.intake.series import Choices, Series, one_station
from timing.intake.text import quoted

HEADER = "ID,DATE,ELEMENT,DATA_VALUE"
CELLS = 8
_ROW = re.compile(r"[A-Z0-9_-]{11},[0-9]{8},[A-Z0-9]{4},-?[0-9]+,")


def is_long(line: str) -> bool:
    """Whether a first line belongs to such a file."""
    plain = line.replace('"', "").replace(" ", "").upper()
    return plain.startswith(HEADER) or bool(_ROW.match(plain))


def read_long(text: str, choices: Choices, source: str) -> Series:
    """Readings of one station.

    Raises
    ------
    DataError : a line cannot be read, or there is no minimum or no maximum.
    UsageError : the file holds several stations and none, or one it lacks, was named.
    """
    refuse_other_unit(choices, "tenths_c", "GHCN-Daily files", source)
    station = one_station(_stations(text), choices.station, source)
    found = {element: Readings() for element in ELEMENTS}
    dropped = Readings()
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip() or (number == 1 and not _ROW.match(line.replace('"', ""))):
            continue
        cells = [cell.strip() for cell in line.replace('"', "").split(",")]
        if len(cells) < CELLS - 1:  # the hour, last and often blank, may be absent
            raise DataError(
                f"{source}, line {number}: {len(cells)} of {CELLS} cells ({quoted(line)}); the "
                "file is cut off or damaged"
            )
        if cells[2] not in found or cells[0] != station:
            continue
        early = len(cells) >= CELLS and is_before_noon(cells[7])
        readings = dropped if cells[5] else found[cells[2]]
        readings.add(number, cells[1], cells[3], early)
    return series_of(found, dropped, choices, source)


def _stations(text: str) -> list[str]:
    """Every station once, in the order of the file."""
    found: dict[str, None] = {}
    for line in text.split("\n"):
        found[line[:14]] = None
    names = (head.replace('"', "").partition(",")[0].strip() for head in found)
    return [name for name in dict.fromkeys(names) if name and name.upper() != "ID"]
