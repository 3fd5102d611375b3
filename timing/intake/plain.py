"""Read daily tables with ordinary headers: a date, a minimum and a maximum, in any order.

What may differ from the plain daily file (`timing.intake.daily_csv`): the names of the columns
(`timing.intake.headers`), what divides the cells, decimal commas, the order of day and month,
the unit (in the header, in a second header line, or told), comment lines, words and numbers for
a missing reading. The unit is never guessed.

The export of a station client, ``time,tavg,tmin,tmax,prcp,...`` (or ``temp`` for ``tavg``), has
no unit in its header. Its documentation says °C, metric being the default
(https://dev.meteostat.net); it is read so where a year or more of readings fits °C and nothing
else, and says so in a finding; otherwise the unit is asked for.
"""

from __future__ import annotations

import numpy as np

from timing.errors import DataError, UsageError
from timing.intake.cells import numbers
from timing.intake.dates import parse_clock, parse_days, plain_days, split_stamp
from timing.intake.series import Choices, Series, in_order
from timing.intake.tables import Layout, first_line, read_rows, stated_unit
from timing.intake.text import quoted
from timing.intake.units import YEAR_OF_READINGS, Unit, UnitOrigin
from timing.quality import Finding
from timing.season import Floats

EXPORT_NAMES = frozenset(
    ("time", "station", "tavg", "temp", "tmin", "tmax", "rhum", "prcp", "snow", "snwd", "wdir",
     "wspd", "wpgt", "pres", "tsun", "cldc", "coco", "dwpt")
)  # fmt: skip
EXPORT_TOP_C = (15.0, 50.0)  # warmest maxima that fit °C and neither °F nor tenths


def read_plain(text: str, layout: Layout, choices: Choices, source: str) -> Series:
    """Read a daily table whose header has been found.

    Raises
    ------
    DataError : a line cannot be read, or a date stands there twice.
    UsageError : the unit, the decimal comma or the order of day and month must be told.
    """
    assert layout.minimum is not None
    assert layout.maximum is not None
    rows = read_rows(text, layout, source)
    days = plain_days(rows.date, rows.lines, source)
    if days is None:
        days = parse_days(
            [_day(cell, line, source) for cell, line in zip(rows.date, rows.lines, strict=True)],
            rows.lines,
            source,
            day_first=choices.day_first,
        )
    low, high = (
        numbers(
            cells,
            rows.lines,
            column.name,
            source,
            decimal_comma=choices.decimal_comma,
            commas_divide=layout.divider == ",",
        )
        for cells, column in zip(rows.values, layout.values, strict=True)
    )
    unit = stated_unit(layout, rows, choices.units, source) or _of_export(
        layout, high[choices.shown(days)]
    )
    if unit is None:
        raise UsageError(
            f"{source}, line {layout.line}: the header does not say the unit of "
            f"{layout.minimum.name[:30]} and {layout.maximum.name[:30]}; say --units c for °C or "
            "--units f for °F"
        )
    days, low, high, _ = in_order(days, low, high, rows.lines, source)
    findings: tuple[Finding, ...] = ()
    if unit[1] == "format":
        text = "read as °C, the usual unit of exports with this header, which does not say"
        findings = (Finding("unit", 0, text),)
    return Series(
        days,
        low,
        high,
        *unit,
        findings=findings,
        columns=(layout.minimum.name, layout.maximum.name),
    )


def no_header(text: str, source: str) -> DataError:
    """What is said of a text in which no header of temperatures was found."""
    line, shown = first_line(text)
    if not shown:
        return DataError(f"{source}: the file is empty; it needs a header date,tmin_c,tmax_c")
    return DataError(
        f"{source}, line {line}: no header with a date, a minimum and a maximum (found "
        f"{quoted(shown, 60)}); name the columns date,tmin_c,tmax_c"
    )


def _day(cell: str, line: int, source: str) -> str:
    """The date of a cell; a time of day beside it must not name another time zone."""
    day, clock = split_stamp(cell)
    if not clock:
        return day
    time = parse_clock(clock)
    if time is None or (time[1] is not None and time[0] != 0):
        raise DataError(
            f"{source}, line {line}: date {quoted(cell.strip())} has a time that does not name "
            "a day; write the day alone, as in 2024-03-31"
        )
    return day


def _of_export(layout: Layout, high: Floats) -> tuple[Unit, UnitOrigin] | None:
    names = [name.strip().lower() for name in layout.names]
    known = high[~np.isnan(high)]
    if names[0] != "time" or not set(names) <= EXPORT_NAMES or not {"tavg", "temp"} & set(names):
        return None
    if known.size < YEAR_OF_READINGS:
        return None
    lowest, highest = EXPORT_TOP_C
    return ("c", "format") if lowest <= float(np.quantile(known, 0.995)) <= highest else None
