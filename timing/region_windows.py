"""A run of days safe somewhere in a region: where each site opens and closes in it.

Which site opens last and which closes first, and how the opening moves with height and with
latitude: the median slope between pairs of sites (Theil 1950; Sen 1968, see `timing.trend`), told
only where its range leaves out zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.region_split import Bools
from timing.season import Floats
from timing.site import Site
from timing.trend import pair_slopes, score_variance, slope_range
from timing.windows import runs_at

FEWEST_FOR_SHIFT = 3


@dataclass(frozen=True)
class Scale:
    """What an opening is compared with: shift per so much of it, spans that are enough."""

    per: int
    least: float
    fine: int  # steps per unit that are told apart
    sites: str
    unit: str


HEIGHT = Scale(100, 100, 1, "sites of known height", "m of height")
LATITUDE = Scale(1, 1, 1000, "sites", "degree of latitude")


@dataclass(frozen=True)
class SiteWindow:
    """Where one site's window begins and ends; both None where the site is safe all year."""

    site: int
    opens: np.datetime64 | None
    closes: np.datetime64 | None


@dataclass(frozen=True)
class Shift:
    """How an opening moves with height or latitude.

    Parameters
    ----------
    days : median slope between pairs of sites [days per 100 m, or per degree from the equator].
    low, high : its 95 % range; below five sites the least and the greatest of those slopes.
    sites : how many sites it rests on.
    unknown : why it cannot be told; empty where it can.
    """

    days: float | None
    low: float | None
    high: float | None
    sites: int
    unknown: str


@dataclass(frozen=True)
class RegionWindow:
    """A run of days safe at some site at least, site by site.

    Parameters
    ----------
    windows : of the sites that open in it, in the order of the sites.
    never : sites that have no safe day in it.
    opens_last, closes_first : sites that do so; several where they share the day, empty where
        no site opens or closes.
    height, latitude : how the opening moves with them.
    """

    windows: tuple[SiteWindow, ...]
    never: tuple[int, ...]
    opens_last: tuple[int, ...]
    closes_first: tuple[int, ...]
    height: Shift
    latitude: Shift


def day_runs(chosen: Bools) -> list[tuple[int, int]]:
    """Runs (first index, index after the last) of chosen days."""
    return runs_at(chosen.astype(float), 1.0)


def spells(safe: Bools) -> list[tuple[int, int]]:
    """Runs of days safe at some site, the year taken as a ring; a stop may lie beyond its end.

    Where every day is safe somewhere, the ring is cut on the first day with the fewest sites.
    """
    length = safe.shape[1]
    count = safe.sum(axis=0)
    if not count.any():
        return []
    cut = int(np.argmin(count))
    if count[cut] > 0:
        return [(cut, cut + length)]
    turned = [(start + cut, stop + cut) for start, stop in day_runs(np.roll(count > 0, -cut))]
    return sorted((start % length, start % length + stop - start) for start, stop in turned)


def site_windows(
    safe: Bools, start: int, stop: int, sites: Sequence[Site], new_year: np.datetime64
) -> RegionWindow:
    """One run of days, site by site.

    A window that seems to open on 1 January or to close on 31 December only meets the end of the
    year there, whose two sides may belong to different seasons: it rules nothing.
    """
    length = safe.shape[1]
    windows, never = [], []
    opens, closes = np.full(len(safe), np.nan), np.full(len(safe), np.nan)
    for number, own in enumerate(safe):
        if own.all():
            windows.append(SiteWindow(number, None, None))
            continue
        found = _own_window(own, start, stop)
        if found is None:
            never.append(number)
            continue
        opens[number], closes[number] = found
        first, last = (new_year + day % length for day in found)
        windows.append(SiteWindow(number, first, last))
    opens[opens % length == 0] = np.nan  # the seam of the year is no opening
    closes[closes % length == length - 1] = np.nan
    heights = np.array([np.nan if s.elevation_m is None else s.elevation_m for s in sites])
    latitudes = np.array([abs(site.latitude) for site in sites])
    return RegionWindow(
        windows=tuple(windows),
        never=tuple(never),
        opens_last=_which(opens == np.max(opens, initial=-np.inf, where=np.isfinite(opens))),
        closes_first=_which(closes == np.min(closes, initial=np.inf, where=np.isfinite(closes))),
        height=_shift(heights, opens, HEIGHT),
        latitude=_shift(latitudes, opens, LATITUDE),
    )


def _own_window(own: Bools, start: int, stop: int) -> tuple[int, int] | None:
    """First and last safe day of a site within a run, counted on from the run's own year.

    In a run that fills the year the site's longest closed time divides its year, and what is
    open where the ring is cut began before the cut.
    """
    length = len(own)
    if stop - start < length:
        inside = np.flatnonzero(own[np.arange(start, stop) % length])
        return (start + int(inside[0]), start + int(inside[-1])) if inside.size else None
    if not own.any():
        return None
    opened = int(np.flatnonzero(own & ~np.roll(own, 1))[0])
    closed = day_runs(~np.roll(own, -opened))
    gap, after = max(closed, key=lambda run: run[1] - run[0])
    first, days = (opened + after - start) % length, length - (after - gap)
    if first + days > length:
        first -= length
    return start + first, start + first + days - 1


def _which(chosen: Bools) -> tuple[int, ...]:
    return tuple(int(number) for number in np.flatnonzero(chosen))


def _shift(values: Floats, opens: Floats, scale: Scale) -> Shift:
    """Theil-Sen slope of an opening; heights to the metre, latitudes to a thousandth degree."""
    use = np.isfinite(values) & np.isfinite(opens)
    count = int(use.sum())
    if count < FEWEST_FOR_SHIFT:
        why = f"it opens at {count} {scale.sites} and {FEWEST_FOR_SHIFT} are needed"
        return Shift(None, None, None, count, why)
    span = float(np.ptp(values[use]))
    if span < scale.least:
        why = f"the sites span {span:.3g} {scale.unit} and {scale.least:g} is needed"
        return Shift(None, None, None, count, why)
    order = np.argsort(values[use], kind="stable")
    steps = np.rint(values[use][order] * scale.fine).astype(np.int64)
    dates = opens[use][order]
    with np.errstate(divide="ignore", invalid="ignore"):
        slopes = pair_slopes(steps, dates)
    slopes = slopes[np.isfinite(slopes)] * scale.per * scale.fine  # equal heights say nothing
    low, high = slope_range(slopes, score_variance(dates))
    if low <= 0 <= high:
        why = f"the slopes between sites run from {low:+.1f} to {high:+.1f} days"
        return Shift(None, None, None, count, why)
    return Shift(float(np.median(slopes)), low, high, count, "")
