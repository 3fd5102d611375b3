"""Write docs/validation.md and its pictures from observed trees.

    python tests/write_validation.py

Needs the reference data (see tests/reference.py); takes some five minutes.
"""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass, replace
from pathlib import Path

import held_back_windows
import hindcast
import numpy as np
from gap_trial import gap_rows
from matplotlib.figure import Figure
from numpy.typing import NDArray

from timing.assessment import HeldBack, held_back_dates
from timing.drivers import Drivers, build_drivers
from timing.events import season_events
from timing.intake.daily_csv import read_daily_csv
from timing.intake.observations import Observation
from timing.placing import placed
from timing.site import Site
from timing.species.catalogue import load_species
from timing.temperature import record_from_readings
from timing.tuning import nominal_dates, tune
from timing.windows import wilson_range
from timing.wording import day_text

ROOT = Path(__file__).parent.parent
REFERENCE = Path(os.environ.get("SAPDIAL_REFERENCE", ROOT.parent / "shared" / "reference"))
TEMPLATE = Path(__file__).with_name("validation_template.md")
EVENTS = ("bud_break", "full_bloom", "leaf_full_size", "leaf_colour", "leaf_fall")
NAMES = {
    "bud_break": "bud break",
    "full_bloom": "full bloom",
    "leaf_full_size": "leaf full size",
    "leaf_colour": "leaf colour",
    "leaf_fall": "leaf fall",
}
FORESEEN = (
    ("basel_1931_2026", Site("Basel", 47.541, 7.583, 316)),
    ("seattle_1948_2017", Site("Seattle", 47.444, -122.314, 113)),
    ("washington_dc_1941_2026", Site("Washington", 38.848, -77.034, 4)),
    ("harvard_forest_1964_2020", Site("Harvard Forest", 42.53, -72.19, 340)),
)
FEW_DATES = (0, 1, 2, 3, 5)
DRAWN = 6  # draws of those dates from a series
FEW_AND_MANY = (3, 5, 9, 10, 15, 30)  # seasons on record
WORKED = (
    *("acer-palmatum", "ulmus-parvifolia", "fagus-crenata", "juniperus-chinensis", "pinus-mugo"),
    *("buxus-sempervirens", "prunus-serrulata", "malus-halliana"),
)
OTHER_SOURCES = (
    "- Temperatures of Basel: GHCN-Daily SZ000001940 (MeteoSwiss, CC BY 4.0); of Seattle: NOAA, "
    "Sea-Tac airport; of Boston: GHCN-Daily USW00014739; "
    "of Hubbard Brook: USDA Forest Service, EDI knb-lter-hbr.59"
)
CARRIED = ("fagus-sylvatica", "acer-palmatum", "betula-pendula", "quercus-robur")
PLACES = (
    ("harvard_forest_1964_2020", Site("Harvard Forest", 42.53, -72.19, 340)),
    ("boston_1951_2025", Site("Boston", 42.361, -71.01, 4)),
    ("washington_dc_1941_2026", Site("Washington", 38.848, -77.034, 4)),
    ("kyoto_1950_1989", Site("Kyoto", 35.017, 135.733, 46)),
    ("basel_1931_2026", Site("Basel", 47.541, 7.583, 316)),
    ("seattle_1948_2017", Site("Seattle", 47.444, -122.314, 113)),
)
UNSEEN = (1995, 1997)  # springs at Harvard Forest with 25 and 34 days missing
UNSEEN_FILLED_FROM = "boston_1951_2025"
SPLITS = (1965, 1970, 1975, 1980, 1985)
INK, PAPER = "#26323a", "#fdfcf7"


@dataclass(frozen=True)
class Case:
    """One series of observations with its temperatures and its sources."""

    name: str
    temperatures: str
    phenology: str
    site: Site
    source: str


CASES = (
    Case(
        "Harvard Forest, 33 taxa, 1990-2004",
        "harvard_forest_1964_2020",
        "harvard_forest_1990_2004",
        Site("Harvard Forest", 42.53, -72.19, 340),
        "O'Keefe, HF003, CC BY; stations HF000 and HF001",
    ),
    Case(
        "Washington cherry, 1942-2000",
        "washington_dc_1941_2026",
        "washington_dc_cherry_to_2000",
        Site("Washington", 38.848, -77.034, 4),
        "US National Park Service; GHCN-Daily USW00013743",
    ),
    Case(
        "Kyoto cherry, 1952-1975",
        "kyoto_1950_1989",
        "kyoto_cherry_to_1975",
        Site("Kyoto", 35.017, 135.733, 46),
        "Aono & Kazui 2008; GHCN-Daily JA000047759",
    ),
)


def load(case: Case) -> tuple[Drivers, list[Observation]]:
    """Seasons of the site and the observations that can be dated."""
    record = read_daily_csv(REFERENCE / "temperatures" / f"{case.temperatures}.csv")
    drivers = build_drivers(record, case.site)
    with (REFERENCE / "phenology" / f"{case.phenology}.csv").open(encoding="utf-8") as lines:
        observed = [
            Observation(row["species"], row["event"], np.datetime64(row["date"]), line)
            for line, row in enumerate(csv.DictReader(lines), start=2)
            if row["event"] in EVENTS and row["date"]
        ]
    return drivers.select(drivers.spring_covered), observed


def rms(values: list[float]) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


def rows_of(case: Case, held: list[HeldBack]) -> list[str]:
    """Table rows of one case: pooled by event, taxa with ten seasons or more apart for leaves."""
    lines = []
    for event in EVENTS:
        items = [item for item in held if item.event == event]
        if event == "leaf_full_size":
            many = {i.species for i in items if sum(j.species == i.species for j in items) >= 10}
            items = [item for item in items if item.species in many]
        if not items:
            continue
        errors = [item.predicted - item.observed for item in items]
        mean = [item.mean_date - item.observed for item in items]
        inside = float(np.mean([item.early <= item.observed <= item.late for item in items]))
        lines.append(
            f"| {case.name} | {NAMES[event]} | {len({i.species for i in items})} | {len(items)} | "
            f"{rms(errors):.2f} | {rms(mean):.2f} | {np.mean(errors):+.1f} | {inside:.0%} |"
        )
    return lines


def split_score(drivers: Drivers, observed: list[Observation], last: int) -> tuple[float, float]:
    """Error and bias of the dates after a year, tuned to those up to it."""
    early = [item for item in observed if int(str(item.date)[:4]) <= last]
    late = [item for item in observed if int(str(item.date)[:4]) > last]
    slug = observed[0].species
    tuned = tune(drivers, [load_species(slug)], early).species[slug]
    dates = season_events(tuned, drivers).quantiles("full_bloom", (0.5,))[0]
    errors = []
    for item in late:
        row = int(np.searchsorted(drivers.years, int(str(item.date)[:4])))
        errors.append(float(dates[row] - (item.date - drivers.starts[row]).astype(int)))
    return rms(errors), float(np.mean(errors))


def singles_outside(held: list[HeldBack]) -> tuple[int, int]:
    """Series whose 95% interval of the share inside does not hold 80%, and series in all."""
    series: dict[tuple[str, str], list[HeldBack]] = {}
    for item in held:
        series.setdefault((item.species, item.event), []).append(item)
    outside = 0
    for items in series.values():
        share = float(np.mean([item.early <= item.observed <= item.late for item in items]))
        low, high = wilson_range(share, len(items))
        outside += not low <= 0.8 <= high
    return outside, len(series)


def unseen_rows(case: Case, observed: list[Observation]) -> list[str]:
    """Rows of the springs too full of gaps to be used, their gaps filled from a neighbour.

    No choice of ours has seen them: neither clocks nor requirements nor scores. Taxa are tuned to
    all other springs.
    """
    folder = REFERENCE / "temperatures"
    own = read_daily_csv(folder / f"{case.temperatures}.csv")
    record = record_from_readings(
        own.first + np.arange(len(own.tmin_c)),
        own.raw_tmin_c,
        own.raw_tmax_c,
        source=own.source,
        neighbour=read_daily_csv(folder / f"{UNSEEN_FILLED_FROM}.csv"),
    )
    drivers = build_drivers(record, case.site)
    drivers = drivers.select(drivers.spring_covered)
    others = [item for item in observed if item.date.item().year not in UNSEEN]
    taxa = [load_species(slug) for slug in dict.fromkeys(item.species for item in observed)]
    tuned = tune(drivers, taxa, others).species
    dates = {slug: season_events(taxon, drivers) for slug, taxon in tuned.items()}
    lines = []
    for event in EVENTS:
        for year in UNSEEN:
            row = int(np.searchsorted(drivers.years, year))
            errors, mean_errors, inside = [], [], []
            for item in observed:
                if item.event != event or item.date.item().year != year:
                    continue
                same = [o for o in others if (o.species, o.event) == (item.species, event)]
                if len(same) < 2 or event not in dates[item.species].days:
                    continue
                early, middle, late = dates[item.species].quantiles(event)[:, row]
                seen = float(offsets(drivers, [item])[0])
                errors.append(float(middle) - seen)
                mean_errors.append(float(offsets(drivers, same).mean()) - seen)
                inside.append(early <= seen <= late)
            if errors:
                lines.append(
                    f"| {year} | {NAMES[event]} | {len(errors)} | {rms(errors):.1f} | "
                    f"{rms(mean_errors):.1f} | {np.mean(errors):+.1f} | {np.mean(inside):.0%} |"
                )
    return lines


def place_rows() -> tuple[list[str], list[str]]:
    """Names of the sites, and rows of usual bud break by the clock alone and as it is told."""
    sites, rows = [], {slug: [load_species(slug).common_name] for slug in CARRIED}
    for temperatures, site in PLACES:
        record = read_daily_csv(REFERENCE / "temperatures" / f"{temperatures}.csv")
        drivers = build_drivers(record, site)
        drivers = drivers.select(np.flatnonzero(drivers.spring_covered & drivers.wintry)[-30:])
        sites.append(site.name)
        for slug, cells in rows.items():
            shipped = load_species(slug)
            days = [
                np.median(nominal_dates(drivers, taxon, taxon.events["bud_break"]))
                for taxon in (shipped, placed(shipped, drivers))
            ]
            alone, told = (day_text(np.datetime64("2022-09-01") + int(day)) for day in days)
            cells.append(f"{alone}, {told}")
    return sites, [f"| {' | '.join(cells)} |" for cells in rows.values()]


def few_dates(drivers: Drivers, observed: list[Observation]) -> list[str]:
    """Rows of the table of taxa tuned to a few dates of bud break.

    Each taxon is taken for one nobody measured: the requirement of the middle of all taxa and the
    spread of a bare rank. The dates are drawn at random, six times a taxon; every row is scored on
    the seasons in which none of a draw's five dates lies.
    """
    usable = {int(year): row for row, year in enumerate(drivers.years)}
    series: dict[str, list[Observation]] = {}
    for item in observed:
        if item.event == "bud_break" and int(str(item.date)[:4]) in usable:
            series.setdefault(item.species, []).append(item)
    errors: dict[int, list[float]] = {count: [] for count in FEW_DATES}
    mean_errors: dict[int, list[float]] = {count: [] for count in FEW_DATES}
    inside: dict[int, list[bool]] = {count: [] for count in FEW_DATES}
    by_taxon: dict[int, list[float]] = {count: [] for count in FEW_DATES}
    shipped = load_species("ulmus-parvifolia").events["bud_break"]  # placed by rank alone
    rng = np.random.default_rng(1)
    for slug, items in series.items():
        taxon = load_species(slug)
        stranger = replace(taxon, events={**taxon.events, "bud_break": shipped})
        stranger = placed(stranger, drivers)
        own: dict[int, list[float]] = {count: [] for count in FEW_DATES}
        for _ in range(DRAWN):
            drawn = [items[at] for at in rng.permutation(len(items))]
            held = drawn[max(FEW_DATES) :]
            rows = [usable[int(str(item.date)[:4])] for item in held]
            seen = offsets(drivers, held)
            for count in FEW_DATES:
                known = stranger
                if count:
                    known = tune(drivers, [stranger], drawn[:count]).species[slug]
                    mean_errors[count] += list(np.mean(offsets(drivers, drawn[:count])) - seen)
                dates = nominal_dates(drivers, known, known.events["bud_break"])[rows]
                own[count] += [float(error) for error in dates - seen]
                early, _, late = season_events(known, drivers).quantiles("bud_break")[:, rows]
                inside[count] += [bool(hit) for hit in (early <= seen) & (seen <= late)]
        for count, found in own.items():
            errors[count] += found
            by_taxon[count].append(rms(found))
    lines = []
    for count in FEW_DATES:
        worse = sum(a > b for a, b in zip(by_taxon[count], by_taxon[0], strict=True))
        mean = f"{rms(mean_errors[count]):.1f}" if count else ""
        lines.append(
            f"| {count} | {rms(errors[count]):.1f} | {mean} | {worse} of {len(series)} | "
            f"{np.mean(inside[count]):.0%} |"
        )
    return lines


def window_rows() -> list[str]:
    """Rows of the table of chances told and come true, four sites together."""
    taxa = [load_species(slug) for slug in WORKED]
    before: dict[int, list[held_back_windows.Foretold]] = {count: [] for count in FEW_AND_MANY}
    so_far: list[held_back_windows.Foretold] = []
    for temperatures, site in FORESEEN:
        record = read_daily_csv(REFERENCE / "temperatures" / f"{temperatures}.csv")
        drivers = build_drivers(record, site)
        covered = drivers.select(drivers.covered)
        for count in before:
            before[count] += held_back_windows.from_seasons_before(covered, taxa, count, step=2)
        years = [int(year) for year in covered.years[31:-1:6]]
        so_far += held_back_windows.from_the_season_so_far(record, site, taxa, years)
    rows = []
    for count, found in before.items():
        rows.append(held_back_windows.table_row(f"{count} seasons", found, less=True))
    return [*rows, held_back_windows.table_row("the season so far, 31 or more before it", so_far)]


def offsets(drivers: Drivers, items: list[Observation]) -> NDArray[np.float64]:
    """Days since the start of the season of each date."""
    years = [int(str(item.date)[:4]) for item in items]
    starts = drivers.starts[np.searchsorted(drivers.years, years)]
    days: NDArray[np.float64] = (np.array([i.date for i in items]) - starts).astype(float)
    return days


def sap_rows() -> list[str]:
    """Rows of the table of sap peaks at the Whately sugarbush."""
    record = read_daily_csv(REFERENCE / "temperatures" / "whately_2012_2016.csv")
    drivers = build_drivers(record, Site("Whately", 42.449, -72.681, 251))
    early, middle, late = season_events(load_species("acer-saccharum"), drivers).quantiles(
        "sap_peak"
    )
    with (REFERENCE / "sap" / "whately_sugarbush_2013_2014.csv").open(encoding="utf-8") as lines:
        runs = [(row["date"], row["sap_litres"]) for row in csv.DictReader(lines)]
    rows = []
    for year in (2013, 2014):
        season = [(day, float(litres)) for day, litres in runs if day[:4] == str(year) and litres]
        total = np.cumsum([litres for _, litres in season])
        half = np.datetime64(season[int(np.argmax(total >= total[-1] / 2))][0], "D")
        row = int(np.searchsorted(drivers.years, year))
        said = [drivers.starts[row] + round(float(day[row])) for day in (middle, early, late)]
        apart = int((said[0] - half).astype(int))
        rows.append(f"| {year} | {half} | {said[0]} | {said[1]} to {said[2]} | {apart:+d} |")
    return rows


def weather_tables() -> tuple[list[hindcast.Case], list[str]]:
    """Running seasons against the whole record, and rows of the table of missing days."""
    taxa = [load_species(slug) for slug in ("acer-palmatum", "prunus-yedoensis")]
    cases, gaps = [], []
    for temperatures, site in FORESEEN:
        record = read_daily_csv(REFERENCE / "temperatures" / f"{temperatures}.csv")
        drivers = build_drivers(record, site)
        drivers = drivers.select(drivers.spring_covered)
        cases += hindcast.weather_cases(site.name, drivers, taxa)
        gaps += gap_rows(site.name, drivers.select(drivers.covered), taxa)
    return cases, gaps


def draw(held: list[HeldBack], drivers: Drivers, path: Path) -> None:
    """Observed against predicted; errors by year and by spring temperature; inside by event."""
    figure = Figure(figsize=(9, 7.4), facecolor=PAPER, layout="constrained")
    axes = figure.subplots(2, 2)
    bud = [item for item in held if item.event == "bud_break"]
    for axis in axes.flat:
        axis.set_facecolor(PAPER)
        axis.spines[["top", "right"]].set_visible(False)
    scatter, years, warmth, shares = axes.flat
    scatter.plot([210, 290], [210, 290], color="#999999", linewidth=1)
    scatter.plot([i.predicted for i in bud], [i.observed for i in bud], ".", color=INK, alpha=0.5)
    scatter.set(
        title="Bud break, held-back seasons",
        xlabel="predicted, days since 1 September",
        ylabel="observed",
    )
    seasons = sorted({item.season for item in bud})
    errors = [[i.predicted - i.observed for i in bud if i.season == s] for s in seasons]
    years.boxplot(errors, positions=seasons, widths=0.6, medianprops={"color": INK})
    years.axhline(0, color="#999999", linewidth=1)
    years.set(title="Error by year", ylabel="predicted minus observed, days")
    years.set_xticks(seasons[::3], [str(season) for season in seasons[::3]])
    row = {int(year): number for number, year in enumerate(drivers.years)}
    spring = drivers.tmean_c[:, 181:242].mean(axis=1)  # March and April
    warmth.plot(
        [spring[row[i.season]] for i in bud],
        [i.predicted - i.observed for i in bud],
        ".",
        color=INK,
        alpha=0.5,
    )
    warmth.axhline(0, color="#999999", linewidth=1)
    warmth.set(
        title="Error by warmth of spring",
        xlabel="mean of March and April, °C",
        ylabel="predicted minus observed, days",
    )
    present = [event for event in EVENTS if any(item.event == event for item in held)]
    inside = [
        np.mean([i.early <= i.observed <= i.late for i in held if i.event == event])
        for event in present
    ]
    shares.barh([NAMES[event] for event in present], inside, color="#7d8f87", hatch="//")
    shares.axvline(0.8, color=INK, linestyle="--")
    shares.set(title="Share inside the 80% range", xlim=(0, 1))
    figure.savefig(path, dpi=110, metadata={"Software": None})


def main() -> None:
    """Score every case and write the page."""
    table, splits, singles, few, seen, unseen = [], [], "", [], [], []
    for case in CASES:
        drivers, observed = load(case)
        taxa = [load_species(slug) for slug in dict.fromkeys(item.species for item in observed)]
        held = held_back_dates(drivers, taxa, observed)
        table += rows_of(case, held)
        main_event = "bud_break" if case is CASES[0] else "full_bloom"
        dates = [item for item in observed if item.event == main_event]
        seen += hindcast.observed_rows(case.site.name, drivers, taxa, dates)
        if case is CASES[0]:
            draw(held, drivers, ROOT / "docs" / "validation.png")
            outside, series = singles_outside(held)
            pooled = np.mean([item.early <= item.observed <= item.late for item in held])
            singles = (
                f"Pooled over all Harvard lines {pooled:.0%} of the held-back dates lie inside. "
                f"For {outside} of {series} single series the 95% interval of the share (Wilson, "
                "seasons as the unit) does not hold 80%."
            )
            few = few_dates(drivers, observed)
            unseen = unseen_rows(case, observed)
        if case is CASES[1]:
            for last in SPLITS:
                error, bias = split_score(drivers, observed, last)
                splits.append(f"| {last} | {last + 1}-2000 | {error:.2f} | {bias:+.1f} |")
    weather, gaps = weather_tables()
    sites, carried = place_rows()
    short, reached = hindcast.reached_rows(weather)
    text = TEMPLATE.read_text(encoding="utf-8").format(
        table="\n".join(table),
        sources="\n".join([*(f"- {case.name}: {case.source}" for case in CASES), OTHER_SOURCES]),
        splits="\n".join(splits),
        singles=singles,
        few="\n".join(few),
        unseen="\n".join(unseen),
        places=" | ".join(sites),
        rules="|".join("---" for _ in sites),
        placed="\n".join(carried),
        windows="\n".join(window_rows()),
        sap="\n".join(sap_rows()),
        seen="\n".join(seen),
        weather="\n".join(case.row() for case in weather),
        reached=reached,
        short="\n".join(short),
        gaps="\n".join(gaps),
    )
    (ROOT / "docs" / "validation.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
