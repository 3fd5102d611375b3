"""A region's calendar as plain text, eighty columns wide, a quarter of a month a character.

A cell is safe at all sites only if every day of it is.
"""

from __future__ import annotations

from timing import region_words, wording
from timing.export.calendar_text import (
    CELLS,
    WHOLE,
    cell_bounds,
    framed,
    laid_out,
    today_line,
    wrapped,
)
from timing.region import FEWEST_FOR_MOST, MOST, RegionBand, RegionCalendar, RegionRow
from timing.season import Floats

AT_ALL, AT_MOST, AT_SOME, NOWHERE = "#", "=", "-", "."


def region_strip(region: RegionCalendar) -> str:
    """Write a region's calendar as text; no line is longer than eighty characters."""
    rows = (_row(row, region) for row in region.rows)
    today = region.today
    marked = "" if today is None else today_line(today, region.year, region.language)
    return laid_out(_head(region), marked, rows, _foot(region), region.language)


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
    language, words = region.language, region.language.text
    lines = wrapped(region_words.title(region))
    if region.invented:
        lines += wrapped(words("notice.invented"))
    lines += ["", *wrapped(f"{region_words.division_title(region)}.")]
    lines += wrapped(region_words.division_text(region))
    lines += ["", *wrapped(words("region.sites_heading"))]
    for item in region.sites:
        lines += wrapped(region_words.site_text(item, language), indent=2)
    lines += wrapped(region_words.doubts_text(region))
    sure = wording.level_text(region.confidence, language)
    lines += ["", *wrapped(f"{AT_ALL} {words('region.every_day', chance=sure)}")]
    if len(region.sites) >= FEWEST_FOR_MOST:
        lines += wrapped(f"{AT_MOST} {words('region.every_day_most')}")
    lines += wrapped(f"{AT_SOME} {words('region.some_days')}")
    lines += wrapped(f"{NOWHERE} {words('region.safe_nowhere')}")
    return [*lines, *wrapped(words("strip.cell"))]


def _row(row: RegionRow, region: RegionCalendar) -> list[str]:
    species, words = row.species, region.language.text
    lines = wrapped(f"{species.common_name} ({species.scientific_name})")
    for band in row.bands:
        strip = share_cells(band.share, region.year)
        months = (strip[at : at + CELLS] for at in range(0, len(strip), CELLS))
        lines.append(framed(months, "|", f"  {words(f'short_work.{band.kind}')}"))
    for band in row.bands:
        lines += wrapped(_dates(band, region), indent=2)
    found: dict[str, list[str]] = {}
    for band in row.bands:
        for text in region_words.conditions(region, band):
            found.setdefault(text, []).append(words(f"short_work.{band.kind}"))
    for text, kinds in found.items():
        lines += wrapped(f"{', '.join(kinds)}: {text}", indent=2)
    return lines


def _dates(band: RegionBand, region: RegionCalendar) -> str:
    words = region.language.text
    safe = region_words.safe_text(region, band).replace(" ", WHOLE)
    safe = safe.replace(f",{WHOLE}", ", ").replace(f"{WHOLE}(", " (")
    parts = [words("region.safe_dates", spans=safe)]
    parts += [text for item in band.windows if (text := region_words.window_text(region, item))]
    if band.rules is not None:
        parts.append(words("region.rules", site=region_words.names(region)[band.rules]))
    return f"{words(f'short_work.{band.kind}')}: {'; '.join(parts)}"


def _foot(region: RegionCalendar) -> list[str]:
    words = region.language.text
    told = [words("region.few_for_shift")] if region_words.any_shift(region) else []
    lines = []
    for text in (
        words("region.rules_note"),
        *told,
        words("region.shift_unknown"),
        words("region.method"),
        region_words.evidence_text(region),
        region_words.credits_text(region),
        words("notice.names_stay_english"),
    ):
        lines += wrapped(text)
    lines.append("")
    for caution in region.cautions:
        lines += wrapped(caution)
    if region.invented:
        lines += ["", *wrapped(words("notice.invented"))]
    return lines
