"""``sapdial site check``: can this record be trusted?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli.bench import open_bench
from cli.options import format_option, temperature_options
from cli.output import echo_json


@click.command("check")
@click.argument("name", required=False)
@temperature_options
@click.option(
    "--neighbour",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Temperatures of a place nearby: differences show steps best.",
)
@format_option("text", "json")
def check(name: str | None, *, neighbour: Path | None, output: str, **where: Any) -> None:
    """Look for gaps, steps, drifts and stuck or coarse readings; nothing is changed.

    NAME is a site of the notebook; a sample or a file can be checked as well.
    """
    from timing.errors import UsageError
    from timing.export.check_text import check_json, check_text
    from timing.intake.daily_csv import read_daily_csv
    from timing.record_check import check_record

    if name is not None:
        if where["site_name"] is not None:
            raise UsageError("name the site once: as NAME or with --site")
        where["site_name"] = name
    bench = open_bench(**where, short=True)
    beside = read_daily_csv(neighbour, until=bench.on) if neighbour else None
    found = check_record(bench.record, bench.site, beside)
    if output == "json":
        echo_json(check_json(found))
    else:
        click.echo(check_text(found), nl=False)
