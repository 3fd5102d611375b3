"""Rows of a table as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from timing.notebook.tables import guarded


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Rows as CSV with a header (RFC 4180, lines end in LF).

    A text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in row])
    return text.getvalue()
