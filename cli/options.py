"""Options that several commands share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from cli.notebook_options import as_name, notebook_option
from cli.numbers import Decimal
from cli.temperature_options import temperatures_option, units_option

if TYPE_CHECKING:
    import numpy as np

    from timing.species.model import Hazard, Species

F = TypeVar("F", bound=Callable[..., Any])


latitude_option = click.option(
    "--latitude", type=Decimal(), metavar="DEG", help="South is negative."
)
longitude_option = click.option(
    "--longitude", type=Decimal(), metavar="DEG", help="West is negative."
)


def temperature_options(function: F) -> F:
    """Where the temperatures come from, and which day is today."""
    for option in reversed(
        (
            click.option(
                "--site",
                "site_name",
                callback=as_name,
                metavar="NAME",
                help="A site of the notebook [default: its only one].",
            ),
            notebook_option,
            click.option("--sample", metavar="NAME", help="A bundled climate (invented)."),
            temperatures_option,
            units_option,
            latitude_option,
            longitude_option,
            click.option(
                "--elevation", type=Decimal(), metavar="M", help="Metres above sea level."
            ),
            click.option(
                "--on",
                metavar="DATE",
                help="Take this day as today and hide later readings [default: today; for a "
                "sample 20 June of its last year].",
            ),
        )
    ):
        function = option(function)
    return function


def _chance(_context: click.Context, _option: click.Parameter, value: float) -> float:
    from timing.windows import MARGINAL

    if not 0 < value < 1:
        raise click.BadParameter(f"{value:g} is not a chance between 0 and 1, such as 0.9")
    if value < MARGINAL:
        raise click.BadParameter(
            f"{value:g} would call a day safe that is more likely not; {MARGINAL:g} is the least"
        )
    return value


observations_option = click.option(
    "--observations",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Dates you observed at this site, CSV: species,event,date. They tune the answer.",
)


hazards_option = click.option(
    "--hazard",
    "hazards",
    multiple=True,
    metavar="NAME",
    help="A disease or pest that occurs near you, such as oak-wilt: its closed season is obeyed. "
    "May be given again; 'sapdial species hazards' lists them.",
)


confidence_option = click.option(
    "--confidence",
    type=Decimal(),
    callback=_chance,
    default=0.9,
    show_default=True,
    metavar="P",
    help="Chance from which a day counts as safe.",
)


def format_option(*formats: str) -> Callable[[F], F]:
    """Choice of output format; the first is the default."""
    return click.option(
        "--format",
        "output",
        type=click.Choice(formats),
        default=formats[0],
        show_default=True,
        help="How to print the answer.",
    )


def parse_day(text: str) -> np.datetime64:
    """Turn an ISO date into a day."""
    import numpy as np

    from timing.errors import UsageError

    try:
        day = dt.date.fromisoformat(text)
        if not 1800 <= day.year <= 2200:
            raise ValueError
        return np.datetime64(day, "D")
    except ValueError as error:
        raise UsageError(
            f"--on {text!r} is not a date from 1800 to 2200; write year-month-day, as in 2025-06-20"
        ) from error


def chosen_species(names: tuple[str, ...]) -> list[Species]:
    """Taxa the user named, each once, in the order named."""
    from timing.species.catalogue import load_species
    from timing.species.names import find_species

    slugs: dict[str, None] = {}
    for name in names:
        slugs.update(dict.fromkeys(find_species(name)))
    return [load_species(slug) for slug in slugs]


def chosen_hazards(
    names: tuple[str, ...], taxa: list[Species], noted: tuple[str, ...] = ()
) -> tuple[Hazard, ...]:
    """Hazards noted for the site and those the user named, each once.

    A named one that concerns none of the taxa is told on stderr.
    """
    from timing.species.hazards import load_hazard

    hazards = tuple(load_hazard(name) for name in dict.fromkeys(names))
    for hazard in hazards:
        if not any(hazard.concerns(taxon) for taxon in taxa):
            click.echo(
                f"--hazard {hazard.name}: none of these taxa is a host of {hazard.label} (hosts: "
                f"{', '.join(hazard.hosts)}), so it changes nothing here",
                err=True,
            )
    here = (load_hazard(name) for name in noted if name not in names)
    return (*hazards, *here)
