"""The model's own error as a fixed set of equally likely draws.

A date from a model is uncertain in two ways: a constant error at the site (this bench, this
clone) and an error that differs from season to season. Both are normal in days. Each season
gets the same stratified quantiles in a seeded random order, so that a question asked twice
gets one answer and sixty-four draws describe the range as well as many more random ones
would (Latin hypercube sampling; McKay, Beckman & Conover 1979, Technometrics 21:239-245). Draws
come in pairs of opposite sign, in every event alike (antithetic variates; Hammersley & Morton 1956,
Math. Proc. Camb. Philos. Soc. 52:449), so that sums of errors have no median of their own.
"""

from __future__ import annotations

import zlib
from functools import cache
from statistics import NormalDist

import numpy as np

from timing.season import Floats

DRAWS = 64
UPPER_HALF = [NormalDist().inv_cdf((k + 0.5) / DRAWS) for k in range(DRAWS // 2, DRAWS)]
SEED = 20260301
# Errors that are added up must not resemble each other by chance: of several tries at an error the
# least alike is kept, against the constant errors before it along a season, or the site's own.
SITE_TRIES, SEASON_TRIES = 100, 16
CHIEF = (
    *("bud_break", "leaf_full_size", "flush_hardened", "growth_stop", "autumn", "dormant"),
    *("full_bloom", "after_flowering", "sap_rise", "chill_met"),
)


@cache
def standard_errors(stream: str, seasons: int) -> tuple[Floats, Floats]:
    """Standard normal errors of one event.

    Parameters
    ----------
    stream : name of the event; events that share a name share their errors.
    seasons : number of seasons.

    Returns
    -------
    site : array (draws,), the constant error at the site.
    season : array (seasons, draws), the error of each season.
    """
    site = _site_error(stream)
    generator = np.random.default_rng([SEED, 0, _number(stream)])
    tries = _pairs(generator, SEASON_TRIES * seasons).reshape(SEASON_TRIES, seasons, DRAWS)
    return site, _least_alike(tries, site[None, :])


@cache
def _site_error(stream: str) -> Floats:
    """The constant error, chosen to be unlike those of the chief events before it."""
    before = CHIEF[: CHIEF.index(stream)] if stream in CHIEF else CHIEF
    tries = _pairs(np.random.default_rng([SEED, 1, _number(stream)]), SITE_TRIES)
    others = np.array([_site_error(name) for name in before]).reshape(-1, DRAWS)
    chosen: Floats = _least_alike(tries[:, None], others)[0]
    return chosen


def _least_alike(tries: Floats, others: Floats) -> Floats:
    """Of several tries at each row, the one that is least correlated with any other error.

    Parameters
    ----------
    tries : array (tries, rows, draws).
    others : array (errors, draws), errors that will be added to it.
    """
    likeness = np.abs(tries @ others.T).max(axis=2, initial=0.0)
    rows: Floats = tries[likeness.argmin(axis=0), np.arange(tries.shape[1])]
    return rows


def _pairs(generator: np.random.Generator, count: int) -> Floats:
    """Rows of stratified normal values in random order, the second half the negative first."""
    half = generator.permuted(np.tile(UPPER_HALF, (count, 1)), axis=1)
    half *= generator.choice((-1.0, 1.0), size=half.shape)
    rows: Floats = np.concatenate((half, -half), axis=1)
    return rows


def _number(stream: str) -> int:
    return zlib.crc32(stream.encode())
