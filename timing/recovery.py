"""What a tree still has to make good: heavy cuts, repotting, lost leaves, shoots left to run.

After a heavy cut, or the loss of all leaves, the tree must break its buds once more and harden
that flush before the next heavy cut, and other work waits four weeks. After repotting or frost
loss it counts as weak until it has grown freely for a season, that is until a stop of growth at
least sixty days away. All of it is common practice, no source. Dates of the running season come
from its record so far, later ones are the usual dates; the late date of the flush is taken, to be
on the safe side.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from timing.answers import Outlook
from timing.crossings import reach
from timing.season import NEW_YEAR, season_of, season_start
from timing.wording import day_text

if TYPE_CHECKING:
    from timing.notebook.model import Runner, WorkDone

TAKES_A_FLUSH = ("heavy", "leaf_removal")
WEAKENS = ("repotting", "frost_loss")
REST_DAYS = 28  # between a heavy cut and other work of a tree
LEAST_FREE_GROWTH_DAYS = 60
EVENTLESS_DAYS = 365  # where a taxon has no such event here: a year
LOOK_DEGREE_DAYS = 250.0  # growth between two looks at a running shoot (from memory)
QUANTILES = (0.1, 0.5, 0.9)
MEDIAN, LATE = 1, 2
RECORD_NAMES = {
    "heavy": "heavy cut",
    "leaf_removal": "removal of leaves",
    "repotting": "repotting",
    "frost_loss": "frost loss",
}


@dataclass(frozen=True)
class Hold:
    """A record that forbids heavy cuts for a while.

    Parameters
    ----------
    kind, day : what was done, and when.
    until : first day on which the record no longer forbids a heavy cut.
    weakens : the tree counts as weak meanwhile.
    text : a sentence that names the record and what must come first.
    rested : first day on which it no longer forbids other work; ``day`` where it never does.
    rest_text : the same sentence for other work.
    """

    kind: str
    day: np.datetime64
    until: np.datetime64
    weakens: bool
    text: str
    rested: np.datetime64
    rest_text: str


@dataclass(frozen=True)
class Look:
    """When to look at a running shoot again: early, usual and late date.

    A look that is due already has the day since when it is, three times.
    """

    place: str
    begun: np.datetime64
    dates: tuple[np.datetime64, np.datetime64, np.datetime64]


def holds(outlook: Outlook, done: Iterable[WorkDone], on: np.datetime64) -> tuple[Hold, ...]:
    """Records that forbid heavy cuts on a day, the longest first.

    Parameters
    ----------
    outlook : the tree's taxon at its site.
    done : work done on the tree; later entries than ``on`` count for nothing.
    on : today.
    """
    found = []
    for entry in done:
        day = np.datetime64(entry.date, "D")
        if day > on or entry.kind not in (*TAKES_A_FLUSH, *WEAKENS):
            continue
        weakens = entry.kind in WEAKENS
        if weakens:
            until = _first(outlook, "growth_stop", day + LEAST_FREE_GROWTH_DAYS)
            need = "the tree counts as weak until it has grown freely for a season"
        else:
            until = _flush_after(outlook, day)
            need = "no second heavy cut before a full flush has grown and hardened"
        if until > on:
            share = f" of {entry.fraction:.0%}" if entry.fraction else ""
            name = f"{RECORD_NAMES[entry.kind]}{share} on {day_text(day)} {str(day)[:4]}"
            text = f"{name}: {need}, about {day_text(until)} {str(until)[:4]}"
            rested = day if weakens else day + REST_DAYS
            rest = (
                f"{name}: other work waits four weeks, until {day_text(rested)} "
                f"{str(rested)[:4]} (common practice, no source)"
            )
            found.append(Hold(entry.kind, day, until, weakens, text, rested, rest))
    return tuple(sorted(found, key=lambda hold: hold.until, reverse=True))


def next_look(outlook: Outlook, runner: Runner, on: np.datetime64) -> Look | None:
    """When a running shoot has grown enough for another look, or None once it was cut.

    A look is due when 250 degree days above 5 °C have gone by since the shoot was left to run or
    last looked at, or since 1 January (1 July south), and stays due until it is noted; the weeks
    ahead are those of past seasons. Where growth ends first, the shoot waits for the next spring's
    buds.
    """
    begun = np.datetime64(runner.begun, "D")
    if runner.ended is not None or begun > on:
        return None
    running = outlook.running
    drivers = running.drivers if running is not None else outlook.drivers.select(outlook.used)
    season = season_of(on, outlook.site.hemisphere)
    start = season_start(season, outlook.site.hemisphere)
    stop = _date(outlook, "growth_stop", season, MEDIAN)
    looked = begun
    if runner.looked is not None and np.datetime64(runner.looked, "D") <= on:
        looked = np.datetime64(runner.looked, "D")
    since = max(int((looked - start).astype(np.int64)), NEW_YEAR)
    sums = drivers.growth_sum
    days = reach(sums, sums[:, since - 1 : since] + LOOK_DEGREE_DAYS)
    known = days[np.isfinite(days)]
    if known.size > days.size / 2:
        low, middle, high = (start + round(float(day)) for day in np.quantile(known, QUANTILES))
        if middle <= on:
            return Look(runner.place, begun, (middle, middle, middle))
        if stop is None or middle <= stop:
            return Look(runner.place, begun, (max(low, on), max(middle, on), max(high, on)))
    spring = _first(outlook, "bud_break", on + 1)
    return Look(runner.place, begun, (spring, spring, spring))


def _flush_after(outlook: Outlook, day: np.datetime64) -> np.datetime64:
    """Late date of the hardened flush of the first season whose buds break after a day."""
    for season in _seasons_around(outlook, day):
        breaking = _date(outlook, "bud_break", season, MEDIAN)
        hardened = _date(outlook, "flush_hardened", season, LATE)
        if breaking is not None and hardened is not None and breaking > day:
            return hardened
    return day + EVENTLESS_DAYS


def _first(outlook: Outlook, event: str, after: np.datetime64) -> np.datetime64:
    """First date of an event on or after a day; a year later where it has none here."""
    for season in _seasons_around(outlook, after):
        date = _date(outlook, event, season, MEDIAN)
        if date is not None and date >= after:
            return date
    return after + EVENTLESS_DAYS


def _seasons_around(outlook: Outlook, day: np.datetime64) -> range:
    year = season_of(day, outlook.site.hemisphere)
    return range(year - 1, year + 3)


def _date(outlook: Outlook, event: str, season: int, which: int) -> np.datetime64 | None:
    """Early, median or late date in a season: by its own record, else the usual one."""
    if event not in outlook.events.days:
        return None
    row = outlook.drivers.row_of(season)
    day = float(outlook.season_quantiles(event)[which, row]) if row is not None else np.nan
    if not np.isfinite(day):
        usual = outlook.events.days[event][outlook.used]
        known = usual[np.isfinite(usual)]
        if known.size <= usual.size / 2:
            return None
        day = float(np.quantile(known, QUANTILES[which]))
    return season_start(season, outlook.site.hemisphere) + round(day)
