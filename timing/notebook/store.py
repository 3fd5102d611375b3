"""Open a notebook and read, write and undo what it holds.

    with Notebook.open(path) as book:
        site = book.site("Home")
        record = book.temperature_record(site.name)

Reading methods show one moment of the file. Each writing method is one change: it is written whole
or not at all, enters the journal with what it replaced, and `Notebook.undo` reverts it. ``when``
is the caller's present time; dates after it are refused.
"""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from timing.errors import DataError
from timing.notebook import journal, records, sites, trees
from timing.notebook.journal import Change, Writer
from timing.notebook.model import NotebookSite, ObservedDate, Record, Shelter, Tree
from timing.notebook.readings import Kind, Readings, Span, read_readings, read_span
from timing.notebook.records import RecordEdit
from timing.notebook.schema import connect, reading
from timing.notebook.site_record import site_record
from timing.notebook.sites import Beside, SiteEdit
from timing.notebook.trees import TreeEdit

if TYPE_CHECKING:
    import numpy as np

    from timing.intake.observations import Observation
    from timing.temperature import TemperatureRecord


class Notebook:
    """One open notebook; a context manager that closes it.

    Every method may raise `timing.errors.UsageError` for a name, number or value that is wrong
    (`timing.notebook.checks.FieldError` names the field) and `timing.errors.DataError` for a file
    that is damaged or in use.
    """

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path, self._db = path, db

    @classmethod
    def open(cls, path: Path, *, create: bool = False) -> Notebook:
        """Open the notebook at a path; see `timing.notebook.schema.connect` for the errors."""
        return cls(path, connect(path, create=create))

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def __enter__(self) -> Notebook:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Everything read in the block belongs to one moment."""
        with reading(self._db, self.path):
            yield self._db

    @contextmanager
    def changing(self, when: dt.datetime) -> Iterator[Writer]:
        """Everything written in the block is one change, kept whole or not at all."""
        with journal.changing(self._db, self.path, when) as writer:
            yield writer

    # ------------------------------------------------------------------ sites

    def sites(self, *, tag: str | None = None) -> tuple[NotebookSite, ...]:
        """Every site in the order of their names, or those that bear a tag."""
        with self.reading() as db:
            return sites.read_sites(db, tag)

    def site(self, name: str | None = None) -> NotebookSite:
        """The site of that name; without a name the only one, where there is only one."""
        with self.reading() as db:
            return sites.read_site(db, name)[1]

    def refuse_taken_site(self, name: str) -> None:
        """Raise `timing.notebook.checks.FieldError` where a site bears that name already."""
        with self.reading() as db:
            sites.refuse_taken(db, "site", name)

    def add_site(
        self,
        site: NotebookSite,
        readings: Readings | None = None,
        *,
        when: dt.datetime,
        beside: Beside | None = None,
    ) -> Change:
        """Keep a new site, with what ``beside`` names beside its own readings."""
        with self.changing(when) as writer:
            writer.what = sites.add_site(writer, site, readings, beside)
        return writer.change_made

    def change_site(
        self,
        name: str,
        edit: SiteEdit,
        readings: Readings | None = None,
        *,
        when: dt.datetime,
        beside: Beside | None = None,
    ) -> Change:
        """Keep what ``edit`` makes of a site, and new readings in the place of its old ones."""
        with self.changing(when) as writer:
            writer.what = sites.change_site(writer, name, edit, readings, beside)
        return writer.change_made

    def update_site(
        self,
        name: str,
        readings: tuple[Readings, Readings],
        edit: SiteEdit,
        news: str,
        *,
        when: dt.datetime,
        beside: Beside | None = None,
    ) -> Change:
        """Keep what a site's station brought; see `timing.notebook.sites.update_site`."""
        with self.changing(when) as writer:
            writer.what = sites.update_site(writer, name, readings, edit, news, beside=beside)
        return writer.change_made

    def remove_site(self, name: str, *, when: dt.datetime) -> Change:
        """Delete a site with its temperatures, its trees and all their records."""
        with self.changing(when) as writer:
            writer.what = sites.remove_site(writer, name)
        return writer.change_made

    # ------------------------------------------------------------------ temperatures

    def readings(self, site: str | None = None, kind: Kind = "own") -> Readings | None:
        """A site's temperatures as they were read, or a kind kept beside them, or None."""
        with self.reading() as db:
            return read_readings(db, sites.read_site(db, site)[0], kind)

    def span(self, site: str | None = None, kind: Kind = "own") -> Span | None:
        """First and last day of a site's temperatures of a kind, or None where it has none."""
        with self.reading() as db:
            return read_span(db, sites.read_site(db, site)[0], kind)

    def temperature_record(
        self, site: str | None = None, *, until: np.datetime64 | None = None
    ) -> TemperatureRecord:
        """A site's temperatures, corrected for height, checked and mended as those of a file.

        Gaps are filled from its neighbour's where the notebook holds some. What reading them told
        stands first among the findings.

        Raises
        ------
        DataError : the site has none, or none up to ``until``.
        """
        with self.reading() as db:
            number, found = sites.read_site(db, site)
            readings = read_readings(db, number)
            beside = read_readings(db, number, "neighbour")
            ahead = read_readings(db, number, "forecast")
        if readings is None:
            raise DataError(
                f"site {found.name} has no temperatures; 'sapdial site change' with "
                "--temperatures FILE gives it some"
            )
        return site_record(found, readings, beside, ahead, until)

    def replace_readings(self, site: str, readings: Readings, *, when: dt.datetime) -> Change:
        """Keep readings in the place of a site's old ones."""
        return self.change_site(site, lambda same: same, readings, when=when)

    # ------------------------------------------------------------------ trees

    def trees(self, *, site: str | None = None) -> tuple[Tree, ...]:
        """Every tree in the order of their names, or those of one site."""
        with self.reading() as db:
            return trees.read_trees(db, site)

    def tree(self, name: str) -> Tree:
        """The tree of that name."""
        with self.reading() as db:
            return trees.read_tree(db, name)[1]

    def add_tree(self, tree: Tree, *, when: dt.datetime) -> Change:
        """Keep a new tree with its shelters."""
        with self.changing(when) as writer:
            writer.what = trees.add_tree(writer, tree)
        return writer.change_made

    def change_tree(self, name: str, edit: TreeEdit, *, when: dt.datetime) -> Change:
        """Keep what ``edit`` makes of a tree; its observed dates follow a corrected species."""
        with self.changing(when) as writer:
            writer.what = trees.change_tree(writer, name, edit)
        return writer.change_made

    def remove_tree(self, name: str, *, when: dt.datetime) -> Change:
        """Delete a tree; its observed dates stay with their site."""
        with self.changing(when) as writer:
            writer.what = trees.remove_tree(writer, name)
        return writer.change_made

    def set_shelter(self, tree: str, shelter: Shelter, *, when: dt.datetime) -> Change:
        """Give a tree a shelter, in the place of one of the same kind."""
        with self.changing(when) as writer:
            writer.what = trees.set_shelter(writer, tree, shelter)
        return writer.change_made

    def remove_shelter(self, tree: str, kind: str, *, when: dt.datetime) -> Change:
        """Take a shelter from a tree."""
        with self.changing(when) as writer:
            writer.what = trees.remove_shelter(writer, tree, kind)
        return writer.change_made

    # ------------------------------------------------------------------ records

    def records(self, *, tree: str | None = None, site: str | None = None) -> tuple[Record, ...]:
        """Records in the order of their dates: all, those of a tree, or those at a site."""
        with self.reading() as db:
            return records.read_records(db, tree=tree, site=site)

    def record(self, number: int) -> Record:
        """The record of that number."""
        with self.reading() as db:
            return records.read_record(db, number)

    def add_record(self, record: Record, *, when: dt.datetime) -> int:
        """Keep a new record; returns its number."""
        with self.changing(when) as writer:
            return records.add_record(writer, record)

    def change_record(self, number: int, edit: RecordEdit, *, when: dt.datetime) -> Change:
        """Keep what ``edit`` makes of a record, which stays of its kind."""
        with self.changing(when) as writer:
            records.change_record(writer, number, edit)
        return writer.change_made

    def remove_record(self, number: int, *, when: dt.datetime) -> Change:
        """Delete a record."""
        with self.changing(when) as writer:
            records.remove_record(writer, number)
        return writer.change_made

    def observations(
        self, site: str | None = None, *, until: np.datetime64 | None = None
    ) -> tuple[Observation, ...]:
        """Dates observed at a site, for `timing.tuning.tune`; ``until`` hides later ones."""
        import numpy as np  # noqa: PLC0415 - lists of names need no arrays

        from timing.intake.observations import Observation  # noqa: PLC0415

        name = self.site(site).name
        found = (
            Observation(
                item.species, item.event, np.datetime64(item.date, "D"), item.number, "record"
            )
            for item in self.records(site=name)
            if isinstance(item, ObservedDate)
        )
        return tuple(item for item in found if until is None or item.date <= until)

    # ------------------------------------------------------------------ undo

    def last_change(self) -> Change | None:
        """The change that `undo` would revert, or None."""
        with self.reading() as db:
            return journal.last_change(db)

    def undo(self) -> Change:
        """Put back what the last change replaced, and say which change it was.

        Raises
        ------
        DataError : there is no change left to undo.
        """
        return journal.undo(self._db, self.path)
