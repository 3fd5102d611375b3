"""Rules laid out over seasons and draws, and the chance of each day under them.

A stretch that opens in autumn and closes in spring closes with the next season's event; where
the next season is not on record the season's own spring, a year on, stands in. Every
growing-season rule for heavy work is cut off at heavy_limit, whatever its file says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.events import SeasonEvents
from timing.limits import AutumnLimits
from timing.season import (
    CYCLE_DAYS,
    WINTER_SOLSTICE,
    Days,
    Floats,
    Ints,
    cycle_day_of,
)
from timing.species.model import Point, Rule, WorkKind

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
class RuleStretches:
    """One rule laid out, as absolute days since 1970-01-01.

    ``opens`` and ``closes`` (seasons, draws) bound the safe days, both included; NaN or
    ``closes < opens`` where the rule gives none.
    """

    rule: Rule
    opens: Floats
    closes: Floats


def stretch(
    rule: Rule, kind: WorkKind, events: SeasonEvents, limits: AutumnLimits
) -> RuleStretches:
    """Lay one rule out over the seasons of ``events``."""
    drivers = events.drivers
    start = day_numbers(drivers.starts)
    opens = start + offsets(rule.opens, events, limits)
    if rule.not_before is not None:
        opens = np.maximum(opens, start + offsets(rule.not_before, events, limits))
    closing = offsets(rule.closes, events, limits)
    if crosses_winter(rule):
        closes = day_numbers(drivers.following_starts) + closing[drivers.following]
    else:
        closes = start + closing
    return bounded(rule, kind, opens, closes, start=start, limits=limits)


def bounded(
    rule: Rule,
    kind: WorkKind,
    opens: Floats,
    closes: Floats,
    *,
    start: Floats,
    limits: AutumnLimits,
) -> RuleStretches:
    """Cut a stretch at the heavy limit and give endless warmth a beginning and an end."""
    if capped_at_heavy_limit(rule, kind):
        closes = np.minimum(closes, start + limits.heavy)
    opens = np.where(opens == -np.inf, start + WINTER_SOLSTICE, opens)
    closes = np.where(closes == np.inf, opens + CYCLE_DAYS, closes)  # a leap year leaves no hole
    return RuleStretches(rule, np.ceil(opens), np.floor(closes))


def crosses_winter(rule: Rule) -> bool:
    """Whether a rule opens in one season and closes in the next."""
    return rule.opens.event in AUTUMN_OPENINGS and rule.closes.event in SPRING_CLOSINGS


def capped_at_heavy_limit(rule: Rule, kind: WorkKind) -> bool:
    """Whether a rule is growing-season heavy work, which ends at heavy_limit at the latest."""
    return kind == "heavy" and rule.opens.event not in AUTUMN_OPENINGS


def offsets(point: Point, events: SeasonEvents, limits: AutumnLimits) -> Floats:
    """Offsets of a point in every season (and draw) of ``events``."""
    if point.event == "heavy_limit":
        return limits.heavy + point.offset_days
    if point.event == "light_limit":
        return limits.light + point.offset_days
    if point.event == "first_frost":  # the site's mean, not each season's own
        return limits.first_frost(point.offset_days)
    days = events.days[point.event]
    if point.event == "last_frost":  # a season without frost is past it when buds swell
        frostless = np.isnan(days) & events.drivers.spring_covered[:, None]
        days = np.where(frostless, events.days.get("sap_rise", WINTER_SOLSTICE), days)
    return days + point.offset_days


def day_numbers(starts: Days) -> Floats:
    """Days since 1970-01-01 as a column."""
    return starts.astype(np.int64)[:, None].astype(float)


def chance_of_year(rules: tuple[RuleStretches, ...]) -> Floats:
    """Share of seasons × draws in which each cycle day lies in at least one stretch, (365,)."""
    pieces: list[tuple[Ints, Ints]] = []
    for rule in rules:
        opens, closes = np.broadcast_arrays(rule.opens, rule.closes)
        some = closes >= opens  # not where one of them is NaN
        first = np.where(some, opens, 0.0).astype(np.int64)
        last = np.where(some, closes, 0.0).astype(np.int64)
        start, stop = cycle_day_of(first), cycle_day_of(last) + 1
        whole = some & (last - first >= CYCLE_DAYS - 1)
        if whole.any():
            start, stop = np.where(whole, 0, start), np.where(whole, CYCLE_DAYS, stop)
        wraps = some & (stop <= start)
        if len(rules) == 1:  # nothing overlaps: count who is inside at New Year, comes and goes
            change = np.bincount(start[some], minlength=CYCLE_DAYS + 1)
            change -= np.bincount(stop[some], minlength=CYCLE_DAYS + 1)
            inside = np.count_nonzero(wraps) + np.cumsum(change)[:CYCLE_DAYS]
            chance: Floats = inside / some.size
            return chance
        pieces.append((start * some, np.where(wraps, CYCLE_DAYS, stop) * some))
        if wraps.any():
            pieces.append((np.zeros_like(start), stop * wraps))
    return _share_covered(pieces, CYCLE_DAYS)


def chance_of_days(rules: tuple[RuleStretches, ...], first: np.datetime64, days: int) -> Floats:
    """Share of seasons × draws in which each of ``days`` dates lies in a stretch, (days,)."""
    origin = int(first.astype("datetime64[D]").astype(np.int64))
    pieces: list[tuple[Ints, Ints]] = []
    for rule in rules:
        opens, closes = np.broadcast_arrays(rule.opens, rule.closes)
        some = ~(np.isnan(opens) | np.isnan(closes)) & (closes >= opens)
        start = np.clip(np.where(some, opens - origin, 0), 0, days).astype(np.int64)
        stop = np.clip(np.where(some, closes + 1 - origin, 0), 0, days).astype(np.int64)
        pieces.append((start, stop))
    return _share_covered(pieces, days)


def _share_covered(pieces: list[tuple[Ints, Ints]], days: int) -> Floats:
    """Share of cells whose stretches [start, stop) cover each of ``days`` days."""
    if not pieces:
        return np.zeros(days)
    shape = np.broadcast_shapes(*(start.shape for start, _ in pieces))
    ordered = [np.broadcast_to(start * (days + 1) + stop, shape) for start, stop in pieces]
    for end in range(len(ordered) - 1, 0, -1):  # by start; sorted cell by cell
        for at in range(end):
            pair = ordered[at], ordered[at + 1]
            ordered[at], ordered[at + 1] = np.minimum(*pair), np.maximum(*pair)
    change = np.zeros(days + 1, dtype=np.int64)
    reached = np.zeros(shape, dtype=np.int64)
    for piece in ordered:  # drop what an earlier stretch covers
        start, stop = np.divmod(piece, days + 1)
        start = np.maximum(start, reached)
        reached = np.maximum(stop, start)
        change += np.bincount(start.ravel(), minlength=days + 1)
        change -= np.bincount(reached.ravel(), minlength=days + 1)
    return np.clip(np.cumsum(change)[:days] / reached.size, 0.0, 1.0)
