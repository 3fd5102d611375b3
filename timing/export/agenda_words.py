"""Sentences about tasks and plans that text, JSON and calendar files share."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from timing.agenda import Agenda
from timing.agenda_marginal import Marginal
from timing.agenda_notices import date_text
from timing.agenda_tasks import Subject, Task
from timing.season import year_of
from timing.species.hazards import authority_text
from timing.weather_vetoes import likely_weather
from timing.wording import MONTHS, WORK_LABELS, few_seasons_text, level_text, percent
from timing.work_plan import Planned

SOON_DAYS = 180  # a day so near is named, a later one by its month
ORDER_RULE = (
    "First in each group stands what loses most by waiting: days from closing to the next opening, "
    "for each day left."
)
LOOK_FIRST = (
    "Look at the tree before you cut. 'sapdial ask --tree NAME' says why, how much, where on the "
    "tree, and the cautions."
)
NO_WORK = "No heavy cut is offered to a weak tree, nor to another before it has recovered."
REST_RULE = (
    "One kind of work a tree and day. Other work keeps four weeks from the other days that are "
    "safe for a heavy cut of the tree; where it cannot, the tree gets one of the two (common "
    "practice, no source)."
)
WORTH_RULE = (
    "The plan has the highest total of chance × (1 + wait / 365), the wait being the days from the "
    "closing of a window to its next opening, a year at most."
)


def work_text(work: str) -> str:
    """A kind of work with a capital."""
    return WORK_LABELS[work].capitalize()


def who_text(subject: Subject) -> str:
    """A tree with its taxon; a taxon by itself."""
    taxon = subject.outlook.species.common_name
    return f"{subject.name} ({taxon})" if subject.is_tree else taxon


def next_chance(reopens: np.datetime64 | None, on: np.datetime64) -> str:
    """When a kind of work is safe again once its window has closed."""
    if reopens is None:
        return "no other chance within a year after"
    near = _near(reopens, on)
    return f"opens again {near}" if near else f"next chance {_month(reopens)}"


def _near(day: np.datetime64, on: np.datetime64) -> str:
    """A day within half a year; "" for a later one, whose date is still vague."""
    return date_text(day, on) if day <= on + SOON_DAYS else ""


def _month(day: np.datetime64) -> str:
    month = int(day.astype("datetime64[M]").astype(np.int64)) % 12
    return f"{MONTHS[month]} {year_of(day)}"


def headline(task: Task, on: np.datetime64) -> str:
    """A task's dates and what waiting costs, without the tree."""
    label = work_text(task.work)
    if task.all_year:
        return f"{label}: open all year"
    closes = date_text(task.closes, on)
    if task.group == "opening":
        when = f"from {date_text(task.opens, on)} until {closes}"
    else:
        left = "last day" if task.days_left == 1 else f"{task.days_left} days left"
        when = f"until {closes} ({left})"
    return f"{label} {when}; {next_chance(task.reopens, on)}"


def details(task: Task, on: np.datetime64) -> tuple[str, ...]:
    """How sure a task's days are, and on what conditions."""
    lines = []
    day, chance = task.best_day
    best = f"best {date_text(day, on)} ({percent(chance)})"
    if task.group == "opening":
        sure = f"chance {percent(task.chance_opening)} on the first day"
        if task.likely_from is not None and task.likely_from <= on:
            sure += f", {percent(task.chance_today)} already today"
        elif task.likely_from is not None:
            sure += f", better than even from {date_text(task.likely_from, on)}"
        lines.append(f"{sure}; {best}")
    else:
        sure = f"chance {percent(task.chance_today)} today"
        lines.append(sure if day == on else f"{sure}; {best}")
    if task.done is not None:
        lines.append(f"noted as done on {date_text(task.done, on)}")
    lines += [f"condition: {text}" for text in task.conditions]
    return tuple(lines)


def marginal_text(item: Marginal, on: np.datetime64) -> str:
    """Marginal days of work that has no safe ones, without the tree."""
    day, chance = item.best_day
    closes = date_text(item.closes, on)
    when = f"until {closes}" if item.opens == on else f"{date_text(item.opens, on)} to {closes}"
    best = f"best {date_text(day, on)} ({percent(chance)})"
    return f"{work_text(item.work)} {when}; {best}"


def marginal_rule(agenda: Agenda) -> str:
    """What marginal days are."""
    return (
        f"No day of the coming year reaches {level_text(agenda.confidence)} for this work; these "
        "lie at one half or above."
    )


def planned_text(item: Planned, on: np.datetime64) -> str:
    """Why a job stands on its day."""
    safe = len(item.job.chances)
    choice = "the only safe day of these" if safe == 1 else f"one of {safe} safe days"
    later = "open all year" if item.job.wait_days == 0 else next_chance(item.job.reopens, on)
    outlook = item.job.subject.outlook
    likely = likely_weather(outlook, outlook.odds[item.job.work], item.day)
    weather = "".join(f"; {kind} is likely: {seasons}" for kind, seasons in likely.items())
    return f"chance {percent(item.chance)}, {choice}; {later}{weather}"


def hazards_text(subjects: Iterable[Subject]) -> str:
    """Which hazards closed days, and who has the last word; "" where there are none.

    Those noted for a site are named beside the site.
    """
    found = [(hazard, s.outlook.site) for s in subjects for hazard in s.outlook.hazards]
    labels = dict.fromkeys(
        hazard.label for hazard, site in found if hazard.name not in site.hazards
    )
    if not found:
        return ""
    named = f"Closed seasons counted in for their hosts: {', '.join(labels)}. " if labels else ""
    return named + authority_text()


def listed_names(subjects: Iterable[Subject], with_site: bool) -> str:
    """Trees by taxon and, where there are several sites, by site."""
    groups: dict[tuple[str, str, bool], list[str]] = {}
    for subject in subjects:
        key = subject.outlook.species.common_name, subject.site, subject.is_tree
        groups.setdefault(key, []).append(subject.name)
    parts = []
    for (taxon, site, is_tree), names in groups.items():
        text = f"{', '.join(names)} ({taxon})" if is_tree else taxon
        parts.append(f"{text} at {site}" if with_site else text)
    return "; ".join(parts)


def few_text(agenda: Agenda, site: str) -> str:
    """That the odds of a site rest on few seasons; empty where they do not."""
    held = [subject.outlook.seasons for subject in agenda.subjects if subject.site == site]
    return few_seasons_text(min(held)) if held else ""
