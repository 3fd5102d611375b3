"""A year's calendar as one page for a browser, without anything from elsewhere.

The page is whole without JavaScript; with it a reader can filter taxa and kinds of work, ask for
the odds of a day, and sees the day of their own clock. A content security policy forbids the
page every connection and every script and style but its own, which it names by their hashes.
"""

from __future__ import annotations

import base64
import hashlib
import json
from html import escape
from pathlib import Path

import numpy as np

from timing import calendar_words, wording
from timing.calendar import MARKED_EVENTS, Band, CalendarRow, YearCalendar
from timing.export import calendar_svg as svg
from timing.species.model import WORK_KINDS
from timing.windows import Window

FOLDER = Path(__file__).parent
OF_THE_SCRIPT = (
    "nothing_found", "day_slider", "chance_on", "in_window", "next_window", "no_window", "safe",
    "doubtful", "unsafe", "show_window", "why", "shown", "other_year",
)  # fmt: skip


def calendar_html(calendar: YearCalendar) -> str:
    """Write a calendar as a page.

    Every taxon is an ``article`` with its slug as id, every kind of work a row with the class of
    its kind. The part of the address after ``#`` sets the filter and the day:
    ``#work=heavy,light&taxon=maple&open=acer-palmatum&day=2025-06-20``.
    """
    return _Page(calendar).write()


class _Page:
    def __init__(self, calendar: YearCalendar) -> None:
        self.calendar, self.language = calendar, calendar.language
        self.new_year = np.datetime64(f"{calendar.year:04d}-01-01", "D")

    def write(self) -> str:
        style = (FOLDER / "calendar_page.css").read_text(encoding="utf-8")
        script = (FOLDER / "calendar_page.js").read_text(encoding="utf-8")
        policy = (
            f"default-src 'none'; script-src {_hash(script)}; style-src {_hash(style)}; "
            "base-uri 'none'; form-action 'none'"
        )
        calendar = self.calendar
        return "\n".join(
            (
                "<!doctype html>",
                f'<html lang="{self.language.code}"><head><meta charset="utf-8">',
                f'<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">',
                '<meta name="viewport" content="width=device-width, initial-scale=1">',
                '<meta name="color-scheme" content="light dark">',
                f"<title>{self._t('calendar.title', year=calendar.year)}: "
                f"{escape(calendar.name)}</title>",
                f"<style>{style}</style></head><body>",
                svg.shared_parts(calendar),
                *self._head(),
                "<main>",
                *self._key(),
                *self._filter(),
                f'<div id="taxa">{"".join(self._taxon(row) for row in calendar.rows)}</div>',
                "</main>",
                *self._foot(),
                f'<script type="application/json" id="words">{self._words()}</script>',
                f"<script>{script}</script></body></html>\n",
            )
        )

    def _t(self, key: str, **values: object) -> str:
        """A text of the catalogue, safe to stand in the page."""
        return escape(self.language.text(key, **values))

    def _sure(self) -> str:
        return wording.level_text(self.calendar.confidence, self.language)

    # ------------------------------------------------------------------ head, key, filter

    def _head(self) -> list[str]:
        calendar = self.calendar
        lines = ["<header>", f"<h1>{self._t('calendar.title', year=calendar.year)}</h1>"]
        if calendar.invented:
            lines.append(f'<p class="invented">{self._t("notice.invented")}</p>')
        place = escape(calendar_words.place_of(calendar))
        lines += [
            f'<p class="site"><bdi>{escape(calendar.name)}</bdi></p>',
            f'<p class="quiet">{place}</p>',
        ]
        if calendar.shared:
            lines += [f"<p>{escape(note)}</p>" for note in calendar.shared.notes]
        if calendar.today is not None:
            day = wording.dated(calendar.today, self.language)
            lines.append(f'<p class="quiet">{self._t("page.as_of", day=day)}</p>')
        first = next(iter(self.language.table("cautions")))
        lines.append(f'<p class="first">{self._t(f"cautions.{first}")}</p>')
        return [*lines, '<p id="clock" role="status" hidden></p>', "</header>"]

    def _key(self) -> list[str]:
        kinds = "".join(
            f'<li class="{kind}"><svg width="34" height="14" aria-hidden="true" focusable="false">'
            f'<rect class="full" width="34" height="14"/></svg> {self._t(f"work.{kind}")}</li>'
            for kind in WORK_KINDS
        )
        shown = {mark.event for row in self.calendar.rows for mark in row.marks}
        events = "".join(
            f"<li>{svg.sign_svg(event)} {self._t(f'events.{event}')}</li>"
            for event in MARKED_EVENTS
            if event in shown
        )
        whisker = (
            '<li class="wide"><svg width="30" height="10" class="events" aria-hidden="true" '
            'focusable="false"><path d="M1 2v6M1 5h28M29 2v6"/></svg> '
            f"{self._t('calendar.key_whisker')}</li>"
        )
        key = "region.key_height" if self.calendar.shared else "calendar.key_height"
        return [
            '<div class="key">',
            f"<p>{self._t(key, chance=self._sure())}</p>",
            f"<ul>{kinds}</ul>",
            f"<ul>{events}{whisker if events else ''}</ul></div>",
        ]

    def _filter(self) -> list[str]:
        boxes = "".join(
            f'<label class="{kind}"><input type="checkbox" name="work" value="{kind}" checked> '
            f"{self._t(f'work.{kind}')}</label>"
            for kind in WORK_KINDS
        )
        return [
            '<form id="filter" role="search" hidden>',
            f'<p><label for="find">{self._t("page.find")}</label> '
            '<input type="search" id="find" name="taxon" autocomplete="off"></p>',
            f"<fieldset><legend>{self._t('page.kinds')}</legend>{boxes}</fieldset>",
            f'<p><output id="shown"></output></p><p class="quiet">{self._t("page.help")}</p>',
            "</form>",
        ]

    def _words(self) -> str:
        """What the script needs, as JSON that cannot end its element."""
        calendar, language = self.calendar, self.language
        value = {
            "year": calendar.year,
            "months": list(language.table("months").values()),
            "day": language.text("dates.day", day="{day}", month="{month}"),
            "dated": language.text("dates.dated", day="{day}", year="{year}"),
            "today": language.text("calendar.today", day="{day}"),
            "percent": language.text("numbers.percent", number="{number}"),
            **{key: language.texts[f"page.{key}"] for key in OF_THE_SCRIPT},
        }
        return json.dumps(value, ensure_ascii=False).replace("<", "\\u003c")

    # ------------------------------------------------------------------ one taxon

    def _taxon(self, row: CalendarRow) -> str:
        species = row.species
        names = " ".join((species.common_name, species.scientific_name, *species.other_names))
        rows = "".join(self._band(row, band) for band in row.bands)
        events = ""
        if row.marks:
            events = (
                f'<div class="row marks"><p class="kind">{self._t("calendar.events")}</p>'
                f'<p class="spans"></p>{svg.events_svg(row, self.calendar)}</div>'
            )
        return (
            f'<article id="{escape(species.slug)}" data-find="{escape(names.lower())}">'
            f'<header><h2 lang="en">{escape(species.common_name)}</h2>'
            f'<p class="latin" lang="la">{escape(species.scientific_name)}</p></header>'
            '<div class="year"><div class="rows"><div class="row"><p class="kind"></p>'
            f'<p class="spans quiet">{self._t("calendar.safe_at", chance=self._sure())}</p>'
            f"{svg.months_svg()}</div>{rows}{events}</div>"
            f"{self._limits(row)}{self._details(row)}</div></article>\n"
        )

    def _band(self, row: CalendarRow, band: Band) -> str:
        runs = wording.joined([(run.opens, run.closes) for run in band.safe], self.calendar.year)
        words = wording.window_spans(band.safe, self.calendar.year, self.language)
        spans = " ".join(
            f'<span class="span" data-from="{self._day(first)}" data-to="{self._day(last)}">'
            f"{escape(text)}</span>"
            for (first, last), text in zip(runs, words, strict=True)
        )
        if not runs:
            best = calendar_words.best_day(band, self.calendar.year, self.language)
            spans = self._t("calendar.none")
            if best:
                spans = (
                    f"{self._t('calendar.best', chance=best[0])} "
                    f"{self._t('calendar.on', day=best[1])}"
                )
            spans = f'<span class="quiet">{spans}</span>'
        least = min((run.chance_min for run in band.safe), default=0.0)
        return (
            f'<div class="row {band.kind}" data-kind="{band.kind}" '
            f'data-least="{escape(wording.percent(least, self.language))}" '
            f'data-chance="{svg.chance_list(band)}">'
            f'<p class="kind">{self._t(f"work.{band.kind}")}</p><p class="spans">{spans}</p>'
            f"{svg.band_svg(row, band, self.calendar)}</div>"
        )

    def _day(self, date: np.datetime64) -> int:
        return int((date - self.new_year).astype(np.int64))

    def _limits(self, row: CalendarRow) -> str:
        """Conditions in sight, for they decide whether a day is safe at all."""
        items = "".join(
            f'<li data-kind="{band.kind}"><b>{self._t(f"short_work.{band.kind}")}</b>: '
            f'<span lang="en">{escape("; ".join(band.limits))}</span></li>'
            for band in row.bands
            if band.limits
        )
        return f'<ul class="limits">{items}</ul>' if items else ""

    # ------------------------------------------------------------------ the table behind a chart

    def _details(self, row: CalendarRow) -> str:
        heads = ("work", "level", "opens", "closes", "least")
        windows = "".join(
            self._window(band, window, level)
            for band in row.bands
            for level, found in (("safe", band.safe), ("doubtful", band.marginal))
            for window in found
        )
        tables = self._table(self._t("page.caption"), heads, windows)
        if row.marks:
            events = "".join(
                f'<tr><th scope="row">{self._t(f"events.{mark.event}")}</th>'
                f"<td>{self._date(mark.date)}</td><td>"
                f"{escape(wording.span_text(mark.early, mark.late, self.language))}</td></tr>"
                for mark in row.marks
            )
            tables += self._table(
                self._t("page.caption_events"), ("event", "usual", "eight_in_ten"), events
            )
        name = escape(row.species.common_name)
        return (
            f'<details><summary>{self._t("page.table")} <span class="of" lang="en">{name}</span>'
            f"</summary>{tables}<h3>{self._t('page.why')}</h3>"
            f'<ul class="reasons">{self._reasons(row)}</ul></details>'
            '<div class="day" hidden></div>'
        )

    def _table(self, caption: str, heads: tuple[str, ...], rows: str) -> str:
        names = "".join(f'<th scope="col">{self._t(f"page.{head}")}</th>' for head in heads)
        return (
            f"<table><caption>{caption}</caption><thead><tr>{names}</tr></thead>"
            f"<tbody>{rows}</tbody></table>"
        )

    def _window(self, band: Band, window: Window, level: str) -> str:
        return (
            f'<tr data-kind="{band.kind}"><th scope="row">{self._t(f"short_work.{band.kind}")}</th>'
            f"<td>{self._t(f'page.{level}')}</td><td>{self._date(window.opens)}</td>"
            f"<td>{self._date(window.closes)}</td>"
            f"<td>{escape(wording.percent(window.chance_min, self.language))}</td></tr>"
        )

    def _date(self, date: np.datetime64) -> str:
        return f'<time datetime="{date}">{escape(wording.short_day(date, self.language))}</time>'

    def _reasons(self, row: CalendarRow) -> str:
        return "".join(
            f'<li data-kind="{band.kind}"><b>{self._t(f"work.{band.kind}")}</b>: '
            f'<span lang="en" class="why">{escape(rule.why)}</span> '
            f"({escape(wording.evidence_name(rule.evidence, self.language))}; "
            f"{band.seasons} {self._t('page.seasons')}. {self._t('page.sources')}: "
            f'<span lang="en">{escape(rule.source)}</span>)</li>'
            for band in row.bands
            for rule in row.species.work[band.kind]
        )

    # ------------------------------------------------------------------ foot

    def _foot(self) -> list[str]:
        calendar = self.calendar
        cautions = "".join(f"<li>{escape(text)}</li>" for text in calendar.cautions)
        place = escape(calendar_words.place_of(calendar))
        lines = [
            "<footer>",
            f"<section><h2>{self._t('calendar.before_you_cut')}</h2><ul>{cautions}</ul></section>",
            self._section(
                "region.places" if calendar.shared else "calendar.place_and_record",
                f"<bdi>{escape(calendar.name)}</bdi>: {place} "
                f"<bdi>{escape(calendar_words.record_text(calendar))}</bdi>",
            ),
            self._section("calendar.method", escape(calendar_words.method_of(calendar))),
            self._section("calendar.evidence", escape(calendar_words.evidence_text(calendar))),
        ]
        if calendar.invented:
            lines.append(self._section("notice.invented", self._t("notice.no_such_place")))
        if note := self._t("notice.names_stay_english"):
            lines.append(f"<p>{note}</p>")
        return [*lines, "</footer>"]

    def _section(self, heading: str, text: str) -> str:
        return f"<section><h2>{self._t(heading)}</h2><p>{text}</p></section>"


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
