"""Frost and heat that forbid work on a day, whatever the odds.

Where the record reaches the day, what it holds decides, and what a weather service expects of the
next days. Where it does not, the weather of past seasons around the day stands in: what came in at
least half of them near the day forbids the work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from timing.answers import Outlook
from timing.forecast import forecast_vetoes
from timing.reasons import shown
from timing.running import RECENT_DAYS, reaches
from timing.season import SEASON_DAYS, Days, Floats, season_of, season_start
from timing.site import Hemisphere
from timing.species.model import Species
from timing.windows import WorkOdds, runs_at
from timing.wording import day_text

HARD_FREEZE_C = -10.0  # no heavy cut near such a night (common practice, no source)
ROOT_MARGIN_C = 3.0
HEAT_C, HEAT_DAYS = 32.0, 3  # custom, adjustable: no air temperature has been published
LEAF_FROST_C = -2.0  # cautious side of -3.5 °C, Vitasse et al. 2014, J. Ecol. 102:981
REFLUSH_DAYS = 34  # Augspurger 2009: re-leafing set canopies back 16-34 days
OFTEN = 0.1  # share of seasons from which an answer tells of such frost or heat
LIKELY = 0.5  # share of seasons from which it forbids work on a day nobody read
ALIKE_DAYS = 7  # days before and after a day whose weather stands for its time of the year
UNREAD = "no temperature of these days is known"
WOULD_TELL = "a record up to the day would tell"
MARGIN_DAYS = RECENT_DAYS + ALIKE_DAYS  # days looked at on either side of one

Runs = tuple[tuple[np.datetime64, np.datetime64], ...]  # first and last days


@dataclass(frozen=True)
class _Usual:
    """In how many of the past seasons a kind of weather came near a day.

    ``share`` is smoothed over the time of the year, so that neighbouring days are told alike.
    """

    kind: str
    what: str
    forbids: str
    share: float
    seasons: int

    @property
    def count(self) -> str:
        return f"about {round(self.share * self.seasons)} of {self.seasons} seasons"


def weather_vetoes(outlook: Outlook, odds: WorkOdds, on: np.datetime64) -> tuple[str, ...]:
    """What the recorded weather forbids on a day, or that of past seasons where none is known.

    Parameters
    ----------
    outlook : events of the taxon, from a record that ends on ``on`` or before.
    odds : odds of the kind of work, whose rules say whether it must avoid heat.
    on : the day asked about.

    Returns
    -------
    sentences without their full stop.
    """
    heavy = odds.kind == "heavy"
    late = _late_frost(outlook, on) if heavy else None
    vetoes = _recorded if reaches(outlook.record.last, on) else _unread
    heat = (HEAT_C, HEAT_DAYS) if _avoids_heat(outlook, odds, on) else None
    freeze = _freeze_limit(outlook.species), _why_frost(outlook.species)
    return (
        *vetoes(outlook, odds, on),
        *(_likely_late_frost(outlook, on) if heavy and not late else ()),
        *forecast_vetoes(outlook.record, on, freeze=freeze, heat=heat),
        *((late,) if late else ()),
    )


def _recorded(outlook: Outlook, odds: WorkOdds, on: np.datetime64) -> Iterator[str]:
    """Hard frost and heat on record up to a day."""
    record, limit = outlook.record, _freeze_limit(outlook.species)
    coldest = float(np.nanmin(_recent(outlook, on, record.tmin_c, RECENT_DAYS), initial=np.inf))
    if coldest <= limit:
        yield (
            f"hard frost: {shown(coldest)} in the last {RECENT_DAYS} days; "
            f"{_why_frost(outlook.species)}"
        )
    hot = _recent(outlook, on, record.tmax_c, HEAT_DAYS)
    if hot.size == HEAT_DAYS and (hot >= HEAT_C).all() and _avoids_heat(outlook, odds, on):
        yield (
            f"heat: {HEAT_DAYS} days at {shown(HEAT_C)} or more up to "
            f"{day_text(min(record.last, on))}; wait for cooler days and shade the pot "
            "(common practice, no source)"
        )


def _unread(outlook: Outlook, odds: WorkOdds, on: np.datetime64) -> Iterator[str]:
    """Hard frost and heat of past seasons near a day whose temperatures nobody read."""
    for kind, seasons in likely_weather(outlook, odds, on).items():
        yield f"{kind} is likely: {UNREAD}, and {seasons}; {WOULD_TELL}"


def likely_weather(outlook: Outlook, odds: WorkOdds, day: np.datetime64) -> dict[str, str]:
    """What forbids the work near a day in at least half of the seasons: kind → in how many."""
    return {
        usual.kind: f"{usual.count} had {usual.what} within {RECENT_DAYS} days of {day_text(day)}"
        for usual in _usual_weather(outlook, odds, day)
        if usual.share >= LIKELY - 1e-9
    }


def often_forbidden(outlook: Outlook, odds: WorkOdds, day: np.datetime64) -> tuple[str, ...]:
    """That frost or heat often forbids the work near a day; nothing where it seldom does."""
    return tuple(
        f"{usual.what[0].upper()}{usual.what[1:]} {usual.forbids}: within {RECENT_DAYS} days of "
        f"{day_text(day)} that came in {usual.count}."
        for usual in _usual_weather(outlook, odds, day)
        if usual.share >= OFTEN
    )


def _usual_weather(outlook: Outlook, odds: WorkOdds, day: np.datetime64) -> Iterator[_Usual]:
    """Hard frost, and heat where the work must avoid it, as past seasons had them near a day."""
    drivers, limit = outlook.drivers, _freeze_limit(outlook.species)
    at = _offset_in_season(day, outlook.site.hemisphere)
    share = float(_shares_near(drivers.tmin_c[outlook.used] <= limit, 1)[at])
    what = f"a night of {shown(limit)} or less"
    yield _Usual("hard frost", what, "forbids a cut", share, outlook.seasons)
    if _avoids_heat(outlook, odds, day):
        share = float(_shares_near(drivers.tmax_c[outlook.used] >= HEAT_C, HEAT_DAYS)[at])
        what = f"{HEAT_DAYS} days in a row at {shown(HEAT_C)} or more"
        forbid = "forbid this work (common practice, no source)"
        yield _Usual("heat", what, forbid, share, outlook.seasons)


def usual_weather_runs(outlook: Outlook, days: Days) -> tuple[Runs, Runs]:
    """Runs of days near which hard frost, and heat, come in at least half of the past seasons.

    Hard frost is that of taxa without a root limit of their own.

    Parameters
    ----------
    outlook : of any taxon at the site.
    days : dates in a row.
    """
    drivers, used = outlook.drivers, outlook.used
    at = np.array([_offset_in_season(day, outlook.site.hemisphere) for day in days])
    runs = []
    for hits, run in (
        (drivers.tmin_c[used] <= HARD_FREEZE_C, 1),
        (drivers.tmax_c[used] >= HEAT_C, HEAT_DAYS),
    ):
        likely = runs_at(_shares_near(hits, run)[at], LIKELY)
        runs.append(tuple((days[first], days[stop - 1]) for first, stop in likely))
    return runs[0], runs[1]


def _offset_in_season(day: np.datetime64, hemisphere: Hemisphere) -> int:
    """A day's offset in a season that holds the days around it as well; neighbours overlap."""
    season = season_of(day, hemisphere)
    starts = (season_start(season + way, hemisphere) for way in (0, -1, 1))
    offsets = (int((day - start).astype(np.int64)) for start in starts)
    return next(at for at in offsets if MARGIN_DAYS <= at < SEASON_DAYS - MARGIN_DAYS - 1)


def _shares_near(hits: npt.NDArray[np.bool_], run: int) -> Floats:
    """Share of seasons with a run of hits within three days of each day, before or after it.

    It is the mean over the fortnight around the day: thirty seasons are few, and a count of single
    days would forbid one day and allow the next.

    Parameters
    ----------
    hits : array (seasons, days), whether a day of the season was as cold or as hot as that.
    run : days in a row that it takes.

    Returns
    -------
    array (days,), NaN on the first and last ten.
    """
    spells = np.lib.stride_tricks.sliding_window_view(hits, run, axis=1).all(axis=2)
    window = 2 * RECENT_DAYS + 2 - run
    came = np.lib.stride_tricks.sliding_window_view(spells, window, axis=1).any(axis=2)
    shares = np.full(hits.shape[1], np.nan)
    fortnight = 2 * ALIKE_DAYS + 1
    middle = np.convolve(came.mean(axis=0), np.full(fortnight, 1 / fortnight), "valid")
    shares[MARGIN_DAYS : len(shares) - MARGIN_DAYS] = middle
    return shares


def _avoids_heat(outlook: Outlook, odds: WorkOdds, day: np.datetime64) -> bool:
    """Whether heat forbids the work of a day.

    All heavy work but on taxa that are cut while nights are warm: they are in full growth then, and
    only a rule of their own holds them back.
    """
    heavy = odds.kind == "heavy" and "warm_start" not in outlook.events.days
    return heavy or any("midsummer_heat" in rule.avoid for rule in odds.in_force(day))


def _recent(outlook: Outlook, on: np.datetime64, values: Floats, days: int) -> Floats:
    """The last readings up to and including a day."""
    stop = int((on - outlook.record.first).astype(np.int64)) + 1
    return values[:stop][-days:]


def _freeze_limit(species: Species) -> float:
    """The night from which fresh cuts and roots in a pot suffer [°C]."""
    roots = species.root_zone
    return max(HARD_FREEZE_C, roots.coldest_c + ROOT_MARGIN_C if roots else HARD_FREEZE_C)


def _why_frost(species: Species) -> str:
    """From which night on frost forbids a cut, and what that rests on."""
    limit = shown(_freeze_limit(species))
    if species.root_zone is None:
        return f"no cuts near a night of {limit} or less (common practice, no source)"
    return f"fresh cuts and roots in a pot suffer from about {limit}"


def _late_frost(outlook: Outlook, on: np.datetime64) -> str | None:
    """Leaves lost to a late frost: no heavy cut until a new flush has had time to harden."""
    drivers = outlook.drivers
    row = drivers.row_of(season_of(on, outlook.site.hemisphere))
    if row is None:
        return None
    today = int((on - drivers.starts[row]).astype(np.int64))
    frost = _on_open_leaves(outlook, today)[row]
    if not frost.any():
        return None
    last = int(np.flatnonzero(frost)[-1])
    return (
        f"late frost: {shown(float(drivers.tmin_c[row, last]))} on "
        f"{day_text(drivers.starts[row] + last)} after the buds had opened; if leaves "
        "were lost, wait for the new flush to harden (two to five weeks later than usual)"
    )


def _likely_late_frost(outlook: Outlook, on: np.datetime64) -> Iterator[str]:
    """Leaves lost to a late frost in at least half of the past seasons, where nobody read this one.

    A record that reaches the day, or ends after the flush should have hardened, has seen it all.
    """
    if reaches(outlook.record.last, on):
        return
    season, drivers = season_of(on, outlook.site.hemisphere), outlook.drivers
    start = season_start(season, outlook.site.hemisphere)
    today, read = (int((day - start).astype(np.int64)) for day in (on, outlook.record.last))
    row = drivers.row_of(season)
    dated = row is not None and "flush_hardened" in outlook.events.days
    if dated and outlook.events.quantiles("flush_hardened", (0.5,))[0, row] <= read:
        return
    struck = _on_open_leaves(outlook, today)[outlook.used].any(axis=1)
    if struck.mean() >= LIKELY:
        count = f"{np.count_nonzero(struck)} of {outlook.seasons} seasons"
        yield (
            f"late frost is likely: {UNREAD}, and {count} had {shown(LEAF_FROST_C)} or less on "
            f"leaves not yet hardened before {day_text(on)}; if leaves were lost, wait for the new "
            f"flush to harden; {WOULD_TELL}"
        )


def _on_open_leaves(outlook: Outlook, today: int) -> npt.NDArray[np.bool_]:
    """Nights of each season up to a day with frost on soft leaves that still matters then.

    Parameters
    ----------
    today : offset of the day in its season.

    Returns
    -------
    array (seasons, days).
    """
    drivers, events = outlook.drivers, outlook.events
    if "flush_hardened" not in events.days:
        return np.zeros(drivers.tmin_c.shape, dtype=bool)
    budding = events.quantiles("bud_break", (0.5,))[0][:, None]
    hardened = events.quantiles("flush_hardened", (0.5,))[0][:, None]
    day = np.arange(drivers.tmin_c.shape[1])
    soft = (day >= budding) & (day <= np.fmin(hardened, today))
    matters = ~(today >= hardened + REFLUSH_DAYS)
    struck: npt.NDArray[np.bool_] = soft & matters & (drivers.tmin_c <= LEAF_FROST_C)
    return struck
