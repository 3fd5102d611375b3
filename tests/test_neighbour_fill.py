"""Gaps filled from a neighbouring record, and what is forecast, are marked and kept apart.

What must hold:

* a gap of more than three days takes the neighbour's readings plus the mean difference of that
  calendar month, minima and maxima apart, over days both read; shorter ones are bridged as ever;
* with fewer than sixty days of some month in common nothing is filled, and adding is refused;
* the mark reaches the season spread, answers, the check in text, data and picture, survives a new
  file, a folder and undo, and hidden days hide the neighbour's too;
* on two real stations of one valley the filled days are nearer the truth than the usual is.
"""

import datetime as dt
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from own_notebook import sapdial
from sites import exact, outlook_at, place
from test_cli import Command

from timing.advice import answer
from timing.drivers import build_drivers
from timing.errors import DataError
from timing.events import season_events
from timing.forecast import NEXT_DAYS, forecast_vetoes
from timing.neighbour_fill import FEWEST_COMMON_DAYS, monthly_offsets
from timing.notebook.store import Notebook
from timing.season import Floats
from timing.temperature import (
    BRIDGED,
    FILLED,
    NEIGHBOUR,
    OBSERVED,
    OPEN,
    Forecast,
    TemperatureRecord,
    neighbour_offsets,
    record_from_readings,
)

__all__ = ["sapdial"]  # the fixture

FIRST = np.datetime64("2015-01-01")
DAYS = FIRST + np.arange(365 * 6 + 1)
MONTH = DAYS.astype("M8[M]").astype(int) % 12


def at(day: str) -> int:
    return int((np.datetime64(day) - FIRST).astype(int))


def weather(seed: int = 1) -> tuple[Floats, Floats]:
    """Made-up days in tenths: a year's wave and noise."""
    rng = np.random.default_rng(seed)
    wave = 10 - 12 * np.cos(2 * np.pi * (np.arange(len(DAYS)) - 20) / 365.25)
    low = np.round(wave - 4 + rng.normal(0, 2, len(DAYS)), 1)
    return low, np.round(low + 4 + rng.uniform(0, 8, len(DAYS)), 1)


LOW, HIGH = weather()
# By how much the site is warmer than its neighbour, January to December.
NIGHT = np.array([1.0, 1.5, 2.0, 0.5, 0.0, -0.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.0])
NOON = -0.3 * NIGHT + 0.2
NEAR = record_from_readings(DAYS, LOW - NIGHT[MONTH], HIGH - NOON[MONTH], source="near.csv")


def holed(*gaps: tuple[str, int]) -> tuple[Floats, Floats]:
    low, high = LOW.copy(), HIGH.copy()
    for first, days in gaps:
        low[at(first) : at(first) + days] = high[at(first) : at(first) + days] = np.nan
    return low, high


def filled(*gaps: tuple[str, int], near: TemperatureRecord | None = NEAR) -> TemperatureRecord:
    return record_from_readings(DAYS, *holed(*gaps), source="own.csv", neighbour=near)


# ---------------------------------------------------------------------------- by hand


def test_offsets_are_mean_differences_of_the_months_by_hand() -> None:
    """Two years of January and February; one reading of the neighbour is missing."""
    calendar = np.concatenate(
        [np.arange(f"{year}-01-01", f"{year + 1}-01-01", dtype="M8[D]") for year in (2001, 2002)]
    )
    month = calendar.astype("M8[M]").astype(int) % 12
    other = np.zeros(len(calendar)), np.full(len(calendar), 10.0)
    own = np.where(month == 0, 2.0, -1.0), np.where(month == 0, 9.0, 10.5)
    own[0][:31] = 1.0  # January 2001: 31 days of +1, January 2002: 31 of +2
    with pytest.raises(DataError, match=r"56 days of February in common, where 60 .* needed"):
        monthly_offsets(calendar, own, other, source="near.csv")
    third = np.concatenate([calendar, np.arange("2003-01-01", "2004-01-01", dtype="M8[D]")])
    longer = [np.concatenate([v, v[365:]]) for v in (*own, *other)]
    found = monthly_offsets(third, (longer[0], longer[1]), (longer[2], longer[3]), source="x")
    assert found.tmin_c[0] == pytest.approx((31 * 1 + 62 * 2) / 93)
    assert found.tmin_c[1:] == pytest.approx(np.full(11, -1.0))
    assert found.tmax_c == pytest.approx(np.array([-1.0, *[0.5] * 11]))
    assert found.days == 3 * 365


def test_a_long_gap_takes_the_neighbours_days_at_the_sites_level() -> None:
    gap = ("2017-02-20", 200)
    record = filled(gap, ("2018-05-01", 2), ("2019-07-01", 4))
    inside = slice(at(gap[0]), at(gap[0]) + gap[1])
    assert set(record.state[inside]) == {NEIGHBOUR}
    # differences are the same on every day of a month, so the truth comes back
    np.testing.assert_allclose(record.tmin_c[inside], LOW[inside], atol=1e-9)
    np.testing.assert_allclose(record.tmax_c[inside], HIGH[inside], atol=1e-9)
    assert record.state[at("2018-05-01")] == BRIDGED
    assert set(record.state[at("2019-07-01") : at("2019-07-05")]) == {NEIGHBOUR}
    assert (record.missing_days, record.repaired_days, record.neighbour_days) == (206, 206, 204)
    assert np.isnan(record.raw_tmin_c[inside]).all()
    assert "204 days filled from near.csv (minima −1.0 to +2.0 °C" in record.warnings[-1]


def test_what_the_neighbour_lacks_too_is_treated_as_before() -> None:
    low, high = NEAR.raw_tmin_c.copy(), NEAR.raw_tmax_c.copy()
    for first, days in (("2017-04-01", 2), ("2017-06-01", 60), ("2019-01-01", 150)):
        low[at(first) : at(first) + days] = high[at(first) : at(first) + days] = np.nan
    near = record_from_readings(DAYS, low, high, source="near.csv")
    record = filled(("2017-03-01", 200), ("2019-01-01", 160), near=near)

    def states(first: str, days: int) -> set[int]:
        return set(record.state[at(first) : at(first) + days].tolist())

    assert states("2017-04-01", 2) == {BRIDGED}
    assert states("2017-06-01", 60) == {FILLED}
    assert states("2019-01-01", 150) == {OPEN}
    assert states("2019-05-31", 10) == {NEIGHBOUR}


def test_a_single_missing_reading_is_filled_and_its_partner_kept() -> None:
    low, high = LOW.copy(), HIGH.copy()
    low[at("2017-02-01") : at("2017-02-11")] = np.nan
    record = record_from_readings(DAYS, low, high, source="own.csv", neighbour=NEAR)
    inside = slice(at("2017-02-01"), at("2017-02-11"))
    np.testing.assert_array_equal(record.tmax_c[inside], HIGH[inside])
    np.testing.assert_allclose(record.tmin_c[inside], LOW[inside], atol=1e-9)
    assert set(record.state[inside]) == {NEIGHBOUR}


def test_too_few_common_days_fill_nothing_and_say_so() -> None:
    stop = at("2016-03-01")  # one February and a whole leap one: 57 days
    short = record_from_readings(
        DAYS[:stop], NEAR.raw_tmin_c[:stop], NEAR.raw_tmax_c[:stop], source="near.csv"
    )
    record = filled(("2015-06-01", 150), near=short)
    assert record.neighbour_days == 0
    assert f"{FEWEST_COMMON_DAYS} of every month are needed" in record.warnings[-1]
    with pytest.raises(DataError, match="in common"):
        neighbour_offsets(record, short)


def test_hidden_days_hide_the_neighbours_too() -> None:
    """As of a day, the offsets are those of the days before it."""
    day = np.datetime64("2018-06-30")
    seen = filled(("2017-02-20", 200)).until(day)
    stop = at("2018-07-01")
    warmer = record_from_readings(
        DAYS,
        np.where(day < DAYS, NEAR.raw_tmin_c - 9, NEAR.raw_tmin_c),
        NEAR.raw_tmax_c,
        source="near.csv",
    )
    other = filled(("2017-02-20", 200), near=warmer).until(day)
    assert len(seen.tmin_c) == stop
    np.testing.assert_array_equal(seen.tmin_c, other.tmin_c)
    assert seen.neighbour_days == 200
    before = filled(("2017-02-20", 200), near=replace(NEAR, first=np.datetime64("2019-01-01")))
    assert before.until(day).neighbour_days == 0


def test_a_filled_season_counts_and_its_dates_spread_wider() -> None:
    site = place("humid-continental").site
    without = build_drivers(filled(("2017-02-20", 100), near=None), site)
    beside = build_drivers(filled(("2017-02-20", 100)), site)
    row = beside.row_of(2017)
    assert row is not None
    assert not without.covered[row] and beside.covered[row]
    assert beside.mended_days[row, 1] == 100
    events = season_events(exact("acer-palmatum"), beside)
    spread = events.days["bud_break"].std(axis=1)
    # the model of this taxon has no error of its own, so only mending is left: 0.5 √100 days
    assert spread[row] == pytest.approx(5.0, rel=0.1)
    assert spread[row + 1] == pytest.approx(0.0, abs=1e-9)


def test_a_real_neighbour_is_nearer_than_the_usual() -> None:
    """Hubbard Brook, two stations of one valley (EDI knb-lter-hbr.59)."""
    own = place("hubbard_brook_sta1_1985_2019").record
    near = place("hubbard_brook_hq_1985_2019").record
    days = own.first + np.arange(len(own.state))
    rng = np.random.default_rng(3)
    low, high = own.raw_tmin_c.copy(), own.raw_tmax_c.copy()
    hidden = np.zeros(len(days), dtype=bool)
    for year in range(1986, 2019, 2):
        start = int((np.datetime64(f"{year}-01-01") - own.first).astype(int))
        start += int(rng.integers(0, 300))
        hidden[start : start + 60] = True
    hidden &= own.state == OBSERVED
    low[hidden] = high[hidden] = np.nan
    errors = {}
    for name, neighbour in (("usual", None), ("neighbour", near)):
        made = record_from_readings(days, low, high, source="own", neighbour=neighbour)
        known = hidden & (made.state == (FILLED if neighbour is None else NEIGHBOUR))
        assert known.sum() > 800
        errors[name] = [
            float(np.sqrt(np.mean((a[known] - b[known]) ** 2)))
            for a, b in ((made.tmin_c, own.tmin_c), (made.tmax_c, own.tmax_c))
        ]
    assert max(errors["neighbour"]) < 0.6 * min(errors["usual"])


# ---------------------------------------------------------------------------- in the notebook


def written(path: Path, low: Floats, high: Floats) -> Path:
    rows = (
        f"{day},{'' if np.isnan(a) else f'{a:.1f}'},{'' if np.isnan(b) else f'{b:.1f}'}"
        for day, a, b in zip(DAYS, low, high, strict=True)
    )
    path.write_text("\n".join(["date,tmin_c,tmax_c", *rows, ""]), encoding="utf-8")
    return path


@pytest.fixture
def files(tmp_path: Path) -> SimpleNamespace:
    return SimpleNamespace(
        own=written(tmp_path / "own.csv", *holed(("2017-02-20", 150))),
        later=written(tmp_path / "later.csv", *holed(("2018-02-20", 120))),
        near=written(tmp_path / "near.csv", NEAR.raw_tmin_c, NEAR.raw_tmax_c),
    )


PLACE = ("--latitude", "45.5", "--longitude", "7.25")


def test_the_mark_reaches_every_output_and_survives(
    sapdial: Command, tmp_path: Path, files: SimpleNamespace
) -> None:
    run = sapdial(
        *("site", "add", "Yard", *PLACE, "--temperatures", files.own, "--fill-from", files.near)
    )
    assert run.status == 0 and "150 days filled from near.csv" in run.err
    text = " ".join(sapdial.answered("ask", "acer-palmatum", "--on", "2020-12-31").split())
    assert "150 days missing, 150 mended, 150 of them from a neighbour" in text
    found = sapdial.json("ask", "acer-palmatum", "--on", "2020-12-31")
    assert found["record"]["neighbour_days"] == 150
    text = " ".join(sapdial.answered("site", "check", "Yard").split())
    assert "150 days filled from a neighbour, not read here" in text
    assert "150 days, 2017-02-20 to 2017-07-19, filled from the neighbour" in text
    found = sapdial.json("site", "check", "Yard")
    assert [year["neighbour"] for year in found["years"]] == [0, 0, 150, 0, 0, 0]
    sapdial.answered("site", "check", "Yard", "-o", tmp_path / "check.svg")
    picture = (tmp_path / "check.svg").read_text(encoding="utf-8")
    assert 'id="days-neighbour"' in picture and "from a neighbour" in picture
    assert "gaps filled from near.csv" in sapdial.answered("site", "show", "Yard")

    sapdial.answered("record", "export", tmp_path / "out")
    other = ("--notebook", tmp_path / "other.sqlite")
    sapdial.answered("record", "import", tmp_path / "out", *other)
    assert sapdial.json("site", "check", "Yard", *other) == found

    assert sapdial("site", "change", "Yard", "--temperatures", files.later).status == 0
    found = sapdial.json("site", "check", "Yard")
    assert [year["neighbour"] for year in found["years"]] == [0, 0, 0, 120, 0, 0]
    sapdial.answered("site", "change", "Yard", "--no-fill")
    assert sapdial.json("site", "check", "Yard")["record"]["neighbour_days"] == 0
    assert sapdial.json("site", "list")["sites"][0]["neighbour"] is None
    sapdial.answered("record", "undo")
    assert sapdial.json("site", "check", "Yard")["record"]["neighbour_days"] == 120
    sapdial.answered("site", "remove", "Yard", "--yes")
    sapdial.answered("record", "undo")
    assert sapdial.json("site", "check", "Yard")["record"]["neighbour_days"] == 120


def test_a_neighbour_of_other_years_is_refused_and_nothing_kept(
    sapdial: Command, tmp_path: Path, files: SimpleNamespace
) -> None:
    short = files.near.read_text(encoding="utf-8").splitlines()[:300]
    (tmp_path / "short.csv").write_text("\n".join(short), encoding="utf-8")
    words = ("site", "add", "Yard", *PLACE, "--temperatures", files.own)
    run = sapdial(*words, "--fill-from", tmp_path / "short.csv")
    assert run.status == 1 and run.err.count("\nsapdial: ") == 1
    assert "short.csv" in run.err and "60 of every month" in run.err
    assert not (tmp_path / "notebook.sqlite").exists()
    assert sapdial(*words).status == 0
    assert sapdial("site", "change", "Yard", "--fill-from", tmp_path / "no.csv").status == 2
    run = sapdial("site", "change", "Yard", "--fill-from", files.near, "--no-fill")
    assert run.status == 2 and "exclude each other" in run.err


def test_what_reading_a_file_told_is_kept_with_the_site(sapdial: Command, tmp_path: Path) -> None:
    rows = (
        f"{day},{a * 1.8 + 32:.1f},{b * 1.8 + 32:.1f}"
        for day, a, b in zip(DAYS, LOW, np.roll(HIGH, 1), strict=True)
    )
    path = tmp_path / "f.csv"
    path.write_text("\n".join(["date,tmin_f,tmax_f", *rows, ""]), encoding="utf-8")
    run = sapdial(*("site", "add", "Yard", *PLACE, "--temperatures", path, "--morning-maximum"))
    assert run.status == 0
    (site,) = sapdial.json("site", "list")["sites"]
    moved = f"{len(DAYS)} maxima moved one day back: as told"
    assert site["notes"] == [moved, "temperatures converted from °F"]
    shown = " ".join(sapdial.answered("site", "show", "Yard").split())
    assert f"note: {moved}" in shown and "note: temperatures converted from °F" in shown
    found = sapdial.json("ask", "acer-palmatum", "--on", "2020-12-30")
    assert set(site["notes"]) <= set(found["record"]["warnings"])
    sapdial.answered(
        *("site", "change", "Yard", "--temperatures", written(tmp_path / "c.csv", LOW, HIGH))
    )
    assert sapdial.json("site", "list")["sites"][0]["notes"] == []


# ---------------------------------------------------------------------------- days ahead

TODAY = np.datetime64("2020-01-10")
SAMPLE = place("humid-continental").record


def ahead(low: list[float], high: list[float], made: np.datetime64 = TODAY) -> TemperatureRecord:
    """The made-up record up to yesterday, and what is expected from today on."""
    record = filled().until(TODAY - 1)
    days = TODAY + np.arange(len(low))
    return replace(record, ahead=Forecast(days, np.array(low), np.array(high), made))


def vetoes(record: TemperatureRecord, heat: bool = False) -> tuple[str, ...]:
    return forecast_vetoes(record, TODAY, freeze=(-10, "why"), heat=(32.0, 3) if heat else None)


def test_a_forecast_frost_forbids_on_the_next_days_only() -> None:
    (text,) = vetoes(ahead([0, 0, -13, -11, 0], [5] * 5))
    assert text.startswith("hard frost forecast: −13 °C on 12 January")
    assert "expected on 10 January" in text
    assert vetoes(ahead([-9.9] * 5, [5] * 5)) == ()
    assert vetoes(ahead([0] * NEXT_DAYS + [-30], [5] * (NEXT_DAYS + 1))) == ()
    assert vetoes(ahead([-10], [5], made=TODAY + 1)) == ()  # nobody knew it yet
    assert vetoes(ahead([np.nan, -10], [5, 5]))


def test_forecast_heat_counts_the_days_recorded_before_it() -> None:
    record = ahead([20] * 5, [33, 20, 20, 20, 20])
    assert vetoes(record, heat=True) == ()
    hot = record.tmax_c.copy()
    hot[-2:] = 32.0
    (text,) = vetoes(replace(record, tmax_c=hot), heat=True)
    assert "up to 10 January" in text
    assert vetoes(replace(record, tmax_c=hot)) == ()
    (text,) = vetoes(ahead([20] * 5, [20, 32, 32, 32, 32]), heat=True)
    assert "up to 13 January" in text
    assert vetoes(ahead([20] * 4, [32, 32, np.nan, 32]), heat=True) == ()


def test_a_forecast_changes_no_date_and_no_chance() -> None:
    view = outlook_at("humid-continental", "acer-palmatum")
    on = view.record.last + 1
    days = on + np.arange(5)
    cold = Forecast(days, np.full(5, -20.0), np.full(5, -5.0), on)
    plain = answer(view, "heavy", on)
    warned = answer(replace(view, record=replace(view.record, ahead=cold)), "heavy", on)
    assert any(text.startswith("hard frost forecast") for text in warned.vetoes)
    assert warned.verdict == "not_safe"
    assert (warned.chance, warned.windows, warned.best_day) == (
        plain.chance,
        plain.windows,
        plain.best_day,
    )
    assert len(warned.vetoes) == len(plain.vetoes) + 1


def test_a_forecast_in_the_notebook_is_no_part_of_the_record(tmp_path: Path) -> None:
    from timing.intake.stations import Station  # noqa: PLC0415
    from timing.notebook.model import NotebookSite, SiteStation  # noqa: PLC0415
    from timing.notebook.readings import Readings  # noqa: PLC0415

    station = SiteStation(Station("ZZ1", "Made up", 45.5, 7.2, 300), 1.5, dt.date(2020, 12, 31))
    site = NotebookSite("Yard", 45.5, 7.25, station=station)
    day = np.datetime64("2020-12-31")
    expected = Readings(day + np.arange(3), np.array([-3.0, -4, -5]), np.array([1.0, 2, 3]))
    with Notebook.open(tmp_path / "n.sqlite", create=True) as book:
        book.add_site(
            site, Readings(DAYS[:-1], LOW[:-1], HIGH[:-1]), when=dt.datetime(2021, 1, 1),
            beside={"forecast": expected},
        )  # fmt: skip
        record = book.temperature_record("Yard", until=np.datetime64("2020-12-31"))
        assert record.last == DAYS[-2] and record.ahead is not None
        assert record.ahead.tmin_c.tolist() == [-1.5, -2.5, -3.5]
        assert book.temperature_record("Yard", until=np.datetime64("2020-12-30")).ahead is None
        book.change_site(
            "Yard", lambda old: old, Readings(DAYS, LOW, HIGH), when=dt.datetime(2021, 1, 1)
        )
        assert book.readings("Yard", "forecast") is None  # a file has no forecast
        book.undo()
        assert expected.same(book.readings("Yard", "forecast"))


# ---------------------------------------------------------------------------- a century


def test_a_century_is_taken_in_within_three_seconds(sapdial: Command, tmp_path: Path) -> None:
    days = np.arange("1925-01-01", "2025-01-01", dtype="M8[D]")
    low = np.round(8 - 12 * np.cos(np.arange(len(days)) / 365.25 * 2 * np.pi), 1)
    rows = (
        f"{day},{a},{a + 9 + n % 7:.1f}" for n, (day, a) in enumerate(zip(days, low, strict=True))
    )
    path = tmp_path / "century.csv"
    path.write_text("\n".join(["date,tmin_c,tmax_c", *rows, ""]), encoding="utf-8")
    began = time.process_time()
    run = sapdial("site", "add", "Yard", *PLACE, "--temperatures", path)
    assert time.process_time() - began < 3
    assert run.status == 0 and f"{len(days)} days of temperatures" in run.out
