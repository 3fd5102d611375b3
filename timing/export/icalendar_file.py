"""Calendar files (RFC 5545) of runs of whole days, for any calendar program.

The `icalendar` package writes the format: it folds and escapes. The same entries with the same
stamp give the same bytes; entries keep their identity, so that a calendar program that imports a
new file moves what it knows instead of doubling it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from timing.export.files import replacing

if TYPE_CHECKING:
    import numpy as np

PRODUCT = "-//sapdial//calendar of safe days//EN"
NAMESPACE = uuid.UUID("6f1d3c5e-0c0e-5d0a-9a55-3b7b6a0f2f11")
ALARM_HOUR = 8  # local time of the day a reminder is set for


@dataclass(frozen=True)
class CalendarEntry:
    """A run of whole days.

    Parameters
    ----------
    uid : what the entry is known by, the same in every file; see `entry_uid`.
    first, last : first and last day, both included.
    summary, description : plain text.
    categories : words a calendar program sorts by.
    alarm : the day of a reminder, eight in the morning, or None.
    """

    uid: str
    first: dt.date
    last: dt.date
    summary: str
    description: str = ""
    categories: tuple[str, ...] = ()
    alarm: dt.date | None = None


def entry_uid(*parts: object) -> str:
    """An identifier that the same parts always give, and no others.

    It is a UUID made from the parts (RFC 9562, version 5), as RFC 7986 advises: it tells neither a
    name nor a machine.
    """
    return str(uuid.uuid5(NAMESPACE, "\x1f".join(str(part) for part in parts)))


def icalendar_bytes(entries: Iterable[CalendarEntry], *, title: str, stamp: dt.datetime) -> bytes:
    """Entries as a calendar file.

    Parameters
    ----------
    entries : in the order to write.
    title : name of the calendar.
    stamp : when the file is made, with its time zone.
    """
    from icalendar import Alarm, Calendar, Event  # noqa: PLC0415 - text answers do without

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("name", title)
    calendar.add("x-wr-calname", title)
    for entry in entries:
        event = Event()
        event.add("uid", entry.uid)
        event.add("dtstamp", stamp.astimezone(dt.UTC).replace(microsecond=0))
        event.add("dtstart", entry.first)
        event.add("dtend", entry.last + dt.timedelta(days=1))
        event.add("summary", entry.summary)
        if entry.description:
            event.add("description", entry.description)
        if entry.categories:
            event.add("categories", list(entry.categories))
        event.add("transp", "TRANSPARENT")  # the days stay free for other things
        if entry.alarm is not None:
            alarm = Alarm()
            alarm.add("action", "DISPLAY")
            alarm.add("description", entry.summary)
            days = (entry.alarm - entry.first).days
            alarm.add("trigger", dt.timedelta(days=days, hours=ALARM_HOUR))
            event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def save_icalendar(
    entries: Iterable[CalendarEntry], path: Path, *, title: str, stamp: dt.datetime
) -> None:
    """Write a calendar file, whole or not at all."""
    content = icalendar_bytes(entries, title=title, stamp=stamp)
    with replacing(path) as temporary:
        temporary.write_bytes(content)


def as_date(day: np.datetime64) -> dt.date:
    """A day as calendar files take it."""
    date = day.astype("datetime64[D]").item()
    assert isinstance(date, dt.date)
    return date


def alarm_day(
    last: np.datetime64, before: int | None, today: np.datetime64 | None
) -> dt.date | None:
    """The day of a reminder so many days before the last one, unless it is past."""
    alarm = None if before is None else last - before
    past = alarm is not None and today is not None and alarm < today
    return None if alarm is None or past else as_date(alarm)
