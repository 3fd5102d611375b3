"""The frame that charts of a year share: title, months, line of the day, names, foot.

One row a taxon, January to December across. Every length is in inches, y downwards.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np

from timing import wording
from timing.calendar import CalendarRow
from timing.charts import (
    HAIR,
    INK,
    LEFT,
    PAPER,
    QUIET,
    RIGHT,
    SERIF,
    WIDTH,
    Figure,
    Page,
    text_width,
)
from timing.charts.year_strip import YearStrip
from timing.language import Language
from timing.species.model import Species

if TYPE_CHECKING:  # a chart of one site needs nothing of regions
    from timing.region import RegionRow

NAMES_WIDE = 1.62
KINDS_X = 2.24
MONTHS_AGAIN = 8  # rows after which the months are named again on a long page
COLUMN = 4.8

Row = TypeVar("Row", CalendarRow, "RegionRow")
Parts = list[tuple[str, str]]


class YearPage(Generic[Row]):
    """A page with a year between ``left`` and ``right``; ``y`` is how far down it has come."""

    def __init__(
        self, year: int, today: np.datetime64 | None, language: Language, span: tuple[float, float]
    ) -> None:
        self.today, self.language = today, language
        self.left, self.right = span
        self.page = Page(WIDTH)
        self.year = YearStrip(self.page, year, self.left, self.right, language)
        self.grid: list[tuple[float, float]] = []
        self.y = 0.0

    def title(self, title: str, *, invented: bool) -> None:
        """Set the title and, where the place is invented, the notice."""
        self.page.text(LEFT, 0.66, title, size=21, family=SERIF, weight="bold")
        if not invented:
            return
        notice = self.language.text("notice.invented")
        beside = LEFT + text_width(title, 21, SERIF, "bold") + 0.3
        fits = beside + text_width(notice, 8.5, weight="bold") + 0.12 <= RIGHT
        self.page.text(
            RIGHT - 0.06, 0.635 if fits else 0.27, notice, size=8.5, weight="bold", colour=PAPER,
            ha="right", bbox={"facecolor": INK, "edgecolor": INK, "pad": 4.5},
        )  # fmt: skip

    def rows(
        self, rows: Sequence[Row], draw: Callable[[Row], None], beside: tuple[float, str]
    ) -> None:
        """Draw rows between two rulers of months; ``beside``: x and text of the column of dates."""
        self._months(above=True)
        self.page.text(beside[0], self.y - 0.17, beside[1], colour=QUIET)
        flag = self.y
        if self.today is not None:
            self.y += 0.2
        since = self.y - 0.05
        for number, row in enumerate(rows):
            left = len(rows) - number
            if number and number % MONTHS_AGAIN == 0 and left > 2:
                self.grid.append((since, self.y))
                self._months_again()
                since = self.y
            draw(row)
            if left > 1:
                self.page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)
        self.grid.append((since, self.y))
        self._months(above=False)
        for above, below in self.grid:
            self.year.month_lines(above, below, HAIR)
        self._today(flag)

    def names(self, species: Species, top: float) -> float:
        """Set the names of a taxon; return the y below them."""
        y = self.page.paragraph(
            LEFT, top, NAMES_WIDE, species.common_name,
            size=10, leading=1.25, family=SERIF, weight="bold",
        )  # fmt: skip
        return self.page.paragraph(
            LEFT, y + 0.02, NAMES_WIDE, species.scientific_name,
            size=8.5, leading=1.25, family=SERIF, style="italic", colour=QUIET,
        )  # fmt: skip

    def lines(self, x: float, y: float, lines: Sequence[tuple[str, str]]) -> None:
        """Set short lines, text and colour each, around the height ``y``."""
        y -= 0.055 * (len(lines) - 1)
        for number, (text, colour) in enumerate(lines):
            self.page.text(x, y + 0.125 * number, text, size=7.5, colour=colour)

    def foot(self, left: Parts, right: Parts) -> Figure:
        """Set two columns of headings and texts and cut the page to its height."""
        self.y += 0.08
        self.page.line((LEFT, RIGHT), (self.y, self.y), width=1.2)
        top = self.y + 0.14
        deep = max(self._column(LEFT, top, left), self._column(RIGHT - COLUMN, top, right))
        return self.page.finish(deep + 0.4)

    def _column(self, x: float, y: float, parts: Parts) -> float:
        for heading, text in parts:
            y = self.page.paragraph(x, y, COLUMN, heading, size=7.5, weight="bold")
            y = self.page.paragraph(x, y, COLUMN, text, size=7.5) + 0.07
        return y

    def _months(self, *, above: bool) -> None:
        label = self.y + (0.14 if above else 0.22)
        ruler = label + 0.09 if above else self.y + 0.02
        self.year.month_names(label, size=9.5, weight="bold")
        self.year.ruler(ruler, 0.05 if above else -0.05)
        self.y = ruler + 0.08 if above else label + 0.14

    def _months_again(self) -> None:
        paper = {"facecolor": PAPER, "linewidth": 0, "pad": 1.0}
        self.year.month_names(self.y + 0.15, size=7.5, colour=QUIET, bbox=paper, zorder=4.5)
        self.y += 0.22
        self.page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)

    def _today(self, flag: float) -> None:
        if self.today is None:
            return
        x = self.year.x(self.year.day(self.today) + 0.5)
        self.page.line(
            (x, x), (flag + 0.1, self.grid[-1][1]), width=1.1, linestyle=(0, (4, 2.6)), zorder=4,
            gid="today",
        )  # fmt: skip
        words = self.language.text(
            "calendar.today", day=wording.day_text(self.today, self.language)
        )
        half = text_width(words, 7.5, weight="bold") / 2 + 0.05
        self.page.text(
            min(max(x, self.left + half), self.right - half), flag + 0.095, words,
            size=7.5, weight="bold", ha="center", va="center", colour=PAPER, zorder=5,
            bbox={"facecolor": INK, "edgecolor": INK, "pad": 2.0, "linewidth": 0},
        )  # fmt: skip
