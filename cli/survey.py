"""``sapdial survey``: the usual dates and windows of every site of a table; reads the clock."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cli.numbers import Whole
from cli.options import chosen_species, confidence_option
from cli.output import counted_taxa

if TYPE_CHECKING:
    from timing.species.model import WorkKind
    from timing.survey import Survey
    from timing.survey_parts import Finished

EVERY = "all"
LEAST_PAUSE_S = 5.0  # between two lines of progress, where they stay on record
MOST_NAMED = 20  # failed sites told one by one


@click.command("survey")
@click.argument("table", type=click.Path(path_type=Path), metavar="FILE|FOLDER")
@click.option(
    "-o",
    "--output",
    "path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    required=True,
    help="Write here; the ending chooses the form: .csv, .parquet or .nc.",
)
@click.option(
    "--species",
    multiple=True,
    metavar="NAME",
    help="A taxon; may be given again; 'all' for every one [default: eight common taxa].",
)
@confidence_option
@click.option(
    "--jobs",
    type=Whole(1, 256),
    metavar="N",
    help="Processes that compute [default: as many as this machine's cores].",
)
@click.option(
    "--map",
    "picture",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Also draw the opening days of one taxon's work as a map: .png, .svg or .pdf.",
)
@click.option(
    "--map-work",
    "kind",
    type=click.Choice(["heavy", "light", "outline"]),
    default="heavy",
    show_default=True,
    help="Which work the map shows; its taxon is the first --species.",
)
def command(
    table: Path,
    *,
    path: Path,
    species: tuple[str, ...],
    confidence: float,
    jobs: int | None,
    picture: Path | None,
    kind: WorkKind,
) -> None:
    """Ask every site of a table the same questions and write one table of answers.

    FILE is a CSV name,latitude,longitude,elevation_m,temperatures; FOLDER holds one named
    sites.csv. Finished sites are kept beside the output until all are done: run the same command
    again after a break and it goes on.
    """
    from timing.answers import COMMON_TAXA
    from timing.errors import DataError, UsageError
    from timing.export.survey_table import check_output, write_table
    from timing.species.catalogue import slugs
    from timing.survey import run_survey, sites_table
    from timing.survey_parts import parts_folder, remove_folder

    check_output(path)
    if picture is not None and not species:
        raise UsageError("--map shows one taxon; name it with --species")
    if picture is not None and picture.suffix.lower() not in (".png", ".svg", ".pdf"):
        raise UsageError(f"--map {picture}: the name must end in one of .png, .svg, .pdf")
    if picture is not None and not picture.parent.is_dir():
        raise UsageError(f"--map {picture}: there is no folder {picture.parent}; make it first")
    every = any(name == EVERY for name in species)
    named = [taxon.slug for taxon in chosen_species(tuple(n for n in species if n != EVERY))]
    taxa = tuple(dict.fromkeys((*named, *(slugs() if every else ())))) or COMMON_TAXA
    done = run_survey(
        sites_table(table),
        path,
        taxa,
        confidence=confidence,
        workers=jobs or _cores(),
        tell=_Progress(),
    )
    write_table(path, done.parts, taxa)
    if picture is not None:
        from timing.charts.survey_map import save_map

        save_map(done.parts, taxa[0], kind, confidence, picture)
    _report(done)
    sites = f"{done.sites} site{'' if done.sites == 1 else 's'}"
    click.echo(f"{path}: {sites}, {counted_taxa(len(taxa))}")
    if done.failed:
        count = len(done.failed)
        raise DataError(
            f"{count} of {done.sites} sites failed; {path} has the reasons. Mend them and run the "
            f"same command: the others are kept in {parts_folder(path)}"
        )
    remove_folder(parts_folder(path))


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _report(done: Survey) -> None:
    if done.anew:
        click.echo(
            f"{done.anew} sites were finished before and computed again: their temperatures, their "
            "neighbours in the table, the taxa, the confidence or the program changed since",
            err=True,
        )
    for name, why in done.failed[:MOST_NAMED]:
        click.echo(f"{name}: {why}", err=True)
    if len(done.failed) > MOST_NAMED:
        click.echo(f"and {len(done.failed) - MOST_NAMED} more", err=True)


class _Progress:
    """Tells how far a survey has come, on one line of a terminal or on a few lines of a log."""

    def __init__(self) -> None:
        self.begun = self.told = time.monotonic()
        self.kept = self.failed = 0
        self.terminal = sys.stderr.isatty()

    def __call__(self, done: int, total: int, finished: Finished) -> None:
        self.kept += finished.sites if finished.state == "kept" else 0
        self.failed += len(finished.failed)
        now = time.monotonic()
        if not self.terminal and now - self.told < LEAST_PAUSE_S and done < total:
            return
        self.told = now
        text = f"{done} of {total} sites"
        if self.kept:
            text += f", {self.kept} of them from an earlier run"
        if self.failed:
            text += f", {self.failed} failed"
        if self.terminal:
            click.echo(f"\r{text}", err=True, nl=done == total)
        else:
            click.echo(f"{text}, {now - self.begun:.0f} s", err=True)
