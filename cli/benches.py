"""Many trees at once: each record laid out once, each outlook computed once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.bench import Bench, Taxa, notebook_bench, tuned_taxa

if TYPE_CHECKING:
    import numpy as np

    from timing.answers import Outlook
    from timing.intake.observations import Observation
    from timing.notebook.model import Record, Tree
    from timing.notebook.store import Notebook
    from timing.species.model import Species


@dataclass(frozen=True)
class SharedTaxa(Taxa):
    """Taxa whose outlooks are kept: trees of one taxon and condition ask for the same ones."""

    kept: dict[tuple[object, ...], Outlook] = field(default_factory=dict)

    def outlook(self, taxon: Species, **options: Any) -> Outlook:
        """The same outlook for the same question."""
        key = taxon.slug, *sorted(options.items())
        if key not in self.kept:
            self.kept[key] = super().outlook(taxon, **options)
        return self.kept[key]


def shared_taxa(
    taxa: Iterable[Species], observations: Path | None, bench: Bench, **shared: Any
) -> SharedTaxa:
    """Taxa adjusted to what was seen at a bench, their outlooks kept; see `tuned_taxa`."""
    found = tuned_taxa(taxa, observations, bench, **shared)
    return SharedTaxa(found.bench, found.species, found.fits, found.seen)


def benches_of(
    book: Notebook,
    trees: Iterable[Tree],
    today: np.datetime64,
    *,
    taxa: dict[str, Species],
    observations: Path | None = None,
) -> Iterator[tuple[Tree, SharedTaxa]]:
    """Every tree with the taxa of its bench, as `cli.bench` opens it for the tree alone.

    Parameters
    ----------
    book : the notebook.
    trees : trees of one site.
    today : later readings and observations are hidden.
    taxa : slug → taxon, for every tree.
    observations : dates that tune the answers besides those of the notebook.
    """
    from timing.notebook.seen import SeenDates
    from timing.tuning import Nominal

    told: set[str] = set()
    dates: dict[str, SeenDates] = {}
    records: dict[str, list[Record]] = {}
    for item in book.records():
        records.setdefault(item.tree, []).append(item)
    by_shelter: dict[object, list[Tree]] = {}
    for tree in trees:
        by_shelter.setdefault(tree.shelters, []).append(tree)
    for sheltered in by_shelter.values():
        base = notebook_bench(book, None, today, sheltered[0])
        nominal = Nominal(base.drivers)
        seen: dict[tuple[Observation, ...], list[Tree]] = {}
        for tree in sheltered:
            if tree.site not in dates:
                dates[tree.site] = SeenDates.at(book, tree.site, until=today)
            seen.setdefault(dates[tree.site].of(tree), []).append(tree)
        for observed, alike in seen.items():
            species = {tree.species: taxa[tree.species] for tree in alike}
            known = shared_taxa(
                species.values(),
                observations,
                replace(base, observed=observed),
                nominal=nominal,
                told=told,
            )
            for tree in alike:
                own_records = tuple(records.get(tree.name, ()))
                bench = replace(known.bench, tree=tree, records=own_records)
                yield tree, replace(known, bench=bench)
