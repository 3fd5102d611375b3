"""Trend of a yearly series: Theil-Sen slope, Mann-Kendall test, autocorrelation dealt with.

slope       median of the slopes between all pairs (Theil 1950; Sen 1968, J. Am. Stat. Assoc.
            63:1379), with Sen's 95 % range.
test        Mann-Kendall (Mann 1945, Econometrica 13:245) with ties and continuity correction.
neighbours  a warm year tends to follow a warm year, so n years tell less than n independent ones.
            The variance of the score is multiplied by the factor of Hamed & Rao (1998, J. Hydrol.
            204:182) for a first-order process, whose coefficient is that of the series without its
            slope, corrected for the bias of short series (Kendall 1954, Biometrika 41:403; with
            a slope taken out (n r + 2) / (n − 4), from memory, checked by simulation). Our own
            caution: a negative coefficient counts as none, so the factor is at least 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from timing.season import Floats, Ints

FEWEST_FOR_TREND = 10
SURE = 0.05  # a trend is called sure below this p
MOST_ALIKE = 0.95
_Z = 1.959963984540054  # 97.5 % point of the normal distribution


@dataclass(frozen=True)
class Trend:
    """Slope of a yearly series and how sure it is.

    Parameters
    ----------
    slope, low, high : change a year, and its 95 % range [units of the series / year].
    p : chance of so strong a score without a trend, two-sided.
    factor : what autocorrelation multiplied the score's variance by.
    years : how many years the slope rests on.
    first, last : first and last of them.
    """

    slope: float
    low: float
    high: float
    p: float
    factor: float
    years: int
    first: int
    last: int

    @property
    def sure(self) -> bool:
        """Whether the test calls it a trend and its range leaves out zero."""
        return self.p < SURE and (self.low > 0 or self.high < 0)

    @property
    def ranged(self) -> bool:
        """Whether there is a range; of whole days, many of them equal, all of it can be zero."""
        return self.low != 0 or self.high != 0


def trend(years: Ints, values: Floats) -> Trend | None:
    """Trend of a yearly series, or None with fewer than ten years.

    Parameters
    ----------
    years : array (n,), increasing; years may be missing.
    values : array (n,), finite.
    """
    if len(years) < FEWEST_FOR_TREND:
        return None
    slopes = pair_slopes(years, values)
    slope = float(np.median(slopes))
    factor = variance_factor(years, values - slope * years)
    variance = factor * score_variance(values)
    low, high = slope_range(slopes, variance)
    p = p_value(score(values), variance)
    return Trend(slope, low, high, p, factor, len(years), int(years[0]), int(years[-1]))


def pair_slopes(years: Ints, values: Floats) -> Floats:
    """Slopes between all pairs of years, sorted."""
    first, second = np.triu_indices(len(years), 1)
    slopes: Floats = np.sort((values[second] - values[first]) / (years[second] - years[first]))
    return slopes


def slope_range(slopes: Floats, variance: float) -> tuple[float, float]:
    """Sen's 95 % range of the median of sorted slopes, from the variance of the score."""
    reach = _Z * math.sqrt(variance)
    below = max(round((len(slopes) - reach) / 2) - 1, 0)
    above = min(round((len(slopes) + reach) / 2), len(slopes) - 1)
    return float(slopes[below]), float(slopes[above])


def score(values: Floats) -> int:
    """Mann-Kendall score: pairs that rise less pairs that fall."""
    first, second = np.triu_indices(len(values), 1)
    return int(np.sign(values[second] - values[first]).sum())


def score_variance(values: Floats) -> float:
    """Variance of the score of independent values, ties allowed for."""
    count = len(values)
    _, ties = np.unique(values, return_counts=True)
    tied = float((ties * (ties - 1) * (2 * ties + 5)).sum())
    return (count * (count - 1) * (2 * count + 5) - tied) / 18


def standard_score(total: int, variance: float) -> float:
    """Score in standard deviations, one step nearer to zero (continuity correction)."""
    if variance <= 0 or total == 0:
        return 0.0
    return (total - math.copysign(1, total)) / math.sqrt(variance)


def p_value(total: int, variance: float) -> float:
    """Two-sided chance of a score this far from zero without a trend."""
    return math.erfc(abs(standard_score(total, variance)) / math.sqrt(2))


def variance_factor(years: Ints, detrended: Floats) -> float:
    """What the likeness of neighbouring years multiplies the score's variance by; at least 1.

    Parameters
    ----------
    years : array (n,), increasing; only pairs of consecutive years tell of their likeness.
    detrended : array (n,), the series without its slope.
    """
    count = len(years)
    departure = detrended - detrended.mean()
    spread = float((departure**2).mean())
    neighbours = np.diff(years) == 1
    if spread == 0 or not neighbours.any():
        return 1.0
    product = float((departure[1:] * departure[:-1])[neighbours].mean()) * (count - 1) / count
    likeness = min(max((count * product / spread + 2) / (count - 4), 0.0), MOST_ALIKE)
    lag = np.arange(1, count)
    ranks = 6 / math.pi * np.arcsin(likeness**lag / 2)  # correlation of the ranks
    weights = (count - lag) * (count - lag - 1) * (count - lag - 2)
    whole = count * (count - 1) * (count - 2)
    return 1 + 2 * float((weights * ranks).sum()) / whole
