"""Can a record be trusted: what the checks find in records with known faults.

What must hold
- a step put into one of the readings is found near its date with about its size; a record without
  one, with a trend or with the change of climate, is seldom flagged
- a neighbour shows a step that the record alone does not; maxima of the wrong day are named
- gaps are listed as they are, coarse readings by their years
- text and JSON say the same; bad input is one sentence
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from reference import reference_file
from test_bench import run

from timing.export.check_text import check_json, check_text
from timing.intake.daily_csv import read_daily_csv
from timing.record_check import check_record
from timing.site import Site
from timing.temperature import record_from_readings

PLACE = Site("Invented yard", 45.0, 8.0, 200)
FIRST, YEARS = np.datetime64("1985-01-01"), 36
DAYS = FIRST + np.arange(int((np.datetime64(f"{1985 + YEARS}-01-01") - FIRST).astype(int)))


def weather(seed, trend=0.0, noise=None):
    """Minima and maxima of an invented mild place; days resemble their neighbours."""
    rng = np.random.default_rng(seed)
    count = len(DAYS)
    shocks = rng.normal(0, 1, (2, count)) if noise is None else noise
    walk = np.empty((2, count))
    walk[:, 0] = shocks[:, 0]
    for day in range(1, count):
        walk[:, day] = 0.75 * walk[:, day - 1] + shocks[:, day]
    season = 11 - 9 * np.cos(2 * np.pi * (np.arange(count) - 20) / 365.25)
    mean = season + 2.2 * walk[0] + trend * np.arange(count) / 3652.5
    half = np.maximum(5 + 1.2 * walk[1], 0.8)
    return mean - half, mean + half


def record(low, high, source="yard"):
    return record_from_readings(DAYS, low, high, source=source)


def stepped(low, size, since):
    return low + np.where(np.datetime64(since) <= DAYS, size, 0.0)


@pytest.mark.parametrize(("seed", "size"), [(1, 1.5), (2, -1.2), (3, 2.0)])
def test_a_step_is_found_near_its_date_with_its_size(seed, size):
    low, high = weather(seed)
    found = check_record(record(np.minimum(stepped(low, size, "2003-06-01"), high), high), PLACE)
    assert found.breaks, "no step found"
    first = found.breaks[0]
    months = int((first.month.astype("M8[M]") - np.datetime64("2003-06", "M")).astype(int))
    assert abs(months) <= 18, first.month
    change, error = first.sizes["tmin"]
    assert abs(change - size) < max(3 * error, 0.6), first.sizes


def test_sound_records_are_seldom_flagged():
    flagged = sum(
        bool(check_record(record(*weather(seed, trend=0.3)), PLACE).breaks) for seed in range(12)
    )
    assert flagged <= 3  # about one in twenty is expected


def test_a_neighbour_shows_what_the_record_alone_does_not():
    rng = np.random.default_rng(9)
    noise = rng.normal(0, 1, (2, len(DAYS)))
    low, high = weather(0, noise=noise)
    near_low = low + 1.0 + rng.normal(0, 0.6, len(DAYS))
    near_high = np.maximum(high + 0.5 + rng.normal(0, 0.6, len(DAYS)), near_low)
    own = record(stepped(low, 0.6, "2001-03-01"), np.maximum(high, stepped(low, 0.6, "2001-03-01")))
    beside = check_record(own, PLACE, record(near_low, near_high, "neighbour"))
    assert any("neighbour" in name for item in beside.breaks for name in item.series)
    assert beside.neighbour is not None and beside.neighbour.likeness > 0.9
    late = record(low, np.maximum(np.roll(high, 1), low))
    shifted = check_record(late, PLACE, record(near_low, near_high, "neighbour"))
    assert {(item.element, item.days) for item in shifted.neighbour.shifts} == {("tmax", 1)}
    assert "read in the morning" in " ".join(check_text(shifted).split())


def test_gaps_and_coarse_years_are_told_as_they_are():
    low, high = weather(4)
    early = np.datetime64("1995-01-01") > DAYS
    low[early], high[early] = np.rint(low[early]), np.rint(high[early])
    for first, count in (("1999-04-01", 40), ("2010-11-05", 2), ("2012-02-01", 200)):
        start = int((np.datetime64(first) - FIRST).astype(int))
        low[start : start + count] = high[start : start + count] = np.nan
    found = check_record(record(low, high), PLACE)
    assert [(str(gap.first), gap.days) for gap in found.coverage.gaps] == [
        ("2012-02-01", 200),
        ("1999-04-01", 40),
    ]
    assert found.coverage.short_gaps == 1
    assert [(run.first_year, run.last_year, run.unit) for run in found.precision] == [
        (1985, 1994, "whole °C"),
        (1995, 2020, "finer"),
    ]
    out = {season.season for season in found.coverage.seasons if season.gaps}
    assert {1999, 2012} <= out
    text = check_text(found)
    assert "200 days missing, 1 February 2012 to 18 August 2012" in text
    assert max(map(len, text.splitlines())) <= 80


def test_boston_changed_from_whole_fahrenheit():
    """GHCN-Daily USW00014739: whole °F turned to °C up to 2012."""
    found = check_record(
        read_daily_csv(reference_file("temperatures/boston_1951_2025.csv")),
        Site("Boston", 42.361, -71.010, 4),
    )
    assert found.precision[0].unit == "whole °F"


def test_data_say_what_the_text_says():
    low, high = weather(1)
    found = check_record(record(np.minimum(stepped(low, 1.5, "2003-06-01"), high), high), PLACE)
    data = json.loads(json.dumps(check_json(found)))
    text = " ".join(check_text(found).split())
    assert data["schema"] == "sapdial-check-1" and len(data["steps"]) == len(found.breaks)
    assert data["caution"] in text
    change = data["steps"][0]["sizes_c"]["tmin"]["change"]
    assert f"minima {change:+.1f}".replace("-", "−") in text


def test_the_command_checks_a_sample_and_refuses_in_one_sentence():
    whole = run("site", "check", "--sample", "cool-maritime")
    assert whole.exit_code == 0 and "seasons count in the odds" in whole.stdout
    for arguments in (
        ("site", "check", "--sample", "nowhere"),
        ("site", "check", "Yard", "--site", "Yard"),
        ("site", "check", "--sample", "cool-maritime", "--neighbour", "absent.csv"),
    ):
        refused = run(*arguments)
        assert refused.exit_code in (1, 2) and len(refused.stderr.splitlines()) == 1, arguments
