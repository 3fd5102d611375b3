"""Complete, stable JSON of a region's calendar."""

from __future__ import annotations

from collections.abc import Sequence

from timing.export.as_json import Json, day_json, record_json, rounded, site_json
from timing.region import RegionBand, RegionCalendar, Run
from timing.region_split import LEAST_AGREEMENT, Group
from timing.region_windows import RegionWindow, Shift
from timing.wording import few_seasons_text


def region_json(region: RegionCalendar) -> Json:
    """A region's calendar: sites, whether to split, and every day of every kind of work."""
    names = [item.site.name for item in region.sites]
    division = region.division
    agreement = division.agreement
    return {
        "schema": "sapdial-region-calendar-1",
        "region": region.name,
        "year": region.year,
        "confidence": region.confidence,
        "condition": region.calendars[0].condition,
        "invented": region.invented,
        "sites": [
            {
                "site": site_json(item.site),
                "record": record_json(item.record),
                "seasons": item.seasons,
                "few_seasons": few_seasons_text(item.seasons) or None,
                "running_season_counted": item.running,
                "usual_weather": list(calendar.weather),
            }
            for item, calendar in zip(region.sites, region.calendars, strict=True)
        ],
        "left_out": [{"site": name, "reason": reason} for name, reason in region.left_out],
        "division": {
            "days_safe_everywhere": round(division.days_everywhere, 1),
            "days_safe_average_site": round(division.days_average, 1),
            "agreement": rounded(agreement, 3),
            "least_agreement": LEAST_AGREEMENT,
            "split_advised": division.advised,
            "groups": [_group(names, group) for group in division.groups],
            "along": division.along or None,
        },
        "species": [
            {
                "species": row.species.slug,
                "common_name": row.species.common_name,
                "work": {band.kind: _band(names, band) for band in row.bands},
            }
            for row in region.rows
        ],
    }


def _group(names: Sequence[str], group: Group) -> Json:
    return {
        "sites": _named(names, group.sites),
        "days_safe": round(group.days, 1),
        "days_gained": round(group.gained, 1),
    }


def _band(names: Sequence[str], band: RegionBand) -> Json:
    return {
        "safe_at_all": _runs(band.at_all),
        "safe_at_most": _runs(band.at_most),
        "safe_at_some": _runs(band.at_some),
        "rules": None if band.rules is None else names[band.rules],
        "windows": [_window(names, window) for window in band.windows],
        "conditions": [
            {"text": text, "sites": _named(names, sites)} for text, sites in band.limits
        ],
        "share_by_day": [round(float(value), 3) for value in band.share],
        "worst_chance_by_day": [round(float(value), 3) for value in band.worst],
        "worst_site_by_day": _named(names, tuple(int(number) for number in band.worst_site)),
        "chance_by_day": {
            name: [round(float(value), 3) for value in chance]
            for name, chance in zip(names, band.chance, strict=True)
        },
    }


def _window(names: Sequence[str], window: RegionWindow) -> Json:
    return {
        "sites": [
            {
                "site": names[item.site],
                "opens": day_json(item.opens),
                "closes": day_json(item.closes),
                "all_year": item.opens is None,
            }
            for item in window.windows
        ],
        "never_at": _named(names, window.never),
        "opens_last": _named(names, window.opens_last),
        "closes_first": _named(names, window.closes_first),
        "opening_by_height": _shift(window.height, "days_per_100_m"),
        "opening_by_latitude": _shift(window.latitude, "days_per_degree_from_equator"),
    }


def _shift(shift: Shift, unit: str) -> Json:
    return {
        unit: rounded(shift.days, 2),
        "low": rounded(shift.low, 2),
        "high": rounded(shift.high, 2),
        "sites": shift.sites,
        "reason": shift.unknown or None,
    }


def _runs(runs: Sequence[Run]) -> list[Json]:
    return [{"opens": str(opens), "closes": str(closes)} for opens, closes in runs]


def _named(names: Sequence[str], sites: tuple[int, ...]) -> list[str]:
    return [names[number] for number in sites]
