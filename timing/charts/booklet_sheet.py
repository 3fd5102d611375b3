"""Sheets of a booklet: paper sizes, margins, running head and foot, text set in lines.

Every length is in inches, y downwards. Paper is left white; ink carries everything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from timing.calendar import YearCalendar
from timing.charts import HAIR, INK, QUIET, SANS, SERIF, Page, Style, text_width, wrap
from timing.export.species_text import Notes

PaperName = Literal["a4", "letter"]
PAPERS: dict[PaperName, tuple[float, float]] = {
    "a4": (210 / 25.4, 297 / 25.4),  # ISO 216
    "letter": (8.5, 11.0),
}
MARGIN = 12.5 / 25.4  # few printers reach nearer to the edge than 12 mm at the foot
FOOT = 0.24
WHITE = "#ffffff"
LEADING = 1.36


@dataclass(frozen=True)
class Line:
    """One line of text, and how it is set."""

    text: str
    size: float = 8.0
    weight: str = "normal"
    style: Style = "normal"
    family: str = SANS
    colour: str = INK
    indent: float = 0.0
    before: float = 0.0

    @property
    def height(self) -> float:
        """Room the line takes, the space before it included."""
        return self.before + self.size * LEADING / 72


def prose(
    text: str,
    width: float,
    size: float = 8.0,
    *,
    weight: str = "normal",
    style: Style = "normal",
    family: str = SANS,
    colour: str = INK,
    hang: float = 0.0,
    before: float = 0.0,
) -> list[Line]:
    """Break a paragraph into lines; all but the first stand ``hang`` further in."""
    broken = wrap(text, width - hang, size, family=family, weight=weight, style=style)
    return [
        Line(line, size, weight, style, family, colour, hang if n else 0.0, 0.0 if n else before)
        for n, line in enumerate(broken)
    ]


def height_of(lines: Sequence[Line]) -> float:
    """Room that lines take one below the other."""
    return sum(line.height for line in lines)


class Sheet(Page):
    """One page of paper with margins."""

    def __init__(self, paper: PaperName) -> None:
        width, self.height = PAPERS[paper]
        super().__init__(width, WHITE)
        self.left, self.right = MARGIN, width - MARGIN
        self.top, self.bottom = MARGIN, self.height - MARGIN - FOOT

    def set(self, x: float, y: float, lines: Sequence[Line]) -> float:
        """Set lines from the top ``y`` down; return the y below the last."""
        for line in lines:
            y += line.before
            self.text(
                x + line.indent, y + line.size * 0.97 / 72, line.text, size=line.size,
                weight=line.weight, style=line.style, family=line.family, colour=line.colour,
            )  # fmt: skip
            y += line.size * LEADING / 72
        return y

    def hair(self, y: float) -> None:
        """Draw a thin line from margin to margin."""
        self.line((self.left, self.right), (y, y), colour=HAIR, width=0.7)

    def notice(self, x: float, y: float, text: str, size: float = 8.5) -> float:
        """Draw a notice, white on ink, from ``x`` on; return the y below it."""
        wide = text_width(text, size, weight="bold") + 0.16
        low = y + 1.9 * size / 72
        self.area([x, x + wide, x + wide, x], [y, y, low, low], INK)
        self.text(x + 0.08, y + 1.3 * size / 72, text, size=size, weight="bold", colour=WHITE)
        return low


class Book:
    """Sheets so far, the last of them being filled; ``y`` is how far down it is."""

    def __init__(self, calendar: YearCalendar, paper: PaperName) -> None:
        self.calendar, self.paper = calendar, paper
        self.language, self.words = calendar.language, calendar.language.text
        self.sheets: list[Sheet] = []
        self.notes = Notes()
        self.y = 0.0

    @property
    def sheet(self) -> Sheet:
        """The sheet being filled."""
        return self.sheets[-1]

    def turn(self, title: str = "") -> Sheet:
        """Begin a new sheet, with a head unless ``title`` is empty."""
        self.sheets.append(Sheet(self.paper))
        sheet = self.sheet
        self.y = sheet.top
        if title:
            head(self, title)
        return sheet

    def fits(self, height: float) -> bool:
        """Whether something of that height still goes on the sheet."""
        return self.y + height <= self.sheet.bottom + 1e-9

    def close(self) -> None:
        """Draw the foot of every sheet and cut the sheets to size."""
        for number, sheet in enumerate(self.sheets, 1):
            y = sheet.height - MARGIN
            count = self.words("booklet.page_of", number=number, count=len(self.sheets))
            sheet.line((sheet.left, sheet.right), (y - 0.16, y - 0.16), colour=INK, width=0.5)
            sheet.text(sheet.right, y - 0.02, count, size=7.5, weight="bold", ha="right")
            right = sheet.right - text_width(count, 7.5, weight="bold") - 0.25
            if self.calendar.invented:
                notice = self.words("notice.invented")
                sheet.text(right, y - 0.02, notice, size=6.5, weight="bold", ha="right")
                right -= text_width(notice, 6.5, weight="bold") + 0.25
            title = (
                f"{self.words('calendar.title', year=self.calendar.year)} · {self.calendar.name}"
            )
            left = shortened(title, right - sheet.left, 7.5)
            sheet.text(sheet.left, y - 0.02, left, size=7.5, colour=QUIET)
            sheet.finish(sheet.height)


def head(book: Book, title: str) -> None:
    """Set a heading with its rule where the book stands."""
    sheet = book.sheet
    lines = prose(title, sheet.right - sheet.left, 15, weight="bold", family=SERIF)
    book.y = sheet.set(sheet.left, book.y, lines) + 0.05
    sheet.line((sheet.left, sheet.right), (book.y, book.y), width=1.2)
    book.y += 0.07


def shortened(text: str, width: float, size: float) -> str:
    """Text cut to a width, with dots where something was cut off."""
    if text_width(text, size) <= width:
        return text
    while text and text_width(f"{text.rstrip()}…", size) > width:
        text = text[:-1]
    return f"{text.rstrip()}…"
