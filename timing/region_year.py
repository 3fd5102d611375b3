"""The days safe at every site of a region as one calendar: for the page, the booklet, the tables.

The chance of a day is that of its worst site. Usual dates of events differ from site to site and
are left out; what a hazard closes at any site is closed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from timing import region_words
from timing.calendar import Band, CalendarRow, Shared, YearCalendar
from timing.region import RegionBand, RegionCalendar, Run, runs_of_days
from timing.season import Floats
from timing.species.model import Hazard
from timing.windows import MARGINAL, Window


def shared_year(region: RegionCalendar) -> YearCalendar:
    """A calendar of the days safe at all sites of a region."""
    rows = tuple(
        CalendarRow(
            row.species,
            tuple(
                _band(region, band, [item.rows[at].bands[kind] for item in region.calendars])
                for kind, band in enumerate(row.bands)
            ),
            (),
        )
        for at, row in enumerate(region.rows)
    )
    highest = region.calendars[0]
    return replace(
        highest,
        today=region.today,
        seasons=min(item.seasons for item in region.sites),
        rows=rows,
        shared=_shared(region),
        frosty=region.frosty,
        hot=region.hot,
    )


def _shared(region: RegionCalendar) -> Shared:
    words = region.language.text
    heights = [
        words("region.height_unknown")
        if item.site.elevation_m is None
        else words("numbers.metres", number=f"{item.site.elevation_m:.0f}")
        for item in region.sites
    ]
    listed = ", ".join(
        words("region.site_and_height", site=name, height=height)
        for name, height in zip(region_words.names(region), heights, strict=True)
    )
    notes = (
        f"{region_words.division_title(region)}. {region_words.division_text(region)}",
        region_words.doubts_text(region),
    )
    return Shared(
        region.name,
        words("region.place", number=len(region.sites), sites=listed),
        region_words.records_text(region),
        tuple(note.strip() for note in notes if note),
        region.invented,
    )


def _band(region: RegionCalendar, band: RegionBand, own: list[Band]) -> Band:
    doubtful = (band.worst >= MARGINAL - 1e-9) & (band.share < 1 - 1e-9)
    return Band(
        band.kind,
        band.worst,
        tuple(_window(run, band.worst, own[0].safe, region.year) for run in band.at_all),
        tuple(
            _window(run, band.worst, own[0].marginal, region.year)
            for run in runs_of_days(doubtful, region.year)
        ),
        min(item.seasons for item in own),
        tuple(region_words.conditions(region, band)),
        _closed(own, region.year),
    )


def _window(run: Run, worst: Floats, first: tuple[Window, ...], year: int) -> Window:
    """A run of days; rule and season are those of the first site's window around it."""
    opens, closes = run
    start = np.datetime64(f"{year:04d}-01-01", "D")
    inside = worst[int((opens - start).astype(int)) : int((closes - start).astype(int)) + 1]
    around = next((item for item in first if item.opens <= closes and item.closes >= opens), None)
    season, rule = (around.season, around.rule) if around else (year, "")
    return Window(opens, closes, float(inside.min()), season, rule)


def _closed(own: list[Band], year: int) -> tuple[tuple[Hazard, tuple[Run, ...]], ...]:
    """What each hazard closes at any of the sites."""
    start, stop = (np.datetime64(f"{year + n:04d}-01-01", "D") for n in (0, 1))
    hazards: dict[str, Hazard] = {}
    shut: dict[str, np.ndarray] = {}
    for band in own:
        for hazard, runs in band.closed:
            hazards[hazard.name] = hazard
            days = shut.setdefault(hazard.name, np.zeros(int((stop - start).astype(int)), bool))
            for opens, closes in runs:
                days[int((opens - start).astype(int)) : int((closes - start).astype(int)) + 1] = 1
    return tuple((hazards[name], runs_of_days(days, year)) for name, days in shut.items())
