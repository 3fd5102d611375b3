"""The days of a record as a strip: a column a year, January at the top; darker is worse.

Read days are pale, mended ones hatched (dotted where a neighbour filled them), open ones
dark, days outside the record bare paper. Below
the strip a sign a season, bars where readings were whole degrees and where they stand a day out of
step. Every length is in inches, y downwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from matplotlib.collections import PolyCollection

from timing.charts import HAIR, INK, PAPER, QUIET, Page, text_width
from timing.drivers import AUTUMN, MISSING_AUTUMN_DAYS, MISSING_SPRING_DAYS, SPRING
from timing.record_check import RecordCheck
from timing.season import season_start
from timing.temperature import BRIDGED, FILLED, NEIGHBOUR, OBSERVED, OPEN
from timing.wording import MONTHS, short_day

READ, MENDED, LOST, TEXTURE = "#dde3dd", "#a9aea6", "#7a2e22", "#5d676b"
PLOT_LEFT, PLOT_RIGHT, LABEL_X = 1.55, 8.95, 0.5
WIDEST_YEAR, HIGH = 1.2, 2.1
LEAST_HIGH = 0.014  # of a gap, to be seen at all
ROW = 0.2


class Years:
    """Calendar years → inches across."""

    def __init__(self, first: int, last: int) -> None:
        self.first, self.count = first, last - first + 1
        self.per_year = min((PLOT_RIGHT - PLOT_LEFT) / self.count, WIDEST_YEAR)

    @property
    def right(self) -> float:
        """Where the last year ends."""
        return self.x(self.first + self.count)

    def x(self, year: float) -> float:
        """Where a moment lies, in years and parts of them."""
        return PLOT_LEFT + (year - self.first) * self.per_year

    def named(self) -> list[int]:
        """Years that have room for their number."""
        step = next(n for n in (1, 2, 5, 10, 20, 50) if n * self.per_year > 0.42)
        return [
            year for year in range(self.first, self.first + self.count) if year % step == 0
        ]  # fmt: skip


def draw_strip(page: Page, top: float, check: RecordCheck, years: Years) -> float:
    """Draw the strip and the rows below it; return the y below them.

    Days carry the gids ``days-read``, ``days-mended``, ``days-neighbour`` and ``days-open``, signs
    of seasons ``seasons-count``, ``seasons-lost`` and ``seasons-cut``.
    """
    _months(page, top)
    _days(page, top, check, years)
    _phases(page, top, check, years)
    y = _seasons(page, top + HIGH + 0.06, check, years)
    coarse = [run for run in check.precision if run.unit != "finer"]
    if coarse:
        spans = [(run.first_year, run.last_year + 1, run.unit) for run in coarse]
        y = _bars(page, y, "whole degrees", spans, years)
    if check.neighbour is not None and check.neighbour.shifts:
        wrong = sorted({year for shift in check.neighbour.shifts for year in shift.years})
        y = _bars(page, y, "a day out of step", _runs(wrong), years, hatch="////")
    return y


def _months(page: Page, top: float) -> None:
    for number, name in enumerate(MONTHS):
        y = top + HIGH * (number + 0.5) / 12
        page.text(PLOT_LEFT - 0.08, y + 0.035, name[:3], size=7, ha="right", colour=QUIET)


def _days(page: Page, top: float, check: RecordCheck, years: Years) -> None:
    record = check.record
    calendar = record.first + np.arange(len(record.state))
    year = calendar.astype("datetime64[Y]").astype(np.int64) + 1970
    day = (calendar - calendar.astype("datetime64[Y]")).astype(np.int64)
    sort = np.select(
        [
            record.state == OBSERVED,
            np.isin(record.state, (BRIDGED, FILLED)),
            record.state == NEIGHBOUR,
            record.state == OPEN,
        ],
        [0, 1, 2, 3],
    )
    begins = np.flatnonzero(np.diff(sort, prepend=-1) | np.diff(year, prepend=-1))
    ends = np.append(begins[1:], len(sort))
    gap = min(0.12 * years.per_year, 0.02)
    cells: tuple[list[list[tuple[float, float]]], ...] = ([], [], [], [])
    for first, stop in zip(begins, ends, strict=True):
        left = years.x(int(year[first])) + gap / 2
        right = left + years.per_year - gap
        upper, lower = (top + HIGH * min(at / 365, 1) for at in (day[first], day[stop - 1] + 1))
        if sort[first]:
            middle, half = (upper + lower) / 2, max(lower - upper, LEAST_HIGH) / 2
            upper, lower = middle - half, middle + half
        cells[sort[first]].append([(left, upper), (right, upper), (right, lower), (left, lower)])
    looks = (
        ("read", READ, ""),
        ("mended", MENDED, "//////"),
        ("neighbour", MENDED, "......"),
        ("open", LOST, ""),
    )
    for order, ((name, colour, hatch), boxes) in enumerate(zip(looks, cells, strict=True)):
        if boxes:
            drawn = PolyCollection(
                boxes, facecolor=colour, edgecolor=TEXTURE if hatch else "none",
                hatch=hatch or None, linewidth=0, zorder=1 + order / 10, clip_on=False,
            )  # fmt: skip
            drawn.set_gid(f"days-{name}")
            page.add(drawn)


def _phases(page: Page, top: float, check: RecordCheck, years: Years) -> None:
    """Brackets at the right: which days cost a season, and how many of them."""
    start = season_start(2023, check.site.hemisphere)
    fall = _day_of_year(start + AUTUMN.start)
    spring = _day_of_year(start + SPRING.start)
    x = years.right + 0.1
    upper, lower = (top + HIGH * day / 365 for day in (spring, fall))
    page.line(
        (x, x + 0.06, x + 0.06, x), (upper, upper, lower - 0.01, lower - 0.01),
        colour=QUIET, width=0.8,
    )  # fmt: skip
    lines = (
        f"{MISSING_SPRING_DAYS} days missing",
        f"{short_day(start + SPRING.start)}–{short_day(start + SPRING.stop - 1)}",
        "lose a season,",
        f"{MISSING_AUTUMN_DAYS} after that",
    )
    for number, line in enumerate(lines):
        y = (upper + lower) / 2 + 0.13 * (number - 1.2)
        page.text(x + 0.14, y, line, size=7, colour=QUIET)


def _day_of_year(day: np.datetime64) -> int:
    return int((day - day.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64))


def _seasons(page: Page, top: float, check: RecordCheck, years: Years) -> float:
    y = top + ROW / 2
    _label(page, y, "seasons")
    size = min(5.0, 72 * years.per_year * 0.62)
    signs: dict[str, tuple[str, str, list[int]]] = {
        "count": ("s", INK, []), "lost": ("x", LOST, []), "cut": ("s", PAPER, []),
    }  # fmt: skip
    inside = range(years.first, years.first + years.count)
    for season in check.coverage.seasons:
        if season.season in inside:
            name = "count" if season.counts else "lost" if season.gaps else "cut"
            signs[name][2].append(season.season)
    for name, (sign, fill, numbers) in signs.items():
        if numbers:
            page.line(
                [years.x(number + 0.5) for number in numbers], [y] * len(numbers),
                linestyle="none", marker=sign, markersize=size, markerfacecolor=fill,
                markeredgecolor=fill if fill != PAPER else QUIET,
                markeredgewidth=1.4 if sign == "x" else 0.6, gid=f"seasons-{name}",
            )  # fmt: skip
    return top + ROW


def _bars(
    page: Page,
    top: float,
    label: str,
    spans: Iterable[tuple[int, int, str]],
    years: Years,
    *,
    hatch: str = "",
) -> float:
    _label(page, top + ROW / 2, label)
    for first, stop, text in spans:
        left, right = years.x(first), years.x(stop)
        page.area(
            [left, right, right, left], [top + 0.05, top + 0.05, top + 0.15, top + 0.15],
            HAIR, edgecolor=LOST if hatch else "none", hatch=hatch or None,
        )  # fmt: skip
        if text and text_width(text, 6.5) < right - left - 0.06:
            page.text((left + right) / 2, top + 0.127, text, size=6.5, ha="center")
    return top + ROW


def _label(page: Page, y: float, text: str) -> None:
    page.text(PLOT_LEFT - 0.08, y + 0.035, text, size=7, ha="right", colour=QUIET)


def _runs(years: Sequence[int]) -> list[tuple[int, int, str]]:
    runs: list[tuple[int, int, str]] = []
    for year in years:
        if runs and runs[-1][1] == year:
            runs[-1] = runs[-1][0], year + 1, ""
        else:
            runs.append((year, year + 1, ""))
    return runs


def draw_key(page: Page, y: float, *, steps: bool, drifts: bool, neighbour: bool) -> None:
    """One line that explains the strip and what is drawn over the panels."""
    x = LABEL_X
    for colour, hatch, text in (
        (READ, "", "read"),
        (MENDED, "//////", "mended"),
        *(((MENDED, "......", "from a neighbour"),) if neighbour else ()),
        (LOST, "", "open"),
    ):
        page.area(
            [x, x + 0.24, x + 0.24, x], [y + 0.03, y + 0.03, y - 0.1, y - 0.1], colour,
            edgecolor=TEXTURE if hatch else "none", hatch=hatch or None,
        )  # fmt: skip
        page.text(x + 0.31, y, text)
        x += 0.5 + text_width(text, 8)
    x += 0.2
    for sign, fill, text in (
        ("s", INK, "season counts"),
        ("x", LOST, "lost to gaps"),
        ("s", PAPER, "cut by the record's ends"),
    ):
        page.line(
            [x], [y - 0.035], linestyle="none", marker=sign, markersize=5, markerfacecolor=fill,
            markeredgecolor=fill if fill != PAPER else QUIET,
            markeredgewidth=1.4 if sign == "x" else 0.6,
        )  # fmt: skip
        page.text(x + 0.1, y, text)
        x += 0.34 + text_width(text, 8)
    if drifts:
        page.line(
            [x + 0.1, x + 0.5], [y - 0.035, y - 0.035], width=1.8, colour=LOST,
            linestyle=(0, (5, 2)),
        )  # fmt: skip
        page.text(x + 0.57, y, "slow change")
    if not steps:
        return
    page.line([x + 0.1, x + 0.4], [y - 0.035, y - 0.035], width=2.6, colour=LOST)
    page.text(x + 0.47, y, "mean between steps")
    x += 0.85 + text_width("mean between steps", 8)
    page.uprights([x], y - 0.12, y + 0.04, width=1.1, linestyle=(0, (4, 2)))
    page.text(x + 0.1, y, "step, told below")
