"""Where answers go: JSON and CSV to stdout, and the files that ``-o`` names."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def echo_json(value: dict[str, Any]) -> None:
    """Print a value as JSON; letters that the stream's encoding lacks are escaped."""
    from timing.export.files import json_text

    whole = (sys.stdout.encoding or "").lower().replace("_", "-").startswith("utf-8")
    click.echo(json_text(value, escaped=not whole))


def echo_csv(rows: list[dict[str, object]]) -> None:
    """Print rows, all with the same keys, as CSV with a header."""
    from timing.export.csv_table import csv_text

    columns = list(rows[0]) if rows else []
    click.echo(csv_text(columns, [list(row.values()) for row in rows]), nl=False)


def counted_taxa(number: int) -> str:
    """A number of taxa in words."""
    return f"{number} {'taxon' if number == 1 else 'taxa'}"


def output_option(forms: str, *, several: bool = False) -> Callable[[F], F]:
    """The option ``-o``; ``forms`` names the endings, ``several`` lets it be given again."""
    again = " May be given again." if several else ""
    return click.option(
        "-o",
        "--output",
        "paths" if several else "path",
        type=click.Path(path_type=Path),
        metavar="FILE",
        multiple=several,
        help=f"Write here; the ending chooses the form: {forms}.{again} "
        "[default: text to the terminal]",
    )


def spare_inputs(outputs: Iterable[Path], *inputs: Sequence[Path] | Path | None) -> None:
    """Refuse to write over a file that an option names to be read.

    Raises
    ------
    UsageError : one of ``outputs`` is one of ``inputs``.
    """
    from timing.export.files import spare

    for given in inputs:
        spare([given] if isinstance(given, Path) else given or (), *outputs)


def suffix_of(path: Path | None, suffixes: Sequence[str], output: str = "text") -> str | None:
    """The ending of ``-o``, in small letters; None without ``-o``.

    Raises
    ------
    UsageError : the ending names no form of the command, or not the one of ``--format``.
    """
    from timing.errors import UsageError

    if path is None:
        return None
    suffix = path.suffix.lower()
    if suffix not in suffixes:
        raise UsageError(f"-o {path}: the name must end in one of {', '.join(suffixes)}")
    if output != "text" and suffix != f".{output}":
        raise UsageError(f"-o {path}: with --format {output} the name must end in .{output}")
    return suffix
