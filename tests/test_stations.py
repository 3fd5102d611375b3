"""A station is chosen by points that anybody can count; days are sifted and merged by stated rules.

What must hold:

* distance, height difference, correction and points are those counted by hand;
* a station or site of unknown height is penalised, never dropped and never "not a number";
* a reading of a model is left out, also where the source names a network besides; today and later
  are kept apart; impossible and contradicting days are left out and counted;
* merging never puts nothing in the place of something, and says what it added and revised;
* what is kept of a station reads back the same and survives any garbage in its place.
"""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from timing.errors import DataError, UsageError
from timing.intake.credits import Credit, attribution, licence
from timing.intake.station_cache import Kept, checked_code, read_kept, write_kept
from timing.intake.station_days import Row, StationDays, is_model, merged, sift
from timing.intake.stations import (
    Candidate,
    Ranked,
    Station,
    correction_text,
    points_text,
    ranked,
    station_text,
)
from timing.site import Site

TODAY = dt.date(2024, 6, 15)
HOME = Site("Mill bench", 47.0, 8.0, 400.0)
NAN = math.nan


def candidate(
    code: str = "A",
    *,
    north_km: float = 0.0,
    elevation_m: float | None = 400.0,
    first: str = "1991-01-01",
    last: str = "2024-06-14",
    share: float | None = 1.0,
) -> Candidate:
    """A station so far north of home; a degree of latitude is 111.195 km on a globe of 6371 km."""
    station = Station(code, f"Invented {code}", 47.0 + north_km / 111.1949, 8.0, elevation_m)
    return Candidate(station, dt.date.fromisoformat(first), dt.date.fromisoformat(last), share)


def only(item: Candidate, site: Site = HOME, since: int = 1991) -> Ranked:
    (found,) = ranked(site, [item], since=since, today=TODAY)
    return found


# ---------------------------------------------------------------------------- distance and height


@pytest.mark.parametrize(
    ("site", "station", "km"),
    [
        ((0, 0), (1, 0), 111.195),  # 6371 × π / 180
        ((60, 0), (60, 1), 55.597),  # chord rule: 2 asin(cos 60° sin 0.5°), in km
        ((10, 179.9), (10, -179.9), 21.901),  # over the date line: 0.2° × 111.195 × cos 10°
        ((90, 0), (-90, 0), 20015.087),  # half way round
        ((47, 8), (47, 8), 0),
    ],
)
def test_distances_are_those_on_a_globe(
    site: tuple[float, float], station: tuple[float, float], km: float
) -> None:
    found = Station("A", "A", *station).km_from(Site("x", *site))
    assert found == pytest.approx(km, abs=0.002)


@pytest.mark.parametrize(
    ("station_m", "site_m", "offset"),
    [(900, 400, 3.25), (400, 900, -3.25), (420, 400, 0.13), (400, 400, 0.0), (-5, 395, -2.6)],
)
def test_the_correction_is_six_and_a_half_degrees_a_kilometre(
    station_m: float, site_m: float, offset: float
) -> None:
    station, site = Station("A", "Invented A", 47, 8, station_m), Site("x", 47, 8, site_m)
    assert station.offset_c(site) == offset
    text = correction_text(site, station, offset)
    if offset:
        assert f"{abs(offset):g} °C" in text
        assert ("raised" in text) is (offset > 0)
        assert "cold air lies in valleys" in text
    else:
        assert "not corrected" in text


@pytest.mark.parametrize(("station_m", "site_m"), [(None, 400), (400, None), (None, None)])
def test_an_unknown_height_corrects_nothing_and_says_whose(
    station_m: float | None, site_m: float | None
) -> None:
    station, site = Station("A", "Invented A", 47, 8, station_m), Site("x", 47, 8, site_m)
    assert station.offset_c(site) == 0.0
    assert station.metres_above(site) is None
    text = correction_text(site, station, 0.0)
    assert ("--elevation" in text) is (site_m is None)
    assert "unknown" in text


# ---------------------------------------------------------------------------- points


def test_points_are_counted_by_hand() -> None:
    item = only(candidate(north_km=3, elevation_m=360, share=0.98))
    assert item.parts == pytest.approx(
        {"distance": 3, "height": 4, "length": 0, "gaps": 2, "ended": 0}, abs=1e-3
    )
    assert item.points == pytest.approx(9, abs=1e-3)
    assert points_text(item) == "9 points (distance 3, height 4, gaps 2)"


def test_a_short_record_costs_two_points_a_year_up_to_thirty() -> None:
    # 2014-06-15 to 2024-06-14 are 3653 days, 10.0014 years; twenty are missing to thirty
    item = only(candidate(first="2014-06-15"))
    assert item.years == pytest.approx(10.0014, abs=1e-4)
    assert item.parts["length"] == pytest.approx(2 * (30 - 10.0014), abs=1e-3)
    # since 2014 only 10.45 years are asked for: 2014-01-01 to 2024-06-14 are 3818 days
    item = only(candidate(first="2014-06-15"), since=2014)
    assert item.parts["length"] == pytest.approx(2 * (3818 - 3653) / 365.25, abs=1e-6)
    # years before those asked for and days to come do not count
    item = only(candidate(first="1950-01-01", last="2030-01-01"), since=2014)
    assert item.years == pytest.approx(3818 / 365.25)


@pytest.mark.parametrize(("last", "points"), [("2024-04-15", 0), ("2024-04-14", 30)])
def test_a_record_that_ended_costs_thirty_points(last: str, points: float) -> None:
    assert only(candidate(last=last)).parts["ended"] == points


def test_unknown_height_and_unknown_share_cost_a_fixed_sum() -> None:
    assert only(candidate(elevation_m=None)).parts["height"] == 30
    assert only(candidate(), Site("x", 47, 8)).parts["height"] == 30
    assert only(candidate(share=None)).parts["gaps"] == 10
    assert "unknown share" in station_text(only(candidate(share=None)))


def test_the_nearest_does_not_win_where_it_stands_on_a_hill() -> None:
    hill, valley = candidate("H", north_km=2, elevation_m=800), candidate("V", north_km=20)
    order = ranked(HOME, [hill, valley], since=1991, today=TODAY)
    assert [item.station.code for item in order] == ["V", "H"]  # 20 points against 2 + 40


def test_a_station_of_unknown_height_wins_where_the_others_are_worse() -> None:
    near, far = candidate("N", north_km=1, elevation_m=None), candidate("F", north_km=40)
    order = ranked(HOME, [far, near], since=1991, today=TODAY)
    assert [item.station.code for item in order] == ["N", "F"]  # 31 points against 40
    assert all(math.isfinite(item.points) for item in order)


def test_equal_points_go_by_distance_and_then_by_code() -> None:
    level = candidate("A", north_km=0, elevation_m=410)  # one point for height
    away = candidate("B", north_km=1.0000003)
    twin = candidate("C", north_km=0, elevation_m=390)
    order = ranked(HOME, [twin, away, level], since=1991, today=TODAY)
    assert [item.station.code for item in order] == ["A", "C", "B"]


def test_less_than_four_years_are_not_enough() -> None:
    assert only(candidate(first="2020-06-15")).enough  # 1461 days
    assert not only(candidate(first="2020-06-16")).enough


@given(st.floats(0, 45), st.floats(0, 45), st.floats(-400, 4000), st.floats(0, 1), st.floats(0, 1))
def test_more_distance_or_gaps_never_help(
    near: float, far: float, height: float, one: float, two: float
) -> None:
    near, far = sorted((near, far))
    low, high = sorted((one, two))
    better = only(candidate(north_km=near, elevation_m=height, share=high))
    worse = only(candidate(north_km=far, elevation_m=height, share=low))
    assert better.points <= worse.points + 1e-9


# ---------------------------------------------------------------------------- sifting days


def row(day: str, low: float, high: float, *sources: str) -> Row:
    first, second = (sources * 2)[:2] if sources else ("ghcnd", "ghcnd")
    return Row(dt.date.fromisoformat(day), low, first, high, second)


@pytest.mark.parametrize(
    ("source", "model"),
    [
        ("ghcnd", False),
        ("isd_lite metar", False),
        ("dwd_mosmix", True),
        ("isd_lite dwd_mosmix", True),
        ("dwd_mosmix isd_lite", True),
        ("metno_forecast", True),
        ("ISD_LITE DWD_MOSMIX", True),
        ("", False),
    ],
)
def test_one_word_of_a_model_makes_a_reading_of_a_model(source: str, model: bool) -> None:
    assert is_model(source) is model


def test_readings_of_models_are_left_out_one_by_one() -> None:
    found = sift(
        [
            row("2024-06-01", 5, 15, "isd_lite dwd_mosmix", "isd_lite"),
            row("2024-06-02", 6, 16, "dwd_mosmix"),
            row("2024-06-03", 7, 17, "new_network"),
        ],
        today=TODAY,
    )
    assert found.measured.values() == {
        dt.date(2024, 6, 1): (pytest.approx(NAN, nan_ok=True), 15),
        dt.date(2024, 6, 3): (7, 17),
    }
    assert found.aside == {"model": 3}
    assert found.sources == {"isd_lite": 1, "new_network": 2}


def test_today_and_later_are_kept_apart_whatever_their_source() -> None:
    rows = [
        row("2024-06-14", 5, 15),
        row("2024-06-15", 6, 16),
        row("2024-06-20", 7, 17, "dwd_mosmix"),
    ]
    found = sift(rows, today=TODAY)
    assert found.measured.days.tolist() == [dt.date(2024, 6, 14)]
    assert found.forecast.days.tolist() == [dt.date(2024, 6, 15), dt.date(2024, 6, 20)]
    assert not found.aside


def test_impossible_and_contradicting_days_are_left_out() -> None:
    rows = [
        row("2024-06-01", 16, 15),
        row("2024-06-02", 5, 15),
        row("2024-06-02", 6, 15),
        row("2024-06-03", 5, 15),
        row("2024-06-03", 5, 15),
        row("2024-06-04", NAN, NAN),
    ]
    found = sift(rows, today=TODAY)
    assert found.measured.days.tolist() == [dt.date(2024, 6, 3)]
    assert found.aside == {"crossed": 2, "twice": 2}


# ---------------------------------------------------------------------------- merging


def days(**values: tuple[float, float]) -> StationDays:
    return StationDays.of({dt.date(2024, 6, int(key[1:])): pair for key, pair in values.items()})


def test_merging_adds_revises_and_never_empties() -> None:
    old = days(d1=(1, 11), d2=(2, 12), d3=(NAN, 13), d4=(4, 14))
    new = days(d2=(2, 12.5), d3=(3, NAN), d4=(NAN, 14), d5=(5, 15))
    found = merged(old, new)
    assert (
        found.days.values()
        == days(d1=(1, 11), d2=(2, 12.5), d3=(3, 13), d4=(4, 14), d5=(5, 15)).values()
    )
    assert (found.added, found.revised) == (2, 1)


def test_merging_leaves_older_days_alone() -> None:
    old, new = days(d1=(1, 11), d9=(9, 19)), days(d1=(0, 10), d9=(8, 18), d10=(9, 20))
    found = merged(old, new, since=dt.date(2024, 6, 9))
    assert found.days.values() == days(d1=(1, 11), d9=(8, 18), d10=(9, 20)).values()
    assert (found.added, found.revised) == (1, 1)


readings = st.dictionaries(
    st.dates(dt.date(2024, 1, 1), dt.date(2024, 2, 1)),
    st.tuples(*(st.one_of(st.just(NAN), st.integers(-20, 20).map(float)) for _ in range(2))),
    max_size=20,
)


@given(readings, readings)
def test_no_reading_is_ever_lost(
    one: dict[dt.date, tuple[float, float]], two: dict[dt.date, tuple[float, float]]
) -> None:
    old, new = StationDays.of(one), StationDays.of(two)
    found = merged(old, new).days.values()
    for day, pair in old.values().items():
        assert not (~np.isnan(pair) & np.isnan(found[day])).any()
    again = merged(StationDays.of(found), new)
    assert (again.added, again.revised) == (0, 0)


# ---------------------------------------------------------------------------- what is kept

STATION = Station("ZZ001", "Invented Valley", 47, 8, 450)


def test_what_is_kept_reads_back_the_same(tmp_path: Path) -> None:
    kept = Kept(
        days(d1=(-1.5, 11), d2=(NAN, 12)),
        {2023: dt.date(2024, 3, 1), 2024: TODAY},
        1991,
        frozenset({Credit("Some Service", "CC BY 4.0"), Credit("", "CC0 1.0 Universal")}),
    )
    write_kept(tmp_path, STATION, kept)
    found = read_kept(tmp_path, "ZZ001")
    assert repr(found.days.values()) == repr(kept.days.values())
    assert (found.fetched, found.since, found.credits) == (kept.fetched, 1991, kept.credits)
    (file,) = (tmp_path / "stations").iterdir()
    text = file.read_text(encoding="utf-8")
    assert text.startswith("# station: ZZ001 Invented Valley\n# source: Meteostat, Some Service\n")
    assert "# licence: CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/); modified" in text
    assert "# fetched 2024: 2024-06-15" in text


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"date,tmin_c\n1,2", b"# fetched x: y\n"])
def test_garbage_in_its_place_counts_as_nothing(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "stations").mkdir()
    (tmp_path / "stations" / "ZZ001.csv").write_bytes(content)
    assert read_kept(tmp_path, "ZZ001").fetched == {}
    write_kept(tmp_path, STATION, Kept(days(d1=(1, 2))))
    assert len(read_kept(tmp_path, "ZZ001").days) == 1


def test_a_year_settles_two_months_after_its_end() -> None:
    assert not Kept(fetched={2023: dt.date(2024, 2, 28)}).settled(2023)
    assert Kept(fetched={2023: dt.date(2024, 2, 29)}).settled(2023)
    assert not Kept().settled(2023)


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(DataError, match="SAPDIAL_CACHE"):
        write_kept(tmp_path / "file", STATION, Kept())


@pytest.mark.parametrize("code", ["", "../x", "10 637", "a/b", "1" * 13])
def test_a_code_is_letters_and_digits(code: str) -> None:
    with pytest.raises(UsageError):
        checked_code(code)


def test_credits_are_named_once_and_never_forgotten() -> None:
    named = [Credit("Some Service", "CC BY 4.0"), Credit("Other", "Its own terms"), Credit("", "")]
    assert attribution(named) == "Meteostat, Other, Some Service"
    assert attribution(named[:1], "Meteostat, Old One") == "Meteostat, Old One, Some Service"
    terms = licence(named)
    assert "Other: Its own terms" in terms
    assert terms.endswith("modified")
    assert licence(named[:1], terms) == terms
