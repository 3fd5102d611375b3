"""Sentences about a region that its text, its chart and its page share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from timing import wording
from timing.language import Language
from timing.region import RegionBand, RegionCalendar, RegionSite
from timing.region_split import LEAST_AGREEMENT, Group
from timing.region_windows import FEWEST_FOR_SHIFT, RegionWindow, Shift


def title(region: RegionCalendar) -> str:
    """What the calendar is of."""
    return region.language.text(
        "region.title", year=region.year, name=region.name, sites=len(region.sites)
    )


def names(region: RegionCalendar) -> list[str]:
    """Short names of the sites; the notices say which are invented."""
    return [item.site.name.removesuffix(" (invented)") for item in region.sites]


def site_names(region: RegionCalendar, numbers: Iterable[int]) -> str:
    """Names of some sites, joined."""
    *others, last = (names(region)[number] for number in numbers)
    return f"{', '.join(others)}{region.language.text('dates.and')}{last}" if others else last


def site_text(item: RegionSite, language: Language) -> str:
    """Where a site lies and what its record is worth."""
    record = item.record
    return language.text(
        "region.site",
        name=item.site.name,
        place=wording.place_text(item.site, language),
        first=wording.dated(record.first, language),
        last=wording.dated(record.last, language),
        seasons=item.seasons,
        missing=record.missing_days,
        season=language.text("region.running" if item.running else "region.past"),
    )


def doubts_text(region: RegionCalendar) -> str:
    """Sites that cannot answer, and those whose odds rest on few seasons; empty without such."""
    missing = (
        region.language.text("region.left_out", name=name, why=why) for name, why in region.left_out
    )
    few = (
        f"{item.site.name}: {text}"
        for item in region.sites
        if (text := wording.few_seasons_text(item.seasons, region.language))
    )
    return " ".join((*missing, *few))


def division_title(region: RegionCalendar) -> str:
    """Whether the sites belong into one calendar, in a few words."""
    division, language = region.division, region.language
    if division.agreement is None:
        return language.text("region.nowhere")
    share = wording.percent(division.agreement, language)
    if division.advised:
        return language.text("region.split", share=share)
    if division.agreement < LEAST_AGREEMENT:
        return language.text("region.no_split", share=share)
    return language.text("region.one", share=share)


def division_text(region: RegionCalendar) -> str:
    """What the title rests on, and the two groups where a split is advised."""
    division, words = region.division, region.language.text
    if division.agreement is None:
        return ""
    lines = [
        words(
            "region.average",
            all=f"{division.days_everywhere:.0f}",
            average=f"{division.days_average:.0f}",
        )
    ]
    if division.advised:
        lines += [
            _group(region, name, group) for name, group in zip("AB", division.groups, strict=True)
        ]
        if division.along:
            trait = words(f"traits.{division.along.replace(' ', '_')}")
            lines.append(words("region.cut_along", trait=trait))
    return " ".join(lines)


def _group(region: RegionCalendar, name: str, group: Group) -> str:
    return region.language.text(
        "region.group_alone" if len(group.sites) == 1 else "region.group",
        letter=name,
        sites=", ".join(names(region)[number] for number in group.sites),
        gained=f"{group.gained:.0f}",
        days=f"{group.days:.0f}",
    )


def safe_text(region: RegionCalendar, band: RegionBand) -> str:
    """Days safe at all sites, or the best day and the site that rules it."""
    language = region.language
    if band.at_all:
        return ", ".join(wording.run_spans(band.at_all, region.year, language))
    found = best_day(region, band)
    if found is None:
        return language.text("calendar.none")
    chance, day, site = found
    return language.text("region.none_best", chance=chance, day=day, site=names(region)[site])


def best_day(region: RegionCalendar, band: RegionBand) -> tuple[str, str, int] | None:
    """Highest chance of the worst site, its day and that site; None where no day is ever safe."""
    best = float(band.worst.max())
    if best <= wording.NEVER:
        return None
    days = np.flatnonzero(band.worst >= best - 1e-9)
    day = int(days[len(days) // 2])
    date = np.datetime64(f"{region.year:04d}-01-01", "D") + day
    language = region.language
    return (
        wording.percent(best, language),
        wording.day_text(date, language),
        int(band.worst_site[day]),
    )


def window_text(region: RegionCalendar, window: RegionWindow) -> str:
    """Which sites rule one run of days, and how its opening shifts."""
    language, words = region.language, region.language.text
    own = {item.site: item for item in window.windows}
    parts = []
    if len(own) == 1:
        only = window.windows[0]
        if only.opens is not None and only.closes is not None:
            span = wording.span_text(only.opens, only.closes, language)
            parts.append(words("region.only_at", span=span, site=site_names(region, (only.site,))))
    elif window.opens_last and window.opens_last == window.closes_first:
        sites = window.opens_last
        parts.append(
            words(
                "region.open_and_close" if len(sites) > 1 else "region.opens_and_closes",
                who=_who(region, sites),
                opens=_short(own[sites[0]].opens, language),
                closes=_short(own[sites[0]].closes, language),
            )
        )
    else:
        last, first = window.opens_last, window.closes_first
        ends = []
        if last:
            key = "region.open_last" if len(last) > 1 else "region.opens_last"
            ends.append((key, last, own[last[0]].opens))
        if first:
            key = "region.close_first" if len(first) > 1 else "region.closes_first"
            ends.append((key, first, own[first[0]].closes))
        parts += [
            words(key, who=_who(region, sites), day=_short(day, language))
            for key, sites, day in ends
        ]
    if window.never and len(own) > 1:
        parts.append(words("region.never_at", sites=site_names(region, window.never)))
    parts += [
        words("region.opening", shift=shift_text(shift, per, language))
        for shift, per in shifts_of(window)
    ]
    return ", ".join(parts)


def shift_text(shift: Shift, per: str, language: Language) -> str:
    """A shift that can be told; ``per`` is height or latitude."""
    assert shift.days is not None and shift.low is not None and shift.high is not None
    low, high = sorted((abs(shift.low), abs(shift.high)))
    few = "shift_few" if shift.sites == FEWEST_FOR_SHIFT else "shift_sites"
    return language.text(
        "region.later" if shift.days > 0 else "region.earlier",
        days=_tenths(abs(shift.days), language),
        per=language.text(f"region.per_{per}"),
        low=_tenths(low, language),
        high=_tenths(high, language),
        sites=language.text(f"region.{few}", number=shift.sites),
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
                kinds.setdefault(text, []).append(_kind(band, region.language))
        for text, named in kinds.items():
            found.setdefault(text, []).append(_taxon_kinds(row.species.common_name, named, region))
    told = "; ".join(f"{', '.join(who)}: {text}" for text, who in found.items())
    return f"{told}." if told else ""


def shifts_text(region: RegionCalendar) -> str:
    """Every shift with height or latitude that can be told, and what to think of it."""
    language, words = region.language, region.language.text
    found: dict[tuple[str, str], list[str]] = {}
    for row in region.rows:
        for band in row.bands:
            for window in band.windows:
                own = {item.site: item for item in window.windows}
                day = own[window.opens_last[0]].opens if window.opens_last else None
                for shift, per in shifts_of(window):
                    text = words(
                        "region.opening_by",
                        day=_short(day, language),
                        shift=shift_text(shift, per, language),
                    )
                    key = row.species.common_name, text
                    found.setdefault(key, []).append(_kind(band, language))
    if not found:
        return words("region.shift_unknown")
    told = "; ".join(
        f"{_taxon_kinds(taxon, kinds, region)}, {text}" for (taxon, text), kinds in found.items()
    )
    return f"{told}. {words('region.few_for_shift')} {words('region.shift_unknown')}"


def shifts_of(window: RegionWindow) -> list[tuple[Shift, str]]:
    """The shifts of a run of days that can be told, with height or latitude."""
    both = ((window.height, "height"), (window.latitude, "latitude"))
    return [(shift, per) for shift, per in both if shift.days is not None]


def records_text(region: RegionCalendar) -> str:
    """Where every site lies and what its record is worth, numbered, and whom to name."""
    language = region.language
    listed = " ".join(
        f"{number}: {site_text(item, language)}." for number, item in enumerate(region.sites, 1)
    )
    return f"{listed} {credits_text(region)}".strip()


def credits_text(region: RegionCalendar) -> str:
    """Whom to name for the temperatures; empty where nobody asks for it."""
    named = {wording.credit_text(item.site, "", region.language): None for item in region.sites}
    return " ".join(text for text in named if text)


def evidence_text(region: RegionCalendar) -> str:
    """How many of the rules of work are published or less."""
    language = region.language
    counts = Counter(
        rule.evidence
        for row in region.rows
        for rules in row.species.work.values()
        for rule in rules
    )
    listed = ", ".join(
        f"{number} {wording.evidence_name(name, language)}" for name, number in counts.most_common()
    )
    return f"{language.text('record.rules', listed=listed)} {language.text('region.points')}"


def method_text(region: RegionCalendar) -> str:
    """How the days of a region are found."""
    language = region.language
    return f"{language.text('region.method')} {wording.method_text(language, ranges='')}"


def _kind(band: RegionBand, language: Language) -> str:
    return language.text(f"short_work.{band.kind}")


def _taxon_kinds(taxon: str, kinds: list[str], region: RegionCalendar) -> str:
    return f"{taxon} {region.language.text('dates.and').join(kinds)}"


def _tenths(value: float, language: Language) -> str:
    return f"{value:.1f}".replace(".", language.text("numbers.decimal"))


def _short(day: np.datetime64 | None, language: Language) -> str:
    return "" if day is None else wording.short_day(day, language)


def _who(region: RegionCalendar, sites: tuple[int, ...]) -> str:
    if len(sites) == len(region.sites):
        return region.language.text("region.all_sites")
    if len(sites) <= 2:
        return site_names(region, sites)
    return region.language.text("region.some_sites", number=len(sites))
