"""Which day's maximum a minimum goes with: hand-computed days."""

import numpy as np
import pytest

from timing.day_order import MOST_C, day_order


def test_by_hand() -> None:
    low = np.array([0.0, 2.0, 1.0, 1.0, np.nan, 3.0])
    high = np.array([10.0, 13.0, 14.0, 18.0, 19.0, 19.0])
    found = day_order(low, high)
    # day 1: the minimum falls by 1 to day 2, maxima rose by 3 before and by 1 beside: −(3 − 1) / 2
    assert found[1] == pytest.approx(-1.0)
    assert found[2] == 0.0  # the minimum stays
    assert np.isnan(found[[0, 3, 4, 5]]).all()


def test_no_day_rules_a_month() -> None:
    found = day_order(np.array([0.0, 0.0, 1.0]), np.array([0.0, 90.0, 0.0]))
    assert found[1] == MOST_C / 2


@pytest.mark.parametrize("late", [False, True])
def test_a_minimum_that_follows_the_day_before_is_told_from_one_that_leads(late: bool) -> None:
    rng = np.random.default_rng(1)
    high = rng.normal(15, 4, 1000)
    low = (np.roll(high, 0 if late else 1)) - 20
    found = day_order(low, high)
    assert (np.nanmean(found) < -2) if late else (np.nanmean(found) > 2)
