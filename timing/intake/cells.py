"""Cells that hold numbers: decimals, decimal commas, and the many ways to write nothing."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np

from timing.errors import DataError, UsageError
from timing.intake.text import quoted
from timing.season import Floats

MISSING_WORDS = frozenset(
    ("", "na", "n/a", "nan", "null", "none", "m", "-", "--", "---", ".", "missing", "#n/a")
)
_DECIMAL = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,2})?\Z")
_WITH_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+\Z")


def numbers(
    cells: Sequence[str],
    lines: Sequence[int],
    column: str,
    source: str,
    *,
    decimal_comma: bool = False,
    commas_divide: bool = True,
) -> Floats:
    """Numbers of one column.

    Parameters
    ----------
    cells : the cells as they stand.
    lines : the line each stands on.
    column, source : names used in messages.
    decimal_comma : the user says that decimals are written with a comma.
    commas_divide : cells are divided by commas, so that a comma inside one says nothing.

    Returns
    -------
    array (cells,), NaN where missing.

    Raises
    ------
    DataError : a cell is neither a number nor a word for nothing.
    UsageError : a comma may be a decimal comma and nobody said so.
    """
    texts = {cell: cell.strip().replace("\u2212", "-") for cell in dict.fromkeys(cells)}
    commas = [cell for cell, text in texts.items() if _WITH_COMMA.match(text)]
    points = [cell for cell, text in texts.items() if "." in text and _DECIMAL.match(text)]
    if commas and points:
        line = lines[min(cells.index(commas[0]), cells.index(points[0]))]
        raise DataError(
            f"{source}, line {line}: {column} has both {quoted(commas[0].strip())} and "
            f"{quoted(points[0].strip())}; write all decimals with a point"
        )
    if points and decimal_comma:
        line = lines[cells.index(points[0])]
        raise DataError(
            f"{source}, line {line}: {column} {quoted(points[0].strip())} has a decimal point; "
            "leave --decimal-comma out"
        )
    if commas and commas_divide and not decimal_comma:
        line = lines[cells.index(commas[0])]
        raise UsageError(
            f"{source}, line {line}: {column} {quoted(commas[0].strip())} has a comma; if it is a "
            "decimal comma say --decimal-comma"
        )
    values: dict[str, float] = {}
    for cell, text in texts.items():
        plain = text.replace(",", ".") if _WITH_COMMA.match(text) else text
        if plain.lower() in MISSING_WORDS:
            values[cell] = math.nan
            continue
        values[cell] = float(plain) if _DECIMAL.match(plain) else math.inf
        if not math.isfinite(values[cell]):
            raise DataError(
                f"{source}, line {lines[cells.index(cell)]}: {column} {quoted(text)} is not a "
                "number; write the degrees alone, or leave the cell blank"
            )
    return np.fromiter(map(values.__getitem__, cells), dtype=float, count=len(cells))
