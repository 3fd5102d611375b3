"""``sapdial samples``: list the bundled climates."""

from __future__ import annotations

import click

from cli.options import format_option
from cli.output import echo_json


@click.command("samples")
@format_option("text", "json")
def command(output: str) -> None:
    """List the bundled climates: invented places with invented weather."""
    from timing.export.as_json import samples_json
    from timing.intake.samples import samples

    found = samples()
    if output == "json":
        echo_json(samples_json(found))
        return
    for sample in found:
        site = sample.site
        region = f" · region {sample.region}" if sample.region else ""
        click.echo(f"{sample.name}")
        click.echo(f"    {sample.description}")
        click.echo(
            f"    {site.latitude:g}, {site.longitude:g}, {site.elevation_m:g} m; "
            f"{sample.first} to {sample.last}{region}"
        )
