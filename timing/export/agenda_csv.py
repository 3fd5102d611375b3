"""An agenda, or a plan of days, as a table: one row a window, or one a piece of work planned."""

from __future__ import annotations

from timing.agenda import Agenda
from timing.agenda_tasks import Subject
from timing.export.csv_table import csv_text
from timing.work_plan import WorkPlan

WHOSE = ("tree", "species", "site", "work")
WINDOWS = (
    *("group", *WHOSE, "opens", "closes", "days_left", "chance_today", "chance_min", "best_date"),
    *("best_chance", "reopens", "done", "conditions", "attribution"),
)
PLANNED = ("date", *WHOSE, "chance", "attribution")


def agenda_csv(agenda: Agenda, plan: WorkPlan | None = None) -> str:
    """Windows under their headings, marginal ones last; the days planned where there is a plan."""
    if plan is not None:
        rows = [
            (
                *(day, *_whose(item.job.subject), item.job.work, round(item.chance, 3)),
                _credit(item.job.subject),
            )
            for day in plan.days
            for item in plan.on(day)
        ]
        return csv_text(PLANNED, rows)
    windows: list[tuple[object, ...]] = [
        (
            task.group,
            *_whose(task.subject),
            task.work,
            task.opens,
            task.closes,
            task.days_left,
            round(task.chance_today, 3),
            round(task.chance_min, 3),
            task.best_day[0],
            round(task.best_day[1], 3),
            task.reopens,
            task.done,
            "; ".join(task.conditions),
            _credit(task.subject),
        )
        for task in agenda.tasks
    ]
    for item in agenda.marginal:
        day, chance = item.best_day
        span = (item.opens, item.closes, None, None, None)
        windows.append(
            (
                *("marginal", *_whose(item.subject), item.work, *span, day, round(chance, 3)),
                *(None, None, "", _credit(item.subject)),
            )
        )
    return csv_text(WINDOWS, windows)


def _whose(subject: Subject) -> tuple[str, str, str]:
    name = subject.name if subject.is_tree else ""
    return name, subject.outlook.species.slug, subject.site


def _credit(subject: Subject) -> str:
    return subject.outlook.site.attribution
