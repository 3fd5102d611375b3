"""``sapdial ask``: may I cut today; if not, when, how much and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.bench import open_bench, tree_outlook, tuned_taxa
from cli.notebook_options import as_name
from cli.options import (
    chosen_hazards,
    chosen_species,
    confidence_option,
    format_option,
    hazards_option,
    observations_option,
    temperature_options,
)
from cli.output import echo_csv, echo_json

if TYPE_CHECKING:
    import numpy as np

    from timing.advice import Answer
    from timing.site import Site
    from timing.species.model import Condition, WorkKind


@click.command("ask")
@click.argument("species", nargs=-1)
@click.option(
    "--tree",
    callback=as_name,
    metavar="NAME",
    help="A tree of the notebook, instead of SPECIES.",
)
@click.option(
    "--work",
    type=click.Choice(["heavy", "light", "outline"]),
    help="Kind of work [default: all three].",
)
@click.option(
    "--condition",
    type=click.Choice(["vigorous", "established", "weak"]),
    help="How strong the tree is [default: established, or what the notebook says of --tree].",
)
@hazards_option
@temperature_options
@observations_option
@confidence_option
@format_option("text", "json", "csv")
def command(
    species: tuple[str, ...],
    *,
    work: WorkKind | None,
    tree: str | None,
    condition: Condition | None,
    hazards: tuple[str, ...],
    observations: Path | None,
    confidence: float,
    output: str,
    **where: Any,
) -> None:
    """May I cut today; if not, when, how much and why.

    SPECIES is a slug, a common name, or a genus: "maple" answers for every maple, one line
    each; "acer-palmatum" gives the whole answer. With --tree the notebook's records of the
    tree count in: its shelter, what was seen, what was cut.
    """
    from timing.advice import answer
    from timing.errors import UsageError
    from timing.export.answer_text import answers_text
    from timing.export.as_json import answers_json
    from timing.species.model import WORK_KINDS

    if bool(species) == (tree is not None):
        raise UsageError("name the SPECIES, or a tree of the notebook with --tree, one of the two")
    taxa = chosen_species(species)  # a slip in a name is told before anything is read
    bench = open_bench(tree=tree, **where)
    if bench.tree:
        taxa = chosen_species((bench.tree.species,))
    occurring = chosen_hazards(hazards, taxa, bench.site.hazards)
    known = tuned_taxa(taxa, observations, bench)
    strength = condition or (bench.tree.condition if bench.tree else "established")
    kinds = (work,) if work else WORK_KINDS
    answers = []
    for taxon in known.species:
        view, held = tree_outlook(known, taxon, strength, kinds=kinds, hazards=occurring)
        answers += [
            answer(view, kind, bench.on, condition=strength, confidence=confidence, held=held)
            for kind in kinds
        ]
    if output == "json":
        echo_json(answers_json(answers, bench.site, bench.record))
    elif output == "csv":
        echo_csv(_rows(answers, bench.site, bench.record.last))
    else:
        click.echo(answers_text(answers, bench.site, bench.record), nl=False)


def _rows(answers: list[Answer], site: Site, last: np.datetime64) -> list[dict[str, object]]:
    return [
        {
            "site": site.name,
            "species": item.species.slug,
            "work": item.work,
            "on": item.on,
            "verdict": item.verdict,
            "chance": round(item.chance, 3),
            "opens": item.next_window.opens if item.next_window else "",
            "closes": item.next_window.closes if item.next_window else "",
            "best_day": item.best_day[0] if item.best_day else "",
            "best_chance": round(item.best_day[1], 3) if item.best_day else "",
            "vetoes": "; ".join(item.vetoes),
            "seasons": item.seasons,
            "temperatures_until": last,
            "attribution": site.attribution,
        }
        for item in answers
    ]
