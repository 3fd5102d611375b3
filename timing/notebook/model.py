"""What a notebook holds, as plain frozen data; every value is checked when it is made.

`timing.notebook.checks.FieldError` names the field that is wrong.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field, replace
from typing import Literal

from timing.errors import UsageError
from timing.intake.stations import Station
from timing.notebook.checks import (
    FieldError,
    checked_choice,
    checked_day,
    checked_month_day,
    checked_name,
    checked_number,
    checked_share,
    checked_text,
    shown,
)
from timing.plain_text import lookup_key
from timing.site import Site
from timing.species.model import CONDITIONS, Condition

Work = Literal["heavy", "light", "outline", "repotting", "leaf_removal", "frost_loss"]

WORK_DONE: tuple[Work, ...] = (
    "heavy",
    "light",
    "outline",
    "repotting",
    "leaf_removal",
    "frost_loss",
)
WIDEST_POT_CM = 500.0
LARGEST_OFFSET_C = 30.0
_CODE = re.compile(r"[A-Za-z0-9]{1,12}\Z")
_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")


@dataclass(frozen=True)
class SiteStation:
    """The weather station that a site's temperatures come from.

    Parameters
    ----------
    station : its code, name and place.
    offset_c : what is added to its readings, which are kept as they were measured [°C].
    fetched : day on which the newest of them were fetched.
    """

    station: Station
    offset_c: float
    fetched: dt.date

    def __post_init__(self) -> None:
        limit = LARGEST_OFFSET_C
        _set(self, "offset_c", checked_number(self.offset_c, "offset_c", -limit, limit, " °C"))
        checked_day(self.fetched, "fetched")
        station = self.station
        if not _CODE.match(station.code):
            raise FieldError("station", f"station {shown(station.code)} is not letters and digits")
        checked_text(station.name, "station_name")
        Site(station.name, station.latitude, station.longitude, station.elevation_m)


@dataclass(frozen=True)
class NotebookSite:
    """A place where trees stand; its temperatures are kept beside it.

    Parameters
    ----------
    name : 1 to 80 characters, unique whatever the letter case.
    latitude, longitude : decimal degrees, south and west negative [°].
    elevation_m : height above sea level, or None when unknown [m].
    tags : words to pick sites by, each once.
    source : the file the temperatures came from.
    attribution, licence : whom to name for the temperatures, and on what terms they are used.
    station : the weather station they come from, or None where they came as a file.
    hazards : names of the diseases and pests that occur there, each once, in alphabetical order.
    notes : what was converted, moved or left out when they were read, a clause each.
    neighbour : where the temperatures that fill its gaps came from, or empty.
    neighbour_credit : whom to name for those, and on what terms they are used.
    """

    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None
    tags: tuple[str, ...] = ()
    source: str = ""
    attribution: str = ""
    licence: str = ""
    station: SiteStation | None = None
    hazards: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    neighbour: str = ""
    neighbour_credit: str = ""

    def __post_init__(self) -> None:
        _set(self, "name", checked_name(self.name, "name"))
        for value, name in ((self.latitude, "latitude"), (self.longitude, "longitude")):
            _set(self, name, float(value))
        _set(self, "tags", _tags(self.tags))
        for hazard in self.hazards:
            if not _SLUG.match(hazard) or len(hazard) > 80:
                raise FieldError("hazards", f"hazard {shown(hazard)} is not written like oak-wilt")
        _set(self, "hazards", tuple(sorted(set(self.hazards))))
        notes = (checked_text(note, "notes") for note in self.notes)
        _set(self, "notes", tuple(note for note in notes if note))
        for name in ("source", "attribution", "licence", "neighbour", "neighbour_credit"):
            _set(self, name, checked_text(getattr(self, name), name))
        try:
            self.place()
        except UsageError as error:
            start = str(error).partition(" ")[0]
            raise FieldError(
                "elevation_m" if start == "elevation" else start, str(error)
            ) from error

    def place(self) -> Site:
        """The same place as the rest of the library knows it."""
        filled = f"gaps filled from {self.neighbour_credit}" if self.neighbour_credit else ""
        named = "; ".join(text for text in (self.attribution, self.licence, filled) if text)
        return Site(
            self.name,
            self.latitude,
            self.longitude,
            self.elevation_m,
            attribution=named,
            hazards=self.hazards,
        )

    @property
    def offset_c(self) -> float:
        """What is added to the temperatures kept, for the height of the site [°C]."""
        return 0.0 if self.station is None else self.station.offset_c

    def moved(self, before: NotebookSite) -> NotebookSite:
        """The same, its correction counted anew where its height differs from before."""
        held = self.station
        if held is None or held != before.station or self.elevation_m == before.elevation_m:
            return self
        offset = held.station.offset_c(self.place())
        return replace(self, station=replace(held, offset_c=offset))


@dataclass(frozen=True)
class Shelter:
    """What makes a tree's nights and days differ from the site's, and when.

    Parameters
    ----------
    kind : what it is, such as wall or cold frame; a tree has each kind once.
    tmin_offset_c, tmax_offset_c : how much warmer its nights and days are [°C].
    starts, until : first and last day of every year, ``MM-DD``; a start after the end runs over
        New Year; both empty: all year.
    """

    kind: str
    tmin_offset_c: float
    tmax_offset_c: float
    starts: str = ""
    until: str = ""

    def __post_init__(self) -> None:
        _set(self, "kind", checked_name(self.kind, "kind"))
        for name in ("tmin_offset_c", "tmax_offset_c"):
            limit = LARGEST_OFFSET_C
            _set(self, name, checked_number(getattr(self, name), name, -limit, limit, " °C"))
        if bool(self.starts) != bool(self.until):
            missing = "until" if self.starts else "starts"
            raise FieldError(
                missing, "a shelter needs both its first and its last day, or neither for all year"
            )
        if self.starts:
            checked_month_day(self.starts, "starts")
            checked_month_day(self.until, "until")


@dataclass(frozen=True)
class Tree:
    """One tree.

    Parameters
    ----------
    name : 1 to 80 characters, unique whatever the letter case.
    species : slug of its taxon.
    site : name of the site where it stands.
    condition : how strong it is.
    pot_cm : inner width of its pot, or None when unknown [cm].
    note : free text.
    shelters : what it stands under, in the order of their kinds.
    """

    name: str
    species: str
    site: str
    condition: Condition = "established"
    pot_cm: float | None = None
    note: str = ""
    shelters: tuple[Shelter, ...] = ()

    def __post_init__(self) -> None:
        _set(self, "name", checked_name(self.name, "name"))
        _set(self, "site", checked_name(self.site, "site"))
        _species(self.species)
        checked_choice(self.condition, "condition", CONDITIONS)
        if self.pot_cm is not None:
            _set(self, "pot_cm", checked_number(self.pot_cm, "pot_cm", 1, WIDEST_POT_CM, " cm"))
        _set(self, "note", checked_text(self.note, "note"))
        by_kind = {lookup_key(shelter.kind): shelter for shelter in self.shelters}
        if len(by_kind) < len(self.shelters):
            raise FieldError("kind", f"tree {self.name} has two shelters of one kind; keep one")
        _set(self, "shelters", tuple(by_kind[key] for key in sorted(by_kind)))


@dataclass(frozen=True)
class ObservedDate:
    """One event somebody saw.

    Parameters
    ----------
    event : name of the event.
    date : the day it came.
    tree : name of the tree, or "" for an observation of a taxon at a site.
    site : name of the site; "" stands for the tree's.
    species : slug of the taxon; "" stands for the tree's.
    note : free text.
    number : its number in the notebook, 0 before it is kept; it does not count in comparisons.
    """

    event: str
    date: dt.date
    tree: str = ""
    site: str = ""
    species: str = ""
    note: str = ""
    number: int = field(default=0, compare=False)

    def __post_init__(self) -> None:
        _set(self, "event", checked_name(self.event, "event").lower().replace("-", "_"))
        checked_day(self.date, "date")
        for name in ("tree", "site"):
            if getattr(self, name):
                _set(self, name, checked_name(getattr(self, name), name))
        if self.species:
            _species(self.species)
        elif not self.tree:
            raise FieldError("species", "an observation needs a tree or a species")
        _set(self, "note", checked_text(self.note, "note"))


@dataclass(frozen=True)
class WorkDone:
    """Work done on a tree, or what frost took from it.

    Parameters
    ----------
    tree : name of the tree.
    kind : kind of work, or ``frost_loss``.
    date : the day of the work.
    fraction : share of the foliage, or of the roots, that came off, or None.
    note : free text.
    number : its number in the notebook, 0 before it is kept; it does not count in comparisons.
    """

    tree: str
    kind: Work
    date: dt.date
    fraction: float | None = None
    note: str = ""
    number: int = field(default=0, compare=False)

    def __post_init__(self) -> None:
        _set(self, "tree", checked_name(self.tree, "tree"))
        checked_choice(self.kind, "kind", WORK_DONE)
        checked_day(self.date, "date")
        if self.fraction is not None:
            _set(self, "fraction", checked_share(self.fraction, "fraction"))
        _set(self, "note", checked_text(self.note, "note"))


@dataclass(frozen=True)
class Runner:
    """A shoot left to run so that the branch below it thickens.

    Parameters
    ----------
    tree : name of the tree.
    place : where on the tree.
    begun : the day it was left to run.
    ended : the day it was cut, or None while it runs.
    note : free text.
    looked : the day somebody last looked whether it has thickened enough, or None.
    number : its number in the notebook, 0 before it is kept; it does not count in comparisons.
    """

    tree: str
    place: str
    begun: dt.date
    ended: dt.date | None = None
    note: str = ""
    looked: dt.date | None = None
    number: int = field(default=0, compare=False)

    def __post_init__(self) -> None:
        _set(self, "tree", checked_name(self.tree, "tree"))
        _set(self, "place", checked_name(self.place, "place"))
        checked_day(self.begun, "begun")
        if self.ended is not None and checked_day(self.ended, "ended") < self.begun:
            raise FieldError(
                "ended",
                f"ended {self.ended.isoformat()} comes before the shoot was left to run "
                f"({self.begun.isoformat()})",
            )
        if self.looked is not None and checked_day(self.looked, "looked") < self.begun:
            raise FieldError(
                "looked",
                f"looked at on {self.looked.isoformat()}, before the shoot was left to run "
                f"({self.begun.isoformat()})",
            )
        _set(self, "note", checked_text(self.note, "note"))


Record = ObservedDate | WorkDone | Runner


def begins(record: Record) -> dt.date:
    """The day a record stands under."""
    return record.begun if isinstance(record, Runner) else record.date


def _set(item: object, name: str, value: object) -> None:
    """Write a checked value into a frozen object that is being made."""
    object.__setattr__(item, name, value)


def _species(slug: str) -> None:
    if not _SLUG.match(slug) or len(slug) > 80:
        raise FieldError("species", f"species {shown(slug)} is not written like acer-palmatum")


def _tags(tags: tuple[str, ...]) -> tuple[str, ...]:
    kept: dict[str, str] = {}
    for tag in tags:
        name = checked_name(tag, "tag")
        if ";" in name:
            raise FieldError(
                "tags", f"tag {shown(name)} holds a semicolon; give each tag by itself"
            )
        kept.setdefault(lookup_key(name), name)
    return tuple(kept.values())
