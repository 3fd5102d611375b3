"""``sapdial calendar``: a year's calendar of safe days."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.bench import open_bench, tuned_taxa
from cli.options import (
    chosen_hazards,
    chosen_species,
    confidence_option,
    hazards_option,
    observations_option,
    temperature_options,
)
from cli.region import print_region, region_option

if TYPE_CHECKING:
    from timing.charts.booklet_sheet import PaperName

SUFFIXES = (".png", ".svg", ".txt", ".json", ".pdf")


@click.command("calendar")
@click.argument("species", nargs=-1)
@click.option(
    "--year",
    type=click.IntRange(1800, 2200),
    help="Calendar year to print [default: the year of today].",
)
@click.option(
    "-o",
    "--output",
    "path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write here; the ending chooses the form: .png .svg .txt .json, or .pdf for a "
    "booklet to print [default: text to the terminal].",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="Paper of a .pdf [default: a4].",
)
@hazards_option
@region_option
@temperature_options
@observations_option
@confidence_option
def command(
    species: tuple[str, ...],
    *,
    year: int | None,
    path: Path | None,
    paper: PaperName | None,
    hazards: tuple[str, ...],
    region: str | None,
    observations: Path | None,
    confidence: float,
    **where: Any,
) -> None:
    """Print a year's calendar of safe days as a chart, a booklet, text or JSON.

    Without SPECIES, eight common taxa.
    """
    from timing.answers import COMMON_TAXA
    from timing.calendar import year_calendar
    from timing.errors import UsageError
    from timing.export.as_json import calendar_json
    from timing.export.calendar_text import calendar_strip
    from timing.export.files import write_text
    from timing.season import year_of

    if paper is not None and (path is None or path.suffix.lower() != ".pdf" or region):
        raise UsageError("--paper goes with -o FILE.pdf of a single site")
    if region is not None:
        taxa = chosen_species(species or COMMON_TAXA)
        print_region(
            region,
            taxa,
            year=year,
            path=path,
            hazards=chosen_hazards(hazards, taxa),
            observations=observations,
            confidence=confidence,
            **where,
        )
        return
    if path is not None and path.suffix.lower() not in SUFFIXES:
        raise UsageError(f"-o {path}: the name must end in one of {', '.join(SUFFIXES)}")
    taxa = chosen_species(species or COMMON_TAXA)
    occurring = chosen_hazards(hazards, taxa)
    bench = open_bench(**where)
    known = tuned_taxa(taxa, observations, bench)
    views = known.outlooks(hazards=occurring)
    calendar = year_calendar(
        views, year or year_of(bench.on), confidence=confidence, today=bench.on
    )
    if path is None:
        click.echo(calendar_strip(calendar), nl=False)
        return
    suffix = path.suffix.lower()
    if suffix == ".txt":
        write_text(path, calendar_strip(calendar))
    elif suffix == ".json":
        write_text(path, json.dumps(calendar_json(calendar), indent=1, ensure_ascii=False) + "\n")
    elif suffix == ".pdf":
        from timing.charts.booklet import save_booklet

        save_booklet(calendar, path, paper or "a4")
    else:
        from timing.charts.calendar_chart import save_calendar

        save_calendar(calendar, path)
    click.echo(f"{path}: {calendar.year}, {len(taxa)} taxa, {bench.site.name}")
