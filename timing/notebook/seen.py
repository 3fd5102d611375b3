"""Observed dates of the notebook as the models want them: one date a taxon, event and season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.intake.observations import Observation
from timing.notebook.model import ObservedDate, Shelter, Tree
from timing.notebook.store import Notebook
from timing.season import season_of


@dataclass(frozen=True)
class SeenDates:
    """Every date seen at a site up to a day, read once for all its trees.

    ``dates`` are by what the tree seen stands under, then by taxon, event and season.
    """

    dates: dict[tuple[Shelter, ...], dict[tuple[str, str, int], list[ObservedDate]]]

    @classmethod
    def at(cls, book: Notebook, site: str, *, until: np.datetime64) -> SeenDates:
        """Read the dates of a site; those after ``until`` are hidden."""
        hemisphere = book.site(site).place().hemisphere
        shelters = {item.name: item.shelters for item in book.trees(site=site)}
        dates: dict[tuple[Shelter, ...], dict[tuple[str, str, int], list[ObservedDate]]] = {}
        for item in book.records(site=site):
            day = np.datetime64(item.date, "D") if isinstance(item, ObservedDate) else None
            if isinstance(item, ObservedDate) and day is not None and day <= until:
                key = item.species, item.event, season_of(day, hemisphere)
                under = dates.setdefault(shelters.get(item.tree, ()), {})
                under.setdefault(key, []).append(item)
        return cls(dates)

    def of(self, tree: Tree | None) -> tuple[Observation, ...]:
        """Dates that tell of a tree, or of the site's unsheltered trees.

        Only trees under the same shelters count, because a cold frame makes another spring. A
        tree's own dates come before those of others of its taxon; the dates of several trees are
        averaged.
        """
        observed = []
        under = self.dates.get(tree.shelters if tree is not None else (), {})
        for (species, event, _), items in under.items():
            own = [item for item in items if tree is not None and item.tree == tree.name]
            dates = np.array([item.date for item in own or items], dtype="M8[D]")
            middle = dates[0] + round(float((dates - dates[0]).astype(np.int64).mean()))
            number = (own or items)[0].number
            observed.append(Observation(species, event, middle, number, "record"))
        return tuple(observed)
