"""When the hazards of a place close its trees to cuts: dates for a day or a year, and in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from timing.answers import Outlook
from timing.hazards import Closure, month_span
from timing.running import running_year
from timing.season import CYCLE_DAYS, Floats, season_start
from timing.site import Hemisphere
from timing.species.hazards import authority_text
from timing.species.model import ClosedSeason, Hazard, Point, WorkKind
from timing.windows import WorkOdds
from timing.wording import EVENT_LABELS, MONTHS, WORK_LABELS, day_text

USUALLY = 0.5  # share of seasons and draws from which a closed season counts as there


@dataclass(frozen=True)
class ClosedRun:
    """A run of closed days, both ends included; an end is sure when it is a date or is past."""

    first: np.datetime64
    last: np.datetime64
    sure_first: bool
    sure_last: bool


@dataclass(frozen=True)
class YearsOfSeason:
    """How a closed season has fallen: the usual run, and the seasons that opened first and last.

    Runs are ``(first day, last day)``; the usual one stands in the season of 2023.
    """

    usual: tuple[np.datetime64, np.datetime64]
    earliest: tuple[int, np.datetime64, np.datetime64]
    latest: tuple[int, np.datetime64, np.datetime64]
    seasons: int

    @property
    def varies(self) -> bool:
        """Whether its days differ from season to season."""
        return self.earliest[0] != self.latest[0]


@dataclass(frozen=True)
class ClosedPart:
    """One closed season of a hazard at a site: its run now or next, and in past seasons."""

    season: ClosedSeason
    run: ClosedRun | None
    past: YearsOfSeason | None


@dataclass(frozen=True)
class HazardNotice:
    """What a hazard closes to one kind of work of a taxon.

    Parameters
    ----------
    hazard : the hazard.
    runs : closed days now or next, within a year; its closed seasons taken together.
    past : how they fell together in past seasons, or None where they lie apart.
    parts : the same for each closed season.
    """

    hazard: Hazard
    runs: tuple[ClosedRun, ...]
    past: YearsOfSeason | None
    parts: tuple[ClosedPart, ...]


def hazard_notices(outlook: Outlook, kind: WorkKind, on: np.datetime64) -> tuple[HazardNotice, ...]:
    """What every hazard of the outlook closes to one kind of work, as seen on a day."""
    odds = outlook.odds[kind]
    middle = running_year(on, outlook.site.hemisphere)
    notices = []
    for hazard in outlook.hazards:
        spread = {
            number: _runs(odds, number, middle, on)
            for number, closure in enumerate(odds.closed)
            if closure.hazard.name == hazard.name
        }
        runs = _coming(_merged(run for part in spread.values() for run in part), on)
        since = runs[0].first if runs else on
        parts = tuple(
            ClosedPart(
                odds.closed[number].season,
                next((run for run in part if run.last >= since), None),
                _past([odds.closed[number]]),
            )
            for number, part in spread.items()
        )
        past = _past([odds.closed[number] for number in spread]) if spread else None
        notices.append(HazardNotice(hazard, runs, past, parts))
    return tuple(notices)


def closed_in_year(
    outlook: Outlook, kind: WorkKind, year: int
) -> tuple[tuple[Hazard, tuple[tuple[np.datetime64, np.datetime64], ...]], ...]:
    """Closed runs of a calendar year by hazard; what crosses New Year stands there in two parts."""
    odds = outlook.odds[kind]
    first, last = np.datetime64(f"{year:04d}-01-01", "D"), np.datetime64(f"{year:04d}-12-31", "D")
    found = []
    for hazard in outlook.hazards:
        runs = _merged(
            run
            for number, closure in enumerate(odds.closed)
            if closure.hazard.name == hazard.name
            for run in _runs(odds, number, year, last)
        )
        inside = tuple(
            (max(run.first, first), min(run.last, last))
            for run in runs
            if run.last >= first and run.first <= last
        )
        found.append((hazard, inside))
    return tuple(found)


def _runs(odds: WorkOdds, number: int, middle: int, on: np.datetime64) -> list[ClosedRun]:
    """One closed season in a season's year and the years around it."""
    found = []
    for year in range(middle - 1, middle + 2):
        span = _span(odds, number, year)
        if span is not None:
            dated = odds.closed[number].season.months is not None
            first, last = span
            found.append(
                ClosedRun(first, last, dated or bool(first <= on), dated or bool(last <= on))
            )
    return found


def _span(odds: WorkOdds, number: int, year: int) -> tuple[np.datetime64, np.datetime64] | None:
    """First and last closed day of a season: by date, by its record so far, or as usual."""
    closure = odds.closed[number]
    if closure.season.months is not None:
        return month_span(closure.season.months, year, closure.hemisphere)
    if odds.running is not None:
        running = odds.running.closed[number]
        step = year - int(running.years[0]) + 1
        if 0 <= step < len(running.opens):
            return _dates(_middle(running.opens[step], running.closes[step]))
    starts = _starts(closure)
    usual = _middle(closure.opens[1] - starts, closure.closes[1] - starts)
    if usual is None:
        return None
    start = season_start(year, closure.hemisphere)
    return start + round(usual[0]), start + round(usual[1])


def _middle(opens: Floats, closes: Floats) -> tuple[float, float] | None:
    """Median first and last day over seasons and draws, None where mostly nothing is closed."""
    opens, closes = np.broadcast_arrays(opens, closes)
    there = closes >= opens
    if there.mean() <= USUALLY:
        return None
    first, last = np.median(opens[there]), np.median(closes[there])
    return float(np.floor(first)), float(np.ceil(last))


def _dates(days: tuple[float, float] | None) -> tuple[np.datetime64, np.datetime64] | None:
    if days is None:
        return None
    return np.datetime64(int(days[0]), "D"), np.datetime64(int(days[1]), "D")


def _starts(closure: Closure) -> Floats:
    starts = [season_start(int(year), closure.hemisphere) for year in closure.years]
    return np.array(starts, dtype="M8[D]").astype(np.int64)[:, None].astype(float)


def _past(together: list[Closure]) -> YearsOfSeason | None:
    """How closed seasons that meet fell in past seasons; None where they lie apart or fail."""
    runs: list[tuple[int, np.datetime64, np.datetime64]] = []
    for row, year in enumerate(together[0].years):
        spans = sorted(
            span
            for closure in together
            if (span := _dates(_middle(closure.opens[1, row], closure.closes[1, row])))
        )
        if not spans:
            continue
        first, last = spans[0]
        for opens, closes in spans[1:]:
            if opens > last + 1:
                return None
            last = max(last, closes)
        runs.append((int(year), first, last))
    if len(runs) <= USUALLY * len(together[0].years):
        return None
    hemisphere = together[0].hemisphere
    starts = [season_start(year, hemisphere) for year, _, _ in runs]
    into = np.array([(run[1] - s, run[2] - s) for run, s in zip(runs, starts, strict=True)])
    first_day, last_day = np.median(into.astype(np.int64), axis=0)
    start = season_start(2023, hemisphere)
    usual = start + int(np.floor(first_day)), start + int(np.ceil(last_day))
    season = together[0].season
    if len(together) == 1 and season.months is not None:
        usual = month_span(season.months, 2023, hemisphere)
        return YearsOfSeason(usual, runs[0], runs[0], len(runs))
    days = [(day_text(run[1]), day_text(run[2])) for run in runs]
    if len(set(days)) == 1:
        return YearsOfSeason((runs[0][1], runs[0][2]), runs[0], runs[0], len(runs))
    order = sorted(range(len(runs)), key=lambda n: (into[n, 0], into[n, 1]))
    return YearsOfSeason(usual, runs[order[0]], runs[order[-1]], len(runs))


def _merged(runs: Iterable[ClosedRun]) -> list[ClosedRun]:
    """Runs that meet or overlap, joined, in order."""
    joined: list[ClosedRun] = []
    for run in sorted(runs, key=lambda run: (run.first, run.last)):
        if joined and run.first <= joined[-1].last + 1:
            last = joined[-1]
            if run.last > last.last:
                joined[-1] = ClosedRun(last.first, run.last, last.sure_first, run.sure_last)
            continue
        joined.append(run)
    return joined


def _coming(runs: list[ClosedRun], on: np.datetime64) -> tuple[ClosedRun, ...]:
    """Runs that are on or begin within a year, a run that comes again only once."""
    found: list[ClosedRun] = []
    for run in runs:
        if run.last < on or run.first >= on + CYCLE_DAYS:
            continue
        first, last = run.first - CYCLE_DAYS, run.last - CYCLE_DAYS
        if not any(first <= earlier.last and last >= earlier.first for earlier in found):
            found.append(run)
    return tuple(found)


# ---------------------------------------------------------------------------- in words


def run_text(run: ClosedRun) -> str:
    """A run with its years: "about 9 April to 14 July 2025"."""
    year = f" {str(run.first)[:4]}" if str(run.first)[:4] != str(run.last)[:4] else ""
    return (
        f"{'' if run.sure_first else 'about '}{day_text(run.first)}{year} to "
        f"{'' if run.sure_last else 'about '}{day_text(run.last)} {str(run.last)[:4]}"
    )


def past_text(past: YearsOfSeason, *, by_warmth: bool) -> str:
    """How a closed season fell: usually, and in the years at both ends."""
    if not past.varies:
        return "the same days in every year"
    early, late = ("warmest", "coolest") if by_warmth else ("earliest", "latest")
    names = f"in the {early} of {past.seasons} springs", f"in the {late}"
    if not by_warmth:
        names = f"in the {early} of {past.seasons} seasons", f"in the {late}"
    ends = (
        f"{name} ({year}) {day_text(first)} to {day_text(last)}"
        for name, (year, first, last) in zip(names, (past.earliest, past.latest), strict=True)
    )
    usual = f"{day_text(past.usual[0])} to {day_text(past.usual[1])}"
    return "; ".join((f"usually {usual}", *ends))


def notice_text(notice: HazardNotice, kind: WorkKind) -> str:
    """What a hazard closes to one kind of work, in a sentence."""
    label = notice.hazard.label
    if not notice.runs:
        return f"Where {label} occurs it closes no days to {WORK_LABELS[kind]} here."
    days = " and ".join(run_text(run) for run in notice.runs)
    text = f"{label[0].upper()}{label[1:]} closes {WORK_LABELS[kind]} from {days}"
    if notice.past is not None:
        warmth = any(part.season.heat for part in notice.parts)
        text += f"; {past_text(notice.past, by_warmth=warmth)}"
    return f"{text}. These days are taken out of what follows."


def part_text(part: ClosedPart, hemisphere: Hemisphere) -> str:
    """One closed season of a hazard at the site, with its years, its grounds and its source."""
    season = part.season
    pieces = [season_text(season, hemisphere)]
    if part.run is not None and season.months is None:
        pieces.append(f"this time {run_text(part.run)}")
    if part.past is not None and season.months is None:
        pieces.append(past_text(part.past, by_warmth=season.heat is not None))
    return f"{forbidden(season)}: {'; '.join(pieces)}. {grounds(season)}"


def forbidden(season: ClosedSeason) -> str:
    """What a closed season forbids: "No heavy cuts or light refinement"."""
    *some, last = (WORK_LABELS[kind] for kind in season.work)
    return f"No {', '.join(some)} or {last}" if some else f"No {last}"


def grounds(season: ClosedSeason) -> str:
    """Why a closed season is kept, and who says so."""
    return f"{season.why} [{season.evidence}: {season.source}]"


def closed_on(notice: HazardNotice, on: np.datetime64) -> ClosedRun | None:
    """The closed days that hold a day, or None where it is open."""
    return next((run for run in notice.runs if run.first <= on <= run.last), None)


def veto_text(notice: HazardNotice, kind: WorkKind, on: np.datetime64) -> str | None:
    """Why a day is closed, or None where it is not."""
    run = closed_on(notice, on)
    if run is None:
        return None
    sources = "; ".join(
        dict.fromkeys(
            part.season.source
            for part in notice.parts
            if part.run and part.run.first <= on <= part.run.last
        )
    )
    return (
        f"{notice.hazard.label}: no {WORK_LABELS[kind]} from {run_text(run)} [{sources}]. "
        f"{authority_text().rstrip('.')}"
    )


def veto_brief(notice: HazardNotice, on: np.datetime64) -> str:
    """The same in a few words, for a list; "" where the day is open."""
    run = closed_on(notice, on)
    return f"{notice.hazard.label}: closed {run_text(run)}" if run else ""


def season_text(season: ClosedSeason, hemisphere: Hemisphere | None = None) -> str:
    """A closed season as a rule; for both halves of the Earth where none is named."""
    later = 6 if hemisphere == "south" else 0
    if season.heat is not None:
        heat = season.heat
        month, day = heat.before
        either = "" if hemisphere else " (half a year later in the south)"
        return (
            f"from {heat.first:g} to {heat.last:g} degree days above {heat.base_c:g} °C, counted "
            f"from 1 {_month(1 + later)}, and before {day} {_month(month + later)}{either}"
        )
    if season.months is not None:
        first, last = season.months
        text = f"{_month(first + later)} to {_month(last + later)}"
        if hemisphere == "north":
            return text
        other, where = (0, "north") if hemisphere == "south" else (6, "south")
        return f"{text} ({_month(first + other)} to {_month(last + other)} in the {where})"
    assert season.events is not None
    opens, closes = season.events
    return f"from {_point(opens)} to {_point(closes)}"


def _month(number: int) -> str:
    return MONTHS[(number - 1) % 12]


def _point(point: Point) -> str:
    weeks = abs(point.offset_days) // 7
    label = EVENT_LABELS[point.event]
    if not weeks:
        return label
    side = "after" if point.offset_days > 0 else "before"
    return f"{weeks} week{'s' if weeks > 1 else ''} {side} {label}"
