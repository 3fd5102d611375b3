"""What the shipped requirements say about trees that somebody watched.

What must hold:

* at Harvard Forest the dated bud break of the measured taxa comes closer than each taxon's plain
  mean date and within 5.5 days, pooled (in sample: these springs fitted the requirements), and
  its 80 % range holds 75 to 97 % of the observed dates;
* full bloom of the cherries comes within 4.5 days at Washington and within 3 days at Kyoto;
* sugar maple sap at Whately runs strongest within 12 days of the day by which half of the
  season's sap had been collected, in 2013 and in 2014;
* usual dates of trees nobody watched beside a thermometer overlap what is published of them: first
  leaves of hawthorn in Britain (at the invented coast most like it), open buds of ginkgo in Japan;
* the fit on the reference data gives the shipped numbers again, digit for digit.

Observations: Harvard Forest HF003 (O'Keefe, CC BY); US National Park Service (Washington);
Aono & Kazui 2008, Int. J. Climatology 28:905 (Kyoto); Baumer et al., CC0 (Whately). Hawthorn: first
leaf from mid February to mid April (Woodland Trust, Nature's Calendar). Ginkgo: a fifth of the buds
about 7 April at Tokyo (normal of the Japan Meteorological Agency, in a bulletin of 2016); half of
the buds is some days later, and no normal of Kyoto was at hand.
"""

import math
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from reference import reference_file, reference_rows
from sites import place

from timing.events import SeasonEvents, season_events
from timing.season import season_start
from timing.species import fit_measured
from timing.species.catalogue import load_species
from timing.species.model import Species

HARVARD = "harvard_forest_1964_2020"
SHIPPED = (files("timing.species") / "_measured.toml").read_text(encoding="utf-8")
MEASURED = tomllib.loads(SHIPPED)["taxa"]
CARRYING = tomllib.loads((files("timing.species") / "_groups.toml").read_text(encoding="utf-8"))[
    "carrying"
]
OBSERVED = {
    HARVARD: ("phenology/harvard_forest_1990_2004.csv", "Harvard Forest HF003"),
    "washington_dc_1941_2026": (
        "phenology/washington_dc_cherry_to_2000.csv",
        "US National Park Service",
    ),
    "kyoto_1950_1989": ("phenology/kyoto_cherry_to_1975.csv", "Aono & Kazui 2008"),
}
CARRIERS = {"bud_break": "acer-rubrum", "full_bloom": "prunus-serrulata"}


def _as_shipped(taxon: str, event: str) -> Species:
    """A file of the same kind of tree with the taxon's own requirement and spread."""
    fit, carrier = MEASURED[taxon][event], load_species(CARRIERS[event])
    model = replace(
        carrier.events[event],
        requirement=fit["requirement"],
        place_requirement=fit.get("place_requirement", 0.0),
        spread_days=fit["spread_days"],
        site_spread_days=CARRYING["measured"],
    )
    return replace(carrier, slug=taxon, events=carrier.events | {event: model})


@cache
def _well_recorded(site: str) -> frozenset[int]:
    """Years with fewer than 25 blank or absent days from 15 January to 1 July."""
    known: dict[int, int] = {}
    for row in reference_rows(f"temperatures/{site}.csv"):
        year, day = int(row["date"][:4]), row["date"][5:]
        if "01-15" <= day <= "06-30" and row["tmin_c"] and row["tmax_c"]:
            known[year] = known.get(year, 0) + 1
    length = {year: 168 if year % 4 == 0 else 167 for year in known}
    return frozenset(year for year, days in known.items() if length[year] - days < 25)


@cache
def _events(site: str, taxon: str, event: str) -> SeasonEvents:
    return season_events(_as_shipped(taxon, event), place(site).drivers)


@cache
def _cases(site: str, event: str) -> tuple[tuple[str, float, float, float, float], ...]:
    """Taxon, observed offset, and the early, middle and late offset said for that season."""
    return tuple(_read_cases(site, event))


def _read_cases(site: str, event: str) -> Iterator[tuple[str, float, float, float, float]]:
    said: dict[str, NDArray[np.float64]] = {}
    for row in reference_rows(OBSERVED[site][0]):
        taxon, year = row["species"], int(row["year"])
        wanted = row["event"] == event and row["date"] and event in MEASURED.get(taxon, {})
        if not wanted or year not in _well_recorded(site):
            continue
        events = _events(site, taxon, event)
        place_in_record = np.flatnonzero(events.drivers.years == year)
        if place_in_record.size == 0:
            continue
        if taxon not in said:
            said[taxon] = events.quantiles(event)
        early, middle, late = said[taxon][:, place_in_record[0]]
        start = season_start(year, "north")
        seen = float((np.datetime64(row["date"], "D") - start).astype(int))
        yield taxon, seen, early, middle, late


def _rms(values: list[float] | NDArray[np.float64]) -> float:
    return math.sqrt(np.mean(np.square(values)))


def test_bud_break_at_harvard_beats_the_mean_date():
    cases = _cases(HARVARD, "bud_break")
    taxa = {taxon for taxon, *_ in cases}
    assert len(taxa) >= 30, f"{HARVARD}: only {len(taxa)} taxa were compared"
    errors = [middle - seen for _, seen, _, middle, _ in cases]
    means = {taxon: np.mean([seen for name, seen, *_ in cases if name == taxon]) for taxon in taxa}
    plain = [means[taxon] - seen for taxon, seen, *_ in cases]
    source = f"bud break of {len(taxa)} taxa at {HARVARD} (Harvard Forest HF003)"
    assert _rms(errors) < _rms(plain), f"{source}: {_rms(errors):.2f} d, mean {_rms(plain):.2f} d"
    assert _rms(errors) < 5.5, f"{source}: {_rms(errors):.2f} d"


@pytest.mark.parametrize("slug", ["acer-rubrum", "acer-saccharum", "quercus-rubra"])
def test_shipped_taxa_that_were_watched_come_close(slug):
    view = place(HARVARD).outlook(slug)
    middle = view.events.quantiles("bud_break", (0.5,))[0]
    errors = []
    for row in reference_rows(OBSERVED[HARVARD][0]):
        year = int(row["year"])
        if (row["species"], row["event"]) == (slug, "bud_break") and year in _well_recorded(
            HARVARD
        ):
            start = season_start(year, "north")
            seen = float((np.datetime64(row["date"], "D") - start).astype(int))
            errors.append(float(middle[view.drivers.years == year][0]) - seen)
    assert len(errors) >= 10
    assert _rms(errors) < 5.5, f"{slug} at {HARVARD} (HF003): {_rms(errors):.2f} d"
    assert abs(np.mean(errors)) < 2.0, f"{slug} at {HARVARD} (HF003): bias {np.mean(errors):.2f} d"


def test_ranges_at_harvard_hold_four_dates_in_five():
    cases = _cases(HARVARD, "bud_break")
    share = np.mean([early <= seen <= late for _, seen, early, _, late in cases])
    assert 0.75 <= share <= 0.97, f"bud break at {HARVARD} (HF003): {share:.0%} inside 80 % ranges"


@pytest.mark.parametrize(
    ("site", "taxon", "limit"),
    [
        ("washington_dc_1941_2026", "prunus-yedoensis", 4.5),
        ("kyoto_1950_1989", "prunus-jamasakura", 3.0),
    ],
)
def test_cherries_bloom_when_they_did(site, taxon, limit):
    errors = [middle - seen for name, seen, _, middle, _ in _cases(site, "full_bloom")]
    assert len(errors) >= 20, f"{taxon} at {site}: only {len(errors)} springs were compared"
    source = OBSERVED[site][1]
    assert _rms(errors) < limit, f"{taxon} at {site} ({source}): {_rms(errors):.2f} d"


@pytest.mark.parametrize("year", [2013, 2014])
def test_sap_runs_strongest_when_half_was_collected(year):
    rows = reference_rows("sap/whately_sugarbush_2013_2014.csv")
    season = [
        (row["date"], float(row["sap_litres"]))
        for row in rows
        if row["date"].startswith(str(year)) and row["sap_litres"]
    ]
    collected = np.cumsum([litres for _, litres in season])
    half = np.datetime64(season[int(np.argmax(collected >= collected[-1] / 2))][0], "D")
    view = place("whately_2012_2016").outlook("acer-saccharum")
    row = int(np.flatnonzero(view.drivers.years == year)[0])
    peak = view.drivers.starts[row] + round(view.events.quantiles("sap_peak", (0.5,))[0, row])
    off = int((peak - half).astype(int))
    assert abs(off) <= 12, f"acer-saccharum at Whately {year} (Baumer et al.): {peak}, not {half}"


@pytest.mark.parametrize(
    ("name", "slug", "first", "last"),
    [
        ("cool-maritime", "crataegus-monogyna", "2023-02-15", "2023-04-15"),
        ("kyoto_1950_1989", "ginkgo-biloba", "2023-04-07", "2023-04-17"),
    ],
)
def test_trees_nobody_watched_may_open_when_they_are_said_to(name, slug, first, last):
    usual = place(name).outlook(slug).usual("bud_break")
    assert usual is not None
    early, _, late = usual.dates(2023)
    overlap = early <= np.datetime64(last) and late >= np.datetime64(first)
    assert overlap, f"{slug} at {name}: {early} to {late}, published {first} to {last}"


def test_the_fit_gives_the_shipped_numbers_again(monkeypatch, tmp_path):
    folder = reference_file("phenology/harvard_forest_1990_2004.csv").parents[1]
    for temperatures, phenology, _ in fit_measured.SITES:
        reference_file(f"temperatures/{temperatures}.csv")
        reference_file(f"phenology/{phenology}.csv")
    monkeypatch.setattr(fit_measured, "__file__", str(tmp_path / "fit_measured.py"))
    monkeypatch.setattr(sys, "argv", ["fit_measured", "--reference", str(folder)])
    fit_measured.main()
    fitted = tomllib.loads(Path(tmp_path / "_measured.toml").read_text(encoding="utf-8"))
    shipped = tomllib.loads(SHIPPED)
    assert fitted["pooled"] == shipped["pooled"]
    assert sorted(fitted["taxa"]) == sorted(shipped["taxa"])
    for taxon, events in shipped["taxa"].items():
        assert fitted["taxa"][taxon] == events, f"{taxon}: the fit on the observations differs"
