"""Windows foretold from some seasons come true in seasons left out as often as they say.

What must hold, at real records and for the weather alone (`tests/held_back_windows.py`):

- from ten or more seasons, days told at 50 to 99% come true at most 4 points less often than told,
  and days that were safe in all seasons and draws in 96 of 100;
- from three, five, eight or nine seasons the answer's chance, lowered for their fewness, is never
  more than what comes true, and from nine days told at 90% come true in 94 of 100;
- told on six days of a season, from its record so far, within 4 points (every sixth season of three
  sites; the weather of each is shared by its days and taxa).
"""

from collections.abc import Sequence

import numpy as np
import pytest
from held_back_windows import (
    LEVELS,
    Foretold,
    from_seasons_before,
    from_the_season_so_far,
    reliability,
)
from sites import place

from timing.species.catalogue import load_species
from timing.windows import FEWEST_SEASONS

FEW = ("acer-palmatum", "malus-halliana")
MANY = (*FEW, "juniperus-chinensis", "pinus-mugo", "buxus-sempervirens", "prunus-serrulata")
SITES = ("basel_1931_2026", "seattle_1948_2017", "washington_dc_1941_2026")


def _before(names: Sequence[str], taxa: Sequence[str], seasons: int, step: int) -> list[Foretold]:
    found: list[Foretold] = []
    for name in names:
        drivers = place(name).drivers
        covered = drivers.select(np.flatnonzero(drivers.covered))
        species = [load_species(slug) for slug in taxa]
        found += from_seasons_before(covered, species, seasons, step=step)
    return found


def _check_many(items: list[Foretold], apart: float) -> None:
    *doubtful, sure = reliability(items)
    for (days, told, was), low in zip(doubtful, LEVELS, strict=False):
        assert days > 100, "too few days to tell"
        assert was >= told - apart, f"from {low:.0%}: told {told:.1%}, was {was:.1%}"
    assert sure[2] >= 0.96, f"told as sure, was {sure[2]:.1%}"


def _check_few(items: list[Foretold], seasons: int) -> None:
    for days, told, was in reliability(items, less=True):
        if days > 100:
            assert was >= told, f"{seasons} seasons: told {told:.1%}, was {was:.1%}"
    if seasons == 9:
        days, _, was = reliability(items, less=True)[2]
        assert days > 100
        assert was >= 0.94, f"nine seasons, told at 90%, was {was:.1%}"


def test_what_is_told_from_twelve_seasons_comes_true() -> None:
    _check_many(_before(("basel_1931_2026",), FEW, 12, 4), 0.04)


@pytest.mark.parametrize("seasons", [FEWEST_SEASONS, 9])
def test_few_seasons_do_not_promise_too_much(seasons: int) -> None:
    _check_few(_before(("basel_1931_2026",), FEW[:1], seasons, 5), seasons)


@pytest.mark.slow
@pytest.mark.parametrize("seasons", [10, 15, 30])
def test_what_is_told_from_many_seasons_comes_true_everywhere(seasons: int) -> None:
    _check_many(_before(SITES, MANY, seasons, 2), 0.04)


@pytest.mark.slow
@pytest.mark.parametrize("seasons", [3, 5, 8, 9])
def test_few_seasons_do_not_promise_too_much_anywhere(seasons: int) -> None:
    _check_few(_before(SITES, MANY, seasons, 2), seasons)


@pytest.mark.slow
def test_what_a_season_under_way_says_comes_true() -> None:
    taxa = [load_species(slug) for slug in MANY]
    found: list[Foretold] = []
    for name in SITES:
        spot = place(name)
        years = [int(year) for year in spot.drivers.years[spot.drivers.covered][36:-2:6]]
        found += from_the_season_so_far(spot.record, spot.site, taxa, years)
    for days, told, was in reliability(found):
        assert days > 500
        assert abs(was - told) <= 0.04, f"told {told:.1%}, was {was:.1%}"
