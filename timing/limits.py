"""The two limits of a site's autumn: the last day for heavy cuts and for light work.

heavy_limit   the earliest of ten weeks before mean first frost; the last day from which a
              regrown flush (new buds, full size, hardening, in thermal time) would be mature by
              the early (10%) date of leaf colour; and the last day from which new buds would
              open before growth stops. Where frost comes in fewer than half of the seasons the
              other two stand alone
light_limit   the earlier of six weeks before mean first frost and that early leaf-colour date
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from timing.crossings import reach, sum_at
from timing.drivers import Drivers
from timing.events import SeasonEvents
from timing.quantiles import quantiles
from timing.season import SEASON_DAYS, Floats
from timing.species.catalogue import common_rules
from timing.species.model import Species

ENOUGH = 0.5  # share of seasons and draws in which an event must happen to have a usual date
FROST_MATTERS = 0.5  # share of seasons with frost from which the frost rule applies
EARLY = 0.1


@dataclass(frozen=True)
class AutumnLimits:
    """The site's autumn limits for one taxon; offsets of the season.

    Parameters
    ----------
    frost_share : share of seasons with a first frost.
    mean_first_frost : mean over those seasons; NaN where frost does not matter.
    early_colour : 10% date of leaf colour over seasons and draws; NaN where leaves rarely colour.
    regrowth : array (seasons, 1), last day from which regrowth matures; NaN where there is no
        colour to be ripe by, infinite for taxa that never stop.
    flushing : array (seasons, 1), last day from which new buds open before growth stops.
    """

    frost_share: float
    mean_first_frost: float
    early_colour: float
    regrowth: Floats
    flushing: Floats

    @cached_property
    def heavy(self) -> Floats:
        """Last safe day for heavy cuts, array (seasons, 1)."""
        lead = 7 * common_rules().frost_lead_weeks["heavy"]
        return np.fmin(np.minimum(self.regrowth, self.flushing), self.mean_first_frost - lead)

    @cached_property
    def light(self) -> Floats:
        """Last safe day for light work, array (seasons, 1)."""
        lead = 7 * common_rules().frost_lead_weeks["light"]
        limit = np.fmin(self.early_colour, self.mean_first_frost - lead)
        return np.full_like(self.regrowth, limit)

    def in_seasons(self, events: SeasonEvents) -> AutumnLimits:
        """The same site's limits for other seasons, such as the running one."""
        regrowth = _regrowth(events.species, events.drivers, self.early_colour)
        return replace(self, regrowth=regrowth, flushing=_flushing(events))


def autumn_limits(events: SeasonEvents) -> AutumnLimits:
    """Limits of the site's autumn for the taxon of ``events``."""
    drivers = events.drivers
    covered = drivers.covered
    frost_share, mean_frost = drivers.usual_first_frost
    if frost_share < FROST_MATTERS:
        mean_frost = np.nan
    early = np.nan
    colour = events.days.get("leaf_colour", events.days.get("season_end"))
    if colour is not None and np.mean(~np.isnan(colour[covered])) > ENOUGH:
        late = np.where(np.isnan(colour[covered]), float(SEASON_DAYS), colour[covered])
        early = float(quantiles(late.ravel(), (EARLY,))[0])
    regrowth = _regrowth(events.species, drivers, early)
    return AutumnLimits(frost_share, mean_frost, early, regrowth, _flushing(events))


def _regrowth(species: Species, drivers: Drivers, early_colour: float) -> Floats:
    """Last day of each season from which a regrown flush is mature by ``early_colour``."""
    rows = (len(drivers.years), 1)
    if "leaf_full_size" not in species.events:
        return np.full(rows, np.inf)
    if np.isnan(early_colour):
        return np.full(rows, np.nan)
    sums = drivers.growth_sum
    hardening = species.events["flush_hardened"].requirement
    full_size = int(np.clip(early_colour - hardening, 0, SEASON_DAYS - 1))
    leaves = species.events["leaf_full_size"].growth_degree_days
    needed = common_rules().new_buds_degree_days + leaves
    return reach(sums, sums[:, full_size : full_size + 1] - needed)


def _flushing(events: SeasonEvents) -> Floats:
    """Last day of each season from which new buds open before growth usually stops."""
    sums = events.drivers.growth_sum
    if "growth_stop" not in events.days:
        return np.full((len(sums), 1), np.inf)
    stop = events.quantiles("growth_stop", (0.5,))[0][:, None]
    return reach(sums, sum_at(sums, stop) - common_rules().new_buds_degree_days)
