"""Closed seasons of the hazards a grower names, and what they leave of the safe days.

A hazard closes a stretch of days in every season and draw: by whole months, by events of the
tree, or by warmth (degree days of the site's own record, so that an early spring closes early).
Those days are taken out of every rule's stretch, season by season and draw by draw, before any
chance is counted. Rules that ask for a place without the hazard drop out whole.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from timing.crossings import reach
from timing.drivers import Drivers
from timing.events import SeasonEvents
from timing.season import CYCLE_DAYS, NEW_YEAR, Floats, Ints, northern_month, season_start
from timing.site import Hemisphere
from timing.species.model import ClosedSeason, Hazard, HeatRange, Rule, WorkKind
from timing.stretches import AUTUMN_OPENINGS, RuleStretches
from timing.thermal.degree_days import degree_days

NEIGHBOURS = (-1, 0, 1)  # a stretch meets the closed seasons of the years around its own


@dataclass(frozen=True)
class Closure:
    """One closed season of one hazard, laid out over seasons and draws.

    ``opens`` and ``closes`` (3, seasons, draws) are the first and the last closed day since
    1970-01-01, of the season before, the season itself and the one after; draws may be one.
    NaN, or ``closes < opens``, where nothing is closed.
    """

    hazard: Hazard
    season: ClosedSeason
    years: Ints
    hemisphere: Hemisphere
    opens: Floats
    closes: Floats

    def select(self, rows: Ints) -> Closure:
        """The same for some of the seasons."""
        return replace(
            self, years=self.years[rows], opens=self.opens[:, rows], closes=self.closes[:, rows]
        )


def closures(
    hazards: tuple[Hazard, ...], kind: WorkKind, events: SeasonEvents
) -> tuple[Closure, ...]:
    """Lay out every closed season of one kind of work over the seasons of ``events``."""
    if not hazards:
        return ()
    drivers = events.drivers
    last, following = _last_season(drivers), drivers.following
    laid = []
    for hazard, season in _closing(hazards, kind):
        first, final = _offsets(season, events)
        crosses = _crosses_winter(season)
        laid.append(
            _absolute(
                hazard,
                season,
                drivers,
                (first[last], first, first[following]),
                (final, final[following], final[following])
                if crosses
                else (final[last], final, final[following]),
            )
        )
    return tuple(laid)


def running_closures(
    hazards: tuple[Hazard, ...],
    kind: WorkKind,
    running: SeasonEvents,
    *,
    past: SeasonEvents,
    remainders: Ints,
) -> tuple[Closure, ...]:
    """The same for the running season under every past remainder.

    Parameters
    ----------
    running : events of the running season, one row a remainder.
    past : events of all seasons.
    remainders : rows of ``past`` that the remainders come from.
    """
    year = int(running.drivers.years[0])
    known = np.flatnonzero((past.drivers.years == year - 1) & past.drivers.autumn_covered)
    before = np.full(remainders.shape, known[0]) if known.size else remainders
    after = past.drivers.following[remainders]
    laid = []
    for hazard, season in _closing(hazards, kind):
        first, final = _offsets(season, past)
        first_now, final_now = _offsets(season, running)
        crosses = _crosses_winter(season)
        laid.append(
            _absolute(
                hazard,
                season,
                running.drivers,
                (first[before], first_now, first[after]),
                (final_now, final[after], final[after])
                if crosses
                else (final[before], final_now, final[after]),
            )
        )
    return tuple(laid)


def opened(
    stretches: tuple[RuleStretches, ...], closed: tuple[Closure, ...]
) -> tuple[RuleStretches, ...]:
    """What the closed seasons leave of rules laid out over the same seasons and draws.

    A stretch that a closed season divides becomes two; one that it covers is gone.
    """
    pieces = list(stretches)
    for closure in closed:
        for shut, reopens in zip(closure.opens, closure.closes, strict=True):
            pieces = [part for piece in pieces for part in _without(piece, shut, reopens)]
    return tuple(pieces)


def left_out(rule: Rule, hazards: tuple[Hazard, ...]) -> Hazard | None:
    """The hazard because of which a rule drops out, or None where it stands."""
    needs = {need.name for need in rule.only_if}
    return next((hazard for hazard in hazards if hazard.condition in needs), None)


def month_span(
    months: tuple[int, int], year: int, hemisphere: Hemisphere
) -> tuple[np.datetime64, np.datetime64]:
    """First and last day of a closed season by whole months that begins in a season's year.

    >>> month_span((9, 5), 2024, "north")
    (np.datetime64('2024-09-01'), np.datetime64('2025-05-31'))
    >>> month_span((4, 7), 2024, "south")
    (np.datetime64('2024-10-01'), np.datetime64('2025-01-31'))
    """
    first, last = months
    end_year = year + (last < first)
    after = (end_year + 1, 1) if last == 12 else (end_year, last + 1)
    return northern_month(year, first, hemisphere), northern_month(*after, hemisphere) - 1


def flight(heat: HeatRange, drivers: Drivers) -> tuple[Floats, Floats]:
    """First and last day of a flight by warmth in every season, offsets of shape (seasons, 1).

    It begins on the day on which the sum reaches ``first``, counted from 1 January (1 July
    south), and ends on the day on which it reaches ``last`` or the day before ``before``.
    """
    warmth = degree_days(drivers.tmin_c, drivers.tmax_c, heat.base_c)
    warmth[:, :NEW_YEAR] = 0.0
    sums = np.cumsum(warmth, axis=1)
    month, day = heat.before
    hemisphere = drivers.site.hemisphere
    ends = [northern_month(int(year), month, hemisphere) + day - 2 for year in drivers.years]
    over = (np.array(ends, dtype="M8[D]") - drivers.starts).astype(float)[:, None]
    rows = np.ones((len(sums), 1))
    return reach(sums, heat.first * rows), np.fmin(reach(sums, heat.last * rows), over)


def _closing(hazards: tuple[Hazard, ...], kind: WorkKind) -> list[tuple[Hazard, ClosedSeason]]:
    return [(h, season) for h in hazards for season in h.closed if kind in season.work]


def _crosses_winter(season: ClosedSeason) -> bool:
    """Whether a closed season opens with an event of one season and closes with one of the next."""
    if season.events is None:
        return False
    first, last = season.events
    return first.event in AUTUMN_OPENINGS and last.event not in AUTUMN_OPENINGS


def _offsets(season: ClosedSeason, events: SeasonEvents) -> tuple[Floats, Floats]:
    """First and last closed day as offsets, each of its own season; months are laid out by year."""
    if season.heat is not None:
        return flight(season.heat, events.drivers)
    if season.events is not None:
        first, last = season.events
        return (
            events.days[first.event] + first.offset_days,
            events.days[last.event] + last.offset_days,
        )
    return (np.zeros((len(events.drivers.years), 1)),) * 2


def _absolute(
    hazard: Hazard,
    season: ClosedSeason,
    drivers: Drivers,
    first: tuple[Floats, ...],
    last: tuple[Floats, ...],
) -> Closure:
    """Offsets of three neighbouring seasons as days since 1970-01-01, whole days closed."""
    years, hemisphere = drivers.years, drivers.site.hemisphere
    opens, closes = [], []
    for step, from_day, to_day in zip(NEIGHBOURS, first, last, strict=True):
        if season.months is not None:
            spans = [month_span(season.months, int(y) + step, hemisphere) for y in years]
            days = np.array(spans, dtype="M8[D]").astype(np.int64).astype(float)
            opens.append(days[:, :1])
            closes.append(days[:, 1:])
            continue
        opening = np.floor(_starts(years + step, hemisphere) + from_day)
        closing = np.ceil(_starts(years + step + _crosses_winter(season), hemisphere) + to_day)
        if season.events is not None:  # an end that never comes leaves the season closed
            closing = np.where(np.isnan(closing), opening + CYCLE_DAYS - 1, closing)
        opens.append(opening)
        closes.append(closing)
    return Closure(hazard, season, years, hemisphere, np.stack(opens), np.stack(closes))


def _starts(years: Ints, hemisphere: Hemisphere) -> Floats:
    starts = np.array([season_start(int(year), hemisphere) for year in years], dtype="M8[D]")
    return starts.astype(np.int64)[:, None].astype(float)


def _last_season(drivers: Drivers) -> Ints:
    """Row of the season before, or the season's own row where that one is not covered."""
    usable = {int(drivers.years[row]): row for row in np.flatnonzero(drivers.covered)}
    return np.array(
        [usable.get(int(year) - 1, row) for row, year in enumerate(drivers.years)], dtype=np.int64
    )


def _without(piece: RuleStretches, shut: Floats, reopens: Floats) -> list[RuleStretches]:
    """A stretch without the closed days ``shut`` to ``reopens``, as up to two stretches."""
    hit = (reopens >= shut) & (shut <= piece.closes) & (reopens >= piece.opens)
    if not hit.any():
        return [piece]
    parts = (
        replace(piece, closes=np.where(hit, np.minimum(piece.closes, shut - 1), piece.closes)),
        replace(piece, opens=np.where(hit, np.maximum(piece.opens, reopens + 1), np.nan)),
    )
    return [part for part in parts if bool((part.closes >= part.opens).any())]
