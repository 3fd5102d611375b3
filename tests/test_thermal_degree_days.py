"""Degree days.

What must hold:
- every published or independently computed number is reproduced within its stated tolerance;
- sine and triangle agree with numerical integration of the curve itself, for every cutoff;
- the double methods use the next day's minimum, and the day's own where there is none;
- never negative; a higher lower threshold never gives more; horizontal >= intermediate >= vertical;
- scaling temperatures and thresholds (°C to °F) scales the result and changes nothing else;
- leading axes are independent of each other; a missing value spoils its own day only;
- unknown names and impossible thresholds are refused with the valid choices named.
"""

import datetime
import re
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference import Row, reference_cases, reference_rows
from scipy import integrate

from timing.thermal import degree_days

METHODS = (
    "average",
    "modified_average",
    "single_sine",
    "single_triangle",
    "double_sine",
    "double_triangle",
)
CUTOFFS = ("horizontal", "intermediate", "vertical")

# The four-case daily formula of the Irish and British weather services is another method, which
# this package does not have.
NOT_COVERED = {"dd_mcvicker_case3", "dd_mcvicker_case4"}


def one_day(
    tmin: float, tmax: float, lower: float, upper: float | None = None, **how: str
) -> float:
    return float(degree_days([tmin], [tmax], lower, upper, **how)[0])


# --- published numbers ---------------------------------------------------------------------------


def is_degree_days(row: Row) -> bool:
    return row["name"].startswith(("dd_", "uc_dd_"))


@pytest.mark.parametrize(
    "row",
    reference_cases(
        "test_vectors.csv",
        "name",
        lambda row: is_degree_days(row) and row["name"] not in NOT_COVERED,
    ),
)
def test_reproduces_every_stored_number(row: Row) -> None:
    tmin, tmax, lower, upper, how = read_inputs(row["inputs"])
    got = one_day(tmin, tmax, lower, upper, **how)
    assert got == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), row["source"]


def read_inputs(text: str) -> tuple[float, float, float, float | None, dict[str, str]]:
    """Temperatures, thresholds and keywords from `tmax=65F;tmin=40F;base=50F;method=average`."""
    numbers: dict[str, float] = {}
    how: dict[str, str] = {}
    for part in text.split(";"):
        key, _, value = part.replace("<=", "=").partition("=")
        if key in ("method", "cutoff"):
            how[key] = re.sub(r"\(.*\)", "", value)
        else:
            found = re.match(r"-?[\d.]+(?=[CF]\b)", value)
            assert found, f"no temperature in {part!r}"
            numbers[key] = float(found.group())
    tmin = numbers.get("tmin", numbers.get("tmean"))
    tmax = numbers.get("tmax", numbers.get("tmean"))
    lower = numbers.get("lower", numbers.get("base"))
    assert tmin is not None and tmax is not None and lower is not None, text
    return tmin, tmax, lower, numbers.get("upper"), how


def test_no_stored_number_is_left_out() -> None:
    names = {row["name"] for row in reference_rows("test_vectors.csv") if is_degree_days(row)}
    methods = {
        read_inputs(row["inputs"])[4]["method"]
        for row in reference_rows("test_vectors.csv")
        if is_degree_days(row) and row["name"] not in NOT_COVERED
    }
    assert names >= NOT_COVERED
    assert methods <= set(METHODS)
    assert len(names) == 29 + 43
    assert len(reference_rows("degree_day_answers.csv")) == 40


SHAPES = {
    "sngsine": "single_sine",
    "sngtri": "single_triangle",
    "dblsine": "double_sine",
    "dbltri": "double_triangle",
}
CUTOFF_COLUMNS = {"horiz": "horizontal", "vert": "vertical", "intrmd": "intermediate"}
ANSWERS_TOLERANCE = 0.011  # the answers are rounded to 0.01


@pytest.mark.parametrize("row", reference_cases("degree_day_answers.csv", "date"))
@pytest.mark.parametrize("shape", ["sngsine", "sngtri"])
def test_single_methods_give_the_university_of_california_answers(row: Row, shape: str) -> None:
    for column, cutoff in CUTOFF_COLUMNS.items():
        got = one_day(
            float(row["tmin"]), float(row["tmax"]), 50, 70, method=SHAPES[shape], cutoff=cutoff
        )
        expected = float(row[f"{shape}_{column}"])
        assert got == pytest.approx(expected, abs=ANSWERS_TOLERANCE), (
            f"{cutoff}: University of California degree-day answers, Esparto 2020, 50/70 °F"
        )


@pytest.mark.parametrize("row", reference_cases("degree_day_answers.csv", "date"))
@pytest.mark.parametrize("shape", ["dblsine", "dbltri"])
def test_double_methods_give_the_university_of_california_answers(row: Row, shape: str) -> None:
    # The table holds 40 days of the year. Where it lacks the next day, its minimum (a whole °F)
    # is not known; then one minimum must explain all six double answers of the day.
    by_date = {day_of(other): other for other in reference_rows("degree_day_answers.csv")}
    tomorrow = by_date.get(day_of(row) + datetime.timedelta(days=1))
    candidates = [float(tomorrow["tmin"])] if tomorrow else [float(t) for t in range(20, 90)]

    def explains_all(minimum: float) -> bool:
        return all(
            abs(first_of_two_days(row, minimum, name, cutoff) - float(row[f"{kind}_{column}"]))
            <= ANSWERS_TOLERANCE
            for kind, name in SHAPES.items()
            if kind.startswith("dbl")
            for column, cutoff in CUTOFF_COLUMNS.items()
        )

    fitting = [minimum for minimum in candidates if explains_all(minimum)]
    assert fitting, f"no next minimum explains the double answers of {row['date']}"
    for column, cutoff in CUTOFF_COLUMNS.items():
        got = first_of_two_days(row, fitting[0], SHAPES[shape], cutoff)
        assert got == pytest.approx(float(row[f"{shape}_{column}"]), abs=ANSWERS_TOLERANCE)


def day_of(row: Row) -> datetime.date:
    return datetime.datetime.strptime(row["date"], "%m/%d/%Y").date()


def first_of_two_days(row: Row, next_minimum: float, method: str, cutoff: str) -> float:
    tmin, tmax = float(row["tmin"]), float(row["tmax"])
    both = degree_days([tmin, next_minimum], [tmax, 99.0], 50, 70, method=method, cutoff=cutoff)
    return float(both[0])


@pytest.mark.parametrize(
    ("day", "thresholds", "method", "expected", "source"),
    [
        ((40, 65), (50, None), "average", 2.5, "Nugent, MSU Extension, Calculating GDD"),
        ((35, 60), (50, None), "average", 0.0, "Nugent, MSU Extension (raw -2.5, floored)"),
        ((50, 70), (50, None), "average", 10.0, "Iowa State University, Agron 541, lesson 2b"),
        ((62, 64), (50, None), "average", 13.0, "Akron Beacon Journal 2019-03-07"),
        ((40, 54), (50, 86), "modified_average", 2.0, "Bangor Daily News 2006-04-15"),
        ((30, 61), (50, 86), "modified_average", 5.5, "Ohio State University, BYGL node 1452"),
        ((50, 67), (50, 86), "modified_average", 8.5, "Ohio State University, BYGL node 1452"),
        ((40, 65), (50, None), "single_sine", 5.3087, "integration of the curve, 2e6 points"),
        ((40, 65), (50, None), "single_triangle", 4.5, "(Tx-b)^2 / (2 (Tx-Tn))"),
        ((35, 40), (12, 33), "single_sine", 21.0, "hot all day: the span between the thresholds"),
        ((7, 20), (12, 33), "double_sine", 2.8744, "integration of the curve"),
    ],
)
def test_published_days(
    day: tuple[float, float],
    thresholds: tuple[float, float | None],
    method: str,
    expected: float,
    source: str,
) -> None:
    got = one_day(*day, *thresholds, method=method)
    assert got == pytest.approx(expected, abs=5e-5), source


@pytest.mark.parametrize(
    ("day", "method", "answers"),  # answers: horizontal, vertical, intermediate
    [  # University of California answers for Esparto (CIMIS) 2020, lower 50 °F, upper 70 °F
        ((38, 55), "single_sine", (1.19, 1.19, 1.19)),  # 1 January
        ((46, 81), "single_sine", (11.37, 3.79, 8.66)),  # 3 March
        ((46, 81), "single_triangle", (12.0, 5.71, 10.27)),
        ((63, 101), "single_sine", (18.7, 4.35, 5.4)),  # 26 May
        ((59, 103), "single_sine", (17.6, 4.27, 4.27)),  # 11 July: the floor rules
        ((59, 103), "single_triangle", (18.63, 3.63, 6.25)),
        ((68, 107), "single_sine", (19.81, 2.72, 2.72)),  # 15 August: the floor rules
        ((68, 107), "single_triangle", (19.95, 0.97, 2.4)),
        (
            (71, 102),
            "single_sine",
            (20.0, 0.0, 3.5),
        ),  # 18 August: hotter all day
    ],
)
def test_published_cutoffs(
    day: tuple[float, float], method: str, answers: tuple[float, float, float]
) -> None:
    got = [
        one_day(*day, 50, 70, method=method, cutoff=cutoff)
        for cutoff in ("horizontal", "vertical", "intermediate")
    ]
    assert got == pytest.approx(answers, abs=ANSWERS_TOLERANCE)


# --- numerical integration -----------------------------------------------------------------------


def triangle_curve(phase: float) -> float:
    """From -1 at phase 0 to +1 at 0.5 and back."""
    return 1.0 - abs(4.0 * phase - 2.0)


def sine_curve(phase: float) -> float:
    return -float(np.cos(2.0 * np.pi * phase))


def rate(temperature: float, lower: float, upper: float, cutoff: str) -> float:
    if temperature <= lower:
        return 0.0
    if temperature <= upper or cutoff == "horizontal":
        return min(temperature, upper) - lower
    if cutoff == "vertical":
        return 0.0
    return upper - lower - (temperature - upper)


@pytest.mark.parametrize("cutoff", CUTOFFS)
@pytest.mark.parametrize(
    ("method", "curve"), [("single_sine", sine_curve), ("single_triangle", triangle_curve)]
)
@pytest.mark.parametrize(
    ("tmin", "tmax"),
    [(-8.0, 3.0), (2.0, 5.0), (-2.0, 12.0), (6.0, 14.0), (1.0, 27.0), (12.0, 31.0), (26.0, 29.0)],
)
def test_agrees_with_integration_of_the_curve(
    tmin: float, tmax: float, method: str, curve: Callable[[float], float], cutoff: str
) -> None:
    lower, upper = 5.0, 25.0

    def rate_at(phase: float) -> float:
        temperature = (tmin + tmax) / 2.0 + (tmax - tmin) / 2.0 * curve(phase)
        return rate(temperature, lower, upper, cutoff)

    # The first half of the day is monotone: it crosses each threshold once, where the
    # rate has a kink or a step; the second half mirrors it.
    grid = np.linspace(0.0, 0.5, 2001)
    values = np.array([(tmin + tmax) / 2.0 + (tmax - tmin) / 2.0 * curve(p) for p in grid])
    kinks = [float(np.interp(t, values, grid)) for t in (lower, upper) if tmin < t < tmax]
    expected, _ = integrate.quad(rate_at, 0.0, 0.5, points=kinks or None, limit=200)
    got = one_day(tmin, tmax, lower, upper, method=method, cutoff=cutoff)
    assert got == pytest.approx(2.0 * expected, abs=2e-4)


# --- double methods ------------------------------------------------------------------------------


@pytest.mark.parametrize("shape", ["sine", "triangle"])
def test_second_half_day_falls_to_the_next_minimum(shape: str) -> None:
    tmin, tmax = np.array([2.0, -3.0, 6.0]), np.array([14.0, 12.0, 18.0])
    got = degree_days(tmin, tmax, 5.0, method=f"double_{shape}")
    for day, following in enumerate([-3.0, 6.0, 6.0]):
        halves = [
            one_day(low, tmax[day], 5.0, method=f"single_{shape}") for low in (tmin[day], following)
        ]
        assert got[day] == pytest.approx(sum(halves) / 2.0)


def test_intermediate_floor_is_taken_half_day_by_half_day() -> None:
    # 15 August 2020 again (68-107 °F: the floor rules), before a night of 40 °F (it does not).
    tmin, tmax = [68.0, 40.0], [107.0, 60.0]
    first = one_day(68, 107, 50, 70, cutoff="vertical")
    second = one_day(40, 107, 50, 70, cutoff="intermediate")
    got = degree_days(tmin, tmax, 50, 70, method="double_sine", cutoff="intermediate")[0]
    assert got == pytest.approx((first + second) / 2.0)


@pytest.mark.parametrize("method", ["double_sine", "double_triangle"])
def test_next_minimum_above_todays_maximum_is_a_rising_half(method: str) -> None:
    # A warm front: 8 °C is reached today, the night stays at 12 °C or more.
    got = degree_days([4.0, 12.0], [8.0, 20.0], 9.0, method=method)[0]
    rising_half = one_day(8.0, 12.0, 9.0, method=method.replace("double", "single"))
    assert rising_half > 1.0
    assert got == pytest.approx((0.0 + rising_half) / 2.0)


def test_single_values_work_like_a_day_without_a_next() -> None:
    for method in METHODS:
        scalar = degree_days(2.0, 14.0, 5.0, method=method)
        assert scalar.shape == ()
        assert float(scalar) == one_day(2.0, 14.0, 5.0, method=method)


# --- properties ----------------------------------------------------------------------------------

temperatures = st.integers(-300, 450).map(lambda tenths: tenths / 10.0)
ranges = st.integers(0, 300).map(lambda tenths: tenths / 10.0)
weeks = st.lists(st.tuples(temperatures, ranges), min_size=1, max_size=7)
methods = st.sampled_from(METHODS)
cutoffs = st.sampled_from(CUTOFFS)
quick = settings(max_examples=150, deadline=None)


def arrays(week: list[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    tmin = np.array([low for low, _ in week])
    return tmin, tmin + np.array([swing for _, swing in week])


@quick
@given(weeks, temperatures, st.floats(0.5, 30.0), methods, cutoffs)
def test_never_negative_and_never_more_than_the_span(
    week: list[tuple[float, float]], lower: float, span: float, method: str, cutoff: str
) -> None:
    got = degree_days(*arrays(week), lower, lower + span, method=method, cutoff=cutoff)
    assert np.all(got >= 0.0)
    assert np.all(got <= span + 1e-9)


@quick
@given(weeks, temperatures, st.floats(0.1, 10.0), methods, cutoffs)
def test_higher_lower_threshold_never_gives_more(
    week: list[tuple[float, float]], lower: float, step: float, method: str, cutoff: str
) -> None:
    upper = lower + 20.0
    low = degree_days(*arrays(week), lower, upper, method=method, cutoff=cutoff)
    high = degree_days(*arrays(week), lower + step, upper, method=method, cutoff=cutoff)
    assert np.all(high <= low + 1e-9)


@quick
@given(weeks, temperatures, st.floats(0.5, 30.0), methods)
def test_cutoffs_are_ordered(
    week: list[tuple[float, float]], lower: float, span: float, method: str
) -> None:
    horizontal, intermediate, vertical = (
        degree_days(*arrays(week), lower, lower + span, method=method, cutoff=cutoff)
        for cutoff in CUTOFFS
    )
    assert np.all(horizontal >= intermediate - 1e-9)
    assert np.all(intermediate >= vertical - 1e-9)
    none = degree_days(*arrays(week), lower, method=method)
    assert np.all(none >= horizontal - 1e-9)


@quick
@given(weeks, temperatures, st.floats(0.5, 30.0), methods, st.sampled_from(("horizontal", "none")))
def test_fahrenheit_gives_fahrenheit_degree_days(
    week: list[tuple[float, float]], lower: float, span: float, method: str, cutoff: str
) -> None:
    # Not the vertical cutoff: its step makes rounding at the threshold visible.
    tmin, tmax = arrays(week)
    upper = lower + span if cutoff == "horizontal" else None
    celsius = degree_days(tmin, tmax, lower, upper, method=method)
    fahrenheit = degree_days(
        tmin * 1.8 + 32.0,
        tmax * 1.8 + 32.0,
        lower * 1.8 + 32.0,
        None if upper is None else upper * 1.8 + 32.0,
        method=method,
    )
    np.testing.assert_allclose(fahrenheit, celsius * 1.8, atol=1e-5)


@quick
@given(weeks, weeks, methods, cutoffs)
def test_leading_axes_are_independent(
    one: list[tuple[float, float]], other: list[tuple[float, float]], method: str, cutoff: str
) -> None:
    length = min(len(one), len(other))
    pairs = [arrays(week[:length]) for week in (one, other)]
    tmin, tmax = (np.stack(side) for side in zip(*pairs, strict=True))
    together = degree_days(tmin, tmax, 5.0, 25.0, method=method, cutoff=cutoff)
    assert together.shape == (2, length)
    for row, (low, high) in zip(together, pairs, strict=True):
        alone = degree_days(low, high, 5.0, 25.0, method=method, cutoff=cutoff)
        np.testing.assert_array_equal(row, alone)


# --- edges ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("cutoff", CUTOFFS)
@pytest.mark.parametrize("method", METHODS)
def test_missing_value_spoils_its_own_day_only(method: str, cutoff: str) -> None:
    tmin = np.array([2.0, 3.0, np.nan, 5.0, 6.0])
    tmax = np.array([14.0, 13.0, 15.0, np.nan, 30.0])
    got = degree_days(tmin, tmax, 5.0, 25.0, method=method, cutoff=cutoff)
    assert np.isnan(got).tolist() == [False, False, True, True, False]
    # The day before the missing minimum uses its own.
    assert got[1] == pytest.approx(one_day(3.0, 13.0, 5.0, 25.0, method=method, cutoff=cutoff))


@pytest.mark.parametrize("method", METHODS)
def test_day_without_amplitude(method: str) -> None:
    flat = [4.0, 5.0, 9.0, 25.0, 28.0]
    days = [[t] for t in flat]
    got = degree_days(days, days, 5.0, 25.0, method=method)[:, 0]
    assert got == pytest.approx([0.0, 0.0, 4.0, 20.0, 20.0])
    got = degree_days(days, days, 5.0, 25.0, method=method, cutoff="vertical")[:, 0]
    assert got == pytest.approx([0.0, 0.0, 4.0, 20.0, 0.0])


def test_inputs_are_left_alone_and_empty_is_allowed() -> None:
    tmin, tmax = np.array([2.0, 7.0]), np.array([9.0, 30.0])
    before = tmin.copy(), tmax.copy()
    for method in METHODS:
        degree_days(tmin, tmax, 5.0, 25.0, method=method)
        assert degree_days([], [], 5.0, method=method).shape == (0,)
    np.testing.assert_array_equal(tmin, before[0])
    np.testing.assert_array_equal(tmax, before[1])


def test_default_is_the_single_sine_with_a_horizontal_cutoff() -> None:
    assert one_day(7, 40, 12, 33) == pytest.approx(10.939668, abs=1e-6)


def test_unknown_names_are_refused_with_the_valid_ones() -> None:
    with pytest.raises(ValueError, match=r"'cosine'.*single_sine.*double_triangle"):
        one_day(2, 9, 5, method="cosine")
    with pytest.raises(ValueError, match=r"'none'.*horizontal.*vertical"):
        one_day(2, 9, 5, 20, cutoff="none")


@pytest.mark.parametrize("upper", [5.0, 4.0, float("nan"), float("inf")])
def test_upper_threshold_must_be_finite_and_above_the_lower(upper: float) -> None:
    with pytest.raises(ValueError, match="upper threshold must be finite and above"):
        one_day(2, 9, 5.0, upper)


@pytest.mark.parametrize("lower", [float("nan"), -float("inf")])
def test_lower_threshold_must_be_finite(lower: float) -> None:
    with pytest.raises(ValueError, match="lower threshold must be finite"):
        one_day(2, 9, lower)


def test_arrays_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="broadcast"):
        degree_days([1.0, 2.0], [3.0, 4.0, 5.0], 5.0)
