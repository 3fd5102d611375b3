"""Observed dates of the notebook as the models want them: one date a taxon, event and season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.intake.observations import Observation
from timing.notebook.model import ObservedDate, Shelter, Tree
from timing.notebook.store import Notebook
from timing.observed_dates import season_seen

FAR_DAYS = 30  # trees of one taxon and place do not lie further apart in one season (our own)


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
                key = item.species, item.event, season_seen(item.event, day, hemisphere)
                under = dates.setdefault(shelters.get(item.tree, ()), {})
                under.setdefault(key, []).append(item)
        return cls(dates)

    def of(self, tree: Tree | None) -> tuple[Observation, ...]:
        """Dates that tell of a tree, or of the site's unsheltered trees.

        Only trees under the same shelters count, because a cold frame makes another spring. A
        tree's own dates come before those of others of its taxon; the dates of several trees are
        averaged. Dates that cannot all be true stay apart: two of one tree, or too far from each
        other.
        """
        observed = []
        under = self.dates.get(tree.shelters if tree is not None else (), {})
        for (species, event, _), items in under.items():
            own = [item for item in items if tree is not None and item.tree == tree.name]
            told = own or items
            dates = np.array([item.date for item in told], dtype="M8[D]")
            trees = {item.tree for item in told}
            if (
                len(trees) < len(told)
                or int((dates.max() - dates.min()).astype(np.int64)) > FAR_DAYS
            ):
                observed += [
                    Observation(species, event, day, item.number, "record")
                    for day, item in zip(dates, told, strict=True)
                ]
                continue
            middle = dates[0] + round(float((dates - dates[0]).astype(np.int64).mean()))
            observed.append(Observation(species, event, middle, told[0].number, "record"))
        return tuple(observed)
