"""Whether a yearly series holds a step: standard normal homogeneity test, simulated chances.

test    Alexandersson 1986, J. Climatol. 6:661: T is the largest value, over all places where the
        series may be cut, of n₁ z₁² + n₂ z₂², with z the mean standardised departure on each side
        of the cut. Written as a regression on a step, so that a trend or earlier steps can be taken
        out of series and step alike (for a trend: Wang 2003, J. Climate 16:3383).
chance  share of 1,000 simulated first-order autoregressive series, treated alike, that reach T. No
        table of critical values. Their autocorrelation is estimated with base and best step taken
        out, so that neither passes for memory. The estimate is rough, so every autocorrelation
        counts by how likely it makes the estimate (our own; with the best one alone, a tenth of
        steady series were called stepped at the 5% level).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from timing.season import Floats, Ints

SERIES = 1000  # simulated for every chance
SEED = 1986
TAKEN_OUT = 2  # steps, before the autocorrelation is estimated
MEMORIES = np.linspace(0.0, 0.9, 10)  # lag-1 autocorrelations simulated; others lie between


@dataclass(frozen=True)
class Verdict:
    """The strongest step of a series.

    Parameters
    ----------
    at : index of the first year after it.
    statistic : Alexandersson's T.
    p : chance of so large a T without a step.
    weights : array (memories,), how likely the series makes each of `MEMORIES`.
    """

    at: int
    statistic: float
    p: float
    weights: Floats

    @property
    def memory(self) -> float:
        """Lag-1 autocorrelation to be expected, trend and step taken out."""
        return float(self.weights @ MEMORIES)


def strongest_step(years: Ints, values: Floats, base: Floats, cuts: Ints) -> Verdict:
    """The place at which one more step explains most, and the chance that it is nothing.

    Parameters
    ----------
    years, values : arrays (n,), the series; years may be missing.
    base : array (n, k), what is taken out first: ones, a line, earlier steps.
    cuts : array (c,), indices at which a step may begin.
    """
    series = values[None, :]
    scores = step_scores(series, base, _columns(len(years), cuts))[0]
    best = int(np.argmax(scores))
    statistic = float(scores[best])
    table = _table(years.tobytes(), base.tobytes(), base.shape[1], cuts.tobytes())
    weights = table.weights(float(_likeness(years, series, base, cuts)[0]))
    return Verdict(int(cuts[best]), statistic, table.chance(statistic, weights), weights)


def beats_line(years: Ints, values: Floats, cuts: Ints) -> float:
    """Chance that a line with autoregressive noise is explained so much better by a step.

    What is compared is the variance a line leaves with the variance the best step leaves; the
    simulated series have the line, the variance and the autocorrelation of this one.

    Parameters
    ----------
    years, values : arrays (n,), the series.
    cuts : array (c,), indices at which a step may begin.
    """
    flat, line = level_and_line(years, line=False), level_and_line(years, line=True)
    columns = _columns(len(years), cuts)

    def advantage(series: Floats) -> Floats:
        whole = (without(series, flat) ** 2).sum(axis=1)
        by_line = (without(series, line) ** 2).sum(axis=1) / whole
        share = step_scores(series, flat, columns).max(axis=1) / len(years)
        ratio: Floats = by_line / np.maximum(1 - share, 1e-12)
        return ratio

    left = without(values[None, :], line)[0]
    weights = strongest_step(years, values, line, cuts).weights
    noise = _simulated(years.tobytes())
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
        columns.append((years - years.mean()) / len(years))
    return np.column_stack(columns)


def without(series: Floats, base: Floats) -> Floats:
    """Series (m, n) without what the columns of a base (n, k) explain."""
    axes, _ = np.linalg.qr(base)
    left: Floats = series - (series @ axes) @ axes.T
    return left


def step_scores(series: Floats, base: Floats, columns: Floats) -> Floats:
    """Alexandersson's T of series (m, n) for steps (n, cuts), shape (m, cuts).

    A series that the base explains wholly scores 0.
    """
    left = without(series, base)
    steps = _units(columns, base)
    whole = (left**2).sum(axis=1)
    tiny = whole <= 1e-18 * (series**2).sum(axis=1)
    explained = (left @ steps.T) ** 2
    scores: Floats = series.shape[1] * explained / np.where(tiny, np.inf, whole)[:, None]
    return scores


def lag_one(years: Ints, left: Floats) -> Floats:
    """Lag-1 autocorrelation of residuals (m, n), pairs of consecutive years only, shape (m,)."""
    next_to = np.diff(years) == 1
    spread = (left**2).mean(axis=1)
    if not next_to.any():
        return np.zeros(len(left))
    product = (left[:, 1:] * left[:, :-1])[:, next_to].mean(axis=1)
    estimate: Floats = np.divide(product, spread, out=np.zeros(len(left)), where=spread > 0)
    return estimate


@dataclass(frozen=True, eq=False)
class _Table:
    """Of simulated series of every memory: their estimates and sorted largest T.

    ``mean`` and ``spread`` of the estimates (memories,), ``largest`` (memories, series).
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

    def chance(self, statistic: float, weights: Floats) -> float:
        """Chance of so large a T."""
        reached = [SERIES - int(np.searchsorted(row, statistic)) for row in self.largest]
        return (float(weights @ reached) + 1) / (SERIES + 1)


@lru_cache(maxsize=32)
def _table(years_: bytes, base_: bytes, wide: int, cuts_: bytes) -> _Table:
    years = np.frombuffer(years_, dtype=np.int64)
    base = np.frombuffer(base_, dtype=float).reshape(len(years), wide)
    cuts = np.frombuffer(cuts_, dtype=np.int64)
    estimates, largest = [], []
    for series in _simulated(years_):
        estimates.append(_likeness(years, series, base, cuts))
        scores = step_scores(series, base, _columns(len(years), cuts))
        largest.append(np.sort(scores.max(axis=1)))
    drawn = np.array(estimates)
    return _Table(drawn.mean(axis=1), drawn.std(axis=1), np.array(largest))


@lru_cache(maxsize=4)
def _simulated(years_: bytes) -> Floats:
    """Autoregressive series for every memory, the same noise in all, (memories, series, n)."""
    years = np.frombuffer(years_, dtype=np.int64)
    place = years - years[0]
    noise = np.random.default_rng(SEED).standard_normal((SERIES, int(place[-1]) + 1))
    return np.stack([autoregressive(noise, float(memory))[:, place] for memory in MEMORIES])


def autoregressive(noise: Floats, memory: float) -> Floats:
    """First-order autoregressive series (m, n) of unit innovations, stationary from the start."""
    series = noise.copy()
    series[:, 0] /= np.sqrt(1 - memory**2)
    for at in range(1, series.shape[1]):
        series[:, at] += memory * series[:, at - 1]
    return series


def _likeness(years: Ints, series: Floats, base: Floats, cuts: Ints) -> Floats:
    """Lag-1 autocorrelation of series (m, n) without the base and their two best steps."""
    left = without(series, base)
    steps = _units(_columns(len(years), cuts), base)
    rows = np.arange(len(series))
    for _ in range(TAKEN_OUT):
        weights = left @ steps.T
        best = np.argmax(weights**2, axis=1)
        left = left - weights[rows, best][:, None] * steps[best]
    return lag_one(years, left)


def _units(columns: Floats, base: Floats) -> Floats:
    """Steps without the base, each of unit length, shape (cuts, n); zero where nothing is left."""
    steps = without(columns.T, base)
    length = np.linalg.norm(steps, axis=1, keepdims=True)
    units: Floats = np.divide(steps, length, out=np.zeros_like(steps), where=length > 1e-6)
    return units


def _columns(count: int, cuts: Ints) -> Floats:
    columns: NDArray[np.bool_] = np.arange(count)[:, None] >= cuts
    return columns.astype(float)
