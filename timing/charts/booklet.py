"""A year's calendar as a booklet to print: cover, taxa, months, cautions and sources.

Pages are vector drawings with real text in embedded fonts. Texture, shape and weight carry the
meaning, so that a black-and-white printer loses nothing.
"""

from __future__ import annotations

import io
from pathlib import Path

from timing.calendar import YearCalendar
from timing.charts import Figure, house_style
from timing.charts.booklet_cover import cover
from timing.charts.booklet_lists import month_pages, note_pages
from timing.charts.booklet_pages import taxa_pages
from timing.charts.booklet_sheet import Book, PaperName
from timing.charts.pdf_pages import write_pages
from timing.errors import UsageError
from timing.export.files import replacing


def draw_booklet(calendar: YearCalendar, paper: PaperName = "a4") -> list[Figure]:
    """Draw the pages of a booklet, one figure each, in the size of the paper."""
    with house_style():
        book = Book(calendar, paper)
        cover(book)
        taxa_pages(book)
        month_pages(book)
        note_pages(book)
        book.close()
    return [sheet.figure for sheet in book.sheets]


def save_booklet(calendar: YearCalendar, path: Path, paper: PaperName = "a4") -> int:
    """Write a booklet as PDF, whole or not at all; return how many pages it has.

    The same calendar gives the same bytes.

    Raises
    ------
    UsageError : the name does not end in .pdf, or the file cannot be written.
    """
    if path.suffix.lower() != ".pdf":
        raise UsageError(f"{path}: a booklet is written as .pdf")
    pages = draw_booklet(calendar, paper)
    title = f"{calendar.language.text('calendar.title', year=calendar.year)}: {calendar.name}"
    drawn = io.BytesIO()  # a disk that fills up while pages are drawn confuses the drawing
    with house_style(), replacing(path) as part:
        write_pages(pages, drawn, title=title, language=calendar.language.code)
        part.write_bytes(drawn.getvalue())
    return len(pages)
