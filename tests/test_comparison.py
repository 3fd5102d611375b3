"""A season beside all others.

What must hold:
- equal calendar dates have equal places in leap years and others, north and south;
- ranks count ties from both ends; early and late mean outside the middle third and three days away;
- dates are those of the events, in past seasons and in the running one; an event ahead has a range
  and a chance of coming early; nothing recorded after today matters;
- a season is never part of what it is compared with; swapping two others changes no rank;
- a spring made two degrees warmer comes early, one made colder late, north and south;
- heat and chill are plain sums up to the same calendar day of every season;
- the season most like a copy of another is that other;
- seasons that the record does not cover are refused or left out with their reason; three seasons
  are enough; a record that ended long ago speaks of its last spring and says so;
- an event that some seasons lack is ranked among those that have it.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sites import exact, mirrored, outlook_at, place, record_of_cycle, year_cycle

from timing.answers import Outlook, outlook, site_drivers
from timing.comparison import Comparison, compare
from timing.comparison_words import (
    away_text,
    caveats,
    headline,
    place_text,
    rank_text,
    sum_text,
    title,
)
from timing.errors import DataError
from timing.event_comparison import EventComparison, Rank
from timing.export.as_json import seasons_json
from timing.same_day import by_place, date_at, leap_offsets, place_of
from timing.season import SEASON_DAYS, Floats, cycle_day, season_start
from timing.site import Hemisphere, Site
from timing.so_far import SoFar
from timing.species.catalogue import load_species
from timing.temperature import TemperatureRecord, record_from_readings
from timing.thermal.degree_days import degree_days

MAPLE = "acer-palmatum"
NORTH, SOUTH = Site("made up", 45.0, 10.0), Site("made up", -45.0, 10.0)


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


# ---------------------------------------------------------------------------- places and ranks


@given(
    st.integers(1900, 2100), st.integers(0, SEASON_DAYS - 2), st.sampled_from(["north", "south"])
)
def test_equal_dates_have_equal_places(year: int, at: int, hemisphere: Hemisphere) -> None:
    start, plain = season_start(year, hemisphere), season_start(2022, hemisphere)
    date = date_at(at, start)
    assert place_of(date, start) == at
    assert str(date)[5:] == str(plain + at)[5:] or str(date)[5:] == "02-29"
    assert str(date_at(at, plain))[5:] == str(plain + at)[5:]


@pytest.mark.parametrize(
    ("year", "hemisphere", "leap"),
    [(2024, "north", "2024-02-29"), (2023, "south", "2024-02-29"), (2023, "north", None)],
)
def test_the_leap_day_shares_the_place_of_the_28th(
    year: int, hemisphere: Hemisphere, leap: str | None
) -> None:
    start = season_start(year, hemisphere)
    offset = int(leap_offsets(np.array([start]))[0])
    if leap is None:
        assert offset > SEASON_DAYS - 1
        return
    assert start + offset == day(leap)
    assert place_of(day(leap), start) == place_of(day(leap) - 1, start)
    assert place_of(day(leap) + 1, start) == place_of(day(leap), start) + 1


def test_columns_at_common_places_hold_the_same_date() -> None:
    starts = np.array([season_start(year, "north") for year in (2023, 2024)])
    numbers = (starts[:, None] + np.arange(488)).astype(np.int64).astype(float)
    plain, leap = by_place(numbers, starts).astype(np.int64).astype("datetime64[D]")
    assert [str(date)[5:] for date in plain] == [str(date)[5:] for date in leap]


def event(date: str | None, others: list[str]) -> EventComparison:
    """Bud break of season 2023 beside invented dates, the first of season 1990."""
    start = season_start(2023, "north")
    dates = np.array(others, dtype="M8[D]")
    one = None if date is None else day(date)
    return EventComparison(
        event="bud_break",
        start=start,
        date=one,
        early=one,
        late=one,
        reason="" if date else "no reason",
        ahead=False,
        known_until=day("2023-12-31"),
        earlier_chance=None,
        years=1990 + np.arange(len(dates)),
        days=np.array([place_of(item, start) for item in dates], dtype=np.int64),
        dates=dates,
        candidates=len(dates),
        trend=None,
        trend_seasons=len(dates),
    )


def april(*days: int) -> list[str]:
    return [f"2023-04-{number:02d}" for number in days]


@pytest.mark.parametrize(
    ("date", "rank", "words", "figures"),
    [
        (1, Rank(1, 8, 0, 8), "earliest of 8", "1st of 8"),
        (5, Rank(1, 7, 1, 8), "equal earliest of 8", "=1st of 8"),
        (8, Rank(3, 6, 0, 8), "third earliest of 8", "3rd of 8"),
        (12, Rank(3, 4, 2, 8), "equal third earliest of 8", "=3rd of 8"),
        (15, Rank(5, 4, 0, 8), "fourth latest of 8", "5th of 8"),
        (20, Rank(5, 1, 3, 8), "equal latest of 8", "=5th of 8"),
        (30, Rank(8, 1, 0, 8), "latest of 8", "8th of 8"),
    ],
)
def test_ranks_by_hand(date: int, rank: Rank, words: str, figures: str) -> None:
    """Others on 5, 7, 12, 12, 20, 20 and 20 April."""
    item = event(f"2023-04-{date:02d}", april(5, 7, 12, 12, 20, 20, 20))
    assert item.rank == rank
    assert rank_text(item.rank) == words
    assert place_text(item.rank) == figures


def test_the_middle_of_an_odd_number() -> None:
    item = event("2023-04-10", april(5, 7, 12, 20))
    assert item.rank == Rank(3, 3, 0, 5)
    assert rank_text(item.rank) == "in the middle of 5"


def test_the_day_of_most_others_is_no_rank() -> None:
    item = event("2023-04-10", april(10, 10, 10, 20))
    assert item.rank is not None
    assert rank_text(item.rank) == "the same day as in 3 of 4 others"


@pytest.mark.parametrize(
    ("date", "standing", "away"),
    [(1, "early", -9), (6, "early", -4), (8, "usual", -2), (10, "usual", 0), (12, "usual", 2),
     (13, "late", 3), (29, "late", 19)],
)  # fmt: skip
def test_standing_by_hand(date: int, standing: str, away: int) -> None:
    """Others on 7 to 13 April: the middle third is 9 to 11, and less than three days is usual."""
    item = event(f"2023-04-{date:02d}", april(*range(7, 14)))
    assert item.usual_date == day("2023-04-10")
    assert (item.standing, item.days_from_usual) == (standing, away)


def test_three_days_inside_the_middle_third_are_usual() -> None:
    others = april(1, 2, 3, 4, 14, 17, 21, 26, 27, 28, 29)
    item = event("2023-04-14", others)
    assert item.usual_date == day("2023-04-17")
    assert item.standing == "usual"


def test_no_others_and_no_date() -> None:
    alone, absent = event("2023-04-10", []), event(None, april(5, 7, 12))
    for item in (alone, absent):
        assert (item.rank, item.standing, item.days_from_usual) == (None, None, None)
    assert alone.usual_date is None
    assert absent.usual_date == day("2023-04-07")
    assert away_text(alone) == ""


# ---------------------------------------------------------------------------- made-up records


def shifted(
    departures: dict[int, float],
    *,
    years: range = range(1991, 2006),
    site: Site = NORTH,
    weather_c: float = 0.0,
) -> TemperatureRecord:
    """A smooth year repeated; the winter and spring of some seasons warmer by so many degrees."""
    coldest = 325 if site.hemisphere == "north" else 141
    start = season_start(years[0], site.hemisphere)
    record = record_of_cycle(
        year_cycle(9.0, 11.0, coldest=coldest),
        first=str(start),
        years=len(years),
        weather_c=weather_c,
    )
    dates = record.first + np.arange(len(record.tmin_c))
    warmer = np.zeros(len(dates))
    for year, degrees in departures.items():
        first = season_start(year, site.hemisphere) + 122  # 1 January, 1 July
        warmer[(dates >= first) & (dates < first + 180)] = degrees
    return record_from_readings(
        dates, record.raw_tmin_c + warmer, record.raw_tmax_c + warmer, source="made up"
    )


def view_of(record: TemperatureRecord, site: Site = NORTH, on: str | None = None) -> Outlook:
    today = None if on is None else day(on)
    seen = record if today is None else record.until(today)
    return outlook(exact(MAPLE), seen, site_drivers(seen, site), on=today, kinds=())


def one(
    record: TemperatureRecord, season: int | None, *, site: Site = NORTH, on: str = "2007-01-01"
) -> Comparison:
    return compare([view_of(record, site, on)], on=day(on), season=season)


def lead(comparison: Comparison) -> EventComparison:
    item = comparison.taxa[0].leading
    assert item is not None
    return item


STEPS = {1992: -1.0, 1993: 0.5, 1994: -0.5, 1995: 1.0, 1997: 0.3, 1998: -0.3, 1999: 0.8, 2001: -0.8,
         2002: 0.2}  # fmt: skip


@pytest.mark.parametrize("site", [NORTH, SOUTH], ids=["north", "south"])
@pytest.mark.parametrize(("degrees", "standing"), [(2.0, "early"), (-2.0, "late")])
def test_a_warmer_spring_is_early(site: Site, degrees: float, standing: str) -> None:
    found = one(shifted({**STEPS, 2003: degrees}, site=site), 2003, site=site)
    item = lead(found)
    assert item.standing == standing
    assert item.rank is not None
    assert (item.rank.from_earliest if degrees > 0 else item.rank.from_latest) == 1
    assert item.rank.equal == 0
    assert np.sign(item.days_from_usual) == -np.sign(degrees)
    assert found.heat is not None
    assert found.heat.below == (len(found.others) if degrees > 0 else 0)
    assert title(found) == f"Spring 2003 was {standing}"
    assert f"{abs(item.days_from_usual or 0)} days" in headline(found, found.taxa[0])


@cache
def before_and_after(on: str) -> tuple[Comparison, Comparison]:
    usual, warm = shifted(STEPS), shifted({**STEPS, 2003: 3.0})
    return one(usual, None, on=on), one(warm, None, on=on)


def test_a_warm_spring_under_way_moves_what_lies_ahead() -> None:
    """Warm until 10 April; what is still to come is that of past seasons."""
    usual, warm = before_and_after("2003-04-10")
    assert (usual.season, usual.running, warm.running) == (2003, True, True)
    for found in (usual, warm):
        item = lead(found)
        assert item.ahead
        assert item.date is not None
        assert item.early is not None
        assert item.late is not None
        assert item.early <= item.date <= item.late
        assert found.remainders == found.others.size
    sooner, later = lead(warm), lead(usual)
    assert sooner.date is not None
    assert later.date is not None
    assert sooner.date < later.date
    assert sooner.earlier_chance is not None
    assert later.earlier_chance is not None
    assert sooner.earlier_chance > 0.95
    assert 0.2 < later.earlier_chance < 0.8
    assert title(warm) == "So far this spring is early"
    assert "expected to break" in headline(warm, warm.taxa[0])


def test_a_season_is_no_part_of_what_it_is_compared_with() -> None:
    one_way, other_way = (one(shifted({**STEPS, 1996: degrees}), 1996) for degrees in (2.0, -2.0))
    for found in (one_way, other_way):
        assert 1996 not in found.others
        for item in (*found.taxa[0].events, *found.frosts):
            assert 1996 not in item.years
            assert item.date_in(1996) is None
    for before, after in zip(one_way.taxa[0].events, other_way.taxa[0].events, strict=True):
        if before.event in ("chill_met", "sap_rise", "bud_break", "leaf_full_size"):
            assert before.days.tolist() == after.days.tolist()
            assert before.usual_date == after.usual_date


def test_swapping_two_others_changes_no_rank() -> None:
    """1994 and 1998 are neither leap years nor neighbours."""
    swapped = {**STEPS, 1994: STEPS[1998], 1998: STEPS[1994]}
    for season in (1997, 2002):
        first, second = lead(one(shifted(STEPS), season)), lead(one(shifted(swapped), season))
        assert first.rank == second.rank
        assert first.days_from_usual == second.days_from_usual
        assert sorted(first.days) == sorted(second.days)
        assert first.days.tolist() != second.days.tolist()


def test_warmer_springs_rank_in_their_order() -> None:
    record = shifted(STEPS)
    order = sorted(STEPS, key=lambda year: -STEPS[year])
    ranks = [lead(one(record, year)).rank for year in order]
    places = [rank.from_earliest for rank in ranks if rank is not None]
    assert len(places) == len(order)
    assert places == sorted(places)
    assert places[0] == 1


def test_the_season_most_like_a_copy_is_its_original() -> None:
    found = one(shifted({**STEPS, 2003: 1.5, 1999: 1.5}), 2003)
    assert found.alike is not None
    nearest, distance = found.alike.seasons[0]
    assert (nearest, distance) == (1999, pytest.approx(0.0, abs=0.01))
    distances = [away for _, away in found.alike.seasons]
    assert distances == sorted(distances)
    assert len(distances) == min(5, len(found.others) // 3)
    assert found.alike.measures == ("heat", "chill")


def test_a_trend_of_two_degrees_in_fifteen_years_is_found() -> None:
    record = shifted({year: 0.2 * (year - 1991) for year in range(1991, 2006)})
    item = lead(one(record, 2000))
    assert item.trend is not None
    assert item.trend.slope < 0
    assert item.trend.sure
    assert item.trend_seasons == 15  # the season itself is part of the trend


# ---------------------------------------------------------------------------- sums


def test_a_sum_that_none_undercuts() -> None:
    alike = np.full((8, 3), 5.0)
    heat = SoFar("heat", season_start(2024, "north"), 0, 2, alike[0], np.arange(2016, 2024), alike)
    end = "of 8 other seasons on the same day (5), none of them had less."
    assert sum_text(heat).endswith(f": 5 °C·d above 5 °C, as much as the median {end}")
    assert sum_text(replace(heat, season=alike[0] - 2)).endswith(f"2 less than the median {end}")
    assert sum_text(replace(heat, season=alike[0] + 2)).endswith("(5), more than in all of them.")


@pytest.mark.parametrize(
    ("name", "on", "since"),
    [("humid-continental", "2025-04-10", "01-01"), ("southern-temperate", "2024-10-03", "07-01")],
)
def test_heat_is_the_plain_sum_up_to_the_same_calendar_day(name: str, on: str, since: str) -> None:
    spot = place(name).as_of(on)
    record = spot.record
    view = outlook(load_species(MAPLE), record, spot.drivers, on=day(on), kinds=())
    found = compare([view], on=day(on))
    heat = found.heat
    assert heat is not None
    dates = record.first + np.arange(len(record.tmin_c))
    warmth = degree_days(record.tmin_c, record.tmax_c, 5.0)

    def total(year: int) -> float:
        return float(
            warmth[(dates >= day(f"{year}-{since}")) & (dates <= day(f"{year}{on[4:]}"))].sum()
        )

    assert (str(heat.since_date), str(heat.until_date)) == (f"{on[:4]}-{since}", on)
    assert heat.value == pytest.approx(total(int(on[:4])))
    expected = [total(year) for year in heat.years]
    assert heat.there == pytest.approx(expected)
    assert heat.median == pytest.approx(np.median(expected))
    assert heat.below == sum(value < heat.value for value in expected)
    assert heat.percentile == pytest.approx(100 * heat.below / len(expected))
    assert np.isnan(heat.season[heat.until - heat.since + 1 :]).all()
    chill = found.chill
    assert chill is not None
    row = view.drivers.row_of(found.season)
    offset = int((day(on) - found.start).astype(np.int64))
    assert chill.value == pytest.approx(float(view.drivers.chill_sum[row or 0, offset]))


def test_before_new_year_there_is_chill_but_no_heat() -> None:
    found = one(shifted(STEPS), None, on="2002-12-28")
    assert (found.season, found.heat) == (2003, None)
    assert found.chill is not None
    assert found.alike is None or found.alike.measures == ("chill",)


# ---------------------------------------------------------------------------- dates


@pytest.mark.parametrize("name", ["humid-continental", "southern-temperate"])
@pytest.mark.parametrize("season", [1992, 2012])
def test_a_past_season_has_the_dates_of_its_events(name: str, season: int) -> None:
    view = outlook_at(name, MAPLE)
    found = compare([view], on=day("2025-12-31"), season=season)
    listed = {item["season"]: item["events"] for item in seasons_json(view)}
    for item in (*found.taxa[0].events, *found.frosts):
        expected = listed[season][item.event]
        assert expected["date"] == (None if item.date is None else str(item.date))
        if item.date is not None:
            assert (expected["early"], expected["late"]) == (str(item.early), str(item.late))
        for year, date in zip(item.years, item.dates, strict=True):
            assert listed[year][item.event]["date"] == str(date)
    assert found.heat is not None
    assert str(found.heat.until_date)[5:] == ("06-30" if name == "humid-continental" else "12-28")


@pytest.mark.parametrize("on", ["2025-01-15", "2025-05-02", "2025-08-20", "2025-12-10"])
def test_the_running_season_has_the_dates_of_its_events(on: str) -> None:
    spot = place("humid-continental").as_of(on)
    view = outlook(load_species(MAPLE), spot.record, spot.drivers, on=day(on), kinds=())
    found = compare([view], on=day(on))
    listed = seasons_json(view)[[item["season"] for item in seasons_json(view)].index(2025)]
    assert (found.season, found.running) == (2025, True)
    for item in (*found.taxa[0].events, *found.frosts):
        expected = listed["events"][item.event]
        assert expected["date"] == (None if item.date is None else str(item.date))
        if item.date is not None and item.date > day(on):
            assert item.ahead
            assert (item.earlier_chance is None) == (item.days.size == 0)
        elif item.event != "last_frost":
            assert not item.ahead
    assert 2025 not in found.others


def test_a_last_frost_is_not_settled_while_frost_may_come() -> None:
    usual, _ = before_and_after("2003-04-10")
    spot = place("humid-continental").as_of("2025-04-25")
    view = outlook(load_species(MAPLE), spot.record, spot.drivers, on=day("2025-04-25"), kinds=())
    (last, _) = compare([view], on=day("2025-04-25")).frosts
    assert last.event == "last_frost"
    assert last.ahead
    assert usual.frosts
    later = place("humid-continental").as_of("2025-07-10")
    view = outlook(load_species(MAPLE), later.record, later.drivers, on=day("2025-07-10"), kinds=())
    (last, _) = compare([view], on=day("2025-07-10")).frosts
    assert not last.ahead


def test_the_same_weather_half_a_year_later_compares_alike() -> None:
    north, south = place("humid-continental"), mirrored("humid-continental")
    views = [outlook(exact(MAPLE), spot.record, spot.drivers, kinds=()) for spot in (north, south)]
    for season in (1995, 2010):
        one_, other = (
            compare([view], on=day("2026-06-30"), season=season + shift)
            for view, shift in zip(views, (0, 0), strict=True)
        )
        first, second = lead(one_), lead(other)
        assert first.days_from_usual is not None
        assert second.days_from_usual == pytest.approx(first.days_from_usual, abs=2)


def test_events_dated_by_the_calendar_are_not_compared() -> None:
    found = compare([outlook_at("humid-continental", MAPLE)], on=day("2025-12-31"), season=2010)
    taxon = found.taxa[0]
    assert "growth_stop" in taxon.not_compared
    assert "growth_stop" not in {item.event for item in taxon.events}
    assert {"last_frost", "first_frost"} & {item.event for item in taxon.events} == set()


def test_an_event_that_some_seasons_lack_is_ranked_among_those_that_have_it() -> None:
    view = outlook_at("southern-temperate", MAPLE)
    found = compare([view], on=day("2025-12-31"), season=2010)
    (peak,) = (item for item in found.taxa[0].events if item.event == "sap_peak")
    assert 0 < len(peak.years) < peak.candidates
    if peak.rank is not None:
        assert peak.rank.of == len(peak.years) + 1


def test_a_place_without_winter_has_no_spring_to_compare() -> None:
    record = record_of_cycle(year_cycle(26.0, 2.0), years=8)
    view = outlook(load_species(MAPLE), record, site_drivers(record, NORTH), kinds=())
    found = compare([view], on=day("2007-12-31"), season=2004)
    assert found.taxa[0].leading is None
    assert headline(found, found.taxa[0]).startswith("No spring of Japanese maple to compare here")
    assert title(found) == "Season 2004 beside 7 other seasons"
    assert found.frosts == ()


def test_a_tropical_taxon_is_led_by_its_warm_season() -> None:
    view = outlook_at("humid-subtropical", "ficus-microcarpa")
    found = compare([view], on=day("2025-12-31"), season=2017)
    assert lead(found).event == "warm_start"
    assert title(found).startswith("Warm season 2017 was")


# ---------------------------------------------------------------------------- gaps and ends


def with_gap(record: TemperatureRecord, first: str, last: str) -> TemperatureRecord:
    dates = record.first + np.arange(len(record.tmin_c))
    kept = (dates < day(first)) | (dates > day(last))
    low, high = (values.copy() for values in (record.raw_tmin_c, record.raw_tmax_c))
    low[~kept] = high[~kept] = np.nan
    return record_from_readings(dates, low, high, source="made up")


def test_a_season_with_a_gap_is_left_out_and_refused_with_its_reason() -> None:
    record = with_gap(shifted(STEPS), "1998-02-10", "1998-03-20")
    found = one(record, 2003)
    assert 1998 not in found.others
    assert "39 of its days" in found.left_out[1998]
    assert "fewer than 25" in found.left_out[1998]
    assert any("Not counted, too many days missing: 1998" in text for text in caveats(found))
    with pytest.raises(DataError, match=r"season 1998.*39 of its days.*1991 to 2006 without 1998"):
        one(record, 1998)


def test_a_long_gap_is_named() -> None:
    record = with_gap(shifted(STEPS), "1997-10-01", "1998-03-20")
    with pytest.raises(DataError, match=r"season 1998.*in a gap too long to mend"):
        one(record, 1998)


def test_a_short_gap_in_the_season_is_told() -> None:
    record = with_gap(shifted(STEPS), "2003-02-10", "2003-02-16")
    found = one(record, 2003)
    assert found.mended_days == 7
    assert any(text.startswith("7 days of season 2003") for text in caveats(found))


@pytest.mark.parametrize("season", [1900, 1989, 2050])
def test_a_season_outside_the_record_is_refused_with_the_range(season: int) -> None:
    with pytest.raises(DataError, match=rf"season {season} .*does not touch it.*1991 to 2006"):
        one(shifted(STEPS), season)


def test_a_first_season_that_began_before_the_record_is_refused_with_its_reason() -> None:
    with pytest.raises(DataError, match=r"season 1990 .*began on 1989-09-01, before the record"):
        one(shifted(STEPS), 1990)


def test_three_seasons_are_enough() -> None:
    found = one(shifted({1992: 1.0}, years=range(1991, 1994)), 1992, on="1994-12-31")
    assert found.others.tolist() == [1991, 1993]
    item = lead(found)
    assert item.rank == Rank(1, 3, 0, 3)
    assert item.trend is None
    assert any("Only 2 other seasons" in text for text in caveats(found))


def test_a_record_that_ended_speaks_of_its_last_spring_and_says_so() -> None:
    found = one(shifted(STEPS), None, on="2012-06-01")
    assert (found.season, found.running) == (2005, False)
    assert "before today (2012-06-01)" in found.note
    assert caveats(found)[0] == found.note
    assert not any(item.ahead for item in found.taxa[0].events)


def test_a_season_just_begun_has_chill_and_no_dates() -> None:
    found = one(shifted(STEPS), 2004, on="2003-11-15")
    assert (found.season, found.running, found.partial) == (2004, False, True)
    item = lead(found)
    assert item.date is None
    assert "not reached by the end of the record (2003-11-15)" in item.reason
    assert found.chill is not None
    assert found.heat is None
    assert headline(found, found.taxa[0]).startswith("No date of Japanese maple for spring 2004")


def test_every_date_is_in_the_season_it_is_told_of() -> None:
    found = compare([outlook_at("southern-temperate", MAPLE)], on=day("2025-12-31"), season=2000)
    for item in found.taxa[0].events:
        cycle: Floats = cycle_day(item.dates).astype(float)
        assert np.ptp(cycle) < 200
        for year, date in zip(item.years, item.dates, strict=True):
            start = season_start(int(year), "south")
            assert start <= date <= start + 488
