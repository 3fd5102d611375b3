"""An agenda, or a plan of work, as entries of a calendar file."""

from __future__ import annotations

import numpy as np

from timing.agenda import Agenda
from timing.agenda_notices import date_text
from timing.agenda_tasks import Subject, Task
from timing.export import agenda_words as words
from timing.export.icalendar_file import CalendarEntry, alarm_day, as_date, entry_uid
from timing.wording import CAUTIONS, level_text
from timing.work_plan import Planned, WorkPlan


def agenda_entries(agenda: Agenda, alarm_days: int | None = None) -> list[CalendarEntry]:
    """One entry a window that is open or opens soon, from its first to its last day.

    Parameters
    ----------
    agenda : the agenda.
    alarm_days : a reminder so many days before the last day, where that is still to come.
    """
    return [_window_entry(task, agenda, alarm_days) for task in agenda.tasks]


def plan_entries(
    agenda: Agenda, plan: WorkPlan, alarm_days: int | None = None
) -> list[CalendarEntry]:
    """One entry a job of the plan, on its day; a reminder so many days before."""
    return [_plan_entry(item, agenda, alarm_days) for item in plan.planned]


def _window_entry(task: Task, agenda: Agenda, alarm_days: int | None) -> CalendarEntry:
    subject, on = task.subject, agenda.on
    text = (
        f"Safe days {date_text(task.opens, on)} to {date_text(task.closes, on)}, at least "
        f"{level_text(agenda.confidence)} on every day. "
        + "".join(f"{line[0].upper()}{line[1:]}. " for line in words.details(task, on))
        + f"After that: {words.next_chance(task.reopens, on)}. "
    )
    if task.all_year:
        text = f"Safe on every day of the year ahead, at least {level_text(agenda.confidence)}. "
    return CalendarEntry(
        uid=entry_uid("window", *_whose(subject), task.work, *task.origin),
        first=as_date(task.opens),
        last=as_date(task.closes),
        summary=_summary(task.work, subject),
        description=text + _basis(subject, on),
        categories=(words.work_text(task.work),),
        alarm=alarm_day(task.closes, None if task.all_year else alarm_days, on),
    )


def _plan_entry(item: Planned, agenda: Agenda, alarm_days: int | None) -> CalendarEntry:
    subject, work = item.job.subject, item.job.work
    text = words.planned_text(item, agenda.on)
    return CalendarEntry(
        uid=entry_uid("plan", *_whose(subject), work, *item.origin),
        first=as_date(item.day),
        last=as_date(item.day),
        summary=_summary(work, subject),
        description=f"{text}. {_basis(subject, agenda.on)}",
        categories=(words.work_text(work), "Plan"),
        alarm=alarm_day(item.day, alarm_days, agenda.on),
    )


def _summary(work: str, subject: Subject) -> str:
    return f"{words.work_text(work)}: {words.who_text(subject)}"


def _basis(subject: Subject, on: np.datetime64) -> str:
    """What the odds rest on, and the cautions that go with every cut."""
    weather = "invented weather" if subject.outlook.site.invented else "temperatures"
    return (
        f"Odds of {on} from {subject.outlook.seasons} seasons of {weather} at {subject.site}. "
        f"{words.LOOK_FIRST} {' '.join(CAUTIONS)}"
    )


def _whose(subject: Subject) -> tuple[str, str]:
    """What a subject is known by: a tree keeps its name when it moves."""
    if subject.is_tree:
        return "tree", subject.name
    return f"taxon at {subject.site}", subject.outlook.species.slug
