"""Complete data of a check: all that the text says, every gap and every year."""

from __future__ import annotations

from typing import Any

from timing import check_words as words
from timing.coverage import PhaseCoverage, SeasonCoverage
from timing.export.as_json import record_json, site_json
from timing.record_check import Break, Drift, Name, NeighbourCheck, RecordCheck, Series

Json = dict[str, Any]


def check_json(check: RecordCheck) -> Json:
    """A checked record, for programs."""
    spring, autumn = words.phase_names(check.site.hemisphere)
    return {
        "schema": "sapdial-check-1",
        "site": site_json(check.site),
        "record": record_json(check.record),
        "headline": words.headline(check),
        "findings": [vars(finding) for finding in check.record.findings],
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
        "phases": {"spring": spring, "autumn": autumn},
        "seasons": [_season_json(season) for season in check.coverage.seasons],
        "steps_tested": check.tested,
        "steps": [_break_json(check, item) for item in check.breaks],
        "series": {_key(name): _series_json(one) for name, one in check.series.items()},
        "drifts": [_drift_json(item) for item in check.drifts],
        "precision": [vars(run) for run in check.precision],
        "neighbour": None if check.neighbour is None else _neighbour_json(check.neighbour),
        "advice": words.advice(check),
        "caveats": words.caveats(check),
        "method": words.METHOD,
    }


def _season_json(season: SeasonCoverage) -> Json:
    return {
        "season": season.season,
        "counts": season.counts,
        "why_not": season.why or None,
        "lost_to_gaps": season.gaps,
        "spring": _phase_json(season.spring),
        "autumn": _phase_json(season.autumn),
    }


def _phase_json(phase: PhaseCoverage) -> Json:
    return {
        "days": phase.days,
        "missing": phase.missing,
        "open": phase.open,
        "share_missing": round(phase.share, 4),
    }


def _break_json(check: RecordCheck, item: Break) -> Json:
    return {
        "month": str(item.month),
        "early": str(item.early),
        "late": str(item.late),
        "series": [_key(name) for name in item.series],
        "p": round(item.p, 4),
        "sizes_c": {
            _key(name): {"change": round(change, 2), "standard_error": round(error, 2)}
            for name, (change, error) in item.sizes.items()
        },
        "meaning": words.meaning(check, item),
    }


def _series_json(one: Series) -> Json:
    steps = one.steps
    return {
        "years": one.years.tolist(),
        "departure_c": [round(float(value), 3) for value in one.values],
        "tested": steps is not None,
        "p_one_step": None if steps is None else round(steps.p[0], 4),
        "p_two_steps": None if steps is None else round(steps.p[1], 4),
        "memory": None if steps is None else round(steps.memory, 2),
        "line_taken_out": None if steps is None else steps.line,
    }


def _drift_json(item: Drift) -> Json:
    trend = item.trend
    return {
        "series": _key(item.series),
        "slope_c_per_decade": round(10 * trend.slope, 3),
        "low_c_per_decade": round(10 * trend.low, 3),
        "high_c_per_decade": round(10 * trend.high, 3),
        "p": round(trend.p, 4),
        "first_year": trend.first,
        "last_year": trend.last,
        "or_step": None
        if item.step is None
        else {
            "month": str(item.step.month),
            "early": str(item.step.early),
            "late": str(item.step.late),
            "change_c": round(item.step.size, 2),
            "standard_error_c": round(item.step.error, 2),
            "p": round(item.step.p, 4),
        },
    }


def _neighbour_json(beside: NeighbourCheck) -> Json:
    return {
        "record": record_json(beside.record),
        "source": beside.record.source,
        "attribution": beside.credit or None,
        "days": beside.days,
        "correlation": round(beside.likeness, 3) if beside.likeness == beside.likeness else None,
        "day_shifts": [
            {
                "element": shift.element,
                "days": shift.days,
                "years": list(shift.years),
                "correlation_same_day": round(shift.same_day, 3),
                "correlation_shifted": round(shift.shifted, 3),
            }
            for shift in beside.shifts
        ],
    }


def _key(name: Name) -> str:
    return name.replace(" ", "_")
