"""Does the chance of a day hold? Windows foretold from some seasons, seen in one left out.

Two trials at real records:

* the odds of the seasons just before one, as many as a short record holds, against that season;
* the record cut off on six days of a season (`timing.running`), against the rest of that season.

What comes true is told by the models themselves from the whole record: in which share of the draws
of error the day lies in a safe stretch of the season that was left out. So the trials ask whether
weather, few seasons and the season so far are allowed for; that the models err as they say is asked
of observed dates (`docs/validation.md`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from timing.answers import outlook, site_drivers
from timing.drivers import Drivers
from timing.events import SeasonEvents, season_events
from timing.limits import AutumnLimits, autumn_limits
from timing.site import Site
from timing.species.model import WORK_KINDS, Species, WorkKind
from timing.stretches import RuleStretches, chance_of_days, chance_of_year, stretch
from timing.temperature import TemperatureRecord
from timing.windows import highest_chance, rules_for, work_odds

Floats = NDArray[np.float64]
LEVELS = (0.5, 0.7, 0.9, 0.99, 1.01)  # a day that all seasons and draws had safe counts as 1
CUT_OFF = ("03-01", "05-01", "06-15", "08-01", "10-15", "12-01")
AHEAD = 200  # days foretold from each of them


@dataclass(frozen=True)
class Foretold:
    """Days of one taxon and kind of work.

    Parameters
    ----------
    told : array (days,), their chance, nothing taken off for few seasons.
    told_less : array (days,), the chance the answer gives.
    was : array (days,), share of draws in which each was safe in the season left out.
    """

    told: Floats
    told_less: Floats
    was: Floats


def from_seasons_before(
    drivers: Drivers, taxa: Sequence[Species], seasons: int, *, step: int = 1
) -> Iterator[Foretold]:
    """Every ``step``-th season foretold from the ``seasons`` just before it.

    ``drivers`` are the covered seasons of a site.
    """
    rows = [
        row
        for row in range(seasons, len(drivers.years))
        if drivers.years[row] - drivers.years[row - seasons] == seasons
    ][::step]
    for taxon in taxa:
        whole = season_events(taxon, drivers)
        limits = autumn_limits(whole)
        for row in rows:
            known = drivers.select(np.arange(row - seasons, row))
            known.__dict__["chill_sum"] = drivers.chill_sum[row - seasons : row]
            events = season_events(taxon, known)
            for kind in WORK_KINDS:
                laid = _laid(whole, kind, limits, np.array([row]))
                if laid:
                    less = work_odds(events, kind).chance
                    told = less / highest_chance(seasons)
                    yield Foretold(told, less, chance_of_year(laid))


def from_the_season_so_far(
    record: TemperatureRecord, site: Site, taxa: Sequence[Species], years: Iterable[int]
) -> Iterator[Foretold]:
    """The days ahead as told on six days of some years, from the record up to each."""
    drivers = site_drivers(record, site)
    whole = {taxon.slug: season_events(taxon, drivers) for taxon in taxa}
    for year in years:
        around = np.flatnonzero(np.abs(drivers.years - year) <= 1)
        for day in CUT_OFF:
            on = np.datetime64(f"{year}-{day}")
            known = record.until(on)
            so_far = site_drivers(known, site)
            for taxon in taxa:
                limits = autumn_limits(whole[taxon.slug])
                view = outlook(taxon, known, so_far, on=on)
                for kind in WORK_KINDS:
                    laid = _laid(whole[taxon.slug], kind, limits, around)
                    if laid:
                        told = view.odds[kind].at(on + np.arange(AHEAD))
                        pieces = tuple(
                            RuleStretches(one.rule, one.opens[[row]], one.closes[[row]])
                            for one in laid
                            for row in range(len(around))
                        )
                        yield Foretold(told, told, chance_of_days(pieces, on, AHEAD))


def _laid(
    events: SeasonEvents, kind: WorkKind, limits: AutumnLimits, rows: NDArray[np.int64]
) -> tuple[RuleStretches, ...]:
    """The rules of an established tree, laid out over some seasons."""
    whole = (stretch(rule, kind, events, limits) for rule in rules_for(events, kind, "established"))
    return tuple(RuleStretches(one.rule, one.opens[rows], one.closes[rows]) for one in whole)


def reliability(items: Iterable[Foretold], *, less: bool = False) -> list[tuple[int, float, float]]:
    """Days, mean chance told and share that came true, between each two of `LEVELS`.

    ``less`` takes the chances as the answer gives them, lowered for few seasons.
    """
    found = list(items)
    told = np.concatenate([item.told_less if less else item.told for item in found])
    was = np.concatenate([item.was for item in found])
    table = []
    for low, high in pairwise(LEVELS):
        inside = (told >= low - 1e-9) & (told < high - 1e-9)
        days = int(inside.sum())
        mean, true = (float(x[inside].mean()) if days else np.nan for x in (told, was))
        table.append((days, mean, true))
    return table


def table_row(name: str, items: Iterable[Foretold], *, less: bool = False) -> str:
    """A table row: told and come true between each two of `LEVELS`."""
    cells = (
        f"{told:.1%}: {true:.1%}" if days else ""
        for days, told, true in reliability(items, less=less)
    )
    return f"| {name} | {' | '.join(cells)} |"
