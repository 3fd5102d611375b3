"""Observed dates of the notebook as the models want them: one date a taxon, event and season."""

from __future__ import annotations

import numpy as np

from timing.intake.observations import Observation
from timing.notebook.model import ObservedDate, Tree
from timing.notebook.store import Notebook
from timing.season import season_of


def observations_for(
    book: Notebook, site: str, tree: Tree | None, *, until: np.datetime64
) -> tuple[Observation, ...]:
    """Dates that tell of a site, or of one tree there.

    Only trees under the same shelters count, because a cold frame makes another spring. A tree's
    own dates come before those of others of its taxon; the dates of several trees are averaged.

    Parameters
    ----------
    book : the notebook.
    site : name of the site.
    tree : the tree asked about, or None for the site's unsheltered trees.
    until : later dates are hidden.
    """
    hemisphere = book.site(site).place().hemisphere
    shelters = {item.name: item.shelters for item in book.trees(site=site)}
    wanted = tree.shelters if tree is not None else ()
    found: dict[tuple[str, str, int], list[ObservedDate]] = {}
    for item in book.records(site=site):
        if isinstance(item, ObservedDate) and shelters.get(item.tree, ()) == wanted:
            day = np.datetime64(item.date, "D")
            if day <= until:
                key = item.species, item.event, season_of(day, hemisphere)
                found.setdefault(key, []).append(item)
    observed = []
    for (species, event, _), items in found.items():
        own = [item for item in items if tree is not None and item.tree == tree.name]
        dates = np.array([item.date for item in own or items], dtype="M8[D]")
        middle = dates[0] + round(float((dates - dates[0]).astype(np.int64).mean()))
        observed.append(Observation(species, event, middle, (own or items)[0].number))
    return tuple(observed)
