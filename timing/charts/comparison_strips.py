"""Strips of a comparison chart: every past season a dot, this one large, "usual" in the middle.

All strips share one scale of days before and after the usual date, so that marks left of the middle
line are early whatever the event; below each strip its own real dates. A link leads from the middle
line to this season's mark: filled where the date has come, open with a whisker where it lies ahead,
an arrowhead where it runs off the scale. Every length is in inches, y downwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing import comparison_words as words
from timing.charts import INK, PAPER, QUIET, Page
from timing.event_comparison import EventComparison, Standing
from timing.same_day import date_at, place_of
from timing.season import Floats
from timing.wording import EVENT_LABELS, day_text, percent, short_day

MARK, SHADE, DOT = "#7a2e22", "#e6e3d6", "#5d676b"
LABEL_X, LABEL_WIDE = 0.62, 1.75
STRIPS_LEFT, STRIPS_RIGHT, EDGE = 2.5, 8.1, 0.45
VERDICT_X, VERDICT_WIDE = 8.3, 2.2
TALLEST = 0.5
LEAST_REACH, MOST_REACH = 20, 45  # days shown on each side of the usual date
SIGNS: dict[Standing, str] = {"early": "◀", "usual": "●", "late": "▶"}
NAMED_DAYS = (1, 11, 21)


@dataclass(frozen=True)
class Scale:
    """Days around the usual date → inches across."""

    reach: int

    @property
    def per_day(self) -> float:
        """Inches a day."""
        return (STRIPS_RIGHT - STRIPS_LEFT - 2 * EDGE) / (2 * self.reach + 1)

    @property
    def dot(self) -> float:
        """Width of a dot."""
        return float(np.clip(self.per_day * 0.9, 0.05, 0.085))

    def x(self, days: float) -> float:
        """Where so many days from the usual date lie, at the end of the scale if beyond it."""
        days = float(np.clip(days, -self.reach - 0.5, self.reach + 0.5))
        return (STRIPS_LEFT + STRIPS_RIGHT) / 2 + self.per_day * days


def scale_for(items: Sequence[EventComparison]) -> Scale:
    """A scale that holds these events whole, within reason; others may run off its ends."""
    far = [LEAST_REACH]
    for item in items:
        if item.days.size:
            far.append(int(np.abs(item.days - item.usual_day).max()))
            far += [abs(_away(item, day)) for day in (item.date, item.early, item.late)]
    return Scale(min(max(far) + 1, MOST_REACH))


def draw_strip(
    page: Page, top: float, item: EventComparison, scale: Scale, *, slug: str, strong: bool
) -> float:
    """Draw one event; return the y below it.

    Dots carry the gid ``others-<slug>-<event>``, this season's mark ``season-<slug>-<event>``.
    """
    strip = _Strip(page, item, scale, f"{slug}-{item.event}")
    if item.days.size:
        middle, bottom = strip.draw(top)
    else:
        when = f"{day_text(item.date)}; " if item.date is not None else ""
        page.text(STRIPS_LEFT, top + 0.24, f"{when}in no other season", style="italic")
        middle, bottom = top + 0.18, top + 0.3
    weight = "bold" if strong else "normal"
    below = page.paragraph(
        LABEL_X, middle - 0.07, LABEL_WIDE, EVENT_LABELS[item.event],
        size=10 if strong else 9, weight=weight,
    )  # fmt: skip
    return max(bottom, below, strip.verdict(middle, strong=strong) if item.days.size else 0.0)


def _away(item: EventComparison, date: np.datetime64 | None) -> int:
    """Days of this season from the usual date."""
    return 0 if date is None else place_of(date, item.start) - item.usual_day


@dataclass(frozen=True)
class _Strip:
    page: Page
    item: EventComparison
    scale: Scale
    name: str

    def draw(self, top: float) -> tuple[float, float]:
        """Draw what has a place on the scale; return the middle and the bottom."""
        columns, counts = np.unique(self.item.days - self.item.usual_day, return_counts=True)
        inside = np.abs(columns) <= self.scale.reach
        tallest = int(counts[inside].max()) if inside.any() else 1
        step = min(self.scale.dot, TALLEST / tallest)
        base = top + max(step * tallest, 0.24) + 0.05
        lane = base + 0.11
        self._ground(top, base)
        xs = np.repeat([self.scale.x(float(away)) for away in columns[inside]], counts[inside])
        level = np.concatenate([np.arange(count) for count in counts[inside]] or [np.zeros(0)])
        self._dots(xs, base - self.scale.dot / 2 - 0.01 - step * level)
        self._ends(base - self.scale.dot / 2)
        self._dates(lane + 0.1)
        self._season(lane)
        return (top + lane) / 2, lane + 0.34

    def _ground(self, top: float, base: float) -> None:
        assert self.item.middle_half is not None
        low, high = (_away(self.item, day) for day in self.item.middle_half)
        left, right = self.scale.x(low - 0.5), self.scale.x(high + 0.5)
        self.page.area([left, right, right, left], [top, top, base, base], SHADE, zorder=0.6)
        ends = (STRIPS_LEFT + EDGE / 2, STRIPS_RIGHT - EDGE / 2)
        self.page.line(ends, (base, base), width=0.7, zorder=1)

    def _dots(self, xs: Floats, ys: Floats) -> None:
        self.page.line(
            xs, ys, linestyle="none", marker="o", markersize=72 * self.scale.dot * 0.86,
            markerfacecolor=DOT, markeredgecolor=PAPER, markeredgewidth=0.4, zorder=2,
            gid=f"others-{self.name}",
        )  # fmt: skip

    def _ends(self, y: float) -> None:
        """Years of the earliest and latest season, or how many run off the scale."""
        item, scale = self.item, self.scale
        assert item.extremes is not None
        places = int(item.days.min()), int(item.days.max())
        sides = (-1, 1) if places[0] < places[1] else (-1,)
        for side, place, (year, _) in zip(sides, places, item.extremes, strict=False):
            beyond = int((side * (item.days - item.usual_day) > scale.reach).sum())
            text = str(year)
            if beyond:
                text = f"◂ {beyond} more" if side < 0 else f"{beyond} more ▸"
            x = scale.x(place - item.usual_day) + side * (scale.dot / 2 + 0.03)
            self.page.text(
                x, y + 0.01, text, size=6.5, ha="right" if side < 0 else "left", colour=QUIET
            )

    def _dates(self, y: float) -> None:
        """Real dates: the 1st, 11th and 21st of each month, a month named where it begins."""
        named = ""
        for away in range(-self.scale.reach, self.scale.reach + 1):
            day = date_at(self.item.usual_day + away, self.item.start)
            number, month = short_day(day).split()
            if int(number) in NAMED_DAYS:
                text = number if month == named else f"{number} {month}"
                named, x = month, self.scale.x(away)
                self.page.uprights([x], y - 0.01, y + 0.03, colour=QUIET, width=0.6)
                self.page.text(
                    x, y + 0.125, text, size=7, ha="center", colour=QUIET, zorder=2,
                    bbox={"facecolor": PAPER, "linewidth": 0, "pad": 0.6},
                )  # fmt: skip

    def _season(self, y: float) -> None:
        """This season's mark, linked to the middle line."""
        item, scale = self.item, self.scale
        if item.date is None:
            return
        away = _away(item, item.date)
        if item.ahead:
            low, high = _away(item, item.early), _away(item, item.late)
            caps = (abs(low) <= scale.reach, abs(high) <= scale.reach)
            self.page.whisker(scale.x(low), scale.x(high), y, caps)
        x = scale.x(away)
        self.page.line(
            (scale.x(0), x), (y, y), colour=MARK, width=2.8, zorder=3, solid_capstyle="butt"
        )
        beyond = abs(away) > scale.reach
        self.page.line(
            [x], [y], linestyle="none", marker=("<" if away < 0 else ">") if beyond else "o",
            markersize=9.5, markerfacecolor=PAPER if item.ahead else MARK, markeredgecolor=MARK,
            markeredgewidth=2.0, zorder=4, gid=f"season-{self.name}",
        )  # fmt: skip

    def verdict(self, y: float, *, strong: bool) -> float:
        """Early or late at the side, the date and its place; return the y below."""
        item, page = self.item, self.page
        if item.date is None or item.standing is None or item.usual_date is None:
            text = f"no date: {item.reason}"
            return page.paragraph(
                VERDICT_X, y - 0.16, VERDICT_WIDE, text, size=7.5, colour=QUIET, style="italic"
            )
        usual = item.standing == "usual"
        said = "about usual" if usual else f"{abs(_away(item, item.date))} days {item.standing}"
        page.text(
            VERDICT_X, y - 0.04, f"{SIGNS[item.standing]} {said}",
            size=11.5 if strong else 9.5, weight="bold", colour=INK if usual else MARK,
        )  # fmt: skip
        settled = bool(item.date <= item.known_until)
        about = "" if not item.ahead else "so far " if settled else "expected "
        date = f"{about}{short_day(item.date)}, usual {short_day(item.usual_date)}"
        place = words.rank_text(item.rank) if item.rank else ""
        if item.earlier_chance is not None:
            place = f"chance of coming sooner {percent(item.earlier_chance)}"
        below = page.paragraph(VERDICT_X, y + 0.02, VERDICT_WIDE, date, size=7.5)
        return page.paragraph(VERDICT_X, below, VERDICT_WIDE, place, size=7.5, colour=QUIET) + 0.04
