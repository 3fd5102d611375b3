"""Read the temperature files people have, as they are, recognised by what stands in them.

The formats: the plain daily file, tables with ordinary headers, logger readings, GHCN-Daily in
its four forms, DWD daily climate text, ECA&D pairs; each may come in a zip or gzip file. A
module each says where the format is described.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from timing.errors import DataError, SapdialError, UsageError
from timing.intake.archives import Part, open_parts
from timing.intake.dwd import is_dwd, read_dwd
from timing.intake.ecad import ecad_element, read_pair
from timing.intake.ghcn_fixed import is_fixed, read_fixed
from timing.intake.ghcn_long import is_long, read_long
from timing.intake.ghcn_wide import read_wide, wide_divider
from timing.intake.hourly import read_hourly
from timing.intake.plain import no_header, read_plain
from timing.intake.series import Choices, Intake, Series, finished
from timing.intake.tables import Layout, find_layout
from timing.intake.units import UNITS, Unit


def read_temperatures(
    paths: Path | Sequence[Path],
    *,
    units: Unit | None = None,
    until: np.datetime64 | None = None,
    day_first: bool = False,
    decimal_comma: bool = False,
    morning_reading: bool | None = None,
    time_zone: str | None = None,
    station: str | None = None,
) -> Intake:
    """Read, check and mend the temperatures of one place.

    Parameters
    ----------
    paths : the file, or the two files of an ECA&D pair in either order.
    units : unit of the temperatures where the file does not state it: c, f, tenths_c or k.
    until : later readings are dropped before anything is checked, counted, moved or mended.
    day_first : dates such as 03/04/2024 are 3 April.
    decimal_comma : decimals are written with a comma.
    morning_reading : maxima belong to the day before (True) or not (False); None takes the
        file's word.
    time_zone : zone to which times with an offset are converted, such as Europe/Zurich.
    station : which station of a file that holds several.

    Returns
    -------
    Intake : the record, with what was done among its findings, and whom to name for the data.

    Raises
    ------
    UsageError : a file cannot be opened, or something must be told that it does not say.
    DataError : it is not a temperature file, cannot be read, or fails the checks.
    """
    if units is not None and units not in UNITS:
        raise UsageError(f"units {units!r} are not known; they are {', '.join(UNITS)}")
    files = [paths] if isinstance(paths, Path) else list(paths)
    choices = Choices(units, day_first, decimal_comma, morning_reading, time_zone, station, until)
    parts = [part for path in files for part in open_parts(path, _is_temperatures)]
    if not 1 <= len(parts) <= 2:
        raise UsageError("--temperatures names one file, or the TN and the TX file of ECA&D")
    if len(parts) == 2 or ecad_element(parts[0].text) is not None:
        _refuse_pair_of_others(parts)
        _refuse_unused(choices, "an ECA&D pair", parts[0].name, station=True)
        source = " + ".join(dict.fromkeys(part.name for part in parts))
        return finished(read_pair(parts, choices), choices, source)
    (part,) = parts
    return finished(_series(part, choices), choices, part.name)


def _series(part: Part, choices: Choices) -> Series:
    """Readings of one text by the reader of its format."""
    text, source = part.text, part.name
    line = _first(text)
    readers = ((is_fixed, read_fixed), (is_long, read_long), (is_dwd, read_dwd))
    for fits, read in readers:
        if fits(line):
            _refuse_unused(choices, "a daily file", source)
            return read(text, choices, source)
    if divider := wide_divider(line):
        _refuse_unused(choices, "a daily file", source)
        return read_wide(text, divider, choices, source)
    layout = _layout(text, source, choices.units)
    if layout.is_daily:
        _refuse_unused(choices, "a daily file", source, station=True)
        return read_plain(text, layout, choices, source)
    if choices.station is not None:
        raise UsageError(f"{source}: --station goes with files that name stations; leave it out")
    return read_hourly(text, layout, choices, source)


def _layout(text: str, source: str, units: Unit | None) -> Layout:
    layout = find_layout(text, source, units)
    if layout is None:
        raise no_header(text, source)
    return layout


def _first(text: str) -> str:
    return text.lstrip("\r\n").split("\n", 1)[0].rstrip("\r")[:20_000]


def _is_temperatures(head: str) -> bool:
    """Whether the first lines of a file are those of a format that can be read."""
    line = _first(head)
    if is_fixed(line) or is_long(line) or is_dwd(line) or wide_divider(line):
        return True
    if ecad_element(head) in ("TX", "TN"):
        return True
    try:
        return find_layout(head, "") is not None
    except SapdialError:
        return True  # a table with something to be told


def _refuse_pair_of_others(parts: Sequence[Part]) -> None:
    if all(ecad_element(part.text) is None for part in parts):
        raise DataError(
            f"{parts[0].name} and {parts[1].name}: only the TN and the TX file of ECA&D go "
            "together; name one file"
        )


def _refuse_unused(choices: Choices, what: str, source: str, *, station: bool = False) -> None:
    """Refuse options that mean nothing for a format."""
    if choices.time_zone is not None:
        raise UsageError(f"{source}: --time-zone goes with readings of a logger, not with {what}")
    if station and choices.station is not None:
        raise UsageError(f"{source}: --station goes with files that name stations; leave it out")
