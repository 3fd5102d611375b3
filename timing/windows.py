"""Event rules → days on which a cut is safe → chance per day → windows.

A rule opens at one event and closes at another, each with an offset. In every season and
every draw of the model's error it gives one stretch of days (`timing.stretches`); over seasons
and draws that gives, for every day of the year, the chance that the day is safe. Only seasons
that the record covers count, the last thirty unless told otherwise. The days of the running
season take their chance from its own record so far (`timing.running`). Closed seasons of the
hazards that a grower names are taken out of the stretches first (`timing.hazards`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from timing.errors import DataError
from timing.events import SeasonEvents
from timing.hazards import Closure, closures, left_out, opened
from timing.limits import AutumnLimits, autumn_limits
from timing.season import CYCLE_DAYS, Days, Floats, Ints, cycle_day, season_of
from timing.site import Hemisphere
from timing.species.model import Condition, Hazard, Rule, WorkKind
from timing.stretches import RuleStretches, chance_of_days, chance_of_year, stretch

ODDS_SEASONS = 30
FEWEST_SEASONS = 3
ENOUGH_SEASONS = 10  # below it one more is counted, in which no day was safe (our own)
MARGINAL = 0.5  # from here up to the confidence a day is marginal
IN_FORCE = 0.05
MAY = 120  # days from New Year


@dataclass(frozen=True)
class Window:
    """A run of days at or above a chance, both ends included.

    ``rule`` names the rule that gives most of its days (`WorkOdds.rule_names`); only calendars fill
    it in.
    """

    opens: np.datetime64
    closes: np.datetime64
    chance_min: float
    season: int
    rule: str = ""


@dataclass(frozen=True)
class RunningYear:
    """Chances of the days of the running season, from ``first`` on, and their stretches.

    They run from before one winter solstice to past the next (`timing.running.running_odds`).
    ``closed`` are the closed seasons, already taken out of the chances and the stretches.
    """

    first: np.datetime64
    chance: Floats
    rules: tuple[tuple[RuleStretches, ...], ...]
    closed: tuple[Closure, ...] = ()


@dataclass(frozen=True)
class WorkOdds:
    """Chance that one kind of work is safe, for every day.

    Parameters
    ----------
    kind : heavy, light or outline.
    chance : array (365,), by cycle day (0 = 1 March), from past seasons.
    seasons : how many seasons the odds rest on.
    rules : the rules laid out, over those seasons.
    limits : the site's autumn limits.
    closed : closed seasons of hazards; the chances count them, ``rules`` do not.
    running : the running season, whose days take their chance from its record so far.
    """

    kind: WorkKind
    chance: Floats
    seasons: int
    rules: tuple[RuleStretches, ...]
    limits: AutumnLimits
    closed: tuple[Closure, ...] = ()
    running: RunningYear | None = None

    def at(self, days: Days) -> Floats:
        """Chance of each date of an array."""
        chance = self.chance[cycle_day(days)]
        if self.running is not None:
            index = (days - self.running.first).astype(np.int64)
            inside = (index >= 0) & (index < len(self.running.chance))
            chance[inside] = self.running.chance[index[inside]]
        return chance

    def on(self, day: np.datetime64) -> float:
        """Chance on a date."""
        return float(self.at(day + np.arange(1))[0])

    def in_force(self, day: np.datetime64) -> tuple[Rule, ...]:
        """Rules that make the day safe in at least one case of twenty."""
        if self.running is not None:
            index = int((day - self.running.first).astype(np.int64))
            if 0 <= index < len(self.running.chance):
                return tuple(
                    laid[0].rule
                    for laid in self.running.rules
                    if chance_of_days(laid, day, 1)[0] >= IN_FORCE
                )
        cycle = int(cycle_day(np.asarray(day)))
        return tuple(
            laid.rule
            for laid in self.rules
            if chance_of_year(opened((laid,), self.closed))[cycle] >= IN_FORCE
        )

    def rule_names(self, days: Days, runs: Sequence[tuple[int, int]]) -> list[str]:
        """The rule of past seasons that gives most of the days of each run (first, after last).

        A name is made of the events that the rule opens and closes with and the year of its time
        that is nearest, so that a winter's two ends in one calendar year have two names. Years are
        parted in May, where the middle of no rule lies.
        """
        if not self.rules or not runs:
            return ["" for _ in runs]
        shares = np.stack([chance_of_year((laid,)) for laid in self.rules])
        around = np.exp(2j * np.pi * np.arange(CYCLE_DAYS) / CYCLE_DAYS)
        middles = np.angle(shares @ around) * CYCLE_DAYS / (2 * np.pi)  # cycle day, circular mean
        found = []
        for start, stop in runs:
            inside = days[start:stop]
            at = int(shares[:, cycle_day(inside)].sum(axis=1).argmax())
            middle = inside[len(inside) // 2]
            away = (int(cycle_day(np.asarray(middle))) - middles[at] + 182) % CYCLE_DAYS - 182
            year = str(middle - round(away) - MAY)[:4]
            rule = self.rules[at].rule
            found.append(f"{rule.opens.event}>{rule.closes.event} {year}")
        return found

    def windows(
        self, level: float, not_before: np.datetime64, hemisphere: Hemisphere
    ) -> tuple[Window, ...]:
        """Runs of days at or above ``level`` that are open on a day or open in the year after.

        A window that is open and will open again within the year stands there once.
        """
        days = not_before + np.arange(-CYCLE_DAYS, 2 * CYCLE_DAYS)
        chance = self.at(days)
        found: list[Window] = []
        for start, stop in runs_at(chance, level):
            first, last = days[start], days[stop - 1]
            if last < not_before or first >= not_before + CYCLE_DAYS:
                continue
            if stop - start >= CYCLE_DAYS and last >= not_before + CYCLE_DAYS - 1:
                first, last = not_before, not_before + (CYCLE_DAYS - 1)
            if any(first - CYCLE_DAYS <= w.closes and last - CYCLE_DAYS >= w.opens for w in found):
                continue
            found.append(
                Window(first, last, float(chance[start:stop].min()), season_of(first, hemisphere))
            )
        return tuple(found)

    def best_day(self, not_before: np.datetime64) -> tuple[np.datetime64, float] | None:
        """The next day with the highest chance, or None where no day is ever safe."""
        days = not_before + np.arange(CYCLE_DAYS)
        chance = self.at(days)
        top = float(chance.max())
        return (days[int(np.argmax(chance >= top - 1e-9))], top) if top > 0 else None


def work_odds(
    events: SeasonEvents,
    kind: WorkKind,
    *,
    condition: Condition = "established",
    seasons: int | None = ODDS_SEASONS,
    hazards: tuple[Hazard, ...] = (),
    limits: AutumnLimits | None = None,
) -> WorkOdds:
    """Odds of one kind of work for the taxon and site of ``events``, from past seasons.

    Parameters
    ----------
    events : events of every season of the record.
    kind : heavy, light or outline.
    condition : rules that ask for a vigorous tree count only for one.
    seasons : how many of the last covered seasons to use; None for all.
    hazards : hazards that occur at the site and concern the taxon.
    limits : what `autumn_limits` says of ``events``, where the caller knows it already.

    Raises
    ------
    DataError : fewer than three seasons can be used.
    """
    used = used_seasons(events, seasons)
    limits = limits or autumn_limits(events)
    rules = []
    for rule in rules_for(events, kind, condition, hazards):
        whole = stretch(rule, kind, events, limits)
        rules.append(RuleStretches(rule, whole.opens[used], whole.closes[used]))
    closed = tuple(closure.select(used) for closure in closures(hazards, kind, events))
    chance = chance_of_year(opened(tuple(rules), closed)) * highest_chance(int(used.size))
    return WorkOdds(kind, chance, int(used.size), tuple(rules), limits, closed)


def used_seasons(events: SeasonEvents, seasons: int | None = ODDS_SEASONS) -> Ints:
    """Rows of the last covered seasons."""
    used = np.flatnonzero(events.drivers.covered)
    if used.size < FEWEST_SEASONS:
        raise DataError(
            f"{events.drivers.site.name}: the record covers {used.size} complete seasons and at "
            f"least {FEWEST_SEASONS} are needed; a season runs sixteen months from the autumn "
            "before its spring"
        )
    return used[-seasons:] if seasons else used


def highest_chance(seasons: int) -> float:
    """The most that odds from a number of seasons may say; it multiplies every chance.

    The next season opens a window later than all n before it with chance 1 / (n + 1), whatever
    the law behind them. So below ten seasons one more is counted, in which no day was safe.

    >>> [highest_chance(count) for count in (3, 9, 10)]
    [0.75, 0.9, 1.0]
    """
    return 1.0 if seasons >= ENOUGH_SEASONS else seasons / (seasons + 1)


def rules_for(
    events: SeasonEvents,
    kind: WorkKind,
    condition: Condition,
    hazards: tuple[Hazard, ...] = (),
) -> tuple[Rule, ...]:
    """The taxon's rules that count for a tree in this condition where these hazards occur."""
    return tuple(
        rule
        for rule in events.species.work[kind]
        if condition == "vigorous" or all(need.name != "vigorous" for need in rule.only_if)
        if left_out(rule, hazards) is None
    )


def runs_at(chance: Floats, level: float) -> list[tuple[int, int]]:
    """Runs (first index, index after the last) of a series at or above a chance."""
    above = (chance >= level - 1e-9).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above, [0]))))
    return [(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]


def wilson_range(chance: float, seasons: int) -> tuple[float, float]:
    """95% sampling range of a share seen in a number of seasons (Wilson 1927, JASA 22:209).

    >>> [round(value, 4) for value in wilson_range(3 / 30, 30)]
    [0.0346, 0.2562]
    """
    z = 1.959963984540054
    centre = chance + z * z / (2 * seasons)
    half = z * np.sqrt(chance * (1 - chance) / seasons + z * z / (4 * seasons * seasons))
    scale = 1 + z * z / seasons
    low, high = (centre - half) / scale, (centre + half) / scale
    return float(min(max(0.0, low), chance)), float(max(min(1.0, high), chance))
