"""The warmth that bud break asks for at a site, from what the trees watched elsewhere asked for.

The clock that tells best how early or late a spring is at one place (`timing.clocks.LEAF`) counts
hot afternoons, and where springs are long and mild it opens the buds a week and more late. Degree
days of the whole day tell places apart better (docs/validation.md). So the mean date of a site is
that of the degree days, and the departures of its seasons from that mean are those of the clock.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from timing.clocks import PLACE
from timing.crossings import reach, sum_at
from timing.drivers import Drivers
from timing.species.model import Species


def placed(species: Species, drivers: Drivers) -> Species:
    """A taxon whose buds ask for the warmth that goes with the site.

    To the requirement is added the mean forcing, over the covered seasons, between the dates of the
    clock and days as far from them as the mean dates of degree days and clock lie apart. Half that
    distance is added, in squares, to the error constant at the site; a taxon taken without error
    stays without. One already placed or tuned stays as it is, and so does one where no season
    reaches both.

    Parameters
    ----------
    species, drivers : the taxon and the site's seasons.
    """
    model = species.events.get("bud_break")
    if model is None or model.place_requirement == 0:
        return species
    sums = drivers.forcing_sum(model.forcing_clock)
    one = np.ones((len(sums), 1))
    there = reach(drivers.forcing_sum(PLACE), model.place_requirement * one)
    usual = reach(sums, model.requirement * one)
    known = drivers.spring_covered & drivers.wintry & ~np.isnan(there + usual)[:, 0]
    here = replace(model, place_requirement=0.0)
    if known.any():
        apart = round(float(np.mean(there[known] - usual[known])))  # dates are whole days
        between = (sum_at(sums, usual + apart) - sum_at(sums, usual))[known]
        on_record = between[~np.isnan(between)]  # a record may end before the later of the days
        added = float(on_record.mean()) if on_record.size else 0.0
        spread = float(np.hypot(model.site_spread_days, apart / 2))
        here = replace(
            here,
            requirement=float(model.requirement + added),
            site_spread_days=spread if model.site_spread_days else 0.0,
        )
    return replace(species, events={**species.events, "bud_break": here})
