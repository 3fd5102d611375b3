"""The year on one page: on which days which kind of cut is safe, and how sure that is.

One row a taxon, January to December across. In every row three bands; the height of a band on
a day is the chance that the day is safe. Where the chance reaches the confidence the band is
in full colour with a bar beneath it. Texture and label tell the kinds of work apart, colour
only helps. Below the bands stand the usual dates of the season's events with their 10–90%
range. Every length in this module is in inches, y downwards.
"""

from __future__ import annotations

from pathlib import Path
from string import ascii_lowercase

import numpy as np

from timing import calendar_words, wording
from timing.calendar import MARKED_EVENTS, Band, CalendarRow, YearCalendar
from timing.charts import (
    HAIR,
    INK,
    LEFT,
    LOOKS,
    QUIET,
    RIGHT,
    SERIF,
    Figure,
    house_style,
    save_figure,
    text_width,
)
from timing.charts.year_page import KINDS_X, YearPage
from timing.charts.year_strip import LANE
from timing.species.model import WORK_KINDS

YEAR_LEFT, YEAR_RIGHT = 2.98, 9.22
SPANS_X = 9.36


def draw_calendar(calendar: YearCalendar) -> Figure:
    """Draw a year's calendar.

    Bands carry the gid ``band-<slug>-<kind>``, event marks ``mark-<slug>-<event>`` and the
    line of the day ``today``.
    """
    with house_style():
        return _Chart(calendar).draw()


def save_calendar(calendar: YearCalendar, *paths: Path) -> None:
    """Draw a calendar once and write it as PNG, SVG or PDF by the suffix of each path."""
    title = f"{_title(calendar)}: {calendar.site.name}"
    save_figure(draw_calendar(calendar), *paths, title=title)


def _title(calendar: YearCalendar) -> str:
    return calendar.language.text("calendar.title", year=calendar.year)


class _Chart(YearPage[CalendarRow]):
    """One drawing; ``y`` is how far down the page it has come."""

    def __init__(self, calendar: YearCalendar) -> None:
        super().__init__(calendar.year, calendar.today, calendar.language, (YEAR_LEFT, YEAR_RIGHT))
        self.calendar = calendar
        rows = len(calendar.rows)
        self.band = 0.46 if rows == 1 else 0.32 if rows <= 3 else 0.23 if rows <= 12 else 0.2
        self.pitch = self.band + 0.1
        self.notes: dict[str, str] = {}

    def draw(self) -> Figure:
        self._head()
        self._key()
        beside = self.language.text("calendar.safe_at", chance=self._sure())
        self.rows(self.calendar.rows, self._row, (SPANS_X, beside))
        return self._foot()

    # ------------------------------------------------------------------ head and key

    def _head(self) -> None:
        site = self.calendar.site
        self.title(_title(self.calendar), invented=site.invented)
        self.y = self.page.paragraph(LEFT, 0.83, RIGHT - LEFT, site.name, size=11, family=SERIF)
        place = wording.place_text(site, self.language)
        self.y = self.page.paragraph(
            LEFT, self.y + 0.01, RIGHT - LEFT, place, size=8.5, colour=QUIET
        )

    def _key(self) -> None:
        top = self.y + 0.12
        self.page.line((LEFT, RIGHT), (top, top), width=1.2)
        self._key_ramp(top + 0.58)
        words = self.language.text("calendar.key_height", chance=self._sure())
        self.page.paragraph(LEFT + 1.42, top + 0.155, 2.05, words, leading=1.485)
        for number, kind in enumerate(WORK_KINDS):
            y = top + 0.26 + 0.165 * number
            look = LOOKS[kind]
            self.page.area(
                [4.1, 4.55, 4.55, 4.1], [y + 0.025, y + 0.025, y - 0.105, y - 0.105], look.full,
                edgecolor=look.hatch_full, hatch=look.hatch or None,
            )  # fmt: skip
            self.page.text(4.65, y, self.language.text(f"work.{kind}"))
        bottom = max(top + 0.72, self._key_marks(top))
        self.page.line((LEFT, RIGHT), (bottom, bottom), colour=HAIR)
        self.y = bottom + 0.12

    def _key_ramp(self, base: float) -> None:
        look, left, wide, high = LOOKS["heavy"], LEFT + 0.02, 1.28, 0.36
        share = np.linspace(0, 1, 60)
        chance = 1 / (1 + np.exp(-12 * (share - 0.42)))
        safe = chance >= self.calendar.confidence
        xs, ys = left + wide * share, base - high * chance
        self.page.under(xs, ys, base, look.pale)
        if safe.any():
            first = int(np.argmax(safe))
            self.page.under(xs[first:], ys[first:], base, look.full)
            self.year.bar(float(xs[first]), left + wide, base, look.edge)
        self.page.line(xs, ys, colour=look.edge, width=0.9)

    def _key_marks(self, top: float) -> float:
        shown = {mark.event for row in self.calendar.rows for mark in row.marks}
        events = [event for event in MARKED_EVENTS if event in shown]
        labels = self.language.table("events")
        x, deep = 6.36, 3 if len(events) > 4 else 2
        for start in range(0, len(events), deep):
            column = events[start : start + deep]
            for number, event in enumerate(column):
                y = top + 0.26 + 0.165 * number
                self.page.marker(x, y - 0.04, event)
                self.page.text(x + 0.13, y, labels[event])
            x += 0.36 + max(text_width(labels[event], 8) for event in column)
        if not events:
            return top
        y = top + 0.26 + 0.165 * deep
        self.page.whisker(6.3, 6.68, y - 0.04)
        self.page.text(6.76, y, self.language.text("calendar.key_whisker"), colour=QUIET)
        return y + 0.13

    def _sure(self) -> str:
        return wording.level_text(self.calendar.confidence, self.language)

    # ------------------------------------------------------------------ one taxon

    def _row(self, row: CalendarRow) -> None:
        top = self.y + 0.1
        names = self.names(row.species, top + 0.04)
        base = top
        for band in row.bands:
            base += self.band
            self._band(row.species.slug, band, base)
            base += self.pitch - self.band
        if row.marks:
            self.page.text(
                KINDS_X, base + 0.085, self.language.text("calendar.events"), size=7.5, colour=QUIET
            )
        lanes = self.year.marks(row.species.slug, row.marks, base + 0.055)
        self.y = max(base + LANE * lanes + 0.06, names + 0.05)

    def _band(self, slug: str, band: Band, base: float) -> None:
        look, middle = LOOKS[band.kind], base - min(self.band / 2, 0.14) + 0.04
        kind = self.language.text(f"short_work.{band.kind}")
        self.page.text(KINDS_X, middle, kind, size=8.5, colour=look.edge, weight="bold")
        if letters := self._letters(band):
            x, y = KINDS_X + text_width(kind, 8.5, weight="bold") + 0.03, middle - 0.05
            if x + text_width(letters, 6) > YEAR_LEFT - 0.04:
                x, y = KINDS_X, middle + 0.105
            self.page.text(x, y, letters, size=6, colour=QUIET)
        best = calendar_words.best_day(band, self.calendar.year, self.language)
        self._spans(band, best, middle)
        if best is None:
            x = YEAR_LEFT + 0.07
            self.page.text(
                x,
                middle,
                self.language.text("calendar.none"),
                size=7.5,
                colour=QUIET,
                style="italic",
                gid=f"band-{slug}-{band.kind}",
            )
            return
        self.year.band(slug, band, base, self.band)

    def _letters(self, band: Band) -> str:
        for limit in band.limits:
            self.notes.setdefault(limit, _letter(len(self.notes)))
        letters = sorted((self.notes[limit] for limit in band.limits), key=lambda at: (len(at), at))
        return ",".join(letters)

    def _spans(self, band: Band, best: tuple[str, str] | None, y: float) -> None:
        if band.safe:
            spans = wording.window_spans(band.safe, self.calendar.year, self.language)
            more = f" +{len(spans) - 2}" if len(spans) > 2 else ""
            lines = [(spans[0], INK), *((span + more, INK) for span in spans[1:2])]
        elif best:
            lines = [
                (self.language.text("calendar.best", chance=best[0]), QUIET),
                (self.language.text("calendar.on", day=best[1]), QUIET),
            ]
        else:
            lines = [("—", QUIET)]
        self.lines(SPANS_X, y, lines)

    # ------------------------------------------------------------------ foot

    def _foot(self) -> Figure:
        calendar, words = self.calendar, self.language.text
        left = [
            (
                words("calendar.place_and_record"),
                f"{calendar.site.name}, {wording.place_text(calendar.site, self.language)}. "
                f"{calendar_words.record_text(calendar)}",
            ),
            (words("calendar.method"), wording.method_text(self.language)),
            (words("calendar.evidence"), calendar_words.evidence_text(calendar)),
        ]
        right = [(words("calendar.before_you_cut"), " ".join(calendar.cautions))]
        if self.notes:
            notes = "; ".join(f"({letter}) {text}" for text, letter in self.notes.items())
            right.insert(0, (words("calendar.conditions"), f"{notes}."))
        if calendar.site.invented:
            right.append((words("notice.invented"), words("notice.no_such_place")))
        if footnote := words("notice.names_stay_english"):
            left.append((words("language.heading"), footnote))
        return self.foot(left, right)


def _letter(number: int) -> str:
    before = _letter(number // 26 - 1) if number >= 26 else ""
    return before + ascii_lowercase[number % 26]
