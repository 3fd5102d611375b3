"""A year's calendar as plain text, eighty columns wide.

Every month is cut into four cells of seven or eight days. A cell is safe only if its worst day
is; it counts as doubtful if any day of it has at least an even chance.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from itertools import pairwise

import numpy as np

from timing import calendar_words, wording
from timing.calendar import Band, CalendarRow, YearCalendar
from timing.language import Language
from timing.season import Floats
from timing.windows import MARGINAL

COLUMNS = 80
LABEL = 10
CELLS = 4
MONTHS_AGAIN = 5  # taxa after which the months are named again
WHOLE = "\N{NO-BREAK SPACE}"  # keeps words on one line while a text is wrapped
SAFE, DOUBTFUL, UNSAFE = "#", "+", "."


def calendar_strip(calendar: YearCalendar) -> str:
    """Write a calendar as text; no line is longer than eighty characters."""
    rows = (_row(row, calendar) for row in calendar.rows)
    today = calendar.today
    marked = "" if today is None else today_line(today, calendar.year, calendar.language)
    return laid_out(_head(calendar), marked, rows, _foot(calendar), calendar.language)


def laid_out(
    head: list[str], today: str, rows: Iterable[list[str]], foot: list[str], language: Language
) -> str:
    """Head, rows of taxa between lines of months, and foot; ``today`` is its line, or ""."""
    months = month_letters(language)
    lines = [*head, "", months, *([today] if today else [])]
    for number, row in enumerate(rows):
        if number and number % MONTHS_AGAIN == 0:
            lines.append(months)
        lines += [*row, ""]
    lines += [months, "", *foot]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def cells(chance: Floats, year: int, confidence: float) -> str:
    """One character a cell, January to December, without separators.

    Parameters
    ----------
    chance : array (days of the year,), chance that each day is safe.
    year : its calendar year.
    confidence : chance from which a day counts as safe.
    """
    return "".join(_cell(chance[start:stop], confidence) for start, stop in cell_bounds(year))


def _cell(chance: Floats, confidence: float) -> str:
    if chance.min() >= confidence - 1e-9:
        return SAFE
    return DOUBTFUL if chance.max() >= MARGINAL - 1e-9 else UNSAFE


def cell_bounds(year: int) -> list[tuple[int, int]]:
    """First day of the year of every cell, and the day after its last."""
    return [
        (start + (stop - start) * cell // CELLS, start + (stop - start) * (cell + 1) // CELLS)
        for start, stop in pairwise(wording.month_starts(year))
        for cell in range(CELLS)
    ]


def framed(months: Iterable[str], edge: str, label: str = "") -> str:
    """One line of the strip: a label and twelve months between edges."""
    return f"{label:<{LABEL}}{edge}{edge.join(months)}{edge}"


def _head(calendar: YearCalendar) -> list[str]:
    language = calendar.language
    lines = wrapped(language.text("calendar.title", year=calendar.year))
    if calendar.site.invented:
        lines += wrapped(language.text("notice.invented"))
    sure = wording.level_text(calendar.confidence, language)
    even = wording.percent(MARGINAL, language)
    return [
        *lines,
        *wrapped(f"{calendar.site.name}, {wording.place_text(calendar.site, language)}"),
        "",
        *wrapped(f"{SAFE} {language.text('strip.safe', chance=sure)}"),
        *wrapped(f"{DOUBTFUL} {language.text('strip.doubtful', chance=even)}"),
        *wrapped(f"{UNSAFE} {language.text('strip.unsafe')}"),
        *wrapped(language.text("strip.cell")),
    ]


def month_letters(language: Language) -> str:
    """The line with the first letters of the months."""
    return framed(
        [f"{name[0].upper():^{CELLS}}" for name in language.table("months").values()], " "
    )


def today_line(today: np.datetime64, year: int, language: Language) -> str:
    """A line with a sign above the cell of the day."""
    day = int((today - np.datetime64(f"{year:04d}-01-01")).astype(np.int64))
    bounds = cell_bounds(year)
    cell = next(number for number, (start, stop) in enumerate(bounds) if start <= day < stop)
    column = LABEL + 1 + cell + cell // CELLS
    words = language.text("calendar.today", day=wording.day_text(today, language))
    if column + 2 + len(words) <= COLUMNS:
        return f"{'':<{column}}v {words}"
    return f"{words + ' v':>{column + 1}}"


def _row(row: CalendarRow, calendar: YearCalendar) -> list[str]:
    species = row.species
    lines = wrapped(f"{species.common_name} ({species.scientific_name})")
    for band in row.bands:
        strip = cells(band.chance, calendar.year, calendar.confidence)
        months = (strip[at : at + CELLS] for at in range(0, len(strip), CELLS))
        lines.append(framed(months, "|", f"  {_kind(band, calendar.language)}"))
    lines += wrapped(_safe_dates(row, calendar), indent=2)
    lines += wrapped(_event_dates(row, calendar.language), indent=2)
    for text, kinds in _conditions(row.bands, calendar.language).items():
        lines += wrapped(f"{', '.join(kinds)}: {text}", indent=2)
    return lines


def _kind(band: Band, language: Language) -> str:
    return language.text(f"short_work.{band.kind}")


def _safe_dates(row: CalendarRow, calendar: YearCalendar) -> str:
    year, language = calendar.year, calendar.language
    parts = []
    for band in row.bands:
        spans = ", ".join(wording.window_spans(band.safe, year, language))
        parts.append(f"{_kind(band, language)} {spans or _best(band, year, language)}")
    safe = language.text("strip.safe_dates")
    return " ".join([safe, *(f"{part.replace(' ', WHOLE)};" for part in parts)])[:-1]


def _best(band: Band, year: int, language: Language) -> str:
    best = calendar_words.best_day(band, year, language)
    if best is None:
        return language.text("calendar.none")
    return language.text("strip.none_best", chance=best[0], day=best[1])


def _event_dates(row: CalendarRow, language: Language) -> str:
    dates = (
        f"{language.text(f'events.{mark.event}')} {wording.short_day(mark.date, language)} "
        f"({wording.short_day(mark.early, language)}–{wording.short_day(mark.late, language)})"
        for mark in row.marks
    )
    return " ".join(f"{date.replace(' ', WHOLE)}{WHOLE}·" for date in dates).removesuffix(
        f"{WHOLE}·"
    )


def _conditions(bands: tuple[Band, ...], language: Language) -> dict[str, list[str]]:
    kinds: dict[str, list[str]] = {}
    for band in bands:
        for text in band.limits:
            kinds.setdefault(text, []).append(_kind(band, language))
    return kinds


def _foot(calendar: YearCalendar) -> list[str]:
    language = calendar.language
    lines = [
        *wrapped(calendar_words.record_text(calendar)),
        *wrapped(wording.method_text(language, ranges="dates")),
        *wrapped(calendar_words.evidence_text(calendar)),
        *wrapped(language.text("notice.names_stay_english")),
        "",
    ]
    for caution in calendar.cautions:
        lines += wrapped(caution)
    if calendar.site.invented:
        lines += ["", *wrapped(language.text("notice.invented"))]
    return lines


def wrapped(text: str, *, indent: int = 0) -> list[str]:
    """Text in lines of at most eighty characters; ``WHOLE`` keeps words together."""
    lines = textwrap.wrap(
        text,
        COLUMNS,
        initial_indent=" " * indent,
        subsequent_indent=" " * (2 * indent),
        break_on_hyphens=False,
    )
    return [line.replace(WHOLE, " ") for line in lines]
