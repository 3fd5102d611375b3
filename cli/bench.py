"""Where a question is asked: site, record up to the day, what was seen there; reads the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.notebook_options import notebook_path, open_notebook
from cli.options import parse_day

if TYPE_CHECKING:
    import numpy as np

    from timing.answers import Outlook
    from timing.drivers import Drivers
    from timing.intake.observations import Observation
    from timing.intake.units import Unit
    from timing.notebook.model import Record, Tree
    from timing.notebook.store import Notebook
    from timing.recovery import Hold
    from timing.site import Site
    from timing.species.model import Condition, Species
    from timing.temperature import TemperatureRecord
    from timing.tuning import Nominal, TunedEvent

SAMPLE_DAY = "06-20"  # the day a sample is asked about unless told otherwise
CHOICES = (
    "say where the temperatures come from, exactly one of --site NAME (of the notebook), "
    "--sample NAME or --temperatures FILE with --latitude and --longitude"
)


@dataclass(frozen=True)
class Bench:
    """A site, its record as it stood on the day, that day, and what the notebook holds of it.

    ``trees`` are all trees at the site where the bench is not one tree's.
    """

    site: Site
    record: TemperatureRecord
    drivers: Drivers
    on: np.datetime64
    observed: tuple[Observation, ...] = ()
    tree: Tree | None = None
    records: tuple[Record, ...] = ()
    trees: tuple[Tree, ...] = ()


@dataclass(frozen=True)
class Taxa:
    """Taxa at a bench, adjusted to what was seen there.

    Parameters
    ----------
    species : in the order asked for.
    fits : slug → event → how well the tuned event fits the dates.
    seen : slug → event → the day somebody saw it this season.
    """

    bench: Bench
    species: tuple[Species, ...]
    fits: dict[str, dict[str, TunedEvent]] = field(default_factory=dict)
    seen: dict[str, dict[str, np.datetime64]] = field(default_factory=dict)

    def outlook(self, taxon: Species, **options: Any) -> Outlook:
        """Events and odds of one taxon on the day; see `timing.answers.outlook`."""
        from timing.answers import outlook

        return outlook(
            taxon,
            self.bench.record,
            self.bench.drivers,
            on=self.bench.on,
            tuned=self.fits.get(taxon.slug, {}),
            seen=self.seen.get(taxon.slug, {}),
            **options,
        )

    def outlooks(self, **options: Any) -> list[Outlook]:
        """The same for every taxon."""
        return [self.outlook(taxon, **options) for taxon in self.species]


def open_bench(
    *,
    site_name: str | None,
    notebook: Path | None,
    sample: str | None,
    temperatures: tuple[Path, ...] | None,
    units: Unit | None,
    latitude: float | None,
    longitude: float | None,
    elevation: float | None,
    on: str | None,
    tree: str | None = None,
    short: bool = False,
) -> Bench:
    """Resolve the shared options into a site with its record as it stood on the day.

    ``short`` opens a record too short for odds as well.
    """
    from timing.errors import UsageError
    from timing.intake.samples import find_sample, sample_record
    from timing.site import Site

    sources = (site_name or tree, sample, temperatures)
    given = sum(source is not None for source in sources)
    if given > 1 or (given == 0 and not notebook_path(notebook).exists()):
        raise UsageError(CHOICES)
    if temperatures is None and (latitude, longitude, elevation) != (None, None, None):
        raise UsageError("--latitude, --longitude and --elevation go with --temperatures only")
    if temperatures is None and units is not None:
        raise UsageError("--units goes with --temperatures only")
    if sample is not None:
        bundled = find_sample(sample)
        today = parse_day(f"{bundled.last[:4]}-{SAMPLE_DAY}" if on is None else on)
        record = sample_record(bundled, until=today)
        return Bench(bundled.site, record, _drivers(record, bundled.site, short), today)
    today = parse_day(dt.date.today().isoformat() if on is None else on)
    if temperatures is not None:
        if latitude is None or longitude is None:
            raise UsageError("--temperatures needs --latitude and --longitude in degrees")
        from timing.intake.temperatures import read_temperatures
        from timing.intake.text import shown_name

        site = Site(shown_name(temperatures[0].stem)[:80], latitude, longitude, elevation)
        found = read_temperatures(temperatures, units=units, until=today)
        site = replace(site, attribution=found.origin.named)
        return Bench(site, found.record, _drivers(found.record, site, short), today)
    with open_notebook(notebook) as book:
        if given == 0 and len(book.sites()) != 1:
            raise UsageError(f"{CHOICES}; the notebook holds {len(book.sites())} sites")
        chosen = book.tree(tree) if tree else None
        return notebook_bench(book, site_name, today, chosen, short=short)


def _drivers(record: TemperatureRecord, site: Site, short: bool) -> Drivers:
    from timing.answers import site_drivers
    from timing.drivers import build_drivers

    return (build_drivers if short else site_drivers)(record, site)


def notebook_bench(
    book: Notebook,
    site_name: str | None,
    today: np.datetime64,
    tree: Tree | None = None,
    *,
    short: bool = False,
) -> Bench:
    """The bench of a site of the notebook, or of one tree there with its shelters."""
    from timing.errors import UsageError
    from timing.notebook.seen import SeenDates
    from timing.notebook.shelter import sheltered

    site = book.site(tree.site if tree and site_name is None else site_name)
    if tree is not None and site.name != tree.site:
        raise UsageError(f"tree {tree.name} stands at {tree.site}, not at {site.name}")
    record = book.temperature_record(site.name, until=today)
    place = site.place()
    if tree is not None:
        place = replace(place, name=f"{tree.name} at {place.name}")
        if tree.shelters:
            record = sheltered(record, tree.shelters)
    return Bench(
        place,
        record,
        _drivers(record, place, short),
        today,
        SeenDates.at(book, site.name, until=today).of(tree),
        tree,
        book.records(tree=tree.name) if tree else (),
        () if tree else book.trees(site=site.name),
    )


def own_taxa(benches: Iterable[Bench]) -> tuple[str, ...]:
    """Taxa of the trees at the benches, each once, in the order of the trees."""
    return tuple(dict.fromkeys(tree.species for bench in benches for tree in bench.trees))


def tuned_taxa(
    taxa: Iterable[Species],
    observations: Path | None,
    bench: Bench,
    *,
    nominal: Nominal | None = None,
    told: set[str] | None = None,
) -> Taxa:
    """Taxa adjusted to the user's observations, from a file and from the notebook.

    What could not be used is named on stderr, unless it is among what was told before.
    ``nominal`` is shared by all tunings to one record.
    """
    wanted = tuple(taxa)
    seen, warnings = list(bench.observed), []
    if observations is not None:
        from timing.intake.observations import read_observations

        found = read_observations(observations)
        seen += [item for item in found.observations if item.date <= bench.on]
        warnings += [f"{observations}: {warning}" for warning in found.warnings]
    if not seen:
        return Taxa(bench, wanted)
    from timing.observed_dates import seen_in_season
    from timing.running import running_year
    from timing.species.catalogue import load_species
    from timing.tuning import tune

    watched = (load_species(slug) for slug in dict.fromkeys(item.species for item in seen))
    everybody = {taxon.slug: taxon for taxon in (*wanted, *watched)}
    slugs = [taxon.slug for taxon in wanted]
    tuning = tune(bench.drivers, everybody.values(), seen, wanted=slugs, nominal=nominal)
    source = observations or "notebook"
    told = set() if told is None else told
    for warning in (*warnings, *(f"{source}: {warning}" for warning in tuning.warnings)):
        if warning not in told:
            click.echo(warning, err=True)
        told.add(warning)
    hemisphere = bench.site.hemisphere
    return Taxa(
        bench,
        tuple(tuning.species[taxon.slug] for taxon in wanted),
        tuning.fits,
        seen_in_season(tuning.usable, running_year(bench.on, hemisphere), hemisphere),
    )


def tree_outlook(
    known: Taxa, taxon: Species, condition: Condition, **options: Any
) -> tuple[Outlook, tuple[Hold, ...]]:
    """A taxon's outlook for the tree of the bench, if any, and what its records forbid."""
    view = known.outlook(taxon, condition=condition, **options)
    if not known.bench.records:
        return view, ()
    from timing.notebook.model import WorkDone
    from timing.recovery import holds

    done = [item for item in known.bench.records if isinstance(item, WorkDone)]
    held = holds(view, done, known.bench.on)
    if condition == "vigorous" and any(hold.weakens for hold in held):
        view = known.outlook(taxon, condition="weak", **options)  # its rules ask for less
    return view, held
