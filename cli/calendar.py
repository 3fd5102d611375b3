"""``sapdial calendar``: a year's calendar of safe days."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.bench import open_bench, tuned_taxa
from cli.notebook_options import now
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
    from timing.calendar import YearCalendar
    from timing.charts.booklet_sheet import PaperName

SUFFIXES = (".png", ".svg", ".txt", ".json", ".pdf", ".html", ".csv", ".ics")
IN_ENGLISH = (".json", ".csv", ".pdf")


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
    help="Write here; the ending chooses the form: .png .svg .txt .json, .html for a page, .csv "
    "for a table, .ics for calendar programs, or .pdf for a booklet to print [default: text to "
    "the terminal].",
)
@click.option(
    "--language",
    "language_code",
    type=click.Choice(["en", "de", "es"]),
    help="Language of text, .png, .svg, .html and .ics; names of taxa and rules stay English "
    "[default: en].",
)
@click.option(
    "--alarm-days",
    type=click.IntRange(0, 365),
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
def command(
    species: tuple[str, ...],
    *,
    year: int | None,
    path: Path | None,
    language_code: str | None,
    alarm_days: int | None,
    paper: PaperName | None,
    hazards: tuple[str, ...],
    region: str | None,
    observations: Path | None,
    confidence: float,
    **where: Any,
) -> None:
    """Print a year's calendar of safe days as a chart, a page, a booklet, text or data.

    Without SPECIES, eight common taxa.
    """
    from timing.answers import COMMON_TAXA
    from timing.calendar import year_calendar
    from timing.errors import UsageError
    from timing.export.calendar_text import calendar_strip
    from timing.language import language
    from timing.season import year_of

    suffix = "" if path is None else path.suffix.lower()
    if language_code is not None and (suffix in IN_ENGLISH or region):
        raise UsageError("--language goes with text, .png, .svg, .html and .ics of a single site")
    if alarm_days is not None and (suffix != ".ics" or region):
        raise UsageError("--alarm-days goes with -o FILE.ics of a single site")
    if paper is not None and (suffix != ".pdf" or region):
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
    if path is not None and suffix not in SUFFIXES:
        raise UsageError(f"-o {path}: the name must end in one of {', '.join(SUFFIXES)}")
    taxa = chosen_species(species or COMMON_TAXA)
    bench = open_bench(**where)
    occurring = chosen_hazards(hazards, taxa, bench.site.hazards)
    known = tuned_taxa(taxa, observations, bench)
    views = known.outlooks(hazards=occurring)
    calendar = year_calendar(
        views,
        year or year_of(bench.on),
        confidence=confidence,
        today=bench.on,
        language=language(language_code or "en"),
    )
    if path is None:
        click.echo(calendar_strip(calendar), nl=False)
        return
    _save(calendar, path, paper or "a4", alarm_days)
    click.echo(f"{path}: {calendar.year}, {len(taxa)} taxa, {bench.site.name}")


def _save(calendar: YearCalendar, path: Path, paper: PaperName, alarm_days: int | None) -> None:
    """Write the form that the ending of the path names."""
    suffix = path.suffix.lower()
    if suffix == ".pdf":
        from timing.charts.booklet import save_booklet

        save_booklet(calendar, path, paper)
    elif suffix in (".png", ".svg"):
        from timing.charts.calendar_chart import save_calendar

        save_calendar(calendar, path)
    elif suffix == ".ics":
        from timing.export.calendar_files import calendar_entries
        from timing.export.icalendar_file import save_icalendar

        entries = calendar_entries(calendar, alarm_days)
        title = calendar.language.text("calendar.title", year=calendar.year)
        save_icalendar(entries, path, title=title, stamp=now().astimezone())
    else:
        from timing.export.files import write_text

        write_text(path, _text(calendar, suffix))


def _text(calendar: YearCalendar, suffix: str) -> str:
    """The calendar in a form that is text."""
    if suffix == ".html":
        from timing.export.calendar_html import calendar_html

        return calendar_html(calendar)
    if suffix == ".csv":
        from timing.export.calendar_files import calendar_csv

        return calendar_csv(calendar)
    if suffix == ".json":
        from timing.export.as_json import calendar_json

        return json.dumps(calendar_json(calendar), indent=1, ensure_ascii=False) + "\n"
    from timing.export.calendar_text import calendar_strip

    return calendar_strip(calendar)
