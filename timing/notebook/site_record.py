"""A site's record out of what the notebook keeps of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from timing.errors import DataError
from timing.notebook.model import NotebookSite
from timing.notebook.readings import Readings
from timing.quality import Finding
from timing.temperature import Forecast, TemperatureRecord


def site_record(
    site: NotebookSite,
    readings: Readings,
    neighbour: Readings | None = None,
    forecast: Readings | None = None,
    until: np.datetime64 | None = None,
) -> TemperatureRecord:
    """Readings corrected for height, checked and mended, with a neighbour's days in their gaps.

    Parameters
    ----------
    site, readings : the site and its readings as they were measured.
    neighbour : readings that fill gaps, or None.
    forecast : what the site's station expects, as uncorrected as its readings, or None.
    until : later readings, and a forecast made later, are hidden.

    Raises
    ------
    DataError : there is no reading up to ``until``.
    """
    other = None if neighbour is None else neighbour_record(site.neighbour, neighbour, until)
    record = readings.shifted(site.offset_c).record(
        f"site {site.name}", until=until, neighbour=other
    )
    told = tuple(Finding("noted", 0, text) for text in site.notes)
    return replace(record, findings=(*told, *record.findings), ahead=_ahead(site, forecast, until))


def neighbour_record(
    name: str, readings: Readings, until: np.datetime64 | None = None
) -> TemperatureRecord | None:
    """A neighbour's record, or None where it begins after ``until`` or cannot be used."""
    if until is not None and readings.days[0] > until:
        return None
    try:
        return readings.record(name, until=until)
    except DataError:  # sound as a whole, but not the part up to then
        return None


def _ahead(
    site: NotebookSite, forecast: Readings | None, until: np.datetime64 | None
) -> Forecast | None:
    if forecast is None or site.station is None:
        return None
    made = np.datetime64(site.station.fetched, "D")
    days = forecast.shifted(site.offset_c)
    found = Forecast(days.days, days.tmin_c, days.tmax_c, made)
    return found if until is None else found.known_on(until)
