"""What to do on the bench today and in the coming weeks: tasks and notices of one day."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from timing.agenda_marginal import Marginal, marginal_work
from timing.agenda_notices import Notice, observation_notices, stale_notice, subject_notices
from timing.agenda_tasks import Asked, Barred, Group, Subject, Task, barred, tasks_of
from timing.site import Site
from timing.temperature import TemperatureRecord


@dataclass(frozen=True)
class SiteBasis:
    """A site the agenda speaks of, and its temperatures up to the day."""

    name: str
    place: Site
    record: TemperatureRecord


@dataclass(frozen=True)
class Unanswered:
    """Trees that could not be answered for, and why."""

    site: str
    names: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class Agenda:
    """Tasks and notices of one day.

    Parameters
    ----------
    on, confidence : the day, and the chance from which a day counts as safe.
    sites : what it rests on.
    subjects : every tree or taxon it speaks of.
    tasks : in their groups; within a group by what is lost by waiting, then by name.
    marginal : marginal days of work that no day is safe for.
    notices : by date, then by name.
    barred : work that something forbids today, whatever the odds.
    unanswered : trees left out.
    """

    on: np.datetime64
    confidence: float
    sites: tuple[SiteBasis, ...] = ()
    subjects: tuple[Subject, ...] = ()
    tasks: tuple[Task, ...] = ()
    marginal: tuple[Marginal, ...] = ()
    notices: tuple[Notice, ...] = ()
    barred: tuple[Barred, ...] = ()
    unanswered: tuple[Unanswered, ...] = ()

    def of(self, group: Group) -> tuple[Task, ...]:
        """Tasks of one group."""
        return tuple(task for task in self.tasks if task.group == group)

    def held_back(self) -> tuple[Barred, ...]:
        """Work that a hazard closes today, or that all but the tree would allow."""
        found = []
        for item in self.barred:
            topics = {veto.topic for veto in item.vetoes}
            alone = topics <= {"record", "tree"} and item.chance >= self.confidence - 1e-9
            if alone or "hazard" in topics:
                found.append(item)
        return tuple(found)


def agenda(
    subjects: Iterable[Subject],
    sites: Iterable[SiteBasis],
    on: np.datetime64,
    *,
    confidence: float,
    unanswered: tuple[Unanswered, ...] = (),
    asked: Asked | None = None,
) -> Agenda:
    """Tasks and notices for trees, or taxa at a site.

    Parameters
    ----------
    subjects : the trees or taxa, each with its outlook for ``on``.
    sites : the sites they stand at.
    on : today.
    confidence : chance from which a day counts as safe.
    unanswered : trees the agenda says it leaves out.
    asked : answers to share with a plan of the same day.
    """
    asked = asked or Asked(on, confidence)
    subjects, sites = tuple(subjects), tuple(sites)
    notices = [
        *(late for site in sites if (late := stale_notice(site.name, site.record.last, on))),
        *(notice for subject in subjects for notice in subject_notices(subject, asked)),
        *observation_notices(subjects, on),
    ]
    notices.sort(key=lambda notice: (notice.due, notice.name.casefold(), notice.text))
    return Agenda(
        on,
        confidence,
        sites,
        subjects,
        tasks_of(subjects, asked),
        marginal_work(subjects, asked),
        tuple(notices),
        barred(subjects, asked),
        unanswered,
    )
