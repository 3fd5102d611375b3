"""``sapdial ask``: may I cut today; if not, when, how much and why."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.options import (
    chosen_hazards,
    chosen_species,
    confidence_option,
    format_option,
    hazards_option,
    observations_option,
    open_bench,
    temperature_options,
    tuned_species,
)
from cli.output import echo_csv, echo_json

if TYPE_CHECKING:
    from timing.advice import Answer
    from timing.species.model import Condition, WorkKind


@click.command("ask")
@click.argument("species", nargs=-1, required=True)
@click.option(
    "--work",
    type=click.Choice(["heavy", "light", "outline"]),
    help="Kind of work [default: all three].",
)
@click.option(
    "--condition",
    type=click.Choice(["vigorous", "established", "weak"]),
    default="established",
    show_default=True,
    help="How strong the tree is.",
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
    condition: Condition,
    hazards: tuple[str, ...],
    observations: Path | None,
    confidence: float,
    output: str,
    **where: Any,
) -> None:
    """May I cut today; if not, when, how much and why.

    SPECIES is a slug, a common name, or a genus: "maple" answers for every maple, one line
    each; "acer-palmatum" gives the whole answer.
    """
    from timing.advice import answer
    from timing.answers import outlook
    from timing.export.answer_text import answers_text
    from timing.export.as_json import answers_json
    from timing.species.model import WORK_KINDS

    taxa = chosen_species(species)
    occurring = chosen_hazards(hazards, taxa)
    bench = open_bench(**where)
    taxa, fits = tuned_species(taxa, observations, bench)
    kinds = (work,) if work else WORK_KINDS
    answers = []
    for taxon in taxa:
        view = outlook(
            taxon,
            bench.record,
            bench.drivers,
            on=bench.on,
            condition=condition,
            kinds=kinds,
            tuned=fits.get(taxon.slug, {}),
            hazards=occurring,
        )
        answers += [
            answer(view, kind, bench.on, condition=condition, confidence=confidence)
            for kind in kinds
        ]
    if output == "json":
        echo_json(answers_json(answers, bench.site, bench.record))
    elif output == "csv":
        echo_csv(_rows(answers, bench.site.name))
    else:
        click.echo(answers_text(answers, bench.site, bench.record), nl=False)


def _rows(answers: list[Answer], site: str) -> list[dict[str, object]]:
    return [
        {
            "site": site,
            "species": item.species.slug,
            "work": item.work,
            "on": item.on,
            "verdict": item.verdict,
            "chance": round(item.chance, 3),
            "opens": item.next_window.opens if item.next_window else "",
            "closes": item.next_window.closes if item.next_window else "",
            "best_day": item.best_day[0] if item.best_day else "",
            "best_chance": round(item.best_day[1], 3) if item.best_day else "",
            "seasons": item.seasons,
        }
        for item in answers
    ]
