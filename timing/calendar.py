"""A year's pruning calendar: what charts, text strips and JSON are drawn from."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from timing.answers import Outlook
from timing.closed_seasons import closed_in_year
from timing.hazards import left_out
from timing.language import ENGLISH, Language
from timing.reasons import shown
from timing.season import Days, Floats, season_of, year_of
from timing.site import Site
from timing.species.model import WORK_KINDS, Condition, Hazard, Species, WorkKind
from timing.temperature import TemperatureRecord
from timing.weather_vetoes import HARD_FREEZE_C, HEAT_C, HEAT_DAYS, Runs, usual_weather_runs
from timing.windows import MARGINAL, Window, WorkOdds, runs_at
from timing.wording import run_spans

MARKED_EVENTS = (
    "sap_rise",
    "bud_break",
    "full_bloom",
    "flush_hardened",
    "leaf_fall",
    "warm_start",
    "warm_end",
    "last_frost",
    "first_frost",
)
LANE_GAP_DAYS = 9  # events closer than this stand on different lines of a chart
_OPTION = re.compile(r" \(--[^)]*\)")


@dataclass(frozen=True)
class EventMark:
    """Usual date of one event in the calendar year, with its 80 % range."""

    event: str
    early: np.datetime64
    date: np.datetime64
    late: np.datetime64


@dataclass(frozen=True)
class Band:
    """One kind of work through the year.

    Parameters
    ----------
    kind : heavy, light or outline.
    chance : array (days of the year,), chance that each day is safe.
    safe, marginal : runs of days at or above the confidence, and from one half up to it; a
        run that crosses New Year stands there in two parts.
    seasons : how many seasons the chances rest on.
    limits : conditions of the work on these windows ("small cuts only …"), closed days included.
    closed : what each hazard of the site closes, as runs of days of the year.
    """

    kind: WorkKind
    chance: Floats
    safe: tuple[Window, ...]
    marginal: tuple[Window, ...]
    seasons: int
    limits: tuple[str, ...]
    closed: tuple[tuple[Hazard, tuple[tuple[np.datetime64, np.datetime64], ...]], ...] = ()


@dataclass(frozen=True)
class CalendarRow:
    """One taxon's year."""

    species: Species
    bands: tuple[Band, ...]
    marks: tuple[EventMark, ...]


@dataclass(frozen=True)
class Shared:
    """What a calendar of the days safe at every site of a region says of them, in words.

    Parameters
    ----------
    name : of the region.
    place : its sites in one line.
    records : where each lies and what its record is worth.
    notes : whether one calendar will do, and sites left out.
    invented : whether any of the sites is of our own making.
    """

    name: str
    place: str
    records: str
    notes: tuple[str, ...]
    invented: bool


@dataclass(frozen=True)
class YearCalendar:
    """A calendar year for several taxa at one site; ``language`` is what it is written in.

    ``condition`` is how strong the trees are: work that asks for a vigorous tree counts only then.
    ``shared`` is set where it stands for several sites (`timing.region_year`): the chance is that
    of the worst of them, and ``site`` and ``record`` are those of the highest. Near the days of
    ``frosty`` and ``hot`` at least half of the past seasons had frost or heat that forbids cuts, at
    any site where there are several.
    """

    year: int
    site: Site
    record: TemperatureRecord
    confidence: float
    today: np.datetime64 | None
    seasons: int
    rows: tuple[CalendarRow, ...]
    language: Language = ENGLISH
    shared: Shared | None = None
    condition: Condition = "established"
    frosty: Runs = ()
    hot: Runs = ()

    @property
    def weather(self) -> tuple[str, ...]:
        """Near which days of the year hard frost and heat are usual, in words."""
        several = self.shared is not None
        return usual_weather(self.frosty, self.hot, self.year, self.language, several=several)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to heed before a cut: the same everywhere, then the usual weather of the site."""
        return (*self.language.table("cautions").values(), *self.weather)

    @property
    def name(self) -> str:
        """What the calendar is of: a site or a region."""
        return self.shared.name if self.shared else self.site.name

    @property
    def invented(self) -> bool:
        """Whether the place is of our own making."""
        return self.shared.invented if self.shared else self.site.invented


def year_calendar(
    outlooks: list[Outlook],
    year: int,
    *,
    confidence: float,
    today: np.datetime64 | None = None,
    language: Language = ENGLISH,
    condition: Condition = "established",
) -> YearCalendar:
    """Lay the odds of several taxa out over one calendar year.

    Parameters
    ----------
    outlooks : one per taxon, all of one site, record and condition of the trees.
    year : calendar year to print.
    confidence : chance from which a day counts as safe.
    today : drawn as a line when it falls into the year.
    language : of the charts and texts made from the calendar.
    condition : what the outlooks were made for.
    """
    first = outlooks[0]
    frosty, hot = usual_weather_runs(first, days_of(year))
    return YearCalendar(
        year=year,
        site=first.site,
        record=first.record,
        confidence=confidence,
        today=today if today is not None and year_of(today) == year else None,
        seasons=first.seasons,
        rows=tuple(_row(outlook, year, confidence, language) for outlook in outlooks),
        language=language,
        condition=condition,
        frosty=frosty,
        hot=hot,
    )


def usual_weather(
    frosty: Runs, hot: Runs, year: int, language: Language, *, several: bool
) -> tuple[str, ...]:
    """Near which days of the year hard frost and heat are usual, at a site or at any of several."""
    found = []
    for name, runs, limit in (("frost_usual", frosty, HARD_FREEZE_C), ("heat_usual", hot, HEAT_C)):
        if runs:
            spans = language.text("dates.and").join(run_spans(runs, year, language))
            values = {"spans": spans, "limit": shown(limit), "days": str(HEAT_DAYS)}
            key = f"region.{name}" if several else f"calendar.{name}"
            found.append(language.text(key, **values))
    return tuple(found)


def days_of(year: int) -> Days:
    """Every date of a calendar year."""
    return np.arange(f"{year:04d}-01-01", f"{year + 1:04d}-01-01", dtype="datetime64[D]")


def lanes(marks: tuple[EventMark, ...]) -> list[list[EventMark]]:
    """Spread events over lanes: whiskers apart in the first two, at least the signs in all."""
    found: list[list[EventMark]] = []
    for mark in sorted(marks, key=lambda mark: mark.date):
        free = [
            lane
            for lane in found
            if int((mark.date - lane[-1].date).astype(np.int64)) >= LANE_GAP_DAYS
        ]
        clear = [lane for lane in free if mark.early > lane[-1].late + 1]
        if clear or (free and len(found) >= 2):
            (clear or free)[0].append(mark)
        else:
            found.append([mark])
    return found


def _row(outlook: Outlook, year: int, confidence: float, language: Language) -> CalendarRow:
    marks = []
    for event in MARKED_EVENTS:
        usual = outlook.usual(event)
        if usual is not None:
            marks.append(EventMark(event, *usual.dates(year)))
    return CalendarRow(
        outlook.species,
        tuple(_band(outlook, kind, year, confidence, language) for kind in WORK_KINDS),
        tuple(sorted(marks, key=lambda mark: mark.date)),
    )


def _band(
    outlook: Outlook, kind: WorkKind, year: int, confidence: float, language: Language
) -> Band:
    odds = outlook.odds[kind]
    days = days_of(year)
    chance = odds.at(days)
    safe = chance >= confidence - 1e-9
    possible = (chance >= MARGINAL - 1e-9) & ~safe
    counted = tuple(stretch.rule for stretch in odds.rules)
    limits = {plain(need.text) for rule in counted for need in rule.only_if}
    if any(
        need.kind == "tree"
        for rule in outlook.species.work[kind]
        for need in rule.only_if
        if rule not in counted and left_out(rule, outlook.hazards) is None
    ):
        limits.add(language.text("calendar.vigorous"))
    closed = closed_in_year(outlook, kind, year)
    limits |= {_closed_text(hazard, runs, year, language) for hazard, runs in closed if runs}
    return Band(
        kind,
        chance,
        _runs(days, chance, safe, outlook, odds),
        _runs(days, chance, possible, outlook, odds),
        odds.seasons,
        tuple(sorted(limits)),
        closed,
    )


def plain(text: str) -> str:
    """A condition without the name of the command's option, which means nothing on paper.

    >>> plain("not where oak wilt occurs (--hazard oak-wilt)")
    'not where oak wilt occurs'
    """
    return _OPTION.sub("", text)


def _closed_text(
    hazard: Hazard,
    runs: tuple[tuple[np.datetime64, np.datetime64], ...],
    year: int,
    language: Language,
) -> str:
    spans = language.text("dates.and").join(run_spans(runs, year, language))
    return language.text("calendar.closed", spans=spans, hazard=hazard.label)


def _runs(
    days: Days,
    chance: Floats,
    chosen: NDArray[np.bool_],
    outlook: Outlook,
    odds: WorkOdds,
) -> tuple[Window, ...]:
    runs = runs_at(chosen.astype(float), 1.0)
    return tuple(
        Window(
            days[start],
            days[stop - 1],
            float(chance[start:stop].min()),
            season_of(days[start], outlook.site.hemisphere),
            rule,
        )
        for (start, stop), rule in zip(runs, odds.rule_names(days, runs), strict=True)
    )
