"""One event of a season beside the same event of all other seasons: date, rank, trend.

Dates are compared by the calendar (`timing.same_day`), as whole days, with every other season of
the record in which the event happens, not only the last thirty; the season itself is never part of
what it is compared with. ``early`` and ``late`` are words for dates three days or more from the
median of the others of which fewer than a third come earlier or later (ties count half); the rest
is ``usual``. Where an event still lies ahead its date is the middle of what past remainders make of
it (`timing.running`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from timing.answers import Outlook, season_dates, why_undated
from timing.same_day import date_at, leap_offsets, place_of, places
from timing.season import FIRST_JULY, Days, Ints
from timing.so_far import is_running
from timing.species.model import Species
from timing.trend import Trend, trend

Standing = Literal["early", "usual", "late"]
FROSTS = ("last_frost", "first_frost")
NOTICEABLE_DAYS = 3  # less than this from the median is about usual: the model errs by more
BY_CALENDAR = "the model dates it by the calendar, so seasons hardly differ"


@dataclass(frozen=True)
class Rank:
    """Place of a date among the others and itself, from either end; ties share one."""

    from_earliest: int
    from_latest: int
    equal: int
    of: int


@dataclass(frozen=True)
class EventComparison:
    """One event of a season beside the same event of all others.

    Parameters
    ----------
    event : its name.
    start : first date of the season.
    date, early, late : median and central 80 % of the season's own date, or None.
    reason : why there is no date.
    ahead : the date lies after the end of the record, or is a last frost that may not be the last.
    known_until : last day of the record.
    earlier_chance : chance that an event ahead comes before its usual date, the error that
        the model makes every year at this site left out; None unless ahead.
    years, days : arrays (n,), the other seasons in which it happens, and its place
        (`timing.same_day`) in each.
    dates : array (n,), its dates.
    candidates : how many other seasons the record covers at that time of the year.
    trend : of the places over all covered seasons, this one included [days / year]; None with
        fewer than ten.
    trend_seasons : how many those are.
    """

    event: str
    start: np.datetime64
    date: np.datetime64 | None
    early: np.datetime64 | None
    late: np.datetime64 | None
    reason: str
    ahead: bool
    known_until: np.datetime64
    earlier_chance: float | None
    years: Ints
    days: Ints
    dates: Days
    candidates: int
    trend: Trend | None
    trend_seasons: int

    @property
    def usual_day(self) -> int:
        """Median place of the others, a half rounded up."""
        return int(np.floor(np.median(self.days) + 0.5))

    @property
    def usual_date(self) -> np.datetime64 | None:
        """Their median date, in this season's year."""
        return date_at(self.usual_day, self.start) if self.days.size else None

    @property
    def middle_half(self) -> tuple[np.datetime64, np.datetime64] | None:
        """First and third quartile of the others, in this season's year."""
        if not self.days.size:
            return None
        low, high = np.rint(np.quantile(self.days, (0.25, 0.75))).astype(np.int64)
        return date_at(int(low), self.start), date_at(int(high), self.start)

    @property
    def day(self) -> int | None:
        """Place of the season's own date."""
        return None if self.date is None else place_of(self.date, self.start)

    @property
    def days_from_usual(self) -> int | None:
        """Days after the usual date; negative where earlier."""
        return None if self.day is None or not self.days.size else self.day - self.usual_day

    @property
    def standing(self) -> Standing | None:
        """Early, usual or late; None without a date or without others."""
        day, away = self.day, self.days_from_usual
        if day is None or away is None:
            return None
        before = float((self.days < day).mean() + (self.days == day).mean() / 2)
        if abs(away) < NOTICEABLE_DAYS or 1 / 3 <= before <= 2 / 3:
            return "usual"
        return "early" if away < 0 else "late"

    @property
    def rank(self) -> Rank | None:
        """Place among all seasons in which it happens."""
        day = self.day
        if day is None or not self.days.size:
            return None
        earlier, later = int((self.days < day).sum()), int((self.days > day).sum())
        count = len(self.days)
        return Rank(1 + earlier, 1 + later, count - earlier - later, count + 1)

    def date_in(self, year: int) -> np.datetime64 | None:
        """Its date in another season."""
        found = np.flatnonzero(self.years == year)
        return self.dates[found[0]] if found.size else None

    @property
    def extremes(self) -> tuple[tuple[int, np.datetime64], tuple[int, np.datetime64]] | None:
        """Earliest and latest of the others: season (the last one where several tie) and date."""
        if not self.days.size:
            return None
        first = int(np.flatnonzero(self.days == self.days.min())[-1])
        last = int(np.flatnonzero(self.days == self.days.max())[-1])
        return (
            (int(self.years[first]), self.dates[first]),
            (int(self.years[last]), self.dates[last]),
        )


def by_calendar(species: Species, event: str) -> bool:
    """Whether the model gives an event the same date every year, so that none is early."""
    model = species.events.get(event)
    if model is None:
        return False
    return model.model == "solstice" or (model.model == "lag" and by_calendar(species, model.after))


def compare_event(view: Outlook, row: int, event: str) -> EventComparison:
    """Set an event of one season (a row of the drivers) beside all others."""
    drivers = view.drivers
    with np.errstate(invalid="ignore"):  # endless warmth has infinite dates
        quantiles = view.season_quantiles(event)
    middle = np.rint(quantiles[1])
    usable = drivers.spring_covered & np.isfinite(middle)
    covered = drivers.spring_covered
    if usable.any() and np.median(middle[usable]) >= FIRST_JULY:
        covered = drivers.covered
        usable &= covered
    leap = leap_offsets(drivers.starts)
    place = np.zeros(len(middle), dtype=np.int64)
    place[usable] = places(middle, leap)[usable].astype(np.int64)
    others = usable.copy()
    others[row] = False
    early, date, late = season_dates(quantiles[:, row], drivers.starts[row])
    ahead = date is not None and (bool(date > drivers.last) or _frost_open(view, event, row))
    chance = None
    if ahead and others.any() and is_running(view, row):
        chance = _earlier_chance(view, event, others, leap)
    return EventComparison(
        event=event,
        start=drivers.starts[row],
        date=date,
        early=early,
        late=late,
        reason="" if date is not None else _why_no_date(view, event, row),
        ahead=ahead,
        known_until=drivers.last,
        earlier_chance=chance,
        years=drivers.years[others],
        days=place[others],
        dates=drivers.starts[others] + middle[others].astype(np.int64),
        candidates=int(np.delete(covered, row).sum()),
        trend=trend(drivers.years[usable], place[usable].astype(float)),
        trend_seasons=int(usable.sum()),
    )


def _frost_open(view: Outlook, event: str, row: int) -> bool:
    """Whether a frost may still come after the one that is the last so far."""
    if event not in FROSTS or view.running is None or not is_running(view, row):
        return False
    today = (view.drivers.last - view.drivers.starts[row]).astype(np.int64)
    return bool((view.running.days[event] > today).any())


def _earlier_chance(
    view: Outlook, event: str, others: NDArray[np.bool_], leap: Ints
) -> float | None:
    """Share of continuations × draws before the usual date of the same draw."""
    assert view.running is not None
    mine = view.running.drivers
    ahead = places(view.running.days[event], leap_offsets(mine.starts)[:, None])
    past = places(view.events.days[event], leap[:, None])[others]
    dated = ~np.isnan(past).all(axis=0)
    past, ahead = past[:, dated], ahead[:, dated]
    with np.errstate(invalid="ignore"):
        usual = np.nanmedian(past, axis=0)
    known = ~np.isnan(ahead) & ~np.isnan(usual)
    if not known.any():
        return None
    before = (ahead < usual) + (ahead == usual) / 2
    return float(before[known].mean())


def _why_no_date(view: Outlook, event: str, row: int) -> str:
    drivers = view.drivers
    if view.running is not None and is_running(view, row):
        share = 100 * float((~np.isnan(view.running.days[event])).mean())
        if share > 0:
            return f"not by {drivers.last}; past seasons bring it in {share:.0f}% of cases"
    return why_undated(view, event, row)
