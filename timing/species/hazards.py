"""Read ``_hazards.toml``: diseases and pests that close a season to cuts on their hosts."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from timing.errors import UsageError
from timing.species.model import (
    EVENT_ORDER,
    WORK_KINDS,
    ClosedSeason,
    Hazard,
    HeatRange,
    Point,
    Species,
)
from timing.species.tables import TableReader, naming_the_file, read_point, read_table

FORMS = ("heat", "months", "events")


def hazard_names() -> tuple[str, ...]:
    """Every hazard, in alphabetical order."""
    return tuple(sorted(read_table("_hazards")["hazards"]))


def authority_text() -> str:
    """Whom to follow before any closed season of this library."""
    return str(read_table("_hazards")["authority"])


@cache
def load_hazard(name: str) -> Hazard:
    """Load and check one hazard.

    Raises
    ------
    UsageError : there is no such hazard; the message lists those there are.
    DataError : its entry is incomplete; the message names the key.
    """
    if name not in hazard_names():
        raise UsageError(f"no hazard {name!r}; the hazards are {', '.join(hazard_names())}")
    return read_hazard(name, read_table("_hazards")["hazards"][name])


def hazards_of(species: Species) -> tuple[Hazard, ...]:
    """Every hazard that concerns a taxon."""
    known = (load_hazard(name) for name in hazard_names())
    return tuple(hazard for hazard in known if hazard.concerns(species))


def read_hazard(name: str, table: Mapping[str, Any]) -> Hazard:
    """Turn one entry into a `Hazard`, naming the key when it cannot."""
    with naming_the_file("_hazards", name):
        return _Reader("_hazards").hazard(name, table)


class _Reader(TableReader):
    """Turns entries into hazards."""

    def hazard(self, name: str, table: Mapping[str, Any]) -> Hazard:
        condition = table.get("condition", "")
        if condition and condition not in read_table("_groups")["conditions"]:
            raise self.fail(f"{name}.condition", f"unknown condition {condition!r}")
        closed = table.get("closed", ())
        if not closed:
            raise self.fail(f"{name}.closed", "at least one closed season is needed")
        return Hazard(
            name=name,
            label=self.text(table, "label", name),
            hosts=tuple(table.get("hosts", ())),
            condition=condition,
            closed=tuple(
                self.closed(f"{name}.closed {number}", part)
                for number, part in enumerate(closed, start=1)
            ),
            handling=self.text(table, "handling", name),
        )

    def closed(self, where: str, table: Mapping[str, Any]) -> ClosedSeason:
        if sum(form in table for form in FORMS) != 1:
            raise self.fail(f"{where}.form", f"exactly one of {', '.join(FORMS)} is needed")
        work = tuple(table.get("work", ()))
        if not work or set(work) - set(WORK_KINDS):
            raise self.fail(f"{where}.work", f"kinds of work are {', '.join(WORK_KINDS)}")
        evidence, source = self.provenance(table, where)
        return ClosedSeason(
            work=work,
            heat=self.heat(f"{where}.heat", table["heat"]) if "heat" in table else None,
            months=self.months(f"{where}.months", table["months"]) if "months" in table else None,
            events=self.events(f"{where}.events", table["events"]) if "events" in table else None,
            why=self.text(table, "why", where),
            source=source,
            evidence=evidence,
        )

    def heat(self, where: str, table: Mapping[str, Any]) -> HeatRange:
        try:
            month, day = table["before"]
            heat = HeatRange(table["base_c"], table["first"], table["last"], (month, day))
        except (KeyError, TypeError, ValueError) as error:
            raise self.fail(where, "base_c, first, last and before = [month, day]") from error
        if not 0 < heat.first < heat.last or not 1 <= month <= 12 or not 1 <= day <= 28:
            raise self.fail(where, "first must lie below last, before be a day up to the 28th")
        return heat

    def months(self, where: str, value: Any) -> tuple[int, int]:
        if len(value) != 2 or not all(1 <= month <= 12 for month in value):
            raise self.fail(where, "the numbers of the first and the last month are needed")
        return value[0], value[1]

    def events(self, where: str, value: Any) -> tuple[Point, Point]:
        points = [read_point(text) for text in value]
        found = [point for point in points if point is not None and point.event in EVENT_ORDER]
        if len(points) != 2 or len(found) != 2:
            raise self.fail(where, "two events such as bud_break-4w are needed")
        return found[0], found[1]
