"""An agenda, or a plan of work, in plain words for a terminal 80 columns wide."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import TypeVar

import numpy as np

from timing.agenda import Agenda
from timing.agenda_marginal import Marginal
from timing.agenda_notices import Notice, date_text
from timing.agenda_tasks import AHEAD_DAYS, CLOSING_DAYS, GROUPS, Barred, Group, Subject, Task
from timing.export import agenda_words as words
from timing.export.answer_text import place_lines, wrapped
from timing.running import reaches
from timing.wording import CAUTIONS, NO_RECORD, day_text, level_text
from timing.work_plan import LeftOver, WorkPlan

T = TypeVar("T")

HEADINGS: dict[Group, str] = {
    "closing": f"CLOSING WITHIN {CLOSING_DAYS // 7} WEEKS",
    "open": "OPEN NOW",
    "opening": f"OPENING WITHIN {AHEAD_DAYS // 7} WEEKS",
}
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def agenda_text(agenda: Agenda) -> str:
    """Write an agenda as text; no line is longer than eighty characters.

    Trees of one taxon whose work has the same dates share an entry.
    """
    lines = _heading(agenda, "Agenda for")
    for group in GROUPS:
        lines += ["", HEADINGS[group]]
        for tasks in _alike(agenda.of(group), lambda task: _task_key(task, agenda)):
            lines += _task(tasks, agenda)
        if not agenda.of(group):
            lines.append("  nothing")
    if agenda.marginal:
        lines += ["", f"MARGINAL NOW OR WITHIN {AHEAD_DAYS // 7} WEEKS, NOT SAFE"]
        lines += wrapped(words.marginal_rule(agenda), "  ")
    for days in _alike(agenda.marginal, lambda item: _marginal_key(item, agenda)):
        lines += wrapped(words.marginal_text(days[0], agenda.on), "  ", "      ")
        names = words.listed_names((item.subject for item in days), _several(agenda))
        lines += wrapped(names, "      ")
    held = agenda.held_back()
    if held:
        lines += ["", "HELD BACK"]
    for items in _alike(held, _held_key):
        whom = {(item.subject.site, item.subject.name): item.subject for item in items}
        names = words.listed_names(whom.values(), _several(agenda))
        kinds = list(dict.fromkeys(words.work_text(item.work) for item in items))
        work = ", ".join([kinds[0], *(kind[0].lower() + kind[1:] for kind in kinds[1:])])
        lines += wrapped(f"{work}: {names}", "  ", "      ")
        lines += [line for text in _why_held(items[0]) for line in wrapped(text, "      ")]
    lines += ["", "LOOK AT THIS TREE"]
    for notices in _alike(agenda.notices, lambda item: (item.topic, item.text, item.command)):
        lines += _notice(notices, agenda)
    if not agenda.notices:
        lines.append("  nothing")
    lines += _unanswered(agenda)
    return "\n".join([*lines, "", *_foot(agenda, words.ORDER_RULE)]) + "\n"


def plan_text(agenda: Agenda, plan: WorkPlan) -> str:
    """Write a plan as text; no line is longer than eighty characters."""
    lines = _heading(agenda, f"Plan, at most {plan.per_day} trees a day, made on")
    for day in plan.days:
        planned = plan.on(day)
        weekday = WEEKDAYS[(int(day.astype(np.int64)) + 3) % 7]  # 1 January 1970: a Thursday
        count = f"{len(planned)} {'tree' if len(planned) == 1 else 'trees'}"
        lines += ["", f"{weekday} {date_text(day, agenda.on)}, {count}"]
        for item in planned:
            text = f"{words.work_text(item.job.work)}: {_who(item.job.subject, agenda)}"
            lines += wrapped(text, "  ", "      ")
            lines += wrapped(words.planned_text(item, agenda.on), "      ")
    for heading, rest in (("LEFT OVER", plan.left), ("NO SAFE DAY", plan.unsafe)):
        if rest:
            lines += ["", heading]
        for items in _alike(rest, _left_key):
            names = words.listed_names((item.job.subject for item in items), _several(agenda))
            lines += wrapped(f"{words.work_text(items[0].job.work)}: {names}", "  ", "      ")
            lines += wrapped(items[0].reason, "      ")
    if plan.idle:
        names = words.listed_names(plan.idle, _several(agenda))
        lines += ["", *wrapped(f"Nothing safe or marginal on these days: {names}.", "", "  ")]
    lines += _unanswered(agenda)
    return "\n".join([*lines, "", *_foot(agenda, words.WORTH_RULE, words.REST_RULE)]) + "\n"


def _heading(agenda: Agenda, title: str) -> list[str]:
    """Title, places and what the answers rest on."""
    count = len(agenda.subjects)
    what = "tree" if all(subject.is_tree for subject in agenda.subjects) else "entry"
    plural = {"tree": "trees", "entry": "entries"}[what]
    day = f"{day_text(agenda.on)} {str(agenda.on)[:4]}"
    lines = wrapped(f"{title} {day}: {count} {what if count == 1 else plural}")
    for basis in agenda.sites:
        lines += ["", *place_lines(basis.place, basis.record, closed_seasons=True)]
        if not reaches(basis.record.last, agenda.on):
            lines += wrapped(NO_RECORD)
        lines += wrapped(words.few_text(agenda, basis.name))
    gap = [""] if _several(agenda) else []
    return [*lines, *gap, f"A day counts as safe from {level_text(agenda.confidence)}."]


def _task(tasks: list[Task], agenda: Agenda) -> list[str]:
    task = tasks[0]
    names = words.listed_names((item.subject for item in tasks), _several(agenda))
    lines = wrapped(words.headline(task, agenda.on), "  ", "      ")
    lines += wrapped(names, "      ")
    return [
        *lines,
        *(line for text in words.details(task, agenda.on) for line in wrapped(text, "      ")),
    ]


def _task_key(task: Task, agenda: Agenda) -> Hashable:
    """What tasks that share an entry have in common."""
    return (
        *(words.headline(task, agenda.on), words.details(task, agenda.on)),
        *(task.subject.outlook.species.slug, task.subject.site, task.subject.is_tree),
    )


def _marginal_key(item: Marginal, agenda: Agenda) -> Hashable:
    """What marginal days that share an entry have in common."""
    return words.marginal_text(item, agenda.on), item.subject.site, item.subject.is_tree


def _notice(notices: list[Notice], agenda: Agenda) -> list[str]:
    first = notices[0]
    names = ", ".join(dict.fromkeys(item.name for item in notices if item.name))
    sites = ", ".join(dict.fromkeys(item.site for item in notices))
    who = f"{names} at {sites}" if names and _several(agenda) else names or sites
    lines = wrapped(f"{who}: {first.text}.", "  ", "      ")
    return [*lines, *(wrapped(first.command, "      ") if first.command else [])]


def _foot(agenda: Agenda, *rules: str) -> list[str]:
    """How the order came about, hazards that were counted in, and cautions."""
    hazards = words.hazards_text(agenda.subjects)
    return [
        *wrapped(" ".join((*rules, words.NO_WORK))),
        *(wrapped(hazards) if hazards else []),
        *wrapped(" ".join((words.LOOK_FIRST, *CAUTIONS))),
    ]


def _unanswered(agenda: Agenda) -> list[str]:
    if not agenda.unanswered:
        return []
    lines = ["", "NOT ANSWERED"]
    for item in agenda.unanswered:
        lines += wrapped(f"{', '.join(item.names)}: {item.reason}.", "  ", "      ")
    return lines


def _who(subject: Subject, agenda: Agenda) -> str:
    text = words.who_text(subject)
    return f"{text} at {subject.site}" if _several(agenda) else text


def _held_key(item: Barred) -> Hashable:
    """What work that shares an entry has in common; one tree's kinds of work share it as well."""
    subject = item.subject
    hazards = any(veto.topic == "hazard" for veto in item.vetoes)
    whose = subject.outlook.species.slug, subject.site, subject.is_tree
    return _why_held(item), whose, "" if hazards else item.work


def _why_held(item: Barred) -> tuple[str, ...]:
    return tuple(veto.brief or veto.text for veto in item.vetoes if veto.topic != "weather")


def _left_key(item: LeftOver) -> Hashable:
    """What jobs that share an entry have in common."""
    subject = item.job.subject
    return (
        *(item.job.work, item.reason),
        *(subject.outlook.species.slug, subject.site, subject.is_tree),
    )


def _several(agenda: Agenda) -> bool:
    """Whether a name needs its site beside it."""
    return len(agenda.sites) > 1


def _alike(items: Iterable[T], key: Callable[[T], Hashable]) -> list[list[T]]:
    """Items in their order, those that share a key with the first of them."""
    groups: dict[Hashable, list[T]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return list(groups.values())
