"""``sapdial assess``: how good the dates are at this site, on seasons they never saw."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli.bench import open_bench
from cli.options import format_option, temperature_options
from cli.output import echo_csv, echo_json


@click.command("assess")
@click.option(
    "--observations",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Dates observed at this site, CSV: species,event,date [default: the notebook's].",
)
@temperature_options
@format_option("text", "json", "csv")
def command(observations: Path | None, output: str, **where: Any) -> None:
    """Leave one season out at a time, predict it from the others, and compare.

    Beside the error of the dates stands that of the plain mean date; coverage is the share of
    held-back dates inside the 80% range.
    """
    from timing.assessment import assess, held_back_dates
    from timing.errors import UsageError
    from timing.export.as_json import assess_json
    from timing.export.assess_text import assess_text, not_scored
    from timing.intake.observations import read_observations
    from timing.species.catalogue import load_species
    from timing.tuning import tune

    found = read_observations(observations) if observations else None
    bench = open_bench(**where)
    seen = list(bench.observed)
    if found is not None:
        seen = [item for item in found.observations if item.date <= bench.on]
    if not seen:
        raise UsageError("no observed dates: give --observations FILE or record some in a notebook")
    taxa = [load_species(slug) for slug in dict.fromkeys(item.species for item in seen)]
    unread = found.warnings if found else ()
    for warning in (*unread, *tune(bench.drivers, taxa, seen).warnings):
        click.echo(f"{observations or 'notebook'}: {warning}", err=True)
    results = assess(held_back_dates(bench.drivers, taxa, seen))
    for sentence in not_scored(seen, results):
        click.echo(sentence, err=True)
    if output == "json":
        echo_json(assess_json(results, bench.site))
    elif output == "csv":
        echo_csv([{**vars(item), "attribution": bench.site.attribution} for item in results])
    else:
        click.echo(assess_text(results, bench.site, bench.record), nl=False)
