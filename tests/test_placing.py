"""Bud break takes its mean date at a site from degree days and its departures from the clock.

What must hold:

* the mean date lies within two days of that of the degree days, at every site and for all taxa;
* springs that the clock alone calls early are early;
* half of the distance moved stands in the error of the site; a taxon without error stays without;
* a taxon is placed once; one where no season reaches both dates keeps the clock's own;
* in climates nobody gardens in, warm or cold, high or low in latitude, the warmth asked for stays a
  positive number, also where the record ends before the later of the two dates;
* what is tuned, and what a noted date is held against, is the taxon placed.
"""

from dataclasses import replace

import numpy as np
import pytest
from sites import SAMPLES, TAXA, TEMPERATE_TAXA, equatorial, exact, made_up, place

from timing.clocks import PLACE
from timing.drivers import Drivers, build_drivers
from timing.events import season_events
from timing.placing import placed
from timing.season import FIRST_JULY, Floats
from timing.species.catalogue import load_species, slugs
from timing.species.model import Species
from timing.temperature import record_from_readings
from timing.tuning import Nominal, nominal_dates

LEAFING = tuple(
    taxon for taxon in map(load_species, slugs()) if "bud_break" in taxon.events
)  # every taxon whose buds break


def by_clock(taxon: Species, drivers: Drivers) -> Floats:
    """Dates by the clock alone, with the warmth that the taxon asks for."""
    return nominal_dates(drivers, taxon, taxon.events["bud_break"])


def by_degree_days(taxon: Species, drivers: Drivers) -> Floats:
    """First day on which the degree days of the taxon are reached, counted without `reach`."""
    sums = np.cumsum(drivers.forcing(PLACE), axis=1)
    needed = taxon.events["bud_break"].place_requirement
    return np.array([float(np.flatnonzero(row >= needed)[0]) for row in sums])


@pytest.mark.parametrize("name", SAMPLES)
def test_the_mean_date_is_that_of_degree_days_and_the_departures_are_the_clocks(name):
    drivers = place(name).drivers
    drivers = drivers.select(drivers.spring_covered)
    for slug in TEMPERATE_TAXA:
        shipped = load_species(slug)
        here = placed(shipped, drivers)
        told, aimed = by_clock(here, drivers), by_degree_days(shipped, drivers)
        assert abs(told.mean() - aimed.mean()) < 2, slug
        alone = by_clock(shipped, drivers)
        assert np.corrcoef(told, alone)[0, 1] > 0.6, slug  # weeks earlier, other days decide
        moved = round(float(aimed.mean() - alone.mean()))
        before, after = (taxon.events["bud_break"].site_spread_days for taxon in (shipped, here))
        assert after**2 - before**2 == pytest.approx(moved**2 / 4)


def test_a_taxon_is_placed_once_and_one_without_error_stays_without():
    mild = place("cool-maritime").drivers
    taxon = exact("fagus-sylvatica")
    here = placed(taxon, mild)
    assert here.events["bud_break"].requirement < taxon.events["bud_break"].requirement
    assert here.events["bud_break"].site_spread_days == 0
    assert placed(here, place("cold-interior").drivers) is here
    days = season_events(taxon, mild).days["bud_break"]
    assert np.array_equal(days, season_events(here, mild).days["bud_break"], equal_nan=True)


def test_where_there_is_no_winter_nothing_is_placed():
    drivers = equatorial().drivers
    for slug in TAXA:
        taxon = load_species(slug)
        model = taxon.events.get("bud_break")
        if model is None:
            assert placed(taxon, drivers) is taxon
        else:
            assert placed(taxon, drivers).events["bud_break"] == replace(
                model, place_requirement=0.0
            )


@pytest.mark.parametrize("latitude", [-45.0, 20.0, 50.0, 70.0])
@pytest.mark.parametrize(("mean_c", "amplitude_c"), [(-8, 22), (-2, 8), (4, 12), (14, 4), (22, 8)])
@pytest.mark.parametrize("daily_range_c", [1.0, 20.0])
def test_the_warmth_asked_for_is_positive_wherever_it_is(
    latitude, mean_c, amplitude_c, daily_range_c
):
    drivers = made_up(
        mean_c,
        amplitude_c,
        latitude,
        daily_range_c=daily_range_c,
        coldest=141 if latitude < 0 else 325,
        years=4,
        weather_c=4.0,
    ).drivers
    for taxon in LEAFING:
        model = placed(taxon, drivers).events["bud_break"]
        assert model.requirement > 0 and np.isfinite(model.site_spread_days), taxon.slug


def test_a_record_may_end_before_the_later_of_the_two_dates():
    """Hot afternoons open buds in June that degree days open in July, after the spring's end."""
    spot = made_up(-8.0, 3.2, 65.0, daily_range_c=24.0, years=6, weather_c=3.0)
    whole = build_drivers(spot.record, spot.site)
    kept = int((whole.starts[4] - spot.record.first).astype(int)) + FIRST_JULY + 1
    short = build_drivers(
        record_from_readings(
            spot.record.first + np.arange(kept),
            spot.record.tmin_c[:kept],
            spot.record.tmax_c[:kept],
            source="made up",
        ),
        spot.site,
    )
    assert short.spring_covered[4] and not short.autumn_covered[4]
    for taxon in LEAFING:
        assert placed(taxon, short).events["bud_break"].requirement > 0, taxon.slug


def test_noted_dates_are_held_against_the_taxon_placed():
    drivers = place("coast").drivers
    nominal = Nominal(drivers)
    for slug in ("acer-palmatum", "fagus-crenata"):
        shipped = load_species(slug)
        here = placed(shipped, drivers)
        assert np.nanmean(by_clock(here, drivers) - by_clock(shipped, drivers)) < -7
        for event in ("bud_break", "leaf_full_size"):
            told = nominal.dates(shipped, event)
            assert np.array_equal(
                told, nominal_dates(drivers, here, here.events[event]), equal_nan=True
            )
            assert nominal.dates(nominal.placed(shipped), event) is told
