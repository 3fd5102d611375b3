"""Write a file whole or not at all, and never over what the answer is read from."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from timing.errors import UsageError


def spare(inputs: Iterable[Path], *outputs: Path) -> None:
    """Refuse to write over a file that an answer is read from, by whatever name it goes.

    Raises
    ------
    UsageError : an output is one of the inputs.
    """
    known = {place for path in inputs if (place := _place(path))}
    for path in outputs:
        if _place(path) in known:
            raise UsageError(
                f"{path}: the answer is read from this file, which would be lost; name another one"
            )


def _place(path: Path) -> tuple[int, int] | None:
    """Which file on which disk a path leads to; None where there is none."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


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


def json_text(value: dict[str, Any], *, escaped: bool = False) -> str:
    """A value as JSON, one entry a line; letters stay as they are unless they are to be escaped."""
    return json.dumps(value, indent=1, ensure_ascii=escaped)


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
