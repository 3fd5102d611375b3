"""Published and independently computed numbers, kept outside the project.

They lie in the folder named by the environment variable SAPDIAL_REFERENCE, or in
`shared/reference` next to the checkout. Tests that need them are skipped where it is absent.
"""

import csv
import os
from collections.abc import Callable
from pathlib import Path

import pytest

Row = dict[str, str]


def _folder() -> Path:
    beside_checkout = Path(__file__).resolve().parents[2] / "shared" / "reference"
    return Path(os.environ.get("SAPDIAL_REFERENCE") or beside_checkout)


def _missing(relative: str) -> str:
    return (
        "reference data not found: set SAPDIAL_REFERENCE to the folder that holds "
        f"{relative} (looked in {_folder()})"
    )


def reference_file(relative: str) -> Path:
    """Return the path of a reference file; skip the running test if it is absent."""
    path = _folder() / relative
    if not path.is_file():
        pytest.skip(_missing(relative))
    return path


def reference_rows(relative: str) -> list[Row]:
    """Return the rows of a reference table; skip the running test if it is absent."""
    return _read(reference_file(relative))


def reference_cases(
    relative: str, name_column: str, wanted: Callable[[Row], bool] = lambda row: True
) -> list[object]:
    """Return one test case a wanted row, named by a column; one skipped case if absent."""
    path = _folder() / relative
    if not path.is_file():
        return [pytest.param({}, id="absent", marks=pytest.mark.skip(reason=_missing(relative)))]
    return [pytest.param(row, id=row[name_column]) for row in _read(path) if wanted(row)]


def _read(path: Path) -> list[Row]:
    with path.open(newline="", encoding="utf-8") as lines:
        return list(csv.DictReader(lines))
