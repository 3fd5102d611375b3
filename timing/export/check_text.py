"""What the checks of a record found, as text and as data; the grower decides what to do."""

from __future__ import annotations

from typing import Any

import numpy as np

from timing.export.answer_text import date_text, place_lines, wrapped
from timing.export.as_json import Json, record_json, site_json
from timing.record_check import Break, Drift, Name, RecordCheck, Size

SHOWN_GAPS = 5
NAMES: dict[Name, str] = {
    "range": "daily range",
    "tmin": "minima",
    "tmax": "maxima",
    "tmin less neighbour": "minima against the neighbour",
    "tmax less neighbour": "maxima against the neighbour",
}
ALIKE = (
    "A real change of the climate or of the surroundings looks like a step too: look for a move, a "
    "new instrument or a new hour of reading at that time. Nothing has been changed."
)
REMEDY = (
    "To answer from one side of a step only, cut the file there and give it to the site anew "
    "('sapdial site change NAME --temperatures FILE')."
)


def check_text(check: RecordCheck) -> str:
    """Everything found, at most about fifty lines."""
    lines = place_lines(check.site, check.record)
    lines += ["", "Coverage", *_coverage(check)]
    lines += ["", "Steps", *_steps(check)]
    lines += ["", "Drift", *_drift(check)]
    lines += ["", "Readings", *_readings(check)]
    if check.neighbour is not None:
        lines += ["", "Neighbour", *_neighbour(check)]
    if check.breaks:
        lines += ["", *wrapped(f"{ALIKE} {REMEDY}")]
    return "\n".join(lines) + "\n"


def _coverage(check: RecordCheck) -> list[str]:
    found = check.coverage
    read = sum(year.read for year in found.years)
    days = sum(year.read + year.mended + year.open for year in found.years)
    lines = [f"  {read} of {days} days read ({read / days:.1%})"]
    for gap in found.gaps[:SHOWN_GAPS]:
        lines.append(
            f"  {gap.days} days missing, {date_text(gap.first)} to {date_text(gap.last)}: "
            f"{gap.treated}"
        )
    more = len(found.gaps) - SHOWN_GAPS
    if more > 0:
        lines.append(f"  and {more} more gaps of over three days")
    if found.short_gaps:
        lines.append(f"  {found.short_gaps} gaps of up to three days, bridged or filled")
    left_out = [season for season in found.seasons if season.gaps]
    for season in left_out[:SHOWN_GAPS]:
        lines += wrapped(f"season {season.season} does not count: {season.why}", "  ", "    ")
    if len(left_out) > SHOWN_GAPS:
        lines.append(f"  and {len(left_out) - SHOWN_GAPS} more seasons do not count")
    counted = sum(season.counts for season in found.seasons)
    return [*lines, f"  {counted} seasons count in the odds"]


def _steps(check: RecordCheck) -> list[str]:
    if not check.tested:
        return wrapped("The record is too short to look for steps: ten years are needed.", "  ")
    if not check.breaks:
        return ["  none found"]
    return [line for item in check.breaks for line in wrapped(break_text(item), "  ", "    ")]


def break_text(item: Break) -> str:
    """One step: when, how large, how sure."""
    sizes = "; ".join(
        f"{NAMES[name]} {_signed(size)} °C" for name, size in item.sizes.items() if size is not None
    )
    found = ", ".join(NAMES[name] for name in item.series)
    return (
        f"about {_month(item.month)} (between {_month(item.early)} and {_month(item.late)}): "
        f"{sizes}. Found in: {found}; chance without a step {_chance(item.p)}."
    )


def _drift(check: RecordCheck) -> list[str]:
    if not check.drifts:
        return ["  none found"]
    return [f"  {drift_text(item)}" for item in check.drifts]


def drift_text(item: Drift) -> str:
    """One drift: of what, how fast, how sure."""
    slope = 10 * item.trend.slope
    return f"{NAMES[item.series]}: {slope:+.1f} °C a decade, p {_chance(item.trend.p)}".replace(
        "-", "−"
    )


def _readings(check: RecordCheck) -> list[str]:
    lines = [
        f"  {run.first_year} to {run.last_year}: {_unit(run.unit)}"
        for run in check.precision
        if len(check.precision) > 1
    ]
    if len(check.precision) == 1:
        lines.append(f"  all years: {_unit(check.precision[0].unit)}")
    findings = check.record.warnings
    if not findings:
        lines.append("  no reading set aside, no stuck value")
    return [*lines, *(line for text in findings for line in wrapped(f"{text}.", "  ", "    "))]


def _neighbour(check: RecordCheck) -> list[str]:
    beside = check.neighbour
    assert beside is not None
    lines = [
        f"  {beside.record.source}: {beside.days} days in common, daily means alike by "
        f"r = {beside.likeness:.2f}"
    ]
    for shift in beside.shifts:
        side = "later" if shift.days > 0 else "earlier"
        years = ", ".join(str(year) for year in shift.years)
        lines += wrapped(
            f"{NAMES['tmax' if shift.element == 'tmax' else 'tmin']} seem to stand a day {side} "
            f"than the neighbour's in {years} (r {shift.shifted:.2f} against {shift.same_day:.2f} "
            "on the same day): they may have been read in the morning.",
            "  ",
            "    ",
        )
    return lines


def check_json(check: RecordCheck) -> Json:
    """The same as data."""
    beside = check.neighbour
    return {
        "schema": "sapdial-check-1",
        "site": site_json(check.site),
        "record": record_json(check.record),
        "years": [vars(year) for year in check.coverage.years],
        "gaps": [
            {
                "first": str(gap.first),
                "last": str(gap.last),
                "days": gap.days,
                "treated": gap.treated,
            }
            for gap in check.coverage.gaps
        ],
        "short_gaps": check.coverage.short_gaps,
        "seasons": [
            {
                "season": season.season,
                "counts": season.counts,
                "why_not": season.why or None,
                "spring_days_missing": season.spring.missing,
                "autumn_days_missing": season.autumn.missing,
            }
            for season in check.coverage.seasons
        ],
        "steps_tested": check.tested,
        "steps": [_break_json(item) for item in check.breaks],
        "drifts": [
            {
                "series": item.series,
                "slope_c_per_decade": round(10 * item.trend.slope, 3),
                "p": round(item.trend.p, 4),
            }
            for item in check.drifts
        ],
        "precision": [vars(run) for run in check.precision],
        "neighbour": None
        if beside is None
        else {
            "source": beside.record.source,
            "days": beside.days,
            "correlation": round(beside.likeness, 3),
            "day_shifts": [{**vars(shift), "years": list(shift.years)} for shift in beside.shifts],
        },
        "caution": ALIKE if check.breaks else None,
    }


def _break_json(item: Break) -> dict[str, Any]:
    return {
        "month": str(item.month.astype("datetime64[M]")),
        "early": str(item.early.astype("datetime64[M]")),
        "late": str(item.late.astype("datetime64[M]")),
        "series": list(item.series),
        "p": round(item.p, 4),
        "sizes_c": {
            name: {"change": round(size[0], 2), "standard_error": round(size[1], 2)}
            for name, size in item.sizes.items()
        },
    }


def _month(month: np.datetime64) -> str:
    return " ".join(date_text(month.astype("datetime64[M]").astype("datetime64[D]")).split()[1:])


def _signed(size: Size) -> str:
    return f"{size[0]:+.1f} (± {size[1]:.1f})".replace("-", "−")


def _chance(p: float) -> str:
    return "below 0.1%" if p < 0.001 else f"{p:.1%}"


def _unit(unit: str) -> str:
    return "finer than whole degrees" if unit == "finer" else unit
