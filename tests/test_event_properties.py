"""Properties of events, draws and odds that must hold whatever the weather.

What must hold:

* once chill is met, heat added on later days never delays the bud break of a taxon placed at a
  site, and cold never advances it;
* in every season and draw, at every site and for every taxon: sap rise ≤ bud break ≤ leaves full
  size ≤ flush hardened, and leaf colour ≤ leaf fall ≤ dormant;
* leap years do not matter: the same daily cycle gives the same dates within a day (chill,
  which comes a portion at a time, within three);
* chances lie in [0, 1]; windows shrink as the confidence rises;
* the draws are standard normal quantiles, and the same question has the same answer;
* `reach`, `first_from`, `running_mean`, the chance of a day and the runs of days agree with
  plain day-by-day loops; the sampling range of a share agrees with scipy.
"""

import datetime
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from reference import Row, reference_cases
from scipy.stats import binomtest, norm
from sites import (
    SAMPLES,
    SITES,
    TAXA,
    TEMPERATE_TAXA,
    Place,
    exact,
    outlook_at,
    place,
    record_of_cycle,
    tried,
    year_cycle,
)

from timing.answers import outlook, site_drivers
from timing.crossings import first_from, reach, running_mean
from timing.draws import DRAWS, standard_errors
from timing.drivers import build_drivers
from timing.events import SeasonEvents, season_events
from timing.placing import placed
from timing.season import CYCLE_DAYS, cycle_day
from timing.site import Site
from timing.species.catalogue import load_species
from timing.species.model import WORK_KINDS
from timing.stretches import RuleStretches
from timing.stretches import chance_of_year as _chance
from timing.temperature import record_from_readings
from timing.windows import runs_at, wilson_range

NORTH = Site("made up", 48.0, 10.0)
A_RULE = load_species("acer-palmatum").work["heavy"][0]

ORDERED = (
    ("sap_rise", "bud_break"),
    ("bud_break", "leaf_full_size"),
    ("leaf_full_size", "flush_hardened"),
    ("leaf_colour", "leaf_fall"),
    ("leaf_fall", "dormant"),
)

climates = st.fixed_dictionaries(
    {
        "mean_c": st.floats(5.0, 13.0),
        "amplitude_c": st.floats(8.0, 15.0),
        "daily_range_c": st.floats(4.0, 14.0),
    }
)


# --------------------------------------------------------------------------- heat and bud break
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    climate=climates,
    slug=st.sampled_from(("acer-rubrum", "fagus-sylvatica", "ulmus-parvifolia", "picea-abies")),
    when=st.tuples(st.integers(0, 120), st.integers(1, 60)),
    warming=st.floats(-8.0, 8.0),
    seed=st.integers(0, 1000),
)
def test_warmth_after_chill_never_delays_bud_break_and_cold_never_hastens_it(
    climate, slug, when, warming, seed
):
    begin, length = when
    record = record_of_cycle(year_cycle(**climate), years=2, weather_c=2.0, seed=seed)
    drivers = build_drivers(record, NORTH)
    species = placed(exact(slug), drivers)  # the same warmth before and after
    row = 1
    assert drivers.spring_covered[row]
    before = season_events(species, drivers)
    met = before.days["chill_met"][row, 0]
    if np.isnan(met):
        return
    start = int((drivers.starts[row] - record.first).astype(int) + met) + 2 + begin
    low, high = record.tmin_c.copy(), record.tmax_c.copy()
    low[start : start + length] += warming
    high[start : start + length] += warming
    dates = record.first + np.arange(len(low))
    changed = record_from_readings(dates, low, high, source="made up")
    assert not changed.missing_days
    after = season_events(species, build_drivers(changed, NORTH))
    old, new = before.days["bud_break"][row, 0], after.days["bud_break"][row, 0]
    if warming >= 0:
        assert np.isnan(old) or new <= old, f"{slug}: {warming:+.1f} °C moved {old} to {new}"
    else:
        assert np.isnan(new) or new >= old, f"{slug}: {warming:+.1f} °C moved {old} to {new}"


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(climate=climates, slug=st.sampled_from(TEMPERATE_TAXA))
def test_leap_years_do_not_move_dates(climate, slug):
    record = record_of_cycle(year_cycle(**climate), years=6)
    drivers = build_drivers(record, NORTH)
    events = season_events(exact(slug), drivers)
    whole = np.flatnonzero(drivers.covered)[:-1]  # the last winter's frosts are not on record
    for name, days in events.days.items():
        known = np.isfinite(days[whole, 0])
        if not known.any():
            continue
        dates = drivers.starts[whole][known] + np.floor(days[whole, 0][known]).astype(int)
        spread = np.ptp(cycle_day(dates))
        # chill is fixed a whole portion at a time, and none falls on some days
        allowed = 3 if name == "chill_met" else 1
        assert min(spread, CYCLE_DAYS - spread) <= allowed, f"{slug} {name}: {dates}"


# --------------------------------------------------------------------------- order and odds
@pytest.mark.parametrize("name", tried(SITES))
def test_events_keep_their_order_in_every_season_and_draw(name):
    wrong = []
    for slug in TAXA:
        days = outlook_at(name, slug).events.days
        for earlier, later in ORDERED:
            if earlier in days and later in days:
                bad = days[earlier] > days[later]
                if bad.any():
                    wrong.append(f"{slug}: {earlier} after {later} in {bad.sum()} cases")
    assert not wrong, f"{name}: {wrong}"


@pytest.mark.parametrize("name", tried(SITES))
def test_every_chance_is_a_share(name):
    for slug in TAXA:
        for work, odds in outlook_at(name, slug).odds.items():
            assert odds.chance.shape == (CYCLE_DAYS,)
            assert np.isfinite(odds.chance).all(), f"{name} {slug} {work}"
            assert odds.chance.min() >= 0, f"{name} {slug} {work}"
            assert odds.chance.max() <= 1, f"{name} {slug} {work}"


@pytest.mark.parametrize("name", SAMPLES)
def test_windows_shrink_as_the_confidence_rises(name):
    view_of = place(name).outlook
    on = np.datetime64("2023-05-15")
    for slug in TAXA:
        for work in WORK_KINDS:
            wider = np.ones(CYCLE_DAYS, dtype=bool)
            for level in (0.3, 0.5, 0.7, 0.9, 0.97):
                windows = view_of(slug).odds[work].windows(level, on, place(name).site.hemisphere)
                days = np.zeros(CYCLE_DAYS, dtype=bool)
                for window in windows:
                    days[cycle_day(np.arange(window.opens, window.closes + 1))] = True
                assert (days <= wider).all(), f"{name} {slug} {work} {level}"
                wider = days


def test_the_same_question_has_the_same_answer():
    one = place("humid-continental")
    species = load_species("acer-palmatum")
    again = outlook(species, one.record, site_drivers(one.record, one.site))
    first = one.outlook("acer-palmatum")
    for work in WORK_KINDS:
        assert np.array_equal(again.odds[work].chance, first.odds[work].chance)
    for name, days in first.events.days.items():
        assert np.array_equal(again.events.days[name], days, equal_nan=True), name


# --------------------------------------------------------------------------- draws
@pytest.mark.parametrize("stream", ["bud_break", "autumn", "sap_rise"])
def test_errors_are_standard_normal_quantiles(stream):
    site, season = standard_errors(stream, 30)
    expected = norm.ppf((np.arange(DRAWS) + 0.5) / DRAWS)
    assert np.sort(site) == pytest.approx(expected, abs=1e-9)
    assert np.sort(season, axis=1) == pytest.approx(np.tile(expected, (30, 1)), abs=1e-9)
    assert site.std() == pytest.approx(1.0, abs=0.02)


def test_errors_are_repeatable_and_differ_between_events_and_seasons():
    site, season = standard_errors("bud_break", 30)
    standard_errors.cache_clear()
    again_site, again_season = standard_errors("bud_break", 30)
    assert np.array_equal(site, again_site)
    assert np.array_equal(season, again_season)
    assert not np.array_equal(site, standard_errors("leaf_full_size", 30)[0])
    assert len({tuple(row) for row in season}) == 30


# --------------------------------------------------------------------------- array helpers
@given(
    steps=hnp.arrays(
        float, st.tuples(st.integers(1, 4), st.integers(1, 30)), elements=st.floats(0.0, 5.0)
    ),
    known=st.integers(0, 30),
    targets=st.lists(st.one_of(st.floats(-5.0, 160.0), st.just(math.nan)), min_size=1, max_size=5),
)
def test_reach_agrees_with_a_loop(steps, known, targets):
    sums = np.cumsum(steps, axis=1)
    sums[0, known:] = np.nan
    wanted = np.tile(np.array(targets), (len(sums), 1))
    expected = np.full(wanted.shape, np.nan)
    for row in range(wanted.shape[0]):
        for column in range(wanted.shape[1]):
            for day in range(sums.shape[1]):
                if sums[row, day] >= wanted[row, column]:
                    expected[row, column] = day
                    break
    assert np.array_equal(reach(sums, wanted), expected, equal_nan=True)


@given(
    condition=hnp.arrays(bool, st.tuples(st.integers(1, 3), st.integers(1, 25))),
    starts=st.lists(st.one_of(st.floats(-3.0, 30.0), st.just(math.nan)), min_size=1, max_size=4),
)
def test_first_from_agrees_with_a_loop(condition, starts):
    wanted = np.tile(np.array(starts), (len(condition), 1))
    expected = np.full(wanted.shape, np.nan)
    for row in range(wanted.shape[0]):
        for column in range(wanted.shape[1]):
            for day in range(condition.shape[1]):
                if day >= wanted[row, column] and condition[row, day]:
                    expected[row, column] = day
                    break
    assert np.array_equal(first_from(condition, wanted), expected, equal_nan=True)


@given(
    values=hnp.arrays(
        float, st.tuples(st.integers(1, 3), st.integers(14, 30)), elements=st.floats(-30.0, 40.0)
    ),
    days=st.integers(1, 14),
)
def test_running_mean_agrees_with_a_loop(values, days):
    result = running_mean(values, days)
    for row in range(values.shape[0]):
        for day in range(values.shape[1]):
            if day < days - 1:
                assert np.isnan(result[row, day])
            else:
                mean = sum(values[row, day - days + 1 : day + 1]) / days
                assert result[row, day] == pytest.approx(mean, abs=1e-9)


# --------------------------------------------------------------------------- chance and runs
def _cycle(day: datetime.date) -> int:
    """Days since the last 1 March; 29 February counts as the 28th."""
    march = datetime.date(day.year if day.month >= 3 else day.year - 1, 3, 1)
    return min((day - march).days, CYCLE_DAYS - 1)


stretches = st.lists(
    st.lists(
        st.tuples(
            st.one_of(st.integers(10000, 12000), st.just(math.nan)),
            st.one_of(st.integers(-40, 420), st.just(math.nan)),
        ),
        min_size=4,
        max_size=4,
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=80, deadline=None)
@given(rules=stretches)
def test_the_chance_of_a_day_agrees_with_a_day_by_day_loop(rules):
    table = np.array(rules, dtype=float)  # (rules, cells, [opens, length])
    opens, closes = table[..., 0], table[..., 0] + table[..., 1]
    counts = np.zeros(CYCLE_DAYS)
    epoch = datetime.date(1970, 1, 1)
    for cell in range(4):
        safe = np.zeros(CYCLE_DAYS, dtype=bool)
        for rule in range(len(rules)):
            first, last = opens[rule, cell], closes[rule, cell]
            if not (math.isnan(first) or math.isnan(last)):
                for day in range(int(first), int(last) + 1):
                    safe[_cycle(epoch + datetime.timedelta(day))] = True
        counts += safe
    laid_out = tuple(
        RuleStretches(A_RULE, opens[rule].reshape(2, 2), closes[rule].reshape(2, 2))
        for rule in range(len(rules))
    )
    assert _chance(laid_out) == pytest.approx(counts / 4, abs=1e-12)


def test_no_rule_gives_no_chance():
    assert not _chance(()).any()


@given(
    edges=st.lists(st.integers(0, CYCLE_DAYS - 1), max_size=12),
    outside=st.floats(0.0, 1.0),
    inside=st.floats(0.0, 1.0),
    level=st.floats(0.05, 0.95),
)
def test_runs_are_exactly_the_days_at_or_above_a_level(edges, outside, inside, level):
    chance = np.full(CYCLE_DAYS, outside)
    for first, last in zip(edges[::2], edges[1::2], strict=False):
        chance[min(first, last) : max(first, last) + 1] = inside
    if min(abs(outside - level), abs(inside - level)) < 1e-6:
        return
    runs = runs_at(chance, level)
    found = [day for first, stop in runs for day in range(first, stop)]
    assert found == [day for day in range(CYCLE_DAYS) if chance[day] >= level]
    for first, stop in runs:
        assert first == 0 or chance[first - 1] < level, "a run begins too late"
        assert stop == CYCLE_DAYS or chance[stop] < level, "a run ends too early"


# --------------------------------------------------------------------------- sampling range
@given(seasons=st.integers(1, 80), share=st.floats(0.0, 1.0))
def test_the_sampling_range_of_a_share_is_wilsons(seasons, share):
    hits = round(share * seasons)
    expected = binomtest(hits, seasons).proportion_ci(confidence_level=0.95, method="wilson")
    found = wilson_range(hits / seasons, seasons)
    assert found == pytest.approx((expected.low, expected.high), abs=1e-9)


@pytest.mark.parametrize(
    "row",
    reference_cases("test_vectors.csv", "name", lambda row: row["name"].startswith("wilson_")),
)
def test_the_sampling_range_matches_the_tabulated_one(row: Row):
    hits, seasons = (int(part.split("=")[1]) for part in row["inputs"].split(";")[:2])
    low, high = (float(value) for value in row["expected"].split(";"))
    found = wilson_range(hits / seasons, seasons)
    assert found == pytest.approx((low, high), abs=float(row["tolerance"]))


def test_quantiles_of_dates_are_median_unbiased():
    """Row p90_1to10_median_unbiased(type8): Hyndman & Fan 1996, 9.6333 for 1..10 at 0.9."""
    view = place("coast").outlook("acer-palmatum")
    days = np.repeat(np.arange(1.0, 11.0)[None, :], len(view.drivers.years), axis=0)
    events = SeasonEvents(view.species, view.drivers, {"bud_break": days})
    assert events.quantiles("bud_break", (0.9,)) == pytest.approx(9.6333, abs=1e-4)


def test_missing_days_widen_the_dates_of_their_own_half_of_the_year():
    here = place("humid-continental")
    dates = here.record.first + np.arange(len(here.record.tmin_c))
    low, high = here.record.tmin_c.copy(), here.record.tmax_c.copy()
    out = (dates >= np.datetime64("2010-03-01")) & (dates < np.datetime64("2010-03-21"))
    low[out] = high[out] = np.nan
    record = record_from_readings(dates, low, high, source="with a gap")
    gappy = Place(record, here.site).outlook("acer-palmatum")
    row = int(np.flatnonzero(gappy.drivers.years == 2010)[0])

    def width(view, event):
        early, _, late = view.events.quantiles(event)[:, row]
        return late - early

    whole = here.outlook("acer-palmatum")
    assert width(gappy, "bud_break") > width(whole, "bud_break") + 0.5
    assert width(gappy, "leaf_fall") == pytest.approx(width(whole, "leaf_fall"), abs=0.3)
    other = int(np.flatnonzero(gappy.drivers.years == 2012)[0])
    kept = gappy.events.quantiles("bud_break")[:, other]
    assert np.allclose(kept, whole.events.quantiles("bud_break")[:, other], atol=0.01)
