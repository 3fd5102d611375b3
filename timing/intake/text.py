"""Open a text file a user named, or say in one sentence why it cannot be read."""

from __future__ import annotations

from pathlib import Path

from timing.errors import DataError, UsageError


def read_utf8(path: Path) -> str:
    """Text of a file in UTF-8, with or without a byte order mark.

    Raises
    ------
    UsageError : the file does not exist or cannot be opened.
    DataError : it is not text.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise DataError(
            f"{path}: not a text file in UTF-8 (byte {error.start}); save it as CSV, UTF-8"
        ) from error
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from error
