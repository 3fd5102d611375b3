"""A season beside all others as text, eighty columns wide.

One taxon gets every event, two or three their main events, more a line each; JSON has all.
"""

from __future__ import annotations

from timing import comparison_words as words
from timing.calendar import MARKED_EVENTS
from timing.comparison import Comparison, TaxonComparison
from timing.event_comparison import EventComparison
from timing.export.answer_text import place_lines, wrapped
from timing.wording import EVENT_LABELS, percent, short_day

LABEL = 21
PLACE_KEY = "Place: from the earliest, = shared."
AHEAD_KEY = (
    "~ ahead or not settled: middle and 80% range of what past seasons make of it, and the "
    "chance of coming before the usual day."
)


def comparison_text(comparison: Comparison) -> str:
    """Write a comparison as text; no line is longer than eighty characters."""
    lines = [*place_lines(comparison.site, comparison.record), ""]
    if comparison.note:
        lines += [*wrapped(comparison.note), ""]
    if comparison.trees:
        lines += [*wrapped(words.trees_text(comparison)), ""]
    taxa = comparison.taxa
    if len(taxa) > words.FEW_TAXA:
        lines += wrapped(f"{words.title(comparison)}.")
    else:
        for taxon in taxa:
            lines += wrapped(words.headline(comparison, taxon))
    lines.append("")
    for item in (comparison.heat, comparison.chill):
        if item is not None:
            lines += wrapped(words.sum_text(item), "", "  ")
    lines += [*_alike(comparison), "", *_dates(comparison), *_trends(comparison), ""]
    lines.append("What to keep in mind")
    above = (comparison.note, words.trees_text(comparison))
    notes = [text for text in words.caveats(comparison) if text not in above]
    notes.append(words.RULE)
    if len(taxa) == 1 and taxa[0].not_compared:
        notes.append(words.not_compared_text(taxa[0]))
    if comparison.alike is not None:
        notes.append(words.alike_rule(comparison.alike))
    for text in notes:
        lines += wrapped(text, "  - ", "    ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _alike(comparison: Comparison) -> list[str]:
    first, *dates = words.alike_text(comparison)
    lines = wrapped(first, "", "  ")
    if len(comparison.taxa) <= words.FEW_TAXA:
        lines += [line for text in dates for line in wrapped(text, "  ")]
    if comparison.alike is not None and words.any_ahead(comparison):
        lines += wrapped(words.ALIKE_CAUTION, "  ")
    return lines


def _dates(comparison: Comparison) -> list[str]:
    last = "place, chance" if words.any_ahead(comparison) else "place"
    head = f"{'season ' + str(comparison.season):<24}{'usual':<7}{'days':<12}{last}"
    lines = []
    few = len(comparison.taxa) <= words.FEW_TAXA
    if not few:
        lines.append(f"{_leads(comparison):<{LABEL + 2}}{head}")
    for taxon in comparison.taxa:
        species, lead = taxon.species, taxon.leading
        if few and not _shown(comparison, taxon):
            continue  # the headline says why
        if few:
            first = not lines
            lines += wrapped(f"{species.common_name} ({species.scientific_name})")
            if first:
                lines.append(f"{'':<{LABEL + 2}}{head}")
            for item in _shown(comparison, taxon):
                lines += _row(EVENT_LABELS[item.event], item)
        elif lead is None:
            lines += wrapped(words.headline(comparison, taxon), "  ", "    ")
        else:
            lines += _row(species.common_name, lead)
    if comparison.frosts:
        lines.append("Frost at the site")
        for item in comparison.frosts:
            lines += _row(EVENT_LABELS[item.event], item)
    if not lines:
        return []
    ahead = [AHEAD_KEY] if words.any_ahead(comparison) else []
    return [*lines, *wrapped(" ".join([*ahead, PLACE_KEY]), "  "), ""]


def _shown(comparison: Comparison, taxon: TaxonComparison) -> tuple[EventComparison, ...]:
    """Events of a taxon that a text of so many taxa has room for."""
    if len(comparison.taxa) == 1:
        return taxon.events
    return tuple(item for item in taxon.events if item.event in words.MAIN_EVENTS)


def _leads(comparison: Comparison) -> str:
    events = {item.event for taxon in comparison.taxa if (item := taxon.leading)}
    return EVENT_LABELS[events.pop()].capitalize() if len(events) == 1 else "Spring begins"


def _row(label: str, item: EventComparison) -> list[str]:
    lines = []
    if len(label) >= LABEL:
        lines, label = wrapped(label, "  ", "    "), ""
    if item.date is None:
        return [*lines, *wrapped(f"{label:<{LABEL}}{item.reason}", "  ", " " * (LABEL + 2))]
    date, last = short_day(item.date), "in no other season"
    if item.ahead and item.early is not None and item.late is not None:
        date = f"~{date} ({short_day(item.early)}-{short_day(item.late)})"
    if item.earlier_chance is not None:
        last = f"{percent(item.earlier_chance)} sooner"
    elif item.rank is not None:
        last = words.place_text(item.rank)
    usual = short_day(item.usual_date) if item.usual_date is not None else "-"
    away = words.away_text(item).replace(" days", "").replace(" day", "")
    away = {"on the usual": "usual day", "": "-"}.get(away, away)
    return [*lines, f"  {label:<{LABEL}}{date:<24}{usual:<7}{away:<12}{last}"]


def _trends(comparison: Comparison) -> list[str]:
    single = len(comparison.taxa) == 1
    lines = ["Trend in days a decade (95% range); minus is earlier"]
    if not words.any_trend(comparison):
        return [*lines, f"  {words.NO_TRENDS}"]
    for taxon in comparison.taxa:
        lead = taxon.leading
        shown = tuple(item for item in taxon.events if single and item.event in MARKED_EVENTS)
        for item in shown or ((lead,) if lead else ()):
            label = EVENT_LABELS[item.event] if single else taxon.species.common_name
            lines += _trend(label, item)
    for item in comparison.frosts:
        lines += _trend(EVENT_LABELS[item.event], item)
    return [*lines, *wrapped(words.TREND_RULE, "  ")]


def _trend(label: str, item: EventComparison) -> list[str]:
    text = words.trend_text(item.trend, item.trend_seasons)
    if len(label) >= LABEL:
        return [*wrapped(label, "  ", "    "), *wrapped(text, " " * (LABEL + 2))]
    return wrapped(f"{label:<{LABEL}}{text}", "  ", " " * (LABEL + 2))
