"""Chilling hours, Utah units, chill portions and growing degree hours.

What must hold:
- every stored number of the four models is reproduced within its stated tolerance;
- the Dynamic model agrees with its equations written out literally, hour by hour;
- portions never fall; a cold spell counts once complete and is undone by warmth before that;
- leading axes are independent; missing hours behave as documented; nothing warns;
- band edges belong where the documentation says; impossible ranges are refused.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference import Row, reference_cases, reference_rows

from timing.thermal import chill_portions, chilling_hours, growing_degree_hours, utah_units

HOURS = 1000


def series(name: str) -> np.ndarray:
    """Build the series a stored name stands for: 1000 hours, all in °C.

    `const_4`; `cycle_6x16_24x8` (16 h at 6 °C, then 8 h at 24 °C, repeated); `sine_mean10_amp8`
    (a daily sine with its maximum at 15:00).
    """
    kind, *parts = name.split("_")
    if kind == "const":
        return np.full(HOURS, float(parts[0]))
    if kind == "cycle":
        blocks = [(float(t), int(n)) for t, n in (part.split("x") for part in parts)]
        return np.resize(np.concatenate([np.full(n, t) for t, n in blocks]), HOURS)
    assert kind == "sine", name
    mean, amplitude = (float(part.lstrip("meanp")) for part in parts)
    return mean + amplitude * np.sin(2.0 * np.pi * (np.arange(HOURS) - 9.0) / 24.0)


# --- stored numbers ------------------------------------------------------------------------------


def cases_named(prefix: str) -> list[object]:
    return reference_cases(
        "test_vectors.csv",
        "name",
        lambda row: row["name"].startswith(prefix) and row["name"] != "utah_breaks_degF",
    )


@pytest.mark.parametrize("row", cases_named("chill_portions_"))
def test_stored_chill_portions(row: Row) -> None:
    got = chill_portions(series(row["name"].removeprefix("chill_portions_")))[-1]
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


@pytest.mark.parametrize("row", cases_named("utah_"))
def test_stored_utah_units(row: Row) -> None:
    got = utah_units(series(row["name"].removeprefix("utah_"))).sum()
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


@pytest.mark.parametrize("row", cases_named("gdh_asymcur_"))
def test_stored_growing_degree_hours(row: Row) -> None:
    parts = dict(part.split("=") for part in row["inputs"].split(";"))
    assert parts["stress"] == "1"
    got = growing_degree_hours(
        float(parts["T"].removesuffix("C")),
        float(parts["Tb"]),
        float(parts["Topt"]),
        float(parts["Tc"]),
    )
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


def test_stored_utah_steps_in_fahrenheit() -> None:
    # The metric bands lie up to 0.4 °C from the steps in °F: 1 °F either side they agree.
    rows = [r for r in reference_rows("test_vectors.csv") if r["name"] == "utah_breaks_degF"]
    assert len(rows) == 1
    steps = np.array([float(step) for step in rows[0]["expected"].split(";")])
    units = [float(u) for u in rows[0]["inputs"].split("->")[1].split(",")]
    assert utah_units((steps - 1.0 - 32.0) / 1.8).tolist() == units[:-1], rows[0]["source"]
    assert utah_units((steps + 1.0 - 32.0) / 1.8).tolist() == units[1:], rows[0]["source"]


def test_no_stored_number_is_left_out() -> None:
    names = [row["name"] for row in reference_rows("test_vectors.csv")]
    counts = {
        prefix: sum(name.startswith(prefix) for name in names)
        for prefix in ("chill_", "utah_", "gdh_")
    }
    exercised = {
        prefix: len(cases_named(full))
        for prefix, full in (
            ("chill_", "chill_portions_"),
            ("utah_", "utah_"),
            ("gdh_", "gdh_asymcur_"),
        )
    }
    exercised["utah_"] += 1  # the steps in °F have their own test
    assert counts == exercised == {"chill_": 8, "utah_": 9, "gdh_": 8}
    assert len(reference_rows("chill_vectors.csv")) == 17


every_series = pytest.mark.parametrize("row", reference_cases("chill_vectors.csv", "series"))


@every_series
def test_series_portions(row: Row) -> None:
    assert int(row["hours"]) == HOURS
    portions = chill_portions(series(row["series"]))
    expected = float(row["CP_independent_K273.15"])
    assert portions[-1] == pytest.approx(expected, abs=1e-6), "independent loop, K = C + 273.15"
    assert portions[-1] == pytest.approx(float(row["CP_xclim_kernel"]), abs=1e-6), "xclim 0.62"
    assert portions[499] == pytest.approx(float(row["CP_after_500h_K273.15"]), abs=1e-6)
    first = int(np.argmax(portions > 0.0)) + 1 if portions[-1] > 0.0 else -1
    assert first == int(row["first_portion_hour(1-based)"])


@every_series
def test_series_utah_units(row: Row) -> None:
    total = utah_units(series(row["series"])).sum()
    assert total == float(row["Utah_CU_independent"]), "last step at 18.0 °C"


@every_series
def test_series_chilling_hours(row: Row) -> None:
    hourly = series(row["series"])
    assert chilling_hours(hourly).sum() == float(row["CH_0to7.2_incl"])
    assert chilling_hours(hourly, -math.inf).sum() == float(row["CH_le7.2"])
    inside = math.nextafter(0.0, 1.0), math.nextafter(7.2, 0.0)
    assert chilling_hours(hourly, *inside).sum() == float(row["CH_gt0_lt7.2"])


@pytest.mark.parametrize(
    ("name", "portions", "units", "hours"),
    [  # computed with xclim 0.62.0 and, independently, with a scalar loop; 1000 h
        ("const_0", 5.915899, 0.0, 1000),
        ("const_4", 30.372005, 1000.0, 1000),
        ("const_6", 34.370799, 1000.0, 1000),
        ("const_12", 24.045438, 500.0, 0),
        ("const_13", 0.0, 0.0, 0),
        ("const_16", 0.0, -500.0, 0),
        ("cycle_6x16_24x8", 0.0, 344.0, 672),
        ("cycle_6x20_24x4", 19.666763, 672.0, 836),
        ("cycle_6x16_15x8", 30.210889, 672.0, 672),
        ("sine_mean10_amp8", 21.907434, 376.0, 377),
    ],
)
def test_known_series(name: str, portions: float, units: float, hours: int) -> None:
    hourly = series(name)
    assert chill_portions(hourly)[-1] == pytest.approx(portions, abs=1e-6)
    assert utah_units(hourly).sum() == units
    assert chilling_hours(hourly).sum() == hours


# --- Dynamic model -------------------------------------------------------------------------------


def portions_by_the_book(hourly: list[float]) -> list[float]:
    """Fishman et al. (1987), one equation a line, as printed."""
    e0, e1, a0, a1, slope, tf = 4153.5, 12888.8, 139500.0, 2.567e18, 1.6, 277.0
    total, before, fixed_before = 0.0, 0.0, 0.0
    cumulated = [0.0]
    for celsius in hourly[1:]:
        kelvin = celsius + 273.15
        sr = math.exp(slope * tf * (kelvin - tf) / kelvin)
        xi = sr / (1.0 + sr)
        xs = a0 / a1 * math.exp((e1 - e0) / kelvin)
        ak1 = a1 * math.exp(-e1 / kelvin)
        start = before if before < 1.0 else before * (1.0 - fixed_before)
        product = xs - (xs - start) * math.exp(-ak1)
        if product >= 1.0:
            total += product * xi
        before, fixed_before = product, xi
        cumulated.append(total)
    return cumulated


hourly_lists = st.lists(st.integers(-150, 300).map(lambda t: t / 10.0), min_size=1, max_size=120)
cold_weeks = st.tuples(st.integers(-20, 140), st.integers(0, 80), st.integers(1, 24))
quick = settings(max_examples=60, deadline=None)


@quick
@given(cold_weeks, hourly_lists)
def test_portions_follow_the_printed_equations(
    cold: tuple[int, int, int], ending: list[float]
) -> None:
    mean, swing, phase = cold
    hour = np.arange(168)
    week = mean / 10.0 + swing / 10.0 * np.sin(2.0 * np.pi * (hour - phase) / 24.0)
    hourly = [*week.tolist(), *ending]
    np.testing.assert_allclose(
        chill_portions(hourly), portions_by_the_book(hourly), atol=1e-9, rtol=1e-9
    )


@quick
@given(hourly_lists)
def test_portions_never_fall_and_begin_at_zero(hourly: list[float]) -> None:
    portions = chill_portions(np.tile(hourly, 5))
    assert portions[0] == 0.0
    assert np.all(np.diff(portions) >= 0.0)


@quick
@given(hourly_lists, hourly_lists)
def test_portions_of_several_series_are_those_of_each(one: list[float], other: list[float]) -> None:
    length = min(len(one), len(other))
    both = np.tile(np.array([one[:length], other[:length]]), 6)
    stacked = chill_portions(both.reshape(2, 1, -1))
    assert stacked.shape == (2, 1, 6 * length)
    for row, hourly in zip(stacked[:, 0], both, strict=True):
        np.testing.assert_array_equal(row, chill_portions(hourly))


def test_warm_spell_undoes_a_portion_before_it_is_complete_only() -> None:
    cold = np.full(19, 6.0)  # one spell is too short for a portion, two in a row give one
    warm = np.full(24, 24.0)
    assert chill_portions(np.concatenate([cold, cold[1:]]))[-1] > 0.5
    assert chill_portions(np.concatenate([cold, warm, cold[1:]]))[-1] == 0.0
    complete = chill_portions(np.concatenate([cold, cold, warm]))
    assert complete[37] > 0.5
    assert complete[-1] == complete[37]


def test_missing_hours_hold_the_intermediate_product() -> None:
    cold = np.full(200, 6.0)
    gap = np.full(50, np.nan)
    with_gap = chill_portions(np.concatenate([cold[:100], gap, cold[100:]]))
    without = chill_portions(cold)
    np.testing.assert_array_equal(with_gap[:100], without[:100])
    np.testing.assert_array_equal(with_gap[100:150], without[99])
    np.testing.assert_array_equal(with_gap[150:], without[100:])
    assert chill_portions(np.full(48, np.nan)).tolist() == [0.0] * 48


def test_portions_of_nothing_and_of_a_scalar() -> None:
    assert chill_portions(np.empty((3, 0))).shape == (3, 0)
    assert chill_portions(np.empty((0, 24))).shape == (0, 24)
    with pytest.raises(ValueError, match="last axis"):
        chill_portions(6.0)


def test_extreme_temperatures_stay_finite() -> None:
    for temperature in (-60.0, 55.0):
        assert chill_portions(np.full(500, temperature))[-1] == pytest.approx(0.0, abs=1e-9)


# --- hour by hour --------------------------------------------------------------------------------


def test_utah_band_edges_belong_to_the_colder_band() -> None:
    edges = [1.4, 2.4, 9.1, 12.4, 15.9, 18.0]
    assert utah_units(edges).tolist() == [0.0, 0.5, 1.0, 0.5, 0.0, -0.5]
    assert utah_units([t + 0.01 for t in edges]).tolist() == [0.5, 1.0, 0.5, 0.0, -0.5, -1.0]


def test_chilling_hours_include_both_ends() -> None:
    hourly = [-0.1, 0.0, 3.0, 7.2, 7.3]
    assert chilling_hours(hourly).tolist() == [0.0, 1.0, 1.0, 1.0, 0.0]
    assert chilling_hours(hourly, -math.inf).tolist() == [1.0, 1.0, 1.0, 1.0, 0.0]
    assert chilling_hours(hourly, 3.0, 3.0).tolist() == [0.0, 0.0, 1.0, 0.0, 0.0]


@pytest.mark.parametrize("bounds", [(7.2, 0.0), (math.nan, 7.2), (0.0, math.nan)])
def test_chilling_hours_refuse_an_impossible_range(bounds: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="lower_c <= upper_c"):
        chilling_hours([3.0], *bounds)


@pytest.mark.parametrize(
    ("temperature", "expected"),
    [  # Anderson et al. (1986), computed from the printed equations with 4, 25 and 36 °C
        (-10.0, 0.0),
        (4.0, 0.0),
        (6.0, 0.466486),
        (10.0, 3.953357),
        (14.5, 10.5),
        (25.0, 21.0),
        (28.0, 12.276285),
        (30.5, 6.150758),
        (36.0, 0.0),
        (45.0, 0.0),
    ],
)
def test_growing_degree_hours(temperature: float, expected: float) -> None:
    assert growing_degree_hours(temperature) == pytest.approx(expected, abs=1e-6)


def test_growing_degree_hours_rise_to_the_optimum_and_fall_after() -> None:
    grid = np.linspace(-5.0, 45.0, 501)
    got = growing_degree_hours(grid, 2.0, 20.0, 30.0)
    assert grid[np.argmax(got)] == pytest.approx(20.0)
    assert got.max() == pytest.approx(18.0)
    assert np.all(np.diff(got[grid <= 20.0]) >= 0.0)
    assert np.all(np.diff(got[grid >= 20.0]) <= 0.0)
    assert np.all(got[(grid <= 2.0) | (grid >= 30.0)] == pytest.approx(0.0))


@pytest.mark.parametrize("cardinal", [(25.0, 25.0, 36.0), (4.0, 36.0, 25.0), (4.0, 25.0, math.nan)])
def test_growing_degree_hours_refuse_unordered_temperatures(
    cardinal: tuple[float, float, float],
) -> None:
    with pytest.raises(ValueError, match="base_c < optimum_c < critical_c"):
        growing_degree_hours([10.0], *cardinal)


@pytest.mark.parametrize("count", [chilling_hours, utah_units, growing_degree_hours])
def test_hourly_counts_keep_shape_and_show_missing_hours(
    count: Callable[..., np.ndarray],
) -> None:
    hourly = np.array([[6.0, np.nan, 14.0], [20.0, 2.0, np.nan]])
    got = count(hourly)
    assert got.shape == hourly.shape
    np.testing.assert_array_equal(np.isnan(got), np.isnan(hourly))
    for index in np.argwhere(~np.isnan(hourly)):
        assert got[tuple(index)] == count(hourly[tuple(index)])
