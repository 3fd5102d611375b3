"""``sapdial calendar --region``: one calendar for several sites; reads the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.bench import SAMPLE_DAY, Bench, notebook_bench
from cli.notebook_options import notebook_path, open_notebook
from cli.options import parse_day

if TYPE_CHECKING:
    import numpy as np

    from timing.intake.region_file import ListedSite
    from timing.intake.samples import Sample
    from timing.site import Site
    from timing.temperature import TemperatureRecord

ONE_SITE_ONLY = {
    "site_name": "--site",
    "sample": "--sample",
    "temperatures": "--temperatures",
    "units": "--units",
    "latitude": "--latitude",
    "longitude": "--longitude",
    "elevation": "--elevation",
}

region_option = click.option(
    "--region",
    metavar="FILE|NAME",
    help="Several sites in one calendar: a CSV name,latitude,longitude,elevation_m,temperatures, "
    "a tag of the notebook's sites, or a bundled region.",
)


@dataclass(frozen=True)
class Found:
    """The sites of a region that can answer, as they stood on the day, and those that cannot.

    ``files`` are those they were read from: a list of sites and the files it names.
    """

    name: str
    on: np.datetime64
    benches: tuple[Bench, ...]
    left_out: tuple[tuple[str, str], ...]
    files: tuple[Path, ...] = ()


def open_region(region: str, *, notebook: Path | None, on: str | None, **one_site: Any) -> Found:
    """Open the sites of a region; those left out are told on stderr."""
    from timing.errors import UsageError

    for key, option in ONE_SITE_ONLY.items():
        if one_site.get(key) is not None:
            raise UsageError(f"--region {region} and {option} exclude each other; give one of them")
    found = _open(region, notebook, on)
    for name, why in found.left_out:
        click.echo(f"region {found.name}: {name} is left out: {why}", err=True)
    return found


def _open(region: str, notebook: Path | None, on: str | None) -> Found:
    """Find out what a name stands for, and open its sites."""
    from timing.errors import UsageError
    from timing.intake.samples import samples

    path = Path(region)
    if path.is_file() or path.suffix.lower() == ".csv":
        return _open_file(path, on)
    bundled = [item for item in samples() if item.region and _same(item.region, region)]
    tags: dict[str, None] = {}
    if notebook_path(notebook).exists():
        with open_notebook(notebook) as book:
            tags = dict.fromkeys(tag for site in book.sites() for tag in site.tags)
    if tag := next((tag for tag in tags if _same(tag, region)), None):
        if bundled:
            raise UsageError(
                f"--region {region} is a tag of the notebook and a bundled, invented region; "
                "give the tag another name"
            )
        return _open_tag(tag, notebook, on)
    if bundled:
        return _open_bundled(bundled, on)
    known = dict.fromkeys(item.region for item in samples() if item.region)
    raise UsageError(
        f"--region {region!r} is no file, no tag of the notebook's sites "
        f"({', '.join(tags) or 'it has none'}) and no bundled region ({', '.join(known)})"
    )


def _same(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()


def _open_file(path: Path, on: str | None) -> Found:
    from timing.intake.region_file import read_region
    from timing.intake.text import shown_name

    today = parse_day(dt.date.today().isoformat() if on is None else on)
    sites = _Sites(today)
    listed = read_region(path)
    sites.files = (path, *(item.temperatures for item in listed))
    for item in listed:
        site, record = _read_listed(path, item, today)
        if record is None:
            sites.leave_out(site.name, f"its record begins after {today}")
        else:
            sites.add(site, record)
    return sites.found(shown_name(path.stem)[:80])


def _read_listed(
    path: Path, item: ListedSite, today: np.datetime64
) -> tuple[Site, TemperatureRecord | None]:
    """A listed site and its record up to the day; None where the record begins later."""
    from timing.errors import SapdialError
    from timing.intake.temperatures import read_temperatures

    try:
        found = read_temperatures(item.temperatures, until=today)
    except SapdialError as error:
        message = f"{path}, line {item.line}, column temperatures: {error}"
        try:
            whole = read_temperatures(item.temperatures).record
        except SapdialError:
            raise type(error)(message) from error
        if whole.first <= today:
            raise type(error)(message) from error
        return item.site, None
    return replace(item.site, attribution=found.origin.named), found.record


def _open_bundled(bundled: Sequence[Sample], on: str | None) -> Found:
    from timing.intake.samples import sample_record

    last = min(item.last for item in bundled)
    sites = _Sites(parse_day(f"{last[:4]}-{SAMPLE_DAY}" if on is None else on))
    for item in bundled:
        sites.add(item.site, sample_record(item, until=sites.today))
    return sites.found(bundled[0].region)


def _open_tag(tag: str, notebook: Path | None, on: str | None) -> Found:
    from timing.errors import DataError

    today = parse_day(dt.date.today().isoformat() if on is None else on)
    sites = _Sites(today)
    with open_notebook(notebook) as book:
        for site in book.sites(tag=tag):
            try:
                sites.benches.append(notebook_bench(book, site.name, today))
            except DataError as error:
                sites.leave_out(site.name, str(error))
    return sites.found(tag)


class _Sites:
    """Sites opened one by one; those whose record is too short are left out."""

    def __init__(self, today: np.datetime64) -> None:
        self.today = today
        self.benches: list[Bench] = []
        self.left_out: list[tuple[str, str]] = []
        self.files: tuple[Path, ...] = ()

    def add(self, site: Site, record: TemperatureRecord) -> None:
        from timing.answers import site_drivers
        from timing.errors import DataError

        try:
            self.benches.append(Bench(site, record, site_drivers(record, site), self.today))
        except DataError as error:
            self.leave_out(site.name, str(error))

    def leave_out(self, name: str, why: str) -> None:
        self.left_out.append((name, why))

    def found(self, name: str) -> Found:
        return Found(name, self.today, tuple(self.benches), tuple(self.left_out), self.files)
