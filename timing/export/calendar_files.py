"""A year's windows for other programs: rows of a table, entries of a calendar file."""

from __future__ import annotations

from collections import Counter

from timing import calendar_words, wording
from timing.calendar import Band, CalendarRow, YearCalendar
from timing.export.csv_table import csv_text
from timing.export.icalendar_file import CalendarEntry, alarm_day, as_date, entry_uid
from timing.windows import Window

COLUMNS = (
    "site", "year", "species", "common_name", "work", "opens", "closes", "level", "chance_min",
    "seasons", "conditions", "hazards",
)  # fmt: skip


def calendar_csv(calendar: YearCalendar) -> str:
    """One row a window, safe and marginal, as CSV with a header.

    ``chance_min`` is the lowest chance of a day of the window, from 0 to 1, rounded down.
    """
    rows = []
    for row in calendar.rows:
        for band in row.bands:
            levels = [(window, "safe") for window in band.safe]
            levels += [(window, "marginal") for window in band.marginal]
            for window, level in sorted(levels, key=lambda found: found[0].opens):
                rows.append(_cells(calendar, row, band, window, level))
    return csv_text(COLUMNS, rows)


def calendar_entries(calendar: YearCalendar, alarm_days: int | None = None) -> list[CalendarEntry]:
    """One entry a safe window of the year, all its days.

    Parameters
    ----------
    calendar : the year.
    alarm_days : a reminder so many days before the last day, where that is still to come.
    """
    return [
        _entry(calendar, row, band, window, uid=uid, alarm_days=alarm_days)
        for row in calendar.rows
        for band in row.bands
        for window, uid in zip(band.safe, _uids(calendar, row, band), strict=True)
    ]


def _uids(calendar: YearCalendar, row: CalendarRow, band: Band) -> list[str]:
    """Identities of the safe windows: by the rule that gives them.

    So a window keeps its own when another appears or vanishes. Only windows of one rule, parted by
    a few doubtful days, are numbered.
    """
    found: list[str] = []
    seen: Counter[str] = Counter()
    kind_of_place = "region" if calendar.shared else "calendar"
    for window in band.safe:
        found.append(
            entry_uid(
                kind_of_place, calendar.name, row.species.slug, band.kind, calendar.year,
                window.rule, seen[window.rule],
            )
        )  # fmt: skip
        seen[window.rule] += 1
    return found


def _cells(
    calendar: YearCalendar, row: CalendarRow, band: Band, window: Window, level: str
) -> list[str]:
    return [
        calendar.name,
        str(calendar.year),
        row.species.slug,
        row.species.common_name,
        band.kind,
        str(window.opens),
        str(window.closes),
        level,
        f"{int(1000 * window.chance_min + 1e-6) / 1000:.3f}",
        str(band.seasons),
        "; ".join(band.limits),
        "; ".join(hazard.name for hazard, runs in band.closed if runs),
    ]


def _entry(
    calendar: YearCalendar,
    row: CalendarRow,
    band: Band,
    window: Window,
    *,
    uid: str,
    alarm_days: int | None,
) -> CalendarEntry:
    language = calendar.language
    chance = wording.percent(window.chance_min, language)
    span = wording.span_text(window.opens, window.closes, language)
    kind = language.text(f"work.{band.kind}")
    parts = [language.text("page.in_window", span=span, chance=chance)]
    parts += band.limits
    if calendar.today is not None:
        day = wording.dated(calendar.today, language)
        parts.append(language.text("page.as_of", day=day).rstrip("."))
    text = " ".join(f"{part[0].upper()}{part[1:]}." for part in parts)
    invented = [language.text("notice.invented")] if calendar.invented else []
    return CalendarEntry(
        uid=uid,
        first=as_date(window.opens),
        last=as_date(window.closes),
        summary=f"{kind}: {row.species.common_name} ({calendar.name})",
        description=" ".join(
            (
                text,
                *calendar.cautions,
                calendar_words.record_text(calendar),
                *invented,
            )
        ),
        categories=(kind,),
        alarm=alarm_day(window.closes, alarm_days, calendar.today),
    )
