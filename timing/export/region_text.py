"""A region's calendar as plain text, eighty columns wide, a quarter of a month a character.

A cell is safe at all sites only if every day of it is.
"""

from __future__ import annotations

from timing import region_words, wording
from timing.export.calendar_text import (
    CELLS,
    MONTHS_AGAIN,
    WHOLE,
    cell_bounds,
    framed,
    wrapped,
)
from timing.region import MOST, RegionBand, RegionCalendar, RegionRow
from timing.season import Floats

AT_ALL, AT_MOST, AT_SOME, NOWHERE = "#", "=", "-", "."
FEWEST_FOR_MOST = 4  # of fewer sites three quarters are all


def region_strip(region: RegionCalendar) -> str:
    """Write a region's calendar as text; no line is longer than eighty characters."""
    months = framed([f"{name[0]:^{CELLS}}" for name in wording.MONTHS], " ")
    lines = [*_head(region), "", months]
    for number, row in enumerate(region.rows):
        if number and number % MONTHS_AGAIN == 0:
            lines.append(months)
        lines += [*_row(row, region), ""]
    lines += [months, "", *_foot(region)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def share_cells(share: Floats, year: int) -> str:
    """One character a cell, January to December, without separators.

    Parameters
    ----------
    share : array (days of the year,), share of the sites at which each day is safe.
    year : its calendar year.
    """
    return "".join(_cell(share[start:stop]) for start, stop in cell_bounds(year))


def _cell(share: Floats) -> str:
    least = float(share.min())
    if least >= 1 - 1e-9:
        return AT_ALL
    if least >= MOST - 1e-9:
        return AT_MOST
    return AT_SOME if share.max() > 0 else NOWHERE


def _head(region: RegionCalendar) -> list[str]:
    lines = wrapped(region_words.title(region))
    if region.invented:
        lines += wrapped(wording.INVENTED_NOTICE)
    lines += ["", *wrapped(f"{region_words.division_title(region)}.")]
    lines += wrapped(region_words.division_text(region))
    lines += ["", "Sites, the highest first:"]
    for item in region.sites:
        lines += wrapped(region_words.site_text(item), indent=2)
    if region.left_out:
        lines += wrapped(region_words.left_out_text(region))
    sure = wording.percent(region.confidence)
    most = [f"{AT_MOST} every day safe at three quarters of the sites or more"]
    return [
        *lines,
        "",
        *wrapped(f"{AT_ALL} every day safe at all sites: chance {sure} or more at the worst"),
        *(most if len(region.sites) >= FEWEST_FOR_MOST else ()),
        f"{AT_SOME} safe at some sites, or on some of its days",
        f"{NOWHERE} safe nowhere",
        "One character is a quarter of a month, seven or eight days.",
    ]


def _row(row: RegionRow, region: RegionCalendar) -> list[str]:
    species = row.species
    lines = wrapped(f"{species.common_name} ({species.scientific_name})")
    for band in row.bands:
        strip = share_cells(band.share, region.year)
        months = (strip[at : at + CELLS] for at in range(0, len(strip), CELLS))
        lines.append(framed(months, "|", f"  {band.kind}"))
    for band in row.bands:
        lines += wrapped(_dates(band, region), indent=2)
    found: dict[str, list[str]] = {}
    for band in row.bands:
        for text in region_words.conditions(region, band):
            found.setdefault(text, []).append(band.kind)
    for text, kinds in found.items():
        lines += wrapped(f"{', '.join(kinds)}: {text}", indent=2)
    return lines


def _dates(band: RegionBand, region: RegionCalendar) -> str:
    safe = region_words.safe_text(region, band).replace(" ", WHOLE)
    parts = [f"safe at all: {safe.replace(f',{WHOLE}', ', ').replace(f'{WHOLE}(', ' (')}"]
    parts += [text for item in band.windows if (text := region_words.window_text(region, item))]
    if band.rules is not None:
        parts.append(f"{region_words.names(region)[band.rules]} rules")
    return f"{band.kind}: {'; '.join(parts)}"


def _foot(region: RegionCalendar) -> list[str]:
    told = [region_words.FEW_FOR_SHIFT] if region_words.any_shift(region) else []
    lines = []
    for text in (
        "“Rules” is the worst site on most of the days that are safe at some sites only.",
        *told,
        region_words.SHIFT_UNKNOWN,
        region_words.METHOD,
        region_words.evidence_text(region),
        region_words.credits_text(region),
    ):
        lines += wrapped(text)
    lines.append("")
    for caution in wording.CAUTIONS:
        lines += wrapped(caution)
    if region.invented:
        lines += ["", *wrapped(wording.INVENTED_NOTICE)]
    return lines
