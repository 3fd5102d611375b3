"""The forms in which ``sapdial calendar`` writes a year: of one site, or of a region."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.notebook_options import now
from cli.output import counted_taxa

if TYPE_CHECKING:
    from timing.calendar import YearCalendar
    from timing.charts.booklet_sheet import PaperName
    from timing.region import RegionCalendar

CHARTS = (".png", ".svg")
SUFFIXES = (*CHARTS, ".txt", ".json", ".pdf", ".html", ".csv", ".ics")


@dataclass(frozen=True)
class Forms:
    """A year to print: of one site, or the days safe at every site of a ``region``.

    A region has text, JSON and chart of its own, which tell its sites apart.
    """

    calendar: YearCalendar
    region: RegionCalendar | None = None

    @property
    def summary(self) -> str:
        """What a file holds, in a few words."""
        taxa = counted_taxa(len(self.calendar.rows))
        place = f"{len(self.region.sites)} sites" if self.region else self.calendar.name
        return f"{self.calendar.year}, {taxa}, {place}"

    def summary_of(self, path: Path) -> str:
        """The same for one file; a calendar file has one entry a safe window, and can be empty."""
        bands = (band for row in self.calendar.rows for band in row.bands)
        if path.suffix.lower() == ".ics" and not any(band.safe for band in bands):
            return f"{self.summary}; no safe day, so it holds no entry"
        return self.summary

    def printed(self, suffix: str) -> str:
        """The year as ``.txt``, ``.csv`` or ``.json``."""
        if suffix == ".csv":
            from timing.export.calendar_files import calendar_csv

            return calendar_csv(self.calendar)
        if suffix == ".json":
            from timing.export.files import json_text

            return f"{json_text(self.data())}\n"
        if self.region:
            from timing.export.region_text import region_strip

            return region_strip(self.region)
        from timing.export.calendar_text import calendar_strip

        return calendar_strip(self.calendar)

    def data(self) -> dict[str, Any]:
        """The year for programs."""
        if self.region:
            from timing.export.region_json import region_json

            return region_json(self.region)
        from timing.export.as_json import calendar_json

        return calendar_json(self.calendar)

    def save(self, paths: Sequence[Path], paper: PaperName, alarm_days: int | None) -> None:
        """Write every file in the form that its ending names, each whole or not at all."""
        charts = [path for path in paths if path.suffix.lower() in CHARTS]
        if charts:
            self._save_charts(charts)
        for path in paths:
            if path not in charts:
                self._save(path, paper, alarm_days)

    def _save_charts(self, paths: Sequence[Path]) -> None:
        if self.region:
            from timing.charts.region_chart import save_region

            save_region(self.region, *paths)
        else:
            from timing.charts.calendar_chart import save_calendar

            save_calendar(self.calendar, *paths)

    def _save(self, path: Path, paper: PaperName, alarm_days: int | None) -> None:
        from timing.export.files import write_text

        calendar, suffix = self.calendar, path.suffix.lower()
        if suffix == ".pdf":
            from timing.charts.booklet import save_booklet

            save_booklet(calendar, path, paper)
        elif suffix == ".ics":
            from timing.export.calendar_files import calendar_entries
            from timing.export.icalendar_file import save_icalendar

            entries = calendar_entries(calendar, alarm_days)
            title = calendar.language.text("calendar.title", year=calendar.year)
            save_icalendar(entries, path, title=title, stamp=now().astimezone())
        elif suffix == ".html":
            from timing.export.calendar_html import calendar_html

            write_text(path, calendar_html(calendar))
        else:
            write_text(path, self.printed(suffix))
