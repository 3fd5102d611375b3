"""One taxon at one site, computed once and asked many times.

`Outlook` ties the chain together: record → drivers → events → odds. Answers, calendars and
charts all start from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from timing.drivers import Drivers, build_drivers
from timing.errors import DataError
from timing.events import SeasonEvents, season_events
from timing.limits import autumn_limits
from timing.quantiles import quantiles
from timing.running import running_events, running_odds, running_year
from timing.season import (
    CYCLE_DAYS,
    SEASON_DAYS,
    Floats,
    Ints,
    cycle_day_of,
    next_date,
    season_end,
    season_start,
)
from timing.site import Site
from timing.species.model import WORK_KINDS, Condition, Hazard, Species, WorkKind
from timing.temperature import TemperatureRecord
from timing.tuning import TunedEvent
from timing.windows import FEWEST_SEASONS, WorkOdds, rules_for, used_seasons, work_odds
from timing.wording import EVENT_LABELS

NEVER = 1e9  # days: beyond every date
USUAL_SHARES = (0.1, 0.5, 0.9)  # of seasons and draws: early, median and late date
COMMON_TAXA = (
    "acer-palmatum",
    "acer-buergerianum",
    "ulmus-parvifolia",
    "fagus-crenata",
    "carpinus-turczaninowii",
    "juniperus-chinensis",
    "pinus-thunbergii",
    "rhododendron-indicum",
)


@dataclass(frozen=True)
class UsualDate:
    """When an event usually happens: cycle days of the early, median and late date.

    ``share`` is the share of seasons and draws in which it happens at all.
    """

    event: str
    early: int
    median: int
    late: int
    share: float

    def dates(self, year: int) -> tuple[np.datetime64, np.datetime64, np.datetime64]:
        """Early, median and late date, the median falling in the calendar year ``year``."""
        median = next_date(self.median, np.datetime64(f"{year:04d}-01-01", "D"))
        before = (self.median - self.early) % CYCLE_DAYS
        after = (self.late - self.median) % CYCLE_DAYS
        return median - before, median, median + after


@dataclass(frozen=True)
class Outlook:
    """Events and odds of one taxon at one site.

    Parameters
    ----------
    species, record, drivers : what it was computed from.
    events : events of every season, the running one as far as its record goes.
    odds : by kind of work.
    used : rows of the seasons that the odds rest on.
    running : events of the running season under every past remainder, or None.
    tuned : events tuned to observations at the site, and how well they fit them.
    hazards : hazards named for the site that concern the taxon.
    """

    species: Species
    record: TemperatureRecord
    drivers: Drivers
    events: SeasonEvents
    odds: dict[WorkKind, WorkOdds]
    used: Ints
    running: SeasonEvents | None
    tuned: Mapping[str, TunedEvent] = field(default_factory=dict)
    hazards: tuple[Hazard, ...] = ()

    @property
    def site(self) -> Site:
        """Where."""
        return self.drivers.site

    @property
    def seasons(self) -> int:
        """How many seasons the odds rest on."""
        return int(self.used.size)

    def usual(self, event: str) -> UsualDate | None:
        """Usual date of an event over the seasons of the odds, or None where it is rare.

        An event that fails in more than half of seasons × draws has no usual date.
        """
        return self._usual_dates.get(event)

    @cached_property
    def _usual_dates(self) -> dict[str, UsualDate]:
        """Usual dates of all events that have one, found together."""
        names = list(self.events.days)
        every = np.stack([days[self.used].ravel() for days in self.events.days.values()])
        known = np.isfinite(every)
        always = known.all(axis=1)
        shares = np.ones(len(names))
        found = np.full((3, len(names)), np.nan)
        found[:, always] = quantiles(every if always.all() else every[always], USUAL_SHARES)
        for row in np.flatnonzero(~always):
            shares[row] = np.count_nonzero(known[row]) / every.shape[1]
            if shares[row] > 0.5:
                found[:, row] = quantiles(every[row, known[row]], USUAL_SHARES)
        dated = np.flatnonzero(~np.isnan(found[0]))
        start = season_start(2023, self.site.hemisphere)  # a season without 29 February
        days = np.rint(found[:, dated]).astype(np.int64) + int(start.astype(np.int64))
        return {
            names[row]: UsualDate(names[row], early, median, late, float(shares[row]))
            for row, (early, median, late) in zip(dated, cycle_day_of(days).T.tolist(), strict=True)
        }

    def season_quantiles(self, event: str) -> Floats:
        """Early (10%), median and late (90%) offset in every season, shape (3, seasons).

        The running season pools its past remainders; NaN where an event fails in half of them,
        −inf and +inf where warmth has no beginning or end.
        """
        days = self.events.days[event]
        dates = open_quantiles(days) if np.isinf(days).any() else self.events.quantiles(event)
        if self.running is not None:
            row = self.drivers.years == self.running.drivers.years[0]
            dates[:, row] = open_quantiles(self.running.days[event].reshape(1, -1))
        return dates

    def event_names(self) -> list[str]:
        """The taxon's events in the order in which they usually fall within a season."""
        return [name for name in EVENT_LABELS if name in self.events.days]

    def spread_days(self, event: str) -> float | None:
        """Half of the 80 % range of an event, model error included [days], or None."""
        days: Floats = self.events.days[event][self.used]
        known = days[np.isfinite(days)]
        if known.size == 0:
            return None
        low, high = np.quantile(known, (0.1, 0.9), method="median_unbiased")
        return float(high - low) / 2


def open_quantiles(days: Floats) -> Floats:
    """Early (10%), median and late (90%) of dates that may have no end, shape (3, rows).

    Parameters
    ----------
    days : offsets, shape (rows, draws); NaN fails, −inf lies before and +inf after every date.

    Returns
    -------
    quantiles of each row, NaN where half of it fails.
    """
    quantiles = np.full((3, len(days)), np.nan)
    often = np.isnan(days).mean(axis=1) < 0.5
    if often.any():
        bounded = np.clip(days[often], -NEVER, NEVER)  # between infinities nothing can be found
        found = np.nanquantile(bounded, (0.1, 0.5, 0.9), axis=1, method="median_unbiased")
        beyond = np.abs(found) > NEVER / 1e4
        quantiles[:, often] = np.where(beyond, np.copysign(np.inf, found), found)
    return quantiles


def site_drivers(record: TemperatureRecord, site: Site) -> Drivers:
    """Lay out a record by season and keep the seasons that can be dated, and the running one.

    Raises
    ------
    DataError : fewer than three complete seasons.
    """
    drivers = build_drivers(record, site)
    complete = int(drivers.covered.sum())
    if complete < FEWEST_SEASONS:
        raise DataError(
            f"{record.source}: the record covers {complete} complete "
            f"{'season' if complete == 1 else 'seasons'} and at least {FEWEST_SEASONS} are "
            "needed; a season runs sixteen months from the autumn before its spring"
        )
    return datable(drivers, record)


def datable(drivers: Drivers, record: TemperatureRecord) -> Drivers:
    """The seasons whose spring the record covers, and the running one if it saw it begin."""
    running = drivers.years == drivers.years[-1]
    begun = drivers.starts >= record.first
    return drivers.select(drivers.spring_covered | (running & begun))


def outlook(
    species: Species,
    record: TemperatureRecord,
    drivers: Drivers,
    *,
    on: np.datetime64 | None = None,
    condition: Condition = "established",
    kinds: tuple[WorkKind, ...] = WORK_KINDS,
    tuned: Mapping[str, TunedEvent] | None = None,
    seen: Mapping[str, np.datetime64] | None = None,
    hazards: tuple[Hazard, ...] = (),
) -> Outlook:
    """Compute the events of a taxon and the odds of the kinds of work asked for.

    Parameters
    ----------
    species, record, drivers : the taxon, the record up to today and its seasons.
    on : today; None leaves the running season to climatology.
    condition : the tree's condition.
    kinds : kinds of work whose odds are wanted.
    tuned : what `timing.tuning.tune` says of the taxon's events, to be told on.
    seen : event → the day somebody saw it this season; it replaces the model's date, and what
        follows is counted from it.
    hazards : diseases and pests that occur at the site; those of other taxa change nothing.
    """
    hazards = tuple(hazard for hazard in hazards if hazard.concerns(species))
    observed = _observed_offsets(drivers, seen or {}, on)
    events = season_events(species, drivers, seen=observed)
    used = used_seasons(events)
    running = running_events(events, used, on, observed) if on is not None else None
    odds, limits = {}, autumn_limits(events)
    for kind in kinds:
        odds[kind] = work_odds(events, kind, condition=condition, hazards=hazards, limits=limits)
        if running is not None:
            year = running_odds(
                rules_for(events, kind, condition, hazards),
                kind,
                running,
                past=events,
                used=used,
                limits=odds[kind].limits,
                usual=odds[kind].chance,
                hazards=hazards,
            )
            odds[kind] = replace(odds[kind], running=year)
    return Outlook(species, record, drivers, events, odds, used, running, tuned or {}, hazards)


def _observed_offsets(
    drivers: Drivers, seen: Mapping[str, np.datetime64], on: np.datetime64 | None
) -> dict[str, Floats]:
    """Dates seen in the running season as offsets in its row, NaN in all others."""
    found: dict[str, Floats] = {}
    row = drivers.row_of(running_year(on, drivers.site.hemisphere)) if on is not None else None
    if row is not None:
        for event, day in seen.items():
            found[event] = np.full(len(drivers.years), np.nan)
            found[event][row] = float((day - drivers.starts[row]).astype(np.int64))
    return found


def season_dates(
    quantiles: Floats, start: np.datetime64
) -> tuple[np.datetime64 | None, np.datetime64 | None, np.datetime64 | None]:
    """Early, median and late date of one season: the days wholly inside the 80 % range.

    Parameters
    ----------
    quantiles : array (3,), early, median and late offset; a median that is not finite has no date.
    start : first date of the season.
    """
    early, middle, late = quantiles
    if not np.isfinite(middle):
        return None, None, None
    day = np.rint(middle)
    whole = np.nan_to_num(
        [min(np.ceil(early), day), day, max(np.floor(late), day)], neginf=0, posinf=SEASON_DAYS
    )
    dates = start + whole.astype(np.int64)
    return dates[0], dates[1], dates[2]


def why_undated(outlook: Outlook, event: str, row: int) -> str:
    """Why an event has no date in one season of the record."""
    drivers = outlook.drivers
    ended = drivers.last >= season_end(int(drivers.years[row]), outlook.site.hemisphere)
    past = event == "sap_peak" and outlook.season_quantiles("bud_break")[1, row] <= float(
        (drivers.last - drivers.starts[row]).astype(np.int64)
    )  # it lies before the buds break: what did not come by then does not come
    if not ended and not past and np.isnan(outlook.events.days[event][row]).any():
        return f"not reached by the end of the record ({drivers.last})"
    if drivers.autumn_gappy[row] and event in ("leaf_colour", "leaf_fall", "dormant"):
        return "too many days are missing in this autumn"
    return outlook.events.why_absent(event)
