"""Work that no day of the coming year is safe for, but that days near now are marginal for.

A record of few seasons, or a place at a taxon's limits, leaves an agenda empty; these days say what
may still be looked at. They are no tasks: nothing of them is planned or entered in a calendar.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from timing.agenda_tasks import Asked, Subject, best_of, days_between, is_near, offered
from timing.species.model import WorkKind


@dataclass(frozen=True)
class Marginal:
    """A stretch of marginal days that is open today or begins within six weeks.

    Parameters
    ----------
    subject, work : whose, and what.
    opens, closes : its first day, today at the earliest, and its last.
    best_day : its first day with the highest chance, and that chance.
    """

    subject: Subject
    work: WorkKind
    opens: np.datetime64
    closes: np.datetime64
    best_day: tuple[np.datetime64, float]


def marginal_work(subjects: Iterable[Subject], asked: Asked) -> tuple[Marginal, ...]:
    """Marginal days of work that has no safe day within a year, by date, then by name.

    Work that something forbids today is not told as open.
    """
    found = []
    for subject, told in offered(subjects, asked):
        for window in () if told.windows else told.marginal_windows:
            if is_near(told, window):
                opens = max(window.opens, asked.on)
                days = opens + np.arange(days_between(opens, window.closes) + 1)
                best = best_of(days, subject.outlook.odds[told.work].at(days))
                found.append(Marginal(subject, told.work, opens, window.closes, best))
    return tuple(sorted(found, key=lambda item: (item.opens, item.subject.name.casefold())))
