"""What the notebook holds, in words: lines for lists and sentences for changes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from timing.intake.stations import correction_text, height_text
from timing.notebook.model import NotebookSite, ObservedDate, Record, Runner, Shelter, Tree, begins

if TYPE_CHECKING:
    from timing.notebook.readings import Span

WIDTH = 80
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def counted(number: int, what: str) -> str:
    """A number and what it counts.

    >>> counted(1, "tree"), counted(2, "tree")
    ('1 tree', '2 trees')
    """
    return f"{number} {what}{'' if number == 1 else 's'}"


def site_lines(
    site: NotebookSite, span: Span | None, trees: int, ahead: Span | None = None
) -> list[str]:
    """One site: its place, its record, what is forecast there and how many trees it holds."""
    height = "elevation unknown" if site.elevation_m is None else f"{site.elevation_m:g} m"
    north = f"{abs(site.latitude):g}° {'S' if site.latitude < 0 else 'N'}"
    east = f"{abs(site.longitude):g}° {'W' if site.longitude < 0 else 'E'}"
    held = (
        "no temperatures yet"
        if span is None
        else f"temperatures {span.first} to {span.last}, "
        f"{counted(span.missing_days, 'day') if span.missing_days else 'no day'} missing"
    )
    return [
        *_wrapped(site.name, ""),
        *_wrapped(f"{north}, {east}, {height}; {held}; {counted(trees, 'tree')}"),
        *(_wrapped(f"tags: {', '.join(site.tags)}") if site.tags else ()),
        *(_wrapped(f"hazards: {', '.join(site.hazards)}") if site.hazards else ()),
        *(_wrapped(f"from {site.source}") if site.source else ()),
        *(line for text in _station_texts(site) for line in _wrapped(text)),
        *(
            _wrapped(f"forecast {ahead.first} to {ahead.last}, kept apart: it only forbids cuts")
            if ahead
            else ()
        ),
        *(_wrapped(f"gaps filled from {site.neighbour}") if site.neighbour else ()),
        *(line for note in site.notes for line in _wrapped(f"note: {note}")),
        *(_wrapped(f"attribution: {site.attribution}") if site.attribution else ()),
        *(_wrapped(f"licence: {site.licence}") if site.licence else ()),
        *(
            _wrapped(f"attribution of what fills the gaps: {site.neighbour_credit}")
            if site.neighbour_credit
            else ()
        ),
    ]


def _station_texts(site: NotebookSite) -> tuple[str, ...]:
    held = site.station
    if held is None:
        return ()
    station, place = held.station, site.place()
    return (
        f"station: {station.label}, {station.km_from(place):.1f} km away, "
        f"{height_text(station.metres_above(place))}; fetched on {held.fetched.isoformat()}",
        f"correction: {correction_text(place, station, held.offset_c)}",
    )


def tree_lines(tree: Tree) -> list[str]:
    """One tree: its taxon, its site, its condition, its pot and its shelters."""
    pot = "" if tree.pot_cm is None else f", pot {tree.pot_cm:g} cm wide"
    return [
        *_wrapped(tree.name, ""),
        *_wrapped(f"{tree.species} at {tree.site}; {tree.condition}{pot}"),
        *(line for shelter in tree.shelters for line in _wrapped(_shelter(shelter))),
        *(_wrapped(f"note: {tree.note}") if tree.note else ()),
    ]


def record_lines(record: Record) -> list[str]:
    """One record under its number and its date."""
    note = f"; {record.note}" if record.note else ""
    start = f"{record.number:>5}  {begins(record).isoformat()}  "
    return _wrapped(f"{_what(record)}{note}", start, " " * len(start))


def record_text(record: Record) -> str:
    """A record in half a sentence, with its date."""
    word = "since" if isinstance(record, Runner) else "on"
    return f"{_what(record)}, {word} {begins(record).isoformat()}"


def listed(blocks: Iterable[list[str]]) -> str:
    """Blocks of lines as one text."""
    return "".join(f"{line}\n" for block in blocks for line in block)


def _what(record: Record) -> str:
    if isinstance(record, ObservedDate):
        whose = f"{record.tree}, " if record.tree else ""
        return f"{record.event} seen: {whose}{record.species} at {record.site}"
    if isinstance(record, Runner):
        ended = f"ended {record.ended.isoformat()}" if record.ended else "still running"
        looked = f", looked at {record.looked.isoformat()}" if record.looked else ""
        return f"shoot left to run: {record.tree}, {record.place}; {ended}{looked}"
    share = "" if record.fraction is None else f", {100 * record.fraction:g}%"
    kind = record.kind.replace("_", " ")
    work = f"{kind} work" if record.kind in ("heavy", "light", "outline") else kind
    return f"{work}{share}: {record.tree}"


def _shelter(shelter: Shelter) -> str:
    when = (
        f"every year {_month_day(shelter.starts)} to {_month_day(shelter.until)}"
        if shelter.starts
        else "all year"
    )
    return (
        f"{shelter.kind}, {when}: nights {_warmer(shelter.tmin_offset_c)}, "
        f"days {_warmer(shelter.tmax_offset_c)}"
    )


def _warmer(offset_c: float) -> str:
    return f"{abs(offset_c):g} °C {'colder' if offset_c < 0 else 'warmer'}"


def _month_day(text: str) -> str:
    month, day = text.split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]}"


def _wrapped(text: str, first: str = "    ", rest: str = "    ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest)
