"""Can a record be trusted? Its days, its yearly means and its steps on one page.

The title answers in words. Below it the days as a strip (`timing.charts.record_strip`), and on the
same years the departures of minima, maxima and daily range, and of the differences to a neighbour,
all to one scale. A numbered dashed line is a step, shaded the months it may lie in. Density,
texture and weight carry the meaning, colour only helps. Every length is in inches, y downwards.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np

from timing import check_words as words
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
    house_style,
    save_figure,
    text_width,
)
from timing.charts.record_strip import LOST, PLOT_LEFT, Years, draw_key, draw_strip
from timing.plain_text import signed_tenths
from timing.record_check import Break, Name, RecordCheck, Series
from timing.season import Floats, Ints, year_of
from timing.wording import INVENTED_NOTICE, credit_text, day_text, place_text

PANEL_HIGH, PANEL_GAP = 0.78, 0.24
SHADE = "#e6e3d6"
ORDER: tuple[Name, ...] = (
    *("tmin", "tmax", "range", "day order"),
    *("tmin less neighbour", "tmax less neighbour"),
)
LABELS: dict[Name, tuple[str, str]] = {
    "tmin": ("minima", ""),
    "tmax": ("maxima", ""),
    "range": ("daily range", ""),
    "day order": ("day order", "of min. and max."),
    "tmin less neighbour": ("minima", "less neighbour"),
    "tmax less neighbour": ("maxima", "less neighbour"),
}


def draw_check(check: RecordCheck) -> Figure:
    """Draw a checked record.

    Panels carry the gid ``series-<name>`` with the words of the name joined by hyphens, steps
    ``step-<number>`` from 1, lines of drift ``drift-<name>``; for the strip see
    `timing.charts.record_strip.draw_strip`.
    """
    with house_style():
        return _Chart(check).draw()


def save_check(check: RecordCheck, path: Path) -> None:
    """Draw a checked record and write it as PNG, SVG or PDF by the suffix of ``path``."""
    save_figure(draw_check(check), path, title=f"{words.headline(check)} {check.site.name}")


class _Chart:
    """One drawing; ``y`` is how far down the page it has come."""

    def __init__(self, check: RecordCheck) -> None:
        self.check = check
        self.page = Page(WIDTH)
        self.years = Years(year_of(check.record.first), year_of(check.record.last))
        self.y = 0.0

    def draw(self) -> Figure:
        self._head()
        self._key()
        self.y = draw_strip(self.page, self.y + 0.14, self.check, self.years) + 0.08
        self._axis()
        if any(one.years.size for one in self.check.series.values()):
            self._panels()
        self._steps()
        self._foot()
        return self.page.finish(self.y + 0.3)

    # ------------------------------------------------------------------ head and key

    def _head(self) -> None:
        site, page = self.check.site, self.page
        if site.invented:
            page.text(
                RIGHT - 0.06, 0.44, INVENTED_NOTICE, size=8.5, weight="bold", colour=PAPER,
                ha="right", bbox={"facecolor": INK, "edgecolor": INK, "pad": 4.5},
            )  # fmt: skip
        title = words.headline(self.check).rstrip(".")
        top = 0.58 if site.invented else 0.4
        self.y = page.paragraph(
            LEFT, top, RIGHT - LEFT, title, size=18, leading=1.25, family=SERIF, weight="bold"
        )
        self.y = page.paragraph(
            LEFT, self.y + 0.05, RIGHT - LEFT, site.name, size=11, family=SERIF
        )  # fmt: skip
        self.y = page.paragraph(
            LEFT, self.y + 0.01, RIGHT - LEFT, place_text(site), size=8.5, colour=QUIET
        )

    def _key(self) -> None:
        top = self.y + 0.12
        self.page.line((LEFT, RIGHT), (top, top), width=1.2)
        steps = bool(self.check.breaks)
        drifts = bool(self.check.drifts) and not steps  # beside steps a line would confuse
        beside = self.check.record.neighbour_days > 0
        draw_key(self.page, top + 0.22, steps=steps, drifts=drifts, neighbour=beside)
        self.y = top + 0.36
        self.page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)

    def _axis(self) -> None:
        page, years = self.page, self.years
        page.line((PLOT_LEFT, years.right), (self.y, self.y), width=1.0)
        for year in years.named():
            x = years.x(year + 0.5)
            page.uprights([x], self.y, self.y + 0.05, colour=QUIET, width=0.6)
            page.text(x, self.y + 0.19, str(year), size=8, weight="bold", ha="center")
        self.y += 0.27

    # ------------------------------------------------------------------ yearly means

    def _panels(self) -> None:
        names = [name for name in ORDER if name in self.check.series]
        shown = [self.check.series[name].values for name in names]
        most = max((float(np.abs(values).max()) for values in shown if values.size), default=0.5)
        limit = max(float(np.ceil(2 * most)) / 2, 0.5)
        self.y = self._flags(self.y)
        top = self.y
        bottom = top + len(names) * (PANEL_HIGH + PANEL_GAP) - PANEL_GAP
        self._lines(top, bottom)
        for name in names:
            self._panel(name, limit)
            self.y += PANEL_HIGH + PANEL_GAP
        said = "°C from the usual of the months, years with ten months or more; one scale"
        self.page.text(PLOT_LEFT, self.y + 0.02, said, size=7, colour=QUIET)
        self.y += 0.1

    def _flags(self, top: float) -> float:
        """Numbers and months of the steps, in as many lanes as they need; the y below them."""
        lanes: list[float] = []
        for number, item in enumerate(self.check.breaks, 1):
            text = f"{number}  {words.short_month(item.month)}"
            x, half = self._x(item.month), text_width(text, 7.5, weight="bold") / 2 + 0.05
            x = min(max(x, PLOT_LEFT - 0.3 + half), RIGHT - half)
            lane = next((at for at, end in enumerate(lanes) if end < x - half), len(lanes))
            lanes[lane : lane + 1] = [x + half + 0.04]
            self.page.text(
                x, top + 0.09 + 0.19 * lane, text, size=7.5, weight="bold", ha="center",
                va="center", colour=PAPER, zorder=5, gid=f"step-{number}",
                bbox={"facecolor": INK, "edgecolor": INK, "pad": 2.0, "linewidth": 0},
            )  # fmt: skip
        return top + 0.19 * len(lanes) + (0.05 if lanes else 0.02)

    def _lines(self, top: float, bottom: float) -> None:
        for item in self.check.breaks:
            left, right = self._x(item.early), self._x(item.late + 1)
            self.page.area(
                [left, right, right, left], [top, top, bottom, bottom], SHADE, zorder=0.4
            )
        xs = [self._x(item.month) for item in self.check.breaks]
        if xs:
            self.page.uprights(
                xs, top - 0.05, bottom, width=1.1, linestyle=(0, (4, 2)), zorder=1.4
            )  # fmt: skip

    def _panel(self, name: Name, limit: float) -> None:
        page, one = self.page, self.check.series[name]
        middle = self.y + PANEL_HIGH / 2
        label, more = LABELS[name]
        page.text(LEFT, middle - (0.02 if more else -0.03), label, size=8.5, weight="bold")
        page.text(LEFT, middle + 0.12, more, size=7, colour=QUIET)
        for value in (limit, 0.0, -limit):
            y = middle - PANEL_HIGH / 2 * value / limit
            page.line((PLOT_LEFT, self.years.right), (y, y), colour=HAIR, width=0.7, zorder=0.5)
            text = signed_tenths(value) if value else "0"
            page.text(PLOT_LEFT - 0.08, y + 0.03, text, size=6.5, ha="right", colour=QUIET)
        if one.years.size == 0:
            page.text(
                PLOT_LEFT + 0.1, middle - 0.06, "no year with ten months", size=7.5, colour=QUIET,
                style="italic",
            )  # fmt: skip
            return
        ys = middle - PANEL_HIGH / 2 * one.values / limit
        line_years, line_ys = _with_breaks(one.years, ys)
        xs = [self.years.x(year + 0.5) for year in line_years]
        page.line(
            xs, line_ys, width=0.8, marker="o", markersize=2.6, markerfacecolor=INK,
            markeredgewidth=0, zorder=2, gid=f"series-{name.replace(' ', '-')}",
        )  # fmt: skip
        self._means(one, middle, limit)
        self._drift(name, one, middle, limit)
        self._sizes(name, one)

    def _means(self, one: Series, middle: float, limit: float) -> None:
        """Mean of every stretch between steps."""
        months = [item.month for item in self.check.breaks]
        edges = [-np.inf, *(_decimal_year(month) for month in months), np.inf]
        for since, until in pairwise(edges):
            inside = (one.years + 0.5 >= since) & (one.years + 0.5 < until)
            if not inside.any() or not months:
                continue
            y = middle - PANEL_HIGH / 2 * float(one.values[inside].mean()) / limit
            left = max(float(one.years[inside][0]), since)
            right = min(float(one.years[inside][-1]) + 1, until)
            self.page.line(
                (self.years.x(left), self.years.x(right)), (y, y), colour=LOST, width=2.6,
                zorder=2.2, solid_capstyle="butt",
            )  # fmt: skip

    def _drift(self, name: Name, one: Series, middle: float, limit: float) -> None:
        """The line of a series that drifts, dashed, through the middle of its values."""
        slopes = [item.trend.slope for item in self.check.drifts if item.series == name]
        if not slopes or self.check.breaks:
            return
        ends = one.years[[0, -1]]
        level = float(np.median(one.values - slopes[0] * one.years))
        ys = middle - PANEL_HIGH / 2 * (level + slopes[0] * ends) / limit
        self.page.line(
            [self.years.x(year + 0.5) for year in ends], ys, colour=LOST, width=1.8,
            linestyle=(0, (5, 2)), zorder=2.2, gid=f"drift-{name.replace(' ', '-')}",
        )  # fmt: skip

    def _sizes(self, name: Name, one: Series) -> None:
        """Size of every step beside its line, where there is room."""
        breaks = self.check.breaks
        for number, item in enumerate(breaks):
            if name not in item.sizes:
                continue
            size, error = item.sizes[name]
            text = signed_tenths(size)
            x = self._x(item.month) + 0.05
            ends = self._x(breaks[number + 1].month) if number + 1 < len(breaks) else RIGHT
            if x + text_width(text, 7, weight="bold") + 0.03 > ends:
                continue
            sure = abs(size) > 2 * error
            self.page.text(
                x, self.y + 0.03, text, size=7, weight="bold" if sure else "normal",
                colour=INK if sure else QUIET, zorder=3,
                bbox={"facecolor": PAPER, "linewidth": 0, "pad": 0.6},
            )  # fmt: skip

    def _x(self, month: np.datetime64) -> float:
        return self.years.x(_decimal_year(month))

    # ------------------------------------------------------------------ words

    def _steps(self) -> None:
        check, page = self.check, self.page
        if check.tested and not check.breaks:
            return
        self.y += 0.12
        if not check.tested:
            self.y = page.paragraph(LEFT, self.y, RIGHT - LEFT, words.TOO_SHORT, size=8.5)
            return
        for number, item in enumerate(check.breaks, 1):
            page.text(LEFT, self.y + 0.11, str(number), size=8.5, weight="bold")
            self.y = page.paragraph(
                LEFT + 0.2, self.y, RIGHT - LEFT - 0.2, _step_text(check, item), size=8
            )
            self.y += 0.05

    def _foot(self) -> None:
        check = self.check
        self.y += 0.1
        self.page.line((LEFT, RIGHT), (self.y, self.y), width=1.2)
        place = f"{check.site.name}, {place_text(check.site)}. {_record_text(check)}"
        left = [("Place and record", place), ("Method", words.METHOD)]
        if check.drifts:
            said = "; ".join(words.drift_text(item) for item in check.drifts)
            left.append(("Slow changes", f"{said[0].upper()}{said[1:]}."))
        if check.neighbour is not None and check.neighbour.shifts:
            said = "; ".join(words.shift_text(item) for item in check.neighbour.shifts)
            left.append(("A day out of step", f"{said[0].upper()}{said[1:]}."))
        right = [("What you can do", " ".join(words.advice(check)))] if words.advice(check) else []
        right += [("What to keep in mind", " ".join(words.caveats(check)))]
        if check.site.invented:
            right.append((INVENTED_NOTICE, "No such place; do not plan real cuts from this page."))
        top, wide = self.y + 0.14, 4.8
        self.y = max(
            self._column(LEFT, top, wide, left), self._column(RIGHT - wide, top, wide, right)
        )

    def _column(self, x: float, y: float, width: float, parts: list[tuple[str, str]]) -> float:
        for heading, text in parts:
            if text:
                y = self.page.paragraph(x, y, width, heading, size=7.5, weight="bold")
                y = self.page.paragraph(x, y, width, text, size=7.5) + 0.07
        return y


def _step_text(check: RecordCheck, item: Break) -> str:
    return (
        f"{words.when_text(item)}: {words.sizes_text(item)}. {words.found_text(item)}. "
        f"{words.meaning(check, item)}"
    )


def _record_text(check: RecordCheck) -> str:
    record = check.record
    span = " to ".join(f"{day_text(day)} {year_of(day)}" for day in (record.first, record.last))
    gaps = check.coverage.gaps
    missing = f"{words.counted(record.missing_days, 'day')} missing"
    if gaps:
        longest = gaps[0]
        missing += (
            f", {words.counted(len(gaps), 'gap')} of more than three days, the longest of "
            f"{longest.days} from {day_text(longest.first)} {year_of(longest.first)} "
            f"({longest.treated})"
        )
    found = [finding.text for finding in record.findings if finding.kind != "missing"]
    beside = (
        f" Neighbour: {check.neighbour.record.source}.{words.neighbour_credit(check, ' ')}"
        if check.neighbour is not None
        else ""
    )
    said = f" {'; '.join(found)}." if found else ""
    return (
        f"Record: {record.source}, {span}; {missing}.{said}{credit_text(check.site, ' ')}{beside}"
    )


def _with_breaks(years: Ints, ys: Floats) -> tuple[Floats, Floats]:
    """The same with the pen lifted where years are missing."""
    gaps = np.flatnonzero(np.diff(years) > 1) + 1
    return np.insert(years.astype(float), gaps, np.nan), np.insert(ys, gaps, np.nan)


def _decimal_year(month: np.datetime64) -> float:
    return 1970 + int(month.astype("datetime64[M]").astype(np.int64)) / 12
