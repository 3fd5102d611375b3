"""Several sites on one page: on which days a cut is safe at all of them, at most, at some.

One row a taxon, January to December across, a band for each kind of work. Full ink: safe at all
sites. Hatched: at three quarters of them or more. Thin lines: at some; with up to six sites one
line a site, the highest on top, with a tick where it opens and closes, so that the site that holds
the others back is seen. Every length in this module is in inches, y downwards.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from timing import region_words, wording
from timing.charts import (
    HAIR,
    INK,
    LOOKS,
    PAPER,
    QUIET,
    SERIF,
    Figure,
    Look,
    Page,
    house_style,
    save_figure,
    text_width,
)
from timing.charts.year_strip import YearStrip
from timing.region import RegionBand, RegionCalendar, RegionRow, Run, runs_of_days
from timing.region_split import Bools
from timing.species.model import WORK_KINDS

Span = tuple[float, float]

WIDTH, LEFT, RIGHT = 11.0, 0.5, 10.5
NAMES_WIDE = 1.62
KINDS_X = 2.24
YEAR_LEFT, YEAR_RIGHT = 3.02, 9.12
SPANS_X = 9.24
MONTHS_AGAIN = 8  # rows after which the months are named again on a long page
MOST_LISTED = 12  # sites in one column
MOST_LANES = 6  # sites that are drawn one by one
FEWEST_FOR_MOST = 4  # of fewer sites three quarters are all


def draw_region(region: RegionCalendar) -> Figure:
    """Draw a region's calendar.

    What is safe at all sites carries the gid ``all-<slug>-<kind>``, at most
    ``most-<slug>-<kind>``, at some ``some-<slug>-<kind>``; the line of the day ``today``.
    """
    with house_style():
        return _Chart(region).draw()


def save_region(region: RegionCalendar, path: Path) -> None:
    """Draw a region's calendar and write it as PNG, SVG or PDF by the suffix of ``path``."""
    save_figure(draw_region(region), path, region_words.title(region))


class _Chart:
    """One drawing; ``y`` is how far down the page it has come."""

    def __init__(self, region: RegionCalendar) -> None:
        self.region = region
        self.page = Page(WIDTH)
        self.year = YearStrip(self.page, region.year, YEAR_LEFT, YEAR_RIGHT)
        self.names = region_words.names(region)
        self.lanes = len(region.sites) if len(region.sites) <= MOST_LANES else 0
        self.band = max(0.26, 0.085 * self.lanes)
        self.y = 0.0

    def draw(self) -> Figure:
        self._head()
        self._key()
        self._months(above=True)
        flag, top = self.y, self.y
        if self.region.today is not None:
            self.y += 0.2
            top = self.y - 0.05
        for number, row in enumerate(self.region.rows):
            left = len(self.region.rows) - number
            if number and number % MONTHS_AGAIN == 0 and left > 2:
                self._months_again()
            self._row(row, last=left == 1)
        self._months(above=False, top=top)
        self._today(flag)
        self._foot()
        return self.page.finish(self.y + 0.4)

    # ------------------------------------------------------------------ head, key, sites

    def _head(self) -> None:
        region = self.region
        self.page.text(
            LEFT, 0.66, f"Safe days for cuts, {region.year}", size=21, family=SERIF, weight="bold"
        )
        if region.invented:
            self.page.text(
                RIGHT - 0.06, 0.635, wording.INVENTED_NOTICE, size=8.5, weight="bold", colour=PAPER,
                ha="right", bbox={"facecolor": INK, "edgecolor": INK, "pad": 4.5},
            )  # fmt: skip
        name = f"{region.name}: {len(region.sites)} sites"
        self.y = self.page.paragraph(LEFT, 0.83, RIGHT - LEFT, name, size=11, family=SERIF) + 0.06
        split = region.division.advised
        heading = region_words.division_title(region)
        if split:
            self.page.area(
                [LEFT, LEFT + 0.07, LEFT + 0.07, LEFT],
                [self.y, self.y, self.y + 0.2, self.y + 0.2], INK,
            )  # fmt: skip
        at = LEFT + 0.14 * split
        self.y = self.page.paragraph(at, self.y, RIGHT - at, heading, size=11, weight="bold")
        self.y = self.page.paragraph(
            at, self.y + 0.03, RIGHT - at, region_words.division_text(region), size=8.5,
            colour=INK if split else QUIET,
        )  # fmt: skip

    def _key(self) -> None:
        top = self.y + 0.12
        self.page.line((LEFT, RIGHT), (top, top), width=1.2)
        sure = wording.percent(self.region.confidence)
        entries = [("all", f"safe at all sites: {sure} or more at the worst")]
        if len(self.region.sites) >= FEWEST_FOR_MOST:
            entries.append(("most", "safe at three quarters of them or more"))
        some = "safe at some sites"
        if self.lanes:
            some += ": one numbered line a site, the highest on top"
        entries.append(("some", some))
        y = top + 0.27
        for form, words in entries:
            self._key_sign(form, y)
            self.page.text(LEFT + 0.56, y, words)
            y += 0.2
        x = LEFT + 0.02
        for kind in WORK_KINDS:
            look = LOOKS[kind]
            self._block((x, x + 0.3), (y - 0.105, y + 0.025), look)
            self.page.text(x + 0.36, y, wording.WORK_LABELS[kind])
            x += 0.36 + text_width(wording.WORK_LABELS[kind], 8) + 0.18
        bottom = max(y + 0.12, self._sites(5.05, top + 0.27))
        self.page.line((LEFT, RIGHT), (bottom, bottom), colour=HAIR)
        self.y = bottom + 0.12

    def _key_sign(self, form: str, y: float) -> None:
        look, across, down = LOOKS["heavy"], (LEFT + 0.02, LEFT + 0.47), (y - 0.105, y + 0.03)
        if form == "all":
            self._block(across, down, look)
        elif form == "most":
            self._hatched(across, down, look)
        else:
            self._lane(across, y - 0.04, look, "", (True, True))

    def _sites(self, x: float, y: float) -> float:
        """List the sites with height and record, in columns; return where the list ends."""
        sites = self.region.sites
        columns = 1 if len(sites) <= MOST_LISTED else 2
        deep = -(-len(sites) // columns)
        wide = (RIGHT - x) / columns
        for number, item in enumerate(sites):
            left, line = x + wide * (number // deep), y + 0.165 * (number % deep)
            height = item.site.elevation_m
            words = ["height unknown" if height is None else f"{height:.0f} m"]
            words.append(f"{str(item.record.first)[:4]}–{str(item.record.last)[:4]}")
            words.append(f"{item.seasons} {'' if item.running else 'past '}seasons")
            self.page.text(left, line, f"{number + 1}", weight="bold")
            detail = ", ".join(words)
            room = wide - 0.4 - text_width(detail, 8)
            name = _cut(self.names[number], room)
            self.page.text(left + 0.2, line, name, weight="bold")
            at = left + 0.28 + text_width(name, 8, weight="bold")
            self.page.text(at, line, detail, colour=QUIET)
        end = y + 0.165 * deep
        if left_out := region_words.left_out_text(self.region):
            end = self.page.paragraph(x, end - 0.08, RIGHT - x, left_out, size=7.5) + 0.08
        return end

    # ------------------------------------------------------------------ the year

    def _months(self, *, above: bool, top: float = 0.0) -> None:
        if above:
            label = self.y + 0.14
            ruler = label + 0.09
            self.page.text(SPANS_X, label, "safe at all sites", colour=QUIET)
        else:
            ruler = self.y + 0.02
            label = ruler + 0.2
            self.year.month_lines(top, self.y, HAIR)
        self.year.month_names(label, size=9.5, weight="bold")
        self.year.ruler(ruler, 0.05 if above else -0.05)
        self.y = ruler + 0.08 if above else label + 0.14

    def _months_again(self) -> None:
        paper = {"facecolor": PAPER, "linewidth": 0, "pad": 1.0}
        self.year.month_names(self.y + 0.15, size=7.5, colour=QUIET, bbox=paper, zorder=4.5)
        self.y += 0.22
        self.page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)

    def _today(self, flag: float) -> None:
        today = self.region.today
        if today is None:
            return
        x = self.year.x(self.year.day(today) + 0.5)
        bottom = self.y - 0.42
        self.page.line(
            (x, x), (flag + 0.1, bottom), width=1.1, linestyle=(0, (4, 2.6)), zorder=4, gid="today"
        )
        words = f"today, {wording.day_text(today)}"
        half = text_width(words, 7.5, weight="bold") / 2 + 0.05
        self.page.text(
            min(max(x, YEAR_LEFT + half), YEAR_RIGHT - half), flag + 0.095, words,
            size=7.5, weight="bold", ha="center", va="center", colour=PAPER, zorder=5,
            bbox={"facecolor": INK, "edgecolor": INK, "pad": 2.0, "linewidth": 0},
        )  # fmt: skip

    # ------------------------------------------------------------------ one taxon

    def _row(self, row: RegionRow, *, last: bool) -> None:
        top = self.y + 0.1
        names = self.page.paragraph(
            LEFT, top + 0.04, NAMES_WIDE, row.species.common_name,
            size=10, leading=1.25, family=SERIF, weight="bold",
        )  # fmt: skip
        names = self.page.paragraph(
            LEFT, names + 0.02, NAMES_WIDE, row.species.scientific_name,
            size=8.5, leading=1.25, family=SERIF, style="italic", colour=QUIET,
        )  # fmt: skip
        base = top
        for band in row.bands:
            base += self.band
            self._band(f"{row.species.slug}-{band.kind}", band, base)
            base += 0.1
        self.y = max(base, names + 0.05)
        if not last:
            self.page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)

    def _band(self, gid: str, band: RegionBand, base: float) -> None:
        look, top = LOOKS[band.kind], base - self.band
        middle = base - self.band / 2 + 0.04
        self.page.text(KINDS_X, middle, band.kind, size=8.5, colour=look.edge, weight="bold")
        self._spans(band, middle)
        self.page.line((YEAR_LEFT, YEAR_RIGHT), (base, base), colour=HAIR, width=0.7)
        for across in self._edges(band.at_all):
            self._block(across, (top, base), look, f"all-{gid}")
        if len(self.region.sites) >= FEWEST_FOR_MOST:
            for across in self._edges(band.at_most):
                self._hatched(across, (top, base), look, f"most-{gid}")
        if not self.lanes:
            for run in band.at_some:
                self._line_of_runs((run,), base - self.band / 2, look, f"some-{gid}")
            return
        for number, chance in enumerate(band.chance):
            safe: Bools = chance >= self.region.confidence - 1e-9
            runs = runs_of_days(safe, self.region.year)
            y = top + self.band * (number + 0.5) / self.lanes
            self.page.text(
                YEAR_LEFT - 0.05, y, f"{number + 1}", size=5.5, colour=QUIET, ha="right",
                va="center_baseline",
            )  # fmt: skip
            self._line_of_runs(runs, y, look, f"some-{gid}")

    def _edges(self, runs: Iterable[Run]) -> list[Span]:
        return [
            (self.year.x(self.year.day(first)), self.year.x(self.year.day(last) + 1))
            for first, last in runs
        ]

    def _line_of_runs(self, runs: tuple[Run, ...], y: float, look: Look, gid: str) -> None:
        for left, right in self._edges(runs):
            ends = left > YEAR_LEFT + 1e-6, right < YEAR_RIGHT - 1e-6  # no tick at New Year
            self._lane((left, right), y, look, gid, ends)

    def _lane(self, span: Span, y: float, look: Look, gid: str, ends: tuple[bool, bool]) -> None:
        self.page.line(
            span, (y, y), colour=look.edge, width=1.1, gid=gid, zorder=2, solid_capstyle="butt"
        )
        ticks = [x for x, shown in zip(span, ends, strict=True) if shown]
        if ticks:
            self.page.uprights(
                ticks, y - 0.034, y + 0.034, colour=look.edge, width=1.1, zorder=2,
                solid_capstyle="butt",
            )  # fmt: skip

    def _block(self, across: Span, down: Span, look: Look, gid: str = "") -> None:
        """What is safe at all sites."""
        hatch = {"edgecolor": look.hatch_full, "hatch": look.hatch or None}
        self._box(across, down, look, look.full, gid=gid, zorder=3, **hatch)

    def _hatched(self, across: Span, down: Span, look: Look, gid: str = "") -> None:
        """What is safe at most of them."""
        hatch = {"edgecolor": look.edge, "hatch": "\\\\\\\\"}
        self._box(across, down, look, PAPER, gid=gid, zorder=1.5, **hatch)

    def _box(self, across: Span, down: Span, look: Look, colour: str, **more: Any) -> None:
        (left, right), (top, base) = across, down
        xs, ys = [left, right, right, left], [top, top, base, base]
        self.page.area(xs, ys, colour, snap=False, **more)
        self.page.line(
            [*xs, left], [*ys, top], colour=look.edge, width=0.8, zorder=more["zorder"] + 0.1
        )

    def _spans(self, band: RegionBand, y: float) -> None:
        spans = wording.run_spans(band.at_all, self.region.year)
        held = "" if band.rules is None else f"held back by site {band.rules + 1}"
        if spans:
            more = f" +{len(spans) - 2}" if len(spans) > 2 else ""
            lines = [(", ".join(spans[:1]), INK), *((span + more, INK) for span in spans[1:2])]
        elif best := region_words.best_day(band, self.region.year):
            lines = [(f"none; best {best[0]}", QUIET)]
        else:
            lines = [("none", QUIET)]
        if held and len(lines) < 2 + (self.band > 0.4):
            lines.append((held, QUIET))
        y -= 0.055 * (len(lines) - 1)
        for number, (text, colour) in enumerate(lines):
            self.page.text(SPANS_X, y + 0.12 * number, text, size=7.5, colour=colour)

    # ------------------------------------------------------------------ foot

    def _foot(self) -> None:
        self.y += 0.08
        self.page.line((LEFT, RIGHT), (self.y, self.y), width=1.2)
        region = self.region
        records = " ".join(
            f"{number + 1}: {region_words.site_text(item)}."
            for number, item in enumerate(region.sites)
        )
        credits = region_words.credits_text(region)
        left = [
            ("Places and records", f"{records} {credits}".strip()),
            ("Method", f"{region_words.METHOD} {wording.METHOD.partition('; events')[0]}."),
            ("Evidence", region_words.evidence_text(region)),
        ]
        right = [("How openings move", region_words.shifts_text(region))]
        if conditions := region_words.conditions_text(region):
            right.append(("Conditions", conditions))
        right.append(("Before you cut", " ".join(wording.CAUTIONS)))
        if region.invented:
            right.append(
                (wording.INVENTED_NOTICE, "No such place; do not plan real cuts from this page.")
            )
        top, wide = self.y + 0.14, 4.8
        self.y = max(
            self._column(LEFT, top, wide, left), self._column(RIGHT - wide, top, wide, right)
        )

    def _column(self, x: float, y: float, width: float, parts: list[tuple[str, str]]) -> float:
        for heading, text in parts:
            y = self.page.paragraph(x, y, width, heading, size=7.5, weight="bold")
            y = self.page.paragraph(x, y, width, text, size=7.5) + 0.07
        return y


def _cut(name: str, room: float) -> str:
    """A name no wider than there is room for."""
    if text_width(name, 8, weight="bold") <= room:
        return name
    while name and text_width(f"{name}…", 8, weight="bold") > room:
        name = name[:-1]
    return f"{name}…"
