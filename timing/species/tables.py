"""Read the library's TOML files: a table at a time, naming file and key when something is wrong."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from importlib.resources import files
from typing import Any

from timing.errors import DataError
from timing.species.model import EVIDENCE, Point

_POINT = re.compile(r"([a-z_]+)(?:([+-])(\d+)w)?\Z")


@cache
def read_table(stem: str) -> dict[str, Any]:
    """One species file as it stands, by its name without the ending."""
    text = (files("timing.species") / f"{stem}.toml").read_text(encoding="utf-8")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataError(f"species file {stem}.toml is not valid TOML: {error}") from error


def read_point(text: str) -> Point | None:
    """An event with an offset in weeks, or None where the text is no such thing.

    >>> read_point("bud_break-4w")
    Point(event='bud_break', offset_days=-28)
    """
    match = _POINT.match(text)
    if not match:
        return None
    event, sign, weeks = match.groups()
    return Point(event, 7 * int(f"{sign}{weeks}") if weeks else 0)


@contextmanager
def naming_the_file(stem: str, entry: str = "") -> Iterator[None]:
    """Say of a value of a sort nobody foresaw in which file it stands, and in which entry."""
    try:
        yield
    except (TypeError, ValueError, LookupError, AttributeError) as error:
        where = f", {entry}" if entry else ""
        raise DataError(
            f"species file {stem}.toml{where}: a value is not of the sort it should be ({error})"
        ) from error


class TableReader:
    """Takes values out of the tables of one file; what is missing or wrong is named."""

    def __init__(self, stem: str) -> None:
        self.stem = stem

    def fail(self, key: str, problem: str) -> DataError:
        """The error that names the file and a key."""
        return DataError(f"species file {self.stem}.toml, {key}: {problem}")

    def text(self, table: Mapping[str, Any], key: str, where: str) -> str:
        """A text that is not blank."""
        value = table.get(key)
        if not isinstance(value, str) or not value.strip():
            raise self.fail(f"{where}.{key}" if where else key, "a text is needed here")
        return value

    def one_of(self, table: Mapping[str, Any], key: str, where: str, allowed: Iterable[str]) -> Any:
        """One of the allowed texts."""
        value = self.text(table, key, where)
        allowed = tuple(allowed)
        if value not in allowed:
            raise self.fail(f"{where}.{key}", f"{value!r} is not one of {', '.join(allowed)}")
        return value

    def number(self, table: Mapping[str, Any], key: str, where: str) -> float:
        """A number."""
        value = table.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fail(f"{where}.{key}", "a number is needed here")
        return float(value)

    def known(self, table: Mapping[str, Any], where: str, keys: Iterable[str]) -> None:
        """Refuse a key that nobody reads, such as a misspelt one."""
        if unknown := set(table) - set(keys):
            raise self.fail(f"{where}.{min(unknown)}" if where else min(unknown), "no such key")

    def provenance(self, table: Mapping[str, Any], where: str) -> tuple[str, str]:
        """Evidence grade and source."""
        return (
            self.one_of(table, "evidence", where, EVIDENCE),
            self.text(table, "source", where),
        )
