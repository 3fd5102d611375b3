"""Streams that pass nothing on which a terminal would obey, and break on no letter they lack."""

from __future__ import annotations

import codecs
import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

from timing.plain_text import shown

PLAINER = dict.fromkeys("−–—", "-") | dict.fromkeys("“”„", '"') | {"…": "..."}


class PlainStream:
    """A text stream in which each such character is written as a question mark.

    Names of files, sites and columns are the user's own or somebody else's; wherever they turn up
    in an answer or an error, they pass through here.
    """

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        """Write what can be shown."""
        return self.stream.write(shown(text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


@contextmanager
def plain_streams() -> Iterator[None]:
    """Everything printed in the block is plain; a closed stream takes it and says nothing."""
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast("TextIO", PlainStream(_open(stream))) for stream in streams)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams


def _open(stream: TextIO | None) -> TextIO:
    """A stream to which every letter can be written: some encodings lack even the minus sign."""
    if stream is None:
        return io.StringIO()
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        ascii_only = codecs.lookup(stream.encoding).name == "ascii"  # nobody set one
        reconfigure(encoding="utf-8" if ascii_only else None, errors="sapdial-plainer")
    return stream


def _plainer(error: UnicodeError) -> tuple[str, int]:
    """What is written for letters that an encoding lacks: a plainer sign, else a question mark."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(PLAINER.get(letter, "?") for letter in lacking), error.end


codecs.register_error("sapdial-plainer", _plainer)
