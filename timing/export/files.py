"""Write a file whole or not at all."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from timing.errors import UsageError


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a temporary path beside ``path`` that takes its place when the block succeeds.

    Raises
    ------
    UsageError : the folder does not exist or cannot be written.
    """
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        os.close(handle)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror})") from error
    temporary = Path(name)
    try:
        yield temporary
        _reach_the_disk(temporary)
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror})") from error
    finally:
        temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text, whole or not at all."""
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def json_text(value: dict[str, Any]) -> str:
    """A value as JSON, one entry a line; letters stay as they are."""
    return json.dumps(value, indent=1, ensure_ascii=False)


def write_json(path: Path, value: dict[str, Any]) -> None:
    """Write a value as JSON, whole or not at all."""
    write_text(path, f"{json_text(value)}\n")


def _reach_the_disk(path: Path) -> None:
    """Wait until the content is on the disk, so that a new name never stands for half a file."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
