"""Scores on held-back seasons, for a terminal 80 columns wide."""

from __future__ import annotations

from timing.assessment import Assessment
from timing.export.answer_text import place_lines, wrapped
from timing.site import Site
from timing.temperature import TemperatureRecord
from timing.wording import EVENT_LABELS


def assess_text(results: list[Assessment], site: Site, record: TemperatureRecord) -> str:
    """One line a taxon and event."""
    lines = [*place_lines(site, record), ""]
    lines += wrapped(
        "Each season predicted from the observations of the others. Errors are root mean squares "
        "in days; mean date is the plain mean of the other seasons; inside is the share of dates "
        "within the 80% range."
    )
    lines += ["", f"{'':<50}seasons  error  mean date  inside"]
    for item in results:
        name = f"{item.species}, {EVENT_LABELS[item.event]}"
        lines.append(
            f"{name[:50]:<50}{item.seasons:>7}{item.rmse_days:>7.1f}"
            f"{item.mean_date_rmse_days:>11.1f}{item.coverage_80:>8.0%}"
        )
    if not results:
        lines.append("No event was seen in three seasons or more: nothing can be held back.")
    return "\n".join(lines) + "\n"
