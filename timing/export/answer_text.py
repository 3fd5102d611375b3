"""Answers in plain words, for a terminal 80 columns wide."""

from __future__ import annotations

import textwrap

import numpy as np

from timing.advice import Answer, Verdict
from timing.answers import Outlook
from timing.export.as_json import seasons_json
from timing.export.hazard_text import closed_sections
from timing.reasons import not_up_to_date
from timing.site import Site
from timing.species.hazards import authority_text
from timing.species.model import Disagreement
from timing.temperature import TemperatureRecord
from timing.windows import Window
from timing.wording import (
    EVENT_LABELS,
    NEVER,
    WORK_LABELS,
    beside_text,
    credit_text,
    day_text,
    few_seasons_text,
    level_text,
    noted_hazards_text,
    percent,
    short_day,
)

WIDTH = 80
SEASON_NOTE = (
    "A column is a season, named for the year of its spring; dates in the winters at its ends, and "
    "in the south in the autumn after it, can fall in the year before or after. ~ is ahead of the "
    "record, - is no date."
)
VERDICTS: dict[Verdict, str] = {
    "safe": "SAFE TODAY",
    "marginal": "MARGINAL",
    "not_safe": "NOT NOW",
}


def answers_text(answers: list[Answer], site: Site, record: TemperatureRecord) -> str:
    """The full answer for one taxon; one line each when several taxa were asked for."""
    few = few_seasons_text(min(answer.seasons for answer in answers))
    stale = not_up_to_date(record.last, answers[0].on)
    lines = [*place_lines(site, record, closed_seasons=True), *wrapped(stale), *wrapped(few), ""]
    if len({answer.species.slug for answer in answers}) == 1:
        for number, answer in enumerate(answers):
            last = number == len(answers) - 1
            lines += [*_full(answer), *(_shared(answers, site) if last else [])]
    else:
        lines += _table(answers)
    return "\n".join(lines).rstrip() + "\n"


def place_lines(
    site: Site, record: TemperatureRecord, *, closed_seasons: bool = False
) -> list[str]:
    """Where the answer holds and what it was read from.

    ``closed_seasons`` names the hazards noted for the site, where the answer obeys them.
    """
    north = f"{abs(site.latitude):.1f}° {'S' if site.latitude < 0 else 'N'}"
    east = f"{abs(site.longitude):.1f}° {'W' if site.longitude < 0 else 'E'}"
    height = f", {site.elevation_m:.0f} m" if site.elevation_m is not None else ""
    lines = wrapped(f"{site.name}, {north} {east}{height}")
    mended = ""
    if count := record.missing_days:
        mended = f"; {count} day{'' if count == 1 else 's'} missing, {record.repaired_days} mended"
        mended += beside_text(record)
    lines += wrapped(f"Temperatures from {record.first} to {record.last}{mended}", "", "  ")
    lines += wrapped(credit_text(site), "", "  ")
    if closed_seasons:
        lines += wrapped(noted_hazards_text(site), "", "  ")
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


def span(window: Window, on: np.datetime64, *, vetoed: bool = False) -> str:
    """A window in words; ``vetoed``: something forbids the work today."""
    closes = date_text(window.closes)
    if window.opens > on:
        return (
            f"{closes} only"
            if window.opens == window.closes
            else f"{date_text(window.opens)} to {closes}"
        )
    if vetoed:
        return f"once the veto ends, to {closes}"
    return "today only" if window.closes == on else f"now to {closes}"


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
        f"{percent(answer.chance)} (sampling range {low:.0%} to {high:.0%}, "
        f"{answer.seasons} seasons)."
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
            "Conditions",
            *(line for text in answer.conditions for line in wrapped(text, "  ")),
        ]
    return [*lines, ""]


def _when(answer: Answer) -> list[str]:
    level = f"at least {level_text(answer.confidence)} on every day"
    if answer.condition == "weak" and answer.work == "heavy":
        level += "; for this tree only once it has recovered"
    lines: list[str] = []
    barred = bool(answer.barred)
    if answer.windows:
        spans = " · ".join(span(item, answer.on, vetoed=barred) for item in answer.windows)
        lines += wrapped(f"Safe days ({level}): {spans}.")
    elif answer.best_day and answer.best_day[1] > NEVER:
        day, chance = answer.best_day
        lines += wrapped(
            f"No day reaches {level_text(answer.confidence)} here; the best is {date_text(day)} "
            f"with {percent(chance)}."
        )
    else:
        lines += wrapped("No day of the year is safe for this work here.")
    safe = {span(window, answer.on, vetoed=barred) for window in answer.windows}
    wider = [
        text
        for window in answer.marginal_windows
        if (text := span(window, answer.on, vetoed=barred)) not in safe
    ]
    if wider:
        name = "With the marginal days around them" if answer.windows else "Marginal days"
        lines += wrapped(f"{name} (from 50%): {' · '.join(wider)}.")
    return lines


def _shared(answers: list[Answer], site: Site) -> list[str]:
    answer = answers[-1]
    species = answer.species
    lines = []
    for heading, sentences in closed_sections(answers, site).items():
        lines.append(heading)
        lines += [line for text in sentences for line in wrapped(text, "  - ", "    ")]
        lines.append("")
    lines += ["Where on the tree", *wrapped(species.dominance.text, "  ")]
    lines += ["", "Recovery", *wrapped(species.recovery.text, "  ")]
    lines += _disagreements(answer.disagreements)
    lines += ["", "Cautions"]
    lines += [line for item in answer.cautions for line in wrapped(item.text, "  - ", "    ")]
    lines += ["", "What this rests on", *wrapped(answer.evidence, "  ")]
    return lines


def _disagreements(items: tuple[Disagreement, ...]) -> list[str]:
    """Both sides of each question, and what this library does."""
    lines = ["", "Authorities differ"] if items else []
    for item in items:
        text = f"{item.question} One side: {item.one_side}. The other: {item.other_side}. "
        lines += wrapped(text + item.handling, "  - ", "    ")
    return lines


def _table(answers: list[Answer]) -> list[str]:
    on = answers[0].on
    lines = [f"{date_text(on)}; a day counts as safe from {level_text(answers[0].confidence)}", ""]
    name_width = max(len(answer.species.common_name) for answer in answers)
    for answer in answers:
        if answer.next_window:
            when = _short_span(answer.next_window, on, bool(answer.barred))
        elif answer.best_day and answer.best_day[1] > NEVER:
            day, chance = answer.best_day
            never = "" if answer.barred else "none safe; "
            when = f"{never}best {short_day(day)}, {percent(chance)}"
        else:
            when = "no safe day here"
        veto = "veto; " if answer.vetoes else ""
        line = (
            f"{answer.species.common_name:<{name_width}}  {answer.work:<7}  "
            f"{VERDICTS[answer.verdict].lower():<10}  {percent(answer.chance):>4}  {veto}{when}"
        )
        lines += wrapped(line, "", "    ")
    lines += _table_vetoes(answers)
    named = dict.fromkeys(notice.hazard.label for item in answers for notice in item.hazards)
    if named:
        text = f"Closed seasons counted in for their hosts: {', '.join(named)}. {authority_text()}"
        lines += ["", *wrapped(text)]
    return [*lines, "", "Ask for one species to see why, how much, where, and the cautions."]


def _short_span(window: Window, on: np.datetime64, vetoed: bool) -> str:
    """A window in few words, for a line of the table."""
    closes = f"{short_day(window.closes)} {str(window.closes)[:4]}"
    if window.opens > on:
        if window.opens == window.closes:
            return f"{closes} only"
        year = (
            "" if str(window.opens)[:4] == str(window.closes)[:4] else f" {str(window.opens)[:4]}"
        )
        return f"{short_day(window.opens)}{year} to {closes}"
    if vetoed:
        return f"window to {closes}"
    return "today only" if window.closes == on else f"now to {closes}"


def _table_vetoes(answers: list[Answer]) -> list[str]:
    """What forbids work of the table today, each once with the taxa and the work it concerns."""
    kinds = list(dict.fromkeys(answer.work for answer in answers))
    names = {answer.species.slug: answer.species.common_name for answer in answers}
    found: dict[str, dict[str, list[str]]] = {}
    for answer in answers:
        for veto in answer.barred:
            whom = found.setdefault(veto.brief or veto.text, {})
            whom.setdefault(answer.species.slug, []).append(answer.work)
    lines = [""] if found else []
    for text, whom in found.items():
        alike: dict[tuple[str, ...], list[str]] = {}
        for slug, barred in whom.items():
            alike.setdefault(tuple(barred), []).append(names[slug])
        parts = []
        for works, taxa in alike.items():
            listed = "all of them" if len(taxa) == len(names) else ", ".join(taxa)
            parts.append(listed if len(works) == len(kinds) else f"{listed}: {', '.join(works)}")
        lines += wrapped(f"Veto ({'; '.join(parts)}): {text}.", "", "  ")
    return lines


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
    lines += ["", *wrapped(SEASON_NOTE)]
    return "\n".join(lines) + "\n"


def _season_cell(date: str | None, outlook: Outlook) -> str:
    """A season's date, marked ~ where it lies ahead of the record."""
    if date is None:
        return "-"
    day = np.datetime64(date)
    return f"{'~' if day > outlook.record.last else ''}{short_day(day)}"
