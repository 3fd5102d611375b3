"""Printing JSON and CSV to stdout."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import click


def echo_json(value: dict[str, Any]) -> None:
    """Print a value as JSON."""
    click.echo(json.dumps(value, indent=1, ensure_ascii=False))


def echo_csv(rows: list[dict[str, object]]) -> None:
    """Print rows, all with the same keys, as CSV with a header."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]) if rows else [], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    click.echo(text.getvalue(), nl=False)
