"""Complete JSON of a season beside all others: all that text and chart say, day by day."""

from __future__ import annotations

import numpy as np

from timing import comparison_words as words
from timing.comparison import Comparison, TaxonComparison
from timing.event_comparison import EventComparison
from timing.export.as_json import Json, day_json, record_json, rounded, site_json
from timing.season import Floats
from timing.so_far import SoFar

CURVES = {"lowest": 0.0, "lower_quartile": 0.25, "median": 0.5, "upper_quartile": 0.75,
          "highest": 1.0}  # fmt: skip


def comparison_json(comparison: Comparison) -> Json:
    """A season beside all others, for programs."""
    return {
        "schema": "sapdial-compare-1",
        "site": site_json(comparison.site),
        "record": record_json(comparison.record),
        "on": str(comparison.on),
        "season": comparison.season,
        "running": comparison.running,
        "title": words.title(comparison),
        "other_seasons": comparison.others.tolist(),
        "trees": [
            {"tree": name, "species": slug, "under_shelter": name in comparison.sheltered}
            for slug, names in comparison.trees.items()
            for name in names
        ],
        "left_out_seasons": [
            {"season": year, "reason": reason} for year, reason in comparison.left_out.items()
        ],
        "mended_days": comparison.mended_days,
        "past_remainders": comparison.remainders,
        "heat": _sum_json(comparison.heat, "degree_days_c"),
        "chill": _sum_json(comparison.chill, "portions"),
        "note": comparison.note or None,
        "alike": _alike_json(comparison),
        "frosts": {item.event: _event_json(item) for item in comparison.frosts},
        "species": [_taxon_json(comparison, taxon) for taxon in comparison.taxa],
        "caveats": list(words.caveats(comparison)),
        "rules": {"standing": words.RULE, "trend": words.TREND_RULE},
    }


def _alike_json(comparison: Comparison) -> Json:
    alike, text = comparison.alike, list(words.alike_text(comparison))
    if alike is None:
        return {"seasons": [], "text": text}
    return {
        "until": str(alike.until),
        "measures": list(alike.measures),
        "seasons": [
            {"season": year, "distance_standard_deviations": round(distance, 3)}
            for year, distance in alike.seasons
        ],
        "text": text,
        "rule": words.alike_rule(alike),
        "caution": words.ALIKE_CAUTION,
    }


def _taxon_json(comparison: Comparison, taxon: TaxonComparison) -> Json:
    return {
        "species": taxon.species.slug,
        "common_name": taxon.species.common_name,
        "scientific_name": taxon.species.scientific_name,
        "headline": words.headline(comparison, taxon),
        "leading_event": taxon.leading.event if taxon.leading else None,
        "observations": taxon.observations,
        "events": {item.event: _event_json(item) for item in taxon.events},
        "not_compared": dict(taxon.not_compared),
    }


def _event_json(item: EventComparison) -> Json:
    middle, extremes, trend = item.middle_half, item.extremes, item.trend
    rank = item.rank
    return {
        "date": day_json(item.date),
        "early": day_json(item.early),
        "late": day_json(item.late),
        "reason": item.reason or None,
        "ahead": item.ahead,
        "chance_before_usual": rounded(item.earlier_chance, 3),
        "usual_date": day_json(item.usual_date),
        "usual_middle_half": [str(day) for day in middle] if middle else None,
        "days_from_usual": item.days_from_usual,
        "standing": item.standing,
        "rank": {
            "from_earliest": rank.from_earliest,
            "from_latest": rank.from_latest,
            "equal_others": rank.equal,
            "of": rank.of,
            "text": words.rank_text(rank),
        }
        if rank
        else None,
        "other_seasons_covered": item.candidates,
        "earliest": {"season": extremes[0][0], "date": str(extremes[0][1])} if extremes else None,
        "latest": {"season": extremes[1][0], "date": str(extremes[1][1])} if extremes else None,
        "seasons": [
            {"season": int(year), "date": str(date)}
            for year, date in zip(item.years, item.dates, strict=True)
        ],
        "trend": {
            "slope_days_per_decade": round(10 * trend.slope, 3),
            "low_95_days_per_decade": round(10 * trend.low, 3),
            "high_95_days_per_decade": round(10 * trend.high, 3),
            "p": round(trend.p, 6),
            "variance_factor": round(trend.factor, 3),
            "seasons": trend.years,
            "first_season": trend.first,
            "last_season": trend.last,
            "sure": trend.sure,
        }
        if trend
        else None,
        "trend_text": words.trend_text(trend, item.trend_seasons),
    }


def _sum_json(item: SoFar | None, unit: str) -> Json | None:
    if item is None:
        return None
    low, high = np.quantile(item.there, (0.25, 0.75))
    curves = {name: _curve(item.quantiles((share,))[0]) for name, share in CURVES.items()}
    return {
        "since": str(item.since_date),
        "until": str(item.until_date),
        unit: round(item.value, 2),
        f"median_{unit}": round(item.median, 2),
        f"middle_half_{unit}": [round(float(low), 2), round(float(high), 2)],
        "seasons": len(item.years),
        "seasons_with_less": item.below,
        "percentile": round(item.percentile, 1),
        "text": words.sum_text(item),
        "on_the_same_day": [
            {"season": int(year), unit: round(float(value), 2)}
            for year, value in zip(item.years, item.there, strict=True)
        ],
        "by_day": {"first": str(item.since_date), "season": _curve(item.season), **curves},
    }


def _curve(values: Floats) -> list[float | None]:
    return [None if np.isnan(value) else round(float(value), 2) for value in values]
