"""Read the readings of a logger, a time and a temperature a line, into daily extremes.

A day counts when at least twenty of its twenty-four hours hold a reading (where readings come
less often, five sixths of the slots of that length; three hours at most) and when readings stand
within a slot of the two hours at which this record is usually coldest and warmest. Other days
are missing, and how many is said. The day is the local day: times without an offset are taken as
local; times with one (or Z, or a header that names it) are kept as they are written, or
converted where a time zone is named. The rule of completeness is this library's own; a share of
hours alone lets a day pass that lacks the warm ones.
"""

from __future__ import annotations

import datetime as dt
import math
import zoneinfo

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError, UsageError
from timing.intake.cells import numbers
from timing.intake.dates import parse_clock, parse_days, split_stamp
from timing.intake.series import Choices, Series
from timing.intake.tables import Layout, Rows, read_rows, stated_unit
from timing.intake.text import quoted
from timing.intake.units import missing_codes
from timing.quality import Finding
from timing.season import Days, Floats

DAY_S, HOUR_S = 86400, 3600
NEEDED_SHARE = 20 / 24
LONGEST_INTERVAL_S = 3 * HOUR_S
Stamps = NDArray[np.int64]


def read_hourly(text: str, layout: Layout, choices: Choices, source: str) -> Series:
    """Daily extremes of a table of readings whose header has been found.

    Raises
    ------
    DataError : a line cannot be read, readings are too sparse, or no day is complete.
    UsageError : the unit, the decimal comma, the order of day and month or the name of the time
        zone must be told.
    """
    assert layout.temperature is not None
    if choices.morning_reading is not None:
        raise UsageError(f"{source}: --morning-maximum goes with daily maxima, not with a logger")
    rows = read_rows(text, layout, source)
    local, offsets = _local_seconds(rows, layout, choices, source)
    values = numbers(
        rows.values[0],
        rows.lines,
        layout.temperature.name,
        source,
        decimal_comma=choices.decimal_comma,
        commas_divide=layout.divider == ",",
    )
    unit = stated_unit(layout, rows, choices.units, source)
    if unit is None:
        raise UsageError(
            f"{source}, line {layout.line}: the header does not say the unit of "
            f"{layout.temperature.name[:30]}; say --units c for °C or --units f for °F"
        )
    shown = choices.shown((local // DAY_S).astype("datetime64[D]"))
    if shown.any():
        local, values = local[shown], values[shown]
    coded = np.isin(values, missing_codes(unit[0]))
    known = ~np.isnan(values) & ~coded
    findings = [_coded(int(coded.sum()))] if coded.any() else []
    if offsets:
        findings.append(Finding("zone", 0, offsets))
    days, low, high, left = _extremes(local[known], values[known], source)
    if left:
        days_left = "1 day" if left == 1 else f"{left} days"
        text = f"{days_left} left out: too few readings, or none near the coldest or warmest hour"
        findings.append(Finding("incomplete", left, text))
    name = layout.temperature.name
    return Series(days, low, high, *unit, findings=tuple(findings), columns=(name, name))


def _coded(count: int) -> Finding:
    return Finding("coded", count, f"{count} readings given as a code count as missing")


def _local_seconds(rows: Rows, layout: Layout, choices: Choices, source: str) -> tuple[Stamps, str]:
    """Local seconds since 1970 of every reading, and what was done about offsets."""
    if rows.clock:
        split = list(zip(map(str.strip, rows.date), map(str.strip, rows.clock), strict=True))
    else:
        split = [split_stamp(cell) for cell in rows.date]
    named: dict[str, int] = {}
    for number, (day, _) in enumerate(split):
        named.setdefault(day, rows.lines[number])
    days = parse_days(list(named), list(named.values()), source, day_first=choices.day_first)
    day_s = dict(zip(named, (days.astype(np.int64) * DAY_S).tolist(), strict=True))
    clocks = _clocks(split, rows, source)
    times = [clocks[clock] for _, clock in split]
    local = np.array([day_s[day] for day, _ in split], dtype=np.int64)
    local += np.array([time[0] for time in times], dtype=np.int64)
    header = parse_clock(f"00:00{layout.offset}") if layout.offset else None
    default = header[1] if header else None
    given = [default if time[1] is None else time[1] for time in times]
    if not any(offset is not None for offset in set(given)):
        if choices.time_zone is not None:
            raise UsageError(
                f"{source}: the times have no offset from UTC, so they are taken as local; leave "
                "--time-zone out"
            )
        return local, ""
    if None in given:
        line = rows.lines[given.index(None)]
        raise DataError(
            f"{source}, line {line}: a time without an offset among times with one; write all alike"
        )
    utc = local - np.array(given, dtype=np.int64)
    if choices.time_zone is not None:
        return _in_zone(utc, choices.time_zone), f"times converted to {choices.time_zone}"
    text = "days follow the offset from UTC written in the file; name the zone if it is not local"
    return local, text


def _clocks(
    split: list[tuple[str, str]], rows: Rows, source: str
) -> dict[str, tuple[int, int | None]]:
    """What every time of day that occurs means."""
    found = {}
    for clock in dict.fromkeys(clock for _, clock in split):
        time = parse_clock(clock)
        if time is None:
            number = next(n for n, (_, other) in enumerate(split) if other == clock)
            hint = "write hours and minutes, as in 14:30"
            if not clock:
                hint = "a file with one temperature a day needs a minimum and a maximum"
            raise DataError(
                f"{source}, line {rows.lines[number]}: {quoted(rows.date[number].strip(), 30)} has "
                f"no time of day; {hint}"
            )
        found[clock] = time
    return found


def _in_zone(utc: Stamps, name: str) -> Stamps:
    """Local seconds in a zone; whole days at once but for those on which the clocks change."""
    try:
        zone = zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise UsageError(
            f"--time-zone {name[:40]!r} is not a known time zone; names look like Europe/Zurich"
        ) from error
    dates, back = np.unique(utc // DAY_S, return_inverse=True)

    def offset(second: int) -> int:
        at = dt.datetime.fromtimestamp(second, tz=dt.UTC).astimezone(zone)
        shift = at.utcoffset()
        return 0 if shift is None else round(shift.total_seconds())

    edges = {int(day): offset(int(day) * DAY_S) for day in np.union1d(dates, dates + 1)}
    starts = np.array([edges[int(day)] for day in dates])
    steady = starts == np.array([edges[int(day) + 1] for day in dates])
    shifts = starts[back]
    for place in np.flatnonzero(~steady[back]):
        shifts[place] = offset(int(utc[place]))
    local: Stamps = utc + shifts
    return local


def _extremes(local: Stamps, values: Floats, source: str) -> tuple[Days, Floats, Floats, int]:
    """Days that are complete, their minima and maxima, and how many others there are."""
    if not local.size:
        raise DataError(f"{source}: no line holds a temperature; the file holds no readings")
    order = np.argsort(local, kind="stable")
    local, values = local[order], values[order]
    steps = np.diff(local)
    steps = steps[steps > 0]
    interval = float(np.median(steps)) if steps.size else float(DAY_S)
    if interval > LONGEST_INTERVAL_S:
        raise DataError(
            f"{source}: a reading every {interval / HOUR_S:.0f} hours misses a day's extremes; it "
            "takes one every three hours, or a daily minimum and maximum"
        )
    slots = round(DAY_S / max(HOUR_S, interval))
    day, second = np.divmod(local, DAY_S)
    starts = np.flatnonzero(np.concatenate(([True], day[1:] != day[:-1])))
    which = np.cumsum(np.concatenate(([0], (day[1:] != day[:-1]).astype(np.int64))))
    slot = second * slots // DAY_S
    count = np.bincount(which * slots + slot, minlength=len(starts) * slots)
    count = count.reshape(len(starts), slots)
    total = np.bincount(which * slots + slot, values, minlength=count.size).reshape(count.shape)
    filled = count > 0
    complete = filled.sum(axis=1) >= math.ceil(NEEDED_SHARE * slots)
    if complete.any():
        near = filled.copy()
        near[:, 1:] |= filled[:, :-1]
        near[:, :-1] |= filled[:, 1:]
        for usual in _usual_slots(total[complete], count[complete]):
            complete &= near[:, usual]
    if not complete.any():
        raise DataError(
            f"{source}: no day has readings in 20 of its 24 hours, so there is no daily minimum "
            "or maximum"
        )
    low, high = np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)
    days = day[starts].astype("datetime64[D]")
    return days[complete], low[complete], high[complete], int(np.count_nonzero(~complete))


def _usual_slots(total: Floats, count: NDArray[np.int64]) -> tuple[int, int]:
    """Slots of the day that are on average the coldest and the warmest of it."""
    filled = count > 0
    means = np.divide(total, count, out=np.zeros(total.shape), where=filled)
    daily = means.sum(axis=1) / filled.sum(axis=1)
    anomaly = np.where(filled, means - daily[:, None], 0.0).sum(axis=0)
    seen = filled.sum(axis=0)
    mean = np.divide(anomaly, seen, out=np.full(anomaly.shape, np.nan), where=seen > 0)
    return int(np.nanargmin(mean)), int(np.nanargmax(mean))
