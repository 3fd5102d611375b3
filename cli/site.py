"""``sapdial site``: the places in the notebook."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import click

from cli.notebook_options import (
    notebook_option,
    now,
    open_for_list,
    open_notebook,
    remove_when_sure,
    tell_empty,
    yes_option,
)
from cli.numbers import Decimal
from cli.options import format_option, latitude_option, longitude_option
from cli.output import echo_json
from cli.site_check import check
from cli.station import corrected, downloaded, station_options, update
from cli.temperature_options import (
    TemperatureFiles,
    change_station_option,
    fill_option,
    neighbour_of,
    temperature_file_options,
)

if TYPE_CHECKING:
    from timing.notebook.model import NotebookSite
    from timing.notebook.readings import Kind, Readings, Span
    from timing.notebook.store import Notebook

elevation_option = click.option(
    "--elevation", "elevation_m", type=Decimal(), metavar="M", help="Metres above sea level."
)
tags_option = click.option(
    "--tag", "tags", multiple=True, metavar="TAG", help="A word to pick sites by; again for more."
)
site_hazards_option = click.option(
    "--hazard",
    "hazards",
    multiple=True,
    metavar="NAME",
    help="A disease or pest that occurs there, such as oak-wilt; again for more. Every answer for "
    "the site obeys its closed season; 'sapdial species hazards' lists them.",
)
attribution_option = click.option(
    "--attribution", metavar="TEXT", help="Whom to name for the temperatures."
)
licence_option = click.option(
    "--licence", metavar="TEXT", help="The terms on which they may be used."
)


@click.group("site")
def command() -> None:
    """Keep the places where your trees stand, with their temperatures."""


command.add_command(update)
command.add_command(check)


@command.command("add")
@click.argument("name")
@latitude_option
@longitude_option
@elevation_option
@tags_option
@site_hazards_option
@temperature_file_options
@station_options
@fill_option
@attribution_option
@licence_option
@notebook_option
def add(
    name: str,
    *,
    latitude: float | None,
    longitude: float | None,
    elevation_m: float | None,
    tags: tuple[str, ...],
    hazards: tuple[str, ...],
    temperatures: TemperatureFiles | None,
    download: bool,
    since: int | None,
    station: str | None,
    fill_from: Path | None,
    attribution: str | None,
    licence: str | None,
    notebook: Path | None,
) -> None:
    """Add a site with its temperatures, of a file or of a weather station."""
    from timing.errors import UsageError
    from timing.notebook.model import NotebookSite
    from timing.notebook.readings import Readings

    if latitude is None or longitude is None or (temperatures is None) is not download:
        raise UsageError(
            "a site needs --latitude and --longitude in degrees, and either --temperatures FILE "
            "or --download"
        )
    if not download and since is not None:
        raise UsageError("--since goes with --download only")
    site = NotebookSite(
        name=name,
        latitude=latitude,
        longitude=longitude,
        elevation_m=elevation_m,
        tags=_tags(tags),
        hazards=_tags(hazards),
        source=temperatures.names if temperatures else "",
        attribution=attribution or "",
        licence=licence or "",
    )
    beside: dict[Kind, Readings | None] = {}
    if temperatures is None:
        site, readings, beside["forecast"] = downloaded(site, since, station, notebook)
    else:
        found = temperatures.read(station)
        readings = Readings.of(found.record)
        site = replace(
            site,
            attribution=site.attribution or found.origin.attribution,
            licence=site.licence or found.origin.licence,
            notes=found.notes,
        )
    if fill_from is not None:
        site, beside["neighbour"] = neighbour_of(site, readings, fill_from)
    with open_notebook(notebook, create=True) as book:
        made = book.add_site(site, readings, when=now(), beside=beside)
        click.echo(f"{made.what}\nnotebook: {book.path}")


@command.command("list")
@click.option("--tag", metavar="TAG", help="Only sites that bear this tag.")
@notebook_option
@format_option("text", "json")
def list_(tag: str | None, notebook: Path | None, output: str) -> None:
    """List every site."""
    with open_for_list(notebook) as book:
        entries = [_entry(book, site) for site in book.sites(tag=tag)] if book else []
    if entries or output == "json":
        _show(entries, output)
    elif tag is None:
        tell_empty(
            "site",
            "sapdial site add NAME --latitude DEG --longitude DEG --elevation M --download\n"
            "or, with a daily file of your own, --temperatures FILE in the place of --download",
        )
    else:
        click.echo(f"No site bears the tag {tag}.")


@command.command("show")
@click.argument("name")
@notebook_option
@format_option("text", "json")
def show(name: str, notebook: Path | None, output: str) -> None:
    """Show one site."""
    with open_notebook(notebook) as book:
        entry = _entry(book, book.site(name))
    _show([entry], output)


@command.command("change")
@click.argument("name")
@click.option("--rename", metavar="NAME", help="Call it so from now on.")
@click.option(
    "--correction",
    type=Decimal(),
    metavar="DEG",
    help="Add so many °C to what its weather station measured; 0 for none.",
)
@latitude_option
@longitude_option
@elevation_option
@tags_option
@site_hazards_option
@temperature_file_options
@change_station_option
@fill_option
@click.option("--no-fill", is_flag=True, help="Fill no gap from a neighbour any more.")
@attribution_option
@licence_option
@notebook_option
def change(
    name: str,
    *,
    rename: str | None,
    correction: float | None,
    tags: tuple[str, ...],
    hazards: tuple[str, ...],
    temperatures: TemperatureFiles | None,
    station: str | None,
    fill_from: Path | None,
    no_fill: bool,
    notebook: Path | None,
    **given: Any,
) -> None:
    """Change what is given; the rest stays.

    --tag puts its tags in the place of all others ('' for none), --hazard likewise, --temperatures
    its file in the place of the whole record. What fills its gaps stays until --fill-from names
    another file or --no-fill takes it away.
    """
    from timing.errors import UsageError
    from timing.notebook.readings import Readings

    values = {key: value for key, value in given.items() if value is not None}
    if rename is not None:
        values["name"] = rename
    if tags:
        values["tags"] = _tags(tags)
    if hazards:
        values["hazards"] = _tags(hazards)
    readings = None
    if temperatures is not None:
        found = temperatures.read(station)
        readings = Readings.of(found.record)
        values["source"] = temperatures.names
        values["notes"] = found.notes
        for key in ("attribution", "licence"):
            if text := getattr(found.origin, key):
                values.setdefault(key, text)
    elif station is not None:
        raise UsageError("--station goes with --temperatures FILE")
    if fill_from is not None and no_fill:
        raise UsageError("--fill-from and --no-fill exclude each other")
    beside: dict[Kind, Readings | None] = {}
    if no_fill:
        values |= {"neighbour": "", "neighbour_credit": ""}
        beside["neighbour"] = None
    if not values and correction is None and fill_from is None:
        raise UsageError("say what to change, such as --rename NAME or --temperatures FILE")
    with open_notebook(notebook) as book:
        if fill_from is not None:
            held = readings or book.readings(name)
            if held is None:
                raise UsageError(f"site {name} has no temperatures whose gaps could be filled")
            site, beside["neighbour"] = neighbour_of(book.site(name), held, fill_from)
            values |= {"neighbour": site.neighbour, "neighbour_credit": site.neighbour_credit}
        made = book.change_site(
            name,
            lambda site: corrected(replace(site, **values), correction),
            readings,
            when=now(),
            beside=beside,
        )
    click.echo(made.what)


@command.command("remove")
@click.argument("name")
@yes_option
@notebook_option
def remove(name: str, yes: bool, notebook: Path | None) -> None:
    """Remove a site with its temperatures, its trees and all their records."""
    from timing.notebook.words import counted

    with open_notebook(notebook) as book:
        site = book.site(name)
        trees, records = len(book.trees(site=name)), len(book.records(site=name))
        question = (
            f"Remove site {site.name}, its temperatures, {counted(trees, 'tree')} and "
            f"{counted(records, 'record')}?"
        )
        remove_when_sure(question, yes, lambda: book.remove_site(name, when=now()))


def _tags(given: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(tag for tag in given if tag.strip())


Entry: TypeAlias = "tuple[NotebookSite, Span | None, int, Span | None]"


def _entry(book: Notebook, site: NotebookSite) -> Entry:
    trees = len(book.trees(site=site.name))
    return site, book.span(site.name), trees, book.span(site.name, "forecast")


def _show(entries: list[Entry], output: str) -> None:
    from timing.notebook.as_json import sites_json
    from timing.notebook.words import listed, site_lines

    if output == "json":
        echo_json(sites_json(entries))
    else:
        click.echo(listed(site_lines(*entry) for entry in entries), nl=False)
