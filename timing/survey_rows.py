"""What a survey says of one site: usual dates and windows of every taxon, as rows of a table.

Dates stand in 2022, which has no 29 February before or after it: the median of an event and the
opening of a window fall into it, the other dates stand around them and may carry 2021 or 2023.
They are usual dates, from past seasons alone; no running season is told of.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from typing import Literal, NamedTuple

import numpy as np

from timing.answers import Outlook, outlook, site_drivers
from timing.drivers import Drivers, count_chill
from timing.errors import SapdialError
from timing.intake.region_file import ListedSite, WrongLine
from timing.intake.temperatures import read_temperatures
from timing.season import CYCLE_DAYS, Floats
from timing.site import Site
from timing.species.model import WORK_KINDS, Species, WorkKind
from timing.temperature import TemperatureRecord
from timing.windows import MARGINAL, runs_at

YEAR = 2022
FIRST_OF_MARCH = 59
FIRST_OF_JANUARY = np.datetime64(f"{YEAR}-01-01", "D")
Level = Literal["safe", "marginal", "none"]
COLUMNS: tuple[tuple[str, Literal["text", "degrees", "metres", "date", "count", "share"]], ...] = (
    ("site", "text"),
    ("latitude", "degrees"),
    ("longitude", "degrees"),
    ("elevation_m", "metres"),
    ("taxon", "text"),
    ("kind", "text"),
    ("name", "text"),
    ("number", "count"),
    ("early", "date"),
    ("median", "date"),
    ("late", "date"),
    ("share", "share"),
    ("opens", "date"),
    ("closes", "date"),
    ("level", "text"),
    ("best_chance", "share"),
    ("seasons", "count"),
    ("note", "text"),
)
NAMES = tuple(name for name, _ in COLUMNS)


class Row(NamedTuple):
    """One row, its cells as they are written; blank where a column does not apply."""

    site: str
    latitude: str = ""
    longitude: str = ""
    elevation_m: str = ""
    taxon: str = ""
    kind: str = "site"
    name: str = ""
    number: str = ""
    early: str = ""
    median: str = ""
    late: str = ""
    share: str = ""
    opens: str = ""
    closes: str = ""
    level: str = ""
    best_chance: str = ""
    seasons: str = ""
    note: str = ""


def rows_of_sites(
    items: Sequence[ListedSite | WrongLine], taxa: Sequence[Species], confidence: float
) -> list[Row]:
    """Rows of several sites in their order; one that fails gets a row that says why.

    Parameters
    ----------
    items : lines of the table of sites.
    taxa : the taxa asked for.
    confidence : chance from which a day counts as safe.
    """
    opened = [_open(item) for item in items]
    ready = [found[1] for found in opened if not isinstance(found, Row)]
    count_chill(ready)
    rows: list[Row] = []
    for found in opened:
        if isinstance(found, Row):
            rows.append(found)
        else:
            rows.extend(_site_rows(*found, taxa, confidence))
    return rows


def as_csv(rows: Iterable[Sequence[str]]) -> str:
    """Rows as CSV, without a header."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _open(item: ListedSite | WrongLine) -> Row | tuple[TemperatureRecord, Drivers]:
    """A site's record and seasons, or the row that says why it has none."""
    if isinstance(item, WrongLine):
        return Row(item.name, name="failed", note=_line(str(item.error)))
    try:
        found = read_temperatures(item.temperatures)
        site = replace(item.site, attribution=found.origin.named)
        return found.record, site_drivers(found.record, site)
    except SapdialError as error:
        return _of(item.site)._replace(name="failed", note=_line(str(error)))


def _of(site: Site) -> Row:
    height = "" if site.elevation_m is None else f"{site.elevation_m:.10g}"
    return Row(site.name, f"{site.latitude:.10g}", f"{site.longitude:.10g}", height)


def _site_rows(
    record: TemperatureRecord, drivers: Drivers, taxa: Sequence[Species], confidence: float
) -> list[Row]:
    base = _of(drivers.site)
    rows: list[Row] = []
    seasons = ""
    for species in taxa:
        view = outlook(species, record, drivers)
        seasons = str(view.seasons)
        named = base._replace(taxon=species.slug, seasons=seasons)
        rows.extend(_event_row(named, view, event) for event in view.event_names())
        for kind in WORK_KINDS:
            rows.extend(_work_rows(named, view, kind, confidence))
    note = _line(drivers.site.attribution)
    return [base._replace(name="answered", seasons=seasons, note=note), *rows]


def _event_row(named: Row, view: Outlook, event: str) -> Row:
    usual = view.usual(event)
    if usual is None:
        days = view.events.days[event][view.used]
        share = np.count_nonzero(np.isfinite(days)) / days.size
        why = _line(view.events.why_absent(event))
        return named._replace(kind="event", name=event, share=_share(share), note=why)
    median = _day_of_year(usual.median)
    before = (usual.median - usual.early) % CYCLE_DAYS
    after = (usual.late - usual.median) % CYCLE_DAYS
    return named._replace(
        kind="event",
        name=event,
        early=_date(median - before),
        median=_date(median),
        late=_date(median + after),
        share=_share(usual.share),
    )


def _work_rows(named: Row, view: Outlook, kind: WorkKind, confidence: float) -> list[Row]:
    row = named._replace(kind="work", name=kind)
    chance = view.odds[kind].chance
    levels: tuple[tuple[Level, float], ...] = (("safe", confidence), ("marginal", MARGINAL))
    for level, least in levels:
        if found := windows_of_year(chance, least):
            return [
                row._replace(
                    number=str(number),
                    opens=_date(opens),
                    closes=_date(opens + days - 1),
                    level=level,
                    best_chance=_share(best),
                )
                for number, (opens, days, best) in enumerate(found, start=1)
            ]
    asked = bool(view.species.work[kind])
    note = f"no day reaches {MARGINAL:.0%}" if asked else "the taxon has no such work"
    return [row._replace(level="none", best_chance=_share(float(chance.max())), note=note)]


def windows_of_year(chance: Floats, level: float) -> list[tuple[int, int, float]]:
    """Windows of a year at or above a chance, the longest first, then by opening.

    Parameters
    ----------
    chance : array (365,), by cycle day (0 = 1 March); the year closes on itself.
    level : least chance.

    Returns
    -------
    First day (0 = 1 January), number of days and best chance of each. A year without a break
    opens on 1 January.
    """
    if (chance >= level - 1e-9).all():
        return [(0, CYCLE_DAYS, float(chance.max()))]
    found = []
    twice = np.concatenate((chance, chance))
    for start, stop in runs_at(twice, level):
        goes_on = start == 0 and chance[-1] >= level - 1e-9  # a run that began in the old year
        if goes_on or start >= CYCLE_DAYS:
            continue
        found.append((_day_of_year(start), stop - start, float(twice[start:stop].max())))
    return sorted(found, key=lambda window: (-window[1], window[0]))


def _day_of_year(cycle: int) -> int:
    """Day of a year without 29 February (0 = 1 January) from a cycle day (0 = 1 March)."""
    return (cycle + FIRST_OF_MARCH) % CYCLE_DAYS


def _date(day: int) -> str:
    """The date so many days after 1 January 2022; from 2021 to 2023."""
    return _dates()[day + CYCLE_DAYS]


@cache
def _dates() -> tuple[str, ...]:
    years = np.arange(f"{YEAR - 1}-01-01", f"{YEAR + 2}-01-01", dtype="datetime64[D]")
    return tuple(map(str, years))


def _share(value: float) -> str:
    return f"{value:.4f}"


def _line(text: str) -> str:
    return " ".join(text.split())
