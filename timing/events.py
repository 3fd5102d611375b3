"""Season events of a taxon: when each happens, in every season, with its spread.

Every event has one operational definition (``docs/method.md`` gives the sources):

chill_met            chill since the season's start reaches the requirement
sap_rise             first sap movement after the winter solstice
sap_peak             middle of the strongest fortnight of sap movement before bud break
bud_break            half of the buds show leaf tips
full_bloom           the usual full-bloom stage of the taxon's published series
leaf_full_size       half of the leaves have 95 % of their final size
flush_hardened       leaves of the first flush firm and dark
growth_stop          extension over, buds set
leaf_colour, leaf_fall   half of the leaves coloured, half fallen
dormant              nine tenths of the leaves down and two weeks more
last_frost, first_frost  last and first day at or below 0 °C of the frost season

An event is an array of offsets (days since the season's first day) of shape
(seasons, draws); NaN means it does not happen, or not yet. Nominal dates come from the
drivers; the draws of `timing.draws` are added in days, and order is kept: bud break ≤ full
size ≤ hardened, colour ≤ fall ≤ dormant, sap rise ≤ bud break.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from timing.clocks import LEAFING, Clock
from timing.crossings import first_from, reach, sum_at
from timing.draws import DRAWS, standard_errors
from timing.drivers import Drivers
from timing.placing import placed
from timing.quantiles import quantiles
from timing.sap import first_movement, strongest_fortnight
from timing.season import (
    FIRST_JULY,
    SUMMER_SOLSTICE,
    WINTER_SOLSTICE,
    Floats,
)
from timing.species.model import EVENT_ORDER, EventModel, Species
from timing.warm_nights import WARM_NIGHT_C, warm_nights_begin, warm_nights_end

ENOUGH_CHILL = 0.5  # below this share of the requirement buds open erratically: no date given
AUTUMN_SHRINK = 0.4  # share of a season's modelled departure that is believed
SWELLING = 0.1  # share of the bud-break requirement at which buds begin to swell
ENDLESS_WARMTH = "nights stay warm all year"
COLD_FORTNIGHT_C = 5.0

# Filling 3 to 24 days of real seasons moved bud break, bloom, full leaves and leaf fall by 0.1 to
# 0.8 days times the square root of the days, bloom most (docs/validation.md).
MENDED_SPREAD = 0.5
SPRING_PHASE, AUTUMN_PHASE = 1, 2
MENDED_PHASE = {"cooling": AUTUMN_PHASE, "warm_end": AUTUMN_PHASE, "solstice": None, "lag": None}
# What an observed date earlier in the season adds to a later one, per day of departure: 0.37 from
# bud break to full leaves and 0.62 from colour to fall over 33 taxa at Harvard Forest (HF003).
CARRIED = {"leaf_full_size": ("bud_break", 0.37), "leaf_fall": ("leaf_colour", 0.62)}
SHARED_ERROR = {"leaf_colour": "autumn", "leaf_fall": "autumn", "season_end": "autumn"}


@dataclass
class SeasonEvents:
    """Events of one taxon at one site.

    Parameters
    ----------
    species, drivers : what they were computed from.
    days : event → array (seasons, draws) of offsets; NaN where it does not happen, −inf and
        +inf where warmth has no beginning or end.
    reasons : event → why it is absent, where that is known for the whole event.
    usual_autumn : event → mean offset of the cooling model over the covered seasons.
    """

    species: Species
    drivers: Drivers
    days: dict[str, Floats] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)
    usual_autumn: dict[str, float] = field(default_factory=dict)
    _quantiles: dict[tuple[str, tuple[float, ...]], tuple[Floats, Floats]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def why_absent(self, event: str) -> str:
        """Why an event has no date in a season that the record covers."""
        if np.isinf(self.days[event]).any():
            return ENDLESS_WARMTH
        model = self.species.events.get(event)
        waits_for = (model.after or "bud_break") if model else event
        missing = waits_for in self.days and np.isnan(self.days[waits_for]).mean() >= 0.5
        if waits_for != event and missing:
            return self.why_absent(waits_for)
        return self.reasons.get(event, "it does not happen here")

    def quantiles(self, event: str, shares: tuple[float, ...] = (0.1, 0.5, 0.9)) -> Floats:
        """Quantiles over the draws of each season, shape (shares, seasons).

        NaN where the event fails in at least half of the draws.
        """
        days = self.days[event]
        kept = self._quantiles.get((event, shares))
        if kept is not None and kept[0] is days:
            return kept[1].copy()
        known = ~np.isnan(days)
        result = np.full((len(shares), len(days)), np.nan)
        always = known.all(axis=1)
        sometimes = (known.mean(axis=1) > 0.5) & ~always
        if always.any():
            result[:, always] = quantiles(days[always], shares)
        for row in np.flatnonzero(sometimes):
            result[:, row] = quantiles(days[row, known[row]], shares)
        self._quantiles[event, shares] = days, result
        return result.copy()


def season_events(
    species: Species,
    drivers: Drivers,
    *,
    reference: SeasonEvents | None = None,
    seen: Mapping[str, Floats] | None = None,
) -> SeasonEvents:
    """Date every event of a taxon in every season of the drivers.

    Parameters
    ----------
    species, drivers : the taxon and the site's seasons.
    reference : events of the taxon in the site's past seasons, where the drivers do not show what
        is usual there (the running season): its taxon and its usual autumn are taken.
    seen : event → array (seasons,), observed offsets that replace the model's dates, NaN where
        nobody saw it. What follows is counted from them.
    """
    species = placed(species, drivers) if reference is None else reference.species
    events = SeasonEvents(species, drivers)
    if reference is not None:
        events.usual_autumn.update(reference.usual_autumn)
    context = _Context(species, drivers, events)
    for name in EVENT_ORDER:
        model = species.events.get(name)
        if model is not None:
            events.days[name] = _MODELS[model.model](context, model)
            if seen and name in seen:
                context.anchor(name, seen[name])
    _add_frosts(events)
    return events


@dataclass
class _Context:
    """What the event models of one taxon share."""

    species: Species
    drivers: Drivers
    events: SeasonEvents
    nominal_bud_break: Floats | None = None
    departures: dict[str, Floats] = field(default_factory=dict)

    @property
    def seasons(self) -> int:
        return len(self.drivers.years)

    def spread(self, model: EventModel, nominal: Floats) -> Floats:
        """Add the model's own error to nominal dates of shape (seasons, 1) or (seasons, draws)."""
        day: Floats = nominal + model.shift_days + self.error(model)
        earlier, share = CARRIED.get(model.name, ("", 0.0))
        return day + share * self.departures[earlier] if earlier in self.departures else day

    def error(self, model: EventModel) -> Floats:
        """The model's own error in every season and draw, the same for taxa of equal spreads."""
        stream = SHARED_ERROR.get(model.name, model.name)
        phase = MENDED_PHASE.get(model.model, SPRING_PHASE)
        key = (stream, phase, model.site_spread_days, model.spread_days)
        if key not in self.drivers.shared:
            site, season = standard_errors(stream, self.seasons)
            spread: Floats | float = model.spread_days
            if phase is not None:  # wider where days of the season were mended
                days = self.drivers.mended_days[:, phase : phase + 1]
                spread = np.hypot(model.spread_days, MENDED_SPREAD * np.sqrt(days))
            self.drivers.shared[key] = model.site_spread_days * site + spread * season
        return self.drivers.shared[key]

    def anchor(self, name: str, seen: Floats) -> None:
        """Replace an event's dates by observed ones where there are any."""
        days = self.events.days[name]
        known = ~np.isnan(seen)
        usual = self.events.quantiles(name, (0.5,))[0]
        self.departures[name] = np.nan_to_num(np.where(known, seen - usual, 0.0))[:, None]
        self.events.days[name] = np.where(known[:, None], seen[:, None], days)

    def effective_forcing(self, clock: Clock) -> Floats:
        """Running sum of the forcing the buds respond to, shape (seasons, days)."""
        return self.drivers.competent_sum(clock, self.chill_requirement)

    @property
    def chill_requirement(self) -> float:
        model = self.species.events.get("chill_met")
        return model.requirement if model else 0.0


def _column(values: float, rows: int) -> Floats:
    return np.full((rows, 1), float(values))


def _chill(context: _Context, model: EventModel) -> Floats:
    sums = context.drivers.chill_sum
    met = reach(sums, _column(model.requirement, context.seasons))
    met[~context.drivers.wintry] = np.nan
    context.events.reasons[model.name] = (
        f"the winter does not give {model.requirement:g} chill portions, or there is no winter"
    )
    return context.spread(model, met)


def _forcing(context: _Context, model: EventModel) -> Floats:
    sums = context.effective_forcing(model.forcing_clock)
    nominal = reach(sums, _column(model.requirement, context.seasons))
    needed = context.chill_requirement
    if needed > 0:
        chill = context.drivers.chill_sum
        late = np.minimum(np.nan_to_num(nominal, nan=0.0), chill.shape[1] - 1).astype(np.int64)
        reached = np.take_along_axis(chill, late, axis=1)
        nominal[reached < ENOUGH_CHILL * needed] = np.nan
    nominal[~context.drivers.wintry] = np.nan
    if model.name == "bud_break":
        context.nominal_bud_break = nominal
    context.events.reasons[model.name] = (
        "too little winter chill or too little heat: this taxon needs a real winter and a warm "
        "enough summer"
    )
    return context.spread(model, nominal)


def _growth(context: _Context, model: EventModel) -> Floats:
    bud_break = context.events.days["bud_break"]
    full = leafed(context.drivers, bud_break, np.full((context.seasons, 1), model.requirement))
    context.events.reasons[model.name] = "the leaves do not reach full size before the record ends"
    return np.maximum(context.spread(model, full), bud_break)


def leafed(drivers: Drivers, bud_break: Floats, requirements: Floats) -> Floats:
    """Day on which leafing days since mid March, or an earlier bud break, reach a requirement.

    Parameters
    ----------
    drivers : the seasons.
    bud_break : array (seasons, k) or (seasons, 1), offsets.
    requirements : array (seasons, k) or (seasons, 1).
    """
    start = np.minimum(bud_break, LEAFING.start)
    return reach(drivers.leafing_sum, sum_at(drivers.leafing_sum, start) + requirements)


def _lag(context: _Context, model: EventModel) -> Floats:
    after = context.events.days[model.after]
    return np.maximum(context.spread(model, after + model.requirement), after)


def _share(context: _Context, model: EventModel) -> Floats:
    whole = context.species.events[model.after]
    bud_break = context.events.days["bud_break"]
    if model.after == "bud_break":
        assert context.nominal_bud_break is not None
        part = reach(
            context.effective_forcing(whole.forcing_clock),
            _column(model.requirement * whole.requirement, context.seasons),
        )
        lead = context.nominal_bud_break - part
        return np.minimum(context.spread(model, bud_break - lead), bud_break)
    sums = context.drivers.growth_sum
    part = reach(sums, sum_at(sums, bud_break) + model.requirement * whole.growth_degree_days)
    return np.clip(context.spread(model, part), bud_break, context.events.days[model.after])


def _solstice(context: _Context, model: EventModel) -> Floats:
    day = context.spread(model, _column(SUMMER_SOLSTICE + model.requirement, context.seasons))
    day = np.maximum(day, context.events.days["bud_break"])  # NaN where no bud breaks
    unseen = np.isnan(context.drivers.tmin_c[:, SUMMER_SOLSTICE])
    day[unseen] = np.nan
    return day


def _cooling(context: _Context, model: EventModel) -> Floats:
    drivers = context.drivers
    modelled = reach(drivers.cooling_sum, _column(model.requirement, context.seasons))
    context.events.reasons[model.name] = "the autumn does not get cool enough before the year ends"
    if model.name not in context.events.usual_autumn:
        usual = modelled[drivers.covered & ~np.isnan(modelled[:, 0])]
        if usual.size == 0:
            return np.full((context.seasons, DRAWS), np.nan)
        context.events.usual_autumn[model.name] = float(usual.mean())
    mean = context.events.usual_autumn[model.name]
    day = context.spread(model, mean + AUTUMN_SHRINK * (modelled - mean))
    day[np.isnan(context.events.days["bud_break"])] = np.nan  # no leaves without a spring
    day[drivers.autumn_gappy] = np.nan
    if model.name == "leaf_fall":
        day = np.maximum(day, context.events.days["leaf_colour"])
    return day


def _sap_rise(context: _Context, model: EventModel) -> Floats:
    drivers = context.drivers
    whole = context.species.events["bud_break"]
    rise = reach(
        context.effective_forcing(whole.forcing_clock),
        _column(SWELLING * whole.requirement, context.seasons),
    )
    mechanism = context.species.bleeding.mechanism
    if mechanism != "none":
        half = reach(drivers.chill_sum, _column(context.chill_requirement / 2, context.seasons))
        half_chilled = np.fmax(half, float(WINTER_SOLSTICE))
        rise = np.fmin(rise, first_movement(drivers, mechanism, half_chilled))
    context.events.reasons[model.name] = "no bud break, so no sap rise that would lead to it"
    risen: Floats = np.maximum(context.spread(model, rise), WINTER_SOLSTICE)
    budding = context.events.days["bud_break"]
    still_closed = np.isnan(budding) & np.isnan(drivers.tmin_c[:, FIRST_JULY - 1 : FIRST_JULY])
    return np.minimum(risen, np.where(still_closed, np.inf, budding))


def _sap_peak(context: _Context, model: EventModel) -> Floats:
    mechanism = context.species.bleeding.mechanism
    reasons = context.events.reasons
    if mechanism == "none":
        reasons[model.name] = "no freezing nights and thawing days drive sap in this taxon"
        return np.full((context.seasons, DRAWS), np.nan)
    bud_break = context.events.days["bud_break"]
    if mechanism == "root_pressure":
        return np.minimum(context.spread(model, bud_break - 7.0), bud_break)
    reasons[model.name] = "no season of freezing nights and thawing days"
    first = context.events.quantiles("sap_rise", (0.5,))[0]
    last = context.events.quantiles("bud_break", (0.5,))[0]
    peak = context.spread(model, strongest_fortnight(context.drivers, first, last))
    return np.clip(peak, context.events.days["sap_rise"], bud_break)


def _cold_fortnight(context: _Context, model: EventModel) -> Floats:
    drivers = context.drivers
    cold = drivers.mean_of("tmean_c", 14, lambda: drivers.tmean_c) < COLD_FORTNIGHT_C
    context.events.reasons[model.name] = "no two weeks below 5 °C: the winter brings no dormancy"
    stop = context.events.days["growth_stop"]
    return np.maximum(context.spread(model, first_from(cold, stop + 14)), stop)


def _warm_start(context: _Context, model: EventModel) -> Floats:
    context.events.reasons[model.name] = (
        f"nights never stay at {WARM_NIGHT_C:g} °C or more for ten days: no outdoor growing season"
    )
    return context.spread(model, warm_nights_begin(context.drivers))


def _warm_end(context: _Context, model: EventModel) -> Floats:
    start = context.events.days["warm_start"]
    day, endless = warm_nights_end(context.drivers, start)
    context.events.reasons[model.name] = "there is no warm season that could end"
    return np.where(endless, np.inf, np.maximum(context.spread(model, day), start))


def _add_frosts(events: SeasonEvents) -> None:
    """Date the last and the first frost from the record alone, the same in every draw."""
    shared = events.drivers.shared
    for name, day in zip(("last_frost", "first_frost"), events.drivers.frosts, strict=True):
        if name not in shared:
            shared[name] = np.repeat(day[:, None], DRAWS, axis=1)
        events.days[name] = shared[name]
        events.reasons[name] = "no frost"


_MODELS: Mapping[str, Callable[[_Context, EventModel], Floats]] = {
    "chill": _chill,
    "forcing": _forcing,
    "growth": _growth,
    "lag": _lag,
    "share": _share,
    "solstice": _solstice,
    "cooling": _cooling,
    "sap_rise": _sap_rise,
    "sap_peak": _sap_peak,
    "cold_fortnight": _cold_fortnight,
    "warm_start": _warm_start,
    "warm_end": _warm_end,
}
