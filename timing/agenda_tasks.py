"""Work whose window is open or opens soon, tree by tree.

Every window of every tree is one of `timing.advice.answer`: a run of days at or above the
confidence. What is lost by waiting is

    days from the closing of a window to its next opening (a year at most)
    ----------------------------------------------------------------------
                     days left until it closes, today included

so that a window that closes soon and opens in a year comes before one that closes soon and opens
again in weeks. Work noted as done since its window opened loses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from timing.advice import WEAK, Answer, Veto, answer
from timing.answers import Outlook
from timing.recovery import Hold
from timing.season import CYCLE_DAYS, Days, Floats, season_start, year_of
from timing.site import Hemisphere
from timing.species.model import WORK_KINDS, Condition, WorkKind
from timing.stretches import day_numbers
from timing.windows import Window, WorkOdds

if TYPE_CHECKING:
    from timing.notebook.model import Runner, WorkDone

Group = Literal["closing", "open", "opening"]

GROUPS: tuple[Group, ...] = ("closing", "open", "opening")
CLOSING_DAYS = 21
AHEAD_DAYS = 42


@dataclass(frozen=True)
class Subject:
    """A tree of the notebook, or a taxon at a site, with all that its agenda is made from.

    Parameters
    ----------
    name : the tree's name, or the taxon's common name.
    site : where it stands.
    outlook : events and odds of its taxon on the day, for its condition.
    is_tree : whether it is a tree of the notebook.
    condition : how strong it is.
    held : records that forbid heavy cuts for a while, some of them other work too.
    work : work done on it.
    runners : shoots left to run.
    seen : event → the day somebody saw it this season.
    """

    name: str
    site: str
    outlook: Outlook
    is_tree: bool = True
    condition: Condition = "established"
    held: tuple[Hold, ...] = ()
    work: tuple[WorkDone, ...] = ()
    runners: tuple[Runner, ...] = ()
    seen: Mapping[str, np.datetime64] = field(default_factory=dict)

    @property
    def weak(self) -> bool:
        """Whether no heavy cut is ever to be offered."""
        return self.condition == "weak"


@dataclass(frozen=True)
class Task:
    """One kind of work whose window is open, or opens within six weeks.

    Parameters
    ----------
    subject : the tree or taxon.
    work, group : what, and under which heading.
    opens, closes : first and last day of the window.
    all_year : the window never closes.
    days_left : days until it closes, today included.
    chance_today, chance_opening, chance_min : chances today, on its first day to come, and on its
        least sure day.
    likely_from : first day from which the chance stays above one half up to the window, where
        that is earlier than its opening.
    best_day : its next day with the highest chance, and that chance.
    reopens : first day of the next window of this work, or None within a year of closing.
    wait_days : days from closing to that day, 365 at most.
    loss : what is lost by waiting, `wait_days` a day left.
    done : the day on which this work was last noted since the window opened, or None.
    conditions : what the rules ask for besides the date.
    origin : what the window is known by while its dates still move (see `origin`).
    """

    subject: Subject
    work: WorkKind
    group: Group
    opens: np.datetime64
    closes: np.datetime64
    all_year: bool
    days_left: int
    chance_today: float
    chance_opening: float
    chance_min: float
    likely_from: np.datetime64 | None
    best_day: tuple[np.datetime64, float]
    reopens: np.datetime64 | None
    wait_days: int
    loss: float
    done: np.datetime64 | None
    conditions: tuple[str, ...]
    origin: tuple[str, int, int]


class Asked:
    """Answers for the subjects on a day; trees of one taxon and condition share them."""

    def __init__(self, on: np.datetime64, confidence: float) -> None:
        self.on, self.confidence = on, confidence
        self._told: dict[tuple[object, ...], Answer] = {}

    def answer(self, subject: Subject, work: WorkKind) -> Answer:
        """The same answer as for this tree alone.

        A heavy cut on a weak tree is asked as of an established one: what its weather forbids
        matters, but no window of it is offered.
        """
        condition: Condition = subject.condition
        if work == "heavy" and subject.weak:
            condition = "established"
        key = id(subject.outlook), work, condition, subject.held
        if key not in self._told:
            self._told[key] = answer(
                subject.outlook,
                work,
                self.on,
                condition=condition,
                confidence=self.confidence,
                held=subject.held,
            )
        return self._told[key]


@dataclass(frozen=True)
class Barred:
    """A kind of work that something forbids today, whatever the odds.

    Parameters
    ----------
    subject, work : whose, and what.
    chance : chance that the day is safe by season and weather alone.
    vetoes : what forbids it.
    """

    subject: Subject
    work: WorkKind
    chance: float
    vetoes: tuple[Veto, ...]


def barred(subjects: Iterable[Subject], asked: Asked) -> tuple[Barred, ...]:
    """Work that is forbidden today, in the order of the subjects."""
    found = []
    for subject in subjects:
        for work in WORK_KINDS:
            told = asked.answer(subject, work)
            weak = work == "heavy" and subject.weak
            vetoes = (*([Veto("tree", WEAK)] if weak else []), *told.barred)
            if vetoes:
                found.append(Barred(subject, work, told.chance, vetoes))
    return tuple(found)


def tasks_of(subjects: Iterable[Subject], asked: Asked) -> tuple[Task, ...]:
    """Work that is open today or opens within six weeks, each in its place.

    A window that is open but shut by a veto, such as a hard frost, is not offered.
    """
    found = (
        _task(subject, told, window)
        for subject, told in offered(subjects, asked)
        for window in told.windows
        if is_near(told, window)
    )
    return tuple(sorted(found, key=_place))


def offered(subjects: Iterable[Subject], asked: Asked) -> Iterator[tuple[Subject, Answer]]:
    """Answers for every kind of work but heavy cuts of weak trees."""
    for subject in subjects:
        for work in WORK_KINDS:
            if work != "heavy" or not subject.weak:
                yield subject, asked.answer(subject, work)


def is_near(told: Answer, window: Window) -> bool:
    """Whether a window is open today and nothing forbids it, or opens within six weeks."""
    opens_in = days_between(told.on, window.opens)
    return opens_in <= AHEAD_DAYS and (opens_in > 0 or not told.vetoes)


def best_of(days: Days, chance: Floats) -> tuple[np.datetime64, float]:
    """The first of the days with the highest chance, and that chance."""
    best = int(np.argmax(chance >= chance.max() - 1e-9))
    return days[best], float(chance[best])


def all_year(window: Window) -> bool:
    """Whether a window never closes."""
    return bool(window.closes - window.opens >= CYCLE_DAYS - 1)


def waiting(
    odds: WorkOdds, window: Window, confidence: float, hemisphere: Hemisphere
) -> tuple[np.datetime64 | None, int]:
    """When a window opens next once it has closed, and how many days that is from its closing.

    It is 365 days where the window does not open within a year, none where it never closes.
    """
    if all_year(window):
        return None, 0
    later = odds.windows(confidence, window.closes + 1, hemisphere)
    if not later:
        return None, CYCLE_DAYS
    return later[0].opens, min(days_between(window.closes, later[0].opens), CYCLE_DAYS)


def conditions_on(odds: WorkOdds, day: np.datetime64) -> tuple[str, ...]:
    """What the rules in force on a day ask for besides the date."""
    needs = (need.text for rule in odds.in_force(day) for need in rule.only_if)
    return tuple(dict.fromkeys(needs))


def last_done(
    subject: Subject, work: WorkKind, since: np.datetime64, on: np.datetime64
) -> np.datetime64 | None:
    """Last day up to today on which a kind of work was noted, not before a day; or None."""
    days = [np.datetime64(item.date, "D") for item in subject.work if item.kind == work]
    return max((day for day in days if since <= day <= on), default=None)


def _task(subject: Subject, told: Answer, window: Window) -> Task:
    odds, on = subject.outlook.odds[told.work], told.on
    hemisphere = subject.outlook.site.hemisphere
    start = max(window.opens, on)
    endless = all_year(window)
    days_left = days_between(on, window.closes) + 1
    reopens, wait = waiting(odds, window, told.confidence, hemisphere)
    done = last_done(subject, told.work, window.opens, on)
    days = start + np.arange(days_between(start, window.closes) + 1)
    chance = odds.at(days)
    group: Group = "opening"
    if window.opens <= on:
        group = "closing" if days_left <= CLOSING_DAYS and not endless else "open"
    return Task(
        subject=subject,
        work=told.work,
        group=group,
        opens=window.opens,
        closes=window.closes,
        all_year=endless,
        days_left=days_left,
        chance_today=told.chance,
        chance_opening=float(chance[0]),
        chance_min=window.chance_min,
        likely_from=_likely_from(told, window),
        best_day=best_of(days, chance),
        reopens=reopens,
        wait_days=wait,
        loss=0.0 if done is not None else wait / days_left,
        done=done,
        conditions=conditions_on(odds, start),
        origin=(
            ("", 0, 0)
            if endless
            else origin(subject.outlook, told.work, window.closes, told.confidence)
        ),
    )


def origin(
    outlook: Outlook, work: WorkKind, day: np.datetime64, confidence: float
) -> tuple[str, int, int]:
    """What the window of a safe day is known by while its dates still move.

    Returns
    -------
    the event of the rule that usually opens nearest to the window, the season of that event, and
    how many windows of both came before this one (a dip or a closed season may part them).
    """
    odds, hemisphere = outlook.odds[work], outlook.site.hemisphere
    opens = odds.windows(confidence, day, hemisphere)[0].opens
    own = _nearest_opening(outlook, odds, opens)
    before = odds.windows(confidence, opens - CYCLE_DAYS * 3 // 4, hemisphere)
    earlier = [
        window
        for window in before
        if window.closes < opens and _nearest_opening(outlook, odds, window.opens) == own
    ]
    return *own, len(earlier)


def _nearest_opening(outlook: Outlook, odds: WorkOdds, opens: np.datetime64) -> tuple[str, int]:
    """The event and season of the rule whose usual opening lies nearest to a day."""
    hemisphere, year = outlook.site.hemisphere, year_of(opens)
    starts = day_numbers(outlook.drivers.starts[outlook.used])
    nearest: tuple[int, str, int] | None = None
    for laid in odds.rules:
        usual = (laid.opens - starts)[laid.closes >= laid.opens]
        if usual.size == 0:
            continue
        for season in range(year - 1, year + 2):
            first = season_start(season, hemisphere) + round(float(np.median(usual)))
            apart = abs(days_between(first, opens))
            if nearest is None or apart < nearest[0]:
                nearest = apart, laid.rule.opens.event, season
    return (nearest[1], nearest[2]) if nearest else ("", year)


def _likely_from(told: Answer, window: Window) -> np.datetime64 | None:
    """Opening of the marginal days that lead up to a window still to open."""
    for wide in told.marginal_windows:
        if window.opens > told.on and wide.opens < window.opens <= wide.closes:
            return wide.opens
    return None


def days_between(first: np.datetime64, last: np.datetime64) -> int:
    """Days from one date to another; negative where the other comes first."""
    return int((last - first).astype(np.int64))


def _place(task: Task) -> tuple[int, float, str, str, int]:
    subject = task.subject
    return (
        GROUPS.index(task.group),
        -task.loss,
        subject.name.casefold(),
        subject.site.casefold(),
        WORK_KINDS.index(task.work),
    )
