"""Fit the requirements of the taxa somebody watched, and write ``_measured.toml``.

    python -m timing.species.fit_measured --reference FOLDER

FOLDER holds ``phenology/`` and ``temperatures/`` as described in ``docs/method.md``: the
Harvard Forest woody species 1990-2004 (O'Keefe, HF003, CC BY) with the station records HF000
and HF001, and the Washington and Kyoto cherry series with their GHCN-Daily records.

One requirement is fitted per taxon and event, the one whose dates are unbiased (it beat the
one of least squared error by 0.1 d in leave-one-season-out over the 33 taxa); base
temperature, start and day-length exponent are fixed for all (`timing.drivers`), because
requirement, base and start cannot be told apart from a dozen springs. Seasons with 25 or more
missing days between 15 January and 1 July are not used. ``spread_days`` is the root mean
square error of leaving one season out, drawn half-way towards the mean of all taxa because a
dozen seasons estimate a spread poorly.
"""

from __future__ import annotations

import argparse
import csv
from collections import defaultdict
from pathlib import Path

import numpy as np

from timing.clocks import CLOCKS, LEAFING, PLACE
from timing.crossings import reach, sum_at
from timing.drivers import Drivers, build_drivers
from timing.events import AUTUMN_SHRINK
from timing.intake.daily_csv import read_daily_csv
from timing.season import Floats, Ints
from timing.site import Site

Observed = dict[int, float]  # season → offset of the observed date

HARVARD = Site("Harvard Forest", 42.53, -72.19, 340)
SITES = (
    ("harvard_forest_1964_2020", "harvard_forest_1990_2004", HARVARD),
    (
        "washington_dc_1941_2026",
        "washington_dc_cherry_to_2000",
        Site("Washington", 38.848, -77.034, 4),
    ),
    ("kyoto_1950_1989", "kyoto_cherry_to_1975", Site("Kyoto", 35.017, 135.733, 46)),
)
SPRING_EVENTS = ("bud_break", "full_bloom")
AUTUMN_EVENTS = ("leaf_colour", "leaf_fall")
EVERGREEN = ("pinus", "tsuga", "kalmia")  # their old leaves' colour dates no autumn
NOT_BROADLEAF = (*EVERGREEN, "rhododendron")
RANK_QUANTILES = {"very_early": 0.05, "early": 0.25, "mid": 0.5, "late": 0.75, "very_late": 0.95}
CANDIDATES = 240


def main() -> None:
    """Fit everything and write the file beside the species."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reference", type=Path, required=True)
    folder = parser.parse_args().reference
    fits: dict[str, dict[str, dict[str, float]]] = defaultdict(dict)
    for temperatures, phenology, site in SITES:
        record = read_daily_csv(folder / "temperatures" / f"{temperatures}.csv")
        drivers = build_drivers(record, site)
        observed = read_observations(folder / "phenology" / f"{phenology}.csv", drivers)
        for (taxon, event), dates in sorted(observed.items()):
            if event in AUTUMN_EVENTS and taxon.startswith(EVERGREEN):
                continue
            if fit := fit_event(drivers, event, dates, observed.get((taxon, "bud_break"), {})):
                fits[taxon][event] = fit
    path = Path(__file__).with_name("_measured.toml")
    path.write_text(as_toml(fits), encoding="utf-8")


def read_observations(path: Path, drivers: Drivers) -> dict[tuple[str, str], Observed]:
    """Observed offsets by taxon and event, in the seasons the drivers cover well."""
    start = dict(zip(drivers.years.tolist(), drivers.starts, strict=True))
    spring = set(drivers.years[drivers.spring_covered].tolist())
    whole = set(drivers.years[drivers.covered].tolist())
    observed: dict[tuple[str, str], Observed] = defaultdict(dict)
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            year = int(row["year"])
            usable = whole if row["event"] in AUTUMN_EVENTS else spring
            if year in usable and row["date"]:
                offset = (np.datetime64(row["date"], "D") - start[year]).astype(int)
                observed[row["species"], row["event"]][year] = float(offset)
    return observed


def fit_event(
    drivers: Drivers, event: str, dates: Observed, bud_break: Observed
) -> dict[str, float] | None:
    """Requirement, leave-one-season-out error and spread of one event of one taxon."""
    if event == "leaf_full_size":
        dates = {year: day for year, day in dates.items() if year in bud_break}
    if event not in (*SPRING_EVENTS, *AUTUMN_EVENTS, "leaf_full_size") or len(dates) < 4:
        return None
    rows = np.searchsorted(drivers.years, sorted(dates))
    days = np.array([dates[year] for year in sorted(dates)])
    sums = _sums(drivers, event)[rows]
    base = np.zeros(len(days))
    extra: dict[str, float] = {}
    if event == "leaf_full_size":
        begun = np.array([bud_break[year] for year in sorted(dates)])
        season = np.arange(len(days))
        base = sums[season, np.minimum(begun, LEAFING.start).astype(int)]
        growth = drivers.growth_sum[rows]
        grown = growth[season, days.astype(int)] - growth[season, begun.astype(int)]
        extra["growth_degree_days"] = float(np.median(grown))
    shrink = AUTUMN_SHRINK if event in AUTUMN_EVENTS else 1.0
    predicted = predictions(sums, base, days)
    every = np.arange(len(days))
    left_out = np.array(
        [_error_of(predicted, days, np.delete(every, s), int(s), shrink) for s in every]
    )
    mean_date = np.array([np.delete(days, s).mean() - days[s] for s in every])
    requirement = _best(predicted, days, every)
    if event == "bud_break":
        extra["place_requirement"] = _place_requirement(drivers, requirement)
    return extra | {
        "requirement": requirement,
        "seasons": len(days),
        "rmse_days": _rms(left_out),
        "mean_date_rmse_days": _rms(mean_date),
    }


def _sums(drivers: Drivers, event: str) -> Floats:
    if event in SPRING_EVENTS:
        return drivers.forcing_sum(CLOCKS[event])
    return drivers.cooling_sum if event in AUTUMN_EVENTS else drivers.leafing_sum


def _place_requirement(drivers: Drivers, requirement: float) -> float:
    """Degree days up to the usual bud break at the site, mean over all its covered seasons."""
    rows = drivers.spring_covered
    sums = drivers.forcing_sum(CLOCKS["bud_break"])[rows]
    dates = reach(sums, np.full((len(sums), 1), requirement))
    there = drivers.forcing_sum(PLACE)[rows]
    return float(np.nanmean([sum_at(there, dates - 1), sum_at(there, dates)]))  # reached between


def predictions(sums: Floats, base: Floats, days: Floats) -> tuple[Floats, Floats]:
    """Candidate requirements, and the date each gives in each season (seasons, candidates)."""
    reached = sums[np.arange(len(days)), days.astype(int)] - base
    span = max(float(np.ptp(reached)), 0.2 * float(reached.mean()))
    low = max(float(reached.min()) - 0.1 * span, 1.0)
    candidates = np.linspace(low, float(reached.max()) + 0.1 * span, CANDIDATES)
    return candidates, reach(sums, base[:, None] + candidates)


def _choose(predicted: tuple[Floats, Floats], days: Floats, seasons: Ints) -> int:
    """Candidate whose dates are unbiased over the given seasons."""
    error = predicted[1][seasons] - days[seasons, None]
    bias = np.where(np.isnan(error), 60.0, error).mean(axis=0)
    return int(np.argmin(np.abs(bias)))


def _best(predicted: tuple[Floats, Floats], days: Floats, seasons: Ints) -> float:
    return float(predicted[0][_choose(predicted, days, seasons)])


def _error_of(
    predicted: tuple[Floats, Floats], days: Floats, training: Ints, season: int, shrink: float
) -> float:
    """Error in the season left out; autumn dates are drawn towards the training mean."""
    dates = predicted[1][:, _choose(predicted, days, training)]
    mean = dates[training].mean()
    return float(mean + shrink * (dates[season] - mean) - days[season])


def _rms(errors: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(errors))))


def as_toml(fits: dict[str, dict[str, dict[str, float]]]) -> str:
    """Write the fits as TOML, one line an event."""
    lines = [
        "# Written by `python -m timing.species.fit_measured`; do not edit by hand.",
        "# requirement: bud_break and full_bloom in the units of their clocks (timing.clocks), and",
        "# place_requirement of bud_break in those of the clock PLACE;",
        "# leaf_full_size in leafing days since 16 March or an earlier bud break, with the degree",
        "# days above 5 °C from bud break beside it, for regrowth;",
        "# leaf_colour and leaf_fall in degrees of daily mean below 15 °C since day length fell",
        "# below 13.5 h. rmse_days: leaving one season out; mean_date_rmse_days: the plain mean",
        "# date scored the same way. Sources: Harvard Forest HF003 1990-2004 (O'Keefe, CC BY);",
        "# US National Park Service (Washington); Aono & Kazui 2008 (Kyoto).",
    ]
    events = ("bud_break", "full_bloom", "leaf_full_size", *AUTUMN_EVENTS)
    pooled: dict[str, dict[str, float]] = {}
    for event in events:
        of_event = [(taxon, found[event]) for taxon, found in fits.items() if event in found]
        rms = _rms(np.array([fit["rmse_days"] for _, fit in of_event]))
        for _, fit in of_event:
            fit["spread_days"] = float(np.sqrt((fit["rmse_days"] ** 2 + rms**2) / 2))
        broadleaf = [
            fit["requirement"] for taxon, fit in of_event if not taxon.startswith(NOT_BROADLEAF)
        ]
        pooled[event] = {"requirement": float(np.median(broadleaf)), "spread_days": rms}
        requirements = np.array([fit["requirement"] for _, fit in of_event])
        ranks = {
            rank: float(np.quantile(requirements, share)) for rank, share in RANK_QUANTILES.items()
        }
        pooled[event] |= {f"ranks.{rank}": value for rank, value in ranks.items()}
        if event == "bud_break":
            pooled[event] |= _place_requirements(of_event)
        if event == "leaf_full_size":
            grown = [fit["growth_degree_days"] for _, fit in of_event]
            pooled[event]["growth_degree_days"] = float(np.median(grown))
    lines.append("\n[pooled]")
    lines += [f"{event} = {_inline(pooled[event])}" for event in events]
    for taxon in sorted(fits):
        lines.append(f"\n[taxa.{taxon}]")
        lines += [
            f"{event} = {_inline(fits[taxon][event])}" for event in events if event in fits[taxon]
        ]
    return "\n".join(lines) + "\n"


def _place_requirements(of_event: list[tuple[str, dict[str, float]]]) -> dict[str, float]:
    """Of all taxa together and of every leaf-out rank."""
    every = np.array([fit["place_requirement"] for _, fit in of_event])
    broadleaf = [
        fit["place_requirement"] for taxon, fit in of_event if not taxon.startswith(NOT_BROADLEAF)
    ]
    ranks = {
        f"place_ranks.{rank}": float(np.quantile(every, share))
        for rank, share in RANK_QUANTILES.items()
    }
    return {"place_requirement": float(np.median(broadleaf)), **ranks}


def _inline(values: dict[str, float]) -> str:
    cells = [
        f"{key} = {value}" if isinstance(value, int) else f"{key} = {value:.2f}"
        for key, value in values.items()
    ]
    return "{ " + ", ".join(cells) + " }"


if __name__ == "__main__":
    main()
