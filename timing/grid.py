"""Dates of events over arrays of sites × days, for gridded climates.

`event_days` takes arrays whose last axis is days and whose leading axes are sites (a list, a grid),
so that it runs as it is under ``xarray.apply_ufunc(..., dask="parallelized")``. Every cell goes the
way of a single site: the same checks, seasons, drivers and event models; there is no second
model. ``docs/survey.md`` has an example that was run.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from timing.answers import datable
from timing.drivers import Drivers, build_drivers, count_chill
from timing.errors import UsageError
from timing.events import season_events
from timing.season import Floats, seasons_between
from timing.site import Site
from timing.species.model import EVENT_ORDER, Species
from timing.temperature import record_from_readings

TOGETHER = 16  # cells whose chill is counted at once
FROSTS = ("last_frost", "first_frost")
OF_ITS_DRAWS = 0.5  # the median of the draws of the model's error


def events_of(species: Species) -> tuple[str, ...]:
    """Events of a taxon in the order of the last axis of `event_days`."""
    return (*(name for name in EVENT_ORDER if name in species.events), *FROSTS)


def seasons_of(first: np.datetime64, days: int) -> range:
    """Seasons of the second last axis of `event_days`: those of either hemisphere.

    >>> list(seasons_of(np.datetime64("2001-01-01"), 730))
    [2000, 2001, 2002, 2003]
    """
    last = first + (days - 1)
    north, south = (seasons_between(first, last, half) for half in ("north", "south"))
    return range(min(north[0], south[0]), max(north[-1], south[-1]) + 1)


def event_days(
    tmin_c: npt.ArrayLike,
    tmax_c: npt.ArrayLike,
    latitude: npt.ArrayLike,
    *,
    species: Species,
    first: np.datetime64,
) -> Floats:
    """Median date of every event of a taxon in every season of every site.

    Parameters
    ----------
    tmin_c, tmax_c : arrays (..., days), daily minimum and maximum of consecutive days; NaN where
        missing [°C].
    latitude : array that broadcasts to the leading axes; south negative [°].
    species : the taxon.
    first : date of the first day.

    Returns
    -------
    array (..., seasons, events) of days since 1970-01-01, the seasons of `seasons_of` and the
    events of `events_of`. Dates have a fraction from the model's error; round to the nearest
    day. NaN where an event fails in half of the draws, where too much of
    the season is missing, and in cells without any reading (sea).

    Raises
    ------
    UsageError : the shapes do not fit, or a latitude is not on Earth.
    DataError : the readings of a cell cannot be temperatures in °C; the message names the cell.
    """
    low, high = np.broadcast_arrays(
        np.asarray(tmin_c, dtype=np.float64), np.asarray(tmax_c, dtype=np.float64)
    )
    if low.ndim == 0 or low.shape[-1] == 0:
        raise UsageError("the arrays have no days along their last axis")
    shape, days = low.shape[:-1], low.shape[-1]
    try:
        where = np.broadcast_to(np.asarray(latitude, dtype=np.float64), shape)
    except ValueError as error:
        raise UsageError(
            f"latitudes of shape {np.shape(latitude)} do not fit sites of shape {shape}"
        ) from error
    seasons, names = seasons_of(first, days), events_of(species)
    found = np.full((*shape, len(seasons), len(names)), np.nan)
    for cells in _together(low, high):
        drivers = {
            cell: _drivers(low[cell], high[cell], float(where[cell]), first, cell) for cell in cells
        }
        dated = {cell: of_cell for cell, of_cell in drivers.items() if of_cell.years.size}
        count_chill(list(dated.values()))
        for cell, of_cell in dated.items():
            found[cell] = _of_cell(species, of_cell, seasons, names)
    return found


def _together(low: Floats, high: Floats) -> Iterator[list[tuple[int, ...]]]:
    """Cells with any pair of readings, some at a time."""
    known = np.argwhere((~np.isnan(low) & ~np.isnan(high)).any(axis=-1))
    for at in range(0, len(known), TOGETHER):
        yield [tuple(map(int, cell)) for cell in known[at : at + TOGETHER]]


def _drivers(
    low: Floats, high: Floats, latitude: float, first: np.datetime64, cell: tuple[int, ...]
) -> Drivers:
    name = f"cell {', '.join(map(str, cell))}" if cell else "the site"
    dates = first + np.arange(len(low))
    try:
        record = record_from_readings(dates, low, high, source=name)
        return datable(build_drivers(record, Site(name, latitude, 0.0)), record)
    except UsageError as error:
        raise UsageError(f"{name}: {error}") from error


def _of_cell(species: Species, drivers: Drivers, seasons: range, names: tuple[str, ...]) -> Floats:
    events = season_events(species, drivers)
    rows = drivers.years - seasons[0]
    found = np.full((len(seasons), len(names)), np.nan)
    starts = drivers.starts.astype(np.int64)
    for column, name in enumerate(names):
        found[rows, column] = starts + events.quantiles(name, (OF_ITS_DRAWS,))[0]
    return found
