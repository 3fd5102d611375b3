"""Sentences of a year's calendar that text, page, booklet and chart share: what it rests on."""

from __future__ import annotations

from collections import Counter

import numpy as np

from timing.calendar import Band, YearCalendar
from timing.language import ENGLISH, Language
from timing.wording import (
    NEVER,
    credit_text,
    dated,
    day_text,
    evidence_name,
    few_seasons_text,
    method_text,
    noted_hazards_text,
    percent,
    place_text,
    source_name,
)


def best_day(band: Band, year: int, language: Language = ENGLISH) -> tuple[str, str] | None:
    """Highest chance of a year and its day, in words; None where the band never opens."""
    best = float(band.chance.max())
    if best <= NEVER:
        return None
    days = np.flatnonzero(band.chance >= best - 1e-9)
    day = np.datetime64(f"{year:04d}-01-01", "D") + int(days[len(days) // 2])
    return percent(best, language), day_text(day, language)


def place_of(calendar: YearCalendar) -> str:
    """Where the site of a calendar lies, or which sites it is of."""
    if calendar.shared:
        return calendar.shared.place
    return f"{place_text(calendar.site, calendar.language)}."


def method_of(calendar: YearCalendar) -> str:
    """How the dates and the odds of a calendar are found."""
    if calendar.shared:
        own = calendar.language.text("region.method")
        return f"{own} {method_text(calendar.language, ranges='')}"
    return method_text(calendar.language)


def record_text(calendar: YearCalendar) -> str:
    """What the calendar rests on: the record, its days, gaps and seasons."""
    record, language = calendar.record, calendar.language
    if calendar.shared:
        return calendar.shared.records
    count = record.neighbour_days
    beside = language.text("record.beside", count=count) if count else ""
    missing = (
        language.text("record.gaps", missing=record.missing_days, repaired=record.repaired_days)
        + beside
        if record.missing_days
        else language.text("record.no_gaps")
    )
    text = language.text(
        "record.text",
        source=source_name(record),
        first=dated(record.first, language),
        last=dated(record.last, language),
        seasons=calendar.seasons,
        missing=missing,
    )
    few = few_seasons_text(calendar.seasons, language)
    credit = credit_text(calendar.site, " ", language)
    hazards = noted_hazards_text(calendar.site, " ", language)
    return f"{text}{' ' if few else ''}{few}{credit}{hazards}"


def evidence_text(calendar: YearCalendar) -> str:
    """How many of the dates and rules in a calendar are measured, published or less."""
    language = calendar.language
    events = Counter(
        model.evidence
        for row in calendar.rows
        for name, model in row.species.events.items()
        if name in {mark.event for mark in row.marks}
    )
    rules = Counter(
        rule.evidence
        for row in calendar.rows
        for work in row.species.work.values()
        for rule in work
    )
    parts = []
    for key, counts in (("events", events), ("rules", rules)):
        if counts:
            listed = ", ".join(
                f"{number} {evidence_name(name, language)}" for name, number in counts.most_common()
            )
            parts.append(language.text(f"record.{key}", listed=listed))
    parts.append(language.text("record.relatives"))
    return " ".join(parts)
