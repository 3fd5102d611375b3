"""Whether sites belong into one calendar, and into which two groups they would part best.

A region's calendar calls a day safe only where it is safe at every site. `agreement` is what that
leaves: the days safe everywhere, as a share of the safe days of the average site, over all taxa and
kinds of work. Below one half the region is told to split. The best split is the one after which
the average site keeps the most days when each group has a calendar of its own. Up to twelve sites
every division into two groups is tried; beyond that the sites are cut in two along one trait, such
as height.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from timing.season import Floats, Ints

LEAST_AGREEMENT = 0.5
MOST_SITES_TRIED = 12

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Group:
    """Sites that would share a calendar.

    Parameters
    ----------
    sites : their numbers.
    days : days safe at all of them, a year, for the average kind of work that is safe anywhere.
    gained : how many of those are not safe in the whole region.
    """

    sites: tuple[int, ...]
    days: float
    gained: float


@dataclass(frozen=True)
class Division:
    """How well sites agree and how they would part.

    Parameters
    ----------
    days_everywhere, days_average : safe days a year at all sites, and at the average site, for
        the average kind of work of the taxa that is safe anywhere.
    agreement : the first as a share of the second; None where no day is safe at any site.
    groups : the two groups that would keep the most days; empty where no split gains a day.
    along : the trait the sites were cut along; empty where every division was tried.
    """

    days_everywhere: float
    days_average: float
    agreement: float | None
    groups: tuple[Group, ...]
    along: str

    @property
    def advised(self) -> bool:
        """Whether the region should be split."""
        return self.agreement is not None and self.agreement < LEAST_AGREEMENT and bool(self.groups)


def divide(safe: Bools, traits: Mapping[str, Floats]) -> Division:
    """Say how well sites agree, and find the two groups that part them best.

    Parameters
    ----------
    safe : array (sites, kinds of work, days), whether the day is safe.
    traits : name → array (sites,), what more than twelve sites are ordered by; a trait that is
        unknown (NaN) at any site is left out.
    """
    sites = len(safe)
    anywhere = max(int(safe.any(axis=(0, 2)).sum()), 1)
    everywhere = int(safe.all(axis=0).sum())
    average = float(safe.sum()) / sites
    if sites <= MOST_SITES_TRIED:
        best, along = _best_of_all(safe), ""
    else:
        best, along = _best_cut(safe, traits)
    groups = []
    for numbers in (np.flatnonzero(best), np.flatnonzero(~best)):
        if len(numbers):
            days = int(safe[numbers].all(axis=0).sum())
            group = tuple(int(number) for number in numbers)
            groups.append(Group(group, days / anywhere, (days - everywhere) / anywhere))
    helps = len(groups) == 2 and any(group.gained > 0 for group in groups)
    return Division(
        everywhere / anywhere,
        average / anywhere,
        everywhere / average if average else None,
        tuple(groups) if helps else (),
        along if helps else "",
    )


def _best_of_all(safe: Bools) -> Bools:
    """Members of one group of the best division; the first of equals, site 0 in that group."""
    sites = len(safe)
    weights = 1 << np.arange(sites)
    sets = np.tensordot(weights, safe.astype(np.int64), axes=1).ravel()  # who is safe, as bits
    days: Ints = np.bincount(sets, minlength=1 << sites)
    for weight in weights:  # days of a set and of every larger one
        without = np.flatnonzero((np.arange(1 << sites) & weight) == 0)
        days[without] += days[without | weight]
    size = np.array([number.bit_count() for number in range(1 << sites)])
    whole = (1 << sites) - 1
    members = np.arange(1, whole, 2)
    kept = size[members] * days[members] + size[whole ^ members] * days[whole ^ members]
    best: Bools = (members[int(np.argmax(kept))] & weights) > 0
    return best


def _best_cut(safe: Bools, traits: Mapping[str, Floats]) -> tuple[Bools, str]:
    """The same among cuts along each trait, between sites that differ in it."""
    sites = len(safe)
    found, along, most = np.ones(sites, dtype=bool), "", -1
    for name, values in traits.items():
        if np.isnan(values).any():
            continue
        order = np.argsort(values, kind="stable")
        below = _running_days(safe[order])
        above = _running_days(safe[order[::-1]])
        for count in range(1, sites):
            if values[order[count - 1]] == values[order[count]]:
                continue
            kept = count * below[count - 1] + (sites - count) * above[sites - count - 1]
            if kept > most:
                most, along = kept, name
                found = np.zeros(sites, dtype=bool)
                found[order[:count]] = True
    return found, along


def _running_days(safe: Bools) -> list[int]:
    """Days safe at the first site, at the first two, and so on."""
    together = np.ones(safe.shape[1:], dtype=bool)
    days = []
    for site in safe:
        together &= site
        days.append(int(together.sum()))
    return days
