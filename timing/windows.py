"""Event rules → days on which a cut is safe → chance per day → windows.

A rule opens at one event and closes at another, each with an offset. In every season and
every draw of the model's error it gives one stretch of days; over seasons and draws that
gives, for every day of the year, the chance that the day is safe. Only seasons that the record
covers count, the last thirty unless told otherwise. A stretch that opens in autumn and closes
in spring closes with the next season's event; where the next season is not on record the
season's own spring, a year on, stands in.

Two points are not events of the tree but limits of the site's autumn:

heavy_limit   the earlier of ten weeks before mean first frost and the last day from which a
              regrown flush (new buds, full size, hardening, in thermal time) would be mature by
              the early (10 %) date of leaf colour; where frost comes in fewer than half of the
              seasons the regrowth rule stands alone
light_limit   the earlier of six weeks before mean first frost and that early leaf-colour date

Every growing-season rule for heavy work is cut off at heavy_limit, whatever its file says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.drivers import Drivers
from timing.errors import DataError
from timing.events import SeasonEvents, reach
from timing.season import (
    CYCLE_DAYS,
    SEASON_DAYS,
    WINTER_SOLSTICE,
    Days,
    Floats,
    Ints,
    cycle_day,
    next_date,
    season_of,
    season_start,
)
from timing.site import Hemisphere
from timing.species.catalogue import common_rules
from timing.species.model import Condition, Point, Rule, WorkKind

ODDS_SEASONS = 30
FEWEST_SEASONS = 3
ENOUGH = 0.5  # share of seasons and draws in which an event must happen to have a usual date
FROST_MATTERS = 0.5  # share of seasons with frost from which the frost rule applies
EARLY = 0.1

# A rule that opens at one of the first and closes at one of the second runs into the next season.
AUTUMN_OPENINGS = {
    "flower_bud_set",
    "growth_stop",
    "leaf_colour",
    "season_end",
    "leaf_fall",
    "first_frost",
    "dormant",
}
SPRING_CLOSINGS = {"chill_met", "sap_rise", "sap_peak", "bud_break", "last_frost", "full_bloom"}


@dataclass(frozen=True)
class AutumnLimits:
    """The site's autumn limits for one taxon; offsets of the season.

    Parameters
    ----------
    frost_share : share of seasons with a first frost.
    mean_first_frost : mean over those seasons; NaN where frost does not matter.
    early_colour : 10 % date of leaf colour over seasons and draws.
    frost_limit : ten weeks before mean first frost, or NaN.
    regrowth_limit : array (seasons, 1), last day from which regrowth matures, or NaN.
    heavy, light : arrays (seasons, 1).
    """

    frost_share: float
    mean_first_frost: float
    early_colour: float
    frost_limit: float
    regrowth_limit: Floats
    heavy: Floats
    light: Floats


@dataclass(frozen=True)
class RuleStretches:
    """One rule laid out over seasons and draws, as absolute days since 1970-01-01.

    ``opens`` and ``closes`` (seasons, draws) bound the safe days, both included; NaN or
    ``closes < opens`` where the rule gives none.
    """

    rule: Rule
    opens: Floats
    closes: Floats


@dataclass(frozen=True)
class Window:
    """A run of days at or above a chance, both ends included."""

    opens: np.datetime64
    closes: np.datetime64
    chance_min: float
    season: int


@dataclass(frozen=True)
class WorkOdds:
    """Chance that one kind of work is safe, for every cycle day.

    Parameters
    ----------
    kind : heavy, light or outline.
    chance : array (365,), by cycle day (0 = 1 March).
    seasons : how many seasons the odds rest on.
    rules : the rules laid out, over those seasons.
    limits : the site's autumn limits.
    """

    kind: WorkKind
    chance: Floats
    seasons: int
    rules: tuple[RuleStretches, ...]
    limits: AutumnLimits

    def on(self, day: np.datetime64) -> float:
        """Chance on a date."""
        return float(self.chance[int(cycle_day(np.asarray(day)))])

    def in_force(self, day: np.datetime64) -> tuple[RuleStretches, ...]:
        """Rules that make the day safe in at least one case of twenty."""
        cycle = int(cycle_day(np.asarray(day)))
        return tuple(s for s in self.rules if _chance((s,))[cycle] >= 0.05)

    def windows(
        self, level: float, not_before: np.datetime64, hemisphere: Hemisphere
    ) -> tuple[Window, ...]:
        """Runs of days at or above ``level``, each once: the running or the next occurrence."""
        return tuple(
            sorted(
                (
                    _window(self.chance, run, not_before, hemisphere)
                    for run in runs_at(self.chance, level)
                ),
                key=lambda window: window.opens,
            )
        )

    def best_day(self, not_before: np.datetime64) -> tuple[np.datetime64, float] | None:
        """The next day with the highest chance, or None where no day is ever safe."""
        top = float(self.chance.max())
        if top <= 0:
            return None
        days = np.flatnonzero(self.chance >= top - 1e-9)
        return min(next_date(int(day), not_before) for day in days), top


def work_odds(
    events: SeasonEvents,
    kind: WorkKind,
    *,
    condition: Condition = "established",
    seasons: int | None = ODDS_SEASONS,
) -> WorkOdds:
    """Odds of one kind of work for the taxon and site of ``events``.

    Parameters
    ----------
    events : events of every season of the record.
    kind : heavy, light or outline.
    condition : rules that ask for a vigorous tree count only for one.
    seasons : how many of the last covered seasons to use; None for all.

    Raises
    ------
    DataError : fewer than three seasons can be used.
    """
    used = np.flatnonzero(events.drivers.covered)
    if used.size < FEWEST_SEASONS:
        raise DataError(
            f"{events.drivers.site.name}: the record covers {used.size} complete seasons and at "
            f"least {FEWEST_SEASONS} are needed; a season runs sixteen months from the autumn "
            "before its spring"
        )
    used = used[-seasons:] if seasons else used
    limits = autumn_limits(events)
    rules = []
    for rule in events.species.work[kind]:
        if condition == "vigorous" or all(need.name != "vigorous" for need in rule.only_if):
            whole = _stretch(rule, kind, events, limits)
            rules.append(RuleStretches(rule, whole.opens[used], whole.closes[used]))
    return WorkOdds(kind, _chance(tuple(rules)), int(used.size), tuple(rules), limits)


def autumn_limits(events: SeasonEvents) -> AutumnLimits:
    """Heavy and light limits of the site's autumn for the taxon (see the module docstring)."""
    drivers, common = events.drivers, common_rules()
    covered = drivers.covered
    frost = events.days["first_frost"][:, 0]
    known = covered & (~np.isnan(frost) | ~np.isnan(drivers.frost_tmin_c[:, -1]))
    frost_share = float(np.mean(~np.isnan(frost[known]))) if known.any() else 0.0
    matters = frost_share >= FROST_MATTERS
    mean_frost = float(np.nanmean(frost[known])) if matters else np.nan
    frost_limit = mean_frost - 7 * common.frost_lead_weeks["heavy"]

    colour = events.days.get("leaf_colour", events.days.get("season_end"))
    rows = len(drivers.years)
    if colour is None:  # tropical taxa: their rules close with the warm season
        endless = np.full((rows, 1), np.inf)
        return AutumnLimits(
            frost_share,
            mean_frost,
            np.nan,
            frost_limit,
            endless,
            np.fmin(endless, frost_limit),
            np.fmin(endless, mean_frost - 42),
        )
    happens = ~np.isnan(colour[covered])
    early = np.nan  # an autumn that is rarely cool enough has no date to be ripe by
    if happens.mean() > ENOUGH:
        late = np.where(happens, colour[covered], float(SEASON_DAYS))
        early = float(np.quantile(late, EARLY, method="median_unbiased"))
    regrowth = _regrowth_limit(events, early, common.new_buds_degree_days)
    return AutumnLimits(
        frost_share=frost_share,
        mean_first_frost=mean_frost,
        early_colour=early,
        frost_limit=frost_limit,
        regrowth_limit=regrowth,
        heavy=np.fmin(regrowth, frost_limit),
        light=np.full((rows, 1), np.fmin(early, mean_frost - 7 * common.frost_lead_weeks["light"])),
    )


def _regrowth_limit(events: SeasonEvents, early_colour: float, new_buds: float) -> Floats:
    """Last day of each season from which a regrown flush is mature by ``early_colour``."""
    sums = events.drivers.growth_sum
    models = events.species.events
    if np.isnan(early_colour):
        return np.full((len(sums), 1), np.nan)
    full_size = int(
        np.clip(early_colour - models["flush_hardened"].requirement, 0, SEASON_DAYS - 1)
    )
    needed = new_buds + models["leaf_full_size"].requirement
    return reach(sums, sums[:, full_size : full_size + 1] - needed)


def _stretch(
    rule: Rule, kind: WorkKind, events: SeasonEvents, limits: AutumnLimits
) -> RuleStretches:
    drivers = events.drivers
    start = _day_numbers(drivers.starts)
    opens = start + _offsets(rule.opens, events, limits)
    closing = _offsets(rule.closes, events, limits)
    if rule.opens.event in AUTUMN_OPENINGS and rule.closes.event in SPRING_CLOSINGS:
        hemisphere = drivers.site.hemisphere
        next_starts = np.array([season_start(int(y) + 1, hemisphere) for y in drivers.years])
        closes = _day_numbers(next_starts) + closing[_next_season(drivers)]
    else:
        closes = start + closing
        if capped_at_heavy_limit(rule, kind):
            closes = np.minimum(closes, start + limits.heavy)
    opens = np.where(opens == -np.inf, start + WINTER_SOLSTICE, opens)
    closes = np.where(closes == np.inf, opens + CYCLE_DAYS - 1, closes)
    return RuleStretches(rule, np.ceil(opens), np.floor(closes))


def capped_at_heavy_limit(rule: Rule, kind: WorkKind) -> bool:
    """Whether a rule is growing-season heavy work, which ends at heavy_limit at the latest."""
    return kind == "heavy" and rule.opens.event not in AUTUMN_OPENINGS


def _day_numbers(starts: Days) -> Floats:
    """Days since 1970-01-01 as a column."""
    return starts.astype(np.int64)[:, None].astype(float)


def _next_season(drivers: Drivers) -> Ints:
    """Row of the following season, or the season's own row where that one is not covered."""
    usable = {
        int(year): row
        for row, (year, covered) in enumerate(
            zip(drivers.years, drivers.spring_covered, strict=True)
        )
        if covered
    }
    return np.array(
        [usable.get(int(year) + 1, row) for row, year in enumerate(drivers.years)], dtype=np.int64
    )


def _offsets(point: Point, events: SeasonEvents, limits: AutumnLimits) -> Floats:
    if point.event == "heavy_limit":
        return limits.heavy + point.offset_days
    if point.event == "light_limit":
        return limits.light + point.offset_days
    if point.event == "first_frost":  # the site's mean, not each season's own
        return np.full((len(events.drivers.years), 1), limits.mean_first_frost + point.offset_days)
    days = events.days[point.event]
    if point.event == "last_frost":  # a season without frost is past it when buds swell
        frostless = np.isnan(days) & events.drivers.spring_covered[:, None]
        days = np.where(frostless, events.days.get("sap_rise", WINTER_SOLSTICE), days)
    return days + point.offset_days


def _chance(rules: tuple[RuleStretches, ...]) -> Floats:
    """Share of seasons × draws in which each cycle day lies in at least one stretch."""
    pieces: list[tuple[Ints, Ints]] = []
    for stretch in rules:
        opens, closes = np.broadcast_arrays(stretch.opens, stretch.closes)
        open_ = ~(np.isnan(opens) | np.isnan(closes)) & (closes >= opens)
        first = np.where(open_, opens, 0).astype(np.int64)
        last = np.where(open_, closes, -1).astype(np.int64)
        start, stop = cycle_day(first.astype("M8[D]")), cycle_day(last.astype("M8[D]")) + 1
        wraps = open_ & ((stop <= start) | (last - first >= CYCLE_DAYS - 1))
        full = open_ & (last - first >= CYCLE_DAYS - 1)
        start, stop = np.where(full, 0, start), np.where(full, CYCLE_DAYS, stop)
        wraps &= ~full
        end = np.where(wraps, CYCLE_DAYS, stop)
        pieces.append((np.where(open_, start, 0), np.where(open_, end, 0)))
        pieces.append((np.zeros_like(start), np.where(wraps, stop, 0)))
    if not pieces:
        return np.zeros(CYCLE_DAYS)
    starts, stops = _merge(pieces)
    cells = starts[..., 0].size
    change = np.bincount(starts.ravel(), minlength=CYCLE_DAYS + 1).astype(float)
    change -= np.bincount(stops.ravel(), minlength=CYCLE_DAYS + 1)
    return np.clip(np.cumsum(change)[:CYCLE_DAYS] / cells, 0.0, 1.0)


def _merge(pieces: list[tuple[Ints, Ints]]) -> tuple[Ints, Ints]:
    """Remove overlaps between the stretches of one season and draw (last axis: stretches)."""
    shape = np.broadcast_shapes(*(start.shape for start, _ in pieces))
    starts = np.stack([np.broadcast_to(start, shape) for start, _ in pieces], axis=-1)
    stops = np.stack([np.broadcast_to(stop, shape) for _, stop in pieces], axis=-1)
    order = np.argsort(starts, axis=-1, kind="stable")
    starts = np.take_along_axis(starts, order, axis=-1)
    stops = np.take_along_axis(stops, order, axis=-1)
    covered_to = np.maximum.accumulate(stops, axis=-1)
    starts[..., 1:] = np.maximum(starts[..., 1:], covered_to[..., :-1])
    return starts, np.maximum(stops, starts)


def runs_at(chance: Floats, level: float) -> list[tuple[int, int]]:
    """Runs (first cycle day, length) of a circular year at or above a chance."""
    above = chance >= level - 1e-9
    if above.all():
        return [(0, CYCLE_DAYS)]
    starts = np.flatnonzero(above & ~np.roll(above, 1))
    stops = np.flatnonzero(above & ~np.roll(above, -1))
    return [(int(a), int(min((b - a) % CYCLE_DAYS for b in stops)) + 1) for a in starts]


def _window(
    chance: Floats, run: tuple[int, int], not_before: np.datetime64, hemisphere: Hemisphere
) -> Window:
    first, length = run
    today = int(cycle_day(np.asarray(not_before)))
    if length == CYCLE_DAYS:
        opens = not_before
    else:
        since = (today - first) % CYCLE_DAYS
        opens = next_date(first, not_before - (since + 1 if since < length else 0))
        if since == 0:
            opens = not_before
    closes = (
        next_date((first + length - 1) % CYCLE_DAYS, opens)
        if length < CYCLE_DAYS
        else (opens + (CYCLE_DAYS - 1))
    )
    days = (first + np.arange(length)) % CYCLE_DAYS
    return Window(opens, closes, float(chance[days].min()), season_of(opens, hemisphere))


def wilson_range(chance: float, seasons: int) -> tuple[float, float]:
    """95 % sampling range of a share seen in a number of seasons (Wilson 1927, JASA 22:209).

    >>> [round(value, 4) for value in wilson_range(3 / 30, 30)]
    [0.0346, 0.2562]
    """
    z = 1.959963984540054
    centre = chance + z * z / (2 * seasons)
    half = z * np.sqrt(chance * (1 - chance) / seasons + z * z / (4 * seasons * seasons))
    scale = 1 + z * z / seasons
    low, high = (centre - half) / scale, (centre + half) / scale
    return float(min(max(0.0, low), chance)), float(max(min(1.0, high), chance))
