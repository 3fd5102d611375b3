"""Whom an agenda is for: trees of the notebook, or taxa at a site."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.bench import Bench, notebook_bench, open_bench, tree_outlook
from cli.benches import SharedTaxa, benches_of, shared_taxa
from cli.notebook_options import open_for_list
from cli.options import chosen_hazards, chosen_species, parse_day

if TYPE_CHECKING:
    import numpy as np

    from timing.agenda import SiteBasis, Unanswered
    from timing.agenda_tasks import Subject
    from timing.notebook.model import NotebookSite, Tree
    from timing.notebook.store import Notebook
    from timing.species.model import Hazard, Species


@dataclass
class Found:
    """Subjects on a day; ``missing`` names what the notebook lacks to have any."""

    on: np.datetime64
    subjects: list[Subject] = field(default_factory=list)
    sites: list[SiteBasis] = field(default_factory=list)
    left_out: list[Unanswered] = field(default_factory=list)
    missing: str = ""


def subjects_for(
    *,
    species: tuple[str, ...],
    trees: tuple[str, ...],
    hazards: tuple[str, ...],
    observations: Path | None,
    on: str | None,
    site_name: str | None,
    notebook: Path | None,
    **weather: Any,
) -> Found:
    """Trees or taxa with their outlooks, and the sites they stand at.

    ``weather`` are the options that take temperatures from elsewhere than the notebook.

    Raises
    ------
    UsageError : options that contradict each other, or an unknown name.
    DataError : no site can answer.
    """
    from timing.answers import COMMON_TAXA
    from timing.errors import UsageError

    if species and trees:
        raise UsageError("give --species or --tree, not both")
    if any(value is not None for value in weather.values()):
        if trees:
            raise UsageError("--tree is of the notebook; leave out --sample and --temperatures")
        taxa = chosen_species(species or COMMON_TAXA)
        bench = open_bench(site_name=site_name, notebook=notebook, on=on, **weather)
        found = Found(bench.on)
        occurring = chosen_hazards(hazards, taxa, bench.site.hazards)
        _add_taxa(found, bench, taxa, occurring, observations)
        return found
    found = Found(parse_day(dt.date.today().isoformat() if on is None else on))
    with open_for_list(notebook) as book:
        if book is None or not book.sites():
            found.missing = "site"
            return found
        _from_notebook(found, book, (species, trees, hazards), observations, site_name)
    return found


def _from_notebook(
    found: Found,
    book: Notebook,
    names: tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]],
    observations: Path | None,
    site_name: str | None,
) -> None:
    from timing.agenda import Unanswered
    from timing.errors import DataError, UsageError

    species, wanted, hazards = names
    sites = [book.site(site_name)] if site_name else list(book.sites())
    if observations is not None and len(sites) > 1:
        raise UsageError("--observations tell of one site: name it with --site NAME")
    here = [tree for site in sites for tree in book.trees(site=site.name)]
    if wanted:
        here = _named(book, wanted, {site.name for site in sites})
    alone: list[Species] = []
    if species:
        here, alone = _of_taxa(here, species)
    elif not here:
        found.missing = f"tree at {site_name}" if site_name else "tree"
        return
    taxa = {taxon.slug: taxon for taxon in chosen_species(tuple(tree.species for tree in here))}
    named = chosen_hazards(hazards, [*taxa.values(), *alone])
    for site in sites:
        occurring = (*named, *chosen_hazards((), [], _besides(site, hazards)))
        own = [tree for tree in here if tree.site == site.name]
        if not own and not alone:
            continue
        whom = tuple(tree.name for tree in own) or tuple(taxon.common_name for taxon in alone)
        try:
            if alone:
                bench = notebook_bench(book, site.name, found.on)
                _add_taxa(found, bench, alone, occurring, observations)
            for tree, known in benches_of(
                book, own, found.on, taxa=taxa, observations=observations
            ):
                _add_tree(found, tree, known, occurring)
        except DataError as error:
            found.left_out.append(Unanswered(site.name, whom, str(error)))
    if not found.subjects and found.left_out:
        raise DataError(found.left_out[0].reason)


def _besides(site: NotebookSite, hazards: tuple[str, ...]) -> tuple[str, ...]:
    """Hazards noted for a site that were not named anyhow."""
    return tuple(name for name in site.hazards if name not in hazards)


def _named(book: Notebook, names: Iterable[str], sites: set[str]) -> list[Tree]:
    """Trees by name, each once."""
    from timing.errors import UsageError

    trees = {tree.name: tree for tree in (book.tree(name) for name in names)}
    for tree in trees.values():
        if tree.site not in sites:
            raise UsageError(f"tree {tree.name} stands at {tree.site}, not at {', '.join(sites)}")
    return list(trees.values())


def _of_taxa(trees: list[Tree], names: tuple[str, ...]) -> tuple[list[Tree], list[Species]]:
    """Trees of the taxa named, and the taxa of names that no tree bears."""
    kept: dict[str, Tree] = {}
    alone: dict[str, Species] = {}
    for name in names:
        taxa = chosen_species((name,))
        slugs = {taxon.slug for taxon in taxa}
        own = {tree.name: tree for tree in trees if tree.species in slugs}
        kept |= own
        if not own:
            alone |= {taxon.slug: taxon for taxon in taxa}
    return list(kept.values()), list(alone.values())


def _add_tree(found: Found, tree: Tree, known: SharedTaxa, hazards: tuple[Hazard, ...]) -> None:
    from timing.agenda_tasks import Subject
    from timing.notebook.model import Runner, WorkDone

    taxon = next(item for item in known.species if item.slug == tree.species)
    view, held = tree_outlook(known, taxon, tree.condition, hazards=hazards)
    records = known.bench.records
    _add_site(found, tree.site, known.bench)
    found.subjects.append(
        Subject(
            tree.name,
            tree.site,
            view,
            condition=tree.condition,
            held=held,
            work=tuple(item for item in records if isinstance(item, WorkDone)),
            runners=tuple(item for item in records if isinstance(item, Runner)),
            seen=known.seen.get(tree.species, {}),
        )
    )


def _add_taxa(
    found: Found,
    bench: Bench,
    taxa: list[Species],
    hazards: tuple[Hazard, ...],
    observations: Path | None,
) -> None:
    """Taxa at a site, as established trees."""
    from timing.agenda_tasks import Subject

    known = shared_taxa(taxa, observations, bench)
    _add_site(found, bench.site.name, bench)
    for taxon in known.species:
        view, _ = tree_outlook(known, taxon, "established", hazards=hazards)
        found.subjects.append(
            Subject(
                taxon.common_name,
                bench.site.name,
                view,
                is_tree=False,
                seen=known.seen.get(taxon.slug, {}),
            )
        )


def _add_site(found: Found, name: str, bench: Bench) -> None:
    """The site of a bench, once."""
    from dataclasses import replace

    from timing.agenda import SiteBasis

    if all(basis.name != name for basis in found.sites):
        found.sites.append(SiteBasis(name, replace(bench.site, name=name), bench.record))
