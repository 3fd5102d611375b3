"""A bench's own thermometer against the station.

What must hold
- invented offsets are found, nights and days apart, each quarter apart, to within two standard
  errors; the error of a mean of like days is larger than that of independent ones
- fewer than fourteen common days in a quarter say nothing; none at all is refused in one sentence
- the tree gets one shelter a quarter, undone as one change
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from test_bench import run

from timing.calibration import quarter_offsets
from timing.errors import DataError
from timing.notebook.model import NotebookSite, Shelter, Tree
from timing.notebook.readings import Readings
from timing.notebook.shelter import calibrated
from timing.notebook.store import Notebook
from timing.temperature import record_from_readings

NIGHT = {12: 1.5, 1: 1.5, 2: 1.5, 3: 3.0, 4: 3.0, 5: 3.0}
NOON = {12: 0.5, 1: 0.5, 2: 0.5, 3: -1.0, 4: -1.0, 5: -1.0}


def records(days=180, noise=0.8, lag=0.0, first="2024-12-01"):
    dates = np.datetime64(first) + np.arange(days)
    rng = np.random.default_rng(3)
    low = 5 + 4 * np.sin(np.arange(days) / 9) + rng.normal(0, 2, days)
    high = low + 9 + rng.normal(0, 1.5, days)
    months = [int(str(day)[5:7]) for day in dates]
    shocks = rng.normal(0, noise, (2, days))
    for index in range(1, days):
        shocks[:, index] = lag * shocks[:, index - 1] + np.sqrt(1 - lag**2) * shocks[:, index]
    warm_low = low + np.array([NIGHT.get(m, 0.0) for m in months]) + shocks[0]
    warm_high = high + np.array([NOON.get(m, 0.0) for m in months]) + shocks[1]
    station = record_from_readings(dates, low, high, source="station")
    return station, record_from_readings(dates, warm_low, warm_high, source="logger.csv")


def test_offsets_are_found_season_by_season():
    station, bench = records()
    winter, spring = quarter_offsets(station, bench)
    for found, night, noon in ((winter, 1.5, 0.5), (spring, 3.0, -1.0)):
        assert abs(found.tmin_offset_c - night) < 2 * found.tmin_error_c + 0.02
        assert abs(found.tmax_offset_c - noon) < 2 * found.tmax_error_c + 0.02
        assert 0.03 < found.tmin_error_c < 0.3
    assert winter.days >= 88 and spring.days >= 88


def test_days_like_their_neighbours_tell_less():
    plain = quarter_offsets(*records())[0].tmin_error_c
    sticky = quarter_offsets(*records(lag=0.8))[0].tmin_error_c
    assert sticky > 1.5 * plain


def test_too_few_days_say_nothing():
    station, bench = records(days=100)
    assert [item.starts for item in quarter_offsets(station, bench)] == ["12-01"]
    station, bench = records(days=13)
    with pytest.raises(DataError, match=r"13 days shared .* at least 14"):
        quarter_offsets(station, bench)
    later, _ = records(first="2030-01-01")
    with pytest.raises(DataError, match="share no day"):
        quarter_offsets(later, bench)


def test_a_tree_keeps_one_shelter_a_quarter():
    station, bench = records()
    offsets = quarter_offsets(station, bench)
    wall = Shelter("awning", -1.0, -2.0)
    tree = Tree("Old maple", "acer-palmatum", "Yard", shelters=(wall,))
    once = calibrated(tree, "warm wall", offsets)
    twice = calibrated(once, "Warm wall", offsets)
    assert len(once.shelters) == len(twice.shelters) == 3
    assert wall in twice.shelters


def test_a_calibration_is_one_change(tmp_path):
    station, bench = records()
    when = dt.datetime(2025, 6, 1)
    with Notebook.open(tmp_path / "book.sqlite", create=True) as book:
        book.add_site(NotebookSite("Yard", 45.0, 8.0), Readings.of(station), when=when)
        book.add_tree(Tree("Old maple", "acer-palmatum", "Yard"), when=when)
        offsets = quarter_offsets(book.temperature_record("Yard"), bench)
        book.change_tree("Old maple", lambda t: calibrated(t, "wall", offsets), when=when)
        assert len(book.tree("Old maple").shelters) == 2
        book.undo()
        assert book.tree("Old maple").shelters == ()


def test_a_loggers_hours_calibrate_as_days_do(tmp_path):
    """Readings of every hour from a thermometer 2 °C above the site's, night and day."""
    days = np.arange("2020-09-01", "2021-09-01", dtype="M8[D]")
    number = np.arange(len(days))
    low = np.round(5 + 3 * np.sin(number * 1.7), 1)
    high = np.round(low + 8 + 2 * np.cos(number * 0.9), 1)
    book = tmp_path / "book.sqlite"
    with Notebook.open(book, create=True) as notebook:
        site = NotebookSite("Home", 45.5, 7.25)
        when = dt.datetime(2021, 10, 1)
        notebook.add_site(site, Readings(days, low, high), when=when)
        notebook.add_tree(Tree("Maple", "acer-palmatum", "Home"), when=when)
    lines = ["time,temperature_c"]
    for day, a, b in zip(days[91:151], low[91:151], high[91:151], strict=True):
        wave = (a + b) / 2 - (b - a) / 2 * np.cos((np.arange(24) - 5) / 12 * np.pi)
        lines += [f"{day} {hour:02d}:00,{value + 2:.2f}" for hour, value in enumerate(wave)]
    (tmp_path / "wall.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    words = ("tree", "shelter", "Maple", "--kind", "wall", "--calibrate-with")
    done = run(*words, str(tmp_path / "wall.csv"), "--notebook", str(book))
    assert done.exit_code == 0, done.stderr
    assert "12-01 to 02-29: nights +2.0 °C" in done.stdout
    assert "days +2.0 °C" in done.stdout
