"""The notebook as JSON values: all that its text says, dates in ISO form, units in names."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from timing.notebook.model import NotebookSite, ObservedDate, Record, Shelter, Tree, WorkDone

if TYPE_CHECKING:
    from timing.notebook.readings import Span

SITES, TREES, RECORDS = "sapdial-sites-1", "sapdial-trees-1", "sapdial-records-1"


def sites_json(
    entries: Iterable[tuple[NotebookSite, Span | None, int, Span | None]],
) -> dict[str, Any]:
    """Sites, each with the span of its temperatures, the number of its trees and its forecast."""
    return {"schema": SITES, "sites": [_site(*entry) for entry in entries]}


def trees_json(trees: Iterable[Tree]) -> dict[str, Any]:
    """Trees with their shelters."""
    return {"schema": TREES, "trees": [_tree(tree) for tree in trees]}


def records_json(records: Iterable[Record]) -> dict[str, Any]:
    """Records; each says under ``record`` of which kind it is."""
    return {"schema": RECORDS, "records": [_record(record) for record in records]}


def _site(site: NotebookSite, span: Span | None, trees: int, ahead: Span | None) -> dict[str, Any]:
    return {
        "site": site.name,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "elevation_m": site.elevation_m,
        "hemisphere": site.place().hemisphere,
        "tags": list(site.tags),
        "hazards": list(site.hazards),
        "source": site.source,
        "attribution": site.attribution,
        "licence": site.licence,
        "station": _station(site),
        "forecast": None
        if ahead is None
        else {"first": str(ahead.first), "last": str(ahead.last), "days": ahead.days},
        "notes": list(site.notes),
        "neighbour": site.neighbour or None,
        "neighbour_attribution": site.neighbour_credit or None,
        "temperatures": None
        if span is None
        else {
            "first": str(span.first),
            "last": str(span.last),
            "days": span.days,
            "missing_days": span.missing_days,
        },
        "trees": trees,
    }


def _station(site: NotebookSite) -> dict[str, Any] | None:
    held = site.station
    if held is None:
        return None
    station, place = held.station, site.place()
    return {
        "code": station.code,
        "name": station.name,
        "latitude": station.latitude,
        "longitude": station.longitude,
        "elevation_m": station.elevation_m,
        "distance_km": round(station.km_from(place), 1),
        "height_difference_m": station.metres_above(place),
        "offset_c": held.offset_c,
        "fetched": held.fetched.isoformat(),
    }


def _tree(tree: Tree) -> dict[str, Any]:
    return {
        "tree": tree.name,
        "species": tree.species,
        "site": tree.site,
        "condition": tree.condition,
        "pot_cm": tree.pot_cm,
        "note": tree.note,
        "shelters": [_shelter(shelter) for shelter in tree.shelters],
    }


def _shelter(shelter: Shelter) -> dict[str, Any]:
    return {
        "kind": shelter.kind,
        "tmin_offset_c": shelter.tmin_offset_c,
        "tmax_offset_c": shelter.tmax_offset_c,
        "starts": shelter.starts or None,
        "until": shelter.until or None,
    }


def _record(record: Record) -> dict[str, Any]:
    if isinstance(record, ObservedDate):
        return {
            "number": record.number,
            "record": "observation",
            "species": record.species,
            "event": record.event,
            "date": record.date.isoformat(),
            "tree": record.tree or None,
            "site": record.site,
            "note": record.note,
        }
    if isinstance(record, WorkDone):
        return {
            "number": record.number,
            "record": "work",
            "tree": record.tree,
            "kind": record.kind,
            "date": record.date.isoformat(),
            "fraction": record.fraction,
            "note": record.note,
        }
    return {
        "number": record.number,
        "record": "runner",
        "tree": record.tree,
        "place": record.place,
        "begun": record.begun.isoformat(),
        "ended": None if record.ended is None else record.ended.isoformat(),
        "looked": None if record.looked is None else record.looked.isoformat(),
        "note": record.note,
    }
