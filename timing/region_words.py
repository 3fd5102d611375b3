"""Sentences about a region that its text and its chart share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from timing import wording
from timing.region import RegionBand, RegionCalendar, RegionSite
from timing.region_split import LEAST_AGREEMENT, Group
from timing.region_windows import FEWEST_FOR_SHIFT, RegionWindow, Shift

SHIFT_UNKNOWN = (
    "Where no shift with height or latitude is given it cannot be told: fewer than three sites "
    "open there, they span less than 100 m or 1°, or the slopes between them run both ways."
)
FEW_FOR_SHIFT = (
    "A shift is the median slope between pairs of sites, with its 95% range; below five sites the "
    "range is that of all pairs, and three sites fall into line by chance one time in three."
)
METHOD = (
    "Every site is answered from its own record as in its own calendar; a day is safe at all sites "
    "only where it reaches the confidence at the worst of them."
)


def title(region: RegionCalendar) -> str:
    """What the calendar is of."""
    return f"Safe days for cuts, {region.year}: {region.name}, {len(region.sites)} sites"


def names(region: RegionCalendar) -> list[str]:
    """Short names of the sites; the notices say which are invented."""
    return [item.site.name.removesuffix(" (invented)") for item in region.sites]


def site_names(region: RegionCalendar, numbers: Iterable[int]) -> str:
    """Names of some sites, joined."""
    *others, last = (names(region)[number] for number in numbers)
    return f"{', '.join(others)} and {last}" if others else last


def site_text(item: RegionSite) -> str:
    """Where a site lies and what its record is worth."""
    record = item.record
    season = (
        "this season's record counted in"
        if item.running
        else "past seasons only, for the record does not reach the day asked about"
    )
    return (
        f"{item.site.name}, {wording.place_text(item.site)}; record {record.first} to "
        f"{record.last}, {item.seasons} seasons, {record.missing_days} days missing; {season}"
    )


def left_out_text(region: RegionCalendar) -> str:
    """Sites that cannot answer; empty where all can."""
    return " ".join(f"Left out: {name} ({why})." for name, why in region.left_out)


def division_title(region: RegionCalendar) -> str:
    """Whether the sites belong into one calendar, in a few words."""
    division = region.division
    if division.agreement is None:
        return "No day is safe at any site"
    share = wording.percent(division.agreement)
    if division.advised:
        return f"Split this region: its sites agree on {share} of their safe days only"
    if division.agreement < LEAST_AGREEMENT:
        return f"The sites agree on {share} of their safe days only, and no split helps"
    return f"One calendar will do: the sites agree on {share} of their safe days"


def division_text(region: RegionCalendar) -> str:
    """What the title rests on, and the two groups where a split is advised."""
    division = region.division
    if division.agreement is None:
        return ""
    lines = [
        f"Averaged over taxa and kinds of work, {division.days_everywhere:.0f} days a year are "
        f"safe at all sites and {division.days_average:.0f} at the average site."
    ]
    if division.advised:
        lines += [
            _group(region, name, group) for name, group in zip("AB", division.groups, strict=True)
        ]
        if division.along:
            lines.append(f"The groups are cut along {division.along}.")
    return " ".join(lines)


def _group(region: RegionCalendar, name: str, group: Group) -> str:
    listed = ", ".join(names(region)[number] for number in group.sites)
    change = f"would gain {group.gained:.0f} and have {group.days:.0f} such days"
    if len(group.sites) == 1:
        return f"Group {name}: {listed} alone; it {change}."
    return f"Group {name}: {listed}; they {change}."


def safe_text(region: RegionCalendar, band: RegionBand) -> str:
    """Days safe at all sites, or the best day and the site that rules it."""
    if band.at_all:
        return ", ".join(wording.run_spans(band.at_all, region.year))
    found = best_day(band, region.year)
    if found is None:
        return "none"
    chance, day, site = found
    return f"none (best {chance} on {day}, ruled by {names(region)[site]})"


def best_day(band: RegionBand, year: int) -> tuple[str, str, int] | None:
    """Highest chance of the worst site, its day and that site; None where no day is ever safe."""
    best = float(band.worst.max())
    if best <= wording.NEVER:
        return None
    days = np.flatnonzero(band.worst >= best - 1e-9)
    day = int(days[len(days) // 2])
    date = np.datetime64(f"{year:04d}-01-01", "D") + day
    return wording.percent(best), wording.day_text(date), int(band.worst_site[day])


def window_text(region: RegionCalendar, window: RegionWindow) -> str:
    """Which sites rule one run of days, and how its opening shifts."""
    own = {item.site: item for item in window.windows}
    last, first = window.opens_last, window.closes_first
    opens = _short(own[last[0]].opens) if last else ""
    closes = _short(own[first[0]].closes) if first else ""
    parts = []
    if len(own) == 1:
        only = window.windows[0]
        if only.opens is not None and only.closes is not None:
            where = site_names(region, (only.site,))
            parts.append(f"{wording.span_text(only.opens, only.closes)} only at {where}")
    elif last and last == first:
        opening, closing = _does(last, "open"), _does(last, "close")
        parts.append(
            f"{_who(region, last)} {opening} last ({opens}) and {closing} first ({closes})"
        )
    else:
        if last:
            parts.append(f"{_who(region, last)} {_does(last, 'open')} last ({opens})")
        if first:
            parts.append(f"{_who(region, first)} {_does(first, 'close')} first ({closes})")
    if window.never and len(own) > 1:
        parts.append(f"never at {site_names(region, window.never)}")
    parts += [f"opening {shift_text(shift, per)}" for shift, per in shifts_of(window)]
    return ", ".join(parts)


def shift_text(shift: Shift, per: str) -> str:
    """A shift that can be told."""
    assert shift.days is not None and shift.low is not None and shift.high is not None
    way = "later" if shift.days > 0 else "earlier"
    low, high = sorted((abs(shift.low), abs(shift.high)))
    thin = " only" if shift.sites == FEWEST_FOR_SHIFT else ""
    return (
        f"{abs(shift.days):.1f} days {way} per {per} ({low:.1f}–{high:.1f}, "
        f"{shift.sites} sites{thin})"
    )


def any_shift(region: RegionCalendar) -> bool:
    """Whether any opening is told to shift."""
    bands = (band for row in region.rows for band in row.bands)
    return any(shifts_of(window) for band in bands for window in band.windows)


def conditions(region: RegionCalendar, band: RegionBand) -> list[str]:
    """Conditions of the work, with the sites they hold for where not for all."""
    return [
        text if len(sites) == len(region.sites) else f"{text} ({site_names(region, sites)})"
        for text, sites in band.limits
    ]


def conditions_text(region: RegionCalendar) -> str:
    """Every condition once, with the taxa and kinds of work it is for."""
    found: dict[str, list[str]] = {}
    for row in region.rows:
        kinds: dict[str, list[str]] = {}
        for band in row.bands:
            for text in conditions(region, band):
                kinds.setdefault(text, []).append(band.kind)
        for text, named in kinds.items():
            found.setdefault(text, []).append(f"{row.species.common_name} {' and '.join(named)}")
    return "; ".join(f"{', '.join(who)}: {text}" for text, who in found.items())


def shifts_text(region: RegionCalendar) -> str:
    """Every shift with height or latitude that can be told, and what to think of it."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in region.rows:
        for band in row.bands:
            for window in band.windows:
                own = {item.site: item for item in window.windows}
                by = _short(own[window.opens_last[0]].opens) if window.opens_last else ""
                for shift, per in shifts_of(window):
                    text = f"opening by {by}, {shift_text(shift, per)}"
                    key = row.species.common_name, text
                    found.setdefault(key, []).append(band.kind)
    if not found:
        return SHIFT_UNKNOWN
    told = "; ".join(
        f"{taxon} {' and '.join(kinds)}, {text}" for (taxon, text), kinds in found.items()
    )
    return f"{told}. {FEW_FOR_SHIFT} {SHIFT_UNKNOWN}"


def shifts_of(window: RegionWindow) -> list[tuple[Shift, str]]:
    """The shifts of a run of days that can be told, and what they are counted by."""
    both = ((window.height, "100 m higher"), (window.latitude, "1° from the equator"))
    return [(shift, per) for shift, per in both if shift.days is not None]


def credits_text(region: RegionCalendar) -> str:
    """Whom to name for the temperatures; empty where nobody asks for it."""
    named = {wording.credit_text(item.site): None for item in region.sites}
    return " ".join(text for text in named if text)


def evidence_text(region: RegionCalendar) -> str:
    """How many of the rules of work are published or less."""
    counts = Counter(
        rule.evidence
        for row in region.rows
        for rules in row.species.work.values()
        for rule in rules
    )
    listed = ", ".join(f"{number} {name}" for name, number in counts.most_common())
    return f"Rules of work: {listed}. Sites are points: a frost hollow between them is not seen."


def _short(day: np.datetime64 | None) -> str:
    return "" if day is None else wording.short_day(day)


def _who(region: RegionCalendar, sites: tuple[int, ...]) -> str:
    if len(sites) == len(region.sites):
        return "all sites"
    return site_names(region, sites) if len(sites) <= 2 else f"{len(sites)} sites"


def _does(sites: tuple[int, ...], verb: str) -> str:
    return verb if len(sites) > 1 else f"{verb}s"
