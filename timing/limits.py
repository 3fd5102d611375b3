"""The two limits of a site's autumn: the last day for heavy cuts and for light work.

heavy_limit   the earliest of ten weeks before mean first frost; the last day from which a
              regrown flush (new buds, full size, hardening, in thermal time) would be mature by
              the early (10%) date of leaf colour; and the last day from which new buds would
              open before growth stops. Where frost comes in fewer than half of the seasons the
              other two stand alone
light_limit   the earlier of six weeks before mean first frost and that early leaf-colour date

Mean first frost and early leaf colour are calendar dates, the same in leap years as in others: they
are kept as places (`timing.same_day`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from timing.crossings import reach, sum_at
from timing.drivers import Drivers
from timing.events import SeasonEvents
from timing.quantiles import quantiles
from timing.same_day import leap_offsets, offsets_at, places
from timing.season import SEASON_DAYS, Floats, Ints
from timing.species.catalogue import common_rules
from timing.species.model import Species

ENOUGH = 0.5  # share of seasons and draws in which an event must happen to have a usual date
FROST_MATTERS = 0.5  # share of seasons with frost from which the frost rule applies
EARLY = 0.1


@dataclass(frozen=True)
class AutumnLimits:
    """The site's autumn limits for one taxon.

    Parameters
    ----------
    frost_share : share of seasons with a first frost.
    mean_first_frost : mean place over those seasons; NaN where frost does not matter.
    early_colour : 10% place of leaf colour over seasons and draws; NaN where leaves rarely colour.
    leap : array (seasons, 1), offset of each season's 29 February (`timing.same_day.leap_offsets`).
    regrowth : array (seasons, 1), offset of the last day from which regrowth matures; NaN where
        there is no colour to be ripe by, infinite for taxa that never stop.
    flushing : array (seasons, 1), offset of the last day from which new buds open before growth
        stops.
    """

    frost_share: float
    mean_first_frost: float
    early_colour: float
    leap: Ints
    regrowth: Floats
    flushing: Floats

    @cached_property
    def heavy(self) -> Floats:
        """Last safe day for heavy cuts, offsets (seasons, 1)."""
        lead = 7 * common_rules().frost_lead_weeks["heavy"]
        return np.fmin(np.minimum(self.regrowth, self.flushing), self.first_frost(-lead))

    @cached_property
    def light(self) -> Floats:
        """Last safe day for light work, offsets (seasons, 1)."""
        lead = 7 * common_rules().frost_lead_weeks["light"]
        return np.fmin(self._offsets(self.early_colour), self.first_frost(-lead))

    def first_frost(self, days: int = 0) -> Floats:
        """So many days after (before, if negative) mean first frost, offsets (seasons, 1)."""
        return self._offsets(self.mean_first_frost + days)

    def _offsets(self, place: float) -> Floats:
        return offsets_at(np.full(self.leap.shape, place), self.leap)

    def in_seasons(self, events: SeasonEvents) -> AutumnLimits:
        """The same site's limits for other seasons, such as the running one."""
        return replace(
            self,
            leap=leap_offsets(events.drivers.starts)[:, None],
            regrowth=_regrowth(events.species, events.drivers, self.early_colour),
            flushing=_flushing(events),
        )


def autumn_limits(events: SeasonEvents) -> AutumnLimits:
    """Limits of the site's autumn for the taxon of ``events``."""
    drivers = events.drivers
    covered, leap = drivers.covered, leap_offsets(drivers.starts)[:, None]
    frost_share, mean_frost = drivers.usual_first_frost
    if frost_share < FROST_MATTERS:
        mean_frost = np.nan
    early = np.nan
    colour = events.days.get("leaf_colour", events.days.get("season_end"))
    if colour is not None and np.mean(~np.isnan(colour[covered])) > ENOUGH:
        placed = places(colour[covered], leap[covered])
        late = np.where(np.isnan(placed), float(SEASON_DAYS), placed)
        early = float(quantiles(late.ravel(), (EARLY,))[0])
    regrowth = _regrowth(events.species, drivers, early)
    return AutumnLimits(frost_share, mean_frost, early, leap, regrowth, _flushing(events))


def _regrowth(species: Species, drivers: Drivers, early_colour: float) -> Floats:
    """Last day of each season from which a regrown flush is mature by ``early_colour``."""
    rows = (len(drivers.years), 1)
    if "leaf_full_size" not in species.events:
        return np.full(rows, np.inf)
    if np.isnan(early_colour):
        return np.full(rows, np.nan)
    sums = drivers.growth_sum
    hardening = species.events["flush_hardened"].requirement
    colour = offsets_at(np.full(rows, early_colour), leap_offsets(drivers.starts)[:, None])
    full_size = np.clip(colour - hardening, 0, SEASON_DAYS - 1).astype(np.int64)
    leaves = species.events["leaf_full_size"].growth_degree_days
    needed = common_rules().new_buds_degree_days + leaves
    return reach(sums, np.take_along_axis(sums, full_size, axis=1) - needed)


def _flushing(events: SeasonEvents) -> Floats:
    """Last day of each season from which new buds open before growth usually stops."""
    sums = events.drivers.growth_sum
    if "growth_stop" not in events.days:
        return np.full((len(sums), 1), np.inf)
    stop = events.quantiles("growth_stop", (0.5,))[0][:, None]
    return reach(sums, sum_at(sums, stop) - common_rules().new_buds_degree_days)
