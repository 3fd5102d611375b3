"""Can a record be trusted: what the check finds in records with known faults, and how it says so.

What must hold:

* a step in one of the readings is found near its date with about its size; records without one,
  warming or not, are seldom flagged; a neighbour shows a step that the record alone does not, and
  tells the weather of the region from a fault of the station
* maxima written to the wrong day are named beside a neighbour, in made-up and in real records;
  where that began is told from the record alone
* a slow change is told of what the climate leaves alone, with the step that looks much the same
* gaps are listed exactly, longest first, each with what was done about it; shares of missing days
  and seasons lost follow the rules of the odds, half a year later in the south
* coarse readings are told by their years, stuck and impossible ones with the record's findings
* three years, forty days, a constant record and a record full of holes are answered, not refused
* text of eighty columns, data and picture say the same; picture files are whole, the same each
  time, and no text leaves the page or covers another; bad input is one sentence; nothing is changed
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from numpy.typing import NDArray
from PIL import Image
from reference import reference_file
from sites import place
from test_bench import run
from test_calendar_chart import boxes, by_gid, rendered

from timing import check_words as words
from timing.charts.record_chart import draw_check, save_check
from timing.coverage import coverage
from timing.errors import DataError
from timing.export.check_json import check_json
from timing.export.check_text import check_text
from timing.intake.daily_csv import read_daily_csv
from timing.neighbour import day_shifts, pair
from timing.precision import precision
from timing.record_check import RecordCheck, check_record
from timing.site import Site
from timing.steps import autoregressive
from timing.temperature import TemperatureRecord, record_from_readings

Floats = NDArray[np.float64]
PLACE = Site("Invented yard", 45.0, 8.0, 200)
SOUTH = Site("Far yard", -38.0, 145.0, 20)
FIRST, YEARS = np.datetime64("1985-01-01"), 36
DAYS = np.arange(FIRST, np.datetime64(f"{1985 + YEARS}-01-01"))


class Weather:
    """Minima and maxima of an invented mild place, which a test spoils in one place."""

    def __init__(self, seed: int, *, trend: float = 0.0, days: NDArray[Any] = DAYS) -> None:
        rng = np.random.default_rng(seed)
        self.days, count = days, len(days)
        passing, sky = autoregressive(rng.standard_normal((2, count)), 0.75)
        since = (days - FIRST).astype(np.int64)
        season = 11 - 9 * np.cos(2 * np.pi * (since - 20) / 365.25)
        mean = season + 2.2 * passing + trend * since / 3652.5
        half = np.maximum(5 + 1.2 * sky, 0.8)
        self.low: Floats = np.round(mean - half, 1)
        self.high: Floats = np.round(mean + half, 1)

    def at(self, day: str) -> int:
        return int((np.datetime64(day) - self.days[0]).astype(int))

    def step(self, since: str, low: float, high: float = 0.0) -> Weather:
        later = np.datetime64(since) <= self.days
        self.high = np.where(later, self.high + high, self.high)
        self.low = np.minimum(np.where(later, self.low + low, self.low), self.high)
        return self

    def blank(self, first: str, days: int) -> Weather:
        gap = slice(self.at(first), self.at(first) + days)
        self.low[gap] = self.high[gap] = np.nan
        return self

    def near(self, seed: int, noise: float = 0.6) -> Weather:
        """A place nearby: the same weather with a little of its own."""
        other = Weather.__new__(Weather)
        rng = np.random.default_rng(seed)
        other.days = self.days
        other.low = self.low + 1.0 + rng.normal(0, noise, len(self.days))
        other.high = np.fmax(self.high + 0.5 + rng.normal(0, noise, len(self.days)), other.low)
        return other

    def record(self, source: str = "yard.csv") -> TemperatureRecord:
        return record_from_readings(self.days, self.low, self.high, source=source)

    def check(self, site: Site = PLACE, beside: Weather | None = None) -> RecordCheck:
        return check_record(self.record(), site, beside.record("near.csv") if beside else None)


def flat(text: str) -> str:
    return " ".join(text.split())


# ---------------------------------------------------------------------------- steps


@pytest.mark.parametrize(("seed", "size"), [(1, 1.5), (2, -1.5), (3, 2.0)])
def test_a_step_is_found_near_its_date_with_its_size(seed: int, size: float) -> None:
    (item,) = Weather(seed).step("2003-06-01", size).check().breaks
    assert abs(int((item.month - np.datetime64("2003-06")).astype(int))) <= 18
    change, error = item.sizes["tmin"]
    assert abs(change - size) < max(3 * error, 0.6)
    change, error = item.sizes["tmax"]
    assert abs(change) < max(3 * error, 0.6)
    assert "range" in item.series


def test_sound_and_warming_records_are_seldom_flagged() -> None:
    checks = [Weather(seed, trend=0.3 * (seed % 2)).check() for seed in range(10)]
    assert sum(bool(check.breaks or check.drifts) for check in checks) <= 2


def test_a_neighbour_shows_what_the_record_alone_does_not() -> None:
    own = Weather(0)
    beside = own.near(9)
    own.step("2001-03-01", 0.6)
    assert own.check().breaks == ()
    both = own.check(beside=beside)
    (item,) = both.breaks
    assert item.series[0] == "tmin less neighbour"
    assert abs(int((item.month - np.datetime64("2001-03")).astype(int))) <= 3
    change, error = item.sizes["tmin less neighbour"]
    assert abs(change - 0.6) < 3 * error
    assert both.neighbour is not None
    assert both.neighbour.likeness > 0.9
    assert "does not share it" in words.meaning(both, item)


def test_weather_of_the_region_is_told_from_a_fault_of_the_station() -> None:
    own = Weather(1).step("2003-06-01", 2.0)
    check = own.check(beside=own.near(9))  # which lives through the same step
    (item,) = check.breaks
    assert "more likely the weather of the region" in words.meaning(check, item)


def test_a_neighbour_without_days_in_common_or_with_the_same_readings_is_refused() -> None:
    own = Weather(0)
    early = Weather(0, days=np.arange(np.datetime64("1950-01-01"), np.datetime64("1960-01-01")))
    with pytest.raises(DataError, match="shares no day"):
        own.check(beside=early)
    with pytest.raises(DataError, match="same readings"):
        own.check(beside=own)


# ---------------------------------------------------------------------------- days, slow changes


@pytest.mark.parametrize("days", [1, -1])
def test_maxima_of_the_wrong_day_are_named(days: int) -> None:
    own = Weather(0)
    beside = own.near(9)
    wrong = own.days < np.datetime64("1993-01-01")
    own.high = np.where(wrong, np.fmax(np.roll(own.high, days), own.low), own.high)
    check = own.check(beside=beside)
    assert check.neighbour is not None
    (shift,) = check.neighbour.shifts
    assert (shift.element, shift.days, shift.years) == ("tmax", days, tuple(range(1985, 1993)))
    text = flat(check_text(check))
    assert f"maxima of 1985–1992 stand a day {'later' if days > 0 else 'earlier'}" in text
    assert ("Read in the morning" in text) is (days > 0)
    assert "maxima a day out of step" in words.headline(check)


def test_harvard_maxima_of_the_sixties_stand_a_day_too_early() -> None:
    """Every maximum of the old station was moved back a day; until 1968 that was too far."""
    both = pair(place("harvard_forest_1964_2020").record, place("boston_1951_2025").record)
    (shift,) = [item for item in day_shifts(both) if item.element == "tmax"]
    assert shift.days == -1
    assert {1966, 1967, 1968} <= set(shift.years) <= set(range(1964, 1970))
    year = both.calendar.astype("datetime64[Y]").astype(int) + 1970
    for number, day in ((1967, 1), (1990, 0)):  # against Boston's next day, and the same day
        summer = np.flatnonzero((year == number) & ~np.isnan(both.tmax_c))[120:240]
        r = [np.corrcoef(both.tmax_c[summer], both.other_tmax_c[summer + lag])[0, 1]
             for lag in (-1, 0, 1)]  # fmt: skip
        assert int(np.argmax(r)) - 1 == day


def test_the_old_station_put_back_at_harvard_is_found_in_the_file_alone(tmp_path: Path) -> None:
    """HF000 before HF001 began on 2001-02-11: minima 1.2 °C lower, maxima 0.17 °C higher and a day
    later, as SOURCES.md of the reference data says of the record's making."""
    path = reference_file("temperatures/harvard_forest_1964_2020.csv")
    record = read_daily_csv(path)
    days = record.first + np.arange(len(record.state))
    old = days < np.datetime64("2001-02-11")
    low = record.raw_tmin_c - 1.2 * old
    high = record.raw_tmax_c + 0.17 * old
    high = np.where(old, np.append(np.nan, high[:-1]), high)
    rows = zip(days, np.char.mod("%.2f", low), np.char.mod("%.2f", high), strict=True)
    lines = ["date,tmin_c,tmax_c", *(f"{day},{a},{b}" for day, a, b in rows)]
    back = tmp_path / "back.csv"
    back.write_text("\n".join(lines).replace("nan", "") + "\n", encoding="utf-8")
    done = run(
        *("site", "check", "--temperatures", str(back), "--latitude", "42.53"),
        *("--longitude", "-72.19", "--format", "json"),
    )
    steps = json.loads(done.stdout)["steps"]
    off = [abs(int((np.datetime64(s["month"], "D") - np.datetime64("2001-02-11")).astype(int)))
           for s in steps]  # fmt: skip
    assert min(off) < 120
    step = steps[int(np.argmin(off))]
    assert step["early"] <= "2001-02" <= step["late"]
    assert {"day_order", "tmin"} <= set(step["series"])
    assert "hour of reading" in step["meaning"]
    assert step["sizes_c"]["tmin"]["change"] == pytest.approx(
        1.2, abs=2 * step["sizes_c"]["tmin"]["standard_error"]
    )


@pytest.mark.parametrize("side", [1, -1])
def test_maxima_of_another_day_are_told_without_a_neighbour(side: int) -> None:
    """Kyoto, every maximum from June 1970 on written a day late or a day early."""
    spot = place("kyoto_1950_1989")
    record = spot.record
    assert check_record(record, spot.site).breaks == ()
    days = record.first + np.arange(len(record.state))
    high = np.where(
        days >= np.datetime64("1970-06-01"), np.roll(record.raw_tmax_c, side), record.raw_tmax_c
    )
    low = np.where(np.isnan(high), record.raw_tmin_c, np.fmin(record.raw_tmin_c, high))
    check = check_record(record_from_readings(days, low, high, source="moved"), spot.site)
    (step,) = check.breaks
    assert step.series == ("day order",)
    assert abs(int((step.month - np.datetime64("1970-06")).astype(int))) <= 12
    assert "another day than before" in flat(check_text(check))


def test_a_slow_change_of_the_range_is_told_and_one_of_the_climate_is_not() -> None:
    assert Weather(5, trend=0.8).check().drifts == ()
    closing = Weather(5)
    closing.low = closing.low + 0.08 * (closing.days - FIRST).astype(int) / 365.25
    check = closing.check()
    (drift,) = check.drifts
    assert drift.series == "range"
    assert 10 * drift.trend.slope == pytest.approx(-0.8, abs=0.25)
    assert check.breaks == ()
    assert "daily range −0." in flat(check_text(check))
    assert by_gid(draw_check(check), "drift-range")


def test_a_step_that_a_line_explains_as_well_is_told_as_either() -> None:
    checks = [Weather(seed).step("2003-06-01", 0.8).check() for seed in range(6)]
    either = [(check, drift) for check in checks for drift in check.drifts if drift.step]
    assert len(either) + sum(bool(check.breaks) for check in checks) >= 2
    off = [abs(int((drift.step.month - np.datetime64("2003-06")).astype(int)))
           for _, drift in either if drift.step]  # fmt: skip
    assert min(off) <= 12
    check, drift = either[0]
    assert drift.step is not None
    text = flat(check_text(check))
    assert f"about {words.month_text(drift.step.month)}" in text
    assert "the series cannot tell which" in text
    assert "slow change or step of the daily range" in words.headline(check)


# ---------------------------------------------------------------------------- gaps and seasons


def test_gaps_are_listed_exactly_longest_first() -> None:
    spoiled = Weather(4)
    for first, days in (
        *(("1999-04-01", 40), ("2010-11-05", 2), ("2012-02-01", 200), ("2015-07-01", 4)),
        *(("2016-07-01", 3), ("2017-01-01", 120), ("2018-03-01", 121)),
    ):
        spoiled.blank(first, days)
    found = spoiled.check().coverage
    assert [(str(gap.first), str(gap.last), gap.days, gap.treated) for gap in found.gaps] == [
        ("2012-02-01", "2012-08-18", 200, "open"),
        ("2018-03-01", "2018-06-29", 121, "open"),
        ("2017-01-01", "2017-04-30", 120, "filled"),
        ("1999-04-01", "1999-05-10", 40, "filled"),
        ("2015-07-01", "2015-07-04", 4, "filled"),
    ]
    assert found.short_gaps == 2
    years = {year.year: (year.read, year.mended, year.open) for year in found.years}
    assert years[2012] == (166, 0, 200)
    assert years[2010] == (363, 2, 0)
    assert years[2017] == (245, 120, 0)
    seasons = {season.season: season for season in found.seasons}
    assert (seasons[1999].spring.missing, seasons[1999].spring.days) == (40, 167)
    assert seasons[1999].spring.share == pytest.approx(40 / 167)
    assert (seasons[1999].why, seasons[1999].gaps) == ("40 days of the spring missing", True)
    assert seasons[2012].why == "200 days open"
    assert seasons[2015].counts
    assert (seasons[1985].counts, seasons[1985].gaps) == (False, False)
    assert {season.season for season in found.seasons if season.gaps} == {1999, 2012, 2017, 2018}


@pytest.mark.parametrize(
    ("site", "gap", "phase"),
    [
        (PLACE, "2004-02-01", "spring"),
        (PLACE, "2004-07-05", "autumn"),
        (SOUTH, "2004-08-01", "spring"),
        (SOUTH, "2005-01-05", "autumn"),
    ],
)
def test_phases_lie_half_a_year_later_in_the_south(site: Site, gap: str, phase: str) -> None:
    found = coverage(Weather(4).blank(gap, 30).record(), site)
    (hit,) = [item for item in found.seasons if item.season == 2004]
    missing = {"spring": hit.spring.missing, "autumn": hit.autumn.missing}
    assert missing == {"spring": 0, "autumn": 0, phase: 30}
    assert hit.counts is (phase == "autumn")  # 25 lose a spring, 40 an autumn
    north = ("15 Jan–30 Jun", "1 Jul on")
    assert words.phase_names(site.hemisphere) == (
        north if site is PLACE else ("15 Jul–28 Dec", "29 Dec on")
    )


# ---------------------------------------------------------------------------- readings


def in_fahrenheit(values: Floats, decimals: int) -> Floats:
    return np.round((np.rint(1.8 * values + 32) - 32) / 1.8, decimals)


def test_coarse_years_are_told_by_their_unit() -> None:
    spoiled = Weather(4)
    early, middle = (spoiled.days < np.datetime64(day) for day in ("1995-01-01", "2004-01-01"))
    for values in (spoiled.low, spoiled.high):
        later = np.where(middle, in_fahrenheit(values, 1), values)
        values[:] = np.where(early, np.rint(values), later)
    check = spoiled.check()
    assert [(run.first_year, run.last_year, run.unit) for run in check.precision] == [
        (1985, 1994, "whole °C"),
        (1995, 2003, "whole °F"),
        (2004, 2020, "finer"),
    ]
    assert "1995–2003: whole degrees Fahrenheit" in flat(check_text(check))
    assert [run.unit for run in Weather(4).check().precision] == ["finer"]


@pytest.mark.parametrize("decimals", [1, 2, 4])
def test_whole_fahrenheit_is_known_however_it_was_rounded(decimals: int) -> None:
    weather = Weather(3)
    low, high = (in_fahrenheit(values, decimals) for values in (weather.low, weather.high))
    assert {run.unit for run in precision(DAYS, low, high)} == {"whole °F"}


def test_boston_changed_from_whole_fahrenheit() -> None:
    """GHCN-Daily USW00014739: whole °F turned into tenths of °C until 2012."""
    path = reference_file("temperatures/boston_1951_2025.csv")
    check = check_record(read_daily_csv(path), Site("Boston", 42.361, -71.010, 4))
    assert [run.unit for run in check.precision] == ["whole °F", "finer"]


def test_stuck_and_impossible_readings_are_told() -> None:
    spoiled = Weather(4)
    stuck = slice(spoiled.at("2001-05-01"), spoiled.at("2001-05-01") + 10)
    spoiled.low[stuck], spoiled.high[stuck] = 6.0, 15.0
    spoiled.low[spoiled.at("2005-08-01")] = -50.0
    check = spoiled.check()
    said = words.headline(check)
    assert "10 days with stuck values" in said
    assert "1 day set aside as impossible" in said
    text = flat(check_text(check))
    assert "2001-05-01" in text
    assert "-50 °C on 2005-08-01" in text
    assert "none stuck" not in text


# ---------------------------------------------------------------------------- odd records


@cache
def all_holes() -> RecordCheck:
    spoiled = Weather(4)
    for year in range(1985, 2020):
        spoiled.blank(f"{year}-0{1 + year % 9}-10", 20 + year % 70)
    spoiled.blank("1995-01-01", 365)  # a whole year
    return spoiled.check(SOUTH)


@cache
def constant() -> RecordCheck:
    still = Weather(4)
    still.low[:], still.high[:] = 5.0, 15.0
    return still.check()


@cache
def three_years() -> RecordCheck:
    return Weather(4, days=DAYS[: 3 * 365]).check()


@cache
def forty_days() -> RecordCheck:
    return Weather(4, days=DAYS[:40]).check(SOUTH)


@cache
def two_steps() -> RecordCheck:
    own = Weather(0)
    beside = own.near(9)
    own.high = np.where(own.days < np.datetime64("1990-01-01"), np.roll(own.high, 1), own.high)
    own.high = np.fmax(own.high, own.low)
    own.step("1996-03-01", 1.5).step("1999-09-01", -1.5, 0.8).blank("2010-01-01", 300)
    invented = Site(f"{'A long name for a yard ' * 5}", 45.0, 8.0, 200, True)
    return own.check(invented, beside)


@pytest.mark.parametrize("build", [all_holes, constant, three_years, forty_days, two_steps])
def test_odd_records_are_answered_in_text_data_and_picture(
    build: Callable[[], RecordCheck],
) -> None:
    check = build()
    text = check_text(check)
    assert max(map(len, text.splitlines())) <= 80
    data = json.loads(json.dumps(check_json(check), allow_nan=False))
    assert data["schema"] == "sapdial-check-1"
    assert len(data["steps"]) == len(check.breaks)
    for item in data["steps"]:
        assert item["meaning"] in flat(text)
        assert item["early"] <= item["month"] <= item["late"]
    for sentence in (data["headline"], *data["advice"], *data["caveats"]):
        assert sentence in flat(text)
    figure = draw_check(check)
    width, height = figure.bbox.width, figure.bbox.height
    placed = boxes(figure)
    for word, box in placed:
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, word
    for at, (one, first) in enumerate(placed):
        for other, second in placed[at + 1 :]:
            across = min(first.x1, second.x1) - max(first.x0, second.x0)
            down = min(first.y1, second.y1) - max(first.y0, second.y0)
            assert across <= 1 or down <= 1, (one, other)


def test_odd_records_say_what_they_are() -> None:
    assert words.TOO_SHORT in flat(check_text(three_years()))
    assert "0 whole seasons where odds need 3" in words.headline(forty_days())
    still = constant()
    assert "days that repeat one value" in words.headline(still)
    assert (still.breaks, still.drifts) == ((), ())
    holes = all_holes()
    assert 1995 not in holes.series["range"].years
    assert "lost to gaps" in words.headline(holes)


# ---------------------------------------------------------------------------- the picture


def test_the_strip_shows_every_gap_and_the_rows_every_season() -> None:
    spoiled = Weather(4).blank("1999-04-01", 40).blank("2010-12-20", 30).blank("2015-01-01", 200)
    check = spoiled.check()
    figure = draw_check(check)

    def cells(state: str) -> int:
        (drawn,) = by_gid(figure, f"days-{state}")
        assert isinstance(drawn, PolyCollection)
        return len(drawn.get_paths())

    assert cells("mended") == 3  # one of them crosses the new year
    assert cells("open") == 1
    assert cells("read") == YEARS + 1  # 1999 in two parts, the others begin or end in a gap
    signs = {}
    for name in ("count", "lost", "cut"):
        (drawn,) = by_gid(figure, f"seasons-{name}")
        assert isinstance(drawn, Line2D)
        signs[name] = len(np.asarray(drawn.get_xdata()))
    inside = [season for season in check.coverage.seasons if 1985 <= season.season <= 2020]
    assert signs["count"] == sum(season.counts for season in inside)
    assert signs["lost"] == sum(season.gaps for season in inside)
    assert sum(signs.values()) == len(inside)


def test_a_step_has_its_line_and_month_and_the_states_differ_in_grey() -> None:
    check = two_steps()
    figure = draw_check(check)
    said = [word for word, _ in boxes(figure)]
    assert len(check.breaks) >= 2
    for number, item in enumerate(check.breaks, 1):
        assert f"{number}  {words.short_month(item.month)}" in said
        assert by_gid(figure, f"step-{number}")
    for name in check.series:
        assert by_gid(figure, f"series-{name.replace(' ', '-')}")
    assert "INVENTED PLACE AND WEATHER" in " ".join(said)
    _, grey = rendered(figure)
    for level in (224.5, 67, 251):  # read, open, paper: far apart without colour
        assert np.mean(np.abs(grey - level) < 3) > 0.002


SLOW_TO_WRITE = [pytest.param(suffix, marks=pytest.mark.slow) for suffix in (".png", ".pdf")]


@pytest.mark.parametrize("suffix", [".svg", *SLOW_TO_WRITE])
def test_picture_files_are_whole_and_the_same_each_time(suffix: str, tmp_path: Path) -> None:
    one, two = (tmp_path / f"{name}{suffix}" for name in ("one", "two"))
    for path in (one, two):
        save_check(two_steps(), path)
    assert one.read_bytes() == two.read_bytes()
    if suffix == ".png":
        with Image.open(one) as picture:
            picture.verify()
    elif suffix == ".svg":
        svg = one.read_text(encoding="utf-8")
        assert svg.rstrip().endswith("</svg>")
        for gid in ("days-read", "days-open", "seasons-count", "step-1", "series-range"):
            assert f'id="{gid}"' in svg
        assert "Worth a look before you trust it" in svg
    else:
        assert one.read_bytes().startswith(b"%PDF")
        assert one.read_bytes().rstrip().endswith(b"%%EOF")


# ---------------------------------------------------------------------------- the command


def daily(path: Path, weather: Weather) -> Path:
    rows = zip(weather.days, weather.low, weather.high, strict=True)
    lines = ["date,tmin_c,tmax_c", *(f"{day},{low:.1f},{high:.1f}" for day, low, high in rows)]
    path.write_text("\n".join(lines).replace("nan", "") + "\n", encoding="utf-8")
    return path


def where(path: Path) -> tuple[str, ...]:
    return "--temperatures", str(path), "--latitude", "45", "--longitude", "8"


def test_the_command_checks_samples_files_and_sites_of_the_notebook(tmp_path: Path) -> None:
    sample = run("site", "check", "--sample", "cool-maritime")
    assert (sample.exit_code, sample.stderr) == (0, "")
    assert "INVENTED" in sample.stdout
    assert len(sample.stdout.splitlines()) <= 50
    path = daily(tmp_path / "yard.csv", Weather(4).step("2003-06-01", 2.0))
    kept = path.read_bytes()
    from_file = run("site", "check", *where(path), "--format", "json")
    assert from_file.exit_code == 0
    data = json.loads(from_file.stdout)
    assert len(data["steps"]) == 1
    book = ("--notebook", str(tmp_path / "book.sqlite"))
    assert run("site", "add", "Yard", *where(path), *book).exit_code == 0
    written = (tmp_path / "book.sqlite").read_bytes()
    for arguments in (("Yard", *book), ("--site", "Yard", *book), book):
        found = run("site", "check", *arguments, "--format", "json")
        assert found.exit_code == 0
        assert json.loads(found.stdout)["steps"] == data["steps"]
    assert (tmp_path / "book.sqlite").read_bytes() == written
    assert path.read_bytes() == kept


def test_a_record_too_short_for_odds_is_checked_all_the_same(tmp_path: Path) -> None:
    path = daily(tmp_path / "short.csv", Weather(4, days=DAYS[:200]))
    found = run("site", "check", *where(path))
    assert (found.exit_code, found.stderr) == (0, "")
    assert "0 whole seasons" in found.stdout
    assert run("ask", "acer-palmatum", *where(path)).exit_code == 1


def test_on_hides_later_readings(tmp_path: Path) -> None:
    path = daily(tmp_path / "yard.csv", Weather(4).blank("2015-02-01", 60))
    early = run("site", "check", *where(path), "--on", "2014-12-31", "--format", "json")
    data = json.loads(early.stdout)
    assert (data["record"]["last"], data["gaps"]) == ("2014-12-31", [])


def test_files_are_written_by_their_ending_and_a_neighbour_is_read(tmp_path: Path) -> None:
    own = Weather(0)
    near = daily(tmp_path / "near.csv", own.near(9))
    path = daily(tmp_path / "yard.csv", own.step("2001-03-01", 1.0))
    arguments = ("site", "check", *where(path), "--neighbour", str(near))
    text = run(*arguments).stdout
    assert "\nNeighbour\n" in text
    for name in ("check.txt", "check.json", "check.svg"):
        done = run(*arguments, "-o", str(tmp_path / name))
        assert (done.exit_code, done.stdout.split(":")[0]) == (0, str(tmp_path / name))
    assert (tmp_path / "check.txt").read_text(encoding="utf-8") == text
    data = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert data["steps"][0]["series"][0] == "tmin_less_neighbour"
    assert data["neighbour"]["source"].endswith("near.csv")
    assert "</svg>" in (tmp_path / "check.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--sample", "nowhere"), "nowhere"),
        (("Yard", "--site", "Yard"), "once"),
        (("--sample", "coast", "--neighbour", "absent.csv"), "absent.csv"),
        (("--sample", "coast", "-o", "check.gif"), ".png"),
        (("--sample", "coast", "-o", "check.png", "--format", "json"), ".json"),
        (("--sample", "coast", "-o", "no/such/check.png"), "no/such"),
    ],
)
def test_bad_input_is_one_sentence(arguments: tuple[str, ...], said: str) -> None:
    refused = run("site", "check", *arguments)
    assert (refused.exit_code, refused.stdout) == (2, "")
    assert len(refused.stderr.splitlines()) == 1
    assert said in refused.stderr
