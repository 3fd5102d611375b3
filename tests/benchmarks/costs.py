"""What an answer costs, each time beside a yardstick that runs in turn on the same machine.

    python tests/benchmarks/costs.py [PART ...]     commands, library, reading (all without a name)

Processor time, so that other work on the machine counts little; the median of the ratios of the
pairs. The commands are those of the environment the script runs in; install the package as a user
does (`pip install .`), for an editable install may compile every module anew.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import intake_writers as writers
from pairs import HEADER, Cost, call, compare, process

from timing.answers import outlook, site_drivers
from timing.intake.samples import open_sample
from timing.intake.temperatures import read_temperatures
from timing.species.catalogue import load_species, slugs

SAMPLE = "humid-continental"
COMMAND = str(Path(sys.executable).with_name("sapdial"))


def commands() -> None:
    """Whole commands beside the import of what they are built on."""

    def importing(module: str) -> Cost:
        return process(sys.executable, "-c", f"import {module}")

    ask = process(COMMAND, "ask", "acer-palmatum", "--work", "heavy", "--sample", SAMPLE)
    compare(
        "`sapdial --help` / `import click`", process(COMMAND, "--help"), importing("click"), "1.5"
    )
    compare("`sapdial ask` / `import numpy`", ask, importing("numpy"), "4")
    with tempfile.TemporaryDirectory() as folder:
        picture = str(Path(folder) / "calendar.png")
        chart = process(COMMAND, "calendar", "--sample", SAMPLE, "-o", picture)
        figure = importing("matplotlib.figure")
        compare("`sapdial calendar` / `import matplotlib.figure`", chart, figure, "2.5")


def library() -> None:
    """Odds of every taxon at one site."""
    sample, record = open_sample(SAMPLE)
    taxa = [load_species(slug) for slug in slugs()]

    def everything() -> None:
        drivers = site_drivers(record, sample.site)
        for species in taxa:
            outlook(species, record, drivers)

    cost = statistics.median(call(everything)() for _ in range(3))
    seasons = int(site_drivers(record, sample.site).covered.sum())
    print(
        f"| {len(taxa)} taxa × {seasons} seasons, events and windows | {cost:.2f} s | | | 1.5 s |"
    )


def reading() -> None:
    """A hundred years of daily readings in every format that is made here."""
    days = writers.invented(36525, first=writers.dt.date(1920, 1, 1))
    forms = {
        "plain": [("plain.csv", writers.own(days))],
        "semicolons, comma decimals": [("semicolons.csv", writers.semicolons(days))],
        "GHCN-Daily, a day a line": [("access.csv", writers.access(days))],
        "GHCN-Daily, a reading a line": [("long.csv", writers.long(days))],
        "GHCN-Daily, fixed width": [("fixed.dly", writers.fixed(days))],
        "DWD": [("dwd.txt", writers.dwd(days))],
        "ECA&D pair": [(f"{name}.txt", writers.ecad(days, name)) for name in ("TN", "TX")],
    }
    with tempfile.TemporaryDirectory() as folder:
        for name, files in forms.items():
            paths = [Path(folder) / file for file, _ in files]
            for path, (_, text) in zip(paths, files, strict=True):
                path.write_text(text, encoding="utf-8")
            cost = min(call(lambda paths=paths: read_temperatures(paths))() for _ in range(3))
            print(f"| 100 years: {name} | {cost:.2f} s | | | 3 s |", flush=True)


def main() -> None:
    """Print a table of all parts, or of those named."""
    parts = {"commands": commands, "library": library, "reading": reading}
    print(HEADER)
    for name in sys.argv[1:] or parts:
        parts[name]()


if __name__ == "__main__":
    main()
