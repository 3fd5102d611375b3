"""``sapdial record``: observed dates, work done, shoots left to run; undo, export, import."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cli.notebook_options import (
    as_day,
    as_name,
    notebook_option,
    now,
    open_for_list,
    open_notebook,
    tell_empty,
)
from cli.numbers import Decimal, Whole
from cli.options import format_option
from cli.output import echo_json

if TYPE_CHECKING:
    from timing.notebook.model import ObservedDate, Record
    from timing.notebook.store import Notebook

RUNNING = "running"

fraction_option = click.option(
    "--fraction", type=Decimal(), metavar="P", help="Share that came off, 0 to 1 (work)."
)
place_option = click.option("--place", metavar="TEXT", help="Where on the tree (running).")
note_option = click.option("--note", metavar="TEXT", help="Free text.")


@click.group("record")
def command() -> None:
    """Keep dates you saw and work you did; undo, export and import the notebook."""


@command.command("add")
@click.argument("what")
@click.option("--tree", callback=as_name, metavar="NAME", help="The tree.")
@click.option(
    "--site",
    callback=as_name,
    metavar="NAME",
    help="For a date without a tree: where [default: the only site].",
)
@click.option("--species", metavar="NAME", help="For a date without a tree: which taxon.")
@click.option(
    "--on", callback=as_day, metavar="DATE", help="The day, or the first day [default: today]."
)
@fraction_option
@place_option
@note_option
@notebook_option
def add(what: str, notebook: Path | None, **given: Any) -> None:
    """Note an observed date, work done, or a shoot left to run.

    WHAT is an event (such as bud_break), a kind of work (heavy, light, outline, repotting,
    leaf_removal, frost_loss) or 'running'.
    """
    from timing.notebook.words import record_lines

    when = now()
    values = {key: value for key, value in given.items() if value is not None}
    day = values.pop("on", when.date())
    with open_notebook(notebook) as book:
        record = _record(what, day, values)
        number = book.add_record(record, when=when)
        click.echo("\n".join(record_lines(book.record(number))))
        _tell_doubt(book, number, when.date())


@command.command("list")
@click.option("--tree", metavar="NAME", help="Only records of this tree.")
@click.option("--site", metavar="NAME", help="Only records at this site.")
@notebook_option
@format_option("text", "json")
def list_(tree: str | None, site: str | None, notebook: Path | None, output: str) -> None:
    """List the records in the order of their dates."""
    from timing.errors import UsageError

    if tree is not None and site is not None:
        raise UsageError("give --tree or --site, not both")
    with open_for_list(notebook) as book:
        records = book.records(tree=tree, site=site) if book else ()
    if records or output == "json":
        _show(records, output)
    else:
        tell_empty("record", "sapdial record add bud_break --tree NAME --on DATE")


@command.command("show")
@click.argument("number", type=Whole())
@notebook_option
@format_option("text", "json")
def show(number: int, notebook: Path | None, output: str) -> None:
    """Show one record."""
    with open_notebook(notebook) as book:
        record = book.record(number)
    _show((record,), output)


@command.command("change")
@click.argument("number", type=Whole())
@click.option("--on", callback=as_day, metavar="DATE", help="The day, or the first day.")
@click.option(
    "--ended", callback=as_day, metavar="DATE", help="The day the shoot was cut (running)."
)
@click.option(
    "--looked", callback=as_day, metavar="DATE", help="The day you looked at the shoot (running)."
)
@fraction_option
@place_option
@note_option
@notebook_option
def change(number: int, notebook: Path | None, **given: Any) -> None:
    """Change what is given; the rest stays.

    --ended DATE says that a shoot was cut, --looked DATE that it may run on.
    """
    from timing.errors import UsageError

    values = {key: value for key, value in given.items() if value is not None}
    if not values:
        raise UsageError("say what to change, such as --on DATE, --ended DATE or --note TEXT")
    with open_notebook(notebook) as book:
        when = now()
        book.change_record(number, lambda old: _edited(old, values), when=when)
        _show((book.record(number),), "text")
        if "on" in values:
            _tell_doubt(book, number, when.date())


@command.command("remove")
@click.argument("number", type=Whole())
@notebook_option
def remove(number: int, notebook: Path | None) -> None:
    """Remove one record; 'undo' brings it back."""
    with open_notebook(notebook) as book:
        click.echo(book.remove_record(number, when=now()).what)


@command.command("undo")
@notebook_option
def undo(notebook: Path | None) -> None:
    """Take back the last change of the notebook: of a site, a tree, a record, or an import.

    Given again it takes back the change before; the last twenty are kept.
    """
    with open_notebook(notebook) as book:
        change = book.undo()
    click.echo(f"taken back: {change.what} (of {change.when:%Y-%m-%d %H:%M})")


@command.command("export")
@click.argument("folder", type=click.Path(path_type=Path))
@notebook_option
def export(folder: Path, notebook: Path | None) -> None:
    """Write the whole notebook to a new folder of plain CSV files."""
    from timing.notebook.export_folder import export_folder
    from timing.notebook.words import counted

    with open_notebook(notebook) as book:
        rows = export_folder(book, folder)
    for name, count in rows.items():
        click.echo(f"{folder / name}: {counted(count, 'row')}")


@command.command("import")
@click.argument("folder", type=click.Path(path_type=Path))
@notebook_option
def import_(folder: Path, notebook: Path | None) -> None:
    """Read a folder of plain CSV files into the notebook.

    What is there already is skipped; what is there with other values is refused, and then
    nothing is read.
    """
    from timing.notebook.import_folder import import_folder, read_folder
    from timing.notebook.words import counted

    found = read_folder(folder)
    with open_notebook(notebook, create=True) as book:
        done = import_folder(book, found, when=now())
    click.echo(done.change.what)
    skipped = [counted(count, sort) for sort, count in done.skipped.items()]
    if skipped:
        click.echo(f"already there: {', '.join(skipped)}")


def _record(written: str, day: dt.date, values: dict[str, Any]) -> Record:
    """A new record out of the options; options that do not go with it are refused."""
    from timing.errors import UsageError
    from timing.notebook.checks import shown
    from timing.notebook.model import WORK_DONE, ObservedDate, Runner, WorkDone
    from timing.notebook.trees import one_species
    from timing.species.model import EVENT_ORDER

    what = written.strip().lower().replace("-", "_")
    if what == RUNNING:
        _only(what, values, "tree", "place", "note")
        return Runner(begun=day, **_with(what, values, "tree", "place"))
    if what in WORK_DONE:
        _only(what, values, "tree", "fraction", "note")
        return WorkDone(kind=what, date=day, **_with(what, values, "tree"))
    if what not in EVENT_ORDER:
        raise UsageError(
            f"{shown(written)} is no event, no kind of work and not {RUNNING!r}; events are "
            f"{', '.join(EVENT_ORDER)}; work is {', '.join(WORK_DONE)}"
        )
    if "tree" in values:
        _only(f"{what} with --tree", values, "tree", "note")
    else:
        _only(what, values, "species", "site", "note")
        if "species" not in values:
            raise UsageError(f"{what} needs --tree NAME, or --species NAME for a taxon at a site")
        values["species"] = one_species(values["species"])
    return ObservedDate(event=what, date=day, **values)


def _tell_doubt(book: Notebook, number: int, today: dt.date) -> None:
    """Say on stderr what makes a noted date look like a slip."""
    from timing.notebook.model import ObservedDate

    record = book.record(number)
    text = _doubt(book, record, today) if isinstance(record, ObservedDate) else ""
    if text:
        slip = f"sapdial record change {number} --on DATE"
        click.echo(f"record {number}: {text}; if it is a slip: {slip}", err=True)


def _doubt(book: Notebook, record: ObservedDate, today: dt.date) -> str:
    """The same in a sentence; "" where nothing is odd, or the site cannot tell."""
    import numpy as np

    from cli.bench import notebook_bench
    from timing.errors import DataError
    from timing.intake.observations import Observation
    from timing.notebook.model import ObservedDate
    from timing.observed_dates import doubt, expected_date, season_seen
    from timing.species.catalogue import load_species
    from timing.tuning import Nominal

    tree = book.tree(record.tree) if record.tree else None
    try:
        bench = notebook_bench(book, record.site, np.datetime64(today, "D"), tree)
    except DataError:
        return ""  # no temperatures, or too few seasons, to judge by
    taxon, hemisphere = load_species(record.species), bench.site.hemisphere
    if record.event not in taxon.events:
        return f"no answer uses {record.event} of {record.species}"

    def season(item: ObservedDate) -> int:
        return season_seen(item.event, np.datetime64(item.date, "D"), hemisphere)

    usual = Nominal(bench.drivers).dates(taxon, record.event)
    seen = Observation(
        record.species, record.event, np.datetime64(record.date, "D"), record.number, "record"
    )
    if text := doubt(seen, expected_date(bench.drivers, usual, season(record))):
        return text
    whose = book.records(tree=record.tree) if record.tree else book.records(site=record.site)
    for other in whose:
        if not isinstance(other, ObservedDate) or other.number == record.number:
            continue
        what = other.tree, other.species, other.event, season(other)
        if what == (record.tree, record.species, record.event, season(record)):
            return f"record {other.number} has {other.date} for the same event; neither is used"
    return ""


def _only(what: str, values: dict[str, Any], *names: str) -> None:
    from timing.errors import UsageError

    if odd := [name for name in values if name not in names]:
        raise UsageError(f"--{odd[0]} does not go with {what}")


def _with(what: str, values: dict[str, Any], *names: str) -> dict[str, Any]:
    from timing.errors import UsageError

    for name in names:
        if name not in values:
            raise UsageError(f"{what} needs --{name}")
    return values


def _edited(record: Record, values: dict[str, Any]) -> Record:
    """A record with what the options give."""
    from timing.notebook.model import Runner, WorkDone

    values = dict(values)
    if isinstance(record, Runner):
        _only("a shoot left to run", values, "on", "ended", "looked", "place", "note")
        first = "begun"
    elif isinstance(record, WorkDone):
        _only("work done", values, "on", "fraction", "note")
        first = "date"
    else:
        _only("an observed date", values, "on", "note")
        first = "date"
    if "on" in values:
        values[first] = values.pop("on")
    return replace(record, **values)


def _show(records: tuple[Record, ...], output: str) -> None:
    from timing.notebook.as_json import records_json
    from timing.notebook.words import listed, record_lines

    if output == "json":
        echo_json(records_json(records))
    else:
        click.echo(listed(record_lines(record) for record in records), nl=False)
