"""Errors a caller may meet, each with the exit status the command reports.

    SapdialError
    ├── UsageError   2   the question is wrong: an option, a name, a date, a latitude
    └── DataError    1   the data cannot answer: a file, a record, too few seasons

A message is one sentence that names the file, line or option, says what was found
there and what would be right. Facts such as "this never happens at this site" are
not errors: they are results with a reason.
"""

from __future__ import annotations


class SapdialError(Exception):
    """Base of every error the library raises on purpose."""

    exit_code = 1


class UsageError(SapdialError):
    """The question cannot be understood as asked."""

    exit_code = 2


class DataError(SapdialError):
    """The question is clear but the data cannot answer it."""

    exit_code = 1
