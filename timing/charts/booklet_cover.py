"""The first pages of a booklet: place, year and terms, and the year of all taxa at a glance.

Few taxa show the chance of every day as the height of a band. Many show their safe days only:
a solid bar for heavy cuts, an open one for light refinement, dots for outline work.
"""

from __future__ import annotations

import numpy as np

from timing import calendar_words, wording
from timing.calendar import Band, CalendarRow
from timing.charts import HAIR, INK, LOOKS, QUIET, SERIF, Page, text_width
from timing.charts.booklet_sheet import WHITE, Book, Line, Sheet, height_of, prose
from timing.charts.year_strip import YearStrip
from timing.language import Language
from timing.species.model import WORK_KINDS, WorkKind

NAMES = 1.55
KINDS = 0.42
MOST_WITH_BANDS = 12  # more taxa than this take the compact form
RULERS = 0.62  # both rulers of months, with the flag of today
LONGEST_ROW = 0.95


def cover(book: Book) -> None:
    """Draw the cover, and further pages of the year at a glance where one does not hold it."""
    calendar = book.calendar
    sheet = book.turn()
    _head(book, sheet)
    compact = len(calendar.rows) > MOST_WITH_BANDS
    _key(book, sheet, compact)
    ending = _ending(book, sheet)
    names = [_names(row, compact) for row in calendar.rows]
    room = sheet.bottom - book.y - RULERS - height_of(ending) - 0.25
    least = [max(height_of(lines) + (0.01 if compact else 0.14), 0.15) for lines in names]
    each = room / len(names)
    tall = max(min(each, 0.26 if compact else LONGEST_ROW), 0.0)
    heights = [max(tall, low) for low in least]
    if sum(heights) > room + 1e-6:
        heights = least
    page_of: list[list[int]] = [[]]
    used = 0.0
    for number, height in enumerate(heights):
        if page_of[-1] and used + height > room + 1e-6:
            page_of.append([])
            used, room = 0.0, sheet.bottom - sheet.top - RULERS - 0.45
        page_of[-1].append(number)
        used += height
    for number, chosen in enumerate(page_of):
        if number:
            book.turn(book.words("booklet.glance_continued", year=calendar.year))
        rows = [(calendar.rows[at], names[at], heights[at]) for at in chosen]
        _glance(book, rows, compact)
        if number == 0:
            first = book.sheet
            low = first.bottom - height_of(ending)
            first.set(first.left, low, ending)


def _head(book: Book, sheet: Sheet) -> None:
    calendar, words = book.calendar, book.words
    column = sheet.left + 2.45
    wide = sheet.right - column
    sheet.text(sheet.left, sheet.top + 0.2, words("booklet.heading"), size=14, family=SERIF)
    sheet.text(
        sheet.left, sheet.top + 0.98, str(calendar.year),
        size=56, family=SERIF, weight="bold",
    )  # fmt: skip
    lines = prose(calendar.name, wide, 13, weight="bold", family=SERIF)
    lines += prose(calendar_words.place_of(calendar), wide, 8.5, colour=QUIET)
    safe = words(
        "booklet.safe_means_all" if calendar.shared else "booklet.safe_means",
        chance=wording.level_text(calendar.confidence, book.language),
        seasons=calendar.seasons,
    )
    lines += prose(safe, wide, 8.5, before=0.06)
    if calendar.shared:
        for note in calendar.shared.notes:
            lines += prose(note, wide, 8.5, weight="bold")
    if calendar.today is not None:
        day = wording.day_text(calendar.today, book.language)
        lines += prose(words("booklet.as_it_stood", day=day), wide, 8.5)
    y = sheet.set(column, sheet.top + 0.03, lines)
    if calendar.invented:
        y = sheet.notice(column, y + 0.08, words("notice.invented"))
    book.y = max(y, sheet.top + 1.12) + 0.1
    sheet.line((sheet.left, sheet.right), (book.y, book.y), width=1.2)


def _key(book: Book, sheet: Sheet, compact: bool) -> None:
    y, x = book.y + 0.2, sheet.left
    for kind in WORK_KINDS:
        if compact:
            _track(sheet, kind, x, x + 0.4, y - 0.035)
        else:
            swatch(sheet, kind, x, y)
        label = book.words(f"work.{kind}")
        sheet.text(x + 0.48, y, label)
        x += 0.48 + text_width(label, 8) + 0.3
    words = book.words("booklet.bars" if compact else "booklet.height")
    y = sheet.set(
        sheet.left, y + 0.08,
        prose(f"{words} {book.words('booklet.ticks')}", sheet.right - sheet.left, 7.5,
              colour=QUIET),
    )  # fmt: skip
    book.y = y + 0.04


def swatch(sheet: Sheet, kind: WorkKind, x: float, y: float) -> None:
    """Draw a sample of a kind's colour and texture on the baseline ``y``."""
    look = LOOKS[kind]
    sheet.area(
        [x, x + 0.4, x + 0.4, x], [y + 0.02, y + 0.02, y - 0.1, y - 0.1], look.full,
        edgecolor=look.hatch_full, hatch=look.hatch or None,
    )  # fmt: skip


def _names(row: CalendarRow, compact: bool) -> list[Line]:
    species = row.species
    if compact:
        return prose(species.common_name, NAMES + KINDS - 0.12, 7.5, hang=0.1)
    return [
        *prose(species.common_name, NAMES - 0.1, 9, weight="bold", family=SERIF),
        *prose(
            species.scientific_name, NAMES - 0.1, 7.5, style="italic", family=SERIF, colour=QUIET
        ),
    ]


def _ending(book: Book, sheet: Sheet) -> list[Line]:
    wide = sheet.right - sheet.left
    warning = f"{book.words('cautions.rules')} {book.words('booklet.your_tree')}"
    return [
        *prose(calendar_words.record_text(book.calendar), wide, 7.5),
        *prose(warning, wide, 7.5, weight="bold"),
    ]


def _glance(book: Book, rows: list[tuple[CalendarRow, list[Line], float]], compact: bool) -> None:
    sheet, calendar = book.sheet, book.calendar
    year = YearStrip(sheet, calendar.year, sheet.left + NAMES + KINDS, sheet.right, book.language)
    flag = book.y + 0.02
    label = book.y + (0.3 if calendar.today is not None else 0.16)
    year.month_names(label, size=8.5, weight="bold")
    year.ruler(label + 0.07, 0.045)
    top = y = label + 0.12
    for number, (row, names, height) in enumerate(rows):
        if number:
            sheet.hair(y)
        if compact:
            _tracks(year, row, y, height, book.words("booklet.no_safe_day"))
            sheet.set(sheet.left, y + (height - height_of(names)) / 2, names)
        else:
            _bands(year, row, y, height, book.language)
            sheet.set(sheet.left, y + 0.06, names)
        y += height
    year.month_lines(top - 0.05, y, HAIR)
    year.ruler(y + 0.02, -0.045)
    year.month_names(y + 0.17, size=8.5, weight="bold")
    book.y = y + 0.25
    if calendar.today is not None:
        today_line(year, calendar.today, label + 0.07, y)
        words = book.words("calendar.today", day=wording.day_text(calendar.today, book.language))
        x = year.x(year.day(calendar.today) + 0.5)
        half = text_width(words, 7, weight="bold") / 2 + 0.05
        x = min(max(x, year.left + half), year.right - half)
        sheet.area(
            [x - half, x + half, x + half, x - half],
            [flag, flag, flag + 0.15, flag + 0.15], INK, zorder=5,
        )  # fmt: skip
        sheet.text(
            x, flag + 0.11, words, size=7, weight="bold", ha="center", colour=WHITE, zorder=6
        )


def today_line(year: YearStrip, today: np.datetime64, top: float, bottom: float) -> None:
    """Draw the line of the day."""
    x = year.x(year.day(today) + 0.5)
    year.page.line((x, x), (top, bottom), width=0.9, linestyle=(0, (4, 2.6)), zorder=4)


def _bands(year: YearStrip, row: CalendarRow, y: float, height: float, language: Language) -> None:
    pitch = (height - 0.1) / 3
    tall = pitch - 0.075
    for number, band in enumerate(row.bands):
        base = y + 0.05 + pitch * number + tall
        draw_band(year, row.species.slug, band, base, tall)
        year.page.text(
            year.left - 0.06, base - min(tall / 2, 0.1) + 0.035,
            language.text(f"short_work.{band.kind}"),
            size=6.5, colour=LOOKS[band.kind].edge, ha="right",
        )  # fmt: skip


def draw_band(year: YearStrip, slug: str, band: Band, base: float, tall: float) -> None:
    """Draw a band, or its bare base where no day of the year is safe."""
    if calendar_words.best_day(band, year.new_year.astype("datetime64[Y]").item().year) is None:
        year.page.line(
            (year.left, year.right), (base, base), colour=LOOKS[band.kind].edge, width=0.5
        )
    else:
        year.band(slug, band, base, tall)


def _tracks(year: YearStrip, row: CalendarRow, y: float, height: float, none: str) -> None:
    pitch = min(height / 3.4, 0.075)
    top = y + height / 2 - pitch
    if not any(band.safe for band in row.bands):
        at = (year.left + 0.08, y + height / 2 + 0.03)
        year.page.text(*at, none, size=6.5, colour=QUIET, style="italic")
    for number, band in enumerate(row.bands):
        for window in band.safe:
            left = year.x(year.day(window.opens))
            right = year.x(year.day(window.closes) + 1)
            _track(year.page, band.kind, left, right, top + pitch * number)


def _track(sheet: Page, kind: WorkKind, left: float, right: float, y: float) -> None:
    if kind == "outline":
        sheet.line((left, right), (y, y), width=1.5, linestyle=(0, (0.9, 0.9)), zorder=3)
        return
    half = 0.02
    sheet.area(
        [left, right, right, left], [y - half, y - half, y + half, y + half],
        LOOKS["heavy"].edge if kind == "heavy" else WHITE, zorder=3,
    )  # fmt: skip
    sheet.line(
        (left, right, right, left, left), (y - half, y - half, y + half, y + half, y - half),
        width=0.6, zorder=3.2, colour=LOOKS[kind].edge,
    )  # fmt: skip
