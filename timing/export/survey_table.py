"""The table of a survey as CSV, Parquet or NetCDF, put together from its parts.

All three are made part by part, so that memory does not grow with the number of sites, and the
same parts give the same bytes. Parquet and NetCDF need packages of the optional extra ``grid``;
their modules are imported only when such a file is written.
"""

from __future__ import annotations

import importlib
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

from timing.errors import UsageError
from timing.export.files import replacing
from timing.survey_parts import rows_text
from timing.survey_rows import NAMES

WRITERS = {".parquet": ("survey_parquet", "pyarrow"), ".nc": ("survey_netcdf", "netCDF4")}
SUFFIXES = (".csv", *WRITERS)


def check_output(path: Path) -> None:
    """Refuse an output that could not be written in the end.

    Raises
    ------
    UsageError : an unknown ending, no such folder, or the package for it is not installed.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise UsageError(f"-o {path}: the name must end in one of {', '.join(SUFFIXES)}")
    if not path.parent.is_dir():
        raise UsageError(f"-o {path}: there is no folder {path.parent}; make it first")
    if suffix in WRITERS:
        _writer(path)


def write_table(path: Path, parts: Sequence[Path], taxa: Sequence[str]) -> None:
    """Put the parts together in the form that the ending of ``path`` names.

    Raises
    ------
    UsageError : the file cannot be written, or the package for it is not installed.
    """
    writer = _writer(path) if path.suffix.lower() in WRITERS else None
    with replacing(path) as temporary:
        if writer is None:
            _write_csv(temporary, parts)
        else:
            writer.write(temporary, parts, taxa)


def _writer(path: Path) -> ModuleType:
    module, package = WRITERS[path.suffix.lower()]
    try:
        return importlib.import_module(f"timing.export.{module}")
    except ImportError as error:
        raise UsageError(
            f"-o {path}: {path.suffix} needs the package {package}; install 'sapdial[grid]', or "
            "write a .csv"
        ) from error


def _write_csv(path: Path, parts: Sequence[Path]) -> None:
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(",".join(NAMES) + "\n")
        for part in parts:
            file.write(rows_text(part))
