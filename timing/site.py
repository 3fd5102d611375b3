"""Where the trees stand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from timing.errors import UsageError

Hemisphere = Literal["north", "south"]


@dataclass(frozen=True)
class Site:
    """A place with a temperature record.

    Parameters
    ----------
    name : what the user calls it.
    latitude, longitude : decimal degrees, south and west negative [°].
    elevation_m : height above sea level, or None when unknown [m].
    invented : True for a place of our own making, which every output must say.
    attribution : whom every output must name for the temperatures, and on what terms; may be empty.
    hazards : names of the diseases and pests that its notes say occur there.

    Raises
    ------
    UsageError : a coordinate is not finite or out of range.
    """

    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None
    invented: bool = False
    attribution: str = ""
    hazards: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for label, value, limit in (
            ("latitude", self.latitude, 90.0),
            ("longitude", self.longitude, 180.0),
        ):
            if not math.isfinite(value) or abs(value) > limit:
                raise UsageError(
                    f"{label} {value:g} is not a place on Earth; "
                    f"give decimal degrees between -{limit:g} and {limit:g}"
                )
        if self.elevation_m is not None and not -500 <= self.elevation_m <= 9000:
            raise UsageError(
                f"elevation {self.elevation_m:g} m is not a place where trees stand; "
                "give metres above sea level between -500 and 9000"
            )

    @property
    def hemisphere(self) -> Hemisphere:
        """Which half of the Earth; the equator counts as north."""
        return "south" if self.latitude < 0 else "north"
