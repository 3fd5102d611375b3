"""``sapdial events``: date the season's events in every season of the record."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.bench import open_bench, own_taxa, tuned_taxa
from cli.options import (
    chosen_species,
    format_option,
    observations_option,
    temperature_options,
)
from cli.output import echo_csv, echo_json

if TYPE_CHECKING:
    from timing.answers import Outlook


@click.command("events")
@click.argument("species", nargs=-1)
@temperature_options
@observations_option
@format_option("text", "json", "csv")
def command(species: tuple[str, ...], observations: Path | None, output: str, **where: Any) -> None:
    """Date the season's events in every season of the record.

    Without SPECIES, those of your trees at the site; where there are none, eight common taxa.
    """
    from timing.answers import COMMON_TAXA
    from timing.export.answer_text import events_text
    from timing.export.as_json import events_json

    bench = open_bench(**where)
    taxa = chosen_species(species or own_taxa([bench]) or COMMON_TAXA)
    known = tuned_taxa(taxa, observations, bench)
    views = known.outlooks(kinds=())
    if output == "json":
        echo_json(events_json(views))
    elif output == "csv":
        echo_csv(_rows(views))
    else:
        click.echo(events_text(views), nl=False)


def _rows(views: list[Outlook]) -> list[dict[str, object]]:
    from timing.export.as_json import seasons_json

    return [
        {
            "site": view.site.name,
            "species": view.species.slug,
            "season": season["season"],
            "event": event,
            "date": dates["date"] or "",
            "early": dates.get("early", ""),
            "late": dates.get("late", ""),
            "reason": dates.get("reason", ""),
            "attribution": view.site.attribution,
        }
        for view in views
        for season in seasons_json(view)
        for event, dates in season["events"].items()
    ]
