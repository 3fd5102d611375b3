"""How far a season has come: its heat and chill beside all others on the same day.

heat    degree days above 5 °C since 1 January (1 July south) [°C·d]
chill   Dynamic-model portions since the season's first day

Two seasons are alike when these two curves run close together: the root mean square of their
difference in standard deviations of the seasons, day by day up to the day asked about (midsummer at
most), heat and chill weighing the same. Our own measure; days on which the seasons hardly differ
(standard deviation below 5 °C·d or 1 portion) do not count.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from timing.answers import Outlook
from timing.drivers import CHILL_DAYS, Drivers
from timing.same_day import by_place, date_at, leap_offsets, places
from timing.season import FIRST_JULY, NEW_YEAR, Floats, Ints

Measure = Literal["heat", "chill"]
SINCE: dict[Measure, int] = {"heat": NEW_YEAR, "chill": 0}
LAST: dict[Measure, int] = {"heat": FIRST_JULY - 1, "chill": CHILL_DAYS - 2}
HARDLY: dict[Measure, float] = {"heat": 5.0, "chill": 1.0}
MOST_ALIKE = 5


@dataclass(frozen=True)
class SoFar:
    """One running sum of a season beside the others on the same calendar days.

    Parameters
    ----------
    measure : heat or chill.
    start : first date of the season.
    since, until : places (`timing.same_day`) of the first day counted and of the day reached.
    season : array (days,), the season's sum from ``since`` on; NaN after ``until``.
    years : array (n,), the other seasons.
    others : array (n, days), theirs.
    """

    measure: Measure
    start: np.datetime64
    since: int
    until: int
    season: Floats
    years: Ints
    others: Floats

    @property
    def since_date(self) -> np.datetime64:
        """First day counted."""
        return date_at(self.since, self.start)

    @property
    def until_date(self) -> np.datetime64:
        """Day reached."""
        return date_at(self.until, self.start)

    @property
    def value(self) -> float:
        """Sum reached."""
        return float(self.season[self.until - self.since])

    @property
    def there(self) -> Floats:
        """What the others had reached on the same day, shape (n,)."""
        return self.others[:, self.until - self.since]

    @property
    def median(self) -> float:
        """Median of the others on the same day."""
        return float(np.median(self.there))

    @property
    def below(self) -> int:
        """How many of the others had less on the same day."""
        return int((self.there < self.value).sum())

    @property
    def percentile(self) -> float:
        """Share of the others with less, equal ones counting half [%]."""
        return 100 * float((self.there < self.value).mean() + (self.there == self.value).mean() / 2)

    def quantiles(self, shares: tuple[float, ...]) -> Floats:
        """Quantiles of the others, day by day, shape (shares, days)."""
        found: Floats = np.quantile(self.others, shares, axis=0)
        return found


@dataclass(frozen=True)
class Alike:
    """Seasons most like the one compared: numbers and distances [standard deviations]."""

    until: np.datetime64
    measures: tuple[Measure, ...]
    seasons: tuple[tuple[int, float], ...]


def place_reached(drivers: Drivers, row: int, on: np.datetime64) -> int:
    """Place of the last day known of a season: today, or the last day of the record."""
    offset = float((min(drivers.last, on) - drivers.starts[row]).astype(np.int64))
    return int(places(np.array([offset]), leap_offsets(drivers.starts[row : row + 1]))[0])


def season_so_far(view: Outlook, row: int, until: int, measure: Measure) -> SoFar | None:
    """Heat or chill of a season beside all others; None before it counts or where days are open.

    Parameters
    ----------
    view : any taxon's outlook at the site.
    row : the season.
    until : place of the day to compare on.
    measure : heat or chill.
    """
    since, until = SINCE[measure], min(until, LAST[measure]) if measure == "chill" else until
    if until < since:
        return None
    drivers = view.drivers
    sums = _sums(drivers, measure)
    end = max(until, LAST[measure]) + 1
    own = sums[row, since:end].copy()
    if is_running(view, row) and np.isnan(own[until - since]):  # past seasons bridge a gap
        assert view.running is not None
        own = np.median(_sums(view.running.drivers, measure), axis=0)[since:end]
    own[until + 1 - since :] = np.nan
    others = other_seasons(drivers, row) & np.isfinite(sums[:, end - 1])
    if np.isnan(own[until - since]) or not others.any():
        return None
    return SoFar(
        measure,
        drivers.starts[row],
        since,
        until,
        own,
        drivers.years[others],
        sums[others, since:end],
    )


def most_alike(sums: tuple[SoFar, ...]) -> Alike | None:
    """The seasons whose heat and chill ran closest: five at most, a third of the others at most."""
    parts, used = [], []
    for item in sums:
        last = min(item.until, LAST[item.measure]) + 1 - item.since
        spread = item.others[:, :last].std(axis=0, ddof=1) if len(item.years) > 2 else np.zeros(1)
        telling = np.flatnonzero(spread >= HARDLY[item.measure])
        if telling.size:
            away = (item.others[:, telling] - item.season[telling]) / spread[telling]
            parts.append((away**2).mean(axis=1))
            used.append(item)
    if not parts:
        return None  # nothing to tell them apart by: too early, or too few
    years = used[0].years
    for item in used[1:]:
        years = np.intersect1d(years, item.years)
    rows = [np.searchsorted(item.years, years) for item in used]
    distance = np.sqrt(np.mean([part[at] for part, at in zip(parts, rows, strict=True)], axis=0))
    nearest = np.argsort(distance, kind="stable")[: min(MOST_ALIKE, len(years) // 3)]
    if not nearest.size:
        return None
    until = max(min(item.until, FIRST_JULY - 1) for item in used)
    return Alike(
        date_at(until, used[0].start),
        tuple(item.measure for item in used),
        tuple((int(years[at]), float(distance[at])) for at in nearest),
    )


def other_seasons(drivers: Drivers, row: int) -> NDArray[np.bool_]:
    """Seasons whose spring the record covers, without the one compared, shape (seasons,)."""
    others = drivers.spring_covered.copy()
    others[row] = False
    return others


def is_running(view: Outlook, row: int) -> bool:
    """Whether a season is the one under way, continued by past remainders."""
    return view.running is not None and bool(
        view.running.drivers.years[0] == view.drivers.years[row]
    )


def _sums(drivers: Drivers, measure: Measure) -> Floats:
    sums = drivers.growth_sum if measure == "heat" else drivers.chill_sum
    by_day = by_place(sums, drivers.starts)
    first = SINCE[measure]
    return by_day - by_day[:, first - 1 : first] if first else by_day
