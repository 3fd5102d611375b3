"""``sapdial tree``: the trees in the notebook and what they stand under."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
from cli.options import format_option
from cli.output import echo_json

if TYPE_CHECKING:
    from timing.notebook.model import Tree

species_option = click.option(
    "--species", metavar="NAME", help="Its taxon: slug, scientific or common name."
)
condition_option = click.option(
    "--condition", type=click.Choice(["vigorous", "established", "weak"]), help="How strong it is."
)
pot_option = click.option(
    "--pot", "pot_cm", type=Decimal(), metavar="CM", help="Inner width of its pot."
)
SHELTER_OPTIONS = {  # by what they fill in
    "tmin_offset_c": "--warmer-nights",
    "tmax_offset_c": "--warmer-days",
    "starts": "--from",
    "until": "--until",
}
note_option = click.option("--note", metavar="TEXT", help="Free text.")


@click.group("tree")
def command() -> None:
    """Keep your trees, and the walls and frames they stand under."""


@command.command("add")
@click.argument("name")
@species_option
@click.option("--site", metavar="NAME", help="Where it stands [default: the only site].")
@condition_option
@pot_option
@note_option
@notebook_option
def add(
    name: str, species: str | None, site: str | None, notebook: Path | None, **given: Any
) -> None:
    """Add a tree."""
    from timing.errors import UsageError
    from timing.notebook.model import Tree
    from timing.notebook.trees import one_species

    if species is None:
        raise UsageError("a tree needs --species NAME; 'sapdial species list' shows the taxa")
    values = {key: value for key, value in given.items() if value is not None}
    slug = one_species(species)
    with open_notebook(notebook) as book:
        place = book.site(site).name
        made = book.add_tree(Tree(name, slug, place, **values), when=now())
    click.echo(f"{made.what} ({slug}) at {place}")


@command.command("shelter")
@click.argument("name")
@click.option("--kind", required=True, metavar="TEXT", help="What it is, such as 'cold frame'.")
@click.option("--warmer-nights", type=Decimal(), metavar="C", help="Colder is negative [°C].")
@click.option("--warmer-days", type=Decimal(), metavar="C", help="Colder is negative [°C].")
@click.option(
    "--calibrate-with",
    "logger",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Take both from some weeks of your own thermometer beside the tree, each season apart.",
)
@click.option(
    "--from", "starts", default="", metavar="MM-DD", help="First day, every year [default: always]."
)
@click.option("--until", default="", metavar="MM-DD", help="Last day, every year.")
@notebook_option
def shelter(
    name: str,
    *,
    kind: str,
    warmer_nights: float | None,
    warmer_days: float | None,
    logger: Path | None,
    starts: str,
    until: str,
    notebook: Path | None,
) -> None:
    """Say what a tree stands under, and how much warmer its nights and days are there.

    A tree has each kind of shelter once: the same kind again replaces it. With --calibrate-with
    each quarter of the year that your thermometer saw for two weeks becomes a shelter of its own.
    """
    from timing.errors import UsageError
    from timing.notebook.checks import FieldError
    from timing.notebook.model import Shelter

    if logger is not None:
        if (warmer_nights, warmer_days, starts, until) != (None, None, "", ""):
            raise UsageError(
                "--calibrate-with finds the warmth and its seasons itself: leave out "
                "--warmer-nights, --warmer-days, --from and --until"
            )
        _calibrate(name, kind, logger, notebook)
        return
    if warmer_nights is None or warmer_days is None:
        raise UsageError("a shelter needs --warmer-nights and --warmer-days, or --calibrate-with")
    try:
        found = Shelter(kind, warmer_nights, warmer_days, starts, until)
    except FieldError as error:
        option = SHELTER_OPTIONS.get(error.field, error.field)
        raise UsageError(str(error).replace(error.field, option, 1)) from error
    with open_notebook(notebook) as book:
        click.echo(book.set_shelter(name, found, when=now()).what)


def _calibrate(name: str, kind: str, logger: Path, notebook: Path | None) -> None:
    """Keep what a thermometer beside the tree says, as one change."""
    from timing.calibration import quarter_offsets
    from timing.intake.temperatures import read_temperatures
    from timing.notebook.shelter import calibrated

    with open_notebook(notebook) as book:
        station = book.temperature_record(book.tree(name).site)
        offsets = quarter_offsets(station, read_temperatures(logger).record)
        change = book.change_tree(name, lambda tree: calibrated(tree, kind, offsets), when=now())
    click.echo(change.what)
    for item in offsets:
        click.echo(
            f"  {item.starts} to {item.until}: nights {item.tmin_offset_c:+.1f} °C "
            f"(± {item.tmin_error_c:.1f}), days {item.tmax_offset_c:+.1f} °C "
            f"(± {item.tmax_error_c:.1f}), {item.days} days"
        )
    if len(offsets) < 4:
        click.echo("  The other quarters of the year keep the station's temperatures.")


@command.command("unshelter")
@click.argument("name")
@click.option("--kind", required=True, metavar="TEXT", help="The kind it was given under.")
@notebook_option
def unshelter(name: str, kind: str, notebook: Path | None) -> None:
    """Take a shelter from a tree."""
    with open_notebook(notebook) as book:
        click.echo(book.remove_shelter(name, kind, when=now()).what)


@command.command("list")
@click.option("--site", metavar="NAME", help="Only the trees of this site.")
@notebook_option
@format_option("text", "json")
def list_(site: str | None, notebook: Path | None, output: str) -> None:
    """List every tree."""
    with open_for_list(notebook) as book:
        trees = book.trees(site=site) if book else ()
    if trees or output == "json":
        _show(trees, output)
    else:
        tell_empty("tree", "sapdial tree add NAME --species NAME --site NAME")


@command.command("show")
@click.argument("name")
@notebook_option
@format_option("text", "json")
def show(name: str, notebook: Path | None, output: str) -> None:
    """Show one tree."""
    with open_notebook(notebook) as book:
        tree = book.tree(name)
    _show((tree,), output)


@command.command("change")
@click.argument("name")
@click.option("--rename", "name_", metavar="NAME", help="Call it so from now on.")
@species_option
@click.option("--site", metavar="NAME", help="Where it stands from now on.")
@condition_option
@pot_option
@note_option
@notebook_option
def change(
    name: str, name_: str | None, species: str | None, notebook: Path | None, **given: Any
) -> None:
    """Change what is given; the rest stays.

    Dates observed before a tree moved stay with the site where they were observed.
    """
    from timing.errors import UsageError
    from timing.notebook.trees import one_species

    values = {key: value for key, value in given.items() if value is not None}
    if name_ is not None:
        values["name"] = name_
    if species is not None:
        values["species"] = one_species(species)
    if not values:
        raise UsageError("say what to change, such as --rename NAME or --condition weak")
    with open_notebook(notebook) as book:
        click.echo(book.change_tree(name, lambda t: replace(t, **values), when=now()).what)


@command.command("remove")
@click.argument("name")
@yes_option
@notebook_option
def remove(name: str, yes: bool, notebook: Path | None) -> None:
    """Remove a tree with its work and runners; its observed dates stay with their site."""
    with open_notebook(notebook) as book:
        tree = book.tree(name)
        question = f"Remove tree {tree.name} with its work and runners?"
        remove_when_sure(question, yes, lambda: book.remove_tree(name, when=now()))


def _show(trees: tuple[Tree, ...], output: str) -> None:
    from timing.notebook.as_json import trees_json
    from timing.notebook.words import listed, tree_lines

    if output == "json":
        echo_json(trees_json(trees))
    else:
        click.echo(listed(tree_lines(tree) for tree in trees), nl=False)
