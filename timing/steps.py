"""Whether a yearly series holds a step: standard normal homogeneity test, simulated chances.

test    Alexandersson 1986, J. Climatol. 6:661: T is the largest value, over all places where the
        series may be cut, of n₁ z₁² + n₂ z₂², with z the mean standardised departure on each side
        of the cut. Written as a regression on a step, so that a trend or earlier steps can be taken
        out of series and step alike (for a trend: Wang 2003, J. Climate 16:3383).
pairs   a step and a later step back nearly hide each other from T, so the same sum for the best
        step and the best second one is tested beside it (our own).
chance  share of 1,000 simulated first-order autoregressive series, treated alike, that reach T. No
        table of critical values. Their autocorrelation is estimated with base and two best steps
        taken out, so that none of them passes for memory. The estimate is rough, so every
        autocorrelation counts by how likely it makes the estimate, strong memory being the rarer
        (our own; with the best one alone, a tenth of steady series were called stepped at 5%).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from timing.season import Floats, Ints

SERIES = 1000  # simulated for every chance
SEED = 1986
LEAST_YEARS = 3  # between steps
MEMORIES = np.linspace(0.0, 0.9, 10)  # lag-1 autocorrelations simulated


@dataclass(frozen=True)
class Verdict:
    """The strongest step of a series, and the strongest pair.

    Parameters
    ----------
    at : indices of the first year after the step, and after the second one of a pair.
    statistic : T of the step, and of the pair.
    p : chance of so large a T without a step, and of the pair's.
    weights : array (memories,), how likely the series makes each of `MEMORIES`.
    """

    at: tuple[int, int]
    statistic: tuple[float, float]
    p: tuple[float, float]
    weights: Floats

    @property
    def memory(self) -> float:
        """Lag-1 autocorrelation to be expected, trend and steps taken out."""
        return float(self.weights @ MEMORIES)


def strongest_steps(years: Ints, values: Floats, base: Floats, cuts: Ints) -> Verdict:
    """The places at which one and two more steps explain most, and the chances.

    Parameters
    ----------
    years, values : arrays (n,), the series; years may be missing.
    base : array (n, k), what is taken out first: ones, a line, earlier steps.
    cuts : array (c,), indices at which a step may begin.
    """
    found = _two_best(years, values[None, :], base, cuts)
    table = _table((years - years[0]).tobytes(), base.tobytes(), base.shape[1], cuts.tobytes())
    weights = table.weights(float(found.likeness[0]))
    statistic = float(found.largest[0, 0]), float(found.largest[0, 1])
    p = table.chance(0, statistic[0], weights), table.chance(1, statistic[1], weights)
    return Verdict((int(found.at[0, 0]), int(found.at[0, 1])), statistic, p, weights)


def beats_line(years: Ints, values: Floats, cuts: Ints, steps: int) -> float:
    """Chance that a line with autoregressive noise is explained so much better by steps.

    What is compared is the variance a line leaves with the variance the best step, or pair of
    steps, leaves; the simulated series have the line, the variance and the autocorrelation of this
    one.

    Parameters
    ----------
    years, values : arrays (n,), the series.
    cuts : array (c,), indices at which a step may begin.
    steps : 1 or 2.
    """
    flat, line = level_and_line(years, line=False), level_and_line(years, line=True)

    def advantage(series: Floats) -> Floats:
        whole = (without(series, flat) ** 2).sum(axis=1)
        by_line = (without(series, line) ** 2).sum(axis=1) / whole
        share = _two_best(years, series, flat, cuts).largest[:, steps - 1] / len(years)
        ratio: Floats = by_line / np.maximum(1 - share, 1e-12)
        return ratio

    left = without(values[None, :], line)[0]
    weights = strongest_steps(years, values, line, cuts).weights
    noise = _simulated((years - years[0]).tobytes())
    shares = (np.arange(SERIES) + 0.5) / SERIES
    memory = np.minimum(np.searchsorted(np.cumsum(weights), shares), len(MEMORIES) - 1)
    noise = noise[memory, np.arange(SERIES)]
    spread = left.std() / without(noise, line).std(axis=1, keepdims=True)
    drawn = advantage(values - left + spread * noise)
    return float((drawn >= advantage(values[None, :])[0]).mean())


def level_and_line(years: Ints, *, line: bool) -> Floats:
    """A column of ones, and the years beside it where ``line``, shape (n, 1 or 2)."""
    columns = [np.ones(len(years))]
    if line:
        columns.append((years - years[0] - np.mean(years - years[0])) / len(years))
    return np.column_stack(columns)


def without(series: Floats, base: Floats) -> Floats:
    """Series (m, n) without what the columns of a base (n, k) explain."""
    axes, _ = np.linalg.qr(base)
    left: Floats = series - (series @ axes) @ axes.T
    return left


def unit_steps(count: int, base: Floats, cuts: Ints) -> Floats:
    """Steps without the base, each of unit length, shape (cuts, n); zero where nothing is left."""
    columns: NDArray[np.bool_] = np.arange(count) >= cuts[:, None]
    steps = without(columns.astype(float), base)
    length = np.linalg.norm(steps, axis=1, keepdims=True)
    units: Floats = np.divide(steps, length, out=np.zeros_like(steps), where=length > 1e-6)
    return units


def lag_one(years: Ints, left: Floats) -> Floats:
    """Lag-1 autocorrelation of residuals (m, n), pairs of consecutive years only, shape (m,)."""
    next_to = np.diff(years) == 1
    spread = (left**2).mean(axis=1)
    if not next_to.any():
        return np.zeros(len(left))
    product = (left[:, 1:] * left[:, :-1])[:, next_to].mean(axis=1)
    estimate: Floats = np.divide(product, spread, out=np.zeros(len(left)), where=spread > 0)
    return estimate


def autoregressive(noise: Floats, memory: float) -> Floats:
    """First-order autoregressive series (m, n) of unit innovations, stationary from the start."""
    series = noise.copy()
    series[:, 0] /= np.sqrt(1 - memory**2)
    for at in range(1, series.shape[1]):
        series[:, at] += memory * series[:, at - 1]
    return series


@dataclass(frozen=True, eq=False)
class _TwoBest:
    """Of series (m,): places and T of the best step and of the best pair (m, 2), likeness (m,)."""

    at: Ints
    largest: Floats
    likeness: Floats


def _two_best(years: Ints, series: Floats, base: Floats, cuts: Ints) -> _TwoBest:
    """The best step, and the best second one beside it, at least three years away.

    A series that the base explains wholly scores 0.
    """
    left = without(series, base)
    whole = (left**2).sum(axis=1)
    steps = unit_steps(len(years), base, cuts)
    rows = np.arange(len(series))
    weights = left @ steps.T
    first = np.argmax(weights**2, axis=1)
    gained = weights[rows, first] ** 2

    # beside the first step every other keeps its part that the first does not share
    shared = steps @ steps.T
    apart = (np.abs(cuts[:, None] - cuts) >= LEAST_YEARS) & (shared**2 < 1 - 1e-6)
    scale = np.where(apart, 1 / np.sqrt(np.where(apart, 1 - shared**2, 1.0)), 0.0)
    beside = (weights - weights[rows, first][:, None] * shared[first]) * scale[first]
    second = np.argmax(beside**2, axis=1)
    more = beside[rows, second] ** 2
    left = left - weights[rows, first][:, None] * steps[first]
    own = steps[second] - shared[first, second][:, None] * steps[first]
    left = left - (beside[rows, second] * scale[first, second])[:, None] * own

    known = whole > 1e-18 * (series**2).sum(axis=1)
    per = np.divide(series.shape[1], whole, out=np.zeros(len(rows)), where=known)
    largest = per[:, None] * np.column_stack([gained, gained + more])
    return _TwoBest(np.column_stack([cuts[first], cuts[second]]), largest, lag_one(years, left))


@dataclass(frozen=True, eq=False)
class _Table:
    """Of simulated series of every memory: their estimates and sorted largest T.

    ``mean`` and ``spread`` of the estimates (memories,), ``largest`` (memories, 2, series).
    """

    mean: Floats
    spread: Floats
    largest: Floats

    def weights(self, estimate: float) -> Floats:
        """How likely each memory makes the estimate, summing to 1, shape (memories,)."""
        distance = (estimate - self.mean) / self.spread
        likely = np.exp(-0.5 * (distance**2 - (distance**2).min())) / self.spread
        likely *= 1 - MEMORIES
        weights: Floats = likely / likely.sum()
        return weights

    def chance(self, steps: int, statistic: float, weights: Floats) -> float:
        """Chance of so large a T."""
        reached = [SERIES - int(np.searchsorted(row, statistic)) for row in self.largest[:, steps]]
        return (float(weights @ reached) + 1) / (SERIES + 1)


@lru_cache(maxsize=32)
def _table(years_: bytes, base_: bytes, wide: int, cuts_: bytes) -> _Table:
    years = np.frombuffer(years_, dtype=np.int64)
    base = np.frombuffer(base_, dtype=float).reshape(len(years), wide)
    cuts = np.frombuffer(cuts_, dtype=np.int64)
    drawn = [_two_best(years, series, base, cuts) for series in _simulated(years_)]
    estimates = np.array([found.likeness for found in drawn])
    largest = np.array([np.sort(found.largest.T, axis=1) for found in drawn])
    return _Table(estimates.mean(axis=1), estimates.std(axis=1), largest)


@lru_cache(maxsize=8)
def _simulated(years_: bytes) -> Floats:
    """Autoregressive series for every memory, the same noise in all, (memories, series, n)."""
    years = np.frombuffer(years_, dtype=np.int64)  # the first is 0
    noise = np.random.default_rng(SEED).standard_normal((SERIES, int(years[-1]) + 1))
    return np.stack([autoregressive(noise, float(memory))[:, years] for memory in MEMORIES])
