"""Which observed dates can be used: one a taxon, event and season, and possible at the site."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from timing.drivers import Drivers
from timing.intake.observations import Observation
from timing.season import Floats, Ints, season_of, season_start
from timing.site import Hemisphere
from timing.species.model import Species

IMPOSSIBLE_DAYS = 75.0  # from the date expected at the site (our own)
ODD_DAYS = 30  # from there on a date is worth a second look (our own)
BEFORE_NEW_YEAR = ("chill_met", "sap_rise", "sap_peak")  # may fall before the year they belong to


@dataclass(frozen=True)
class Series:
    """Observed offsets of one event of one taxon: rows of the drivers and days."""

    rows: Ints
    days: Floats


@dataclass(frozen=True)
class Arranged:
    """Observations in their places.

    Parameters
    ----------
    series : slug → event → offsets in the seasons whose spring the record covers.
    usable : observations that are neither impossible nor one of two dates of the same event.
    warnings : observations left out, and why.
    """

    series: dict[str, dict[str, Series]]
    usable: tuple[Observation, ...]
    warnings: tuple[str, ...]


def season_seen(event: str, day: np.datetime64, hemisphere: Hemisphere) -> int:
    """Season that an event seen on a day belongs to.

    >>> season_seen("leaf_fall", np.datetime64("2024-12-20"), "north")
    2024
    >>> season_seen("sap_rise", np.datetime64("2024-12-20"), "north")
    2025
    """
    season = season_of(day, hemisphere)
    begun = bool(day >= season_start(season + 1, hemisphere))
    return season + 1 if begun and event in BEFORE_NEW_YEAR else season


def expected_date(drivers: Drivers, usual: Floats, season: int) -> np.datetime64 | None:
    """When an event is expected in a season: by its record, else the median of the others.

    Parameters
    ----------
    drivers : the site's seasons.
    usual : dates of the event in them without the model's error, (seasons,).
    season : the season asked about.
    """
    row = drivers.row_of(season)
    day = float(usual[row]) if row is not None else np.nan
    if not np.isfinite(day):
        known = usual[drivers.covered & np.isfinite(usual)]
        day = float(np.median(known)) if known.size else np.nan
    return season_start(season, drivers.site.hemisphere) + round(day) if np.isfinite(day) else None


def is_impossible(day: np.datetime64, expected: np.datetime64 | None) -> bool:
    """Whether a date lies too far from the one expected to be true."""
    return expected is not None and abs(int((day - expected).astype(np.int64))) > IMPOSSIBLE_DAYS


def impossible_text(item: Observation, expected: np.datetime64 | None) -> str:
    """That a date cannot be true, without where it stands."""
    return f"{item.date} cannot be {item.event} of {item.species} here (expected about {expected})"


def doubt(item: Observation, expected: np.datetime64 | None) -> str:
    """What makes a date look like a slip, a sentence without its full stop; "" where nothing."""
    if expected is None:
        return ""
    if is_impossible(item.date, expected):
        return f"{impossible_text(item, expected)}; it is kept, but no answer uses it"
    away = int((item.date - expected).astype(np.int64))
    if abs(away) <= ODD_DAYS:
        return ""
    side = "before" if away < 0 else "after"
    return (
        f"{item.date} is {abs(away)} days {side} the {item.event} of {item.species} expected here "
        f"({expected}); answers believe the date noted"
    )


def arrange(
    drivers: Drivers,
    species: Mapping[str, Species],
    observed: Iterable[Observation],
    nominal: Callable[[Species, str], Floats],
) -> Arranged:
    """Sort observations by taxon, event and season; name what cannot be used.

    Parameters
    ----------
    species : the taxa known; dates of others, or of events they do not have, are passed over.
    nominal : dates of an event of a taxon without the model's error, (seasons,).
    """
    dates: dict[tuple[str, str], dict[int, list[Observation]]] = {}
    outside = 0
    under_way = int(drivers.years[-1]) if not drivers.covered[-1] else None
    covered = {int(year) for year in drivers.years[drivers.spring_covered]}
    for item in observed:
        if item.species not in species or item.event not in species[item.species].events:
            continue
        season = season_seen(item.event, item.date, drivers.site.hemisphere)
        if season not in covered and season != under_way:
            outside += 1
            continue
        dates.setdefault((item.species, item.event), {}).setdefault(season, []).append(item)
    warnings = []
    if outside:
        many = f"{outside} observations" if outside > 1 else "1 observation"
        warnings.append(f"{many} left out: the record does not cover their season")
    series: dict[str, dict[str, Series]] = {}
    usable: list[Observation] = []
    for (slug, event), by_season in dates.items():
        usual = nominal(species[slug], event)
        rows, days = [], []
        for season, items in sorted(by_season.items()):
            expected = expected_date(drivers, usual, season)
            told, possible = _possible(items, expected)
            warnings += told
            if not possible:
                continue
            usable += possible
            row = drivers.row_of(season)
            if season in covered and row is not None:  # else it stands for itself alone
                rows.append(row)
                days.append(float((possible[0].date - drivers.starts[row]).astype(np.int64)))
        if rows:
            series.setdefault(slug, {})[event] = Series(np.array(rows), np.array(days))
    return Arranged(series, tuple(usable), tuple(warnings))


def _possible(
    items: list[Observation], expected: np.datetime64 | None
) -> tuple[list[str], list[Observation]]:
    """What to say of the dates of one event in one season, and those that can be used."""
    odd = [item for item in items if is_impossible(item.date, expected)]
    told = [
        f"{item.where} {item.line}: {impossible_text(item, expected)}; left out" for item in odd
    ]
    left = [item for item in items if item not in odd]
    if len(left) > 1:
        where = f"{left[0].where}s {', '.join(str(item.line) for item in left)}"
        what = f"{left[0].event} of {left[0].species}"
        if len({item.date for item in left}) > 1:
            return [*told, f"{where}: two dates of {what}; neither is used"], []
        told.append(f"{where}: the same {what}; used once")
    return told, left


def seen_in_season(
    usable: Iterable[Observation], year: int, hemisphere: Hemisphere
) -> dict[str, dict[str, np.datetime64]]:
    """Usable dates (`Arranged.usable`) seen in one season: slug → event → day."""
    seen: dict[str, dict[str, np.datetime64]] = {}
    for item in usable:
        if season_seen(item.event, item.date, hemisphere) == year:
            seen.setdefault(item.species, {})[item.event] = item.date
    return seen
