"""Several sites in one calendar.

What must hold:
- a day is safe at all sites only where each is safe: adding a site never adds such a day, identical
  sites give the single calendar back, and the order of the sites changes nothing;
- the worst site, the one that opens last and the one that closes first are named, over New Year
  too; the end of the year is no opening;
- a lapse planted in the openings is found again, and none is told without one or with two sites;
- the split parts two planted groups, by trial up to twelve sites and along a trait beyond;
- sites of both hemispheres, of one name or alone are refused in one sentence;
- the text keeps within eighty columns, the JSON is strict and says every day, and in the chart no
  text covers another; the kinds of ink differ in greyscale.
"""

import json
import random
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from test_calendar_chart import check_apart, rendered
from test_calendar_text import YEAR, band, day, made_up, species

from timing.calendar import CalendarRow, YearCalendar, days_of
from timing.charts.region_chart import draw_region, save_region
from timing.errors import DataError, UsageError
from timing.export.region_json import region_json
from timing.export.region_text import region_strip, share_cells
from timing.region import RegionBand, RegionCalendar, region_calendar
from timing.region_split import Bools, divide
from timing.site import Site

DAYS = 365
Spans = Sequence[tuple[str, str]]


def chances(spans: Spans, sure: float = 0.95, else_: float = 0.2) -> np.ndarray:
    """A chance a day: sure within the spans (month-day, over New Year if need be)."""
    days = days_of(YEAR)
    chance = np.full(len(days), else_)
    for first, last in spans:
        start, stop = day(f"{YEAR}-{first}"), day(f"{YEAR}-{last}")
        inside = (days >= start) & (days <= stop)
        if stop < start:
            inside = (days >= start) | (days <= stop)
        chance[inside] = sure
    return chance


def site(
    name: str, heavy: Spans, height: float | None = 300.0, latitude: float = 45.0, **more: float
) -> YearCalendar:
    bands = (
        band("heavy", chances(heavy, **more)),
        band("light", chances((("06-01", "06-30"),))),
        band("outline", chances(())),
    )
    row = CalendarRow(species("acer-fictum", "made-up maple", "Acer fictum"), bands, ())
    return made_up(row, site=Site(name, latitude, 7.0, height, True), today=None)


def heavy(region: RegionCalendar) -> RegionBand:
    return region.rows[0].bands[0]


def everywhere(region: RegionCalendar) -> Bools:
    return np.stack([item.share == 1 for row in region.rows for item in row.bands])


def random_site(rng: random.Random, number: int) -> YearCalendar:
    start, length = rng.randrange(DAYS), rng.randrange(20, 300)
    days = days_of(YEAR)
    first, last = days[start], days[(start + length) % DAYS]
    spans = ((str(first)[5:], str(last)[5:]),)
    return site(f"site {number}", spans, rng.choice((None, 100.0, 400.0, 700.0)))


def test_adding_a_site_never_adds_a_day_safe_everywhere() -> None:
    rng = random.Random(4)
    for _ in range(20):
        sites = [random_site(rng, number) for number in range(6)]
        for count in range(2, 6):
            fewer = everywhere(region_calendar("r", sites[:count]))
            more = everywhere(region_calendar("r", sites[: count + 1]))
            assert not (more & ~fewer).any()


def test_identical_sites_give_the_single_calendar_back() -> None:
    alone = site("one", (("11-20", "02-10"), ("06-12", "07-20")))
    copies = [replace(alone, site=replace(alone.site, name=name)) for name in ("one", "two", "six")]
    region = region_calendar("r", copies)
    for many, single in zip(region.rows[0].bands, alone.rows[0].bands, strict=True):
        runs = [(window.opens, window.closes) for window in single.safe]
        assert list(many.at_all) == list(many.at_most) == list(many.at_some) == runs
        assert np.array_equal(many.worst, single.chance)
        assert many.rules is None
    assert region.division.agreement == 1
    assert not region.division.advised and not region.division.groups


def test_the_order_of_the_sites_does_not_matter() -> None:
    rng = random.Random(7)
    sites = [random_site(rng, number) for number in range(7)]
    text = region_strip(region_calendar("r", sites))
    for _ in range(5):
        rng.shuffle(sites)
        assert region_strip(region_calendar("r", sites)) == text


def test_the_sites_that_rule_are_named() -> None:
    sites = [
        site("early", (("05-20", "08-10"),), 100, else_=0.4),
        site("middle", (("06-01", "08-20"),), 200, else_=0.3),
        site("late", (("06-20", "07-25"),), 900, else_=0.1),
        site("long", (("05-01", "09-30"),), None, else_=0.5),
    ]
    region = region_calendar("r", sites)
    names = [item.site.name for item in region.sites]
    assert names == ["late", "middle", "early", "long"]  # highest first, unknown last
    found = heavy(region)
    assert found.at_all == ((day("2025-06-20"), day("2025-07-25")),)
    assert found.at_most == ((day("2025-06-01"), day("2025-08-10")),)
    assert found.at_some == ((day("2025-05-01"), day("2025-09-30")),)
    (window,) = found.windows
    assert window.opens_last == window.closes_first == (0,)
    assert found.rules == 0
    assert found.worst[0] == 0.1 and names[found.worst_site[0]] == "late"
    assert "late opens last (20 Jun) and closes first (25 Jul)" in " ".join(
        region_strip(region).split()
    )


def test_windows_over_new_year_are_ranked_through_it() -> None:
    region = region_calendar(
        "r",
        [
            site("a", (("11-10", "02-20"),), 300),
            site("b", (("12-05", "03-15"),), 200),
            site("c", (("01-09", "03-01"),), 100),
        ],
    )
    (window,) = heavy(region).windows
    assert (window.opens_last, window.closes_first) == ((2,), (0,))
    assert heavy(region).at_all == ((day("2025-01-09"), day("2025-02-20")),)


def test_the_seam_of_the_year_is_no_opening() -> None:
    spans = (("01-01", "02-10"), ("11-20", "12-15"))
    region = region_calendar("r", [site("a", spans), site("b", spans[1:])])
    january, november = heavy(region).windows
    assert january.opens_last == () and january.never == (1,)
    assert november.opens_last == (0, 1)


def test_a_year_open_somewhere_all_through_is_still_ranked() -> None:
    region = region_calendar(
        "r",
        [
            site("a", (("10-01", "07-15"),), 300),
            site("b", (("05-01", "12-20"),), 200),
            site("c", (("01-01", "12-31"),), 100),
        ],
    )
    (window,) = heavy(region).windows
    always = window.windows[2]
    assert (always.opens, always.closes) == (None, None)
    assert 2 not in window.opens_last + window.closes_first


@pytest.mark.parametrize(("lapse", "wobble"), [(3.0, 0), (-2.0, 1)])
def test_a_planted_lapse_is_found_again(lapse: float, wobble: int) -> None:
    heights = (100, 250, 400, 550, 700, 850, 1000)
    sites = []
    for number, height in enumerate(heights):
        opens = day("2025-06-15") + round(lapse * height / 100) + wobble * (-1) ** number
        sites.append(site(f"s{height}", ((str(opens)[5:], "09-20"),), height))
    shift = heavy(region_calendar("r", sites)).windows[0].height
    assert shift.days is not None and shift.low is not None and shift.high is not None
    assert shift.days == pytest.approx(lapse, abs=0.4)
    assert shift.low <= lapse <= shift.high
    assert shift.sites == len(heights)


def test_a_shift_that_cannot_be_told_is_not_told() -> None:
    def shift(*sites: tuple[str, float | None]) -> tuple[float | None, str]:
        made = [
            site(f"s{n}", ((opens, "09-20"),), height) for n, (opens, height) in enumerate(sites)
        ]
        found = heavy(region_calendar("r", made)).windows[0].height
        return found.days, found.unknown

    assert shift(("06-01", 100), ("06-10", 400)) == (
        None,
        "it opens at 2 sites of known height and 3 are needed",
    )
    assert shift(("06-01", 100), ("06-10", 400), ("06-20", None))[0] is None
    days, why = shift(("06-01", 100), ("06-05", 150), ("06-10", 199))
    assert days is None and why == "the sites span 99 m of height and 100 is needed"
    days, why = shift(("06-01", 100), ("06-20", 400), ("06-05", 700))
    assert days is None and why == "the slopes between sites run from -5.0 to +6.3 days"
    assert shift(("06-01", 100), ("06-10", 400), ("06-19", 700)) == (pytest.approx(3.0), "")
    assert shift(("06-01", 100), ("06-01", 400), ("06-01", 700))[0] is None


@pytest.mark.parametrize("hemisphere", [1, -1])
def test_latitude_is_counted_from_the_equator(hemisphere: int) -> None:
    sites = [
        site(f"s{n}", ((f"06-{1 + 4 * n:02}", "09-20"),), None, hemisphere * (40.0 + n))
        for n in range(4)
    ]
    window = heavy(region_calendar("r", sites)).windows[0]
    assert window.latitude.days == pytest.approx(4.0)
    assert window.height.days is None


# ------------------------------------------------------------------------------------- the split


def test_the_split_parts_two_planted_groups() -> None:
    valley = [site(f"v{n}", ((f"05-{10 + n}", "07-10"),), 100 + n) for n in range(3)]
    hill = [site(f"h{n}", ((f"07-{5 + n:02}", "09-10"),), 900 + n) for n in range(2)]
    region = region_calendar("r", [valley[0], hill[0], valley[1], hill[1], valley[2]])
    division = region.division
    assert division.advised
    groups = [
        {region.sites[number].site.name for number in group.sites} for group in division.groups
    ]
    assert groups == [{"h0", "h1"}, {"v0", "v1", "v2"}]
    # by hand: 6–10 July and June everywhere: (5 + 30) / 2 days a kind of work safe anywhere
    assert division.days_everywhere == (5 + 30) / 2
    assert division.groups[0].days == (67 + 30) / 2 or division.groups[0].days == (66 + 30) / 2
    assert all(group.gained > 0 for group in division.groups)
    assert "Split this region" in region_strip(region)


def test_the_best_division_is_the_best_of_all() -> None:
    rng = np.random.default_rng(3)
    for sites in (2, 3, 5):
        safe = rng.random((sites, 2, 60)) < 0.7
        kept = {}
        for size in range(1, sites):
            for chosen in combinations(range(sites), size):
                rest = [number for number in range(sites) if number not in chosen]
                days = [int(safe[list(group)].all(axis=0).sum()) for group in (chosen, rest)]
                kept[frozenset(chosen)] = size * days[0] + len(rest) * days[1]
        found = divide(safe, {})
        assert kept[frozenset(found.groups[0].sites)] == max(kept.values())


def test_beyond_twelve_sites_they_are_cut_along_what_parts_them() -> None:
    sites = 16
    cold = np.array([(-1.0) ** n * 5 for n in range(sites)])
    safe = np.zeros((sites, 1, DAYS), dtype=bool)
    safe[cold > 0, 0, 50:150] = True
    safe[cold < 0, 0, 140:260] = True
    traits = {
        "height": np.arange(sites) * 50.0,
        "latitude": np.full(sites, 45.0),
        "longitude": np.full(sites, np.nan),
        "winter cold": cold,
    }
    found = divide(safe, traits)
    assert found.advised and found.along == "winter cold"
    assert {group.sites for group in found.groups} == {
        tuple(range(0, sites, 2)),
        tuple(range(1, sites, 2)),
    }
    alike = divide(np.ones((13, 1, DAYS), dtype=bool), {"height": np.zeros(13)})
    assert (alike.agreement, alike.groups) == (1, ())


def test_nothing_safe_anywhere_is_no_reason_to_split() -> None:
    region = divide(np.zeros((3, 2, DAYS), dtype=bool), {})
    assert (region.agreement, region.advised) == (None, False)


# -------------------------------------------------------------------------------------- refusals


def test_regions_that_make_no_sense_are_refused() -> None:
    north, south = site("north", ()), site("south", (), latitude=-37.0)
    with pytest.raises(DataError, match=r"north lies north of the equator and south south of it"):
        region_calendar("r", [north, south])
    with pytest.raises(DataError, match=r"1 site can answer and at least 2 are needed; x is left"):
        region_calendar("r", [north], left_out=[("x", "too short")])
    with pytest.raises(UsageError, match="two sites are named north"):
        region_calendar("r", [north, north])
    other = replace(site("other", ()), confidence=0.8)
    with pytest.raises(UsageError, match="differ in taxa, year or confidence"):
        region_calendar("r", [north, other])


# --------------------------------------------------------------------------------------- outputs


@pytest.fixture(scope="module")
def valley() -> RegionCalendar:
    """Six sites, one with a very long name, two of which close early."""
    sites = [
        site(
            f"site {n} " + "long " * (14 if n == 2 else 1),
            ((f"06-{4 + 3 * n:02}", f"08-{28 - 3 * n:02}"), ("11-20", f"02-{10 + n}")),
            100 + 150 * n,
        )
        for n in range(6)
    ]
    on = day("2018-03-18")
    sites = [replace(item, today=day("2025-06-20")) for item in sites]
    return region_calendar("Valley", sites, on=on, left_out=[("young", "two seasons only")])


def test_cells_are_as_safe_as_their_worst_day() -> None:
    share = np.ones(DAYS)
    share[3], share[10], share[20:40] = 0.75, 0.5, 0.0
    assert share_cells(share, YEAR)[:6] == "=--..-"  # 3, 10, 20–30; 31–37, 38–44


def test_the_text_keeps_within_its_columns(valley: RegionCalendar) -> None:
    text = region_strip(valley)
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split())
    for words in (
        "INVENTED PLACE AND WEATHER", "Left out: young (two seasons only).", "550 m",
        "days later per 100 m higher", "= every day safe at three quarters", "licensed practice",
        "this season's record counted in",
    ):  # fmt: skip
        assert words in flat, words


def test_a_record_that_ends_before_the_day_is_past_seasons_only() -> None:
    record = site("a", ()).record
    region = region_calendar("r", [site("a", ()), site("b", ())], on=record.last + 4)
    assert not any(item.running for item in region.sites)
    assert "past seasons only" in " ".join(region_strip(region).split())


def test_the_json_says_every_day(valley: RegionCalendar) -> None:
    found = json.loads(json.dumps(region_json(valley), allow_nan=False))
    assert found["schema"] == "sapdial-region-calendar-1"
    work = found["species"][0]["work"]["heavy"]
    assert len(work["share_by_day"]) == len(work["worst_chance_by_day"]) == DAYS
    names = [item["site"]["name"] for item in found["sites"]]
    assert list(work["chance_by_day"]) == names
    assert set(work["worst_site_by_day"]) <= set(names)
    assert work["windows"][0]["opening_by_height"]["days_per_100_m"] == pytest.approx(2.0)
    assert found["left_out"] == [{"site": "young", "reason": "two seasons only"}]


@pytest.mark.parametrize("count", [2, 6, 10])
def test_no_text_of_the_chart_covers_another(count: int) -> None:
    sites = [
        site(f"a place {n} " + "with a long name " * (8 * (n == 1)), (("06-10", "07-20"),), 100 * n)
        for n in range(count)
    ]
    rows = tuple(
        replace(sites[0].rows[0], species=species(f"acer-{n}", f"tree {n}", f"Arbor {n}"))
        for n in range(10)
    )
    today = day("2025-06-20")
    figure = draw_region(
        region_calendar("r", [replace(item, rows=rows, today=today) for item in sites])
    )
    check_apart(figure)


def test_the_kinds_of_ink_differ_without_colour(valley: RegionCalendar) -> None:
    figure = draw_region(valley)
    _, grey = rendered(figure)
    whole, most = (
        figure.findobj(lambda artist, gid=gid: artist.get_gid() == gid)[1].get_window_extent()
        for gid in ("all-acer-fictum-heavy", "most-acer-fictum-heavy")
    )
    rows = slice(int(grey.shape[0] - whole.y1) + 3, int(grey.shape[0] - whole.y0) - 3)
    assert most.x0 + 4 < whole.x0
    full = grey[rows, int(whole.x0) + 3 : int(whole.x1) - 3].mean()
    hatched = grey[rows, int(most.x0) + 2 : int(whole.x0) - 2].mean()
    assert full + 30 < hatched < 240


def test_the_chart_is_saved_with_its_words(valley: RegionCalendar, tmp_path: Path) -> None:
    save_region(valley, tmp_path / "region.png", tmp_path / "region.svg")
    svg = (tmp_path / "region.svg").read_text(encoding="utf-8")
    for words in (
        'id="all-acer-fictum-heavy"', 'id="most-acer-fictum-heavy"', 'id="today"', "site 5 long",
        "850 m, 2010–2018, 30 seasons", "INVENTED PLACE", "nesting birds", "Left out: young",
    ):  # fmt: skip
        assert words in svg, words
    with Image.open(tmp_path / "region.png") as picture:
        assert picture.width == 1650
