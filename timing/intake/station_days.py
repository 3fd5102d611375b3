"""Days of a weather station: what was measured, what was forecast, what was set aside."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from timing.quality import COLDEST_C, HOTTEST_C
from timing.season import Days, Floats

MODEL_MARKS = ("mosmix", "forecast", "model", "era5", "analysis")
NETWORKS = {  # sources of measurements that the service named when this was written
    *("ghcnd", "isd_lite", "metar", "climat", "hourly", "daily", "daily_derived"),
    *("dwd_hourly", "dwd_poi", "dwd_daily", "eccc_hourly", "eccc_daily"),
    *("gsa_hourly", "gsa_synop", "gsa_daily"),
}


@dataclass(frozen=True)
class Row:
    """One day as the service gives it; NaN where missing, sources separated by blanks [°C]."""

    day: dt.date
    tmin_c: float
    tmin_source: str
    tmax_c: float
    tmax_source: str


@dataclass(frozen=True, eq=False)
class StationDays:
    """Daily extremes of a station.

    Parameters
    ----------
    days : array (days,), strictly increasing dates.
    tmin_c, tmax_c : arrays (days,), NaN where missing, never both [°C].
    """

    days: Days
    tmin_c: Floats
    tmax_c: Floats

    @classmethod
    def of(cls, values: dict[dt.date, tuple[float, float]]) -> StationDays:
        """Days out of a mapping; a day without a reading is dropped."""
        kept = sorted(day for day, pair in values.items() if not all(map(math.isnan, pair)))
        pairs = np.array([values[day] for day in kept], dtype=float).reshape(-1, 2)
        return cls(np.array(kept, dtype="datetime64[D]"), pairs[:, 0], pairs[:, 1])

    def values(self) -> dict[dt.date, tuple[float, float]]:
        """The same as a mapping."""
        pairs = zip(self.tmin_c.tolist(), self.tmax_c.tolist(), strict=True)
        return dict(zip(self.days.tolist(), pairs, strict=True))

    def since(self, day: dt.date) -> StationDays:
        """The same from a day on."""
        kept = self.days >= np.datetime64(day, "D")
        return StationDays(self.days[kept], self.tmin_c[kept], self.tmax_c[kept])

    def __len__(self) -> int:
        return len(self.days)


@dataclass(frozen=True)
class Sifted:
    """Rows of a station, sorted out.

    Parameters
    ----------
    measured : days before today, only what was measured.
    forecast : today and later, whatever its source; today's measurements are not complete yet.
    aside : readings set aside, by reason: model, crossed, twice.
    sources : names of sources, with the measured readings that name them.
    """

    measured: StationDays
    forecast: StationDays
    aside: Counter[str] = field(default_factory=Counter)
    sources: Counter[str] = field(default_factory=Counter)


def is_model(source: str) -> bool:
    """Whether any word of a source names a model or a forecast.

    >>> is_model("isd_lite dwd_mosmix"), is_model("ghcnd")
    (True, False)
    """
    return any(mark in word for word in source.lower().split() for mark in MODEL_MARKS)


def sift(rows: Iterable[Row], *, today: dt.date) -> Sifted:
    """Keep what was measured before today.

    A reading whose source names a model is set aside, so are both readings of a day with the
    minimum above the maximum, and of a day that stands there twice with other values.
    """
    aside: Counter[str] = Counter()
    sources: Counter[str] = Counter()
    measured: dict[dt.date, tuple[float, float]] = {}
    ahead: dict[dt.date, tuple[float, float]] = {}
    twice: set[dt.date] = set()
    for row in rows:
        pair = row.tmin_c, row.tmax_c
        if row.day >= today:
            ahead[row.day] = _possible(pair)
            continue
        low, high = (
            _measured(value, source, aside, sources)
            for value, source in zip(pair, (row.tmin_source, row.tmax_source), strict=True)
        )
        if low > high:
            aside["crossed"] += 2
            low = high = np.nan
        if row.day in measured and not np.array_equal(
            measured[row.day], (low, high), equal_nan=True
        ):
            twice.add(row.day)
        measured[row.day] = low, high
    for day in twice:
        aside["twice"] += 2
        del measured[day]
    return Sifted(StationDays.of(measured), StationDays.of(ahead), aside, sources)


def _possible(pair: tuple[float, float]) -> tuple[float, float]:
    """A forecast as it is given, or nothing where it cannot be."""
    low, high = (v if COLDEST_C <= v <= HOTTEST_C else np.nan for v in pair)
    return (np.nan, np.nan) if low > high else (low, high)


def _measured(value: float, source: str, aside: Counter[str], sources: Counter[str]) -> float:
    if math.isnan(value):
        return value
    if is_model(source):
        aside["model"] += 1
        return np.nan
    sources.update(set(source.lower().split()))
    return value


@dataclass(frozen=True)
class Merged:
    """Old days with new ones written over them: what is held now, and what changed."""

    days: StationDays
    added: int
    revised: int


def merged(old: StationDays, new: StationDays, *, since: dt.date | None = None) -> Merged:
    """Write new readings over old ones, from a day on.

    A reading is never replaced by a missing one.

    Parameters
    ----------
    old, new : what is held and what came.
    since : new days before it are ignored; None takes all.

    Returns
    -------
    Merged : ``added`` counts days on which something is held now where nothing was or one reading
        was missing, ``revised`` days on which a reading changed.
    """
    if since is not None:
        new = new.since(since)
    days = np.union1d(old.days, new.days)
    before = np.full((2, len(days)), np.nan)
    before[:, np.searchsorted(days, old.days)] = old.tmin_c, old.tmax_c
    now = before.copy()
    came, place = np.array([new.tmin_c, new.tmax_c]), np.searchsorted(days, new.days)
    now[:, place] = np.where(np.isnan(came), before[:, place], came)
    gained = (np.isnan(before) & ~np.isnan(now)).any(axis=0)
    changed = (~np.isnan(before) & (before != now)).any(axis=0)
    revised = int(np.count_nonzero(changed & ~gained))
    return Merged(StationDays(days, *now), int(np.count_nonzero(gained)), revised)
