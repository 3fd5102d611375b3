"""Temperatures of a site from a weather station: choose one, fetch its years, keep what came."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from timing.errors import DataError, UsageError
from timing.intake.credits import Credit
from timing.intake.service import OWN_FILE, DamagedError, UnreachableError
from timing.intake.station_cache import checked_code, read_kept, write_kept
from timing.intake.station_client import Client, connected
from timing.intake.station_days import NETWORKS, Merged, StationDays, merged, sift
from timing.intake.stations import (
    FEWEST_YEARS,
    RADIUS_KM,
    RUNNING_DAYS,
    Candidate,
    Ranked,
    Station,
    correction_text,
    points_text,
    ranked,
    station_text,
)
from timing.site import Site
from timing.temperature import record_from_readings

MOST_TRIED = 3  # stations fetched until one holds what the inventory promised
RUNNERS_UP = 3
REVISED_DAYS = 30  # services correct their last weeks
AHEAD_DAYS = 10  # of a forecast, so that next year's file is asked for in the last days of December
ASIDE = {
    "model": "readings of a model or forecast left out",
    "crossed": "readings left out: minimum above maximum",
    "twice": "readings left out: the day stands there twice with different values",
}
Progress = Callable[[str], None]


@dataclass(frozen=True)
class Fetched:
    """Days of one station.

    Parameters
    ----------
    days : measured days as the service gives them, before correction for height.
    forecast : today and later, never part of a record.
    when : day on which the newest of them were fetched.
    credits : of their sources.
    notes : what the reader should know, half sentences.
    """

    days: StationDays
    forecast: StationDays
    when: dt.date
    credits: frozenset[Credit]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Download:
    """What a download brought: the station, its days, why it was chosen, and what to note.

    ``notes_kept`` are those of ``notes`` that nobody can tell from the readings later.
    """

    station: Station
    offset_c: float
    fetched: Fetched
    why: tuple[str, ...]
    notes: tuple[str, ...]
    notes_kept: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fetcher:
    """How to fetch: the client, the day of the question, where to keep, whom to tell."""

    client: Client
    today: dt.date
    folder: Path
    progress: Progress

    def fetch(self, station: Station, since: int, again: dt.date | None = None) -> Fetched:
        """Years of a station from the service, or what is kept of those that are settled.

        ``again`` asks anew for every year from that day on and accepts no kept one instead.
        """
        kept = read_kept(self.folder, station.code)
        fetched, forecast, notes = self.today, StationDays.of({}), []
        aside: Counter[str] = Counter()
        sources: Counter[str] = Counter()
        first = since if again is None else again.year
        try:
            ahead = self.today + dt.timedelta(days=AHEAD_DAYS)
            for year in range(first, ahead.year + 1):
                if again is None and kept.settled(year):
                    continue
                self.progress(f"{station.label}: {year}")
                try:
                    found = self.client.year(station, year)
                except UnreachableError:
                    if again is not None or kept.since is None or kept.since > since:
                        raise
                    fetched = max(kept.fetched.values())
                    notes.append(
                        f"no answer from the service; what was fetched on {fetched} was used"
                    )
                    break
                except DamagedError:
                    if again is not None or year not in kept.fetched:
                        raise
                    notes.append(
                        f"year {year} came broken; that fetched on {kept.fetched[year]} was used"
                    )
                    continue
                if found is not None:
                    sifted = sift(found, today=self.today)
                    credits = map(self.client.credit, sifted.sources)
                    named = frozenset(credit for credit in credits if credit is not None)
                    kept = kept.with_year(year, sifted.measured, named, self.today)
                    forecast = merged(forecast, sifted.forecast).days
                    aside += sifted.aside
                    sources += sifted.sources
            else:
                if again is None:
                    kept = replace(kept, since=min(since, kept.since or since))
        except BaseException:
            with suppress(DataError):  # what came is not fetched twice
                write_kept(self.folder, station, kept)
            raise
        write_kept(self.folder, station, kept)
        notes += [f"{number} {ASIDE[reason]}" for reason, number in aside.items()]
        notes += [
            f"{number} readings of the source {name}, which is not known here, were kept"
            for name, number in sources.items()
            if name not in NETWORKS
        ]
        days = kept.days.since(dt.date(first, 1, 1))
        return Fetched(days, forecast, fetched, kept.credits, tuple(notes))

    def choose(
        self, site: Site, candidates: Iterable[Candidate], since: int
    ) -> tuple[list[Ranked], Fetched | None]:
        """Candidates from the best on, and what was fetched of the best; none of too short ones."""
        brought: dict[str, Fetched] = {}
        known = {item.station.code: item for item in candidates}
        while True:
            order = ranked(site, known.values(), since=since, today=self.today)
            order = [item for item in order if item.enough]
            if len(brought) == MOST_TRIED:
                order.sort(key=lambda item: item.station.code not in brought)
            if not order:
                return order, None
            best = order[0].candidate
            code = best.station.code
            if code in brought:
                return order, brought[code]
            if len(brought) == MOST_TRIED:
                return [], None
            brought[code] = self.fetch(best.station, max(since, best.first.year))
            known[code] = _as_fetched(best, brought[code].days)


def download(
    site: Site,
    *,
    today: dt.date,
    since: int,
    folder: Path,
    code: str | None = None,
    progress: Progress = lambda _: None,
    stall_s: float | None = None,
) -> Download:
    """Choose a station for a site and fetch its record up to yesterday.

    Parameters
    ----------
    site : the place; without an elevation nothing is corrected.
    today : the day of the question.
    since : first calendar year wanted.
    folder : where what is fetched is kept.
    code : station to use instead of choosing one.
    progress : told what is being done.
    stall_s : see `timing.intake.station_client.connected`.

    Raises
    ------
    UsageError : too few years are asked for, or there is no station of that code.
    DataError : the service is away or its answer cannot be read, or no station near the site has a
        usable record.
    """
    if since > today.year - FEWEST_YEARS:
        raise UsageError(
            f"--since {since} leaves too few years; {today.year - int(FEWEST_YEARS)} or earlier"
        )
    if code is not None:
        checked_code(code)
    with connected(folder, today=today, stall_s=stall_s) as client:
        progress("looking for stations")
        near, without = (
            ([client.stations.named(code)], 0) if code is not None else client.stations.near(site)
        )
        order, fetched = Fetcher(client, today, folder, progress).choose(site, near, since)
        notes = list(client.notes)
    if fetched is None:
        raise DataError(_none_text(near, without, since, code))
    station = order[0].station
    offset = station.offset_c(site)
    source = f"station {station.label}"
    record = record_from_readings(
        fetched.days.days,
        fetched.days.tmin_c + offset,
        fetched.days.tmax_c + offset,
        source=source,
    )
    kept = tuple(dict.fromkeys([*notes, *fetched.notes]))
    notes += [*fetched.notes, *record.warnings]
    ended = order[0].candidate.last
    if (today - ended).days > RUNNING_DAYS:
        notes.append(
            f"{source}: its record ended on {ended}; it cannot follow the season under way"
        )
    why = _why(site, order, without, offset, chosen=code is None)
    return Download(station, offset, fetched, why, tuple(dict.fromkeys(notes)), kept)


def tail(
    station: Station,
    held: StationDays,
    *,
    today: dt.date,
    folder: Path,
    progress: Progress = lambda _: None,
    stall_s: float | None = None,
) -> tuple[Fetched, Merged]:
    """Bring a station's days up to yesterday; days older than the last thirty are left alone.

    Parameters
    ----------
    station, held : the station and its days so far, one at least.

    Raises
    ------
    DataError : the service is away or its answer cannot be read.
    """
    begin = held.days[-1].item() - dt.timedelta(days=REVISED_DAYS - 1)
    with connected(folder, today=today, stall_s=stall_s) as client:
        fetcher = Fetcher(client, today, folder, progress)
        fetched = fetcher.fetch(station, begin.year, again=begin)
    return fetched, merged(held, fetched.days, since=begin)


def _as_fetched(candidate: Candidate, days: StationDays) -> Candidate:
    """A candidate with the span and the share of days that it really has."""
    whole = days.days[~np.isnan(days.tmin_c + days.tmax_c)].tolist()
    if not whole:
        return replace(candidate, last=candidate.first - dt.timedelta(days=1), share=0.0)
    share = len(whole) / ((whole[-1] - whole[0]).days + 1)
    return replace(candidate, first=whole[0], last=whole[-1], share=share)


def _why(
    site: Site, order: list[Ranked], without: int, offset_c: float, *, chosen: bool
) -> tuple[str, ...]:
    best, *others = order
    lines = [f"Station {station_text(best)}."]
    if chosen:
        lines.append(
            f"Chosen with the fewest points of {len(order)} within {RADIUS_KM:g} km: "
            f"{points_text(best)}."
        )
        lines += [
            f"Next: {station_text(item)}; {points_text(item)}." for item in others[:RUNNERS_UP]
        ]
        if without:
            lines.append(f"{without} more within {RADIUS_KM:g} km without daily minima and maxima.")
    return (*lines, correction_text(site, best.station, offset_c))


def _none_text(near: list[Candidate], without: int, since: int, code: str | None) -> str:
    if code is not None:
        return (
            f"station {near[0].station.label} has fewer than {FEWEST_YEARS:g} years of daily "
            f"minima and maxima since {since}; choose another, {OWN_FILE}"
        )
    held = f"{len(near) + without} stations there" if near or without else "there is none"
    return (
        f"no station within {RADIUS_KM:g} km has {FEWEST_YEARS:g} years of daily minima and maxima "
        f"since {since} ({held}); name one further away with --station, {OWN_FILE}"
    )
