"""What was fetched of a station, kept as one plain CSV; written whole or not at all.

    # station: ZZ001 Invented Valley
    # source: Meteostat
    # licence: CC BY 4.0 (...); modified
    # changes: ...
    # credit Some Weather Service: CC BY 4.0
    # whole since: 1991
    # fetched 2024: 2026-03-01
    date,tmin_c,tmax_c
    2024-01-01,-3.1,4.0

A reading in it is replaced only by another reading, never by nothing.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
import os
import re
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

from timing.errors import DataError, UsageError
from timing.intake.credits import Credit, attribution, licence
from timing.intake.station_days import StationDays, merged
from timing.intake.stations import Station

HEADER = ["date", "tmin_c", "tmax_c"]
CHANGES = "values of models and forecasts and impossible pairs were left out"
SETTLED_DAYS = 60  # a year fetched so long after its end is not asked for again
CODE = re.compile(r"[A-Za-z0-9]{1,12}\Z")


@dataclass(frozen=True)
class Kept:
    """What is kept of a station.

    Parameters
    ----------
    days : its days.
    fetched : day on which each calendar year was fetched last.
    since : first calendar year asked for when last every year was answered, or None.
    credits : of the sources of the days.
    """

    days: StationDays = field(default_factory=lambda: StationDays.of({}))
    fetched: dict[int, dt.date] = field(default_factory=dict)
    since: int | None = None
    credits: frozenset[Credit] = frozenset()

    def settled(self, year: int) -> bool:
        """Whether a year was fetched long enough after its end."""
        when = self.fetched.get(year)
        return when is not None and (when - dt.date(year, 12, 31)).days >= SETTLED_DAYS

    def with_year(
        self, year: int, days: StationDays, named: frozenset[Credit], when: dt.date
    ) -> Kept:
        """The same with what a year brought."""
        return replace(
            self,
            days=merged(self.days, days).days,
            fetched={**self.fetched, year: when},
            credits=self.credits | named,
        )


def checked_code(code: str) -> str:
    """A station's code, which also names its file.

    Raises
    ------
    UsageError : it holds anything but letters and digits.
    """
    if not CODE.match(code):
        raise UsageError(
            f"--station {code!r} is not the code of a station; write letters and digits, as in "
            "12345"
        )
    return code


def read_kept(folder: Path, code: str) -> Kept:
    """What is kept of a station; nothing where there is no file or none that can be read."""
    try:
        text = _path(folder, code).read_text(encoding="utf-8")
        return _parsed(text.splitlines())
    except (OSError, ValueError):
        return Kept()


def write_kept(folder: Path, station: Station, kept: Kept) -> None:
    """Keep what was fetched of a station.

    Raises
    ------
    DataError : the file cannot be written.
    """
    path = _path(folder, station.code)
    lines = [
        f"# station: {station.code} {station.name}",
        f"# source: {attribution(kept.credits)}",
        f"# licence: {licence(kept.credits)}",
        f"# changes: {CHANGES}",
        *(f"# credit {item.name}: {item.terms}" for item in sorted(kept.credits)),
        *([] if kept.since is None else [f"# whole since: {kept.since}"]),
        *(f"# fetched {year}: {when}" for year, when in sorted(kept.fetched.items())),
        ",".join(HEADER),
        *(
            f"{day},{_cell(low)},{_cell(high)}"
            for day, (low, high) in kept.days.values().items()
        ),
    ]  # fmt: skip
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write("\n".join([*(line.replace("\n", " ") for line in lines), ""]))
            Path(part).replace(path)
        finally:
            Path(part).unlink(missing_ok=True)
    except OSError as error:
        raise DataError(
            f"{path}: what was fetched cannot be kept ({error.strerror}); name a folder that can "
            "be written in SAPDIAL_CACHE"
        ) from error


def _path(folder: Path, code: str) -> Path:
    return folder / "stations" / f"{checked_code(code)}.csv"


def _cell(value: float) -> str:
    return "" if math.isnan(value) else repr(value)


def _parsed(lines: list[str]) -> Kept:
    heads = [line.removeprefix("# ") for line in lines if line.startswith("#")]
    named = dict(line.split(": ", 1) for line in heads if ": " in line)
    credits = (
        Credit(key.removeprefix("credit").strip(), terms)
        for key, terms in named.items()
        if key.startswith("credit")
    )
    fetched = {
        int(key.removeprefix("fetched ")): dt.date.fromisoformat(value)
        for key, value in named.items()
        if key.startswith("fetched ")
    }
    rows = csv.reader(line for line in lines if not line.startswith("#"))
    if next(rows, None) != HEADER:
        raise ValueError
    values = {
        dt.date.fromisoformat(day): (float(low or "nan"), float(high or "nan"))
        for day, low, high in rows
    }
    return Kept(
        StationDays.of(values),
        fetched,
        int(named["whole since"]) if "whole since" in named else None,
        frozenset(credits),
    )
