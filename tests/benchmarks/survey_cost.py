"""What a survey costs: CPU seconds a site, peak memory, and whether cost grows with the sites.

    python tests/benchmarks/survey_cost.py                     10, 100 and 1,000 sites, 2 processes
    python tests/benchmarks/survey_cost.py --sites 10,100 --taxa 94 --jobs 1

The sites are invented: the bundled samples (invented too), some degrees warmer or colder and up to
half a degree of latitude to the side. Each has thirty seasons. Measured are

    read     a file read, checked and laid out by season
    chill    winter chill, counted for four sites at once
    events   every event of every taxon in every season and draw
    windows  limits of autumn and chance of each day for three kinds of work
    usual    usual dates, windows and rows of the table

for one site in one process, the least of several runs; and then whole surveys as a user starts
them, with user and system seconds of all processes and the largest resident memory of one.
"""

from __future__ import annotations

import argparse
import csv
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from timing.answers import site_drivers
from timing.drivers import Drivers, count_chill
from timing.events import SeasonEvents, season_events
from timing.intake.region_file import read_region
from timing.intake.samples import open_sample, samples
from timing.intake.temperatures import read_temperatures
from timing.limits import autumn_limits
from timing.species.catalogue import load_species, slugs
from timing.species.model import WORK_KINDS
from timing.survey_rows import rows_of_sites
from timing.windows import work_odds

SEASONS = 30
RUNS = 5


def write_sites(folder: Path, count: int) -> Path:
    """Invented sites with files of their own, thirty seasons each."""
    rng = np.random.default_rng(3)
    known = [open_sample(sample.name) for sample in samples()]
    rows: list[tuple[object, ...]] = []
    for number in range(count):
        sample, record = known[number % len(known)]
        days = int(365.25 * SEASONS) + 130  # and the autumn before the first spring
        warmth, file = rng.uniform(-2, 2), folder / f"{number}.csv"
        first = np.datetime64(
            str(int(str(record.last)[:4]) - SEASONS - (sample.site.latitude < 0)) + "-08-25"
        )
        at = max(0, int((first - record.first).astype(np.int64)))
        dates = record.first + np.arange(at, min(at + days, len(record.tmin_c)))
        low, high = (v[at : at + len(dates)] + warmth for v in (record.tmin_c, record.tmax_c))
        lines = (f"{d},{a:.1f},{b:.1f}" for d, a, b in zip(dates, low, high, strict=True))
        file.write_text("date,tmin_c,tmax_c\n" + "\n".join(lines) + "\n", encoding="utf-8")
        place = (sample.site.latitude + rng.uniform(-0.5, 0.5), sample.site.longitude)
        rows.append((f"Invented {number}", f"{place[0]:.3f}", f"{place[1]:.3f}", "", file.name))
    table = folder / "sites.csv"
    with table.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(("name", "latitude", "longitude", "elevation_m", "temperatures"))
        writer.writerows(rows)
    return table


def least(step: Callable[[], object]) -> float:
    """Least CPU milliseconds of several runs."""
    found = []
    for _ in range(RUNS):
        begun = time.process_time()
        step()
        found.append(1000 * (time.process_time() - begun))
    return min(found)


def one_site(table: Path, taxa: list[str]) -> None:
    """Print where the time of one site goes."""
    items = read_region(table)[:4]
    species = [load_species(slug) for slug in taxa]
    records = [read_temperatures(item.temperatures).record for item in items]

    def opened() -> list[Drivers]:
        return [site_drivers(r, i.site) for r, i in zip(records, items, strict=True)]

    four = opened()
    count_chill(four)
    events: list[SeasonEvents] = []

    def date() -> None:
        drivers = four[0].select(np.ones(len(four[0].years), dtype=bool))
        drivers.__dict__["chill_sum"] = four[0].chill_sum
        events[:] = [season_events(taxon, drivers) for taxon in species]

    def odds() -> None:
        for of_taxon in events:
            limits = autumn_limits(of_taxon)
            for kind in WORK_KINDS:
                work_odds(of_taxon, kind, limits=limits)

    laid_out = least(opened) / len(items)
    cost = {
        "read": least(lambda: read_temperatures(items[0].temperatures)) + laid_out,
        "chill": (least(lambda: count_chill(opened())) / len(items)) - laid_out,
        "events": least(date),
        "windows": least(odds),
    }
    whole = least(lambda: rows_of_sites(items, species, 0.9)) / len(items)
    cost["usual"] = whole - sum(cost.values())
    print(f"one site, {int(four[0].covered.sum())} seasons, {len(taxa)} taxa, CPU ms:")
    print("  " + "  ".join(f"{name} {ms:.0f}" for name, ms in cost.items()) + f"  all {whole:.0f}")
    print(f"  read, chill and events alone: {sum(list(cost.values())[:3]):.0f}")


def survey(table: Path, taxa: list[str], jobs: int) -> tuple[float, float, float, float]:
    """Wall and CPU seconds, peak resident MB of one process, and output MB of a whole survey."""
    output = table.with_name("out.csv")
    words = [sys.executable, "-m", "cli.main", "survey", str(table), "-o", str(output)]
    words += ["--jobs", str(jobs), *(w for slug in taxa for w in ("--species", slug))]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.monotonic()
    subprocess.run(words, check=True, capture_output=True, cwd=Path(__file__).parents[2])
    wall = time.monotonic() - begun
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, cpu, after.ru_maxrss / 1024, output.stat().st_size / 1e6


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--sites", default="10,100,1000")
    parser.add_argument("--taxa", type=int, default=60)
    parser.add_argument("--jobs", type=int, default=2)
    chosen = parser.parse_args()
    taxa = list(slugs()[: chosen.taxa])
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before the start")
    folder = Path(tempfile.mkdtemp(prefix="survey-cost-"))
    try:
        for number, count in enumerate(int(n) for n in chosen.sites.split(",")):
            inside = folder / str(count)
            inside.mkdir()
            table = write_sites(inside, count)
            if number == 0:
                one_site(table, taxa)
                print(f"whole surveys, {len(taxa)} taxa, {chosen.jobs} processes:")
                print("  sites   wall s    CPU s   CPU s a site   peak MB of one process   out MB")
            wall, cpu, peak, size = survey(table, taxa, chosen.jobs)
            print(
                f"  {count:5d} {wall:8.1f} {cpu:8.1f} {cpu / count:14.3f} {peak:24.0f} {size:8.1f}"
            )
            shutil.rmtree(inside)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
