"""How good the dates are: each season predicted from the observations of the others.

All observations of a season, of every taxon, are left out together; requirements, spreads and
structure are tuned to the rest, and the season's dates and 80% ranges are compared with what
was seen. Beside it stands the plain mean of the other seasons' dates.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.drivers import Drivers
from timing.events import season_events
from timing.intake.observations import Observation
from timing.observed_dates import season_seen
from timing.species.model import Species
from timing.tuning import tune


@dataclass(frozen=True)
class Assessment:
    """Scores of one event of one taxon, leaving one season out [days]."""

    species: str
    event: str
    seasons: int
    rmse_days: float
    mae_days: float
    bias_days: float
    mean_date_rmse_days: float
    coverage_80: float


@dataclass(frozen=True)
class HeldBack:
    """One held-back date: observed and predicted offsets, and the mean of the other dates."""

    species: str
    event: str
    season: int
    observed: float
    early: float
    predicted: float
    late: float
    mean_date: float


def held_back_dates(
    drivers: Drivers, taxa: Sequence[Species], observed: Sequence[Observation]
) -> list[HeldBack]:
    """Predict every observed season from the observations of the others."""
    hemisphere = drivers.site.hemisphere
    rows = {int(year): row for row, year in enumerate(drivers.years)}
    by_season: dict[int, list[Observation]] = defaultdict(list)
    offsets: dict[tuple[str, str], dict[int, float]] = defaultdict(dict)
    for item in observed:
        season = season_seen(item.event, item.date, hemisphere)
        if season in rows and drivers.spring_covered[rows[season]]:
            by_season[season].append(item)
            offset = (item.date - drivers.starts[rows[season]]).astype(np.int64)
            offsets[item.species, item.event][season] = float(offset)
    results = []
    for season, items in sorted(by_season.items()):
        others = [item for year, found in by_season.items() if year != season for item in found]
        tuning = tune(drivers, taxa, others)
        row = rows[season]
        for slug in dict.fromkeys(item.species for item in items):
            events = season_events(tuning.species[slug], drivers)
            for event in dict.fromkeys(item.event for item in items if item.species == slug):
                dates = offsets[slug, event]
                rest = [day for year, day in dates.items() if year != season]
                if event not in events.days or len(rest) < 2:
                    continue
                early, middle, late = (float(day) for day in events.quantiles(event)[:, row])
                if not np.isnan(middle):
                    mean = float(np.mean(rest))
                    results.append(
                        HeldBack(slug, event, season, dates[season], early, middle, late, mean)
                    )
    return results


def assess(held_back: Sequence[HeldBack]) -> list[Assessment]:
    """Scores by taxon and event."""
    groups: dict[tuple[str, str], list[HeldBack]] = defaultdict(list)
    for item in held_back:
        groups[item.species, item.event].append(item)
    return [_scores(slug, event, items) for (slug, event), items in sorted(groups.items())]


def _scores(species: str, event: str, items: Sequence[HeldBack]) -> Assessment:
    errors = np.array([item.predicted - item.observed for item in items])
    mean_errors = np.array([item.mean_date - item.observed for item in items])
    inside = [item.early <= item.observed <= item.late for item in items]
    return Assessment(
        species=species,
        event=event,
        seasons=len(items),
        rmse_days=float(np.sqrt(np.mean(errors**2))),
        mae_days=float(np.mean(np.abs(errors))),
        bias_days=float(np.mean(errors)),
        mean_date_rmse_days=float(np.sqrt(np.mean(mean_errors**2))),
        coverage_80=float(np.mean(inside)),
    )
