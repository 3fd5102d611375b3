"""``sapdial compare``: one season beside all others."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli.bench import open_bench, tuned_taxa
from cli.numbers import Whole
from cli.options import (
    chosen_species,
    format_option,
    observations_option,
    temperature_options,
)
from cli.output import counted_taxa, echo_json, output_option, spare_inputs, suffix_of

SUFFIXES = (".png", ".svg", ".pdf", ".json", ".csv", ".txt")
STAND_IN = "acer-palmatum"


@click.command("compare")
@click.argument("species", nargs=-1)
@click.option(
    "--season",
    type=Whole(1800, 2200),
    metavar="YEAR",
    help="Season to compare, by the year of its spring [default: the one under way].",
)
@output_option(".png .svg .pdf (chart) .json .csv .txt")
@temperature_options
@observations_option
@format_option("text", "json", "csv")
def command(
    species: tuple[str, ...],
    *,
    season: int | None,
    path: Path | None,
    observations: Path | None,
    output: str,
    **where: Any,
) -> None:
    """Tell whether this spring is early or late, beside all others of the record.

    Without SPECIES, those of your trees at the site; where there are none, Japanese maple stands
    in beside the heat, chill and frosts of the site.
    """
    from timing.comparison import compare
    from timing.export.comparison_json import comparison_json
    from timing.export.comparison_text import comparison_text
    from timing.export.files import write_json, write_text

    suffix = suffix_of(path, SUFFIXES, output)
    if path is not None:
        spare_inputs((path,), where["temperatures"], where["notebook"], observations)
    bench = open_bench(**where)
    own: dict[str, tuple[str, ...]] = {}
    for tree in () if species else bench.trees:
        own[tree.species] = (*own.get(tree.species, ()), tree.name)
    taxa = chosen_species(species or tuple(own) or (STAND_IN,))
    known = tuned_taxa(taxa, observations, bench)
    comparison = compare(
        known.outlooks(kinds=()),
        on=bench.on,
        season=season,
        stand_in=not species and not own,
        trees=own,
        sheltered=tuple(tree.name for tree in bench.trees if own and tree.shelters),
    )
    if path is None:
        if output == "json":
            echo_json(comparison_json(comparison))
        elif output == "csv":
            from timing.export.comparison_csv import comparison_csv

            click.echo(comparison_csv(comparison), nl=False)
        else:
            click.echo(comparison_text(comparison), nl=False)
        return
    if suffix == ".txt":
        write_text(path, comparison_text(comparison))
    elif suffix == ".json":
        write_json(path, comparison_json(comparison))
    elif suffix == ".csv":
        from timing.export.comparison_csv import comparison_csv

        write_text(path, comparison_csv(comparison))
    else:
        from timing.charts.comparison_chart import save_comparison

        save_comparison(comparison, path)
    count = counted_taxa(len(taxa))
    click.echo(f"{path}: season {comparison.season}, {count}, {bench.site.name}")
