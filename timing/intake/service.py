"""What the weather service may answer: nothing, something broken, or tables with blanks."""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Any

from timing.errors import DataError

OWN_FILE = "or give a file of your own with --temperatures"
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")


class UnreachableError(DataError):
    """The service is away, refuses, or does not answer in time."""


class DamagedError(DataError):
    """What the service sent cannot be read."""


def silent() -> UnreachableError:
    """The service shows no sign of life."""
    return UnreachableError(f"the weather service does not answer; try again later, {OWN_FILE}")


def number(value: Any, missing: Any = None) -> Any:
    """A finite number, or ``missing`` for a blank."""
    try:
        found = float(value)
    except (TypeError, ValueError):
        return missing
    return found if math.isfinite(found) else missing


def plain(value: Any) -> str:
    """A text on one line, empty for a blank."""
    return " ".join(value.split()) if isinstance(value, str) else ""


def day(value: Any) -> dt.date | None:
    """A date, or None for a blank."""
    match = _ISO.match(str(value))
    try:
        return dt.date.fromisoformat(match[0]) if match else None
    except ValueError:
        return None


def said(error: BaseException) -> str:
    """What an exception says, on one short line."""
    text = " ".join(str(getattr(error, "reason", None) or error).split())
    return text[:80] or type(error).__name__
