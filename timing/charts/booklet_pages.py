"""The taxa of a booklet, group by group: bands, events, odds and dates, rules, amounts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from timing import wording
from timing.calendar import MARKED_EVENTS, Band, CalendarRow, YearCalendar, lanes
from timing.charts import HAIR, LOOKS, QUIET, SERIF, text_width
from timing.charts.booklet_cover import draw_band, swatch, today_line
from timing.charts.booklet_sheet import Book, Line, Sheet, head, height_of, prose
from timing.charts.year_strip import LANE, YearStrip
from timing.export.booklet_words import (
    amount_text,
    closed_texts,
    events_text,
    grouped,
    rule_texts,
    windows_text,
)

KIND, DATES, GAP = 0.5, 1.58, 0.1
BAND, PITCH = 0.165, 0.225
TEXT = 7.0
LABELS = 0.55  # from the left edge to the year
HEAD = 0.5  # room of a group's head within a page
TALLER = 0.13  # what a band may gain where a page has room


@dataclass(frozen=True)
class _Block:
    """One taxon, its text broken into lines."""

    row: CalendarRow
    name: list[Line]
    events: list[Line]
    work: list[tuple[Band, list[Line], list[Line], list[Line]]]
    strip: float

    @property
    def height(self) -> float:
        """Room the block takes."""
        work = sum(max(map(height_of, cells)) + 0.05 for _, *cells in self.work)
        return 0.12 + height_of(self.name) + self.strip + height_of(self.events) + work + 0.06


@dataclass
class _Full:
    """What goes on one page: blocks, each with the heading of its group where it opens one."""

    title: str
    items: list[tuple[str, _Block]] = field(default_factory=list)
    used: float = 0.0


def taxa_pages(book: Book) -> None:
    """Draw the taxa by groups; what room is left on a page makes its bands taller."""
    scratch = Book(book.calendar, book.paper)
    scratch.turn("–")
    _key(scratch, book.calendar.rows)
    room = scratch.sheet.bottom - scratch.y
    pages: list[_Full] = []
    for title, rows in grouped(book.calendar.rows, book.language):
        blocks = [_block(book, row) for row in rows]
        whole = HEAD + sum(block.height for block in blocks)
        for number, block in enumerate(blocks):
            needed = block.height + (0.0 if number else HEAD)
            together = whole if number == 0 and whole <= room else needed
            if not pages or pages[-1].used + together > room:
                pages.append(
                    _Full(book.words("booklet.continued", title=title) if number else title)
                )
                pages[-1].items.append(("", block))
                pages[-1].used = block.height
            else:
                pages[-1].items.append(("" if number else title, block))
                pages[-1].used += needed
    for page in pages:
        book.turn(page.title)
        _key(book, [block.row for _, block in page.items])
        spare = max(room - page.used, 0.0) / (3 * len(page.items))
        for number, (title, block) in enumerate(page.items):
            if title:
                book.y += 0.05
                head(book, title)
            elif number:
                book.sheet.hair(book.y)
            _draw(book, block, min(spare, TALLER))


def _key(book: Book, rows: Sequence[CalendarRow]) -> None:
    """Name the signs of events, on every page: pages are pinned one by one."""
    sheet = book.sheet
    shown = {mark.event for row in rows for mark in row.marks}
    x, y = sheet.left, book.y + 0.1
    for event in MARKED_EVENTS:
        if event not in shown:
            continue
        label = book.words(f"events.{event}")
        wide = 0.13 + text_width(label, 7) + 0.2
        if x + wide > sheet.right + 0.2:
            x, y = sheet.left, y + 0.15
        sheet.marker(x + 0.05, y - 0.033, event)
        sheet.text(x + 0.15, y, label, size=7)
        x += wide
    sure = wording.level_text(book.calendar.confidence, book.language)
    words = book.words("booklet.key", chance=sure)
    if shown:
        words += f" {book.words('booklet.whiskers')}"
    lines = prose(words, sheet.right - sheet.left, 7, colour=QUIET)
    book.y = sheet.set(sheet.left, y + 0.05, lines) + 0.05
    sheet.hair(book.y)


def _block(book: Book, row: CalendarRow) -> _Block:
    sheet, calendar = book.sheet, book.calendar
    wide = sheet.right - sheet.left
    return _Block(
        row,
        _name(row, wide),
        prose(events_text(row, book.language), wide - LABELS, 6.5, colour=QUIET),
        [(band, *_cells(book, calendar, sheet, row, band)) for band in row.bands],
        0.2 + 3 * PITCH + LANE * max(len(lanes(row.marks)), 1),
    )


def _name(row: CalendarRow, wide: float) -> list[Line]:
    common, scientific = row.species.common_name, row.species.scientific_name
    used = text_width(common, 10.5, SERIF, "bold") + 0.12
    side = text_width(scientific, 9, SERIF, style="italic")
    lines = prose(common, wide, 10.5, weight="bold", family=SERIF)
    if used + side <= wide:
        up = -lines[0].height
        return [
            *lines,
            Line(scientific, 9, "normal", "italic", SERIF, QUIET, used, up + 1.7 / 72),
        ]
    return [*lines, *prose(scientific, wide, 9, style="italic", family=SERIF, colour=QUIET)]


def _cells(
    book: Book, calendar: YearCalendar, sheet: Sheet, row: CalendarRow, band: Band
) -> tuple[list[Line], list[Line], list[Line]]:
    kind = [Line(book.words(f"short_work.{band.kind}"), 7.5, "bold", colour=LOOKS[band.kind].edge)]
    dates = []
    for span, odds in windows_text(band, calendar.year, book.language):
        lines = prose(span, DATES - GAP, 7.5, weight="bold")
        side = text_width(span, 7.5, weight="bold") + 0.08
        if len(lines) == 1 and side + text_width(odds, 7) <= DATES - GAP:
            up = -lines[0].height + 0.5 / 72
            dates += [*lines, Line(odds, 7, colour=QUIET, indent=side, before=up)]
        else:
            dates += [*lines, *prose(odds, DATES - GAP, 7, colour=QUIET)]
    wide = sheet.right - sheet.left - KIND - DATES
    text = []
    rules = rule_texts(band, row.species, book.notes, book.language, calendar.condition)
    for when, why in rules:
        text += prose(f"{when} {why}", wide, TEXT)
    for closed in closed_texts(band, calendar.year, book.language):
        text += prose(closed, wide, TEXT, weight="bold")
    if row.species.work[band.kind]:
        text += prose(amount_text(row.species, band.kind, book.notes), wide, TEXT)
    return kind, dates, text


def _draw(book: Book, block: _Block, taller: float) -> None:
    sheet, calendar, row = book.sheet, book.calendar, block.row
    y = sheet.set(sheet.left, book.y + 0.08, block.name)
    year = YearStrip(sheet, calendar.year, sheet.left + LABELS, sheet.right, book.language)
    year.month_names(y + 0.11, size=6.5, colour=QUIET)
    year.ruler(y + 0.145, 0.04, width=0.6)
    top = y + 0.145
    base = y + 0.2
    for band in row.bands:
        bottom = base + BAND + taller
        draw_band(year, row.species.slug, band, bottom, BAND + taller)
        label = book.words(f"short_work.{band.kind}")
        colour = LOOKS[band.kind].edge
        sheet.text(sheet.left, bottom - 0.03, label, size=7.5, weight="bold", colour=colour)
        base += PITCH + taller
    if row.marks:
        sheet.text(sheet.left, base + 0.075, book.words("calendar.events"), size=7, colour=QUIET)
    count = year.marks(row.species.slug, row.marks, base + 0.05)
    bottom = base + LANE * count
    year.month_lines(top, bottom, HAIR)
    if calendar.today is not None:
        today_line(year, calendar.today, top, bottom)
    y = sheet.set(year.left, y + block.strip + 3 * taller, block.events) + 0.04
    for band, kind, dates, text in block.work:
        swatch(sheet, band.kind, sheet.left, sheet.set(sheet.left, y, kind) + 0.12)
        sheet.set(sheet.left + KIND, y, dates)
        sheet.set(sheet.left + KIND + DATES, y, text)
        y += max(height_of(cell) for cell in (kind, dates, text)) + 0.05
    book.y += block.height + 3 * taller
