"""Streams that pass nothing on which a terminal would obey instead of showing it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO, cast

from timing.plain_text import shown


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
    """Everything printed in the block is plain."""
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = (cast("TextIO", PlainStream(stream)) for stream in streams)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = streams
