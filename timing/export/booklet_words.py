"""What the pages of a booklet say about a taxon: groups, odds, rules, amounts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from timing import calendar_words, wording
from timing.advice import how_much
from timing.calendar import Band, CalendarRow, plain
from timing.export.species_text import Notes, stretch_text, waits_text
from timing.hazards import left_out
from timing.language import ENGLISH, Language
from timing.species.catalogue import common_rules
from timing.species.model import CONDITIONS, Condition, Rule, Species, WorkKind
from timing.windows import Window

GROUPS = (
    ("deciduous", ("deciduous",)),
    ("flowering", ("flowering_deciduous",)),
    ("pines", ("pine_multiflush", "pine_singleflush")),
    ("conifers", ("conifer_scale", "conifer_needle", "deciduous_conifer")),
    ("evergreens", ("broadleaf_evergreen",)),
    ("tropical", ("tropical",)),
)


def grouped(
    rows: Sequence[CalendarRow], language: Language = ENGLISH
) -> list[tuple[str, list[CalendarRow]]]:
    """Rows by habit in plain words, in the order given; groups without rows are left out.

    A deciduous group that holds a maple is named after it.
    """
    found = []
    for name, habits in GROUPS:
        chosen = [row for row in rows if row.species.habit in habits]
        maples = any(row.species.scientific_name.startswith("Acer ") for row in chosen)
        key = "maples" if name == "deciduous" and maples else name
        if chosen:
            found.append((language.text(f"groups.{key}"), chosen))
    return found


def windows_text(band: Band, year: int, language: Language = ENGLISH) -> list[tuple[str, str]]:
    """Every safe window with its odds: ("26 Jun – 13 Aug", "90–99%").

    Without a safe window, one pair: "no safe day" and the best day, or nothing.
    """
    if not band.safe:
        best = calendar_words.best_day(band, year, language)
        odds = ""
        if best:
            chance, day = best
            odds = language.text("calendar.best", chance=chance)
            odds += f" {language.text('calendar.on', day=day)}"
        return [(language.text("page.no_safe"), odds)]
    spans = wording.window_spans(band.safe, year, language)
    parts: list[tuple[Window, ...]] = [(window,) for window in band.safe]
    if len(spans) < len(band.safe):  # the two ends of the year read as one
        parts = [*parts[1:-1], (*parts[-1], *parts[0])]
    return [
        (span, _odds(band, windows, year, language))
        for span, windows in zip(spans, parts, strict=True)
    ]


def _odds(band: Band, windows: Sequence[Window], year: int, language: Language) -> str:
    start = np.datetime64(f"{year:04d}-01-01", "D")
    least = min(window.chance_min for window in windows)
    most = max(
        float(band.chance[_index(window.opens, start) : _index(window.closes, start) + 1].max())
        for window in windows
    )
    low, high = wording.percent(least, language), wording.percent(most, language)
    return low if low == high else f"{low.rstrip('% ')}–{high}"


def _index(day: np.datetime64, start: np.datetime64) -> int:
    return int((day - start).astype(np.int64))


def rule_texts(
    band: Band,
    species: Species,
    notes: Notes,
    language: Language = ENGLISH,
    condition: Condition = "established",
) -> list[tuple[str, str]]:
    """Two sentences a rule: when and on what condition; why, with the mark of its source.

    ``condition`` is that of the trees whose dates stand beside them.
    """
    hazards = tuple(hazard for hazard, _ in band.closed)
    found = []
    for rule in species.work[band.kind]:
        hazard = left_out(rule, hazards)
        if hazard is not None:
            found.append((f"Closed because {hazard.label} occurs here: {_when(rule)}.", ""))
            continue
        conditions = "; ".join(plain(need.text) for need in rule.only_if if need.kind != "tree")
        when = f"{_when(rule)}." + (f" Condition: {conditions}." if conditions else "")
        if any(need.name == "vigorous" for need in rule.only_if):
            absent = "" if condition == "vigorous" else ", and not in the dates here"
            when = f"Only on a vigorous tree{absent}: {when}"
        found.append((when, f"{rule.why} {notes.mark(rule.source, rule.evidence)}"))
    return found or [
        (language.text("booklet.no_rule", work=language.text(f"work.{band.kind}")), ""),
    ]


def closed_texts(band: Band, year: int, language: Language = ENGLISH) -> list[str]:
    """What each hazard of the place closes, in words."""
    joined = language.text("dates.and").join
    return [
        language.text(
            "booklet.closed_by",
            hazard=hazard.label,
            spans=joined(wording.run_spans(runs, year, language)),
        )
        for hazard, runs in band.closed
        if runs
    ]


def amount_text(species: Species, kind: WorkKind, notes: Notes) -> str:
    """How much may come off at once from an established, a vigorous and a weak tree."""
    share = {name: how_much(species, kind, name).fraction for name in CONDITIONS}
    established = share["established"]
    if kind == "heavy":
        removal = species.removal
        mark = notes.mark(removal.source, removal.basis)
        lead = f"Up to {established:.0%} {removal.text}"
    else:
        lighter = common_rules().lighter_work
        mark = notes.mark(lighter.source, lighter.evidence)
        lead = f"About {established:.0%} at most: {lighter.text[kind]}"
    others = [
        f"{f'{part:.0%}' if part else 'nothing'} from a {name} tree"
        for name, part in share.items()
        if part != established
    ]
    return f"{'; '.join([lead, *others])} {mark}"


def events_text(row: CalendarRow, language: Language = ENGLISH) -> str:
    """Usual dates of the marked events, each with its early and late date."""
    return " · ".join(
        f"{language.text(f'events.{mark.event}')} {wording.short_day(mark.date, language)} "
        f"({wording.short_day(mark.early, language)} – {wording.short_day(mark.late, language)})"
        for mark in row.marks
    )


def _when(rule: Rule) -> str:
    avoid = "; not in midsummer heat" if "midsummer_heat" in rule.avoid else ""
    return f"{stretch_text(rule)}{waits_text(rule)}{avoid}"
