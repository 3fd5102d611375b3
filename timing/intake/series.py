"""What a reader of one format hands on, and the way from there to a checked record.

A reader returns a `Series`: readings as the file gives them, in the file's unit. `finished`
refuses a unit the numbers contradict, converts, moves maxima read in the morning to the day
before, and lets `timing.temperature` check and mend the rest. Everything done is a finding of
the record. A guess is used to refuse, never to convert.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError, UsageError
from timing.intake.text import printable
from timing.intake.units import Unit, UnitOrigin, missing_codes, refuse_unlikely, to_celsius
from timing.quality import Finding
from timing.season import Days, Floats
from timing.temperature import TemperatureRecord, record_from_readings

MORNING_SHARE = 0.05  # share of maxima stated as read before noon from which they are moved
STATIONS_NAMED = 8


@dataclass(frozen=True)
class Choices:
    """What the user says about a file that does not say it itself.

    Parameters
    ----------
    units : unit of the temperatures, or None to take the file's word.
    day_first : dates such as 03/04/2024 are 3 April.
    decimal_comma : decimals are written with a comma.
    morning_reading : maxima were read in the morning and belong to the day before (True), or
        not (False); None takes the file's word.
    time_zone : name of the zone to which times with an offset are converted, or None.
    station : which station of several, or None.
    until : later readings are hidden, also from every check and count; None hides none.
    """

    units: Unit | None = None
    day_first: bool = False
    decimal_comma: bool = False
    morning_reading: bool | None = None
    time_zone: str | None = None
    station: str | None = None
    until: np.datetime64 | None = None

    def shown(self, days: Days) -> NDArray[np.bool_]:
        """Which days are not hidden."""
        if self.until is None:
            return np.ones(len(days), dtype=bool)
        return days <= self.until


@dataclass(frozen=True)
class Origin:
    """Whose data a format carries: whom to name, and the terms of use the source states."""

    attribution: str = ""
    licence: str = ""

    @property
    def named(self) -> str:
        """Both in one text, empty where there is neither."""
        return "; ".join(text for text in (self.attribution, self.licence) if text)


@dataclass(frozen=True)
class Series:
    """Daily readings of one station as its file gives them.

    Parameters
    ----------
    days : array (readings,), strictly increasing dates.
    tmin, tmax : arrays (readings,), NaN where missing [``unit``].
    unit : their unit.
    unit_from : who says so, the format, the header or the user.
    before_noon : array (readings,), True where the file says that the maximum was read before
        noon; None where the format never says it.
    findings : what the reader left out or changed.
    origin : whose data they are.
    columns : names of the two columns in the file, for messages.
    """

    days: Days
    tmin: Floats
    tmax: Floats
    unit: Unit
    unit_from: UnitOrigin
    before_noon: NDArray[np.bool_] | None = None
    findings: tuple[Finding, ...] = ()
    origin: Origin = Origin()
    columns: tuple[str, str] = ("minimum", "maximum")


@dataclass(frozen=True)
class Intake:
    """A checked record, whose data it is, and what was done to the readings before its checks."""

    record: TemperatureRecord
    origin: Origin = Origin()
    notes: tuple[str, ...] = ()


def finished(series: Series, choices: Choices, source: str) -> Intake:
    """Check, convert and mend one series.

    Parameters
    ----------
    series : the readings.
    choices : what the user said about the file.
    source : name used in messages.
    Raises
    ------
    DataError : the numbers contradict the unit, minimum and maximum are exchanged, or
        `timing.temperature.record_from_readings` refuses them.
    """
    found = list(series.findings)
    days, low, high, early = series.days, series.tmin, series.tmax, series.before_noon
    shown = choices.shown(days)
    if shown.any():
        days, low, high = days[shown], low[shown], high[shown]
        early = None if early is None else early[shown]
    low, high, coded = _without_codes(low, high, series.unit)
    found += coded
    refuse_unlikely(low, high, series.unit, series.unit_from, source)
    low, high = to_celsius(low, series.unit), to_celsius(high, series.unit)
    _refuse_exchanged(low, high, series.columns, source)
    days, low, high, moved = _morning_maxima(days, low, high, early, choices.morning_reading)
    found += moved
    if series.unit != "c":
        names = {"f": "°F", "tenths_c": "tenths of °C", "k": "kelvin"}
        found.append(Finding("converted", 0, f"temperatures converted from {names[series.unit]}"))
    record = record_from_readings(days, low, high, source=source, until=choices.until)
    notes = tuple(finding.text for finding in found)
    return Intake(replace(record, findings=(*found, *record.findings)), series.origin, notes)


def in_order(
    days: Days, low: Floats, high: Floats, lines: Sequence[int], source: str
) -> tuple[Days, Floats, Floats, NDArray[np.int64]]:
    """Readings by date, and the order that brings them there.

    Raises
    ------
    DataError : a date stands there twice.
    """
    order = np.argsort(days, kind="stable")
    days = days[order]
    repeated = np.flatnonzero(days[1:] == days[:-1])
    if repeated.size:
        raise DataError(
            f"{source}, line {lines[int(order[repeated[0] + 1])]}: {days[repeated[0]]} stands "
            "there a second time; keep one row a day"
        )
    return days, low[order], high[order], order


def paired(
    low: tuple[Days, Floats], high: tuple[Days, Floats]
) -> tuple[Days, Floats, Floats, NDArray[np.int64]]:
    """Minima and maxima on their own days brought onto the days of either.

    Returns
    -------
    days : array (readings,), strictly increasing.
    tmin, tmax : arrays (readings,), NaN where that day has none.
    place : where each maximum went, in the order of ``high``.
    """
    days = np.union1d(low[0], high[0])
    out = []
    for own_days, values in (low, high):
        place = np.searchsorted(days, own_days)
        full = np.full(len(days), np.nan)
        full[place] = values
        out.append(full)
    return days, out[0], out[1], place.astype(np.int64)


def one_station(found: Iterable[str], wanted: str | None, source: str) -> str:
    """The station to read.

    Raises
    ------
    UsageError : there are several and none was named, or the named one is not among them.
    """
    stations = list(dict.fromkeys(found))
    shown = ", ".join(printable(name) for name in stations[:STATIONS_NAMED])
    if len(stations) > STATIONS_NAMED:
        shown += f" and {len(stations) - STATIONS_NAMED} more"
    if wanted is not None:
        if wanted not in stations:
            raise UsageError(f"{source}: no station {printable(wanted)!r}; the file holds {shown}")
        return wanted
    if len(stations) > 1:
        raise UsageError(
            f"{source}: {len(stations)} stations in one file ({shown}); name one with --station"
        )
    return stations[0] if stations else ""


def flagged(
    days: Days, choices: Choices, what: str = "they failed the source's own quality checks"
) -> list[Finding]:
    """The finding that readings of these days were dropped because of their flags."""
    count = int(np.count_nonzero(choices.shown(days)))
    if count == 0:
        return []
    readings = "1 reading" if count == 1 else f"{count} readings"
    return [Finding("flagged", count, f"{readings} left out: {what}")]


def _without_codes(low: Floats, high: Floats, unit: Unit) -> tuple[Floats, Floats, list[Finding]]:
    """Codes for a missing reading turned into NaN, and how many there were."""
    codes = missing_codes(unit)
    coded = [np.isin(values, codes) for values in (low, high)]
    count = int(coded[0].sum() + coded[1].sum())
    if count == 0:
        return low, high, []
    seen = np.unique(np.concatenate([low[coded[0]], high[coded[1]]]))
    text = f"{count} readings given as {', '.join(f'{code:g}' for code in seen)} count as missing"
    low, high = np.where(coded[0], np.nan, low), np.where(coded[1], np.nan, high)
    return low, high, [Finding("coded", count, text)]


def _refuse_exchanged(low: Floats, high: Floats, columns: tuple[str, str], source: str) -> None:
    pairs = int(np.count_nonzero(~np.isnan(low + high)))
    crossed = int(np.count_nonzero(low > high))
    if 2 * crossed > pairs:
        raise DataError(
            f"{source}: the minimum is above the maximum on {crossed} of {pairs} days, so the "
            f"columns {columns[0]} and {columns[1]} look exchanged; exchange their names"
        )


def _morning_maxima(
    days: Days, low: Floats, high: Floats, early: NDArray[np.bool_] | None, told: bool | None
) -> tuple[Days, Floats, Floats, list[Finding]]:
    """Maxima read in the morning put on the day before, on which they were reached.

    Where a day gets two maxima because the hour of reading changed, the one read on the day
    itself stays.
    """
    known = ~np.isnan(high)
    if told is not None:
        early = np.full(len(days), told)
    if early is None or not known.any():
        return days, low, high, []
    move = early & known
    share = float(move.sum() / known.sum())
    if share < MORNING_SHARE or share == 0:
        return days, low, high, []
    first = days[0] - np.timedelta64(1, "D")
    place = (days - first).astype(np.int64)
    minima = np.full(place[-1] + 1, np.nan)
    minima[place] = low
    maxima, stay = minima * np.nan, known & ~move
    maxima[place[move] - 1] = high[move]
    maxima[place[stay]] = high[stay]
    count = int(move.sum())
    why = "as told" if told else f"read before noon on {share:.0%} of days by the file's own word"
    text = f"{count} maxima moved one day back: {why}"
    return (
        first + np.arange(1, place[-1] + 1),
        minima[1:],
        maxima[1:],
        [Finding("moved", count, text)],
    )
