"""An agenda as complete, stable JSON: all that the text says, a task for every tree."""

from __future__ import annotations

from timing.agenda import Agenda
from timing.agenda_marginal import Marginal
from timing.agenda_notices import Notice
from timing.agenda_tasks import AHEAD_DAYS, CLOSING_DAYS, GROUPS, Subject, Task
from timing.export import agenda_words as words
from timing.export.as_json import Json, day_json, record_json, site_json
from timing.running import reaches
from timing.wording import CAUTIONS, WORK_LABELS
from timing.work_plan import Job, WorkPlan


def agenda_json(agenda: Agenda, plan: WorkPlan | None = None) -> Json:
    """Tasks in their groups, notices, and the plan where days were given."""
    return {
        "schema": "sapdial-agenda-1",
        "on": str(agenda.on),
        "confidence": agenda.confidence,
        "closing_days": CLOSING_DAYS,
        "ahead_days": AHEAD_DAYS,
        "sites": [
            {
                "site": basis.name,
                "place": site_json(basis.place),
                "record": record_json(basis.record),
                "tells_of_this_season": reaches(basis.record.last, agenda.on),
                "few_seasons": words.few_text(agenda, basis.name) or None,
            }
            for basis in agenda.sites
        ],
        "trees": [_subject(subject) for subject in agenda.subjects],
        **{group: [_task(task, agenda) for task in agenda.of(group)] for group in GROUPS},
        "marginal": [_marginal(item, agenda) for item in agenda.marginal],
        "vetoes": [
            {
                **_whose(item.subject),
                "work": item.work,
                "work_name": WORK_LABELS[item.work],
                "chance_today": round(item.chance, 3),
                "topic": veto.topic,
                "text": veto.text,
                "brief": veto.brief or None,
            }
            for item in agenda.barred
            for veto in item.vetoes
        ],
        "look": [_notice(notice) for notice in agenda.notices],
        "not_answered": [
            {"site": item.site, "names": list(item.names), "reason": item.reason}
            for item in agenda.unanswered
        ],
        "plan": None if plan is None else _plan(plan, agenda),
        "hazards": words.hazards_text(agenda.subjects) or None,
        "rules": [words.ORDER_RULE, words.NO_WORK],
        "cautions": [words.LOOK_FIRST, *CAUTIONS],
    }


def _subject(subject: Subject) -> Json:
    """Whom an entry is about; without a tree it is the taxon at the site."""
    return {
        "tree": subject.name if subject.is_tree else None,
        "species": subject.outlook.species.slug,
        "common_name": subject.outlook.species.common_name,
        "site": subject.site,
        "condition": subject.condition,
        "seasons": subject.outlook.seasons,
    }


def _task(task: Task, agenda: Agenda) -> Json:
    day, chance = task.best_day
    return {
        **_whose(task.subject),
        "work": task.work,
        "opens": str(task.opens),
        "closes": str(task.closes),
        "all_year": task.all_year,
        "days_left": task.days_left,
        "chance_today": round(task.chance_today, 3),
        "chance_opening": round(task.chance_opening, 3),
        "chance_min": round(task.chance_min, 3),
        "likely_from": day_json(task.likely_from),
        "best_day": {"date": str(day), "chance": round(chance, 3)},
        "reopens": day_json(task.reopens),
        "wait_days": task.wait_days,
        "loss": round(task.loss, 3),
        "done": day_json(task.done),
        "conditions": list(task.conditions),
        "origin": dict(zip(("event", "season", "before"), task.origin, strict=True)),
        "text": words.headline(task, agenda.on),
        "details": list(words.details(task, agenda.on)),
    }


def _marginal(item: Marginal, agenda: Agenda) -> Json:
    day, chance = item.best_day
    return {
        **_whose(item.subject),
        "work": item.work,
        "opens": str(item.opens),
        "closes": str(item.closes),
        "best_day": {"date": str(day), "chance": round(chance, 3)},
        "text": words.marginal_text(item, agenda.on),
    }


def _notice(notice: Notice) -> Json:
    return {
        "topic": notice.topic,
        "name": notice.name or None,
        "species": notice.species or None,
        "site": notice.site,
        "due": str(notice.due),
        "text": notice.text,
        "command": notice.command or None,
    }


def _plan(plan: WorkPlan, agenda: Agenda) -> Json:
    return {
        "per_day": plan.per_day,
        "worth": round(plan.worth, 6),
        "days": [
            {
                "date": str(day),
                "work": [
                    {
                        **_job(item.job),
                        "chance": round(item.chance, 3),
                        "reason": words.planned_text(item, agenda.on),
                    }
                    for item in plan.on(day)
                ],
            }
            for day in plan.days
        ],
        "left_over": [{**_job(rest.job), "reason": rest.reason} for rest in plan.left],
        "no_safe_day": [{**_job(rest.job), "reason": rest.reason} for rest in plan.unsafe],
        "nothing_for": [_whose(subject) for subject in plan.idle],
        "rules": [words.WORTH_RULE, words.REST_RULE],
    }


def _job(job: Job) -> Json:
    day, chance = job.best
    return {
        **_whose(job.subject),
        "work": job.work,
        "safe_days": [str(day) for day in job.chances],
        "best": {"date": str(day), "chance": round(chance, 3)},
        "reopens": day_json(job.reopens),
        "wait_days": job.wait_days,
        "worth": round(job.worth, 4),
    }


def _whose(subject: Subject) -> Json:
    return {
        "tree": subject.name if subject.is_tree else None,
        "species": subject.outlook.species.slug,
        "site": subject.site,
    }
