"""The finished parts of a survey, kept beside its output until it is whole.

A part holds the rows of a few neighbouring sites of the table. Its first line has two
fingerprints: of all that its rows depend on (the lines and files of its sites, the taxa, the
confidence, the program), and of the rows themselves. A part whose fingerprints do not fit is
computed anew, so neither a changed input nor a damaged file passes for a finished site. Parts are
written whole or not at all.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from timing.errors import UsageError
from timing.export.files import write_text
from timing.intake.region_file import ListedSite, WrongLine
from timing.species.catalogue import load_species
from timing.survey_rows import Row, as_csv, rows_of_sites

SITES_OF_PART = 4  # their chill is counted together, and no more is lost when a survey stops
MARK = "sapdial survey part"
_OWN_FILE = re.compile(r"\.?\d{7}\.csv(\.\w+)?\Z")


@dataclass(frozen=True)
class Question:
    """What a survey asks of every site: taxa, confidence, and which program answers."""

    taxa: tuple[str, ...]
    confidence: float
    program: str


@dataclass(frozen=True)
class Part:
    """Some sites of the table, and the file that holds or will hold their rows."""

    file: Path
    items: tuple[ListedSite | WrongLine, ...]


@dataclass(frozen=True)
class Finished:
    """What became of a part.

    Parameters
    ----------
    sites : how many sites it holds.
    state : computed now; kept from an earlier run; or anew, because something changed since.
    failed : names of the sites that failed, and why.
    """

    sites: int
    state: str
    failed: tuple[tuple[str, str], ...]


def program() -> str:
    """Fingerprint of the library: its code and tables, and NumPy's version."""
    root = Path(__file__).parent
    digest = hashlib.sha256(np.__version__.encode())
    for path in sorted((*root.rglob("*.py"), *root.rglob("*.toml"))):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0")
        digest.update(path.read_bytes())
    return digest.hexdigest()


def parts_folder(output: Path) -> Path:
    """Folder of the parts of an output."""
    return output.with_name(f"{output.name}.parts")


def open_folder(folder: Path) -> None:
    """Make the folder of the parts, or find it there.

    Raises
    ------
    UsageError : it cannot be made, or holds files that are no parts.
    """
    try:
        folder.mkdir(exist_ok=True)
        strange = sorted(p.name for p in folder.iterdir() if not _OWN_FILE.match(p.name))
    except OSError as error:
        raise UsageError(f"{folder}: cannot be written ({error.strerror})") from error
    if strange:
        raise UsageError(
            f"{folder}: holds {strange[0]}, which is no part of a survey; move it or choose "
            "another output"
        )


def remove_folder(folder: Path) -> None:
    """Remove the parts, and the folder when nothing else is in it."""
    with suppress(OSError):
        for path in folder.iterdir():
            if _OWN_FILE.match(path.name):
                path.unlink(missing_ok=True)
        folder.rmdir()


def finish(part: Part, question: Question) -> Finished:
    """Make sure that the rows of a part stand in its file."""
    wanted = _fingerprint(part.items, question)
    found = _read(part.file)
    if found is not None and found[0] == wanted:
        return _finished(part, "kept", csv.reader(io.StringIO(found[1])))
    taxa = [load_species(slug) for slug in question.taxa]
    rows = rows_of_sites(part.items, taxa, question.confidence)
    text = as_csv(rows)
    write_text(part.file, f"{MARK},{wanted},{_sha(text.encode())}\n{text}")
    return _finished(part, "computed" if found is None else "anew", rows)


def part_file(folder: Path, number: int) -> Path:
    """File of a part by its number."""
    return folder / f"{number:07d}.csv"


def rows_text(file: Path) -> str:
    """Rows of a finished part, as CSV without a header."""
    return file.read_text(encoding="utf-8").partition("\n")[2]


def read_rows(files: Sequence[Path]) -> Iterator[Row]:
    """Rows of finished parts, one after the other."""
    for file in files:
        yield from map(Row._make, csv.reader(io.StringIO(rows_text(file))))


def _read(file: Path) -> tuple[str, str] | None:
    """Fingerprint of the input, and the rows, of a part that is whole; else None."""
    try:
        head, _, text = file.read_text(encoding="utf-8").partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    mark, _, prints = head.partition(",")
    of_input, _, of_rows = prints.partition(",")
    return (of_input, text) if mark == MARK and of_rows == _sha(text.encode()) else None


def _fingerprint(items: Sequence[ListedSite | WrongLine], question: Question) -> str:
    digest = hashlib.sha256(repr(question).encode())
    for item in items:
        if isinstance(item, WrongLine):
            digest.update(repr((item.name, item.line, str(item.error))).encode())
            continue
        digest.update(repr((item.site, str(item.temperatures))).encode())
        try:
            with item.temperatures.open("rb") as file:
                digest.update(hashlib.file_digest(file, "sha256").digest())
        except OSError as error:
            digest.update(repr(error.strerror).encode())
    return digest.hexdigest()


def _finished(part: Part, state: str, rows: Iterator[list[str]] | list[Row]) -> Finished:
    column = {name: number for number, name in enumerate(Row._fields)}
    failed = tuple(
        (row[column["site"]], row[column["note"]])
        for row in rows
        if row[column["name"]] == "failed" and row[column["kind"]] == "site"
    )
    return Finished(len(part.items), state, failed)


def _sha(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()
