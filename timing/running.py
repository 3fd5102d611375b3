"""The running season: its record so far, and every past year's remainder.

What the record has decided stays; what is still open is taken, day by day, from each past
season in turn (conditional climatology; Day 1985, J. Water Resour. Plann. Manage. 111:157).
So the spread narrows as the season goes on.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from timing.drivers import FROST_SEASON_DAYS, Drivers
from timing.events import SeasonEvents, season_events
from timing.hazards import opened, running_closures
from timing.limits import AutumnLimits
from timing.season import (
    FIRST_JULY,
    WINTER_SOLSTICE,
    Floats,
    Ints,
    cycle_day,
    season_start,
    year_of,
)
from timing.site import Hemisphere
from timing.species.model import Hazard, Rule, WorkKind
from timing.stretches import (
    RuleStretches,
    bounded,
    chance_of_days,
    crosses_winter,
    day_numbers,
    offsets,
    stretch,
)
from timing.windows import RunningYear, highest_chance

RECENT_DAYS = 3  # a record that ends longer before the day is climatology only


def reaches(last: np.datetime64, on: np.datetime64) -> bool:
    """Whether a record that ends on ``last`` tells of a day, to within three days."""
    return bool(last >= on - RECENT_DAYS)


def running_year(day: np.datetime64, hemisphere: Hemisphere) -> int:
    """Season whose year, from winter solstice to winter solstice, holds a day."""
    year = year_of(day)
    for candidate in (year - 1, year, year + 1):
        first = season_start(candidate, hemisphere) + WINTER_SOLSTICE
        if first <= day < season_start(candidate + 1, hemisphere) + WINTER_SOLSTICE:
            return candidate
    raise AssertionError("solstice years leave no gap")


def splice(drivers: Drivers, used: Ints, on: np.datetime64) -> Drivers | None:
    """The running season once per past season: its record up to ``on``, then that season's.

    Parameters
    ----------
    drivers : seasons of the record, which ends on ``on`` or shortly before.
    used : rows of the past seasons to take the remainder from.
    on : today.

    Returns
    -------
    Drivers with one row per past season, or None where the record does not reach the day or
    holds too little of the season.
    """
    year = running_year(on, drivers.site.hemisphere)
    row = drivers.row_of(year)
    if row is None or not reaches(drivers.last, on):
        return None
    past = used[drivers.years[used] != year]
    key = on, past.tobytes()
    if key in drivers.continued:
        return drivers.continued[key]
    today = int((on - drivers.starts[row]).astype(np.int64))

    def spliced(values: Floats, elapsed: int) -> Floats:
        mixed: Floats = values[past].copy()
        seen = np.arange(values.shape[1]) <= elapsed
        seen &= ~np.isnan(values[row])
        mixed[:, seen] = values[row, seen]
        return mixed

    count = len(past)
    drivers.continued[key] = Drivers(
        site=drivers.site,
        years=np.full(count, year),
        starts=np.repeat(drivers.starts[row], count),
        tmin_c=spliced(drivers.tmin_c, today),
        tmax_c=spliced(drivers.tmax_c, today),
        frost_tmin_c=spliced(drivers.frost_tmin_c, min(today - FIRST_JULY, FROST_SEASON_DAYS)),
        spring_covered=np.ones(count, dtype=bool),
        autumn_covered=np.ones(count, dtype=bool),
        autumn_gappy=np.zeros(count, dtype=bool),
        mended_days=np.repeat(drivers.mended_days[row : row + 1], count, axis=0),
        last=drivers.last,
    )
    return drivers.continued[key]


def running_events(
    events: SeasonEvents,
    used: Ints,
    on: np.datetime64,
    observed: Mapping[str, Floats] | None = None,
) -> SeasonEvents | None:
    """Events of the running season under every past remainder; see `splice`.

    ``observed`` holds the dates somebody saw, by event, as offsets in the rows of ``events``.
    """
    drivers = splice(events.drivers, used, on)
    if drivers is None:
        return None
    row = events.drivers.row_of(int(drivers.years[0]))
    seen = {
        event: np.full(len(drivers.years), days[row]) for event, days in (observed or {}).items()
    }
    return season_events(events.species, drivers, reference=events, seen=seen)


def running_odds(
    rules: tuple[Rule, ...],
    kind: WorkKind,
    running: SeasonEvents,
    *,
    past: SeasonEvents,
    used: Ints,
    limits: AutumnLimits,
    usual: Floats,
    hazards: tuple[Hazard, ...] = (),
) -> RunningYear:
    """Chance of each day from the winter solstice before the running spring to the next, and of
    the days around them up to where past seasons say the same.

    At a solstice many a winter stretch is open. To change there from this season's chances to those
    of past seasons could part a window, so the change is made on the nearest day of the summer half
    or the winter on which it changes least.

    Parameters
    ----------
    rules : the rules that count.
    running : events of the running season (`running_events`).
    past : events of all seasons.
    used : rows of ``past`` that the remainders come from.
    limits : limits of the site's autumn over ``past``.
    usual : chance of each cycle day from past seasons.
    hazards : hazards that occur at the site and concern the taxon.
    """
    now = limits.in_seasons(running)
    drivers = running.drivers
    year, start = int(drivers.years[0]), day_numbers(drivers.starts[:1])
    remainders = used[past.drivers.years[used] != year]
    closed = running_closures(hazards, kind, running, past=past, remainders=remainders)
    known = np.flatnonzero((past.drivers.years == year - 1) & past.drivers.autumn_covered)
    laid: list[tuple[RuleStretches, ...]] = []
    for rule in rules:
        if not crosses_winter(rule):
            whole = stretch(rule, kind, past, limits)
            around = (
                stretch(rule, kind, running, now),
                _moved(whole, past, known if known.size else remainders, year - 1),
                _moved(whole, past, remainders, year + 1),
            )
            laid.append(opened(around, closed))
            continue
        opens = start + offsets(rule.opens, running, now)
        following = day_numbers(
            np.array([season_start(year + 1, drivers.site.hemisphere)], dtype="M8[D]")
        )
        closing = offsets(rule.closes, past, limits)[past.drivers.following][remainders]
        this_winter = bounded(rule, kind, opens, following + closing, start=start, limits=now)
        last_winter = _last_winter(
            rule, kind, running, past=past, remainders=remainders, limits=limits, now=now
        )
        laid.append(opened((this_winter, last_winter), closed))
    hemisphere = drivers.site.hemisphere
    solstice = drivers.starts[0] + WINTER_SOLSTICE
    next_solstice = season_start(year + 1, hemisphere) + WINTER_SOLSTICE
    first = season_start(year - 1, hemisphere) + FIRST_JULY
    last = season_start(year + 1, hemisphere) + FIRST_JULY
    days = np.arange(first, last)
    chance = chance_of_days(tuple(s for group in laid for s in group), first, len(days))
    chance *= highest_chance(int(used.size))
    begin, end = _seams(
        np.abs(chance - usual[cycle_day(days)]),
        int((solstice - first).astype(np.int64)),
        int((next_solstice - first).astype(np.int64)),
    )
    return RunningYear(
        first + begin, chance[begin:end], tuple(group for group in laid if group), closed
    )


def _seams(apart: Floats, solstice: int, next_solstice: int) -> tuple[int, int]:
    """First day of the running chances and the day after their last.

    ``apart`` is how far they lie from those of past seasons, day by day. Of equal seams those
    nearest to the solstices are taken.
    """
    step = np.round(np.maximum(apart[:-1], apart[1:]), 9)  # of a change between day i and i + 1
    before, after = step[:solstice], step[next_solstice - 1 :]
    begin = solstice - int(np.argmin(before[::-1]))
    return begin, next_solstice + int(np.argmin(after))


def _moved(whole: RuleStretches, past: SeasonEvents, rows: Ints, year: int) -> RuleStretches:
    """Stretches of some past seasons as if they were of another year."""
    own = day_numbers(past.drivers.starts[rows])
    start = season_start(year, past.drivers.site.hemisphere).astype(np.int64)
    return RuleStretches(
        whole.rule, whole.opens[rows] - own + start, whole.closes[rows] - own + start
    )


def _last_winter(
    rule: Rule,
    kind: WorkKind,
    running: SeasonEvents,
    *,
    past: SeasonEvents,
    remainders: Ints,
    limits: AutumnLimits,
    now: AutumnLimits,
) -> RuleStretches:
    """The stretch that opened in the season before and closes in the running one."""
    hemisphere = running.drivers.site.hemisphere
    year = int(running.drivers.years[0])
    start = day_numbers(np.array([season_start(year - 1, hemisphere)], dtype="M8[D]"))
    opening = offsets(rule.opens, past, limits)
    before = np.flatnonzero((past.drivers.years == year - 1) & past.drivers.autumn_covered)
    known = opening[before] if before.size else opening[remainders]
    closes = day_numbers(running.drivers.starts[:1]) + offsets(rule.closes, running, now)
    return bounded(rule, kind, start + known, closes, start=start, limits=now)
