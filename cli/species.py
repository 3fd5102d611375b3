"""``sapdial species``: show what is known about the taxa."""

from __future__ import annotations

import click

from cli.options import chosen_species, format_option
from cli.output import echo_json


@click.group("species")
def command() -> None:
    """Show what is known about the taxa, and where it comes from."""


@command.command("list")
@format_option("text", "json")
def list_(output: str) -> None:
    """List every taxon."""
    from timing.species.catalogue import load_species, slugs

    taxa = [load_species(slug) for slug in slugs()]
    if output == "json":
        echo_json(
            {
                "schema": "sapdial-species-list-1",
                "species": [
                    {
                        "species": taxon.slug,
                        "scientific_name": taxon.scientific_name,
                        "common_name": taxon.common_name,
                        "habit": taxon.habit,
                    }
                    for taxon in taxa
                ],
            }
        )
        return
    for taxon in taxa:
        click.echo(
            f"{taxon.slug:<24} {taxon.common_name:<26} {taxon.habit.replace('_', ' ')}".rstrip()
        )


@command.command("show")
@click.argument("species")
@format_option("text", "json")
def show(species: str, output: str) -> None:
    """Show one taxon: events, rules, limits, cautions, each with its source."""
    from timing.errors import UsageError
    from timing.export.as_json import species_json
    from timing.export.species_text import species_text

    taxa = chosen_species((species,))
    if output == "json":
        if len(taxa) > 1:
            raise UsageError(
                f"{species!r} stands for {len(taxa)} taxa; name one of "
                f"{', '.join(taxon.slug for taxon in taxa)}"
            )
        echo_json(species_json(taxa[0]))
        return
    click.echo("\n".join(species_text(taxon) for taxon in taxa), nl=False)


@command.command("hazards")
@format_option("text", "json")
def hazards(output: str) -> None:
    """List the diseases and pests that --hazard takes, with their hosts and closed seasons."""
    from timing.export.answer_text import wrapped
    from timing.export.as_json import hazard_json
    from timing.export.hazard_text import hazard_sentences
    from timing.species.hazards import hazard_names, load_hazard

    known = [load_hazard(name) for name in hazard_names()]
    if output == "json":
        echo_json(
            {"schema": "sapdial-hazards-1", "hazards": [hazard_json(hazard) for hazard in known]}
        )
        return
    for hazard in known:
        lines = wrapped(f"{hazard.name}: {hazard.label}, on {', '.join(hazard.hosts)}", "", "  ")
        lines += [
            line for text in hazard_sentences(hazard) for line in wrapped(text, "  - ", "    ")
        ]
        click.echo("\n".join(lines))
