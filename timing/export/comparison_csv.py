"""A season beside all others as a table: one row an event of a taxon, frosts without one."""

from __future__ import annotations

from timing.comparison import Comparison
from timing.event_comparison import EventComparison
from timing.export.as_json import rounded
from timing.export.csv_table import csv_text

COLUMNS = (
    "site", "season", "on", "species", "event", "date", "early", "late", "ahead", "usual_date",
    "days_from_usual", "standing", "rank_from_earliest", "rank_of", "chance_before_usual",
    "trend_days_per_decade", "trend_low_95", "trend_high_95", "trend_p", "reason", "attribution",
)  # fmt: skip


def comparison_csv(comparison: Comparison) -> str:
    """Dates, standing, rank and trend of every event as CSV; what is unknown stays blank."""
    found = [(taxon.species.slug, item) for taxon in comparison.taxa for item in taxon.events]
    found += [("", item) for item in comparison.frosts]
    before = (comparison.site.name, comparison.season, comparison.on)
    credit = comparison.site.attribution
    return csv_text(COLUMNS, [(*before, slug, *_cells(item), credit) for slug, item in found])


def _cells(item: EventComparison) -> tuple[object, ...]:
    rank, trend = item.rank, item.trend
    slopes = (trend.slope, trend.low, trend.high) if trend else (None, None, None)
    return (
        item.event,
        item.date,
        item.early,
        item.late,
        "yes" if item.ahead else "no",
        item.usual_date,
        item.days_from_usual,
        item.standing,
        rank.from_earliest if rank else None,
        rank.of if rank else None,
        rounded(item.earlier_chance, 3),
        *(None if slope is None else round(10 * slope, 3) for slope in slopes),
        round(trend.p, 6) if trend else None,
        item.reason,
    )
