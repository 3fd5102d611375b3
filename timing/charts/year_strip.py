"""A calendar year across a page: months, weeks, bands of work and marks of events.

Lengths are in inches, y downwards. The height of a band on a day is the chance that the day is
safe; where it reaches the confidence the band is in full colour with a bar beneath it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from timing import wording
from timing.calendar import Band, EventMark, lanes
from timing.charts import LOOKS, QUIET, Page
from timing.language import ENGLISH, Language
from timing.season import Floats

LANE = 0.135


def corners(xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
    """The points of a line without those inside its level stretches and its gaps (NaN)."""
    level = (ys[1:-1] == ys[:-2]) & (ys[1:-1] == ys[2:])
    gap = np.isnan(ys)
    level |= gap[1:-1] & gap[:-2] & gap[2:]
    kept = np.concatenate(([True], ~level, [True]))
    return xs[kept], ys[kept]


class YearStrip:
    """One year between two edges of a page."""

    def __init__(
        self, page: Page, year: int, left: float, right: float, language: Language = ENGLISH
    ) -> None:
        self.page, self.left, self.right = page, left, right
        self.months = [name[:3] for name in language.table("months").values()]
        self.new_year = np.datetime64(f"{year:04d}-01-01", "D")
        self.starts = wording.month_starts(year)
        self.days = self.starts[-1]

    def x(self, day: float) -> float:
        """Where a moment of the year lies, counted in days from its start."""
        return float(self.xs(np.array([day]))[0])

    def xs(self, days: Floats) -> Floats:
        """Where moments of the year lie."""
        return self.left + (self.right - self.left) * days / self.days

    def day(self, date: np.datetime64) -> int:
        """Days from the start of the year to a date."""
        return int((date - self.new_year).astype(np.int64))

    # ------------------------------------------------------------------ the ruler

    def month_names(self, y: float, **more: Any) -> None:
        """Name the months in the middle of their days."""
        for name, (start, stop) in zip(self.months, pairwise(self.starts), strict=True):
            self.page.text(self.x((start + stop) / 2), y, name, ha="center", **more)

    def ruler(self, y: float, tick: float, *, width: float = 1.0) -> None:
        """Draw a line from January to December with a tick on every Monday."""
        self.page.line((self.left, self.right), (y, y), width=width)
        since_monday = int(self.new_year.astype(np.int64) + 3) % 7
        mondays = [self.x(day) for day in range(-since_monday % 7, self.days, 7)]
        self.page.uprights(mondays, y, y + tick, colour=QUIET, width=0.5)

    def month_lines(self, top: float, bottom: float, colour: str, width: float = 0.7) -> None:
        """Draw the lines between the months."""
        xs = [self.x(start) for start in self.starts]
        self.page.uprights(xs, top, bottom, colour=colour, width=width, zorder=0.5)

    # ------------------------------------------------------------------ bands of work

    def band(self, slug: str, band: Band, base: float, height: float) -> None:
        """Draw one kind of work; at a chance of one the band is ``height`` tall."""
        look = LOOKS[band.kind]
        self.page.line((self.left, self.right), (base, base), colour=look.edge, width=0.5)
        xs = self.xs(np.repeat(np.arange(self.days + 1.0), 2)[1:-1])  # both edges of every day
        ys = base - height * np.repeat(band.chance, 2)
        self.page.under(
            *corners(xs, ys), base, look.pale, edgecolor=look.hatch_pale, hatch=look.hatch or None,
            zorder=2, snap=False, gid=f"band-{slug}-{band.kind}",
        )  # fmt: skip
        for window in band.safe:
            run = slice(2 * self.day(window.opens), 2 * self.day(window.closes) + 2)
            self.page.under(
                *corners(xs[run], ys[run]), base, look.full, edgecolor=look.hatch_full,
                hatch=look.hatch or None, zorder=2.5, snap=False, gid=f"safe-{slug}-{band.kind}",
            )  # fmt: skip
            self.bar(float(xs[run][0]), float(xs[run][-1]), base, look.edge)
        top = np.where(np.repeat(band.chance, 2) > 0.002, ys, np.nan)
        self.page.line(*corners(xs, top), colour=look.edge, width=0.9, zorder=3, snap=False)

    def bar(self, left: float, right: float, base: float, colour: str) -> None:
        """Draw the bar under safe days."""
        top, bottom = base + 0.012, base + 0.052
        self.page.area([left, right, right, left], [top, top, bottom, bottom], colour, zorder=3)

    # ------------------------------------------------------------------ events

    def marks(self, slug: str, marks: tuple[EventMark, ...], y: float) -> int:
        """Draw events with their ranges in as many lanes as they need; return how many."""
        found = lanes(marks)
        for number, lane in enumerate(found):
            for mark in lane:
                height = y + LANE * number
                self._range(mark, height)
                gid = f"mark-{slug}-{mark.event}"
                self.page.marker(self.x(self.day(mark.date) + 0.5), height, mark.event, gid)
        return max(len(found), 1)

    def _range(self, mark: EventMark, y: float) -> None:
        early, late = self.day(mark.early), self.day(mark.late) + 1
        for turn in (-self.days, 0, self.days):  # what crosses New Year comes in at the other end
            start, stop = max(early + turn, 0), min(late + turn, self.days)
            if stop > start:
                self.page.whisker(
                    self.x(start), self.x(stop), y,
                    caps=(start == early + turn, stop == late + turn),
                )  # fmt: skip
