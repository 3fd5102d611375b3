"""One season against all the others of the record: is this spring early, and by how much?

Events (`timing.event_comparison`), heat and chill so far and the seasons most like it
(`timing.so_far`), and which seasons the record can speak of at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from timing.answers import Outlook
from timing.drivers import MISSING_SPRING_DAYS, SPRING
from timing.errors import DataError
from timing.event_comparison import (
    BY_CALENDAR,
    FROSTS,
    EventComparison,
    by_calendar,
    compare_event,
)
from timing.running import reaches, running_year
from timing.season import FIRST_JULY, Ints, season_end, season_start, seasons_between
from timing.site import Hemisphere, Site
from timing.so_far import (
    Alike,
    SoFar,
    is_running,
    most_alike,
    other_seasons,
    place_reached,
    season_so_far,
)
from timing.species.model import Species
from timing.temperature import OBSERVED, OPEN, TemperatureRecord

LEADING = ("bud_break", "warm_start")  # the event that speaks for a taxon's spring


@dataclass(frozen=True)
class TaxonComparison:
    """The events of one taxon; ``not_compared`` says why some are left out."""

    species: Species
    events: tuple[EventComparison, ...]
    not_compared: Mapping[str, str]
    observations: int

    @property
    def leading(self) -> EventComparison | None:
        """The event that speaks for the taxon's spring."""
        return next((item for item in self.events if item.event in LEADING), None)


@dataclass(frozen=True)
class Comparison:
    """A season of a site beside all others.

    Parameters
    ----------
    site, record : where, and from which temperatures.
    on : today.
    season, start : the season compared and its first date.
    running : it is the one under way today, so that past seasons continue it.
    partial : the record does not cover its spring (yet).
    note : why this season was taken where another was to be expected, or "".
    mended_days : days of the season without readings of its own.
    autumn_gappy : too many days are missing in its autumn.
    others : array (n,), seasons whose spring the record covers.
    left_out : seasons that the record touches but does not cover, and why.
    remainders : how many past seasons continue a running one.
    stand_in : nobody named the taxon: it stands for a bench.
    trees : slug → names of the grower's trees whose taxa are compared because none was named.
    sheltered : those of them that stand under a shelter, where spring is another.
    heat, chill : sums up to today; of a whole season up to midsummer.
    frosts, taxa : what is compared.
    alike : seasons most like this one.
    """

    site: Site
    record: TemperatureRecord
    on: np.datetime64
    season: int
    start: np.datetime64
    running: bool
    partial: bool
    note: str
    mended_days: int
    autumn_gappy: bool
    others: Ints
    left_out: Mapping[int, str]
    remainders: int
    stand_in: bool
    trees: Mapping[str, tuple[str, ...]]
    sheltered: tuple[str, ...]
    heat: SoFar | None
    chill: SoFar | None
    frosts: tuple[EventComparison, ...]
    taxa: tuple[TaxonComparison, ...]
    alike: Alike | None


def compare(
    views: list[Outlook],
    *,
    on: np.datetime64,
    season: int | None = None,
    stand_in: bool = False,
    trees: Mapping[str, tuple[str, ...]] | None = None,
    sheltered: tuple[str, ...] = (),
) -> Comparison:
    """Set one season beside all others.

    Parameters
    ----------
    views : one a taxon, all of one site, record and day; the same ``on``.
    on : today.
    season : the season to compare; the running one unless given, or the last whole one where
        the record ends before today.
    stand_in : the taxon was not asked for by name.
    trees, sheltered : the grower's trees at the site, where their taxa are meant.

    Raises
    ------
    DataError : the record does not cover the season; the message says which can be asked.
    """
    view = views[0]
    drivers, record = view.drivers, view.record
    row, note = _chosen_row(view, on, season)
    year, start = int(drivers.years[row]), drivers.starts[row]
    running = is_running(view, row)
    partial = running or not bool(drivers.spring_covered[row])
    until = place_reached(drivers, row, on) if partial else FIRST_JULY - 1
    heat, chill = (season_so_far(view, row, until, name) for name in ("heat", "chill"))
    frosts = tuple(compare_event(view, row, name) for name in FROSTS)
    last = min(season_end(year, view.site.hemisphere), record.last)
    span = slice(*((day - record.first).astype(np.int64) for day in (start, last + 1)))
    return Comparison(
        site=view.site,
        record=record,
        on=on,
        season=year,
        start=start,
        running=running,
        partial=partial,
        note=note,
        mended_days=int((record.state[span] != OBSERVED).sum()),
        autumn_gappy=not running and bool(drivers.autumn_gappy[row]),
        others=drivers.years[other_seasons(drivers, row)],
        left_out=left_out(view),
        remainders=len(view.running.drivers.years) if running and view.running else 0,
        stand_in=stand_in,
        trees=dict(trees or {}),
        sheltered=sheltered,
        heat=heat,
        chill=chill,
        frosts=tuple(item for item in frosts if item.date is not None or item.days.size),
        taxa=tuple(_taxon(view, row) for view in views),
        alike=most_alike(tuple(item for item in (heat, chill) if item)),
    )


def left_out(view: Outlook) -> dict[int, str]:
    """Seasons that the record touches but does not cover, and why."""
    record, hemisphere = view.record, view.site.hemisphere
    known = set(view.drivers.years.tolist())
    return {
        year: _why_not_covered(record, year, hemisphere)
        for year in seasons_between(record.first, record.last, hemisphere)
        if year not in known
    }


def _chosen_row(view: Outlook, on: np.datetime64, season: int | None) -> tuple[int, str]:
    drivers, record = view.drivers, view.record
    if season is not None:
        row = drivers.row_of(season)
        if row is None:
            raise DataError(_not_covered(view, season))
        return row, ""
    current = running_year(on, view.site.hemisphere)
    row = drivers.row_of(current)
    if row is not None and reaches(record.last, on):
        return row, ""
    row = int(np.flatnonzero(drivers.spring_covered)[-1])
    why = f"the record ends on {record.last}, before today ({on})"
    if reaches(record.last, on):
        why = _why_not_covered(record, current, view.site.hemisphere)
    taken = int(drivers.years[row])
    return row, f"No comparison for today's season: {why}. {taken} is the last spring it covers."


def _not_covered(view: Outlook, season: int) -> str:
    record, hemisphere = view.record, view.site.hemisphere
    years = view.drivers.years.tolist()
    missing = [year for year in range(years[0], years[-1]) if year not in years]
    gaps = f" without {', '.join(str(year) for year in missing)}" if missing else ""
    why = "the record does not touch it"
    if season in seasons_between(record.first, record.last, hemisphere):
        why = _why_not_covered(record, season, hemisphere)
    return (
        f"{record.source}: season {season} cannot be compared: {why}; "
        f"ask for a season from {years[0]} to {years[-1]}{gaps}"
    )


def _why_not_covered(record: TemperatureRecord, year: int, hemisphere: Hemisphere) -> str:
    start = season_start(year, hemisphere)
    spring_ends = start + FIRST_JULY - 1
    if record.first > start:
        return f"its winter began on {start}, before the record ({record.first})"
    if record.last < spring_ends:
        return f"the record ends on {record.last}, before its spring is over ({spring_ends})"
    first = int((start - record.first).astype(np.int64))
    state = record.state[first : first + FIRST_JULY]
    open_days = int((state == OPEN).sum())
    if open_days:
        return (
            f"{open_days} of its days from {start} to {spring_ends} lie in a gap too long to mend"
        )
    missing = int((state[SPRING] != OBSERVED).sum())
    return (
        f"{missing} of its days from {start + SPRING.start} to {spring_ends} had no reading and "
        f"fewer than {MISSING_SPRING_DAYS} may be missing"
    )


def _taxon(view: Outlook, row: int) -> TaxonComparison:
    events, apart = [], {}
    for name in view.event_names():
        if name in FROSTS:
            continue
        if by_calendar(view.species, name):
            apart[name] = BY_CALENDAR
            continue
        found = compare_event(view, row, name)
        if found.date is None and not found.days.size:
            apart[name] = view.events.why_absent(name)
        else:
            events.append(found)
    observations = sum(fit.observations for fit in view.tuned.values())
    return TaxonComparison(view.species, tuple(events), apart, observations)
