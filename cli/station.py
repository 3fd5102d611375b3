"""Temperatures from a weather station: options of ``sapdial site add``, and ``site update``."""

from __future__ import annotations

import os
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from cli.notebook_options import notebook_option, notebook_path, now, open_notebook
from cli.numbers import Whole

if TYPE_CHECKING:
    from timing.intake.station_days import StationDays
    from timing.notebook.model import NotebookSite
    from timing.notebook.readings import Kind, Readings
    from timing.notebook.store import Notebook

F = TypeVar("F", bound=Callable[..., Any])

VARIABLE = "SAPDIAL_CACHE"
SINCE = 1991
UPDATED = "last update,"  # notes of an update take the place of those of the one before


def station_options(function: F) -> F:
    """Whether to fetch the temperatures, since when and from which station."""
    for option in reversed(
        (
            click.option(
                "--download",
                is_flag=True,
                help="Fetch the temperatures of a weather station nearby; goes online.",
            ),
            click.option(
                "--since",
                type=Whole(1800, 2200),
                metavar="YEAR",
                help=f"With --download: first year to fetch [default: {SINCE}].",
            ),
            click.option(
                "--station",
                metavar="CODE",
                help="With --download: this station instead of one chosen; with --temperatures: "
                "which station of a file of several.",
            ),
        )
    ):
        function = option(function)
    return function


def downloaded(
    site: NotebookSite, since: int | None, code: str | None, notebook: Path | None
) -> tuple[NotebookSite, Readings, Readings | None]:
    """A new site with the temperatures of a station, and what it expects of the days ahead.

    How the station was chosen is told on stdout.
    """
    from timing.intake.credits import attribution, licence
    from timing.intake.download import download
    from timing.notebook.model import SiteStation

    if notebook_path(notebook).exists():
        with open_notebook(notebook) as book:
            book.refuse_taken_site(site.name)  # before anything is fetched
    with _progress() as tell:
        found = download(
            site.place(),
            today=now().date(),
            since=SINCE if since is None else since,
            folder=cache_folder(),
            code=code,
            progress=tell,
        )
    for note in found.notes:
        click.echo(note, err=True)
    for line in found.why:
        _say(line)
    station, fetched = found.station, found.fetched
    site = replace(
        site,
        source=f"station {station.label}",
        attribution=site.attribution or attribution(fetched.credits),
        licence=site.licence or licence(fetched.credits),
        station=SiteStation(station, found.offset_c, fetched.when),
        notes=found.notes_kept,
    )
    _say(f"Source: {site.attribution}; {site.licence}.")
    return site, _readings(fetched.days), _forecast(fetched.forecast)


def corrected(site: NotebookSite, offset_c: float | None) -> NotebookSite:
    """A site with another correction of what its station measured; None leaves it."""
    from timing.errors import UsageError

    if offset_c is None:
        return site
    if site.station is None:
        raise UsageError(
            "--correction goes with temperatures of a weather station; those of a file are taken "
            "as they are"
        )
    return replace(site, station=replace(site.station, offset_c=offset_c))


@click.command("update")
@click.argument("name", required=False)
@notebook_option
def update(name: str | None, notebook: Path | None) -> None:
    """Bring the temperatures of a station up to yesterday; goes online.

    NAME is one site; without it every site whose temperatures come from a station. The last 30
    days held are fetched again, because services correct them; older days stay as they are.
    """
    from timing.errors import UsageError

    with open_notebook(notebook) as book:
        chosen = (book.site(name),) if name is not None else book.sites()
        fed = [site for site in chosen if site.station is not None]
        if not fed:
            whose = f"site {chosen[0].name} has no" if name is not None else "no site has"
            raise UsageError(
                f"{whose} temperatures from a weather station; 'sapdial site add' with --download "
                "makes one that has; a file with newer days goes to 'sapdial site change'"
            )
        for site in fed:
            _update(book, site)


def _update(book: Notebook, site: NotebookSite) -> None:
    from timing.errors import DataError
    from timing.intake.credits import attribution, licence
    from timing.intake.download import tail
    from timing.intake.station_days import StationDays

    held = book.readings(site.name)
    if site.station is None or held is None:
        raise DataError(f"site {site.name} has lost its temperatures; remove it and add it again")
    with _progress() as tell:
        fetched, merged = tail(
            site.station.station,
            StationDays(held.days, held.tmin_c, held.tmax_c),
            today=now().date(),
            folder=cache_folder(),
            progress=tell,
        )
    for note in fetched.notes:
        click.echo(f"{site.name}: {note}", err=True)

    def noted(old: NotebookSite) -> NotebookSite:
        if old.station is None:
            return old
        return replace(
            old,
            attribution=attribution(fetched.credits, old.attribution),
            licence=licence(fetched.credits, old.licence),
            station=replace(old.station, fetched=fetched.when),
            notes=(
                *(note for note in old.notes if not note.startswith(UPDATED)),
                *(f"{UPDATED} {fetched.when}: {note}" for note in fetched.notes),
            ),
        )

    news = f"{_days(merged.added)} added, {merged.revised} revised; up to {merged.days.days[-1]}"
    both = held, _readings(merged.days)
    beside: dict[Kind, Readings | None] = {"forecast": _forecast(fetched.forecast)}
    click.echo(book.update_site(site.name, both, noted, news, when=now(), beside=beside).what)


def cache_folder() -> Path:
    """Where fetched files are kept: the folder of the environment, or one of the user's own."""
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named)
    import platformdirs

    return platformdirs.user_cache_path("sapdial")


def _forecast(days: StationDays) -> Readings | None:
    """Days ahead that a service gave, or None where it gave none."""
    return _readings(days) if len(days) else None


def _readings(days: StationDays) -> Readings:
    from timing.notebook.readings import Readings

    return Readings(days.days, days.tmin_c, days.tmax_c)


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Tell what is being done on a line that the next one overwrites; at a terminal only."""

    def tell(text: str) -> None:
        if sys.stderr.isatty():
            getattr(sys.stderr, "stream", sys.stderr).write("\r\x1b[K")
            sys.stderr.write(text)
            sys.stderr.flush()

    try:
        yield tell
    finally:
        tell("")


def _say(text: str) -> None:
    click.echo(textwrap.fill(text, 80, subsequent_indent="  ", break_on_hyphens=False))


def _days(number: int) -> str:
    return f"{number} day{'' if number == 1 else 's'}"
