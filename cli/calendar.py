"""``sapdial calendar``: a year's calendar of safe days."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.bench import Bench, open_bench, own_taxa, tuned_taxa
from cli.calendar_forms import SUFFIXES, Forms
from cli.numbers import Whole
from cli.options import (
    chosen_hazards,
    chosen_species,
    confidence_option,
    format_option,
    hazards_option,
    observations_option,
    temperature_options,
)
from cli.output import echo_json, output_option, spare_inputs, suffix_of
from cli.region import open_region, region_option

if TYPE_CHECKING:
    from timing.charts.booklet_sheet import PaperName
    from timing.species.model import Condition

IN_ENGLISH = {".json", ".csv"}
FORMATS = {"text": ".txt", "json": ".json", "csv": ".csv"}


@click.command("calendar")
@click.argument("species", nargs=-1)
@click.option(
    "--year",
    type=Whole(1800, 2200),
    metavar="YEAR",
    help="Calendar year to print [default: the year of today].",
)
@output_option(
    ".png .svg .txt .json, .html for a page, .csv for a table, .ics for calendar programs, .pdf "
    "for a booklet to print",
    several=True,
)
@click.option(
    "--condition",
    type=click.Choice(["vigorous", "established"]),
    default="established",
    show_default=True,
    help="How strong the trees are; a weak tree gets no heavy cuts, so none is drawn up for it.",
)
@click.option(
    "--language",
    "language_code",
    type=click.Choice(["en", "de", "es"]),
    help="Language of all forms but .json and .csv; names of taxa and rules stay English "
    "[default: en].",
)
@click.option(
    "--alarm-days",
    type=Whole(0, 365),
    metavar="N",
    help="Remind so many days before a window closes (-o FILE.ics).",
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
@format_option("text", "json", "csv")
def command(
    species: tuple[str, ...],
    *,
    year: int | None,
    paths: tuple[Path, ...],
    condition: Condition,
    language_code: str | None,
    alarm_days: int | None,
    paper: PaperName | None,
    hazards: tuple[str, ...],
    region: str | None,
    observations: Path | None,
    confidence: float,
    output: str,
    **where: Any,
) -> None:
    """Print a year's calendar of safe days as a chart, a page, a booklet, text or data.

    Without SPECIES, those of your trees at the site; where there are none, eight common taxa.
    """
    from timing.answers import COMMON_TAXA
    from timing.calendar import YearCalendar, year_calendar
    from timing.errors import UsageError
    from timing.language import language
    from timing.season import year_of

    suffixes = {suffix_of(path, SUFFIXES, output) for path in paths} or {FORMATS[output]}
    if language_code is not None and suffixes <= IN_ENGLISH:
        raise UsageError("--language goes with all forms but .json and .csv")
    if alarm_days is not None and ".ics" not in suffixes:
        raise UsageError("--alarm-days goes with -o FILE.ics")
    if paper is not None and ".pdf" not in suffixes:
        raise UsageError("--paper goes with -o FILE.pdf")
    if region is not None and observations is not None:
        raise UsageError(
            "--observations belong to one site; with --region dates count that the notebook "
            "holds for its sites"
        )
    spare_inputs(paths, where["temperatures"], where["notebook"], observations)
    sites = None if region is None else open_region(region, **where)
    if sites is not None:
        spare_inputs(paths, sites.files)
    benches = sites.benches if sites else (open_bench(**where),)
    taxa = chosen_species(species or own_taxa(benches) or COMMON_TAXA)
    named = chosen_hazards(hazards, taxa)

    def drawn_up(bench: Bench) -> YearCalendar:
        noted = chosen_hazards((), taxa, bench.site.hazards)
        occurring = {hazard.name: hazard for hazard in (*named, *noted)}
        return year_calendar(
            tuned_taxa(taxa, observations, bench).outlooks(
                condition=condition, hazards=tuple(occurring.values())
            ),
            year or year_of(bench.on),
            confidence=confidence,
            today=bench.on,
            language=language(language_code or "en"),
            condition=condition,
        )

    calendars = [drawn_up(bench) for bench in benches]
    if sites is None:
        found = Forms(calendars[0])
    else:
        from timing.region import region_calendar
        from timing.region_year import shared_year

        whole = region_calendar(sites.name, calendars, on=sites.on, left_out=sites.left_out)
        found = Forms(shared_year(whole), whole)
    if not paths:
        if output == "json":
            echo_json(found.data())
        else:
            click.echo(found.printed(FORMATS[output]), nl=False)
        return
    found.save(paths, paper or "a4", alarm_days)
    for path in paths:
        click.echo(f"{path}: {found.summary_of(path)}")
