"""A survey as a map: where and when the longest window of one kind of work opens.

Every site is a mark at its longitude and latitude, or a cell where the sites form a grid. There is
no coastline and no other background. Opening days fall into up to seven steps of whole half
months, from pale and early to dark and late, so that grey paper keeps their order. The year is cut
where the fewest openings are: in the widest gap between opening days. Lengths are in inches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from timing import wording
from timing.charts import HAIR, INK, PAPER, QUIET, SERIF, Figure, Page, house_style, save_figure
from timing.season import CYCLE_DAYS, Floats, Ints
from timing.species.catalogue import load_species
from timing.species.model import WorkKind
from timing.survey_parts import read_rows
from timing.survey_rows import FIRST_OF_JANUARY

WIDTH, LEFT, RIGHT = 9.0, 0.75, 8.5
MOST_TALL = 6.0
STEPS = ("#f2dfb3", "#e6bd7e", "#d5955c", "#b96a48", "#93463b", "#672a30", "#371522")
FEWEST_CELLS = 12
GRID_SHARE = 0.5  # of the cells between the outermost sites; from here on sites are drawn as cells
HALF_MONTHS = tuple(
    np.datetime64(f"2022-{month:02d}-{day:02d}", "D") for month in range(1, 13) for day in (1, 16)
)


@dataclass(frozen=True)
class Places:
    """Sites of a map; ``day`` is 0 on 1 January, NaN where no window opens; ``level`` per site."""

    longitude: Floats
    latitude: Floats
    day: Floats
    level: tuple[str, ...]
    nowhere: int


def read_places(parts: Sequence[Path], taxon: str, kind: WorkKind) -> Places:
    """Where the sites of a survey lie and when their longest window opens.

    ``level`` is safe, marginal, none, or failed; ``nowhere`` counts lines without coordinates.
    """
    where: list[tuple[float, float]] = []
    day: list[float] = []
    level: list[str] = []
    nowhere = 0
    for row in read_rows(parts):
        if row.kind == "site" and row.name == "failed":
            if not row.latitude:
                nowhere += 1
                continue
            found, opens = "failed", ""
        elif (row.kind, row.taxon, row.name) == ("work", taxon, kind) and row.number in ("", "1"):
            found, opens = row.level, row.opens
        else:
            continue
        where.append((float(row.longitude), float(row.latitude)))
        level.append(found)
        opening = np.datetime64(opens, "D") - FIRST_OF_JANUARY if opens else np.timedelta64("NaT")
        day.append(float(opening.astype(np.int64)) if opens else np.nan)
    at = np.array(where, dtype=float).reshape(-1, 2)
    return Places(at[:, 0], at[:, 1], np.array(day), tuple(level), nowhere)


def save_map(
    parts: Sequence[Path], taxon: str, kind: WorkKind, confidence: float, path: Path
) -> None:
    """Draw the map and write it as PNG, SVG or PDF by the suffix of ``path``."""
    places = read_places(parts, taxon, kind)
    with house_style():
        figure = draw_map(places, taxon, kind, confidence)
    save_figure(figure, path, title=_title(taxon, kind))


def steps_of(day: Floats) -> tuple[tuple[Ints, ...], Ints]:
    """Group opening days into at most seven steps of whole half months.

    Parameters
    ----------
    day : array (sites,), 0 on 1 January, NaN where none.

    Returns
    -------
    steps : half months (0 = 1 to 15 January) of each step, in order from the cut of the year.
    step : array (sites,), step of each site, −1 where none.
    """
    starts = np.array([(d - FIRST_OF_JANUARY).astype(np.int64) for d in HALF_MONTHS])
    known = ~np.isnan(day)
    step = np.full(day.shape, -1)
    if not known.any():
        return (), step
    half = np.searchsorted(starts, day[known], side="right") - 1
    days = np.unique(day[known])
    gaps = np.diff(np.append(days, days[0] + CYCLE_DAYS))
    first = int(np.searchsorted(starts, days[(gaps.argmax() + 1) % days.size], side="right") - 1)
    after = (half - first) % len(starts)
    size = -(-(int(after.max()) + 1) // len(STEPS))
    step[known] = after // size
    last = int(after.max()) // size
    steps = tuple(
        (first + np.arange(n * size, (n + 1) * size)) % len(starts) for n in range(last + 1)
    )
    return steps, step


def draw_map(places: Places, taxon: str, kind: WorkKind, confidence: float) -> Figure:
    """Draw the map; sites carry the gid ``sites``, one of each step ``step-<number>``."""
    species = load_species(taxon)
    page = Page(WIDTH)
    page.text(LEFT, 0.6, _title(taxon, kind), size=17, family=SERIF, weight="bold")
    sure = wording.level_text(confidence)
    y = page.paragraph(
        LEFT, 0.75, RIGHT - LEFT,
        f"{species.common_name}: first day of the longest window of the usual year in which the "
        f"chance that a cut is safe reaches {sure}. From past seasons alone; this season may be "
        "earlier or later.", size=8.5, colour=QUIET,
    )  # fmt: skip
    frame = _Frame(places, y + 0.2)
    frame.draw(page)
    steps, step = steps_of(np.where(np.array(places.level) == "safe", places.day, np.nan))
    y = frame.bottom + 0.55
    for number, halves in enumerate(steps):
        frame.marks(page, step == number, STEPS[_shade(number, len(steps))], f"step-{number}")
        y = _key(page, number, f"opens {_span(halves)}", STEPS[_shade(number, len(steps))], y)
    others = (
        ("marginal", f"no day reaches {sure}, some reach 50%", "."),
        ("none", "no day reaches 50%", ""),
        ("failed", "no answer: the site failed", "x"),
    )
    count = len(steps)
    for name, words, sign in others:
        chosen = np.array([level == name for level in places.level], dtype=bool)
        if chosen.any():
            frame.hollow(page, chosen, sign, name)
            y = _key(page, count, f"{words} ({chosen.sum()})", PAPER, y)
            if sign:
                x = LEFT + 0.08 + (count % 3) * 2.62
                page.line([x], [y - 0.045], marker=sign, markersize=4, linestyle="none", zorder=5)
            count += 1
    y += 0.26
    total = f"{len(places.level)} sites"
    if places.nowhere:
        total += f"; {places.nowhere} more lines name no place that could be read"
    page.text(LEFT, y, f"{total}. Dates are of a year without 29 February.", size=8, colour=QUIET)
    y = page.paragraph(LEFT, y + 0.08, RIGHT - LEFT, wording.CAUTIONS[0], size=8, colour=QUIET)
    return page.finish(y + 0.3)


def _title(taxon: str, kind: WorkKind) -> str:
    work = wording.WORK_LABELS[kind].capitalize()
    return f"{work} on {load_species(taxon).scientific_name}: opening day"


def _shade(number: int, count: int) -> int:
    """Spread the steps there are over all shades."""
    return round(number * (len(STEPS) - 1) / max(count - 1, 1)) if count > 1 else 3


def _span(halves: Ints) -> str:
    first = HALF_MONTHS[int(halves[0])]
    nth = (int(halves[-1]) + 1) % len(HALF_MONTHS)
    return wording.span_text(first, HALF_MONTHS[nth] - 1 if nth else np.datetime64("2022-12-31"))


def _key(page: Page, number: int, text: str, colour: str, y: float) -> float:
    """One entry of the legend, three in a row; returns the line it stands on."""
    if number and number % 3 == 0:
        y += 0.24
    x = LEFT + 0.08 + (number % 3) * 2.62
    page.line(
        [x], [y - 0.045], marker="o", markersize=8, linestyle="none",
        markerfacecolor=colour, markeredgecolor=INK, markeredgewidth=0.6,
    )  # fmt: skip
    page.text(x + 0.14, y, text)
    return y


class _Frame:
    """The mapped part of the Earth: longitude across, latitude up, true at the middle latitude."""

    def __init__(self, places: Places, top: float) -> None:
        self.top = top
        longitude = places.longitude
        east = np.sort(np.unique(longitude))
        gaps = np.diff(np.append(east, east[:1] + 360)) if east.size else np.array([360.0])
        widest = int(gaps.argmax()) if east.size else 0
        self.west = float(east[(widest + 1) % east.size]) if east.size else 0.0
        self.x_of = (longitude - self.west) % 360
        self.y_of = places.latitude
        self.cell = _cell(self.x_of), _cell(self.y_of)
        columns, rows = (
            round(np.ptp(v) / c) + 1 if v.size and c else 1
            for v, c in zip((self.x_of, self.y_of), self.cell, strict=True)
        )
        least = max(FEWEST_CELLS, GRID_SHARE * columns * rows)
        self.grid = min(columns, rows) > 1 and len(self.x_of) >= least
        pad = 0.06 * max(np.ptp(self.x_of), np.ptp(self.y_of), 0.5) if self.x_of.size else 1.0
        across = (float(self.x_of.max()) if self.x_of.size else 0.0) + 2 * pad
        low, high = (self.y_of.min(), self.y_of.max()) if self.x_of.size else (0.0, 0.0)
        self.low, self.high = float(low - pad), float(high + pad)
        self.pad = pad
        self.squeeze = float(np.cos(np.deg2rad((self.low + self.high) / 2)))
        self.squeeze = max(self.squeeze, 0.2)
        self.scale = min(
            (RIGHT - LEFT) / (across * self.squeeze), MOST_TALL / (self.high - self.low)
        )
        self.right = LEFT + across * self.squeeze * self.scale
        self.bottom = top + (self.high - self.low) * self.scale

    def x(self, degrees: Floats) -> Floats:
        """Inches from the left of degrees east of the westernmost site."""
        return LEFT + (degrees + self.pad) * self.squeeze * self.scale

    def y(self, latitude: Floats) -> Floats:
        """Inches from the top of latitudes."""
        return self.top + (self.high - latitude) * self.scale

    def draw(self, page: Page) -> None:
        """Frame, grid lines and degrees."""
        left, right = LEFT, self.right
        for at in _ticks(
            self.west - self.pad, self.west + (right - LEFT) / self.scale / self.squeeze
        ):
            x = float(self.x(np.array(at - self.west)))
            if left < x < right:
                page.line((x, x), (self.top, self.bottom), colour=HAIR)
                page.text(
                    x, self.bottom + 0.16, _degrees((at + 180) % 360 - 180, "E", "W"), ha="center"
                )
        for at in _ticks(self.low, self.high):
            y = float(self.y(np.array(at)))
            if self.top < y < self.bottom and abs(at) <= 90:
                page.line((left, right), (y, y), colour=HAIR)
                page.text(left - 0.06, y + 0.04, _degrees(at, "N", "S"), ha="right")
        page.line(
            (left, right, right, left, left),
            (self.top, self.top, self.bottom, self.bottom, self.top), width=1.0,
        )  # fmt: skip

    def marks(self, page: Page, chosen: np.ndarray, colour: str, gid: str) -> None:
        """Sites of one step, as cells of the grid or as dots."""
        if not self.grid:
            page.line(
                self.x(self.x_of[chosen]), self.y(self.y_of[chosen]), marker="o", gid=gid,
                markersize=self._size(), linestyle="none", markerfacecolor=colour,
                markeredgecolor=INK, markeredgewidth=0.6, zorder=3,
            )  # fmt: skip
            return
        half_x, half_y = (c / 2 for c in self.cell)
        for x, y in zip(self.x_of[chosen], self.y_of[chosen], strict=True):
            xs = self.x(np.array([x - half_x, x + half_x, x + half_x, x - half_x]))
            ys = self.y(np.array([y - half_y, y - half_y, y + half_y, y + half_y]))
            page.area(xs, ys, colour, gid=gid, zorder=3)

    def hollow(self, page: Page, chosen: np.ndarray, sign: str, gid: str) -> None:
        """Sites without a safe window."""
        xs, ys = self.x(self.x_of[chosen]), self.y(self.y_of[chosen])
        size = self._size()
        page.line(
            xs, ys, marker="o", markersize=size, linestyle="none", markerfacecolor=PAPER,
            markeredgecolor=INK, markeredgewidth=0.6, gid=gid, zorder=3,
        )  # fmt: skip
        if sign:
            page.line(xs, ys, marker=sign, markersize=size / 2, linestyle="none", zorder=4)

    def _size(self) -> float:
        return float(np.clip(100 / np.sqrt(max(len(self.x_of), 1)), 2.5, 8))


def _cell(degrees: Floats) -> float:
    """Distance of neighbours on a regular grid, or 0 where they do not stand on one."""
    apart = np.diff(np.unique(np.round(degrees, 6)))
    if apart.size == 0:
        return 0.0
    least = float(apart.min())
    return least if np.allclose(apart / least, np.round(apart / least), atol=0.02) else 0.0


def _ticks(low: float, high: float) -> Floats:
    """Round degrees, about five of them."""
    span = max(high - low, 1e-6) / 5
    step = next((s for s in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20) if s >= span), 45)
    return np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step


def _degrees(value: float, positive: str, negative: str) -> str:
    rounded = round(abs(value), 2)
    side = "" if rounded in (0, 180) else positive if value > 0 else negative
    return f"{rounded:g}°{side}"
