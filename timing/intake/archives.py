"""Texts inside a file as it was downloaded: a zip or gzip archive is opened, in memory.

Reading stops at `timing.intake.text.LARGEST_BYTES` whatever an archive says of its size, and
archives inside archives stay closed.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from timing.errors import DataError
from timing.intake.text import LARGEST_BYTES, decoded, read_bytes, shown_name, too_large

MOST_MEMBERS = 2000
HEAD_BYTES = 64 * 1024
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError,
            RuntimeError, ValueError, IndexError, OverflowError)  # fmt: skip
_SPREADSHEET = ("[Content_Types].xml", "content.xml")


@dataclass(frozen=True)
class Part:
    """A text and the name it goes by in messages."""

    name: str
    text: str


def open_parts(path: Path, is_wanted: Callable[[str], bool]) -> list[Part]:
    """Texts of a file: itself, what a gzip file holds, or the members of a zip that are wanted.

    Parameters
    ----------
    path : the file.
    is_wanted : tells from the first lines of a member of a zip whether to read it.

    Raises
    ------
    UsageError : the file does not exist or cannot be opened.
    DataError : it is not text, too large, damaged, or an archive in which nothing is wanted.
    """
    raw, source = read_bytes(path), shown_name(path)
    if raw.startswith(b"PK\x03\x04"):
        return _members(raw, source, is_wanted)
    if raw.startswith(b"\x1f\x8b"):
        raw = _inflated(raw, source)
    return [Part(source, decoded(raw, source))]


def _inflated(raw: bytes, source: str) -> bytes:
    """Content of a gzip file of one or more sections."""
    pieces, size = [], 0
    try:
        while raw.startswith(b"\x1f\x8b"):
            section = zlib.decompressobj(wbits=31)
            pieces.append(section.decompress(raw, LARGEST_BYTES + 1 - size))
            size += len(pieces[-1])
            if size > LARGEST_BYTES:
                raise too_large(source)
            if not section.eof:
                raise EOFError("it ends too early")
            raw = section.unused_data
    except _DAMAGED as error:
        raise _damaged(source, error) from error
    return b"".join(pieces)


def _members(raw: bytes, source: str, is_wanted: Callable[[str], bool]) -> list[Part]:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            names = [info.filename for info in archive.infolist() if not info.is_dir()]
            if any(name in _SPREADSHEET for name in names):
                raise DataError(f"{source}: a spreadsheet; save it as CSV, UTF-8")
            if len(names) > MOST_MEMBERS:
                raise DataError(
                    f"{source}: {len(names)} files in one archive; unpack it and name the file of "
                    "your station"
                )
            wanted = [name for name in names if is_wanted(_head(archive, name))]
            if len(wanted) > 2:
                raise DataError(
                    f"{source}: {len(wanted)} temperature files in one archive; unpack it and "
                    "name the file of your station"
                )
            parts = [_part(archive, name, source) for name in wanted]
    except _DAMAGED as error:
        raise _damaged(source, error) from error
    if not parts:
        raise DataError(f"{source}: no daily temperatures in any of its {len(names)} files")
    return parts


def _head(archive: zipfile.ZipFile, name: str) -> str:
    """First lines of a member, or nothing where it is not text."""
    with archive.open(name) as member:
        try:
            return decoded(member.read(HEAD_BYTES), name)
        except DataError:
            return ""


def _part(archive: zipfile.ZipFile, name: str, source: str) -> Part:
    shown = "".join(letter for letter in Path(name).name[:80] if letter.isprintable())
    with archive.open(name) as member:
        raw = member.read(LARGEST_BYTES + 1)
    if len(raw) > LARGEST_BYTES:
        raise too_large(f"{source} ({shown})")
    return Part(f"{source} ({shown})", decoded(raw, f"{source} ({shown})"))


def _damaged(source: str, error: Exception) -> DataError:
    why = " ".join(str(error).split())[:80]
    return DataError(f"{source}: a damaged or locked archive ({why}); download it again")
