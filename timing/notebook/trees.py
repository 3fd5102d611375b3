"""Trees and their shelters in the notebook file: rows in and out."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

from timing.errors import UsageError
from timing.notebook.checks import FieldError, shown, unknown
from timing.notebook.journal import Writer
from timing.notebook.model import Shelter, Tree
from timing.notebook.schema import rebuilt
from timing.notebook.sites import drop_tree, find, numbers, refuse_taken
from timing.notebook.words import counted
from timing.plain_text import lookup_key
from timing.species.catalogue import load_species, slugs
from timing.species.model import EVENT_ORDER
from timing.species.names import find_species

TreeEdit = Callable[[Tree], Tree]

_TREES = (
    "SELECT tree.*, site.name AS site_name FROM tree JOIN site ON site.number = tree.site "
    "{} ORDER BY tree.key"
)


def one_species(name: str) -> str:
    """Slug of the one taxon a user's word stands for.

    Raises
    ------
    FieldError : it stands for none or for several.
    """
    try:
        found = find_species(name)
    except UsageError as error:
        raise FieldError("species", str(error)) from error
    if len(found) > 1:
        raise FieldError(
            "species",
            f"{shown(name)} stands for {len(found)} taxa; name one, such as {', '.join(found[:3])}",
        )
    return found[0]


def checked_event(species: str, event: str) -> None:
    """Refuse an event that a taxon does not have.

    Raises
    ------
    FieldError : it has none of that name, or the taxon is not known.
    """
    if species not in slugs():
        raise FieldError("species", f"no species {shown(species)}; see 'sapdial species list'")
    known = load_species(species).events
    if event not in known:
        events = ", ".join(name for name in EVENT_ORDER if name in known)
        raise FieldError("event", f"{species} has no event {shown(event)}; its events are {events}")


def read_trees(db: sqlite3.Connection, site: str | None = None) -> tuple[Tree, ...]:
    """Every tree in the order of their names, or those of one site."""
    if site is None:
        rows = db.execute(_TREES.format("")).fetchall()
    else:
        number = find(db, "site", site)["number"]
        rows = db.execute(_TREES.format("WHERE tree.site = ?"), (number,)).fetchall()
    return tuple(_tree(db, row) for row in rows)


def read_tree(db: sqlite3.Connection, name: str) -> tuple[int, Tree]:
    """Number and content of the tree of that name."""
    number = int(find(db, "tree", name)["number"])
    row = db.execute(_TREES.format("WHERE tree.number = ?"), (number,)).fetchone()
    return number, _tree(db, row)


def add_tree(writer: Writer, tree: Tree) -> str:
    """Write a new tree with its shelters; returns what was done, in words."""
    refuse_taken(writer.db, "tree", tree.name)
    number = writer.add("tree", _row(writer.db, tree))
    for shelter in tree.shelters:
        put_shelter(writer, number, shelter)
    return f"added tree {tree.name}"


def change_tree(writer: Writer, name: str, edit: TreeEdit) -> str:
    """Write what ``edit`` makes of a tree.

    Where the species is put right, the dates observed on the tree become that species' too.
    """
    db = writer.db
    number, old = read_tree(db, name)
    new = edit(old)
    refuse_taken(db, "tree", new.name, but=number)
    writer.change("tree", number, _row(db, new))
    if new.species != old.species:
        for date in numbers(db, "observation", "tree", number):
            row = writer.row("observation", date)
            checked_event(new.species, row["event"])
            writer.change("observation", date, {**row, "species": new.species})
    kept = {lookup_key(shelter.kind) for shelter in new.shelters}
    for key, gone in _shelters(db, number).items():
        if key not in kept:
            writer.drop("shelter", gone)
    for shelter in new.shelters:
        put_shelter(writer, number, shelter)
    renamed = "" if new.name == old.name else f", now called {new.name}"
    return f"changed tree {old.name}{renamed}"


def remove_tree(writer: Writer, name: str) -> str:
    """Delete a tree, its shelters, work and runners; its observed dates stay with their site."""
    number, tree = read_tree(writer.db, name)
    dates = len(numbers(writer.db, "observation", "tree", number))
    gone = drop_tree(writer, number)
    stay = f"; {counted(dates, 'observed date')} kept with the site" if dates else ""
    return f"removed tree {tree.name} and {counted(gone, 'record')} of work and shoots{stay}"


def set_shelter(writer: Writer, name: str, shelter: Shelter) -> str:
    """Give a tree a shelter, in the place of one of the same kind."""
    number, tree = read_tree(writer.db, name)
    put_shelter(writer, number, shelter)
    return f"noted shelter {shelter.kind} of {tree.name}"


def remove_shelter(writer: Writer, name: str, kind: str) -> str:
    """Take a shelter from a tree."""
    number, tree = read_tree(writer.db, name)
    key = lookup_key(kind)
    shelters = _shelters(writer.db, number)
    if key not in shelters:
        raise unknown("shelter", kind, (known.kind for known in tree.shelters))
    writer.drop("shelter", shelters[key])
    return f"removed shelter {kind} of {tree.name}"


def put_shelter(writer: Writer, tree: int, shelter: Shelter) -> None:
    """Write a shelter of a tree, in the place of one of the same kind."""
    row: dict[str, Any] = {
        "tree": tree,
        "kind": shelter.kind,
        "key": lookup_key(shelter.kind),
        "tmin_offset_c": shelter.tmin_offset_c,
        "tmax_offset_c": shelter.tmax_offset_c,
        "starts": shelter.starts,
        "until": shelter.until,
    }
    number = _shelters(writer.db, tree).get(row["key"])
    if number is None:
        writer.add("shelter", row)
    else:
        writer.change("shelter", number, row)


def _shelters(db: sqlite3.Connection, tree: int) -> dict[str, int]:
    """Numbers of a tree's shelters by the key of their kind."""
    rows = db.execute("SELECT key, number FROM shelter WHERE tree = ?", (tree,)).fetchall()
    return {str(row["key"]): int(row["number"]) for row in rows}


def _row(db: sqlite3.Connection, tree: Tree) -> dict[str, Any]:
    if tree.species not in slugs():
        raise FieldError("species", f"no species {shown(tree.species)}; see 'sapdial species list'")
    return {
        "name": tree.name,
        "key": lookup_key(tree.name),
        "species": tree.species,
        "site": find(db, "site", tree.site)["number"],
        "condition": tree.condition,
        "pot_cm": tree.pot_cm,
        "note": tree.note,
    }


def _tree(db: sqlite3.Connection, row: sqlite3.Row) -> Tree:
    shelters = db.execute(
        "SELECT * FROM shelter WHERE tree = ? ORDER BY key", (row["number"],)
    ).fetchall()
    return rebuilt(
        lambda: Tree(
            name=row["name"],
            species=row["species"],
            site=row["site_name"],
            condition=row["condition"],
            pot_cm=row["pot_cm"],
            note=row["note"],
            shelters=tuple(
                Shelter(s["kind"], s["tmin_offset_c"], s["tmax_offset_c"], s["starts"], s["until"])
                for s in shelters
            ),
        )
    )
