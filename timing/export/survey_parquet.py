"""A survey's table as Parquet; needs pyarrow (extra ``grid``)."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
from pyarrow import csv, parquet

from timing.survey_parts import rows_text
from timing.survey_rows import COLUMNS, NAMES

ROWS_OF_GROUP = 65_536
TYPES = {
    "text": pa.string(),
    "degrees": pa.float64(),
    "metres": pa.float64(),
    "date": pa.date32(),
    "count": pa.int16(),
    "share": pa.float64(),
}


def write(path: Path, parts: Sequence[Path], _taxa: Sequence[str]) -> None:
    """Write the parts of a survey, some at a time."""
    schema = pa.schema([pa.field(name, TYPES[form]) for name, form in COLUMNS])
    reading: dict[str, Any] = {
        "read_options": csv.ReadOptions(column_names=list(NAMES), use_threads=False),
        "convert_options": csv.ConvertOptions(
            column_types=schema, null_values=[""], strings_can_be_null=True
        ),
    }
    with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        waiting, rows = [], 0
        for number, part in enumerate(parts, start=1):
            text = rows_text(part).encode("utf-8")
            waiting.append(csv.read_csv(io.BytesIO(text), **reading))
            rows += waiting[-1].num_rows
            if rows >= ROWS_OF_GROUP or number == len(parts):
                writer.write_table(pa.concat_tables(waiting).combine_chunks())
                waiting, rows = [], 0
