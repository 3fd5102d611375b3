"""``sapdial site check``: can this record be trusted?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli.bench import open_bench
from cli.options import format_option, temperature_options
from cli.output import echo_json, output_option, spare_inputs, suffix_of

SUFFIXES = (".png", ".svg", ".pdf", ".json", ".txt")


@click.command("check")
@click.argument("name", required=False)
@click.option(
    "--neighbour",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Temperatures of a place nearby: differences to it show steps and wrong days best.",
)
@output_option(".png .svg .pdf (chart) .json .txt")
@temperature_options
@format_option("text", "json")
def check(
    name: str | None, *, neighbour: Path | None, path: Path | None, output: str, **where: Any
) -> None:
    """Look for gaps, steps, drifts and stuck or coarse readings; nothing is changed.

    NAME is a site of the notebook; a sample or a file can be checked as well.
    """
    from timing.errors import UsageError
    from timing.export.check_json import check_json
    from timing.export.check_text import check_text
    from timing.export.files import write_json, write_text
    from timing.record_check import check_record

    suffix = suffix_of(path, SUFFIXES, output)
    if name is not None:
        if where["site_name"] is not None:
            raise UsageError("name the site once: as NAME or with --site")
        where["site_name"] = name
    if path is not None:
        spare_inputs((path,), where["temperatures"], where["notebook"], neighbour)
    bench = open_bench(**where, short=True)
    beside, credit = None, ""
    if neighbour is not None:
        from timing.intake.temperatures import read_temperatures

        intake = read_temperatures(neighbour, until=bench.on)
        beside, credit = intake.record, intake.origin.named
    found = check_record(bench.record, bench.site, beside, credit=credit)
    if path is None:
        if output == "json":
            echo_json(check_json(found))
        else:
            click.echo(check_text(found), nl=False)
        return
    if suffix == ".txt":
        write_text(path, check_text(found))
    elif suffix == ".json":
        write_json(path, check_json(found))
    else:
        from timing.charts.record_chart import save_check

        save_check(found, path)
    click.echo(f"{path}: {bench.record.first} to {bench.record.last}, {bench.site.name}")
