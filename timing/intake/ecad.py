"""Read a pair of files of the European Climate Assessment & Dataset: TX (maxima), TN (minima).

Some twenty lines of text, then ``STAID, SOUID, DATE, TX, Q_TX`` (files that blend no sources
lack STAID); dates as YYYYMMDD, tenths of °C, -9999 missing, quality 0 valid, 1 suspect,
9 missing. Only valid readings are taken. The files name their source: Klein Tank et al. 2002,
Int. J. Climatol. 22, 1441-1453, https://www.ecad.eu, and allow free use where it is named.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from timing.errors import DataError
from timing.intake.archives import Part
from timing.intake.cells import numbers
from timing.intake.dates import compact_days
from timing.intake.ghcn import refuse_other_unit
from timing.intake.series import Choices, Origin, Series, flagged, in_order, paired
from timing.intake.text import quoted
from timing.season import Days, Floats

ORIGIN = Origin(
    "ECA&D (Klein Tank et al. 2002, Int. J. Climatol. 22:1441-1453, https://www.ecad.eu)",
    "free to use where the source is named",
)
HEADER_WITHIN = 60
_STATION = re.compile(r"STAID:? *([0-9]{1,9})")


def ecad_element(text: str) -> str | None:
    """Which element a file holds, such as TX, or None where it is no such file."""
    found = _header(text)
    return None if found is None else found[1][-1].removeprefix("Q_")


def read_pair(parts: Sequence[Part], choices: Choices) -> Series:
    """Minima and maxima of one station from its two files, in either order.

    Raises
    ------
    DataError : the files are not one TN and one TX of the same station, or a line cannot be read.
    """
    source = parts[0].name
    held = {ecad_element(part.text): part for part in parts}
    if set(held) != {"TN", "TX"} or len(parts) != 2:
        names = ", ".join(str(ecad_element(part.text) or "another format") for part in parts)
        raise DataError(
            f"{source}: ECA&D keeps minima (TN) and maxima (TX) in two files, and this holds "
            f"{names}; give the TN and the TX file of one station, --temperatures twice"
        )
    stations = {element: _station(part.text) for element, part in held.items()}
    if None not in stations.values() and stations["TN"] != stations["TX"]:
        raise DataError(
            f"{source}: the minima are those of station {stations['TN']}, the maxima those of "
            f"{stations['TX']}; give two files of one station"
        )
    sides, dropped = {}, []
    for element, part in held.items():
        refuse_other_unit(choices, "tenths_c", "ECA&D files", part.name)
        days, values, suspect = _readings(part)
        sides[element] = (days, values)
        dropped.append(suspect)
    days, low, high, _ = paired(sides["TN"], sides["TX"])
    findings = tuple(flagged(np.concatenate(dropped), choices, "the source marks them as suspect"))
    return Series(
        days, low, high, "tenths_c", "format", None, findings, ORIGIN, columns=("TN", "TX")
    )


def _header(text: str) -> tuple[int, list[str]] | None:
    """Line of the header, counted from 0, and its names."""
    for number, line in enumerate(text.split("\n", HEADER_WITHIN)[:HEADER_WITHIN]):
        names = [name.strip().upper() for name in line.split(",")]
        if names[0] in ("STAID", "SOUID") and "DATE" in names and names[-1] == f"Q_{names[-2]}":
            return number, names
    return None


def _station(text: str) -> str | None:
    found = _header(text)
    lines = text.split("\n")
    if found is not None and found[1][0] == "STAID":
        row = next((line for line in lines[found[0] + 1 :] if line.strip()), "")
        return row.partition(",")[0].strip().lstrip("0")
    said = _STATION.search("\n".join(lines[: found[0] if found else 0]).replace("STAID:  S", ""))
    return said[1].lstrip("0") if said else None


def _readings(part: Part) -> tuple[Days, Floats, Days]:
    """Days, valid readings, and the days whose reading was suspect."""
    found = _header(part.text)
    assert found is not None
    start, names = found
    place = names.index("DATE")
    lines, days, values, quality = [], [], [], []
    for number, line in enumerate(part.text.split("\n")[start + 1 :], start + 2):
        if not line.strip():
            continue
        cells = [cell.strip() for cell in line.split(",")]
        if len(cells) != len(names) or cells[-1] not in ("0", "1", "9"):
            raise DataError(
                f"{part.name}, line {number}: {quoted(line.strip())} is not "
                f"{', '.join(names)} with quality 0, 1 or 9; the file is cut off or damaged"
            )
        lines.append(number)
        days.append(cells[place])
        values.append(cells[-2])
        quality.append(cells[-1])
    if not lines:
        raise DataError(f"{part.name}: the file has a header but no readings")
    marks = np.array(quality)
    read = numbers(values, lines, names[-2], part.name)
    calendar = compact_days(days, lines, part.name)
    suspect = calendar[(marks == "1") & (read != -9999)]
    read = np.where((marks == "0") & (read != -9999), read, np.nan)
    calendar, read, _, _ = in_order(calendar, read, read, lines, part.name)
    return calendar, read, suspect
