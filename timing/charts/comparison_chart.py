"""Is this spring early? A season beside all others on one page.

The title answers in words. Below it one strip an event (`timing.charts.comparison_strips`): left of
the middle line is early, right of it late. At the bottom heat and chill so far against all other
seasons. Shape and weight carry the meaning, colour only helps. Every length is in inches, y
downwards.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from timing import comparison_words as words
from timing.calendar import MARKED_EVENTS
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
from timing.charts.comparison_strips import (
    DOT,
    MARK,
    SHADE,
    STRIPS_LEFT,
    Scale,
    draw_strip,
    scale_for,
)
from timing.comparison import Comparison, TaxonComparison
from timing.event_comparison import EventComparison
from timing.same_day import date_at
from timing.season import Floats
from timing.so_far import SoFar
from timing.wording import EVENT_LABELS, INVENTED_NOTICE, place_text, short_day

PANEL_HIGH, PANEL_WIDE = 1.15, 4.55
SCALE_WIDE = 0.4  # of a panel, left of its curves


def draw_comparison(comparison: Comparison) -> Figure:
    """Draw a comparison.

    Marks of the season carry the gid ``season-<slug>-<event>`` (slug ``site`` for frosts), the
    dots of the others ``others-…``, the sums ``sum-heat`` and ``sum-chill``.
    """
    with house_style():
        return _Chart(comparison).draw()


def save_comparison(comparison: Comparison, path: Path) -> None:
    """Draw a comparison and write it as PNG, SVG or PDF by the suffix of ``path``."""
    title = f"{words.title(comparison)}: {comparison.site.name}"
    save_figure(draw_comparison(comparison), path, title=title)


class _Chart:
    """One drawing; ``y`` is how far down the page it has come."""

    def __init__(self, comparison: Comparison) -> None:
        self.comparison = comparison
        self.page = Page(WIDTH)
        self.y = 0.0

    def draw(self) -> Figure:
        self._head()
        self._key()
        self._strips()
        self._sums()
        self._foot()
        return self.page.finish(self.y + 0.3)

    # ------------------------------------------------------------------ head and key

    def _head(self) -> None:
        comparison, page, site = self.comparison, self.page, self.comparison.site
        if site.invented:
            page.text(
                RIGHT - 0.06, 0.44, INVENTED_NOTICE, size=8.5, weight="bold", colour=PAPER,
                ha="right", bbox={"facecolor": INK, "edgecolor": INK, "pad": 4.5},
            )  # fmt: skip
        title = words.title(comparison)
        top = 0.58 if site.invented else 0.4
        self.y = page.paragraph(
            LEFT, top, RIGHT - LEFT, title, size=23, leading=1.25, family=SERIF, weight="bold"
        )
        self.y += 0.05
        if comparison.note:
            self.y = 0.03 + page.paragraph(
                LEFT, self.y, RIGHT - LEFT, comparison.note, size=10.5, weight="bold"
            )
        if len(comparison.taxa) <= words.FEW_TAXA:
            for taxon in comparison.taxa:
                said = words.headline(comparison, taxon).removeprefix(f"{title}: ")
                text = said[0].upper() + said[1:]
                self.y = page.paragraph(LEFT, self.y, RIGHT - LEFT, text, size=10.5) + 0.03
        where = f"{site.name}, {place_text(site)}"
        self.y = page.paragraph(LEFT, self.y + 0.03, RIGHT - LEFT, where, colour=QUIET) + 0.08

    def _key(self) -> None:
        page, y, season = self.page, self.y + 0.2, f"season {self.comparison.season}"
        page.line((LEFT, RIGHT), (self.y, self.y), width=1.2)
        sign = y - 0.035
        page.line(
            [LEFT + 0.06], [sign], linestyle="none", marker="o", markersize=5.4,
            markerfacecolor=DOT, markeredgecolor=PAPER,
        )  # fmt: skip
        page.text(LEFT + 0.17, y, "one other season")
        page.area([2.0, 2.25, 2.25, 2.0], [y + 0.03, y + 0.03, y - 0.1, y - 0.1], SHADE)
        page.text(2.32, y, "middle half of them")
        marks = [(4.1, MARK, f"{season}, date by the record")]
        if words.any_ahead(self.comparison):
            page.whisker(6.7, 7.02, sign)
            marks.append((6.86, PAPER, f"{season}, still ahead; whisker: eight chances in ten"))
        for x, fill, text in marks:
            page.line(
                [x], [sign], linestyle="none", marker="o", markersize=9, markerfacecolor=fill,
                markeredgecolor=MARK, markeredgewidth=2.0, zorder=4,
            )  # fmt: skip
            page.text(x + 0.22, y, text)
        self.y = y + 0.12
        page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)

    # ------------------------------------------------------------------ events

    def _strips(self) -> None:
        comparison, page, top = self.comparison, self.page, self.y
        leads = [item for taxon in comparison.taxa if (item := taxon.leading)]
        scale = scale_for(leads or comparison.frosts)
        middle = scale.x(0)
        page.text(middle, top + 0.2, "usual", size=9.5, weight="bold", ha="center")
        page.text(middle - 0.45, top + 0.2, "◀ earlier than usual", size=9.5, ha="right")
        page.text(middle + 0.45, top + 0.2, "later than usual ▶", size=9.5)
        self.y = top + 0.26
        for taxon in comparison.taxa:
            self._taxon(taxon, scale)
        if comparison.frosts:
            self._name("Frost at the site")
            self._events(comparison.frosts, scale, "site", None)
        page.line((middle, middle), (top + 0.26, self.y - 0.02), width=1.0, zorder=1.5)

    def _taxon(self, taxon: TaxonComparison, scale: Scale) -> None:
        species, lead = taxon.species, taxon.leading
        self._name(species.common_name, species.scientific_name)
        if lead is None:
            said = words.headline(self.comparison, taxon)
            self.y = self.page.paragraph(
                STRIPS_LEFT, self.y, RIGHT - STRIPS_LEFT, said, colour=QUIET,
                bbox={"facecolor": PAPER, "linewidth": 0, "pad": 1.0}, zorder=3,
            )  # fmt: skip
        count = len(self.comparison.taxa)
        names = (
            MARKED_EVENTS if count == 1 else words.MAIN_EVENTS if count <= words.FEW_TAXA else ()
        )
        rest = [item for item in taxon.events if item.event in names and item is not lead]
        self._events(([lead] if lead else []) + rest, scale, species.slug, lead)

    def _name(self, name: str, scientific: str = "") -> None:
        wide = STRIPS_LEFT - LEFT - 0.1
        below = self.page.paragraph(
            LEFT, self.y + 0.07, wide, name, size=10.5, family=SERIF, weight="bold"
        )
        self.y = 0.04 + self.page.paragraph(
            LEFT, below, wide, scientific, size=8.5, family=SERIF, style="italic", colour=QUIET
        )

    def _events(
        self,
        items: tuple[EventComparison, ...] | list[EventComparison],
        scale: Scale,
        slug: str,
        lead: EventComparison | None,
    ) -> None:
        for item in items:
            self.y = draw_strip(self.page, self.y, item, scale, slug=slug, strong=item is lead)
        self.page.line((LEFT, RIGHT), (self.y, self.y), colour=HAIR)

    # ------------------------------------------------------------------ heat and chill

    def _sums(self) -> None:
        sums = [item for item in (self.comparison.heat, self.comparison.chill) if item]
        top, lefts = self.y + 0.14, (LEFT, RIGHT - PANEL_WIDE)
        texts = [
            self.page.paragraph(left, top, PANEL_WIDE, words.sum_text(item), size=8.5)
            for left, item in zip(lefts, sums, strict=False)
        ]
        for left, item in zip(lefts, sums, strict=False):
            self.y = max(self.y, self._panel(left, max(texts) + 0.1, item))
        if sums:
            said = "Dashed: median of the other seasons; shaded: all of them, darker their middle "
            said += f"half; heavy line: season {self.comparison.season}."
            self.page.text(LEFT, self.y + 0.12, said, size=7.5, colour=QUIET)
            self.y += 0.2

    def _panel(self, left: float, top: float, item: SoFar) -> float:
        page, base, x0 = self.page, top + PANEL_HIGH, left + SCALE_WIDE
        lowest, low, median, high, highest = item.quantiles((0.0, 0.25, 0.5, 0.75, 1.0))
        days = len(median)
        most = max(float(highest.max()), float(np.nanmax(item.season)), 1.0)
        xs = np.linspace(x0, left + PANEL_WIDE, days)

        def ys(values: Floats) -> Floats:
            return base - PANEL_HIGH * values / most

        there_and_back = np.concatenate((xs, xs[::-1]))
        for lower, upper, colour in ((lowest, highest, SHADE), (low, high, "#c3c1b5")):
            page.area(there_and_back, np.concatenate((ys(lower), ys(upper)[::-1])), colour)
        page.line(xs, ys(median), width=0.9, linestyle=(0, (4, 2)), zorder=2.5)
        page.line(xs, ys(item.season), colour=MARK, width=2.4, zorder=3, gid=f"sum-{item.measure}")
        end = item.until - item.since
        page.line(
            xs[end : end + 1], ys(item.season)[end : end + 1], linestyle="none", marker="o",
            markersize=8, markerfacecolor=MARK, markeredgecolor=MARK, zorder=4,
        )  # fmt: skip
        page.line((x0, left + PANEL_WIDE), (base, base), width=0.7)
        for value, y in ((0.0, base), (most, top)):
            page.text(x0 - 0.06, y + 0.03, f"{value:.0f}", size=7, ha="right", colour=QUIET)
        for number in range(days):
            day = short_day(date_at(item.since + number, item.start))
            if day.startswith("1 "):
                page.uprights([xs[number]], base, base + 0.04, colour=QUIET, width=0.6)
                name, x = day.split()[1], xs[number] + 0.03
                if x + text_width(name, 7) <= left + PANEL_WIDE + 0.05:
                    page.text(x, base + 0.13, name, size=7, colour=QUIET)
        return base + 0.2

    # ------------------------------------------------------------------ foot

    def _foot(self) -> None:
        comparison, site, alike = self.comparison, self.comparison.site, self.comparison.alike
        self.y += 0.1
        self.page.line((LEFT, RIGHT), (self.y, self.y), width=1.2)
        place = f"{site.name}, {place_text(site)}. {words.record_text(comparison)}"
        left = [("Place and record", place), ("Method", f"{words.METHOD} {words.RULE}")]
        caveats = [text for text in words.caveats(comparison) if text != comparison.note]
        right = [("What to keep in mind", " ".join(caveats))]
        if len(comparison.taxa) <= words.FEW_TAXA:
            left.append(("Trend, days a decade (95% range)", self._trends()))
        said = words.alike_text(comparison)[: 1 + words.FEW_TAXA]
        rules = [words.alike_rule(alike)] if alike is not None else []
        if rules and words.any_ahead(comparison):
            rules.append(words.ALIKE_CAUTION)
        right.append(("Seasons alike", " ".join([*said, *rules])))
        if site.invented:
            right.append((INVENTED_NOTICE, "No such place; do not plan real cuts from this page."))
        top, wide = self.y + 0.14, 4.8
        self.y = max(
            self._column(LEFT, top, wide, left), self._column(RIGHT - wide, top, wide, right)
        )

    def _trends(self) -> str:
        if not words.any_trend(self.comparison):
            return words.NO_TRENDS
        named = [
            (f"{taxon.species.common_name}, {EVENT_LABELS[lead.event]}", lead)
            for taxon in self.comparison.taxa
            if (lead := taxon.leading)
        ]
        named += [(EVENT_LABELS[item.event], item) for item in self.comparison.frosts]
        parts = (
            f"{name} {words.trend_text(item.trend, item.trend_seasons).strip()}"
            for name, item in named
        )
        return f"{'; '.join(parts)}. {words.TREND_RULE}"

    def _column(self, x: float, y: float, width: float, parts: list[tuple[str, str]]) -> float:
        for heading, text in parts:
            y = self.page.paragraph(x, y, width, heading, size=7.5, weight="bold")
            y = self.page.paragraph(x, y, width, text, size=7.5) + 0.07
        return y
