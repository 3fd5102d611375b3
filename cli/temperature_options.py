"""Options that name a file of temperatures and say what it does not say itself."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from timing.intake.series import Intake
    from timing.notebook.model import NotebookSite
    from timing.notebook.readings import Readings

F = TypeVar("F", bound=Callable[..., Any])


def _paths(
    _context: click.Context, _option: click.Parameter, value: tuple[Path, ...]
) -> tuple[Path, ...] | None:
    return value or None


temperatures_option = click.option(
    "--temperatures",
    type=click.Path(path_type=Path),
    multiple=True,
    callback=_paths,
    metavar="FILE",
    help="Daily CSV: date,tmin_c,tmax_c; blank = missing. Other files as docs/files.md lists them; "
    "twice for a pair of minima and maxima.",
)
units_option = click.option(
    "--units",
    type=click.Choice(["c", "f", "tenths_c", "k"]),
    help="Unit of the temperatures in FILE, where it does not say.",
)
fill_option = click.option(
    "--fill-from",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Temperatures of a place nearby: they fill gaps of more than three days, brought to this "
    "site's level month by month, and stay marked.",
)
change_station_option = click.option(
    "--station", metavar="CODE", help="With --temperatures: which station of a file of several."
)
_READING = (
    temperatures_option,
    units_option,
    click.option(
        "--day-first", is_flag=True, help="With --temperatures: 03/04/2024 is 3 April, not 4 March."
    ),
    click.option(
        "--decimal-comma", is_flag=True, help="With --temperatures: decimals are written 1,5."
    ),
    click.option(
        "--time-zone",
        metavar="ZONE",
        help="With --temperatures: turn a logger's times, which bear an offset, into this zone's, "
        "such as Europe/Zurich.",
    ),
    click.option(
        "--morning-maximum/--no-morning-maximum",
        "morning_reading",
        default=None,
        help="With --temperatures: maxima were read in the morning and belong to the day before, "
        "or were not [default: as the file says].",
    ),
)
_SAID = ("units", "day_first", "decimal_comma", "time_zone", "morning_reading")


@dataclass(frozen=True)
class TemperatureFiles:
    """Files the user named, and what was said about them."""

    paths: tuple[Path, ...]
    said: dict[str, Any]

    @property
    def names(self) -> str:
        """The names of the files without their folders."""
        return " + ".join(path.name for path in self.paths)

    def read(self, station: str | None = None) -> Intake:
        """The checked record; what its checks found is told on stderr."""
        from timing.intake.temperatures import read_temperatures

        found = read_temperatures(self.paths, station=station, **self.said)
        for warning in found.record.warnings:
            click.echo(f"{found.record.source}: {warning}", err=True)
        return found


def neighbour_of(
    site: NotebookSite, readings: Readings, path: Path
) -> tuple[NotebookSite, Readings]:
    """A site with a neighbour's name and credit, and the neighbour's readings; told on stderr.

    Raises
    ------
    DataError : the two have too few days in common.
    """
    from timing.intake.temperatures import read_temperatures
    from timing.notebook.readings import Readings
    from timing.notebook.site_record import site_record
    from timing.temperature import neighbour_offsets

    found = read_temperatures(path)
    site = replace(site, neighbour=path.name, neighbour_credit=found.origin.named)
    beside = Readings.of(found.record)
    record = site_record(site, readings, beside)
    neighbour_offsets(record, found.record)
    click.echo(f"{site.name}: {record.findings[-1].text}", err=True)
    return site, beside


def temperature_file_options(function: F) -> F:
    """A file and all that may be said about it, handed on as one `TemperatureFiles` or None."""

    @functools.wraps(function)
    def gathered(*arguments: Any, temperatures: tuple[Path, ...] | None, **options: Any) -> Any:
        said = {name: options.pop(name) for name in _SAID}
        if temperatures is None:
            from timing.errors import UsageError

            extra = [name for name, value in said.items() if value not in (None, False)]
            if extra:
                raise UsageError(f"--{extra[0].replace('_', '-')} goes with --temperatures FILE")
            return function(*arguments, temperatures=None, **options)
        return function(*arguments, temperatures=TemperatureFiles(temperatures, said), **options)

    for option in reversed(_READING):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]
