"""How far a date moves when some days of its season are missing and filled from other years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from hindcast import full_record

from timing.drivers import Drivers
from timing.season import FIRST_JULY, NEW_YEAR, Floats
from timing.species.model import Species

MISSING = (3, 6, 12, 24)
SPRING, AUTUMN = (NEW_YEAR + 14, FIRST_JULY), (FIRST_JULY, FIRST_JULY + 122)
TRIALS = 4
EVENTS = ("bud_break", "full_bloom", "leaf_full_size", "leaf_fall")


def shift_by_gap(drivers: Drivers, taxon: Species, events: Sequence[str]) -> dict[str, list[float]]:
    """Root mean square shift of each event for each number of missing days [days].

    One run of days in spring and one in autumn are replaced, in every season, by the mean of the
    fifteen days around over all seasons, at random places, four times (seeded).
    """
    whole = full_record(drivers, taxon, events)
    usual = [_smooth(np.nanmean(values, axis=0)) for values in (drivers.tmin_c, drivers.tmax_c)]
    rng = np.random.default_rng(1)
    found: dict[str, list[float]] = {event: [] for event in events}
    for count in MISSING:
        shifts: dict[str, list[Floats]] = {event: [] for event in events}
        for _ in range(TRIALS):
            filled = [drivers.tmin_c.copy(), drivers.tmax_c.copy()]
            for first, last in (SPRING, AUTUMN):
                for row, start in enumerate(rng.integers(first, last - count, len(drivers.years))):
                    for values, mean in zip(filled, usual, strict=True):
                        values[row, start : start + count] = mean[start : start + count]
            mended = replace(
                drivers, tmin_c=filled[0], tmax_c=filled[1], _forcing={}, _forcing_sums={}
            )
            for event, days in full_record(mended, taxon, events).items():
                shifts[event].append(days - whole[event])
        for event, parts in shifts.items():
            found[event].append(float(np.sqrt(np.nanmean(np.concatenate(parts) ** 2))))
    return found


def gap_rows(name: str, drivers: Drivers, taxa: Sequence[Species]) -> list[str]:
    """Table rows of one site."""
    rows = []
    for taxon in taxa:
        shown = [event for event in EVENTS if event in taxon.events]
        for event, shifts in shift_by_gap(drivers, taxon, shown).items():
            cells = " | ".join(f"{shift:.1f}" for shift in shifts)
            rows.append(f"| {name} | {taxon.common_name}, {event.replace('_', ' ')} | {cells} |")
    return rows


def _smooth(values: Floats) -> Floats:
    padded = np.concatenate((values[:7], values, values[-7:]))
    return np.convolve(padded, np.full(15, 1 / 15), "valid")
