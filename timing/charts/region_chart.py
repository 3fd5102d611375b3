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
    LEFT,
    LOOKS,
    PAPER,
    QUIET,
    RIGHT,
    SERIF,
    Figure,
    Look,
    house_style,
    save_figure,
    text_width,
)
from timing.charts.year_page import KINDS_X, YearPage
from timing.region import (
    FEWEST_FOR_MOST,
    RegionBand,
    RegionCalendar,
    RegionRow,
    Run,
    runs_of_days,
)
from timing.region_split import Bools
from timing.species.model import WORK_KINDS

Span = tuple[float, float]

YEAR_LEFT, YEAR_RIGHT = 3.02, 9.12
SPANS_X = 9.24
MOST_LISTED = 12  # sites in one column
MOST_LANES = 6  # sites that are drawn one by one


def draw_region(region: RegionCalendar) -> Figure:
    """Draw a region's calendar.

    What is safe at all sites carries the gid ``all-<slug>-<kind>``, at most
    ``most-<slug>-<kind>``, at some ``some-<slug>-<kind>``; the line of the day ``today``.
    """
    with house_style():
        return _Chart(region).draw()


def save_region(region: RegionCalendar, *paths: Path) -> None:
    """Draw a region's calendar once and write it as PNG, SVG or PDF by the suffix of each path."""
    save_figure(draw_region(region), *paths, title=region_words.title(region))


class _Chart(YearPage[RegionRow]):
    """One drawing; ``y`` is how far down the page it has come."""

    def __init__(self, region: RegionCalendar) -> None:
        super().__init__(region.year, region.today, region.language, (YEAR_LEFT, YEAR_RIGHT))
        self.region, self.words = region, region.language.text
        self.names_of_sites = region_words.names(region)
        self.lanes = len(region.sites) if len(region.sites) <= MOST_LANES else 0
        self.band = max(0.26, 0.085 * self.lanes)

    def draw(self) -> Figure:
        self._head()
        self._key()
        self.rows(self.region.rows, self._row, (SPANS_X, self.words("region.safe_at_all")))
        return self._foot()

    # ------------------------------------------------------------------ head, key, sites

    def _head(self) -> None:
        region = self.region
        self.title(self.words("calendar.title", year=region.year), invented=region.invented)
        name = self.words("region.count", name=region.name, sites=len(region.sites))
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
        sure = wording.level_text(self.region.confidence, self.language)
        entries = [("all", self.words("region.key_all", chance=sure))]
        if len(self.region.sites) >= FEWEST_FOR_MOST:
            entries.append(("most", self.words("region.key_most")))
        entries.append(
            ("some", self.words("region.key_lanes" if self.lanes else "region.key_some"))
        )
        y = top + 0.27
        for form, words in entries:
            self._key_sign(form, y)
            self.page.text(LEFT + 0.56, y, words)
            y += 0.2
        x = LEFT + 0.02
        for kind in WORK_KINDS:
            look = LOOKS[kind]
            self._block((x, x + 0.3), (y - 0.105, y + 0.025), look)
            label = self.words(f"work.{kind}")
            self.page.text(x + 0.36, y, label)
            x += 0.36 + text_width(label, 8) + 0.18
        beside = LEFT + 0.56 + max(text_width(words, 8) for _, words in entries) + 0.25
        bottom = max(y + 0.12, self._sites(max(5.05, beside, x), top + 0.27))
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
            seasons = "region.seasons" if item.running else "region.past_seasons"
            words = (
                self.words("region.height_unknown")
                if height is None
                else self.words("numbers.metres", number=f"{height:.0f}"),
                f"{str(item.record.first)[:4]}–{str(item.record.last)[:4]}",
                self.words(seasons, number=item.seasons),
            )
            self.page.text(left, line, f"{number + 1}", weight="bold")
            detail = ", ".join(words)
            room = wide - 0.4 - text_width(detail, 8)
            name = _cut(self.names_of_sites[number], room)
            self.page.text(left + 0.2, line, name, weight="bold")
            at = left + 0.28 + text_width(name, 8, weight="bold")
            self.page.text(at, line, detail, colour=QUIET)
        end = y + 0.165 * deep
        if doubts := region_words.doubts_text(self.region):
            end = self.page.paragraph(x, end - 0.08, RIGHT - x, doubts, size=7.5) + 0.08
        return end

    # ------------------------------------------------------------------ one taxon

    def _row(self, row: RegionRow) -> None:
        top = self.y + 0.1
        names = self.names(row.species, top + 0.04)
        base = top
        for band in row.bands:
            base += self.band
            self._band(f"{row.species.slug}-{band.kind}", band, base)
            base += 0.1
        self.y = max(base, names + 0.05)

    def _band(self, gid: str, band: RegionBand, base: float) -> None:
        look, top = LOOKS[band.kind], base - self.band
        middle = base - self.band / 2 + 0.04
        kind = self.words(f"short_work.{band.kind}")
        self.page.text(KINDS_X, middle, kind, size=8.5, colour=look.edge, weight="bold")
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
        spans = wording.run_spans(band.at_all, self.region.year, self.language)
        if spans:
            more = f" +{len(spans) - 2}" if len(spans) > 2 else ""
            lines = [(spans[0], INK), *((span + more, INK) for span in spans[1:2])]
        elif best := region_words.best_day(self.region, band):
            lines = [(self.words("region.none_short", chance=best[0]), QUIET)]
        else:
            lines = [(self.words("calendar.none"), QUIET)]
        if band.rules is not None and len(lines) < 2 + (self.band > 0.4):
            lines.append((self.words("region.held_back", number=band.rules + 1), QUIET))
        self.lines(SPANS_X, y, lines)

    # ------------------------------------------------------------------ foot

    def _foot(self) -> Figure:
        region, words = self.region, self.words
        left = [
            (words("region.places"), region_words.records_text(region)),
            (words("calendar.method"), region_words.method_text(region)),
            (words("calendar.evidence"), region_words.evidence_text(region)),
        ]
        if footnote := words("notice.names_stay_english"):
            left.append((words("language.heading"), footnote))
        right = [(words("region.how_openings_move"), region_words.shifts_text(region))]
        if conditions := region_words.conditions_text(region):
            right.append((words("calendar.conditions"), conditions))
        right.append((words("calendar.before_you_cut"), " ".join(region.cautions)))
        if region.invented:
            right.append((words("notice.invented"), words("notice.no_such_place")))
        return self.foot(left, right)


def _cut(name: str, room: float) -> str:
    """A name no wider than there is room for."""
    if text_width(name, 8, weight="bold") <= room:
        return name
    while name and text_width(f"{name}…", 8, weight="bold") > room:
        name = name[:-1]
    return f"{name}…"
