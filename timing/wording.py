"""Words that charts and text calendars share: events, kinds of work, months, notices."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING

import numpy as np

from timing.language import ENGLISH, Language
from timing.species.hazards import load_hazard
from timing.windows import highest_chance

if TYPE_CHECKING:
    from timing.site import Site
    from timing.temperature import TemperatureRecord
    from timing.windows import Window

EVENT_LABELS = ENGLISH.table("events")
WORK_LABELS = ENGLISH.table("work")
MONTHS = tuple(ENGLISH.table("months").values())
FEW_SEASONS = 20  # below it answers say how few they rest on (our own)
NEVER = 0.02  # up to this highest chance a kind of work is said to have no safe day
NO_RECORD = "No record of this season up to the day: the odds are those of past seasons."
INVENTED_NOTICE = ENGLISH.text("notice.invented")
CAUTIONS = tuple(ENGLISH.table("cautions").values())


def method_text(language: Language = ENGLISH, *, ranges: str = "whiskers") -> str:
    """How the dates and the odds are found; ``ranges``: shown as whiskers, as dates or not at all.

    ``ranges`` is empty where no events are shown.
    """
    text = language.text("method.text")
    if not ranges:
        return text
    return f"{text} {language.text('method.events', range=language.text(f'method.{ranges}'))}"


def day_text(day: np.datetime64, language: Language = ENGLISH) -> str:
    """Day and month in full.

    >>> day_text(np.datetime64("2025-06-20"))
    '20 June'
    """
    month, number = _month_and_day(day)
    return language.text("dates.day", day=number, month=language.text(f"months.{month}"))


def short_day(day: np.datetime64, language: Language = ENGLISH) -> str:
    """Day and the month cut short.

    >>> short_day(np.datetime64("2025-06-20"))
    '20 Jun'
    """
    month, number = _month_and_day(day)
    return language.text(
        "dates.short_day", day=number, month=language.text(f"short_months.{month}")
    )


def dated(day: np.datetime64, language: Language = ENGLISH) -> str:
    """Day, month and year.

    >>> dated(np.datetime64("2025-06-20"))
    '20 June 2025'
    """
    return language.text("dates.dated", day=day_text(day, language), year=str(day)[:4])


def span_text(first: np.datetime64, last: np.datetime64, language: Language = ENGLISH) -> str:
    """A run of days, both ends included.

    >>> span_text(np.datetime64("2025-07-16"), np.datetime64("2025-08-02"))
    '16 Jul – 2 Aug'
    >>> span_text(np.datetime64("2025-07-16"), np.datetime64("2025-07-20"))
    '16–20 Jul'
    """
    if first == last:
        return short_day(first, language)
    if first < last and first.astype("datetime64[M]") == last.astype("datetime64[M]"):
        month, number = _month_and_day(last)
        return language.text(
            "dates.within_month",
            first=_month_and_day(first)[1],
            last=number,
            month=language.text(f"short_months.{month}"),
        )
    return language.text(
        "dates.span", first=short_day(first, language), last=short_day(last, language)
    )


def window_spans(windows: Sequence[Window], year: int, language: Language = ENGLISH) -> list[str]:
    """Windows of one calendar year in words, the two ends of the year read as one run."""
    return run_spans([(window.opens, window.closes) for window in windows], year, language)


def run_spans(
    runs: Sequence[tuple[np.datetime64, np.datetime64]], year: int, language: Language = ENGLISH
) -> list[str]:
    """The same for runs of days, both ends included."""
    whole = np.datetime64(f"{year:04d}-01-01"), np.datetime64(f"{year:04d}-12-31")
    return [
        language.text("dates.all_year")
        if (opens, closes) == whole
        else span_text(opens, closes, language)
        for opens, closes in joined(runs, year)
    ]


def joined(
    runs: Sequence[tuple[np.datetime64, np.datetime64]], year: int
) -> list[tuple[np.datetime64, np.datetime64]]:
    """Runs of days of one year; what touches both of its ends stands last, as one run.

    That run opens late in the year and closes early in it.
    """
    spans = list(runs)
    new_year, year_end = np.datetime64(f"{year:04d}-01-01"), np.datetime64(f"{year:04d}-12-31")
    if len(spans) > 1 and spans[0][0] == new_year and spans[-1][1] == year_end:
        spans = [*spans[1:-1], (spans[-1][0], spans[0][1])]
    return spans


def place_text(site: Site, language: Language = ENGLISH) -> str:
    """Coordinates and elevation of a site."""
    parts = [
        language.text(f"numbers.{side}", number=_degrees(value, language))
        for side, value in (
            ("south" if site.latitude < 0 else "north", site.latitude),
            ("west" if site.longitude < 0 else "east", site.longitude),
        )
    ]
    height = (
        language.text("numbers.no_elevation")
        if site.elevation_m is None
        else language.text("numbers.metres", number=f"{site.elevation_m:.0f}")
    )
    return ", ".join((*parts, height))


def _degrees(value: float, language: Language) -> str:
    return f"{abs(value):.2f}".replace(".", language.text("numbers.decimal"))


def source_name(record: TemperatureRecord) -> str:
    """What the temperatures came from, without the folders a reader of the page does not know."""
    return ", ".join(PurePath(part).name for part in record.source.split(", "))


def few_seasons_text(seasons: int, language: Language = ENGLISH) -> str:
    """That odds rest on few seasons, below ten also what that costs them; empty from twenty on."""
    if seasons >= FEW_SEASONS:
        return ""
    few = language.text("record.few", seasons=seasons)
    highest = highest_chance(seasons)
    if highest == 1:
        return few
    return f"{few} {language.text('record.very_few', chance=percent(highest, language))}"


def stale_text(last: np.datetime64, on: np.datetime64) -> str:
    """That temperatures end before the day asked about, how long before, and what that costs."""
    late = int((on - last).astype(np.int64))
    ago = f"{late} days" if late < 731 else f"{late // 365.25:.0f} years"
    end = day_text(last) if str(last)[:4] == str(on)[:4] else dated(last)
    return (
        f"temperatures are not up to date: they end on {end}, {ago} ago, so that the odds "
        "are those of past seasons and no frost or heat of these days is known"
    )


def beside_text(record: TemperatureRecord) -> str:
    """How many of the mended days came from a neighbour; empty where none did."""
    count = record.neighbour_days
    return f", {count} of them from a neighbour" if count else ""


def credit_text(site: Site, before: str = "", language: Language = ENGLISH) -> str:
    """Whom to name for the temperatures, on what terms; empty where nobody asks for it."""
    if not site.attribution:
        return ""
    return before + language.text("record.credit", attribution=site.attribution)


def noted_hazards_text(site: Site, before: str = "", language: Language = ENGLISH) -> str:
    """Which hazards the site's own notes name, whose closed seasons are obeyed; "" for none."""
    if not site.hazards:
        return ""
    labels = ", ".join(load_hazard(name).label for name in site.hazards)
    return before + language.text("record.hazards", listed=labels)


def evidence_name(evidence: str, language: Language = ENGLISH) -> str:
    """How well something is known, in a word or two."""
    return language.text(f"evidence.{evidence.replace(' ', '_')}")


def percent(chance: float, language: Language = ENGLISH) -> str:
    """A chance rounded down, so that none reads higher than it is.

    >>> percent(0.899)
    '89%'
    """
    return language.text("numbers.percent", number=int(100 * chance + 1e-6))


def level_text(confidence: float, language: Language = ENGLISH) -> str:
    """A confidence as it was asked for, to a tenth of a percent.

    >>> level_text(0.9), level_text(0.975)
    ('90%', '97.5%')
    """
    number = f"{round(100 * confidence, 1):g}".replace(".", language.text("numbers.decimal"))
    return language.text("numbers.percent", number=number)


def month_starts(year: int) -> list[int]:
    """Day of the year (from 0) on which each month starts, and the length of the year."""
    firsts = np.arange(f"{year:04d}-01", f"{year + 1:04d}-02", dtype="datetime64[M]")
    days = firsts.astype("datetime64[D]").astype(np.int64)
    return [int(day) for day in days - days[0]]


def _month_and_day(day: np.datetime64) -> tuple[int, int]:
    _, month, number = str(day.astype("datetime64[D]")).split("-")
    return int(month), int(number)
