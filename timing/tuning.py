"""Adjust a species' requirements to dates observed at the site.

The error of an untuned date has three parts: one common to all taxa of the site (the same warm
wall), one of the taxon there, one of the season. Observations estimate the first two by
shrinkage (best linear unbiased prediction; Robinson 1991, Statist. Sci. 6:15), so that one
date moves the prediction a little, many move it almost all the way, and taxa nobody watched
follow their neighbours half-way. What is left of the uncertainty narrows accordingly, and the
season's spread is re-estimated from the residuals, leaning on the shipped one.

From eight seasons on the requirement is fitted to the dates themselves, as the most likely one
given the shift expected above and errors with long tails. With twenty or more dates of one event,
its forcing clock may change (the weight of day length, the start, degree days instead of the
sigmoid), when leaving one season out is at least 5% better for it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace

import numpy as np

from timing.clocks import Clock
from timing.crossings import reach
from timing.drivers import Drivers
from timing.events import leafed, season_events
from timing.intake.observations import Observation
from timing.observed_dates import Series, arrange
from timing.placing import placed
from timing.season import Floats
from timing.species.model import EVENT_ORDER, EventModel, Species

COMMON_SHARE = 0.5  # of the error constant at a site, the part all its taxa share (our own)
PRIOR_SEASONS = 2.0  # weight of the shipped season spread, in seasons (our own)
OWN_SEASONS = 8  # from this many on, the requirement is fitted to the dates themselves
STRUCTURE_SEASONS = 20
STRUCTURE_GAIN = 0.95
CANDIDATES = np.geomspace(0.4, 2.0, 162)  # shares of a requirement, 1% apart
MIDDLE_HALF = 0.6745  # standard deviations that hold half of the normal errors
NEVER = 400.0  # offset that stands for a date not reached
FINE = np.linspace(0.98, 1.02, 81)
REQUIREMENTS = 400  # between the lowest and the highest sum at an observed date


@dataclass(frozen=True)
class TunedEvent:
    """How well a tuned event fits the dates it was tuned to."""

    observations: int
    rmse_days: float


@dataclass(frozen=True)
class Tuning:
    """Species adjusted to a site.

    Parameters
    ----------
    species : slug → adjusted taxon, for every taxon wanted.
    fits : slug → event → fit, for those of them with observations.
    usable : the observations that can be used, those of the season under way among them.
    warnings : observations left out, and why.
    """

    species: dict[str, Species]
    fits: dict[str, dict[str, TunedEvent]]
    usable: tuple[Observation, ...]
    warnings: tuple[str, ...]


class Nominal:
    """Dates without the model's error, each computed once, for many tunings at one site."""

    def __init__(self, drivers: Drivers) -> None:
        self.drivers = drivers
        self._kept: dict[tuple[int, str], tuple[Species, Floats]] = {}
        self._placed: dict[int, tuple[Species, Species]] = {}

    def placed(self, taxon: Species) -> Species:
        """The taxon at the site, the same object every time."""
        if id(taxon) not in self._placed:
            self._placed[id(taxon)] = taxon, placed(taxon, self.drivers)
        return self._placed[id(taxon)][1]

    def dates(self, taxon: Species, event: str) -> Floats:
        """Dates of one event of a taxon at the site, (seasons,)."""
        taxon = self.placed(taxon)
        key = id(taxon), event  # the taxon is kept as well, so that its id stays its own
        if key not in self._kept:
            found = nominal_dates(self.drivers, taxon, taxon.events[event])
            self._kept[key] = taxon, found
        return self._kept[key][1]


def tune(
    drivers: Drivers,
    taxa: Iterable[Species],
    observed: Iterable[Observation],
    *,
    wanted: Collection[str] | None = None,
    nominal: Nominal | None = None,
) -> Tuning:
    """Adjust taxa to observations at the site.

    Parameters
    ----------
    drivers : the site's seasons.
    taxa : taxa wanted, and those observed, whose dates tell of the site.
    observed : dates; those outside the record, doubled or impossible are named and left out.
    wanted : slugs of the taxa wanted; all unless given.
    nominal : dates to share with other tunings at the site.
    """
    nominal = nominal or Nominal(drivers)
    species = {taxon.slug: nominal.placed(taxon) for taxon in taxa}
    wanted = species.keys() if wanted is None else wanted
    arranged = arrange(drivers, species, observed, nominal.dates)
    series = arranged.series
    fits: dict[str, dict[str, TunedEvent]] = {}
    for place, event in enumerate(EVENT_ORDER):
        watched = {slug: found[event] for slug, found in series.items() if event in found}
        if not watched:
            continue
        lines = {}
        asked = set(wanted)  # and taxa whose later dates rest on this one
        asked |= {slug for slug, found in series.items() if found.keys() & EVENT_ORDER[place + 1 :]}
        for slug, taxon in species.items():
            if event in taxon.events and (slug in watched or slug in asked):
                lines[slug] = _Line(nominal, taxon, taxon.events[event], watched.get(slug))
        common, common_variance = _common_error(list(lines.values()))
        for slug, line in lines.items():
            if slug not in asked:
                continue
            model, fit = line.posterior(common, common_variance)
            taxon = species[slug]
            species[slug] = replace(taxon, events={**taxon.events, event: model})
            if fit is not None:
                fits.setdefault(slug, {})[event] = fit
    wanted_taxa = {slug: species[slug] for slug in wanted}
    return Tuning(wanted_taxa, fits, arranged.usable, arranged.warnings)


class _Line:
    """One event of one taxon with its observations, if any."""

    def __init__(
        self, nominal: Nominal, taxon: Species, model: EventModel, dates: Series | None
    ) -> None:
        self.drivers = nominal.drivers
        self.taxon = taxon
        self.model = model
        self.dates = dates
        self.nominal = nominal.dates(taxon, model.name)
        self.own_variance = (1 - COMMON_SHARE) * model.site_spread_days**2
        self.residuals: Floats = np.empty(0)
        if dates is not None:
            self.residuals = dates.days - self.nominal[dates.rows]
            self.residuals = self.residuals[~np.isnan(self.residuals)]

    @property
    def mean_variance(self) -> float:
        """Variance of the mean residual around the error common to the site."""
        return self.own_variance + self.model.spread_days**2 / max(len(self.residuals), 1)

    def posterior(
        self, common: float, common_variance: float
    ) -> tuple[EventModel, TunedEvent | None]:
        """The model after the observations, and how well it fits them."""
        model = self.model
        count = len(self.residuals)
        if count == 0:
            spread = float(np.sqrt(self.own_variance + common_variance))
            return replace(self.moved(common), site_spread_days=spread), None
        weight = self.own_variance / self.mean_variance if self.mean_variance > 0 else 1.0
        shift = common + weight * (float(self.residuals.mean()) - common)
        season = model.spread_days
        variance = (1 - weight) * self.own_variance + (1 - weight) ** 2 * common_variance
        fitted = self.restructured() or self.fitted(common)
        moved = fitted or self.moved(shift)
        assert self.dates is not None
        left = self.dates.days - nominal_dates(self.drivers, self.taxon, moved)[self.dates.rows]
        left = left[~np.isnan(left)]
        away = left if fitted else left - left.mean()  # odd springs count, shrinkage does not
        squares = float(np.sum(away**2))  # one date alone tells nothing of the spread
        season = np.sqrt((PRIOR_SEASONS * season**2 + squares) / (PRIOR_SEASONS + count - 1))
        rmse = float(np.sqrt(np.mean(left**2)))
        tuned = replace(moved, spread_days=float(season), site_spread_days=float(np.sqrt(variance)))
        return tuned, TunedEvent(count, rmse)

    def restructured(self) -> EventModel | None:
        """The model with another clock, where a long series asks for it."""
        model, dates = self.model, self.dates
        if model.model != "forcing" or dates is None or len(dates.days) < STRUCTURE_SEASONS:
            return None
        usual = model.forcing_clock
        scores: dict[Clock, tuple[float, float]] = {}
        for clock in (usual, *usual.alternatives()):
            other = replace(model, clock=clock)
            scores[clock] = _left_out(self.drivers, other, dates)
        best = min(scores, key=lambda clock: scores[clock][0])
        if best == usual or scores[best][0] > STRUCTURE_GAIN * scores[usual][0]:
            return None
        return replace(model, clock=best, requirement=scores[best][1])

    def moved(self, shift: float) -> EventModel:
        """The model with its dates moved by ``shift`` days, in the currency of the model."""
        model = self.model
        if model.model not in ("forcing", "growth"):
            return replace(model, shift_days=model.shift_days + shift)
        rows = np.flatnonzero(self.drivers.covered)  # a few seasons do not stand for all
        wanted = self.nominal[rows] + shift

        def apart(dates: Floats) -> Floats:
            late: Floats = np.nanmean(dates[rows] - wanted[:, None], axis=0)
            return np.abs(late)

        return self.matched(apart)

    def matched(self, misfit: Callable[[Floats], Floats]) -> EventModel:
        """The model with the requirement of least misfit, given dates (seasons, requirements)."""
        model, found = self.model, self.model.requirement
        for shares in (CANDIDATES, FINE):
            requirements = found * shares
            dates = candidate_dates(self.drivers, self.taxon, model, requirements)
            scores = misfit(np.where(np.isnan(dates), NEVER, dates))
            found = float(requirements[_lowest(scores)])
        return replace(model, requirement=found)

    def fitted(self, common: float) -> EventModel | None:
        """The model most likely after the dates of many seasons, in which odd springs occur."""
        model, seen = self.model, self.dates
        if model.model not in ("forcing", "growth") or seen is None:
            return None
        if len(seen.rows) < OWN_SEASONS or self.own_variance == 0:
            return None

        def misfit(dates: Floats) -> Floats:
            in_seen = dates[seen.rows]
            shift = np.nanmean(in_seen - self.nominal[seen.rows][:, None], axis=0)
            prior = (shift - common) ** 2 / (2 * self.own_variance)
            errors = in_seen - seen.days[:, None]
            return np.asarray(prior + _surprise(errors, model.spread_days).sum(axis=0))

        return self.matched(misfit)


def _common_error(lines: list[_Line]) -> tuple[float, float]:
    """Error common to the taxa of the site, and what remains uncertain of it."""
    watched = [line for line in lines if len(line.residuals)]
    known = watched or lines  # no date where the seasons seen have none by the model
    prior = COMMON_SHARE * float(np.mean([line.model.site_spread_days**2 for line in known]))
    if prior == 0:
        return 0.0, 0.0
    precision = 1 / prior + sum(1 / line.mean_variance for line in watched)
    pull = sum(float(line.residuals.mean()) / line.mean_variance for line in watched)
    return pull / precision, 1 / precision


def nominal_dates(drivers: Drivers, taxon: Species, model: EventModel) -> Floats:
    """Dates of one event without the model's error, (seasons,)."""
    if model.model in ("forcing", "growth"):
        requirement = np.array([model.requirement])
        return candidate_dates(drivers, taxon, model, requirement)[:, 0] + model.shift_days
    bare = {
        name: replace(other, spread_days=0.0, site_spread_days=0.0)
        for name, other in taxon.events.items()
    }
    bare[model.name] = replace(model, spread_days=0.0, site_spread_days=0.0)
    days: Floats = season_events(replace(taxon, events=bare), drivers).days[model.name][:, 0]
    return days


def candidate_dates(
    drivers: Drivers, taxon: Species, model: EventModel, requirements: Floats
) -> Floats:
    """Dates that each of several requirements would give, (seasons, requirements)."""
    if model.model == "forcing":
        sums = drivers.forcing_sum(model.forcing_clock)
        return reach(sums, np.tile(requirements, (len(sums), 1)))
    bud_break = nominal_dates(drivers, taxon, taxon.events["bud_break"])[:, None]
    full = leafed(drivers, bud_break, np.tile(requirements, (len(bud_break), 1)))
    return np.maximum(full, bud_break)


def _left_out(drivers: Drivers, model: EventModel, dates: Series) -> tuple[float, float]:
    """Root mean square error leaving one season out, and the requirement without bias [days]."""
    sums = drivers.forcing_sum(model.forcing_clock)[dates.rows]
    at_date = sums[np.arange(len(sums)), dates.days.astype(np.int64)]
    requirements = np.linspace(at_date.min(), at_date.max(), REQUIREMENTS)
    predicted = reach(sums, np.tile(requirements, (len(sums), 1)))
    errors = np.where(np.isnan(predicted), NEVER, predicted) - dates.days[:, None]
    surprise = _surprise(errors, model.spread_days)
    total = surprise.sum(axis=0)
    held_out = [errors[row, _lowest(total - surprise[row])] for row in range(len(errors))]
    return float(np.sqrt(np.mean(np.square(held_out)))), float(requirements[_lowest(total)])


def _surprise(errors: Floats, spread_days: float) -> Floats:
    """Minus the log density of errors [days] of Cauchy's law whose middle half is the normal's.

    Its long tails let a spring that went another way than all others, or a slip of the pen, move
    the requirement little (robust fitting by long-tailed errors: Lange, Little & Taylor 1989).
    """
    surprise: Floats = np.log1p((errors / (MIDDLE_HALF * spread_days)) ** 2)
    return surprise


def _lowest(scores: Floats) -> int:
    """Index of the lowest score, the middle one of equals."""
    lowest = np.flatnonzero(scores <= scores.min() + 1e-9)
    return int(lowest[len(lowest) // 2])
