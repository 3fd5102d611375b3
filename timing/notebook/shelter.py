"""What a tree's shelters do to the temperatures of its site."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from timing.calibration import QuarterOffset
from timing.notebook.model import Shelter, Tree
from timing.plain_text import lookup_key
from timing.season import Days, Floats, Ints
from timing.temperature import Forecast, TemperatureRecord


def offsets(shelters: Iterable[Shelter], days: Days) -> tuple[Floats, Floats]:
    """How much warmer nights and days are under shelters; those in force together add up.

    Parameters
    ----------
    shelters : what a tree stands under.
    days : array (days,), dates.

    Returns
    -------
    two arrays (days,): added to daily minima and to daily maxima [°C].
    """
    night, noon = np.zeros(len(days)), np.zeros(len(days))
    place = _place_in_year(days)
    for shelter in shelters:
        stands = np.ones(len(days), dtype=bool)
        if shelter.starts:
            first, last = (int(text.replace("-", "")) for text in (shelter.starts, shelter.until))
            after, before = place >= first, place <= last
            stands = after & before if first <= last else after | before
        night += np.where(stands, shelter.tmin_offset_c, 0.0)
        noon += np.where(stands, shelter.tmax_offset_c, 0.0)
    return night, noon


def sheltered(record: TemperatureRecord, shelters: Sequence[Shelter]) -> TemperatureRecord:
    """A site's record as a tree under shelters meets it.

    A night is never made warmer than its day. Readings that the checks set aside stay aside.
    """
    days = record.first + np.arange(len(record.tmin_c))
    night, noon = offsets(shelters, days)
    tmax = record.tmax_c + noon
    raw_tmin = np.where(record.raw_tmin_c == record.tmin_c, record.raw_tmin_c + night, np.nan)
    raw_tmax = np.where(record.raw_tmax_c == record.tmax_c, record.raw_tmax_c + noon, np.nan)
    return replace(
        record,
        tmin_c=np.minimum(record.tmin_c + night, tmax),
        tmax_c=tmax,
        raw_tmin_c=np.fmin(raw_tmin, np.where(np.isnan(raw_tmin), np.nan, raw_tmax)),
        raw_tmax_c=raw_tmax,
        ahead=_under(record.ahead, shelters),
    )


def _under(ahead: Forecast | None, shelters: Sequence[Shelter]) -> Forecast | None:
    if ahead is None:
        return None
    night, noon = offsets(shelters, ahead.days)
    return replace(ahead, tmin_c=ahead.tmin_c + night, tmax_c=ahead.tmax_c + noon)


def calibrated(tree: Tree, kind: str, offsets: Iterable[QuarterOffset]) -> Tree:
    """The tree with one shelter a quarter, in the place of earlier ones of the same kind."""
    own = f"{lookup_key(kind)}, "
    kept = [s for s in tree.shelters if not lookup_key(s.kind).startswith(own)]
    found = [
        Shelter(
            f"{kind}, {item.starts} to {item.until}",
            round(item.tmin_offset_c, 1),
            round(item.tmax_offset_c, 1),
            item.starts,
            item.until,
        )
        for item in offsets
    ]
    return replace(tree, shelters=(*kept, *found))


def _place_in_year(days: Days) -> Ints:
    """Month and day as one number, 101 to 1231."""
    months = days.astype("M8[M]")
    month = months.astype(np.int64) % 12 + 1
    place: Ints = 100 * month + (days - months.astype("M8[D]")).astype(np.int64) + 1
    return place
