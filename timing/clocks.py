"""How a spring day counts towards bud break, bloom and full leaves: the forcing clocks.

A day's forcing is a sigmoid of temperature, 1 / (1 + exp(−slope × (T − midpoint))), times
(day length / 12 h)^exponent, counted from a fixed start. The sigmoid is the form of Hänninen
(1990) and Chuine (2000); the day-length factor that of Blümel & Chmielewski (2012).

leaf    the day's maximum stands for the temperature of sunlit buds; fitted to leaf-out of 33 taxa
bloom   mean of the sigmoid over a sine wave between the extremes; fitted to two cherries
place   degree days of the whole day, which tell places apart (`timing.placing`)
leafing the day's maximum without day length, from 16 March or from bud break where that is
        earlier, until the leaves are full size; fitted to 32 taxa

Constants were chosen by leave-one-season-out over a grid (``docs/method.md``); only the
requirement is fitted per taxon. `alternatives` lists the clocks that tuning may choose for a taxon
with a long series of its own: another weight of day length, an earlier start, and plain degree days
above 4 °C instead of the sigmoid.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from timing.season import FIRST_FEBRUARY, NEW_YEAR


@dataclass(frozen=True)
class Clock:
    """One way of counting forcing.

    Parameters
    ----------
    temperature : the day's maximum, or a sine wave between the extremes.
    midpoint_c : temperature of half the full rate, or the base of degree days [°C].
    slope : steepness of the sigmoid [1/°C]; 0 for degree days.
    exponent : of day length / 12 h.
    start : offset from which forcing counts.
    """

    temperature: Literal["maximum", "sine"]
    midpoint_c: float
    slope: float
    exponent: float
    start: int

    def alternatives(self) -> tuple[Clock, ...]:
        """Clocks of other structure: response, weight of day length, start."""
        return tuple(
            replace(response, exponent=exponent, start=start)
            for response in (self, DEGREE_DAYS)
            for exponent in dict.fromkeys((self.exponent, *EXPONENTS))
            for start in dict.fromkeys((self.start, *STARTS))
        )


EXPONENTS = (3.0, 2.0, 1.0, 0.0)
STARTS = (NEW_YEAR - 31, NEW_YEAR, FIRST_FEBRUARY)  # 1 December, 1 January, 1 February


DEGREE_DAYS = Clock("sine", 4.0, 0.0, 0.0, NEW_YEAR)
LEAF = Clock("maximum", 19.0, 0.175, 4.0, NEW_YEAR + 17)
BLOOM = Clock("sine", 15.0, 0.3, 3.0, FIRST_FEBRUARY)
PLACE = Clock("sine", 2.0, 0.0, 3.0, FIRST_FEBRUARY)  # tells places apart, see timing.placing
LEAFING = Clock("maximum", 15.0, 0.3, 0.0, NEW_YEAR + 74)  # leaves on their way to full size
CLOCKS = {"bud_break": LEAF, "full_bloom": BLOOM}
