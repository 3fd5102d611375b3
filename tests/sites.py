"""Places on which the rules of the trade are tried.

Three kinds: the bundled samples, real records kept outside the project (a test that asks for
one is skipped where the reference data is absent), and made-up climates built from a smooth
year. Everything computed is kept for the whole test run, because dozens of tests ask for it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from typing import Any

import numpy as np
import pytest
from reference import reference_file

from timing.advice import Answer, answer
from timing.answers import Outlook, outlook, site_drivers
from timing.drivers import Drivers
from timing.intake.daily_csv import read_daily_csv
from timing.intake.samples import open_sample, samples
from timing.season import CYCLE_DAYS, Floats, cycle_day, season_start
from timing.site import Site
from timing.species.catalogue import load_species, slugs
from timing.species.model import Condition, Species, WorkKind
from timing.temperature import TemperatureRecord, record_from_readings

TAXA = slugs()
TROPICAL = tuple(slug for slug in TAXA if load_species(slug).habit == "tropical")
TEMPERATE_TAXA = tuple(slug for slug in TAXA if slug not in TROPICAL)
EVERGREENS = tuple(slug for slug in TEMPERATE_TAXA if load_species(slug).evergreen)
MAPLES = tuple(slug for slug in TAXA if slug.startswith("acer-"))
BLEEDERS = tuple(slug for slug in TAXA if slug.startswith(("acer-", "betula-", "carpinus-")))

SAMPLES = tuple(sample.name for sample in samples())
REAL = {
    "harvard_forest_1964_2020": Site("Petersham", 42.53, -72.19, 340),
    "hubbard_brook_hq_1985_2019": Site("Hubbard Brook headquarters", 43.94, -71.70, 250),
    "hubbard_brook_sta1_1985_2019": Site("Hubbard Brook station 1", 43.94, -71.70, 490),
    "hubbard_brook_sta6_1985_2019": Site("Hubbard Brook station 6", 43.94, -71.70, 730),
    "hubbard_brook_sta14_1985_2019": Site("Hubbard Brook station 14", 43.94, -71.70, 730),
    "boston_1951_2025": Site("Boston", 42.361, -71.010, 4),
    "washington_dc_1941_2026": Site("Washington", 38.848, -77.034, 4),
    "seattle_1948_2017": Site("Seattle", 47.444, -122.314, 113),
    "basel_1931_2026": Site("Basel", 47.541, 7.583, 316),
    "kyoto_1950_1989": Site("Kyoto", 35.017, 135.733, 46),
    "whately_2012_2016": Site("Whately", 42.449, -72.681, 251),
}
SITES = (*SAMPLES, *REAL)
SLOW = (  # much like their neighbours
    *("hubbard_brook_sta1_1985_2019", "hubbard_brook_sta6_1985_2019", "boston_1951_2025"),
)


def tried(names: Iterable[str]) -> list[Any]:
    """Parameters of a test that runs at every site; those much like others wait for -m slow."""
    return [pytest.param(name, marks=pytest.mark.slow) if name in SLOW else name for name in names]


@dataclass(eq=False)
class Place:
    """A record with its site, and every outlook computed there so far."""

    record: TemperatureRecord
    site: Site
    _views: dict[tuple[str, Condition], Outlook] = field(default_factory=dict)
    _todays: dict[tuple[str, WorkKind, Condition], Outlook] = field(default_factory=dict)
    _earlier: dict[np.datetime64, "Place"] = field(default_factory=dict)

    @cached_property
    def drivers(self) -> Drivers:
        return site_drivers(self.record, self.site)

    def outlook(self, slug: str, condition: Condition = "established") -> Outlook:
        key = slug, condition
        if key not in self._views:
            species = load_species(slug)
            self._views[key] = outlook(species, self.record, self.drivers, condition=condition)
        return self._views[key]

    def as_of(self, on: str | np.datetime64) -> "Place":
        """The same place with everything after a day hidden."""
        day = np.datetime64(on, "D")
        if day not in self._earlier:
            self._earlier[day] = Place(self.record.until(day), self.site)
        return self._earlier[day]

    def with_last_days(
        self, tmin_c: list[float] | None = None, tmax_c: list[float] | None = None
    ) -> "Place":
        """The same place with other readings on the last days of the record."""
        low, high = self.record.tmin_c.copy(), self.record.tmax_c.copy()
        if tmin_c:
            low[-len(tmin_c) :] = tmin_c
        if tmax_c:
            high[-len(tmax_c) :] = tmax_c
        dates = self.record.first + np.arange(len(low))
        record = record_from_readings(dates, low, np.maximum(low, high), source="altered")
        return Place(record, self.site)

    def today(self, slug: str, work: WorkKind, condition: Condition = "established") -> Outlook:
        """The outlook on the last day of the record, the running season included."""
        key = slug, work, condition
        if key not in self._todays:
            self._todays[key] = outlook(
                load_species(slug),
                self.record,
                self.drivers,
                on=self.record.last,
                condition=condition,
                kinds=(work,),
            )
        return self._todays[key]

    def ask(
        self,
        slug: str,
        work: WorkKind,
        *,
        condition: Condition = "established",
        confidence: float = 0.9,
    ) -> Answer:
        """Ask about the last day of the record."""
        view = self.today(slug, work, condition)
        return answer(view, work, self.record.last, condition=condition, confidence=confidence)


@cache
def place(name: str) -> Place:
    """A sample or a real site by name; skips the test where its file is absent."""
    if name in SAMPLES:
        sample, record = open_sample(name)
        return Place(record, sample.site)
    path = reference_file(f"temperatures/{name}.csv")
    return Place(read_daily_csv(path), REAL[name])


def outlook_at(name: str, slug: str) -> Outlook:
    return place(name).outlook(slug)


@cache
def mirrored(name: str) -> Place:
    """A northern site moved to the same latitude south, its weather half a year later."""
    north = place(name)
    site = replace(north.site, latitude=-north.site.latitude)
    return Place(mirror(north.record), site)


def mirror(record: TemperatureRecord) -> TemperatureRecord:
    """Shift a record so that its 1 September 2000 falls on 1 March 2001."""
    return replace(record, first=record.first + np.timedelta64(181, "D"))


def year_cycle(
    mean_c: float,
    amplitude_c: float,
    *,
    daily_range_c: float = 9.0,
    coldest: int = 325,
) -> tuple[Floats, Floats]:
    """Minimum and maximum of each cycle day (0 = 1 March) of a smooth year.

    ``coldest`` is the cycle day of the lowest mean; 325 is 20 January.
    """
    day = np.arange(CYCLE_DAYS)
    mean = mean_c - amplitude_c * np.cos(2 * np.pi * (day - coldest) / CYCLE_DAYS)
    return mean - daily_range_c / 2, mean + daily_range_c / 2


def record_of_cycle(
    cycle: tuple[Floats, Floats],
    *,
    first: str = "1999-09-01",
    years: int = 12,
    weather_c: float = 0.0,
    seed: int = 1,
) -> TemperatureRecord:
    """Repeat a smooth year; ``weather_c`` adds persistent random weather of that size."""
    start = np.datetime64(first, "D")
    dates = np.arange(start, start + round(365.25 * years) + 130)
    today = cycle_day(dates)
    departure = np.zeros(len(dates))
    noise = np.random.default_rng(seed).normal(0.0, weather_c, len(dates)) if weather_c else None
    for number in range(1, len(dates)):
        departure[number] = 0.7 * departure[number - 1] + (0.7 * noise[number] if weather_c else 0)
    low, high = (values[today] + departure for values in cycle)
    return record_from_readings(dates, low, high, source="made up")


def made_up(
    mean_c: float,
    amplitude_c: float,
    latitude: float,
    *,
    daily_range_c: float = 9.0,
    coldest: int = 325,
    years: int = 12,
    weather_c: float = 0.0,
) -> Place:
    """A place with a made-up climate; south of the equator give a July ``coldest`` (141)."""
    cycle = year_cycle(mean_c, amplitude_c, daily_range_c=daily_range_c, coldest=coldest)
    record = record_of_cycle(cycle, years=years, weather_c=weather_c)
    return Place(record, Site("made up", latitude, 10.0, 100.0, invented=True))


@cache
def equatorial() -> Place:
    """27 ± 2 °C all year, one degree north."""
    return made_up(27.0, 2.0, 1.0, daily_range_c=8.0)


@cache
def tropical_highland() -> Place:
    """13.5 ± 0.5 °C all year, cool nights, five degrees north."""
    return made_up(13.5, 0.5, 4.7, daily_range_c=10.0)


@cache
def subtropical_coast() -> Place:
    """Warm nights in December, cool ones in late January and February."""
    return made_up(22.5, 6.5, 22.3, daily_range_c=5.0, coldest=337)


@cache
def mild_maritime() -> Place:
    """No frost, no fortnight below 5 °C, cool summers."""
    return made_up(11.0, 4.5, 50.0, daily_range_c=7.0)


@cache
def subarctic(latitude: float) -> Place:
    """Polar day and night; frost from September to June."""
    coldest = 325 if latitude > 0 else 141
    return made_up(-1.0, 14.0, latitude, daily_range_c=10.0, coldest=coldest, weather_c=2.5)


@cache
def exact(slug: str) -> Species:
    """A taxon whose models make no error: every draw gives the nominal date."""
    species = load_species(slug)
    events = {
        name: replace(model, spread_days=0.0, site_spread_days=0.0)
        for name, model in species.events.items()
    }
    return replace(species, events=events)


def month_means(name: str) -> Floats:
    """Mean temperature of the twelve months of a site [°C]."""
    record = place(name).record
    dates = record.first + np.arange(len(record.tmin_c))
    month = dates.astype("datetime64[M]").astype(np.int64) % 12
    mean = (record.tmin_c + record.tmax_c) / 2
    return np.array([np.nanmean(mean[month == number]) for number in range(12)])


def offset_to_cycle(offset: float, site: Site) -> int:
    """Cycle day of an offset in a season without 29 February."""
    start = season_start(2023, site.hemisphere)
    return int(cycle_day(np.asarray(start + int(np.floor(offset)))))
