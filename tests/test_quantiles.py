"""Quantiles are NumPy's own, to the bit.

What must hold: for any number of values, with ties and infinities, along the last axis, and at
shares up to both ends.
"""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from timing.quantiles import quantiles

DAYS = st.sampled_from([np.inf, -np.inf]) | st.floats(-500, 500) | st.integers(0, 40).map(float)


@given(
    st.integers(1, 70).flatmap(lambda n: arrays(np.float64, (2, n), elements=DAYS)),
    st.lists(st.floats(0, 1), min_size=1, max_size=4),
)
def test_quantiles_are_those_of_numpy(values: np.ndarray, shares: list[float]) -> None:
    with np.errstate(invalid="ignore"):
        expected = np.quantile(values, shares, axis=-1, method="median_unbiased")
    np.testing.assert_array_equal(quantiles(values, shares), expected)
