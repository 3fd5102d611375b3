"""Steps in a series: the test's statistic, its chances, its dates and sizes.

What must hold:

* T is Alexandersson's, as written down in his paper, and with a line the share of variance that
  least squares gives a step beside it;
* without a step about the stated share of series is flagged, whatever the memory, and a trend is
  not taken for a step, but for what may be one;
* a step put in is found near its month, its size within its error, up or down, alone or with one
  back; two units of one series tell the same; years and constants do not matter;
* a missing year or a long gap widens the range of the date and nothing else;
* fewer than ten years are not tested; a constant series and a straight line have no step;
* a station whose published offset is put back is found at its month beside a neighbour.

The long ones measure the rates that docs/check.md tells (`tests/step_rates.py`).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from sites import place
from step_rates import (
    FIRST,
    LONG,
    NEIGHBOURS,
    flagged,
    found_in_real,
    line,
    made,
    months_off,
    noise,
    power,
)

from timing.homogeneity import Steps, find_steps
from timing.monthly import departures, month_means, yearly
from timing.record_check import LEVEL, check_record
from timing.step_dates import step_sizes
from timing.steps import level_and_line, strongest_steps
from timing.temperature import record_from_readings

Floats = NDArray[np.float64]


def beside(seed: int, years: int = 40) -> Floats:
    """Monthly differences of two neighbours that nothing happened to [°C]."""
    return noise(np.random.default_rng(seed), years, 0.5, 0.2, 0.4)


def add_step(monthly: Floats, at: int, size: float) -> Floats:
    return monthly + size * (np.arange(monthly.size).reshape(monthly.shape) >= at)


def steps_of(monthly: Floats, *, with_line: bool = False, first: int = FIRST) -> Steps:
    found = find_steps(departures(monthly), first, line=with_line, level=LEVEL)
    assert found is not None
    return found


# ---------------------------------------------------------------------------- the statistic


def cuts_of(years: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.arange(3, len(years) - 2)


def test_t_is_that_of_alexandersson() -> None:
    years = np.arange(1961, 1991)
    values = np.random.default_rng(1).normal(0, 1, 30)
    values[18:] += 1
    z = (values - values.mean()) / values.std()
    by_hand = {cut: cut * z[:cut].mean() ** 2 + (30 - cut) * z[cut:].mean() ** 2
               for cut in range(3, 28)}  # fmt: skip
    found = strongest_steps(years, values, level_and_line(years, line=False), cuts_of(years))
    assert found.at[0] == max(by_hand, key=lambda cut: by_hand[cut])
    assert found.statistic[0] == pytest.approx(max(by_hand.values()))


@pytest.mark.parametrize("with_line", [False, True])
def test_t_is_the_share_of_variance_that_least_squares_gives(with_line: bool) -> None:
    years = np.delete(np.arange(1961, 1995), [7, 8, 20])
    rng = np.random.default_rng(2)
    values = rng.normal(0, 1, len(years)) + 0.1 * (years - 1961)

    def left(*columns: Floats) -> float:
        design = np.column_stack([np.ones(len(years)), *columns])
        return float(np.linalg.lstsq(design, values, rcond=None)[1][0])

    def step(cut: int) -> Floats:
        return (np.arange(len(years)) >= cut).astype(float)

    base = [years - 1970.0] if with_line else []
    whole = left(*base)
    ones = {cut: 1 - left(*base, step(int(cut))) / whole for cut in cuts_of(years)}
    verdict = strongest_steps(years, values, level_and_line(years, line=with_line), cuts_of(years))
    assert verdict.at[0] == max(ones, key=lambda cut: ones[cut])
    assert verdict.statistic[0] == pytest.approx(len(years) * max(ones.values()))
    first = step(verdict.at[0])
    pairs = [
        1 - left(*base, first, step(int(cut))) / whole
        for cut in cuts_of(years)
        if abs(cut - verdict.at[0]) >= 3
    ]
    assert verdict.statistic[1] == pytest.approx(len(years) * max(pairs))


def test_sizes_and_errors_are_those_of_least_squares_where_years_are_independent() -> None:
    years = np.arange(1950, 1990)
    values = np.random.default_rng(3).normal(0, 0.3, 40) + 1.0 * (years >= 1970)
    values += 0.2 * (-1.0) ** years  # swings about its neighbours: no memory to allow for
    ((size, error),) = step_sizes(years, values, [12 * 1970], line=False)
    before, after = values[years < 1970], values[years >= 1970]
    pooled = np.sqrt((before.var() * 20 + after.var() * 20) / 38)
    assert size == pytest.approx(after.mean() - before.mean())
    assert error == pytest.approx(pooled * np.sqrt(1 / 20 + 1 / 20))


def test_a_step_within_a_year_counts_by_the_months_after_it() -> None:
    years = np.arange(1950, 1990)
    values = np.where(years > 1970, 2.0, 0.0)
    values[years == 1970] = 0.5  # from October on
    ((size, error),) = step_sizes(years, values, [12 * 1970 + 9], line=False)
    assert (size, error) == (pytest.approx(2.0), pytest.approx(0.0, abs=1e-9))


# ---------------------------------------------------------------------------- false alarms


@pytest.mark.parametrize("memory", [0.0, 0.3, 0.6])
@pytest.mark.parametrize("with_line", [False, True])
def test_chances_are_chances(memory: float, with_line: bool) -> None:
    rng = np.random.default_rng(int(10 * memory))
    years, count = np.arange(1980, 2015), 150
    base = level_and_line(years, line=with_line)
    chances = []
    for _ in range(count):
        values = rng.normal(0, 1, len(years) + 20)
        for at in range(1, len(values)):
            values[at] += memory * values[at - 1]
        series = values[20:] + (0.05 * years if with_line else 0)
        chances.append(strongest_steps(years, series, base, cuts_of(years)).p)
    for kind in (0, 1):
        p = np.array([pair[kind] for pair in chances])
        assert np.mean(p < 0.05) <= 0.12  # 0.05 expected, some more with a strong memory
        assert 0.3 < np.mean(p < 0.5) < 0.75


def test_sound_series_are_seldom_flagged_and_trends_are_not_taken_for_steps() -> None:
    flat = [steps_of(beside(seed)) for seed in range(40)]
    sloping = [steps_of(beside(seed) + line(40, 0.4)) for seed in range(40)]
    assert sum(bool(one.found) for one in flat) <= 3
    assert sum(one.instead is not None for one in flat) <= 3
    assert sum(bool(one.found) for one in sloping) <= 4
    assert sum(one.instead is not None for one in sloping) > 24  # it changed: by a step or slowly


def test_a_straight_line_and_a_constant_have_no_step() -> None:
    for monthly in (line(30, 1.0), np.zeros((30, 12)), np.full((30, 12), 7.3)):
        for with_line in (False, True):
            assert steps_of(monthly, with_line=with_line).found == ()


# ---------------------------------------------------------------------------- steps found


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("size", [1.2, -1.2])
def test_a_step_is_found_at_its_month_with_its_size(seed: int, size: float) -> None:
    at = 150 + 23 * seed
    found = steps_of(add_step(beside(seed), at, size))
    true = np.datetime64("1950-01") + at
    step = min(found.found, key=lambda one: abs((one.month - true).astype(int)))
    assert abs(int((step.month - true).astype(int))) <= 12
    assert step.early <= step.month <= step.late
    assert abs(step.size - size) < 3 * step.error + 0.05
    assert step.p < LEVEL
    assert found.instead is None


def test_most_true_months_lie_in_the_range() -> None:
    inside = []
    for seed in range(16):
        at = 110 + 15 * seed
        true = np.datetime64("1950-01") + at
        found = steps_of(add_step(beside(100 + seed), at, 1.2)).found
        if found:
            step = min(found, key=lambda one: abs((one.month - true).astype(int)))
            inside.append(step.early <= true <= step.late)
    assert len(inside) >= 13
    assert np.mean(inside) >= 0.8  # nine in ten by simulation


def test_a_step_and_its_way_back_are_both_found() -> None:
    hits = 0
    for seed in range(6):
        monthly = add_step(add_step(beside(seed), 160, 1.2), 320, -1.2)
        near = [months_off({"series": steps_of(monthly)}, at) for at in (160, 320)]
        hits += all(months is not None and months <= 12 for months in near)
    assert hits >= 5


def test_many_steps_up_and_down_are_found_in_parts() -> None:
    ends = (130, 310, 480, 640, 820, 970)
    monthly = beside(5, 90)
    for number, at in enumerate(ends):
        monthly = add_step(monthly, at, 1.5 * (-1) ** number)
    found = {"series": steps_of(monthly)}
    near = [months_off(found, at) for at in ends]
    assert sum(months is not None and months <= 12 for months in near) >= 5


def test_units_constants_and_calendar_do_not_matter() -> None:
    monthly = add_step(beside(4), 222, 1.4)
    celsius, fahrenheit = steps_of(monthly), steps_of(1.8 * monthly + 32)
    later = steps_of(monthly, first=FIRST + 100)
    assert len(celsius.found) >= 1
    for one, other, moved in zip(celsius.found, fahrenheit.found, later.found, strict=True):
        assert (one.month, one.early, one.late) == (other.month, other.early, other.late)
        assert moved.month - one.month == np.timedelta64(1200, "M")
        assert (other.p, moved.p) == (pytest.approx(one.p), pytest.approx(one.p))
        assert other.size == pytest.approx(1.8 * one.size)
        assert other.error == pytest.approx(1.8 * one.error)


def test_turning_a_series_round_turns_its_steps_round() -> None:
    monthly = add_step(beside(6), 222, 1.4)
    up, down = steps_of(monthly).found, steps_of(-monthly).found
    assert [one.month for one in up] == [one.month for one in down]
    assert [one.size for one in up] == pytest.approx([-one.size for one in down])


# ---------------------------------------------------------------------------- what is missing


def test_a_missing_year_changes_little() -> None:
    monthly = add_step(beside(7), 222, 1.5)
    monthly[10] = np.nan
    found = steps_of(monthly)
    assert FIRST + 10 not in found.years
    assert months_off({"series": found}, 222) in range(13)


def test_a_step_inside_a_long_gap_has_the_gap_in_its_range() -> None:
    monthly = add_step(beside(8), 12 * 18, 1.8)
    monthly.ravel()[12 * 16 + 3 : 12 * 19 + 6] = np.nan
    (step,) = steps_of(monthly).found
    assert step.early <= np.datetime64("1966-04")
    assert step.late >= np.datetime64("1969-07")


def test_fewer_than_ten_years_are_not_tested() -> None:
    assert find_steps(departures(beside(1, 9)), FIRST, line=False, level=LEVEL) is None
    assert find_steps(departures(beside(1, 10)), FIRST, line=False, level=LEVEL) is not None
    sparse = beside(1, 20)
    sparse[::2, :3] = np.nan  # nine months are no year
    years, _ = yearly(departures(sparse), FIRST)
    assert years.tolist() == list(range(FIRST + 1, FIRST + 20, 2))


def test_months_need_twenty_days_and_are_departures_from_their_own_mean() -> None:
    calendar = np.arange(np.datetime64("2000-01-15"), np.datetime64("2002-01-01"))
    month = calendar.astype("datetime64[M]").astype(np.int64) % 12
    values = month + 10.0 * (calendar >= np.datetime64("2001-01-01"))
    values[calendar.astype("datetime64[M]") == np.datetime64("2000-03")] = np.nan
    first, means = month_means(calendar, values)
    assert first == 2000
    assert np.isnan(means[0, [0, 2]]).all()  # 17 days of January, none of March
    assert means[1].tolist() == [month + 10.0 for month in range(12)]
    gone = departures(means)
    assert gone[1, 0] == gone[1, 2] == 0.0
    assert gone[0, 1] == -5.0


# ---------------------------------------------------------------------------- real records


def test_the_change_of_station_at_harvard_is_found_once_its_offset_is_put_back() -> None:
    """HF000 to HF001 on 2001-02-11: minima +1.2, maxima −0.17 °C by two years of overlap."""
    spot, boston = place("harvard_forest_1964_2020"), place("boston_1951_2025")
    record = spot.record
    days = record.first + np.arange(len(record.state))
    old = days < np.datetime64("2001-02-11")
    raw = record_from_readings(
        days, record.raw_tmin_c - 1.2 * old, record.raw_tmax_c + 0.17 * old, source="as it was read"
    )
    check = check_record(raw, spot.site, boston.record)
    (change,) = [
        item
        for item in check.breaks
        if item.early <= np.datetime64("2001-02") <= item.late
        and "tmin less neighbour" in item.series
    ]
    assert abs(int((change.month - np.datetime64("2001-02")).astype(int))) <= 3
    size, error = change.sizes["tmin less neighbour"]
    assert 1.2 - 2 * error < size < 2.4  # the old station fell by itself in the nineties
    size, error = change.sizes["tmax less neighbour"]
    assert abs(size + 0.17) < 2 * error


def test_made_up_weather_varies_as_real_weather_does() -> None:
    """The simulations say something only if their years swing as those of real records."""
    record = place("boston_1951_2025").record
    calendar = record.first + np.arange(len(record.state))
    real = spread(*month_means(calendar, record.tmin_c))
    assert 0.6 < spread(FIRST, made(np.random.default_rng(1), 74).tmin) / real < 1.6


def spread(first: int, means: Floats) -> float:
    """Standard deviation of the yearly means without their line [°C]."""
    years, values = yearly(departures(means), first)
    return float((values - np.polyval(np.polyfit(years, values, 1), years)).std())


@pytest.mark.slow
@pytest.mark.parametrize(("years", "most"), [(20, 0.03), (40, 0.06), (80, 0.09)])
def test_rate_of_false_alarms(years: int, most: float) -> None:
    step, anything = flagged(years, 300)
    assert step <= anything <= most
    drifting, _ = flagged(years, 300, range_trend=0.2)
    assert drifting <= most + 0.02  # a drift of the range is not taken for a step


@pytest.mark.slow
def test_power_alone_and_beside_a_neighbour() -> None:
    near, step, anything = power(40, 150, (1.0, 0.0))
    assert (near > 0.2, step > 0.25, anything > 0.65) == (True, True, True)
    near, step, anything = power(40, 150, (1.0, 0.0), beside=True)
    assert (near > 0.8, step > 0.85, anything > 0.95) == (True, True, True)


@pytest.mark.slow
def test_large_steps_put_into_real_records_are_found() -> None:
    assert sum(found_in_real(name, (2.0, 0.0)) == "step" for name in LONG) >= 0.9 * len(LONG)
    for one, other in NEIGHBOURS:
        assert found_in_real(one, (2.0, 2.0), other) == "step", (one, other)
