"""Words that charts and text calendars share: events, kinds of work, months, notices."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from timing.calendar import Band, YearCalendar
    from timing.site import Site
    from timing.windows import Window

EVENT_LABELS = {
    "chill_met": "chill need met",
    "sap_rise": "sap rises",
    "sap_peak": "sap runs hardest",
    "bud_break": "buds break",
    "candles_extending": "candles extend",
    "full_bloom": "full bloom",
    "after_flowering": "flowering over",
    "leaf_full_size": "leaves full size",
    "needles_half": "needles half grown",
    "flush_hardened": "first flush hardened",
    "growth_stop": "growth stops",
    "flower_bud_set": "flower buds set",
    "leaf_colour": "leaves colour",
    "season_end": "growing season ends",
    "leaf_fall": "leaves fall",
    "dormant": "dormant",
    "warm_start": "warm season starts",
    "warm_end": "warm season ends",
    "last_frost": "last frost",
    "first_frost": "first frost",
}
WORK_LABELS = {
    "heavy": "heavy cuts",
    "light": "light refinement",
    "outline": "winter outline work",
}
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
NEVER = 0.02  # up to this highest chance a kind of work is said to have no safe day
INVENTED_NOTICE = "INVENTED PLACE AND WEATHER — for trying things out"
METHOD = (
    "Degree days, chill and day length per taxon; chance = share of past seasons and of draws of "
    "the model's own error, with this season's own record counted in; events are usual dates with "
    "10–90% whiskers."
)
CAUTIONS = (
    "Local rules and licensed practice come first.",
    "Clean, sharp tools; clean them again before the next tree.",
    "Look for nesting birds, and ask whether the tree is protected.",
    "Keep to quarantine rules before moving wood, leaves or plants.",
)


def day_text(day: np.datetime64) -> str:
    """Day and month in full.

    >>> day_text(np.datetime64("2025-06-20"))
    '20 June'
    """
    month, number = _month_and_day(day)
    return f"{number} {MONTHS[month]}"


def short_day(day: np.datetime64) -> str:
    """Day and the first three letters of the month.

    >>> short_day(np.datetime64("2025-06-20"))
    '20 Jun'
    """
    month, number = _month_and_day(day)
    return f"{number} {MONTHS[month][:3]}"


def span_text(first: np.datetime64, last: np.datetime64) -> str:
    """A run of days, both ends included.

    >>> span_text(np.datetime64("2025-07-16"), np.datetime64("2025-08-02"))
    '16 Jul – 2 Aug'
    >>> span_text(np.datetime64("2025-07-16"), np.datetime64("2025-07-20"))
    '16–20 Jul'
    """
    if first == last:
        return short_day(first)
    if first < last and first.astype("datetime64[M]") == last.astype("datetime64[M]"):
        return f"{_month_and_day(first)[1]}–{short_day(last)}"
    return f"{short_day(first)} – {short_day(last)}"


def window_spans(windows: Sequence[Window], year: int) -> list[str]:
    """Windows of one calendar year in words, the two ends of the year read as one run."""
    return run_spans([(window.opens, window.closes) for window in windows], year)


def run_spans(runs: Sequence[tuple[np.datetime64, np.datetime64]], year: int) -> list[str]:
    """The same for runs of days, both ends included."""
    spans = list(runs)
    new_year, year_end = np.datetime64(f"{year:04d}-01-01"), np.datetime64(f"{year:04d}-12-31")
    if spans and spans[0] == (new_year, year_end):
        return ["all year"]
    if len(spans) > 1 and spans[0][0] == new_year and spans[-1][1] == year_end:
        spans = [*spans[1:-1], (spans[-1][0], spans[0][1])]
    return [span_text(opens, closes) for opens, closes in spans]


def best_day(band: Band, year: int) -> tuple[str, str] | None:
    """Highest chance of a year and its day, in words; None where the band never opens."""
    best = float(band.chance.max())
    if best <= NEVER:
        return None
    days = np.flatnonzero(band.chance >= best - 1e-9)
    day = np.datetime64(f"{year:04d}-01-01", "D") + int(days[len(days) // 2])
    return percent(best), day_text(day)


def place_text(site: Site) -> str:
    """Coordinates and elevation of a site."""
    north = f"{abs(site.latitude):.2f}° {'S' if site.latitude < 0 else 'N'}"
    east = f"{abs(site.longitude):.2f}° {'W' if site.longitude < 0 else 'E'}"
    height = "elevation unknown" if site.elevation_m is None else f"{site.elevation_m:.0f} m"
    return f"{north}, {east}, {height}"


def record_text(calendar: YearCalendar) -> str:
    """What the calendar rests on: the record, its days, gaps and seasons."""
    record = calendar.record
    missing = (
        f"{record.missing_days} days missing, {record.repaired_days} of them repaired"
        if record.missing_days
        else "no days missing or repaired"
    )
    return (
        f"Record: {record.source}, {day_text(record.first)} {str(record.first)[:4]} to "
        f"{day_text(record.last)} {str(record.last)[:4]}; {calendar.seasons} seasons used; "
        f"{missing}.{credit_text(calendar.site, ' ')}"
    )


def credit_text(site: Site, before: str = "") -> str:
    """Whom to name for the temperatures, on what terms; empty where nobody asks for it."""
    return f"{before}Source of temperatures: {site.attribution}." if site.attribution else ""


def evidence_text(calendar: YearCalendar) -> str:
    """How many of the dates and rules in a calendar are measured, published or less."""
    events = Counter(
        model.evidence
        for row in calendar.rows
        for name, model in row.species.events.items()
        if name in {mark.event for mark in row.marks}
    )
    rules = Counter(
        rule.evidence
        for row in calendar.rows
        for work in row.species.work.values()
        for rule in work
    )
    parts = []
    for words, counts in (("Event dates", events), ("Rules of work", rules)):
        if counts:
            listed = ", ".join(f"{number} {name}" for name, number in counts.most_common())
            parts.append(f"{words}: {listed}.")
    parts.append("A taxon nobody measured borrows from its relatives, with a wider spread.")
    return " ".join(parts)


def percent(chance: float) -> str:
    """A chance rounded down, so that none reads higher than it is.

    >>> percent(0.899)
    '89%'
    """
    return f"{int(100 * chance + 1e-6)}%"


def month_starts(year: int) -> list[int]:
    """Day of the year (from 0) on which each month starts, and the length of the year."""
    firsts = np.arange(f"{year:04d}-01", f"{year + 1:04d}-02", dtype="datetime64[M]")
    days = firsts.astype("datetime64[D]").astype(np.int64)
    return [int(day) for day in days - days[0]]


def _month_and_day(day: np.datetime64) -> tuple[int, int]:
    _, month, number = str(day.astype("datetime64[D]")).split("-")
    return int(month) - 1, int(number)
