"""What deserves a look: weather, running shoots, trees about to recover, dates worth noting."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import Literal

import numpy as np

from timing.agenda_tasks import AHEAD_DAYS, Asked, Subject
from timing.answers import Outlook
from timing.recovery import Look, next_look
from timing.running import running_year
from timing.season import year_of
from timing.species.model import WORK_KINDS, WorkKind
from timing.wording import EVENT_LABELS, day_text, stale_text

Topic = Literal["weather", "shoot", "recovery", "observation", "temperatures"]

NOTED = ("bud_break", "full_bloom", "leaf_full_size", "leaf_colour", "leaf_fall")
NEAR_DAYS = 10  # an event expected within so many days, before or after, is worth noting
STALE_DAYS = 7  # a record that ends longer ago is not up to date


@dataclass(frozen=True)
class Notice:
    """Something to look at or to note.

    Parameters
    ----------
    topic : weather, shoot, recovery, observation or temperatures.
    name, site : the tree or taxon, "" for a whole site; its site.
    species : slug of its taxon, or "".
    due : the day it is about.
    text : a sentence without its full stop.
    command : a command that goes with it, or "".
    """

    topic: Topic
    name: str
    site: str
    species: str
    due: np.datetime64
    text: str
    command: str = ""


def subject_notices(subject: Subject, asked: Asked) -> list[Notice]:
    """Weather, running shoots and the end of a recovery."""
    on = asked.on
    vetoes = (text for work in WORK_KINDS for text in weather_vetoes(subject, work, asked))
    return [
        *(_notice("weather", subject, on, text) for text in dict.fromkeys(vetoes)),
        *_shoots(subject, on),
        *_recovering(subject, on),
    ]


def weather_vetoes(subject: Subject, work: WorkKind, asked: Asked) -> tuple[str, ...]:
    """What the recorded weather forbids on the day: frost, heat, leaves lost to a late frost."""
    barred = asked.answer(subject, work).barred
    return tuple(veto.text for veto in barred if veto.topic == "weather")


def stale_notice(site: str, last: np.datetime64, on: np.datetime64) -> Notice | None:
    """That a site's temperatures are not up to date, where they end more than a week ago."""
    if last >= on - STALE_DAYS:
        return None
    command = f"sapdial site change {shlex.quote(site)} --temperatures FILE"
    return Notice("temperatures", "", site, "", on, stale_text(last, on), command)


def _shoots(subject: Subject, on: np.datetime64) -> list[Notice]:
    found = []
    for runner in subject.runners:
        look = next_look(subject.outlook, runner, on)
        if look is not None and look.dates[1] <= on + AHEAD_DAYS:
            due = look.dates[1]
            command = ""
            if due <= on and runner.number:
                command = f"sapdial record change {runner.number} --looked DATE"
            found.append(_notice("shoot", subject, due, _shoot_text(look, on), command))
    return found


def _shoot_text(look: Look, on: np.datetime64) -> str:
    early, usual, late = look.dates
    text = f"look at the running shoot ({look.place}, left to run on {date_text(look.begun, on)}): "
    if usual <= on:
        due = f"due since {date_text(usual, on)}" if usual < on else "due today"
        return f"{text}{due}; note the day you looked, or the day you cut it (--ended)"
    between = "" if early == late else f" ({date_text(early, on)} to {date_text(late, on)})"
    return f"{text}due about {date_text(usual, on)}{between}"


def _recovering(subject: Subject, on: np.datetime64) -> list[Notice]:
    if not subject.held or subject.weak:
        return []
    last = subject.held[0]  # the longest
    if last.until > on + AHEAD_DAYS:
        return []
    return [_notice("recovery", subject, last.until, last.text)]


def observation_notices(subjects: tuple[Subject, ...], on: np.datetime64) -> list[Notice]:
    """Events expected about now that nobody has noted; each once a site and taxon."""
    found: dict[tuple[str, str, str], Notice] = {}
    for subject in subjects:
        slug = subject.outlook.species.slug
        for event in NOTED:
            key = subject.site, slug, event
            if key in found or event in subject.seen:
                continue
            dates = expected(subject.outlook, event, on)
            if dates is None or abs(int((dates[1] - on).astype(np.int64))) > NEAR_DAYS:
                continue
            early, usual, late = (date_text(day, on) for day in dates)
            text = (
                f"{EVENT_LABELS[event]} about {usual} ({early} to {late}): note the day, it makes "
                "later answers better"
            )
            whose = (
                f"--tree {shlex.quote(subject.name)}"
                if subject.is_tree
                else f"--species {slug} --site {shlex.quote(subject.site)}"
            )
            command = f"sapdial record add {event} {whose} --on DATE"
            found[key] = _notice("observation", subject, dates[1], text, command)
    return list(found.values())


def expected(
    outlook: Outlook, event: str, on: np.datetime64
) -> tuple[np.datetime64, np.datetime64, np.datetime64] | None:
    """Early, median and late date of an event this season: by its record, else the usual dates."""
    if event not in outlook.events.days:
        return None
    row = outlook.drivers.row_of(running_year(on, outlook.site.hemisphere))
    if row is not None and outlook.running is not None:
        days = outlook.season_quantiles(event)[:, row]
        if not np.isfinite(days).all():
            return None
        early, usual, late = (outlook.drivers.starts[row] + round(float(day)) for day in days)
        return early, usual, late
    often = outlook.usual(event)
    if often is None:
        return None
    years = (often.dates(year) for year in range(year_of(on) - 1, year_of(on) + 2))
    return min(years, key=lambda dates: abs(int((dates[1] - on).astype(np.int64))))


def _notice(
    topic: Topic, subject: Subject, due: np.datetime64, text: str, command: str = ""
) -> Notice:
    slug = subject.outlook.species.slug
    return Notice(topic, subject.name, subject.site, slug, due, text, command)


def date_text(day: np.datetime64, on: np.datetime64) -> str:
    """Day and month, and the year where it is not today's.

    >>> date_text(np.datetime64("2026-01-03"), np.datetime64("2025-06-20"))
    '3 January 2026'
    """
    return day_text(day) if year_of(day) == year_of(on) else f"{day_text(day)} {year_of(day)}"
