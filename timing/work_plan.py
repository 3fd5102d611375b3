"""The best plan of work for the days a grower has.

A job is one kind of work of one tree with at least one of the days safe. Done on a day it is worth

    chance of that day × (1 + wait / 365)

where the wait is that of the agenda: from the closing of its window to the next opening, 365 days
at most. A job that stays undone costs as long as its tree must wait. `timing.assignment` finds the
plan of the highest total worth; between plans of equal worth the earlier days win.

Rules between the jobs of one tree (common practice, no source):

* one kind of work a tree and day, so never heavy work and other work together;
* four weeks between a heavy cut and other work. Other work therefore takes no day that lies less
  than four weeks from another day safe for a heavy cut of that tree; work that has only such days
  shares one place with the heavy cut, and the plan holds whichever is worth most. A heavy cut on
  record closes the four weeks after it to other work.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from timing.agenda_notices import date_text, weather_vetoes
from timing.agenda_tasks import (
    Asked,
    Subject,
    days_between,
    last_done,
    origin,
    waiting,
)
from timing.assignment import Claim, assign
from timing.errors import UsageError
from timing.recovery import REST_DAYS
from timing.season import CYCLE_DAYS
from timing.species.model import WORK_KINDS, WorkKind
from timing.windows import MARGINAL
from timing.wording import WORK_LABELS, percent

PER_DAY = 6
FINEST = 1_000_000  # worths are whole millionths


@dataclass(frozen=True)
class Job:
    """One kind of work of one tree on the days asked about.

    Parameters
    ----------
    subject, work : whose, and what.
    chances : day → chance, of the safe days that the plan may use.
    reopens, wait_days : next opening of the window that holds its last usable day, or None within
        a year; days from closing to that, 365 at most.
    best : the day with the highest chance of all the days, and that chance.
    shares : whether it shares one place with a heavy cut of the tree.
    barred : why the plan may use none of its days, or "".
    """

    subject: Subject
    work: WorkKind
    chances: dict[np.datetime64, float]
    reopens: np.datetime64 | None
    wait_days: int
    best: tuple[np.datetime64, float]
    shares: bool = False
    barred: str = ""

    @property
    def worth(self) -> float:
        """What the job is worth at a chance of one, from 1 to 2."""
        return 1 + self.wait_days / CYCLE_DAYS


@dataclass(frozen=True)
class Planned:
    """A job on its day, and what the window of the day is known by."""

    day: np.datetime64
    job: Job
    origin: tuple[str, int, int]

    @property
    def chance(self) -> float:
        """Chance that the day is safe for it."""
        return self.job.chances[self.day]


@dataclass(frozen=True)
class LeftOver:
    """A job that is not in the plan, and why."""

    job: Job
    reason: str


@dataclass(frozen=True)
class WorkPlan:
    """A plan for some days.

    Parameters
    ----------
    days, per_day : the days, in order, and how many trees one holds.
    planned : by day, then by name.
    left : jobs with a safe day that are not in the plan.
    unsafe : jobs that no day is safe for, though one is marginal.
    idle : trees that have neither a safe nor a marginal day among these.
    """

    days: tuple[np.datetime64, ...]
    per_day: int
    planned: tuple[Planned, ...]
    left: tuple[LeftOver, ...]
    unsafe: tuple[LeftOver, ...]
    idle: tuple[Subject, ...]

    def on(self, day: np.datetime64) -> tuple[Planned, ...]:
        """What is planned for a day."""
        return tuple(item for item in self.planned if item.day == day)

    @property
    def worth(self) -> float:
        """Total worth of what is planned."""
        return sum(item.chance * item.job.worth for item in self.planned)


def plan(
    subjects: Iterable[Subject],
    days: Iterable[np.datetime64],
    asked: Asked,
    *,
    per_day: int = PER_DAY,
) -> WorkPlan:
    """Distribute the work of trees over some days.

    Parameters
    ----------
    subjects : the trees.
    days : days from today to a year ahead, in any order.
    asked : today, the confidence and the answers.
    per_day : how many trees one day holds.

    Raises
    ------
    UsageError : a day is past or more than a year ahead, or there is none.
    """
    dates = _checked(days, asked.on)
    subjects = tuple(subjects)
    jobs, idle = [], []
    for subject in subjects:
        own = _jobs(subject, dates, asked)
        jobs += own
        if not own:
            idle.append(subject)
    chosen = _assigned([job for job in jobs if job.chances], dates, per_day)
    planned = [
        Planned(day, job, origin(job.subject.outlook, job.work, day, asked.confidence))
        for job, day in chosen
        if day is not None
    ]
    planned.sort(key=lambda item: (item.day, item.job.subject.name.casefold()))
    full = {day for day in dates if sum(item.day == day for item in planned) >= per_day}
    done = {id(item.job) for item in planned}
    rest = [
        LeftOver(job, _why(job, planned, full, asked.on)) for job in jobs if id(job) not in done
    ]
    left, unsafe = (
        tuple(item for item in rest if bool(item.job.chances or item.job.barred) is safe)
        for safe in (True, False)
    )
    return WorkPlan(dates, per_day, tuple(planned), left, unsafe, tuple(idle))


def _checked(days: Iterable[np.datetime64], on: np.datetime64) -> tuple[np.datetime64, ...]:
    dates = tuple(sorted(set(days)))
    if not dates:
        raise UsageError("--days needs at least one day, such as 2026-06-06")
    if dates[0] < on:
        raise UsageError(f"--days {dates[0]} is past; give days from {on} on")
    if dates[-1] >= on + CYCLE_DAYS:
        raise UsageError(f"--days {dates[-1]} is too far ahead; a plan reaches a year from {on}")
    return dates


def _jobs(subject: Subject, dates: tuple[np.datetime64, ...], asked: Asked) -> list[Job]:
    """A tree's jobs with a safe or marginal day among the dates."""
    found = {}
    for work in WORK_KINDS:
        if not (work == "heavy" and subject.weak):
            job = _job(subject, work, dates, asked)
            if job is not None:
                found[work] = job
    heavy = found.get("heavy")
    if heavy is None or not heavy.chances:
        return list(found.values())
    shared = False
    for work, job in found.items():
        clear = {
            day: chance
            for day, chance in job.chances.items()
            if all(cut == day or abs(days_between(cut, day)) >= REST_DAYS for cut in heavy.chances)
        }
        if work == "heavy" or len(clear) == len(job.chances):
            continue
        found[work] = replace(job, chances=clear) if clear else replace(job, shares=True)
        shared |= not clear
    if shared:
        found["heavy"] = replace(heavy, shares=True)
    return list(found.values())


def _job(
    subject: Subject, work: WorkKind, dates: tuple[np.datetime64, ...], asked: Asked
) -> Job | None:
    """One kind of work on the dates, or None where no date is even marginal."""
    told, odds = asked.answer(subject, work), subject.outlook.odds[work]
    chance = dict(zip(dates, odds.at(np.array(dates)).tolist(), strict=True))
    best = max(dates, key=lambda day: chance[day])
    if chance[best] < min(MARGINAL, asked.confidence) - 1e-9:
        return None
    safe = {day: value for day, value in chance.items() if value >= asked.confidence - 1e-9}
    usable, barred = dict(safe), ""

    def bar(first: np.datetime64, last: np.datetime64, why: str) -> None:
        nonlocal usable, barred
        kept = {day: value for day, value in usable.items() if not first <= day <= last}
        barred = why if usable and not kept else barred
        usable = kept

    for hold in subject.held:
        if work == "heavy":
            bar(asked.on, hold.until - 1, hold.text)
        elif hold.rested > asked.on:
            bar(asked.on, hold.rested - 1, hold.rest_text)
    for text in weather_vetoes(subject, work, asked):
        bar(asked.on, asked.on, text)
    for window in told.windows:
        done = last_done(subject, work, window.opens, asked.on)
        if done is not None:
            bar(window.opens, window.closes, f"noted as done on {date_text(done, asked.on)}")
    reopens, wait = None, 0
    if usable:
        hemisphere = subject.outlook.site.hemisphere
        window = odds.windows(asked.confidence, max(usable), hemisphere)[0]
        reopens, wait = waiting(odds, window, asked.confidence, hemisphere)
    return Job(subject, work, usable, reopens, wait, (best, chance[best]), barred=barred)


def _assigned(
    jobs: list[Job], dates: tuple[np.datetime64, ...], per_day: int
) -> list[tuple[Job, np.datetime64 | None]]:
    """Every job with its day in the best plan."""
    owners = {id(subject): number for number, subject in enumerate(_subjects(jobs))}
    finer = len(jobs) * len(dates) + 1  # so that earlier days decide between equal plans only
    claims = []
    for job in jobs:
        owner = owners[id(job.subject)]
        values = {
            number: round(FINEST * job.worth * job.chances[day]) * finer - number
            for number, day in enumerate(dates)
            if day in job.chances
        }
        claims.append(Claim(owner, values, owner if job.shares else None))
    days = assign(claims, per_day)
    return [
        (job, None if number is None else dates[number])
        for job, number in zip(jobs, days, strict=True)
    ]


def _subjects(jobs: list[Job]) -> list[Subject]:
    return list({id(job.subject): job.subject for job in jobs}.values())


def _why(job: Job, planned: list[Planned], full: set[np.datetime64], on: np.datetime64) -> str:
    """Why a job is not in the plan."""
    if job.barred:
        return job.barred
    if not job.chances:
        day, chance = job.best
        return f"no safe day among these; best is {date_text(day, on)} ({percent(chance)})"
    own = [item for item in planned if item.job.subject is job.subject]
    rival = next((item for item in own if item.job.shares), None)
    if job.shares and rival is not None:
        return (
            f"one place for this and the {WORK_LABELS[rival.job.work]} on "
            f"{date_text(rival.day, on)}: four weeks between a heavy cut and other work"
        )
    days = ", ".join(date_text(day, on) for day in job.chances)
    if any(day in full for day in job.chances):
        return f"no room on {days}"
    return f"other work of this tree is planned on {days}"
