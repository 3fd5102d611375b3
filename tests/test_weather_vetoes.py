"""Frost and heat that forbid work, read, or usual where nobody read the days.

What must hold:

* where no temperature of a day is known, hard frost or heat that at least half of the seasons had
  near it forbids the work, counted here day by day from the record; the answer gives the count;
* so does frost on leaves that had not hardened, for heavy cuts, as long as a new flush would take;
* such a verdict does not flicker from day to day: it comes and goes once a year;
* work that need not avoid heat, and taxa that are cut while nights are warm, are not held back by
  heat, recorded or usual; a taxon whose own rule avoids it is;
* a calendar says near which days such weather is usual;
* a day of a plan that heat or frost is likely to close says so.
"""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from sites import place

from timing.advice import Answer, answer
from timing.agenda_tasks import Asked, Subject
from timing.answers import Outlook, outlook, site_drivers
from timing.calendar import year_calendar
from timing.export.agenda_words import planned_text
from timing.export.calendar_text import calendar_strip
from timing.species.catalogue import load_species
from timing.temperature import Forecast
from timing.weather_vetoes import usual_weather_runs, weather_vetoes
from timing.work_plan import plan

END = np.datetime64("2025-12-31")  # of the samples
SEASONS = range(1996, 2026)
LONGEST = 7  # days before and after whose weather stands for the time of the year


@cache
def stale(sample: str, slug: str) -> Outlook:
    """A taxon's outlook from a record that ends long before the days asked about."""
    spot = place(sample)
    return outlook(load_species(slug), spot.record, spot.drivers)


def asked(sample: str, slug: str, work: str, on: str | np.datetime64) -> Answer:
    return answer(stale(sample, slug), work, np.datetime64(on, "D"))


def share(sample: str, day: str, column: str, hit, run: int) -> float:
    """Share of years with a run of hits inside the week around a day, mean of the fortnight."""
    record = place(sample).record
    hits = {
        record.first + number: bool(hit(value))
        for number, value in enumerate(getattr(record, column).tolist())
    }
    came = 0
    for year in SEASONS:
        for shift in range(-LONGEST, LONGEST + 1):
            middle = np.datetime64(f"{year}-{day}", "D") + shift
            week = [hits[middle + near] for near in range(-3, 4)]
            came += any(all(week[at : at + run]) for at in range(8 - run))
    return came / len(SEASONS) / (2 * LONGEST + 1)


def told(texts: tuple[str, ...], start: str) -> int:
    """How many of thirty seasons the one sentence that begins so speaks of."""
    (text,) = (text for text in texts if text.startswith(start))
    return int(re.search(r"about (\d+) of 30 seasons", text)[1])


def test_frost_of_days_nobody_read_forbids_where_it_is_usual() -> None:
    deep = asked("cold-interior", "ulmus-parvifolia", "heavy", "2026-01-15")
    usual = share("cold-interior", "01-15", "tmin_c", lambda value: value <= -10, 1)
    assert deep.verdict == "not_safe" and deep.chance > 0.9 and usual > 0.5
    assert told(deep.vetoes, "hard frost is likely") == pytest.approx(30 * usual, abs=0.5)
    assert told(deep.reasons, "A night of −10 °C") == told(deep.vetoes, "hard frost")
    assert not asked("cold-interior", "ulmus-parvifolia", "heavy", "2026-05-01").vetoes


@pytest.mark.parametrize("day", ["06-20", "07-12", "07-25", "08-05"])
def test_heat_of_days_nobody_read_forbids_where_it_is_usual(day: str) -> None:
    usual = share("humid-subtropical", day, "tmax_c", lambda value: value >= 32, 3)
    heavy = asked("humid-subtropical", "acer-palmatum", "heavy", f"2026-{day}")
    assert heavy.chance > 0.9
    assert (heavy.verdict == "safe") == (usual < 0.5)
    if usual >= 0.5:
        assert told(heavy.vetoes, "heat is likely") == pytest.approx(30 * usual, abs=0.5)
    assert told(heavy.reasons, "3 days in a row at 32 °C") == pytest.approx(30 * usual, abs=0.5)


def test_late_frost_that_nobody_read_forbids_where_it_is_usual() -> None:
    """An elder that breaks early meets frost nearly every spring of a continental valley."""
    early = asked("humid-continental", "sambucus-racemosa", "heavy", "2026-07-10")
    view, record = (
        stale("humid-continental", "sambucus-racemosa"),
        place("humid-continental").record,
    )
    struck = 0
    for year in SEASONS:
        row = view.drivers.row_of(year)
        start = np.datetime64(f"{year - 1}-09-01")
        first, last = (
            start + int(np.ceil(np.median(view.events.days[event][row])))
            for event in ("bud_break", "flush_hardened")
        )
        nights = record.tmin_c[int((first - record.first).astype(int)) :][
            : int((min(last, np.datetime64(f"{year}-07-10")) - first).astype(int)) + 1
        ]
        struck += bool((nights <= -2).any())
    (veto,) = early.vetoes
    assert veto.startswith("late frost is likely") and struck >= 15
    count = int(re.search(r"and (\d+) of 30 seasons had −2 °C", veto)[1])
    assert abs(count - struck) <= 1  # a median of draws may stand a day beside its night
    assert not asked("humid-continental", "sambucus-racemosa", "light", "2026-07-10").vetoes
    assert not asked("humid-continental", "acer-palmatum", "heavy", "2026-07-20").vetoes


@pytest.mark.parametrize(
    ("year", "end", "said"),
    [
        (2015, "06-01", "late frost is likely"),  # the leaves were still soft: nobody knows
        (2015, "07-05", ""),  # the whole spring was read, and no frost in it
        (2024, "06-01", "late frost: −2 °C on 21 May"),
        (2024, "07-05", "late frost: −2 °C on 21 May"),
    ],
)
def test_what_was_read_of_this_spring_counts_where_the_record_ends_before_the_day(
    year: int, end: str, said: str
) -> None:
    spot, on = place("humid-continental").as_of(f"{year}-{end}"), np.datetime64(f"{year}-07-12")
    view = outlook(load_species("sambucus-racemosa"), spot.record, spot.drivers, on=on)
    found = answer(view, "heavy", on)
    assert found.chance > 0.9
    assert [veto.startswith(said) for veto in found.vetoes] == ([True] if said else [])


def test_an_older_forecast_still_forbids() -> None:
    spot, on = place("humid-continental").as_of("2025-07-05"), np.datetime64("2025-07-15")
    days = np.arange("2025-07-06", "2025-07-20", dtype="M8[D]")
    hot = Forecast(days, np.full(14, 20.0), np.full(14, 34.0), days[0])
    for ahead, vetoes in ((None, 0), (hot, 1)):
        record = replace(spot.record, ahead=ahead)
        view = outlook(load_species("acer-palmatum"), record, spot.drivers, on=on)
        found = answer(view, "heavy", on)
        assert len(found.vetoes) == vetoes
        assert all(text.startswith("heat forecast: 3 days at 32 °C") for text in found.vetoes)


def test_a_limit_nobody_measured_is_told_as_custom() -> None:
    for slug, said in (
        ("olea-europaea", "no cuts near a night of −10 °C or less (common practice, no source)"),
        ("acer-palmatum", "fresh cuts and roots in a pot suffer from about −7 °C"),
    ):
        spot = place("humid-continental").as_of("2025-02-20")
        view = outlook(load_species(slug), spot.record, spot.drivers, on=spot.record.last)
        (veto,) = answer(view, "heavy", spot.record.last).vetoes
        assert veto == f"hard frost: −15 °C in the last 3 days; {said}"


def test_cool_summers_are_not_held_back() -> None:
    told = asked("cool-maritime", "acer-palmatum", "light", "2026-08-15")
    assert told.verdict == "safe" and not any("32 °C" in reason for reason in told.reasons)


@pytest.mark.parametrize(
    ("sample", "slug", "kind"),
    [
        ("humid-subtropical", "acer-palmatum", "heat"),
        ("humid-continental", "ulmus-parvifolia", "hard frost"),
        ("valley-floor", "ulmus-parvifolia", "hard frost"),
        ("cold-interior", "buxus-sempervirens", "hard frost"),
    ],
)
def test_usual_weather_closes_one_stretch_of_the_year(sample: str, slug: str, kind: str) -> None:
    view, days = stale(sample, slug), np.arange(END + 10, END + 10 + 365)
    closed = np.array(
        [
            any(veto.startswith(kind) for veto in weather_vetoes(view, view.odds["heavy"], day))
            for day in days
        ]
    )
    assert closed.any() and not closed.all()
    turns = int(np.count_nonzero(closed != np.roll(closed, 1)))
    assert turns == 2, [str(day) for day in days[closed != np.roll(closed, 1)]]


@pytest.mark.parametrize("sample", ["humid-continental", "southern-temperate", "cold-interior"])
def test_a_calendar_says_near_which_days_such_weather_is_usual(sample: str) -> None:
    """A calendar speaks of the common −10 °C, which is an elm's limit."""
    view, year = stale(sample, "ulmus-parvifolia"), 2026
    calendar = year_calendar([view], year, confidence=0.9)
    days = np.arange("2026-01-01", "2027-01-01", dtype="M8[D]")
    frost, heat = usual_weather_runs(view, days)
    for runs, kind in ((frost, "hard frost"), (heat, "heat")):
        inside = np.zeros(len(days), dtype=bool)
        for first, last in runs:
            inside |= (days >= first) & (days <= last)
        for day, near in list(zip(days, inside, strict=True))[9::9]:
            vetoes = weather_vetoes(view, view.odds["heavy"], day)
            assert any(veto.startswith(f"{kind} is") for veto in vetoes) == near, (day, kind)
    said = [text for text in calendar.cautions if "near these days here" in text]
    assert len(said) == bool(frost) + bool(heat)
    assert all(text in " ".join(calendar_strip(calendar).split()) for text in said)


@pytest.mark.parametrize("year", [2024, 2025, 2026])
@pytest.mark.parametrize("sample", ["cold-interior", "southern-temperate"])
def test_every_day_of_a_year_has_its_usual_weather(sample: str, year: int) -> None:
    days = np.arange(f"{year}-01-01", f"{year + 1}-01-01", dtype="M8[D]")
    (runs, _) = usual_weather_runs(stale(sample, "ulmus-parvifolia"), days)
    if sample == "cold-interior":
        assert [str(day)[5:] for day in (runs[0][0], runs[-1][1])] == ["01-01", "12-31"]
        assert len(runs) == 2


def test_heat_holds_back_only_what_must_avoid_it() -> None:
    july = "2026-07-05"
    assert asked("humid-subtropical", "ficus-microcarpa", "heavy", july).verdict == "safe"
    for slug, work in (("citrus-microcarpa", "heavy"), ("acer-palmatum", "light")):
        assert any("heat" in veto for veto in asked("humid-subtropical", slug, work, july).vetoes)
    assert not asked("humid-subtropical", "acer-buergerianum", "light", july).vetoes


def test_recorded_heat_holds_back_a_maple_and_not_a_fig() -> None:
    on = np.datetime64("2025-07-05")
    spot = place("humid-subtropical")
    record = spot.record.until(on)
    hot = record.tmax_c.copy()
    hot[-3:] = 33.0
    record = replace(record, tmax_c=hot)
    drivers = site_drivers(record, spot.site)
    for slug, held in (("acer-palmatum", True), ("ficus-microcarpa", False)):
        found = answer(outlook(load_species(slug), record, drivers, on=on), "heavy", on)
        assert any(veto.startswith("heat: 3 days") for veto in found.vetoes) == held
        assert (found.verdict == "safe") != held


def test_a_planned_day_says_what_weather_is_likely_on_it() -> None:
    on = np.datetime64("2025-05-20")
    spot = place("humid-subtropical")
    record = spot.record.until(on)
    view = outlook(load_species("acer-palmatum"), record, site_drivers(record, spot.site), on=on)
    (job, *_) = plan(
        [Subject("A", "Yard", view)], [np.datetime64("2025-07-25")], Asked(on, 0.9)
    ).planned
    assert "heat is likely: about" in planned_text(job, on)
    (job, *_) = plan(
        [Subject("A", "Yard", view)], [np.datetime64("2025-06-20")], Asked(on, 0.9)
    ).planned
    assert "likely" not in planned_text(job, on)
