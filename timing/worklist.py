"""Work month by month: which taxa may have which work, what ends, what a hazard closes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.calendar import CalendarRow, YearCalendar
from timing.species.model import WORK_KINDS, Hazard, Species, WorkKind


@dataclass(frozen=True)
class WorkItem:
    """Safe days of one taxon and one kind of work within a month.

    Parameters
    ----------
    first, last : both safe and both inside the month.
    ends : whether ``last`` is the last safe day of its window.
    """

    species: Species
    kind: WorkKind
    first: np.datetime64
    last: np.datetime64
    ends: bool


@dataclass(frozen=True)
class ClosedItem:
    """Days of a month on which a hazard closes kinds of work on one taxon."""

    hazard: Hazard
    species: Species
    kinds: tuple[WorkKind, ...]
    first: np.datetime64
    last: np.datetime64


@dataclass(frozen=True)
class MonthWork:
    """One month of a calendar.

    Parameters
    ----------
    month : 1 to 12.
    first, last : its days.
    items : by last safe day, what ends first standing first; then by name.
    closed : what hazards of the place close.
    """

    month: int
    first: np.datetime64
    last: np.datetime64
    items: tuple[WorkItem, ...]
    closed: tuple[ClosedItem, ...]

    def of(self, kind: WorkKind) -> tuple[WorkItem, ...]:
        """The items of one kind of work."""
        return tuple(item for item in self.items if item.kind == kind)

    def ending(self, kind: WorkKind) -> tuple[WorkItem, ...]:
        """Work of one kind whose last safe day falls into the month."""
        return tuple(item for item in self.of(kind) if item.ends)

    def whole(self, item: WorkItem | ClosedItem) -> bool:
        """Whether an item takes in every day of the month."""
        return bool(item.first == self.first and item.last == self.last)


def month_work(calendar: YearCalendar) -> tuple[MonthWork, ...]:
    """The twelve months of a calendar.

    A window that crosses New Year stands in the calendar in two parts: it does not end on
    31 December.
    """
    months = np.arange(f"{calendar.year:04d}-01", f"{calendar.year + 1:04d}-02", dtype="M8[M]")
    firsts = months.astype("datetime64[D]")
    return tuple(
        _month(calendar.rows, number + 1, firsts[number], firsts[number + 1] - 1)
        for number in range(12)
    )


def _month(
    rows: Sequence[CalendarRow], month: int, first: np.datetime64, last: np.datetime64
) -> MonthWork:
    items = [item for row in rows for kind in WORK_KINDS for item in _items(row, kind, first, last)]
    items.sort(key=lambda item: (item.last, not item.ends, item.species.common_name))
    closed = [item for row in rows for item in _closed(row, first, last)]
    return MonthWork(month, first, last, tuple(items), tuple(closed))


def _items(
    row: CalendarRow, kind: WorkKind, first: np.datetime64, last: np.datetime64
) -> list[WorkItem]:
    found = []
    for band in row.bands:
        if band.kind != kind:
            continue
        new_year = first.astype("datetime64[Y]").astype("datetime64[D]")
        goes_on = bool(band.safe) and bool(band.safe[0].opens == new_year)
        for window in band.safe:
            if window.opens <= last and window.closes >= first:
                year_end = bool((window.closes + 1).astype("datetime64[Y]") > new_year)
                ends = bool(window.closes <= last) and not (year_end and goes_on)
                found.append(
                    WorkItem(
                        row.species,
                        kind,
                        max(window.opens, first),
                        min(window.closes, last),
                        ends,
                    )
                )
    return found


def _closed(row: CalendarRow, first: np.datetime64, last: np.datetime64) -> list[ClosedItem]:
    kinds: dict[tuple[str, np.datetime64, np.datetime64], list[WorkKind]] = {}
    hazards: dict[str, Hazard] = {}
    for band in row.bands:
        for hazard, runs in band.closed:
            hazards[hazard.name] = hazard
            for opens, closes in runs:
                if opens <= last and closes >= first:
                    key = (hazard.name, max(opens, first), min(closes, last))
                    kinds.setdefault(key, []).append(band.kind)
    return [
        ClosedItem(hazards[name], row.species, tuple(work), begin, end)
        for (name, begin, end), work in kinds.items()
    ]
