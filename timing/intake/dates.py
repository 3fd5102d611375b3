"""Dates and times of day as people and loggers write them.

Years have four digits and come first, or last behind day and month, or beside the name of a
month in English. The order of day and month is taken from the file where a day above twelve
shows it, and is asked for where none does.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from timing.errors import DataError, UsageError
from timing.intake.text import quoted
from timing.season import Days

FIRST_YEAR, LAST_YEAR = 1600, 2200
_YEAR_FIRST = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})\Z")
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})\Z")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})\.?\Z")
_SHORT_YEAR = re.compile(r"[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{2}\Z")
_DAY_NAMED = re.compile(r"([0-9]{1,2})[-/. ]+([A-Za-z]{3,9})[-/., ]+([0-9]{4})\Z")
_MONTH_NAMED = re.compile(r"([A-Za-z]{3,9})\.? +([0-9]{1,2}),? +([0-9]{4})\Z")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_STAMP = re.compile(r"(.*?[0-9])(?:[Tt]|,? +)([0-9]{1,2}:[0-9]{2}.*)\Z")
_CLOCK = re.compile(
    r"([0-9]{1,2})(?::?([0-9]{2}))?(?::?([0-9]{2})(?:[.,][0-9]{1,9})?)?"
    r" *([AaPp]\.?[Mm]\.?)?"
    r" *(Z|z|UTC|GMT|[+-][0-9]{2}(?::?[0-9]{2})?)?\Z"
)
LONGEST_CELL = 60


class _Written(NamedTuple):
    """A date as written: its form, the year, and the two other numbers in their order."""

    form: str
    year: int
    one: int
    two: int


def parse_days(
    cells: Sequence[str], lines: Sequence[int], source: str, *, day_first: bool = False
) -> Days:
    """Days of a column of dates.

    Parameters
    ----------
    cells : dates without a time of day.
    lines : the line each stands on.
    source : name used in messages.
    day_first : the user says that the day stands before the month.

    Raises
    ------
    DataError : a cell is not a date, or the dates are not all written alike.
    UsageError : the order of day and month cannot be told.
    """
    plain = plain_days(cells, lines, source)
    if plain is not None:
        return plain
    written = [_written(cell, line, source) for cell, line in zip(cells, lines, strict=True)]
    form = written[0].form
    for number, date in enumerate(written):
        if date.form != form:
            raise DataError(
                f"{source}, line {lines[number]}: date {quoted(cells[number].strip())} is written "
                f"otherwise than {quoted(cells[0].strip())} on line {lines[0]}; write every date "
                "as year-month-day"
            )
    if form == "year last" and _day_first(written, cells, lines, source, day_first):
        written = [date._replace(one=date.two, two=date.one) for date in written]
    table = np.array([date[1:] for date in written], dtype=np.int64)
    return _calendar_days(table, cells, lines, source)


def split_stamp(cell: str) -> tuple[str, str]:
    """Date and time of day in one cell; the second is empty where there is none."""
    text = cell.strip()
    if text[10:11] in ("T", " ") and text[11:13].isdigit() and text[4:5] == "-":
        return text[:10], text[11:]
    if len(text) <= LONGEST_CELL and (found := _STAMP.match(text)):
        return found[1], found[2]
    return text, ""


def parse_clock(text: str) -> tuple[int, int | None] | None:
    """Seconds since midnight and offset from UTC in seconds, None for none; None if neither."""
    found = _CLOCK.match(text.strip()) if len(text) <= LONGEST_CELL else None
    if found is None:
        return None
    hour, minute, second = (int(part or 0) for part in found.group(1, 2, 3))
    if found[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found[4][0] in "Pp" else 0)
    if minute > 59 or second > 59 or hour * 3600 + minute * 60 + second > 86400:
        return None
    return hour * 3600 + minute * 60 + second, _offset(found[5])


def _offset(text: str | None) -> int | None:
    if text is None:
        return None
    if text[0] not in "+-":
        return 0
    digits = text[1:].replace(":", "").ljust(4, "0")
    seconds = int(digits[:2]) * 3600 + int(digits[2:]) * 60
    return -seconds if text[0] == "-" else seconds


def _written(cell: str, line: int, source: str) -> _Written:
    text = cell.strip()
    if len(text) <= LONGEST_CELL:
        if found := _YEAR_FIRST.match(text) or _COMPACT.match(text):
            parts = found.groups()
            return _Written("year first", int(parts[0]), int(parts[-2]), int(parts[-1]))
        if found := _YEAR_LAST.match(text):
            return _Written("year last", int(found[4]), int(found[1]), int(found[3]))
        named = _DAY_NAMED.match(text)
        if named and named[2][:3].lower() in _MONTHS:
            month = _MONTHS.index(named[2][:3].lower()) + 1
            return _Written("named", int(named[3]), month, int(named[1]))
        named = _MONTH_NAMED.match(text)
        if named and named[1][:3].lower() in _MONTHS:
            month = _MONTHS.index(named[1][:3].lower()) + 1
            return _Written("named", int(named[3]), month, int(named[2]))
        if _SHORT_YEAR.match(text):
            raise DataError(
                f"{source}, line {line}: date {quoted(text)} has a year of two digits; write all "
                "four, best as year-month-day"
            )
    raise DataError(
        f"{source}, line {line}: date {quoted(text)} is not a date; write year-month-day, as in "
        "2024-03-31"
    )


def _day_first(
    written: list[_Written],
    cells: Sequence[str],
    lines: Sequence[int],
    source: str,
    told: bool,
) -> bool:
    """Whether the day stands before the month."""
    before = next((i for i, date in enumerate(written) if date.one > 12), None)
    behind = next((i for i, date in enumerate(written) if date.two > 12), None)
    if before is None and behind is None and not told:
        raise UsageError(
            f"{source}, line {lines[0]}: date {quoted(cells[0].strip())} may be day/month or "
            "month/day, and no day above 12 tells; say --day-first, or write year-month-day"
        )
    if behind is not None and (before is not None or told):
        first = (
            f"on line {lines[before]} the day comes first"
            if before is not None
            else ("--day-first was said")
        )
        raise DataError(
            f"{source}, line {lines[behind]}: date {quoted(cells[behind].strip())} has the month "
            f"first, but {first}; write every date as year-month-day"
        )
    return behind is None


def plain_days(cells: Sequence[str], lines: Sequence[int], source: str) -> Days | None:
    """Days of cells that are all YYYY-MM-DD or all YYYYMMDD; None otherwise.

    Raises
    ------
    DataError : a day does not exist or lies outside the years that are read.
    """
    table = _digits(cells)
    return None if table is None else _calendar_days(table, cells, lines, source)


def _digits(cells: Sequence[str]) -> NDArray[np.int64] | None:
    """Year, month and day of cells that are all YYYY-MM-DD or all YYYYMMDD; None otherwise."""
    width = len(cells[0])
    if width not in (8, 10) or set(map(len, cells)) != {width}:
        return None
    raw = "".join(cells).encode("ascii", "replace")
    digits = np.frombuffer(raw, dtype=np.uint8).reshape(len(cells), width).astype(np.int64) - 48
    if width == 10:
        if (digits[:, [4, 7]] != ord("-") - 48).any():
            return None
        digits = np.delete(digits, [4, 7], axis=1)
    if ((digits < 0) | (digits > 9)).any():
        return None
    ends = (digits[:, :4], digits[:, 4:6], digits[:, 6:])
    return np.stack([part @ 10 ** np.arange(part.shape[1])[::-1] for part in ends], axis=1)


def _calendar_days(
    table: NDArray[np.int64], cells: Sequence[str], lines: Sequence[int], source: str
) -> Days:
    """Days from rows of year, month and day."""
    year, month, day = table.T
    outside = np.flatnonzero((year < FIRST_YEAR) | (year > LAST_YEAR))
    if outside.size:
        raise DataError(
            f"{source}, line {lines[outside[0]]}: {quoted(cells[outside[0]].strip())} lies outside "
            f"the years {FIRST_YEAR} to {LAST_YEAR}; check the year"
        )
    wrong = np.flatnonzero(~_exist(year, month, day))
    if wrong.size:
        raise DataError(
            f"{source}, line {lines[wrong[0]]}: {quoted(cells[wrong[0]].strip())} is not a day of "
            "the calendar"
        )
    return days_of(year, month, day)


def days_of(year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]) -> Days:
    """Days from arrays of year, month and day."""
    months = (year - 1970) * 12 + month - 1
    start: Days = months.astype("datetime64[M]").astype("datetime64[D]")
    found: Days = start + (day - 1).astype("timedelta64[D]")
    return found


def _exist(
    year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]
) -> NDArray[np.bool_]:
    fits = (month >= 1) & (month <= 12) & (day >= 1)
    there = days_of(year, np.where(fits, month, 1), np.where(fits, day, 1))
    same: NDArray[np.bool_] = there.astype("datetime64[M]").astype(np.int64) == (
        (year - 1970) * 12 + np.where(fits, month, 1) - 1
    )
    return fits & same


def compact_days(cells: Sequence[str], lines: Sequence[int], source: str) -> Days:
    """Days written as YYYYMMDD, as archives do.

    Raises
    ------
    DataError : a cell is anything else.
    """
    if all(len(cell) == 8 and cell.isdigit() for cell in cells):
        return parse_days(cells, lines, source)
    for cell, line in zip(cells, lines, strict=True):
        if not _COMPACT.match(cell.strip()):
            raise DataError(
                f"{source}, line {line}: date {quoted(cell.strip())} is not written as YYYYMMDD; "
                "the file is damaged"
            )
    return parse_days(cells, lines, source)
