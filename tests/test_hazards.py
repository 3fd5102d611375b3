"""Hazards close their seasons: by date, by warmth, by events; season by season, draw by draw.

Dates of the flight by warmth are worked out by hand for temperatures that never change, and
summed again by calendar year for the samples; what a closed season leaves of a window is checked
against sets of days.
"""

import json
import tomllib
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sites import Place, equatorial, exact, mirrored, place, record_of_cycle
from test_cli import Command, sapdial

from timing.advice import Answer, answer
from timing.answers import Outlook, outlook
from timing.calendar import year_calendar
from timing.drivers import build_drivers
from timing.errors import DataError, UsageError
from timing.export.hazard_text import hazard_lines
from timing.hazards import Closure, closures, flight, month_span, opened
from timing.season import CYCLE_DAYS, cycle_day
from timing.site import Site
from timing.species.catalogue import load_species, slugs
from timing.species.hazards import hazard_names, load_hazard, read_hazard
from timing.species.model import WORK_KINDS, HeatRange, WorkKind
from timing.stretches import RuleStretches
from timing.thermal import degree_days

__all__ = ["sapdial"]  # the fixture

TABLE = tomllib.loads((files("timing.species") / "_hazards.toml").read_text(encoding="utf-8"))
HAZARDS = hazard_names()
HOSTS = {
    name: tuple(slug for slug in slugs() if load_hazard(name).concerns(load_species(slug)))
    for name in HAZARDS
}
FLIGHT = HeatRange(5.0, 128.0, 1207.0, (7, 15))


def view(
    spot: Place,
    slug: str,
    *names: str,
    on: str | np.datetime64 | None = None,
    kinds: tuple[WorkKind, ...] = WORK_KINDS,
) -> Outlook:
    there = spot if on is None else spot.as_of(on)
    return outlook(
        load_species(slug),
        there.record,
        there.drivers,
        on=there.record.last,
        kinds=kinds,
        hazards=tuple(load_hazard(name) for name in names),
    )


def ask(spot: Place, slug: str, *names: str, on: str, work: WorkKind = "heavy") -> Answer:
    seen = view(spot, slug, *names, on=on, kinds=(work,))
    return answer(seen, work, np.datetime64(on, "D"))


def days(first: str, last: str) -> np.ndarray:
    return np.arange(first, np.datetime64(last) + 1, dtype="datetime64[D]")


# ---------------------------------------------------------------------------- flight by warmth


def steady(mean_c: float, latitude: float = 43.0, half_c: float = 2.0) -> Place:
    """Days that are all worth the same: the mean never changes, the range does a little."""
    half = half_c + half_c / 20 * (np.arange(CYCLE_DAYS) % 7)
    record = record_of_cycle((mean_c - half, mean_c + half), first="1999-03-01", years=5)
    return Place(record, Site("steady", latitude, 10.0))


def flights(spot: Place, heat: HeatRange = FLIGHT) -> dict[int, tuple[str, str]]:
    drivers = build_drivers(spot.record, spot.site)
    first, last = flight(heat, drivers)
    return {
        int(year): tuple(str(start + int(offset[row, 0])) for offset in (first, last))
        for row, (year, start) in enumerate(zip(drivers.years, drivers.starts, strict=True))
        if not np.isnan(first[row, 0])
    }


def test_flight_of_steady_days_by_hand() -> None:
    # 13 °C is worth 8 °C·d: 128 on the 16th day of the year, 1207 on the 151st (150.9 days).
    found = flights(steady(13.0))
    assert found[2001] == ("2001-01-16", "2001-05-31")
    assert found[2000] == ("2000-01-16", "2000-05-30")  # a leap year
    # 10 °C is worth 5 °C·d: 128 on the 26th day, and 1207 not before 15 July.
    assert flights(steady(10.0))[2001] == ("2001-01-26", "2001-07-14")
    # 5.5 °C: 128 would be reached on the 256th day, long after 15 July.
    first, last = flights(steady(5.5, half_c=0.3))[2001]
    assert first == "2001-09-13"
    assert last == "2001-07-14"  # before it begins: nothing is closed


def test_flight_counts_from_the_first_of_july_in_the_south() -> None:
    found = flights(steady(13.0, latitude=-43.0))
    assert found[2001] == ("2001-07-16", "2001-11-28")  # 151 days from 1 July
    assert flights(steady(10.0, latitude=-43.0))[2001] == ("2001-07-26", "2002-01-14")


def by_calendar(spot: Place, year: int) -> tuple[np.datetime64, np.datetime64]:
    """The flight of a year summed over its calendar days, without any season."""
    dates = spot.record.first + np.arange(len(spot.record.tmin_c))
    inside = (dates >= np.datetime64(f"{year}-01-01")) & (dates < np.datetime64(f"{year}-07-15"))
    sums = np.cumsum(degree_days(spot.record.tmin_c[inside], spot.record.tmax_c[inside], 5.0))
    over = np.flatnonzero(sums >= 1207)
    return (
        dates[inside][np.flatnonzero(sums >= 128)[0]],
        dates[inside][over[0]] if over.size else dates[inside][-1],
    )


@pytest.mark.parametrize("name", ["humid-continental", "humid-subtropical"])
def test_the_answer_tells_the_flight_of_a_warm_and_of_a_cool_year(name: str) -> None:
    spot = place(name)
    seen = ask(spot, "quercus-rubra", "oak-wilt", on="2025-06-20")
    by_warmth = next(part for part in seen.hazards[0].parts if part.season.heat)
    assert by_warmth.past is not None
    used = view(spot, "quercus-rubra", on="2025-06-20", kinds=())
    seasons = [int(year) for year in used.drivers.years[used.used]]
    summed = {year: by_calendar(spot, year) for year in seasons}
    into_year = {
        year: int((first - np.datetime64(f"{year}-01-01")).astype(int))
        for year, (first, _) in summed.items()
    }
    warm, cool = by_warmth.past.earliest, by_warmth.past.latest
    assert into_year[warm[0]] == min(into_year.values())
    assert into_year[cool[0]] == max(into_year.values())
    assert (warm[1], warm[2]) == summed[warm[0]]
    assert (cool[1], cool[2]) == summed[cool[0]]
    assert by_warmth.run is not None
    assert (by_warmth.run.first, by_warmth.run.sure_first) == (by_calendar(spot, 2025)[0], True)


def test_a_warm_spring_closes_oaks_before_the_first_of_april_and_a_cool_one_later() -> None:
    spot = place("humid-subtropical")
    first = {year: by_calendar(spot, year)[0] for year in range(1995, 2026)}
    warm = min(first, key=lambda year: first[year] - np.datetime64(f"{year}-01-01"))
    cool = max(first, key=lambda year: first[year] - np.datetime64(f"{year}-01-01"))
    for year in (warm, cool):
        shut = ask(spot, "quercus-alba", "oak-wilt", on=str(first[year]))
        before = ask(spot, "quercus-alba", "oak-wilt", on=str(first[year] - 1))
        assert shut.vetoes[0].startswith("oak wilt: no heavy cuts from")
        assert shut.chance == 0
        assert not any("oak wilt" in veto for veto in before.vetoes)
    assert first[warm] < np.datetime64(f"{warm}-02-01")
    assert first[cool] > np.datetime64(f"{cool}-02-10")


# ---------------------------------------------------------------------------- by date, by event


def test_months_end_on_their_last_day_in_both_halves_of_the_earth() -> None:
    assert month_span((4, 9), 2024, "north") == (
        np.datetime64("2024-04-01"),
        np.datetime64("2024-09-30"),
    )
    assert month_span((9, 5), 2023, "south") == (
        np.datetime64("2024-03-01"),
        np.datetime64("2024-11-30"),
    )
    assert month_span((10, 12), 2023, "north")[1] == np.datetime64("2023-12-31")


@pytest.mark.parametrize("slug", ["quercus-rubra", "quercus-robur"])
def test_an_oak_with_and_without_wilt(slug: str) -> None:
    spot = place("humid-continental")
    free, shut = view(spot, slug), view(spot, slug, "oak-wilt")
    summer, closed = days("2025-07-01", "2025-07-31"), days("2025-04-01", "2025-07-31")
    midwinter, august = days("2025-01-10", "2025-03-15"), days("2025-08-01", "2025-09-30")
    assert free.odds["heavy"].at(summer).max() > 0.9
    for kind in WORK_KINDS:
        assert shut.odds[kind].at(closed).max() == 0
        assert shut.odds[kind].at(august).max() == 0  # growing-season rules drop out whole
        assert np.array_equal(shut.odds[kind].at(midwinter), free.odds[kind].at(midwinter))


def test_the_closed_season_of_elms_is_april_to_september() -> None:
    spot = place("humid-continental")
    free, shut = view(spot, "ulmus-parvifolia"), view(spot, "ulmus-parvifolia", "elm-disease")
    for kind in WORK_KINDS:
        assert shut.odds[kind].at(days("2025-04-01", "2025-09-30")).max() == 0
        winter = days("2025-01-05", "2025-03-31")
        assert np.array_equal(shut.odds[kind].at(winter), free.odds[kind].at(winter))
    april = days("2025-04-01", "2025-04-05")
    assert free.odds["outline"].at(april).max() > 0.9  # the ban, not the tree, closes these days


def test_zelkova_is_not_held_to_the_elms_ban() -> None:
    spot = place("humid-continental")
    free, asked = view(spot, "zelkova-serrata"), view(spot, "zelkova-serrata", "elm-disease")
    assert asked.hazards == ()
    for kind in WORK_KINDS:
        assert np.array_equal(free.odds[kind].chance, asked.odds[kind].chance)


def test_south_of_the_equator_the_ban_falls_half_a_year_later() -> None:
    spot = mirrored("humid-continental")
    shut = view(spot, "ulmus-parvifolia", "elm-disease")
    year = int(str(spot.record.last)[:4]) - 2
    for kind in WORK_KINDS:
        assert shut.odds[kind].at(days(f"{year}-10-01", f"{year + 1}-03-31")).max() == 0
    assert shut.odds["heavy"].at(days(f"{year}-08-15", f"{year}-09-01")).min() > 0.9


def test_canker_closes_from_colour_to_full_leaves_across_the_winter() -> None:
    """Season by season, by sets of days, for a taxon whose dates carry no error."""
    spot = place("cool-maritime")
    species, hazard = exact("prunus-mume"), load_hazard("bacterial-canker")
    seen = outlook(species, spot.record, spot.drivers, kinds=("light",), hazards=(hazard,))
    free = outlook(species, spot.record, spot.drivers, kinds=("light",))
    colour, full = (seen.events.days[event][:, 0] for event in ("leaf_colour", "leaf_full_size"))
    starts = seen.drivers.starts.astype(np.int64)
    expected = np.zeros(CYCLE_DAYS)
    for place_in_odds, row in enumerate(seen.used):
        safe: set[int] = set()
        for laid in free.odds["light"].rules:
            first, last = laid.opens[place_in_odds, 0], laid.closes[place_in_odds, 0]
            safe |= set(range(int(first), int(last) + 1))
        for near in (row - 1, row):  # the winter before and the winter after
            if near + 1 < len(starts) and seen.drivers.spring_covered[near + 1]:
                ends = starts[near + 1] + int(np.ceil(full[near + 1]))
                safe -= set(range(starts[near] + int(np.floor(colour[near])), ends + 1))
        dates = np.array(sorted(safe), dtype="M8[D]")
        expected[np.unique(cycle_day(dates))] += 1 / seen.seasons
    assert np.allclose(seen.odds["light"].chance, expected)
    assert expected.sum() < free.odds["light"].chance.sum()


def test_fire_blight_leaves_crab_apples_their_winter_and_closes_quinces_in_growth() -> None:
    spot = place("humid-continental")
    for kind in WORK_KINDS:
        free, shut = view(spot, "malus-halliana"), view(spot, "malus-halliana", "fire-blight")
        winter = days("2025-01-01", "2025-03-15")
        assert np.array_equal(shut.odds[kind].at(winter), free.odds[kind].at(winter))
    quince = ask(spot, "chaenomeles-speciosa", "fire-blight", on="2025-06-01")
    assert quince.verdict == "not_safe"
    assert any("Nearly always inside closed days" in reason for reason in quince.reasons)


# ---------------------------------------------------------------------------- nothing is gained


@pytest.mark.parametrize("name", HAZARDS)
@pytest.mark.parametrize("spot", ["humid-continental", "southern-temperate"])
def test_odds_with_a_hazard_never_exceed_those_without(name: str, spot: str) -> None:
    genera: dict[str, str] = {}
    for slug in HOSTS[name]:
        genera.setdefault(load_species(slug).genus_name, slug)
    for slug in (*genera.values(), HOSTS[name][-1]):
        free = view(place(spot), slug, on="2024-05-01")
        shut = view(place(spot), slug, name, on="2024-05-01")
        for kind in WORK_KINDS:
            assert (shut.odds[kind].chance <= free.odds[kind].chance + 1e-12).all()
            year = free.odds[kind].running, shut.odds[kind].running
            assert year[0] is not None
            assert year[1] is not None
            first = max(year[0].first, year[1].first)
            end = min(part.first + len(part.chance) for part in year)
            days = np.arange(first, end)  # that both count by this season
            assert len(days) >= 365
            assert (shut.odds[kind].at(days) <= free.odds[kind].at(days) + 1e-12).all()


def test_a_hazard_of_other_trees_changes_nothing() -> None:
    spot = place("humid-continental")
    free = ask(spot, "acer-palmatum", on="2025-06-20")
    assert ask(spot, "acer-palmatum", *HAZARDS, on="2025-06-20") == free


stretch_days = st.integers(0, 60)


@settings(max_examples=150, deadline=None)
@given(
    rule=st.tuples(stretch_days, stretch_days),
    shut=st.lists(st.tuples(stretch_days, stretch_days), min_size=3, max_size=3),
)
def test_what_is_left_of_a_stretch_by_sets_of_days(
    rule: tuple[int, int], shut: list[tuple[int, int]]
) -> None:
    hazard = load_hazard("elm-disease")
    cells = np.array(shut, dtype=float)
    closure = Closure(
        hazard,
        hazard.closed[0],
        np.array([2020]),
        "north",
        cells[:, :1, None],
        cells[:, 1:, None],
    )
    whole = RuleStretches(
        load_species("ulmus-minor").work["heavy"][0],
        np.full((1, 4), float(rule[0])),
        np.full((1, 4), float(rule[1])),
    )
    left: list[int] = []
    for piece in opened((whole,), (closure,)):
        first, last = piece.opens[0, 0], piece.closes[0, 0]
        left += [] if np.isnan(first) else list(range(int(first), int(last) + 1))
    expected = set(range(rule[0], rule[1] + 1))
    for first_shut, last_shut in shut:
        expected -= set(range(first_shut, last_shut + 1))
    assert sorted(left) == sorted(expected)  # each day once


def test_an_end_that_never_comes_leaves_the_season_closed() -> None:
    spot = place("humid-continental")
    seen = view(spot, "betula-pendula", kinds=())
    events = replace(seen.events, days={**seen.events.days})
    events.days["dormant"] = np.full_like(events.days["dormant"], np.nan)
    (laid,) = closures((load_hazard("birch-borer"),), "heavy", events)
    assert np.nanmin(laid.closes - laid.opens) == CYCLE_DAYS - 1


# ---------------------------------------------------------------------------- the answer


def test_the_first_and_the_last_closed_day() -> None:
    spot = place("humid-continental")
    for day, closed in (
        ("2025-03-31", False),
        ("2025-04-01", True),
        ("2025-07-31", True),
        ("2025-08-01", False),
    ):
        found = ask(spot, "quercus-rubra", "oak-wilt", on=day, work="outline")
        assert any(veto.startswith("oak wilt") for veto in found.vetoes) == closed, day
        if closed:
            assert found.verdict == "not_safe"
            assert found.chance == 0
    assert (
        "1 April to 31 July 2025"
        in ask(spot, "quercus-rubra", "oak-wilt", on="2025-06-20").vetoes[0]
    )


def test_closed_seasons_that_lie_apart_are_both_told() -> None:
    """Near the equator the flight is over in February, and the dates close April to July."""
    spot = equatorial()
    found = ask(spot, "quercus-rubra", "oak-wilt", on="2008-01-05")
    (notice,) = found.hazards
    assert notice.past is None
    flown, dated = notice.runs
    assert flown.last < np.datetime64("2008-03-15")
    assert (str(dated.first), str(dated.last)) == ("2008-04-01", "2008-07-31")
    shut = ask(spot, "quercus-rubra", "oak-wilt", on="2007-06-01")
    assert shut.verdict == "not_safe"
    assert [str(run.first) for run in shut.hazards[0].runs] == ["2007-04-01", "2008-01-07"]


def test_the_condition_gives_way_to_the_reason() -> None:
    spot = place("humid-continental")
    free = ask(spot, "quercus-rubra", on="2025-06-20")
    shut = ask(spot, "quercus-rubra", "oak-wilt", on="2025-06-20")
    assert any("--hazard oak-wilt" in text for text in free.conditions)
    assert free.hazards == ()
    assert not any("oak wilt" in text for text in shut.conditions)
    assert not any("Condition: not where oak wilt" in text for text in shut.reasons)
    assert any(text.startswith("Closed because oak wilt occurs here") for text in shut.reasons)


def test_no_window_of_a_host_touches_its_closed_season() -> None:
    spot = place("humid-continental")
    for slug in ("quercus-alba", "quercus-velutina"):
        found = ask(spot, slug, "oak-wilt", on="2025-02-01", work="light")
        assert found.windows
        for window in (*found.windows, *found.marginal_windows):
            inside = days(str(window.opens), str(window.closes))
            month = inside.astype("datetime64[M]").astype(int) % 12 + 1
            assert not np.isin(month, (4, 5, 6, 7)).any()


def test_the_calendar_names_the_closed_days() -> None:
    spot = place("humid-continental")
    seen = view(spot, "prunus-serrulata", "silver-leaf", on="2025-06-20")
    (row,) = year_calendar([seen], 2025, confidence=0.9).rows
    for band in row.bands:
        ((hazard, runs),) = band.closed
        assert hazard.name == "silver-leaf"
        assert [(str(first), str(last)) for first, last in runs] == [
            ("2025-01-01", "2025-05-31"),
            ("2025-09-01", "2025-12-31"),
        ]
        assert any(text.startswith("closed 1 Sep – 31 May by silver leaf") for text in band.limits)
        assert band.chance[:151].max() == 0


# ---------------------------------------------------------------------------- the data


def test_every_hazard_has_hosts_and_every_host_its_events() -> None:
    for name in HAZARDS:
        hazard = load_hazard(name)
        assert HOSTS[name]
        genera = {load_species(slug).scientific_name.split()[0] for slug in HOSTS[name]}
        assert genera == set(hazard.hosts)
        for slug in HOSTS[name]:
            for season in hazard.closed:
                for point in season.events or ():
                    assert point.event in load_species(slug).events, (name, slug)


def test_every_hazard_condition_belongs_to_a_hazard_and_names_the_option() -> None:
    conditions = {load_hazard(name).condition: name for name in HAZARDS}
    for slug in slugs():
        for rules in load_species(slug).work.values():
            for need in (need for rule in rules for need in rule.only_if if need.kind == "hazard"):
                assert f"(--hazard {conditions[need.name]})" in need.text
                assert slug in HOSTS[conditions[need.name]]


def test_a_taxons_page_names_its_hazards() -> None:
    for name in HAZARDS:
        for slug in HOSTS[name]:
            assert any(
                f"--hazard {name}" in text for text, _, _ in hazard_lines(load_species(slug))
            )
    assert hazard_lines(load_species("acer-palmatum")) == []


def test_an_unknown_hazard_is_answered_with_those_there_are() -> None:
    with pytest.raises(UsageError, match="no hazard 'wilt'; the hazards are bacterial-canker, "):
        load_hazard("wilt")


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"label": ""}, "label"),
        ({"condition": "no_such"}, "condition"),
        ({"closed": []}, "closed"),
        ({"months": [4, 13]}, "months"),
        ({"months": [4]}, "months"),
        ({"work": ["repotting"]}, "work"),
        ({"evidence": "hearsay"}, "evidence"),
        ({"events": ["bud_break", "dormant"]}, "form"),
        ({"months": None, "events": ["dormant", "full_moon"]}, "events"),
        ({"months": None, "heat": {"base_c": 5.0, "first": 9.0, "last": 3.0, "before": [7, 15]}},
         "heat"),
        ({"months": None, "heat": {"base_c": 5.0}}, "heat"),
    ],
)  # fmt: skip
def test_a_faulty_entry_is_refused_by_its_key(change: dict[str, object], key: str) -> None:
    table = {**TABLE["hazards"]["elm-disease"]}
    if set(change) <= {"label", "condition", "closed"}:
        table |= change
    else:
        part = {**table["closed"][0], **change}
        table["closed"] = [{name: value for name, value in part.items() if value is not None}]
    with pytest.raises(DataError, match=rf"_hazards\.toml, elm-disease\S*( \d)?\.{key}: "):
        read_hazard("elm-disease", table)


# ---------------------------------------------------------------------------- the command


def test_the_command_says_when_an_oak_is_closed_in_a_warm_and_in_a_cool_year(
    sapdial: Command,
) -> None:
    done = sapdial("ask", "quercus-rubra", "--hazard", "oak-wilt", "--sample", "humid-continental")
    assert (done.status, done.err) == (0, "")
    text = " ".join(done.out.split())
    assert text.count("Veto: oak wilt: no ") == 3
    assert "closes heavy cuts from 1 April to 31 July 2025; the same days in every year" in text
    warm = by_calendar(place("humid-continental"), 2016)[0]
    assert f"in the warmest of 30 springs (2016) {int(str(warm)[8:])} April to 14 July" in text
    assert "in the coolest (1995) " in text
    assert "Jagemann et al. 2018" in text
    assert "Follow your plant health authority" in text
    assert "not where oak wilt occurs" not in text
    assert max(len(line) for line in done.out.splitlines()) <= 80


def test_the_json_of_an_answer_gains_one_key(sapdial: Command) -> None:
    words = ("ask", "quercus-rubra", "--work", "heavy", "--sample", "humid-continental")
    free, shut = (
        json.loads(sapdial(*words, *more, "--format", "json").out)["answers"][0]
        for more in ((), ("--hazard", "oak-wilt"))
    )
    assert free["hazards"] == []
    assert set(free) == set(shut)
    (hazard,) = shut["hazards"]
    assert hazard["name"] == "oak-wilt"
    assert hazard["closed"] == [{"from": "2025-04-01", "to": "2025-07-31"}]
    assert [part["to"] for part in hazard["closed_seasons"]] == ["2025-07-14", "2025-07-31"]
    assert all(part["source"] and part["evidence"] for part in hazard["closed_seasons"])
    assert "unlawful" in hazard["authority"]


@pytest.mark.parametrize("words", [("ask", "oak"), ("calendar", "oak")])
def test_an_unknown_hazard_ends_with_status_2(sapdial: Command, words: tuple[str, ...]) -> None:
    done = sapdial(*words, "--sample", "coast", "--hazard", "oakwilt")
    assert done.status == 2
    assert done.out == ""
    assert all(name in done.err for name in HAZARDS)
    assert len(done.err.splitlines()) == 1


@pytest.mark.parametrize("words", [("ask", "acer-palmatum"), ("calendar", "acer-palmatum")])
def test_a_hazard_of_other_trees_is_said_in_one_line(
    sapdial: Command, words: tuple[str, ...]
) -> None:
    plain, done = (
        sapdial(*words, "--sample", "coast", *more) for more in ((), ("--hazard", "oak-wilt"))
    )
    assert (done.status, done.out) == (0, plain.out)
    assert len(done.err.splitlines()) == 1
    assert "none of these taxa is a host of oak wilt" in done.err


def test_the_hazards_can_be_listed(sapdial: Command) -> None:
    done = sapdial("species", "hazards")
    assert (done.status, done.err) == (0, "")
    assert max(len(line) for line in done.out.splitlines()) <= 80
    found = json.loads(sapdial("species", "hazards", "--format", "json").out)
    assert found["schema"] == "sapdial-hazards-1"
    assert [hazard["name"] for hazard in found["hazards"]] == list(HAZARDS)
    assert all(f"{name}: " in done.out for name in HAZARDS)
