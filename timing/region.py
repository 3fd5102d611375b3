"""One calendar for several sites: where a day is safe at all of them, at most, or at some.

A day counts as safe for the region only where its chance reaches the confidence at every site: the
worst site rules. Sites are kept in the order of their heights, so that neither the order in
which they were named nor their number changes what is said of a day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.calendar import YearCalendar, days_of, usual_weather
from timing.errors import DataError, UsageError
from timing.language import Language
from timing.region_split import Bools, Division, divide
from timing.region_windows import RegionWindow, day_runs, site_windows, spells
from timing.running import reaches
from timing.season import Floats, Ints
from timing.site import Site
from timing.species.model import Species, WorkKind
from timing.temperature import TemperatureRecord

MOST = 0.75  # share of the sites from which a day is safe at most of them
FEWEST_SITES = 2
FEWEST_FOR_MOST = 4  # of fewer sites three quarters are all

Run = tuple[np.datetime64, np.datetime64]


@dataclass(frozen=True)
class RegionSite:
    """One site, its record, and whether the running season of its record is counted in."""

    site: Site
    record: TemperatureRecord
    seasons: int
    running: bool


@dataclass(frozen=True)
class RegionBand:
    """One kind of work at all sites.

    Parameters
    ----------
    kind : heavy, light or outline.
    chance : array (sites, days of the year), chance that the day is safe.
    share : array (days,), share of the sites at which it is safe at the confidence.
    worst : array (days,), the lowest chance; ``worst_site`` the site it belongs to.
    at_all, at_most, at_some : runs of days safe at all sites, at three quarters of them or more,
        at one or more; a run over New Year stands there in two parts.
    rules : the site that is the worst on most of the days safe at some sites only, or None.
    windows : site by site, one a run of days safe somewhere, by opening.
    limits : conditions of the work, and the sites they hold for.
    """

    kind: WorkKind
    chance: Floats
    share: Floats
    worst: Floats
    worst_site: Ints
    at_all: tuple[Run, ...]
    at_most: tuple[Run, ...]
    at_some: tuple[Run, ...]
    rules: int | None
    windows: tuple[RegionWindow, ...]
    limits: tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True)
class RegionRow:
    """One taxon's year in the region."""

    species: Species
    bands: tuple[RegionBand, ...]


@dataclass(frozen=True)
class RegionCalendar:
    """A calendar year for several taxa over several sites, the highest site first.

    ``calendars`` are those of the sites, in their order; ``left_out`` names sites that cannot
    answer, and why.
    """

    name: str
    year: int
    confidence: float
    today: np.datetime64 | None
    sites: tuple[RegionSite, ...]
    rows: tuple[RegionRow, ...]
    division: Division
    calendars: tuple[YearCalendar, ...]
    left_out: tuple[tuple[str, str], ...] = ()

    @property
    def language(self) -> Language:
        """What it is written in, as the calendars of its sites are."""
        return self.calendars[0].language

    @property
    def invented(self) -> bool:
        """Whether any site is of our own making."""
        return any(item.site.invented for item in self.sites)

    @property
    def frosty(self) -> tuple[Run, ...]:
        """Days near which hard frost is usual at any of the sites."""
        return _at_any([item.frosty for item in self.calendars], self.year)

    @property
    def hot(self) -> tuple[Run, ...]:
        """Days near which heat that forbids cuts is usual at any of the sites."""
        return _at_any([item.hot for item in self.calendars], self.year)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to heed before a cut: the same everywhere, then the usual weather of the sites."""
        language = self.language
        weather = usual_weather(self.frosty, self.hot, self.year, language, several=True)
        return (*language.table("cautions").values(), *weather)


def region_calendar(
    name: str,
    calendars: Sequence[YearCalendar],
    *,
    on: np.datetime64 | None = None,
    left_out: Sequence[tuple[str, str]] = (),
) -> RegionCalendar:
    """Lay the calendars of several sites over each other.

    Parameters
    ----------
    name : what the region is called.
    calendars : one per site, of the same taxa, year and confidence.
    on : the day asked about; sites whose record does not reach it answer from past seasons.
    left_out : names of sites that cannot answer, and why.

    Raises
    ------
    DataError : fewer than two sites, or sites of both hemispheres.
    UsageError : two sites of one name, or calendars of different taxa, years or confidences.
    """
    _refuse_unlike(name, calendars, left_out)
    ordered = sorted(calendars, key=_height_first)
    first = ordered[0]
    sites = tuple(
        RegionSite(
            item.site, item.record, item.seasons, on is not None and reaches(item.record.last, on)
        )
        for item in ordered
    )
    rows = tuple(
        RegionRow(row.species, tuple(_band(ordered, at, kind) for kind in range(len(row.bands))))
        for at, row in enumerate(first.rows)
    )
    safe = np.stack(
        [_safe(band.chance, first.confidence) for row in rows for band in row.bands], axis=1
    )
    return RegionCalendar(
        name, first.year, first.confidence, first.today, sites, rows,
        divide(safe, _traits(sites)), tuple(ordered), tuple(left_out),
    )  # fmt: skip


def winter_cold(item: RegionSite) -> float:
    """Mean daily minimum of December to February, in the south of June to August [°C]."""
    record = item.record
    days = record.first + np.arange(len(record.tmin_c))
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    winter = (5, 6, 7) if item.site.hemisphere == "south" else (11, 0, 1)
    cold = record.tmin_c[np.isin(month, winter)]
    cold = cold[np.isfinite(cold)]
    return float(cold.mean()) if cold.size else np.nan


def _refuse_unlike(
    name: str, calendars: Sequence[YearCalendar], left_out: Sequence[tuple[str, str]]
) -> None:
    if len(calendars) < FEWEST_SITES:
        why = "".join(f"; {site} is left out: {reason}" for site, reason in left_out)
        raise DataError(
            f"region {name}: {len(calendars) or 'no'} site{'s' * (len(calendars) != 1)} can answer "
            f"and at least {FEWEST_SITES} are needed{why}"
        )
    names = [item.site.name for item in calendars]
    if len(set(names)) < len(names):
        twice = next(site for site in names if names.count(site) > 1)
        raise UsageError(f"region {name}: two sites are named {twice}; give each its own name")
    halves = {item.site.hemisphere: item.site.name for item in calendars}
    if len(halves) > 1:
        raise DataError(
            f"region {name}: {halves['north']} lies north of the equator and {halves['south']} "
            "south of it, and their seasons have no days in common; make a region of each half"
        )
    asked = {
        (item.year, item.confidence, tuple(row.species.slug for row in item.rows))
        for item in calendars
    }
    if len(asked) > 1:
        raise UsageError(f"region {name}: sites differ in taxa, year or confidence; ask all alike")


def _height_first(calendar: YearCalendar) -> tuple[bool, float, str]:
    height = calendar.site.elevation_m
    return height is None, -(height or 0.0), calendar.site.name


def _traits(sites: Sequence[RegionSite]) -> dict[str, Floats]:
    heights = [np.nan if s.site.elevation_m is None else s.site.elevation_m for s in sites]
    return {
        "height": np.array(heights, dtype=float),
        "latitude": np.array([item.site.latitude for item in sites]),
        "longitude": np.array([item.site.longitude for item in sites]),
        "winter cold": np.array([winter_cold(item) for item in sites]),
    }


def _safe(chance: Floats, confidence: float) -> Bools:
    safe: Bools = chance >= confidence - 1e-9
    return safe


def _band(calendars: Sequence[YearCalendar], row: int, kind: int) -> RegionBand:
    first = calendars[0]
    bands = [calendar.rows[row].bands[kind] for calendar in calendars]
    chance = np.stack([band.chance for band in bands])
    safe = _safe(chance, first.confidence)
    share = safe.mean(axis=0)
    worst_site = np.argmin(chance, axis=0)
    some = share > 0
    everywhere = np.logical_and.reduce(safe)
    undecided = some & ~everywhere
    blamed = np.bincount(worst_site[undecided], minlength=len(bands))
    limits: dict[str, tuple[int, ...]] = {}
    for number, band in enumerate(bands):
        for text in band.limits:
            limits[text] = (*limits.get(text, ()), number)
    days = days_of(first.year)
    sites = [calendar.site for calendar in calendars]
    return RegionBand(
        kind=bands[0].kind,
        chance=chance,
        share=share,
        worst=chance.min(axis=0),
        worst_site=worst_site,
        at_all=runs_of_days(everywhere, first.year),
        at_most=runs_of_days(share >= MOST - 1e-9, first.year),
        at_some=runs_of_days(some, first.year),
        rules=int(blamed.argmax()) if undecided.any() else None,
        windows=tuple(
            site_windows(safe, start, stop, sites, days[0]) for start, stop in spells(safe)
        ),
        limits=tuple(sorted(limits.items())),
    )  # fmt: skip


def runs_of_days(chosen: Bools, year: int) -> tuple[Run, ...]:
    """Runs of chosen days of a calendar year, both ends included."""
    days = days_of(year)
    return tuple((days[start], days[stop - 1]) for start, stop in day_runs(chosen))


def _at_any(sites: Sequence[tuple[Run, ...]], year: int) -> tuple[Run, ...]:
    """Runs of days that lie in a run of any site."""
    days = days_of(year)
    chosen = np.zeros(len(days), dtype=bool)
    for first, last in (run for runs in sites for run in runs):
        chosen |= (days >= first) & (days <= last)
    return runs_of_days(chosen, year)
