"""The daily matrices that drive every event: temperature, heat, chill and cooling by season.

One `Drivers` object is made for a site and shared by all taxa, so that each matrix is computed
once. Rows are seasons, columns are days of a season (see `timing.season`).

Units and constants
-------------------
forcing : see `timing.clocks`.
growth : degree days above 5 °C (single sine), for shoots that grow again after a cut.
leafing : 1 / (1 + exp(−0.3 (Tmax − 15))) a day, for the first leaves to reach full size.
chill : Dynamic-model portions (Fishman et al. 1987) since the season's first day.
cooling : degrees of daily mean below 15 °C, summed from the day after midsummer on which
    day length falls below 13.5 h (cooling degree days, after Dufrêne et al. 2005).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from timing.clocks import LEAFING, Clock
from timing.crossings import running_mean
from timing.daylength import day_length
from timing.same_day import leap_offsets, places
from timing.season import (
    FIRST_JULY,
    NEW_YEAR,
    SEASON_DAYS,
    SUMMER_SOLSTICE,
    Days,
    Floats,
    Ints,
    season_end,
    season_matrix,
    season_start,
    seasons_between,
)
from timing.site import Site
from timing.temperature import NEIGHBOUR, OBSERVED, TemperatureRecord
from timing.thermal.chill import chill_portions
from timing.thermal.degree_days import degree_days
from timing.thermal.hourly import hourly_temperatures

GROWTH_BASE_C = 5.0
COOLING_BASE_C = 15.0
UNCHILLED_COMPETENCE = 0.2  # share of the forcing that counts before any chill (from memory)
COOLING_DAY_LENGTH_H = 13.5
LEAST_SEASONAL_RANGE_C = 6.0  # between warmest and coldest month; less is no winter (from memory)
SINE_DAY = np.cos(np.pi * (np.arange(12) + 0.5) / 12)  # from the maximum to the minimum, and back
CHILL_DAYS = 290  # from the season's first day to mid June: no chill counts after that

MISSING_SPRING_DAYS = 25  # this many between 15 January and 1 July and a season is left out
MISSING_AUTUMN_DAYS = 40  # the same from 1 July on, for the events of the autumn
SPRING = slice(NEW_YEAR + 14, FIRST_JULY)
AUTUMN = slice(FIRST_JULY, SEASON_DAYS)
PHASES = (slice(0, NEW_YEAR + 14), SPRING, AUTUMN)
FROST_SEASON_DAYS = 365


@dataclass(frozen=True)
class Drivers:
    """Season-by-day matrices of one site.

    Parameters
    ----------
    site : where.
    years : array (seasons,), the season numbers.
    starts : array (seasons,), first date of each season.
    tmin_c, tmax_c : arrays (seasons, days), mended temperatures; NaN beyond the record [°C].
    frost_tmin_c : array (seasons, 365), minima of the frost season that ends each summer,
        from 1 July (29 December south) [°C].
    spring_covered, autumn_covered : arrays (seasons,), the half is covered well enough to date
        its events; a season counts in the odds when both are.
    autumn_gappy : array (seasons,), too many days from 1 July on were missing to trust them.
    mended_days : array (seasons, 3), missing days before 15 January, from then to 1 July and after
        it; they widen the error of the dates they touch.
    last : last day of the record.
    continued : the season under way with past remainders, by day and seasons (`timing.running`).
    shared : what several taxa ask for alike, by what it depends on; nobody writes into an array.
    """

    site: Site
    years: Ints
    starts: Days
    tmin_c: Floats
    tmax_c: Floats
    frost_tmin_c: Floats
    spring_covered: NDArray[np.bool_]
    autumn_covered: NDArray[np.bool_]
    autumn_gappy: NDArray[np.bool_]
    mended_days: Ints
    last: np.datetime64
    _forcing: dict[Clock, Floats] = field(default_factory=dict, repr=False, compare=False)
    _forcing_sums: dict[Clock, Floats] = field(default_factory=dict, repr=False, compare=False)
    continued: dict[tuple[np.datetime64, bytes], Drivers] = field(
        init=False, default_factory=dict, repr=False, compare=False
    )
    shared: dict[Hashable, Floats] = field(
        init=False, default_factory=dict, repr=False, compare=False
    )

    @property
    def mended(self) -> NDArray[np.bool_]:
        """Seasons of which some day was missing, shape (seasons,)."""
        some: NDArray[np.bool_] = self.mended_days.sum(axis=1) > 0
        return some

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Seasons that count in the odds, shape (seasons,)."""
        return self.spring_covered & self.autumn_covered

    @cached_property
    def following(self) -> Ints:
        """Row of the next season, or the season's own row where that one is not covered."""
        usable = {int(self.years[row]): row for row in np.flatnonzero(self.spring_covered)}
        rows = [usable.get(int(year) + 1, row) for row, year in enumerate(self.years)]
        return np.array(rows, dtype=np.int64)

    @cached_property
    def following_starts(self) -> Days:
        """First date of the season after each, shape (seasons,)."""
        hemisphere = self.site.hemisphere
        return np.array([season_start(int(y) + 1, hemisphere) for y in self.years], dtype="M8[D]")

    @cached_property
    def frosts(self) -> tuple[Floats, Floats]:
        """Last and first frost of each season, offsets of shape (seasons,); NaN where none.

        The last day at or below 0 °C before 1 July, and the first one from then on.
        """
        spring = self.tmin_c[:, :FIRST_JULY] <= 0
        last = FIRST_JULY - 1.0 - np.argmax(spring[:, ::-1], axis=1)
        last[~spring.any(axis=1) | np.isnan(self.tmin_c[:, FIRST_JULY - 1])] = np.nan
        autumn = self.frost_tmin_c <= 0
        first = FIRST_JULY + np.argmax(autumn, axis=1).astype(float)
        first[~autumn.any(axis=1)] = np.nan
        return last, first

    @cached_property
    def usual_first_frost(self) -> tuple[float, float]:
        """Share of the covered seasons with a first frost, and its mean place; NaN where none.

        Places count the days of a season without 29 February (`timing.same_day`).
        """
        frost = places(self.frosts[1], leap_offsets(self.starts))
        known = self.covered & (~np.isnan(frost) | ~np.isnan(self.frost_tmin_c[:, -1]))
        share = float(np.mean(~np.isnan(frost[known]))) if known.any() else 0.0
        return share, float(np.nanmean(frost[known])) if share > 0 else np.nan

    @cached_property
    def tmean_c(self) -> Floats:
        """Mean of the daily extremes [°C]."""
        return (self.tmin_c + self.tmax_c) / 2

    @cached_property
    def day_length_h(self) -> Floats:
        """Day length of every cell [h]."""
        return day_length(self.starts[:, None] + np.arange(SEASON_DAYS), self.site.latitude)

    @cached_property
    def wintry(self) -> NDArray[np.bool_]:
        """Seasons with a winter, (seasons,): warmest and coldest month differ by 6 °C or more.

        True where a season is not whole yet.
        """
        total = np.cumsum(self.tmean_c[:, : SEASON_DAYS - 2], axis=1)  # every season has these
        month = (total[:, 30:] - total[:, :-30]) / 30
        spread: Floats = month.max(axis=1) - month.min(axis=1)
        return ~(spread < LEAST_SEASONAL_RANGE_C)

    def forcing(self, clock: Clock) -> Floats:
        """Daily forcing of a clock, zero before its start, shape (seasons, days)."""
        if clock not in self._forcing:
            if clock.temperature == "sine":
                middle, half = self.tmean_c, (self.tmax_c - self.tmin_c) / 2
                rate = np.zeros_like(middle)
                for swing in SINE_DAY:
                    rate += _rate(middle + swing * half, clock) / len(SINE_DAY)
            else:
                rate = _rate(self.tmax_c, clock)
            rate = rate * (self.day_length_h / 12) ** clock.exponent
            rate[:, : clock.start] = 0.0
            self._forcing[clock] = rate
        return self._forcing[clock]

    def forcing_sum(self, clock: Clock) -> Floats:
        """Forcing of a clock summed since its start, shape (seasons, days)."""
        if clock not in self._forcing_sums:
            self._forcing_sums[clock] = np.cumsum(self.forcing(clock), axis=1)
        return self._forcing_sums[clock]

    def competent_sum(self, clock: Clock, chill: float) -> Floats:
        """Running sum of the forcing that buds with a chill requirement respond to.

        Before the requirement is met only a share of the forcing counts, rising in step with
        the chill (the parallel model: Landsberg 1974; Kramer 1994).

        Parameters
        ----------
        clock : the clock, from its start on.
        chill : portions required; 0 for buds that need none.

        Returns
        -------
        array (seasons, days), shared by all taxa alike in both; do not write to it.
        """
        if (clock, chill) not in self.shared:
            forcing = self.forcing(clock)
            if chill > 0:
                share = np.minimum(self.chill_sum / chill, 1.0)
                competence = np.empty_like(forcing)
                competence[:, : share.shape[1]] = share
                competence[:, share.shape[1] :] = share[:, -1:]
                forcing = forcing * (UNCHILLED_COMPETENCE + (1 - UNCHILLED_COMPETENCE) * competence)
            self.shared[clock, chill] = np.cumsum(forcing, axis=1)
        return self.shared[clock, chill]

    def mean_of(self, name: str, days: int, daily: Callable[[], Floats]) -> Floats:
        """Running mean of a daily series that several taxa ask for; do not write to it."""
        if (name, days) not in self.shared:
            self.shared[name, days] = running_mean(daily(), days)
        return self.shared[name, days]

    def row_of(self, year: int) -> int | None:
        """Row of a season, or None where there is no such season."""
        rows = np.flatnonzero(self.years == year)
        return int(rows[0]) if rows.size else None

    @cached_property
    def growth_sum(self) -> Floats:
        """Degree days above 5 °C summed since the season's first day [°C·d]."""
        return np.cumsum(degree_days(self.tmin_c, self.tmax_c, GROWTH_BASE_C), axis=1)

    @cached_property
    def leafing_sum(self) -> Floats:
        """Leafing days summed since the season's first day."""
        return np.cumsum(_rate(self.tmax_c, LEAFING), axis=1)

    @cached_property
    def chill_sum(self) -> Floats:
        """Dynamic-model portions since the season's first day, at the end of each day."""
        spring = self.tmin_c[:, :CHILL_DAYS], self.tmax_c[:, :CHILL_DAYS]
        alike = len(self.years) > 1 and all(bool((c == c[0]).all()) for c in spring)
        rows = slice(1) if alike else slice(None)  # a running season repeats one winter
        portions = _portions(*(values[rows] for values in (*spring, self.day_length_h)))
        return np.repeat(portions, len(self.years), axis=0) if alike else portions

    @cached_property
    def cooling_sum(self) -> Floats:
        """Cooling degree days summed since the days began to shorten below 13.5 h [°C·d]."""
        cooling = np.maximum(COOLING_BASE_C - self.tmean_c, 0.0)
        cooling[self.day_length_h >= COOLING_DAY_LENGTH_H] = 0.0
        cooling[:, :SUMMER_SOLSTICE] = 0.0
        return np.cumsum(cooling, axis=1)

    def select(self, rows: NDArray[np.bool_] | Ints) -> Drivers:
        """The same matrices for some of the seasons."""
        return Drivers(
            self.site,
            self.years[rows],
            self.starts[rows],
            self.tmin_c[rows],
            self.tmax_c[rows],
            self.frost_tmin_c[rows],
            self.spring_covered[rows],
            self.autumn_covered[rows],
            self.autumn_gappy[rows],
            self.mended_days[rows],
            self.last,
        )


def build_drivers(record: TemperatureRecord, site: Site) -> Drivers:
    """Lay a record out by season.

    Spring is covered when the record begins before the season, no day up to 1 July is left open
    and fewer than 25 days from 15 January on were missing; autumn when the record lasts to the
    season's end, no day is left open and fewer than 40 days were missing. Days filled from a
    neighbour do not count as missing here; they widen the error as all mended days do.
    """
    years = np.array(seasons_between(record.first, record.last, site.hemisphere), dtype=np.int64)
    starts = np.array([season_start(int(y), site.hemisphere) for y in years], dtype="M8[D]")
    ends = np.array([season_end(int(y), site.hemisphere) for y in years], dtype="M8[D]")
    tmin = season_matrix(record.tmin_c, record.first, starts, SEASON_DAYS)
    tmax = season_matrix(record.tmax_c, record.first, starts, SEASON_DAYS)
    frost_tmin = season_matrix(record.tmin_c, record.first, starts + FIRST_JULY, FROST_SEASON_DAYS)
    missing = record.state != OBSERVED
    gap, lost = (
        season_matrix(days.astype(float), record.first, starts, SEASON_DAYS)
        for days in (missing, missing & (record.state != NEIGHBOUR))
    )
    days = np.arange(SEASON_DAYS)
    inside = days < ((ends - starts).astype(np.int64) + 1)[:, None]
    open_day = np.isnan(tmin) & inside
    spring_covered = ~open_day[:, :FIRST_JULY].any(axis=1) & (
        np.nansum(lost[:, SPRING], axis=1) < MISSING_SPRING_DAYS
    )
    autumn_gappy = np.nansum(lost[:, AUTUMN], axis=1) >= MISSING_AUTUMN_DAYS
    autumn_covered = ~open_day[:, AUTUMN].any(axis=1) & ~autumn_gappy
    return Drivers(
        site,
        years,
        starts,
        tmin,
        tmax,
        frost_tmin,
        spring_covered,
        autumn_covered,
        autumn_gappy,
        np.stack([np.nansum(gap[:, part], axis=1) for part in PHASES], axis=1).astype(np.int64),
        record.last,
    )


def count_chill(sites: Sequence[Drivers]) -> None:
    """Count the chill of several sites at once, which is quicker than each by itself.

    Every site's `Drivers.chill_sum` holds afterwards what it would have counted, to the bit.
    """
    if not sites:
        return
    stacked = (
        np.concatenate([getattr(site, name)[:, :CHILL_DAYS] for site in sites])
        for name in ("tmin_c", "tmax_c", "day_length_h")
    )
    portions = _portions(*stacked)
    ends = np.cumsum([len(site.years) for site in sites])
    for site, rows in zip(sites, np.split(portions, ends[:-1]), strict=True):
        site.__dict__["chill_sum"] = rows  # where a cached property keeps its value


def _portions(tmin_c: Floats, tmax_c: Floats, day_length_h: Floats) -> Floats:
    """Chill portions at the end of each of the first days of seasons, (seasons, 290)."""
    spring = (values[:, :CHILL_DAYS] for values in (tmin_c, tmax_c, day_length_h))
    hours = hourly_temperatures(*spring)
    return np.ascontiguousarray(chill_portions(hours.reshape(len(hours), -1))[:, 23::24])


def _rate(temperature_c: Floats, clock: Clock) -> Floats:
    """Sigmoid of temperature, or degrees above the base where the clock has no slope."""
    above = temperature_c - clock.midpoint_c
    if clock.slope == 0:
        return np.maximum(above, 0.0)
    rate: Floats = 1 / (1 + np.exp(-clock.slope * above))
    return rate
