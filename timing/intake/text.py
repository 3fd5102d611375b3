"""Open a text file a user named, or say in one sentence why it cannot be read."""

from __future__ import annotations

import codecs
import csv
import io
import re
from pathlib import Path

from timing.errors import DataError, UsageError
from timing.plain_text import shown

LARGEST_BYTES = 64 * 1024 * 1024  # thirty years of readings every ten minutes
DECIMAL = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?\Z")
_NOT_IN_TEXT = frozenset(chr(code) for code in range(32)) - frozenset("\t\n\r\v\f\x1a")


def read_utf8(path: Path) -> str:
    """Text of a file in UTF-8, with or without a byte order mark.

    Raises
    ------
    UsageError : the file does not exist or cannot be opened.
    DataError : it is too large, or not text.
    """
    try:
        return read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DataError(
            f"{path}: not a text file in UTF-8 (byte {error.start}); save it as CSV, UTF-8"
        ) from error


def csv_rows(path: Path) -> list[tuple[int, list[str]]]:
    """Rows of a CSV in UTF-8, each with the number of its first line; blank rows are left out.

    Raises
    ------
    UsageError : the file does not exist or cannot be opened.
    DataError : it is not text or not CSV.
    """
    rows = csv.reader(io.StringIO(read_utf8(path), newline=""), strict=True)
    found: list[tuple[int, list[str]]] = []
    ended = 0
    try:
        for row in rows:
            first, ended = ended + 1, rows.line_num
            if any(cell.strip() for cell in row):
                found.append((first, row))
    except csv.Error as error:
        raise DataError(f"{path}, line {rows.line_num}: not readable as CSV ({error})") from error
    return found


def read_bytes(path: Path) -> bytes:
    """Bytes of a file of at most `LARGEST_BYTES`.

    Raises
    ------
    UsageError : the file does not exist or cannot be opened.
    DataError : it is too large.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"{shown_name(path)}: cannot be read ({error.strerror})") from error
    except ValueError as error:  # a zero byte in the name
        raise UsageError(f"{shown_name(path)}: not the name of a file") from error
    if len(raw) > LARGEST_BYTES:
        raise too_large(str(path))
    return raw


def too_large(source: str) -> DataError:
    """What is said of a file nobody should read into memory."""
    return DataError(
        f"{source}: more than {LARGEST_BYTES // 1024**2} MB; keep one station and its "
        "temperatures in a file of their own"
    )


def decoded(raw: bytes, source: str) -> str:
    """Text in UTF-8, UTF-16 (with a byte order mark) or, failing those, Latin-1.

    Raises
    ------
    DataError : it is not text.
    """
    utf16 = raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = raw.decode("utf-16" if utf16 else "utf-8-sig")
    except UnicodeDecodeError as error:
        text = "\0" if utf16 else raw.decode("latin-1")
        if not _NOT_IN_TEXT.isdisjoint(text):
            raise _not_text(source, error.start) from error
    if "\0" in text:
        raise _not_text(source, text.index("\0"))
    return text


def _not_text(source: str, place: int) -> DataError:
    return DataError(
        f"{source}: not a text file (byte {place}); save it as CSV, UTF-8, also if it is a "
        "spreadsheet"
    )


def printable(text: str, length: int = 40) -> str:
    """What the file says, cut short and without control characters."""
    return "".join(letter if letter.isprintable() else "?" for letter in text[:length])


def shown_name(path: Path | str) -> str:
    """A path or the name of a file, on one line."""
    return shown(" ".join(str(path).split()))


def quoted(text: str, length: int = 20) -> str:
    """The same between quotation marks."""
    return f"'{printable(text, length)}'"
