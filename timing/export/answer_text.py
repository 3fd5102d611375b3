"""Answers in plain words, for a terminal 80 columns wide."""

from __future__ import annotations

import textwrap

import numpy as np

from timing.advice import Answer, Verdict
from timing.answers import Outlook
from timing.export.as_json import seasons_json
from timing.site import Site
from timing.species.model import Disagreement, EventModel, Species
from timing.temperature import TemperatureRecord
from timing.windows import Window
from timing.wording import EVENT_LABELS, WORK_LABELS, day_text, short_day

WIDTH = 80
VERDICTS: dict[Verdict, str] = {
    "safe": "SAFE TODAY",
    "marginal": "MARGINAL",
    "not_safe": "NOT NOW",
}


def answers_text(answers: list[Answer], site: Site, record: TemperatureRecord) -> str:
    """The full answer for one taxon; one line each when several taxa were asked for."""
    lines = [*place_lines(site, record), ""]
    if len({answer.species.slug for answer in answers}) == 1:
        for number, answer in enumerate(answers):
            last = number == len(answers) - 1
            lines += [*_full(answer), *(_shared(answer) if last else [])]
    else:
        lines += _table(answers)
    return "\n".join(lines).rstrip() + "\n"


def place_lines(site: Site, record: TemperatureRecord) -> list[str]:
    """Where the answer holds and what it was read from."""
    north = f"{abs(site.latitude):.1f}° {'S' if site.latitude < 0 else 'N'}"
    east = f"{abs(site.longitude):.1f}° {'W' if site.longitude < 0 else 'E'}"
    height = f", {site.elevation_m:.0f} m" if site.elevation_m is not None else ""
    lines = wrapped(f"{site.name}, {north} {east}{height}")
    mended = (
        f"; {record.missing_days} days missing, {record.repaired_days} mended"
        if record.missing_days
        else ""
    )
    lines.append(f"Temperatures from {record.first} to {record.last}{mended}")
    if site.invented:
        lines.append(
            "INVENTED place and weather, for trying things out: not advice for a real tree"
        )
    lines += [
        line for text in record.warnings for line in wrapped(f"Record: {text}.", "", "        ")
    ]
    return lines


def wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """Lines of at most 80 columns."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=first if rest is None else rest,
        break_long_words=True,
        break_on_hyphens=False,
    )


def span(window: Window, on: np.datetime64) -> str:
    """A window in words."""
    opens = "now" if window.opens <= on else date_text(window.opens)
    return f"{opens} to {date_text(window.closes)}"


def date_text(day: np.datetime64) -> str:
    """A date with its year."""
    return f"{day_text(day)} {str(day)[:4]}"


def _full(answer: Answer) -> list[str]:
    species = answer.species
    low, high = answer.chance_range
    lines = wrapped(
        f"{species.common_name} ({species.scientific_name}) · {WORK_LABELS[answer.work]} · "
        f"{date_text(answer.on)}"
    )
    lines.append("")
    lines += wrapped(
        f"{VERDICTS[answer.verdict]}. The chance that {date_text(answer.on)} is a safe day is "
        f"{answer.chance:.0%} (sampling range {low:.0%} to {high:.0%}, {answer.seasons} seasons)."
    )
    lines += [line for veto in answer.vetoes for line in wrapped(f"Veto: {veto}.", "", "  ")]
    lines += _when(answer)
    lines += wrapped(f"The tree: {answer.phase}.")
    lines += ["", "Why"]
    lines += [line for reason in answer.reasons for line in wrapped(reason, "  ")]
    lines += ["", "How much", *wrapped(f"{answer.how_much.text}.", "  ")]
    if answer.conditions:
        lines += [
            "",
            "Only if",
            *(line for text in answer.conditions for line in wrapped(text, "  ")),
        ]
    return [*lines, ""]


def _when(answer: Answer) -> list[str]:
    level = f"at least {answer.confidence:.0%} on every day"
    lines: list[str] = []
    if answer.windows:
        spans = " · ".join(span(window, answer.on) for window in answer.windows)
        lines += wrapped(f"Safe days ({level}): {spans}.")
    elif answer.best_day:
        day, chance = answer.best_day
        lines += wrapped(
            f"No day reaches {answer.confidence:.0%} here; the best is {date_text(day)} with "
            f"{chance:.0%}."
        )
    else:
        lines += wrapped("No day of the year is safe for this work here.")
    spans = " · ".join(
        span(window, answer.on)
        for window in answer.marginal_windows
        if all(
            (window.opens, window.closes) != (safe.opens, safe.closes) for safe in answer.windows
        )
    )
    if spans:
        lines += wrapped(f"With the marginal days around them (from 50%): {spans}.")
    return lines


def _shared(answer: Answer) -> list[str]:
    species = answer.species
    lines = ["Where on the tree", *wrapped(species.dominance.text, "  ")]
    lines += ["", "Recovery", *wrapped(species.recovery.text, "  ")]
    lines += _disagreements(answer.disagreements)
    lines += ["", "Cautions"]
    lines += [line for item in answer.cautions for line in wrapped(item.text, "  - ", "    ")]
    lines += ["", "What this rests on", *wrapped(answer.evidence, "  ")]
    return lines


def _disagreements(items: tuple[Disagreement, ...]) -> list[str]:
    """Both sides of each question, and what this library does."""
    lines = []
    for item in items:
        text = f"{item.question} One side: {item.one_side}. The other: {item.other_side}. "
        lines += ["", "Authorities differ", *wrapped(text + item.handling, "  ")]
    return lines


def _table(answers: list[Answer]) -> list[str]:
    on = answers[0].on
    lines = [f"{date_text(on)}; a day counts as safe from {answers[0].confidence:.0%}", ""]
    name_width = max(len(answer.species.common_name) for answer in answers)
    for answer in answers:
        if answer.next_window:
            when = span(answer.next_window, on)
        elif answer.best_day:
            when = f"never; best {short_day(answer.best_day[0])}, {answer.best_day[1]:.0%}"
        else:
            when = "never here"
        veto = " (veto)" if answer.vetoes else ""
        line = (
            f"{answer.species.common_name:<{name_width}}  {answer.work:<7}  "
            f"{VERDICTS[answer.verdict].lower():<10}  {answer.chance:>4.0%}  {when}{veto}"
        )
        lines += wrapped(line, "", "    ")
    return [*lines, "", "Ask for one species to see why, how much, where, and the cautions."]


def events_text(outlooks: list[Outlook], last: int = 4) -> str:
    """Usual dates and the last seasons of each taxon."""
    first = outlooks[0]
    lines = place_lines(first.site, first.record)
    for outlook in outlooks:
        species = outlook.species
        lines += ["", f"{species.common_name} ({species.scientific_name})"]
        seasons = seasons_json(outlook, last)
        header = "".join(f"{season['season']:>8}" for season in seasons)
        lines.append(f"  {'':<22}{'usual (8 years in 10)':<24}{header}".rstrip())
        for event in outlook.event_names():
            usual = outlook.usual(event)
            if usual:
                early, median, late = (short_day(day) for day in usual.dates(2023))
                text = f"{median} ({early}-{late})"
            else:
                text = "-"
            cells = "".join(
                f"{_season_cell(season['events'][event]['date'], outlook):>8}" for season in seasons
            )
            lines.append(f"  {EVENT_LABELS[event]:<22}{text:<24}{cells}".rstrip())
        missing = [
            f"{EVENT_LABELS[event]}: {outlook.events.why_absent(event)}"
            for event in outlook.event_names()
            if outlook.usual(event) is None
        ]
        lines += [line for text in missing for line in wrapped(text, "  ", "    ")]
    return "\n".join(lines) + "\n"


def _season_cell(date: str | None, outlook: Outlook) -> str:
    """A season's date, marked ~ where it lies ahead of the record."""
    if date is None:
        return "-"
    day = np.datetime64(date)
    return f"{'~' if day > outlook.record.last else ''}{short_day(day)}"


def species_text(species: Species) -> str:
    """What the program knows about a taxon and where from."""
    lines = [
        f"{species.common_name} ({species.scientific_name}), {species.habit.replace('_', ' ')}"
    ]
    if species.other_names:
        lines.append(f"Also: {', '.join(species.other_names)}")
    bleeding = species.bleeding
    how = BLEEDS[bleeding.mechanism]
    lines += wrapped(
        f"Bleeding: {bleeding.strength}{how} [{bleeding.evidence}: {bleeding.source}]", "", "  "
    )
    lines += ["", "Events"]
    for name, model in species.events.items():
        error = f"±{model.spread_days:.0f} d between seasons"
        if model.site_spread_days:
            error += f", ±{model.site_spread_days:.0f} d between sites"
        lines += wrapped(
            f"{EVENT_LABELS[name]}: {_model_text(model)}; {error} "
            f"[{model.evidence}: {model.source}]",
            "  ",
            "    ",
        )
    for kind, rules in species.work.items():
        lines += ["", WORK_LABELS[kind].capitalize()]
        if not rules:
            lines.append("  none")
        for rule in rules:
            needs = f" ({'; '.join(need.text for need in rule.only_if)})" if rule.only_if else ""
            avoid = f", avoiding {', '.join(rule.avoid)}".replace("_", " ") if rule.avoid else ""
            lines += wrapped(
                f"from {_point(rule.opens.event, rule.opens.offset_days)} to "
                f"{_point(rule.closes.event, rule.closes.offset_days)}{avoid}{needs}: {rule.why} "
                f"[{rule.evidence}: {rule.source}]",
                "  ",
                "    ",
            )
    removal = species.removal
    lines += ["", "How much at once"]
    lines += wrapped(
        f"{removal.vigorous:.0%} vigorous, {removal.established:.0%} established, "
        f"{removal.weak:.0%} weak, {removal.text} [{removal.basis}: {removal.source}]",
        "  ",
    )
    dominance, recovery = species.dominance, species.recovery
    lines += [
        "",
        "Where",
        *wrapped(f"{dominance.text} [{dominance.evidence}: {dominance.source}]", "  "),
    ]
    lines += [
        "",
        "Recovery",
        *wrapped(f"{recovery.text} [{recovery.evidence}: {recovery.source}]", "  "),
    ]
    if species.root_zone:
        roots = species.root_zone
        lines += ["", "Roots"]
        lines += wrapped(f"{roots.coldest_c:g} °C [{roots.evidence}: {roots.source}]", "  ")
    lines += _disagreements(species.disagreements)
    lines += ["", "Cautions"]
    for caution in species.cautions:
        lines += wrapped(f"{caution.text} [{caution.source}]", "  - ", "    ")
    return "\n".join(lines) + "\n"


BLEEDS = {
    "none": "",
    "freeze_thaw": ", on thawing days after freezing nights",
    "root_pressure": ", by root pressure as the soil warms",
}
MODEL_TEXTS = {
    "chill": "{:.0f} chill portions since the season began",
    "forcing": "{:.1f} units of warmth weighted by day length since late winter",
    "growth": "{:.0f} warm days since mid March or bud break",
    "solstice": "{:.0f} days after midsummer",
    "cooling": "{:.0f} degrees of cooling below 15 °C once days are shorter than 13.5 h",
    "sap_rise": "first spell after the winter solstice",
    "sap_peak": "middle of the strongest fortnight before the buds break",
    "cold_fortnight": "two weeks below 5 °C after growth stops",
    "warm_start": "ten-day mean of the nights reaches 15 °C",
    "warm_end": "ten-day mean of the nights falls below 15 °C",
}


def _model_text(model: EventModel) -> str:
    """How an event is dated, in words."""
    if model.model == "lag":
        return f"{model.requirement:.0f} days after {EVENT_LABELS[model.after]}"
    if model.model == "share":
        return f"{model.requirement:.0%} of the way to {EVENT_LABELS[model.after]}"
    return MODEL_TEXTS[model.model].format(model.requirement)


def _point(event: str, offset_days: int) -> str:
    label = {
        "heavy_limit": "last safe day for heavy cuts",
        "light_limit": "last safe day for light work",
    }.get(event) or EVENT_LABELS[event]
    weeks = abs(offset_days) // 7
    if not weeks:
        return label
    return (
        f"{weeks} week{'s' if weeks > 1 else ''} {'after' if offset_days > 0 else 'before'} {label}"
    )
