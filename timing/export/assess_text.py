"""Scores on held-back seasons, for a terminal 80 columns wide."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from timing.assessment import Assessment
from timing.export.answer_text import place_lines, wrapped
from timing.intake.observations import Observation
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
    lines += ["", f"{'':<46}seasons  error  mean date  inside"]
    for item in results:
        name = f"{item.species}, {EVENT_LABELS[item.event]}"
        lines.append(
            f"{name[:46]:<46}{item.seasons:>7}{item.rmse_days:>7.1f}"
            f"{item.mean_date_rmse_days:>11.1f}{item.coverage_80:>8.0%}"
        )
    if not results:
        lines.append("No event was seen in three seasons or more: nothing can be held back.")
    return "\n".join(lines) + "\n"


def not_scored(observed: Sequence[Observation], scored: Sequence[Assessment]) -> tuple[str, ...]:
    """Which taxa and events were seen in too few seasons to be held back, a sentence each."""
    dates = Counter((item.species, item.event) for item in observed)
    known = {(item.species, item.event) for item in scored}
    return tuple(
        f"{species}, {EVENT_LABELS[event]} ({count} date{'' if count == 1 else 's'}): not scored; "
        "three seasons that the record covers are needed"
        for (species, event), count in sorted(dates.items())
        if (species, event) not in known
    )
