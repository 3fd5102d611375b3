"""The bands and events of one taxon as SVG for a page: they stretch with it, their signs do not.

A day is one unit across, a per cent one unit up. A band is drawn once as a path; the same path
cuts its texture to shape, so that the texture is never stretched. Every length that is not a share
of the width is in CSS pixels.
"""

from __future__ import annotations

from html import escape
from itertools import groupby, pairwise

import numpy as np

from timing import calendar_words, wording
from timing.calendar import MARKED_EVENTS, Band, CalendarRow, EventMark, YearCalendar, lanes
from timing.language import Language

HIGH, BAR = 30, 4  # of a band at a chance of one, and of the bar under its safe days
LANE = 15
SIGNS = {
    "sap_rise": '<circle r="3.6" class="solid"/>',
    "bud_break": '<path d="M0-4.6 4.6 3.6H-4.6Z" class="open"/>',
    "full_bloom": '<path class="solid" '
    'd="M0-5.8 1.4-1.9 5.5-1.8 2.2.7 3.4 4.7 0 2.3-3.4 4.7-2.2.7-5.5-1.8-1.4-1.9Z"/>',
    "flush_hardened": '<path d="M0-4.8 4.8 0 0 4.8-4.8 0Z" class="solid"/>',
    "leaf_fall": '<path d="M0 4.6 4.6-3.6H-4.6Z" class="open"/>',
    "warm_start": '<path d="M4.6 0-3.6 4.6V-4.6Z" class="solid"/>',
    "warm_end": '<path d="M-4.6 0 3.6 4.6V-4.6Z" class="solid"/>',
    "last_frost": '<path d="M-4-4 4 4M4-4-4 4" class="open"/>',
    "first_frost": '<path d="M0-5V5M-4.3-2.5 4.3 2.5M4.3-2.5-4.3 2.5" class="open"/>',
}
TEXTURES = (
    '<pattern id="light-full" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect width="7" height="7" class="light full"/>'
    '<rect width="2" height="7" class="light cut"/></pattern>'
    '<pattern id="light-pale" width="7" height="7" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><rect width="7" height="7" class="light pale"/>'
    '<rect width="1.4" height="7" class="light line"/></pattern>'
    '<pattern id="outline-full" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" class="outline full"/>'
    '<circle cx="1.6" cy="1.6" r="1.1" class="outline line"/>'
    '<circle cx="4.6" cy="4.6" r="1.1" class="outline line"/></pattern>'
    '<pattern id="outline-pale" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" class="outline pale"/>'
    '<circle cx="1.6" cy="1.6" r=".8" class="outline line"/>'
    '<circle cx="4.6" cy="4.6" r=".8" class="outline line"/></pattern>'
)


def shared_parts(calendar: YearCalendar) -> str:
    """What every chart of a page refers to: textures, signs, the months."""
    starts = wording.month_starts(calendar.year)
    days = starts[-1]
    lines = "".join(
        f'<line x1="{_share(start, days)}" x2="{_share(start, days)}" y2="100%"/>'
        for start in starts[1:-1]
    )
    names = "".join(
        f'<text x="{_share((start + stop) / 2, days)}" y="13">{escape(name[:3])}</text>'
        for name, (start, stop) in zip(
            calendar.language.table("months").values(), pairwise(starts), strict=True
        )
    )
    signs = "".join(f'<g id="sign-{event}">{SIGNS[event]}</g>' for event in MARKED_EVENTS)
    return (
        '<svg class="shared" width="0" height="0" aria-hidden="true" focusable="false"><defs>'
        f'{TEXTURES}<g id="grid">{lines}</g><g id="months">{names}</g>{signs}</defs></svg>'
    )


def months_svg() -> str:
    """The names of the months above the bands of a taxon."""
    return (
        '<svg class="months" width="100%" height="18" aria-hidden="true" focusable="false">'
        '<use href="#months"/></svg>'
    )


def band_svg(row: CalendarRow, band: Band, calendar: YearCalendar) -> str:
    """One kind of work through the year."""
    days = wording.month_starts(calendar.year)[-1]
    name = f"{row.species.slug}-{band.kind}"
    new_year = np.datetime64(f"{calendar.year:04d}-01-01", "D")
    runs = [
        (int((run.opens - new_year).astype(int)), int((run.closes - new_year).astype(int)) + 1)
        for run in band.safe
    ]
    full = "".join(
        f'<rect class="full" x="{_share(a, days)}" width="{_share(b - a, days)}" height="{HIGH}"/>'
        for a, b in runs
    )
    bars = "".join(
        f'<rect class="bar" x="{_share(a, days)}" y="{HIGH + 1}" width="{_share(b - a, days)}" '
        f'height="{BAR}"/>'
        for a, b in runs
    )
    label = escape(band_text(band, calendar))
    return (
        f'<svg class="band" width="100%" height="{HIGH + BAR + 2}" role="img" '
        f'aria-labelledby="t-{name}" focusable="false"><title id="t-{name}">{label}</title>'
        f'<use href="#grid" class="grid"/><clipPath id="c-{name}" '
        'clipPathUnits="objectBoundingBox">'
        f'<use href="#p-{name}" transform="scale({1 / days:.8f} .01)"/></clipPath>'
        f'<g clip-path="url(#c-{name})"><rect class="pale" width="100%" height="{HIGH}"/>{full}</g>'
        f'<svg viewBox="0 0 {days} 100" preserveAspectRatio="none" width="100%" height="{HIGH}">'
        f'<path id="p-{name}" class="edge" vector-effect="non-scaling-stroke" '
        f'd="{band_path(band)}"/></svg>{bars}</svg>'
    )


def band_text(band: Band, calendar: YearCalendar) -> str:
    """What a band shows, in words: its safe days, or the best of them."""
    language = calendar.language
    spans = ", ".join(wording.window_spans(band.safe, calendar.year, language))
    return language.text(
        "page.described",
        kind=language.text(f"work.{band.kind}"),
        spans=spans or best_text(band, calendar),
    )


def best_text(band: Band, calendar: YearCalendar) -> str:
    """For a band without safe days: its best day, if any."""
    language = calendar.language
    best = calendar_words.best_day(band, calendar.year, language)
    if best is None:
        return language.text("page.no_safe")
    return (
        f"{language.text('page.no_safe')}; "
        f"{language.text('page.best_day', chance=best[0], day=best[1])}"
    )


def percents(band: Band) -> list[int]:
    """Chance of every day in whole per cent, rounded down."""
    return [int(value) for value in np.floor(100 * band.chance + 1e-6)]


def band_path(band: Band) -> str:
    """The chance as steps, one unit a day and a per cent, down to the base again.

    >>> chance = np.array([0.0, 0.0, 0.5, 0.5, 1.0])
    >>> band_path(Band("heavy", chance, (), (), 30, ()))
    'M0 100h2v-50h2v-50h1V100z'
    """
    parts, before = ["M0 100"], 0
    for value, days in groupby(percents(band)):
        if value != before:
            parts.append(f"v{before - value}")
        parts.append(f"h{len(list(days))}")
        before = value
    return "".join((*parts, "V100z"))


def chance_list(band: Band) -> str:
    """The chances for the page's script: runs of equal days as ``value*days``.

    >>> chance_list(Band("heavy", np.array([0.0, 0.0, 0.5]), (), (), 30, ()))
    '0*2 50'
    """
    parts = []
    for value, days in groupby(percents(band)):
        count = len(list(days))
        parts.append(f"{value}*{count}" if count > 1 else str(value))
    return " ".join(parts)


def events_svg(row: CalendarRow, calendar: YearCalendar) -> str:
    """Usual dates of a taxon's events with the range of eight years in ten."""
    language, days = calendar.language, wording.month_starts(calendar.year)[-1]
    new_year = np.datetime64(f"{calendar.year:04d}-01-01", "D")
    drawn = "".join(
        _mark(mark, new_year, days, 9 + LANE * number)
        for number, lane in enumerate(lanes(row.marks))
        for mark in lane
    )
    name = f"t-{row.species.slug}-events"
    label = "; ".join(mark_text(mark, language) for mark in row.marks)
    return (
        f'<svg class="events" width="100%" height="{4 + LANE * max(len(lanes(row.marks)), 1)}" '
        f'role="img" aria-labelledby="{name}" focusable="false"><title id="{name}">'
        f'{escape(label)}</title><use href="#grid" class="grid"/>{drawn}</svg>'
    )


def mark_text(mark: EventMark, language: Language) -> str:
    """An event with its usual date and range."""
    return (
        f"{language.text(f'events.{mark.event}')} {wording.short_day(mark.date, language)} "
        f"({wording.span_text(mark.early, mark.late, language)})"
    )


def sign_svg(event: str) -> str:
    """The sign of an event, for the key."""
    return (
        '<svg class="sign" width="14" height="14" aria-hidden="true" focusable="false">'
        f'<use href="#sign-{event}" x="7" y="7"/></svg>'
    )


def _mark(mark: EventMark, new_year: np.datetime64, days: int, y: int) -> str:
    early, date, late = (
        int((day - new_year).astype(int)) for day in (mark.early, mark.date, mark.late)
    )
    parts = []
    for turn in (-days, 0, days):  # what crosses New Year comes in at the other end
        start, stop = max(early + turn, 0), min(late + 1 + turn, days)
        if stop > start:
            parts.append(
                f'<line x1="{_share(start, days)}" x2="{_share(stop, days)}" y1="{y}" y2="{y}"/>'
            )
            ends = ((start, start == early + turn), (stop, stop == late + 1 + turn))
            parts += [
                f'<line x1="{_share(end, days)}" x2="{_share(end, days)}" y1="{y - 3}" '
                f'y2="{y + 3}"/>'
                for end, capped in ends
                if capped
            ]
    return (
        "".join(parts) + f'<svg x="{_share(date + 0.5, days)}" y="{y}" overflow="visible">'
        f'<use href="#sign-{mark.event}"/></svg>'
    )


def _share(day: float, days: int) -> str:
    return f"{100 * day / days:.2f}%".replace(".00%", "%")
