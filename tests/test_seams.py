"""Where this season's chances hand over to those of past seasons, no window is parted.

What must hold:

* about the winter solstices, where two seasons meet, no single day falls out of a window;
* a tree that rests never has no seam at all, leap years included;
* the hand-over is made on the day on which the chances change least, nearest to the solstice.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sites import SAMPLES, TAXA, equatorial, place

from timing.advice import CONFIDENCE
from timing.answers import outlook
from timing.running import _seams, running_year
from timing.season import WINTER_SOLSTICE, season_start
from timing.species.catalogue import load_species
from timing.windows import runs_at

AROUND = 20  # days on both sides of a solstice
WOBBLE = 0.02  # between neighbouring days, by the draws; a chance near the confidence may cross it
PARTED = (  # these were, before the seams were moved
    *(("southern-temperate", slug, "2024-11-15") for slug in ("pinus-thunbergii", "picea-abies")),
    ("southern-temperate", "cedrus-atlantica", "2024-11-15"),
    ("cold-interior", "castanea-dentata", "2024-11-15"),
    ("hillside", "larix-decidua", "2025-07-14"),
    ("valley-floor", "viburnum-cassinoides", "2025-07-14"),
    ("coast", "amelanchier-sp", "2025-07-14"),
    ("humid-continental", "buxus-sempervirens", "2024-11-15"),
)


def holes(sample: str, slug: str, on: str) -> list[tuple[str, np.datetime64]]:
    """Single days about the solstices that fall below the confidence between two safe ones."""
    today = np.datetime64(on, "D")
    spot = place(sample).as_of(on)
    view = outlook(load_species(slug), spot.record, spot.drivers, on=today)
    hemisphere = spot.site.hemisphere
    year = running_year(today, hemisphere)
    found = []
    for kind, odds in view.odds.items():
        assert odds.running is not None
        for season in (year, year + 1):
            solstice = season_start(season, hemisphere) + WINTER_SOLSTICE
            days = solstice + np.arange(-AROUND, AROUND + 1)
            chance = odds.at(days)
            found += [
                (kind, days[first])
                for first, stop in runs_at(-chance, -CONFIDENCE + 1e-6)
                if stop - first == 1
                and first > 0
                and stop < len(days)
                and min(chance[first - 1], chance[stop]) - chance[first] > WOBBLE
            ]
    return found


@pytest.mark.parametrize(("sample", "slug", "on"), PARTED)
def test_no_window_is_parted_at_the_solstice(sample: str, slug: str, on: str) -> None:
    assert holes(sample, slug, on) == []


@pytest.mark.slow
@pytest.mark.parametrize("on", ["2024-11-15", "2025-07-14"])
@pytest.mark.parametrize("sample", SAMPLES)
def test_no_window_of_any_taxon_is_parted_at_the_solstice(sample: str, on: str) -> None:
    assert {slug: holes(sample, slug, on) for slug in TAXA} == {slug: [] for slug in TAXA}


@pytest.mark.parametrize("on", ["2003-06-15", "2004-02-29", "2004-12-20"])
def test_a_tree_that_never_rests_has_no_seam(on: str) -> None:
    spot = equatorial().as_of(on)
    today = np.datetime64(on, "D")
    view = outlook(load_species("ficus-microcarpa"), spot.record, spot.drivers, on=today)
    days = np.arange("2002-01-01", "2007-01-01", dtype="M8[D]")
    for kind, odds in view.odds.items():
        assert len(set(odds.at(days).tolist())) == 1, kind


@given(
    apart=st.lists(st.sampled_from([0.0, 0.01, 0.2]), min_size=10, max_size=10),
    solstice=st.integers(1, 4),
    next_solstice=st.integers(5, 8),
)
def test_the_hand_over_changes_least(apart: list[float], solstice: int, next_solstice: int) -> None:
    begin, end = _seams(np.array(apart), solstice, next_solstice)

    def step(day: int) -> float:
        return max(apart[day - 1], apart[day])

    before, after = range(1, solstice + 1), range(next_solstice, len(apart))
    assert begin == min(before, key=lambda day: (step(day), solstice - day))
    assert end == min(after, key=lambda day: (step(day), day))
