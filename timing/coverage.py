"""How much of a record was really read: by year, by season and phase, and its gaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.drivers import (
    AUTUMN,
    MISSING_AUTUMN_DAYS,
    MISSING_SPRING_DAYS,
    SPRING,
    build_drivers,
)
from timing.season import season_end
from timing.site import Site
from timing.temperature import BRIDGE_DAYS, NEIGHBOUR, OBSERVED, OPEN, TemperatureRecord

TREATED = ("read", "bridged", "filled from the neighbour", "filled", "open")  # by state of a day


@dataclass(frozen=True)
class Gap:
    """A run of days without a full pair of readings: first and last day, how it was treated.

    Where days of one run were treated in different ways, the worst counts.
    """

    first: np.datetime64
    last: np.datetime64
    treated: str

    @property
    def days(self) -> int:
        """Length [days]."""
        return int((self.last - self.first).astype(np.int64)) + 1


@dataclass(frozen=True)
class YearCoverage:
    """Days of a calendar year inside the record that were read, mended and left open.

    ``neighbour`` are the mended ones that were filled from a neighbour.
    """

    year: int
    read: int
    mended: int
    open: int
    neighbour: int = 0


@dataclass(frozen=True)
class PhaseCoverage:
    """Days of a phase of a season that lie inside the record, those missing, those left open.

    ``neighbour`` are the missing ones that were filled from a neighbour.
    """

    days: int
    missing: int
    open: int
    neighbour: int = 0

    @property
    def share(self) -> float:
        """Share of the days inside the record that are missing, 0 where none lies inside."""
        return self.missing / self.days if self.days else 0.0


@dataclass(frozen=True)
class SeasonCoverage:
    """One season of the record.

    Parameters
    ----------
    season : year of its spring.
    spring : 15 January to 30 June (half a year later in the south).
    autumn : 1 July to the season's end.
    counts : whether the odds use it.
    why : why not, or empty.
    gaps : whether gaps are the reason.
    """

    season: int
    spring: PhaseCoverage
    autumn: PhaseCoverage
    counts: bool
    why: str
    gaps: bool


@dataclass(frozen=True)
class Coverage:
    """Years, seasons and gaps of a record.

    Parameters
    ----------
    years, seasons : in order.
    gaps : of more than three days, longest first.
    short_gaps : how many of up to three days.
    """

    years: tuple[YearCoverage, ...]
    seasons: tuple[SeasonCoverage, ...]
    gaps: tuple[Gap, ...]
    short_gaps: int


def coverage(record: TemperatureRecord, site: Site) -> Coverage:
    """Count what was read and what is missing; the rules are those of `timing.drivers`."""
    gaps = _gaps(record)
    long = sorted(
        (gap for gap in gaps if gap.days > BRIDGE_DAYS), key=lambda gap: (-gap.days, gap.first)
    )
    return Coverage(
        _years(record), _seasons(record, site), tuple(long), len(gaps) - len(long)
    )  # fmt: skip


def _gaps(record: TemperatureRecord) -> list[Gap]:
    missing = (record.state != OBSERVED).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], missing, [0])))).reshape(-1, 2)
    return [
        Gap(
            record.first + start,
            record.first + stop - 1,
            TREATED[int(record.state[start:stop].max())],
        )
        for start, stop in edges
    ]


def _years(record: TemperatureRecord) -> tuple[YearCoverage, ...]:
    calendar = record.first + np.arange(len(record.state))
    year = calendar.astype("datetime64[Y]").astype(np.int64) + 1970
    found = []
    for number in range(int(year[0]), int(year[-1]) + 1):
        state = record.state[year == number]
        read, opened = int((state == OBSERVED).sum()), int((state == OPEN).sum())
        beside = int((state == NEIGHBOUR).sum())
        found.append(YearCoverage(number, read, len(state) - read - opened, opened, beside))
    return tuple(found)


def _seasons(record: TemperatureRecord, site: Site) -> tuple[SeasonCoverage, ...]:
    drivers = build_drivers(record, site)
    seasons = []
    for row, start in enumerate(drivers.starts):
        year = int(drivers.years[row])
        end = season_end(year, site.hemisphere)
        spring, autumn = (
            _phase(record, start + part.start, min(start + part.stop - 1, end))
            for part in (SPRING, AUTUMN)
        )
        lead = _phase(record, start, start + SPRING.start - 1)
        counts = bool(drivers.covered[row])
        why, gaps = ("", False) if counts else _why(record, start, end, (lead, spring, autumn))
        seasons.append(SeasonCoverage(year, spring, autumn, counts, why, gaps))
    return tuple(seasons)


def _phase(record: TemperatureRecord, first: np.datetime64, last: np.datetime64) -> PhaseCoverage:
    since, until = (int((day - record.first).astype(np.int64)) for day in (first, last))
    state = record.state[max(since, 0) : max(until + 1, 0)]
    missing, opened, beside = (
        int(days.sum()) for days in (state != OBSERVED, state == OPEN, state == NEIGHBOUR)
    )
    return PhaseCoverage(len(state), missing, opened, beside)


def _why(
    record: TemperatureRecord,
    start: np.datetime64,
    end: np.datetime64,
    phases: tuple[PhaseCoverage, ...],
) -> tuple[str, bool]:
    """Why the odds do not use a season, and whether gaps are the reason."""
    _, spring, autumn = phases
    opened = sum(phase.open for phase in phases)
    if opened:
        return f"{opened} days open", True
    for phase, name, limit in (
        (spring, "spring", MISSING_SPRING_DAYS),
        (autumn, "autumn", MISSING_AUTUMN_DAYS),
    ):
        if phase.missing - phase.neighbour >= limit:
            return f"{phase.missing - phase.neighbour} days of the {name} missing", True
    if record.first > start:
        return f"the record begins after its first day ({start})", False
    return f"the record ends before its last day ({end})", False
