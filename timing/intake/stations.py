"""Which weather station stands for a site, and how its readings are corrected for height.

One well-covered station with a stated correction, never a blend of several: a blend would take a
day's minimum from one place and its maximum from another. The choice is a sum of points, the fewest
win (`Ranked.points`); weights are our own. No network here.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from timing.site import Site

RADIUS_KM = 50.0
FEWEST_YEARS = 4.0  # three seasons of sixteen months each need nearly as much
ENOUGH_YEARS = 30.0  # the odds rest on the last thirty seasons
RUNNING_DAYS = 60  # a record that ends longer ago cannot follow the season under way
LAPSE_C_PER_KM = 6.5  # ISO 2533 standard atmosphere
EARTH_KM = 6371.0

METRES_A_POINT = 10.0
POINTS_UNKNOWN_HEIGHT = 30.0
POINTS_A_SHORT_YEAR = 2.0
POINTS_UNKNOWN_SHARE = 10.0
POINTS_ENDED = 30.0


@dataclass(frozen=True)
class Station:
    """A weather station.

    Parameters
    ----------
    code : what the service calls it.
    name : what people call it.
    latitude, longitude : decimal degrees [°].
    elevation_m : height above sea level, or None when unknown [m].
    """

    code: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None

    @property
    def label(self) -> str:
        """Name and code."""
        return f"{self.name} ({self.code})"

    def km_from(self, site: Site) -> float:
        """Great-circle distance from a site, by the haversine formula [km]."""
        south, north = math.radians(site.latitude), math.radians(self.latitude)
        turn = math.radians(self.longitude - site.longitude)
        half = (
            math.sin((north - south) / 2) ** 2
            + math.cos(south) * math.cos(north) * math.sin(turn / 2) ** 2
        )
        return 2 * EARTH_KM * math.asin(min(1.0, math.sqrt(half)))

    def metres_above(self, site: Site) -> float | None:
        """How much higher it stands than a site, or None where either height is unknown [m]."""
        if self.elevation_m is None or site.elevation_m is None:
            return None
        return self.elevation_m - site.elevation_m

    def offset_c(self, site: Site) -> float:
        """What is added to its readings for the site; 0 where a height is unknown [°C]."""
        height = self.metres_above(site)
        return 0.0 if height is None else round(LAPSE_C_PER_KM * height / 1000, 2)


@dataclass(frozen=True)
class Candidate:
    """A station and its record of daily minima and maxima.

    Parameters
    ----------
    first, last : first and last day on which it has both.
    share : share of days in between with both, or None when unknown.
    """

    station: Station
    first: dt.date
    last: dt.date
    share: float | None


@dataclass(frozen=True)
class Ranked:
    """A candidate as seen from a site.

    Parameters
    ----------
    years : length of its record within the years asked for.
    parts : points by reason: one a kilometre (distance), one for ten metres of height (height; 30
        where it is unknown), two a year that thirty, or all years asked for, have more (length),
        one a per cent of missing days (gaps; 10 where unknown), 30 where the record ended more than
        60 days ago (ended).
    """

    candidate: Candidate
    distance_km: float
    height_m: float | None
    years: float
    parts: dict[str, float] = field(default_factory=dict)

    @property
    def points(self) -> float:
        """The sum; the fewest win."""
        return sum(self.parts.values())

    @property
    def station(self) -> Station:
        """The station."""
        return self.candidate.station

    @property
    def enough(self) -> bool:
        """Whether the record is long enough to answer from."""
        return self.years >= FEWEST_YEARS


def ranked(
    site: Site, candidates: Iterable[Candidate], *, since: int, today: dt.date
) -> list[Ranked]:
    """Candidates from the best to the worst; equal ones by distance, then by code.

    Parameters
    ----------
    site : the place; its elevation may be unknown.
    candidates : stations with their records.
    since : first year asked for.
    today : the day of the question; records count up to the day before.
    """
    found = [_seen(site, item, since, today) for item in candidates]
    return sorted(found, key=lambda item: (item.points, item.distance_km, item.station.code))


def _seen(site: Site, candidate: Candidate, since: int, today: dt.date) -> Ranked:
    station = candidate.station
    begin, yesterday = dt.date(since, 1, 1), today - dt.timedelta(days=1)
    asked = max((yesterday - begin).days + 1, 0) / 365.25
    held = (min(candidate.last, yesterday) - max(candidate.first, begin)).days + 1
    years = max(held, 0) / 365.25
    distance, height = station.km_from(site), station.metres_above(site)
    share = candidate.share
    parts = {
        "distance": distance,
        "height": POINTS_UNKNOWN_HEIGHT if height is None else abs(height) / METRES_A_POINT,
        "length": POINTS_A_SHORT_YEAR * max(min(asked, ENOUGH_YEARS) - years, 0.0),
        "gaps": POINTS_UNKNOWN_SHARE if share is None else 100 * (1 - share),
        "ended": POINTS_ENDED if (yesterday - candidate.last).days > RUNNING_DAYS else 0.0,
    }
    return Ranked(candidate, distance, height, years, parts)


def station_text(item: Ranked) -> str:
    """One station in words: where, how high, how long and how full its record."""
    candidate = item.candidate
    share = (
        "an unknown share" if candidate.share is None else f"{int(100 * candidate.share + 1e-9)}%"
    )
    return (
        f"{item.station.label}, {item.distance_km:.1f} km away, {height_text(item.height_m)}, "
        f"measured from {candidate.first} to {candidate.last} on {share} of days"
    )


def height_text(height_m: float | None) -> str:
    """A station's height beside the site's, in words."""
    if height_m is None:
        return "height difference unknown"
    if round(height_m) == 0:
        return "as high as the site"
    return f"{abs(height_m):.0f} m {'higher' if height_m > 0 else 'lower'} than the site"


def points_text(item: Ranked) -> str:
    """Points and what they come from, in words."""
    parts = ", ".join(f"{name} {value:.0f}" for name, value in item.parts.items() if value >= 0.5)
    return f"{item.points:.0f} points{f' ({parts})' if parts else ''}"


def correction_text(site: Site, station: Station, offset_c: float) -> str:
    """What was added to the readings and what to keep in mind, in words."""
    height = station.metres_above(site)
    if height is None:
        whose = "site" if site.elevation_m is None else "station"
        cure = (
            "; give --elevation M so that they can be"
            if whose == "site"
            else ", so check its place"
        )
        return f"Readings are not corrected for height: that of the {whose} is unknown{cure}."
    if offset_c == 0:
        return "Readings are not corrected for height."
    verb = "are raised by" if offset_c > 0 else "are lowered by"
    return (
        f"Minima and maxima {verb} {abs(offset_c):g} °C for the height ({LAPSE_C_PER_KM:g} °C a "
        "km); they are stored as measured. On still clear nights cold air lies in valleys and "
        "hollows, and minima may then be wrong either way: hang a thermometer beside the trees."
    )
