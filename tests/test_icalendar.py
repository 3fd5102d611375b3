"""Calendar files by the rules of RFC 5545, read back by another parser.

What must hold
- lines end in CRLF and are no longer than 75 octets, whole characters only; commas, semicolons,
  backslashes and line ends in text are escaped; nothing a name holds becomes structure
- runs are whole days with an exclusive end; stamps are UTC; a reminder comes on its day
- another parser reads back what was written
- an entry keeps its identity from one export to the next while its dates move; no two share one
- the same entries with the same stamp are the same bytes; a failed write leaves the old file
- the agenda as text does not load the writer of calendar files
"""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest
import vobject
from sites import place
from test_startup import imported_by

from timing.agenda import SiteBasis, agenda
from timing.agenda_tasks import Asked, Subject, Task
from timing.answers import outlook, site_drivers
from timing.errors import UsageError
from timing.export.agenda_calendar import agenda_entries, plan_entries
from timing.export.icalendar_file import (
    CalendarEntry,
    entry_uid,
    icalendar_bytes,
    save_icalendar,
)
from timing.species.catalogue import load_species
from timing.work_plan import plan

STAMP = dt.datetime(2025, 6, 20, 14, 30, 5, 999, tzinfo=dt.timezone(dt.timedelta(hours=2)))
TAXA = ("acer-palmatum", "juniperus-chinensis", "ulmus-parvifolia")
HOSTILE = (
    "a\nEND:VEVENT\nBEGIN:VEVENT",
    "a\r\nATTACH:file:///x",
    'comma, semicolon; colon: "quoted" \\n \\, back\\slash',
    "🌳" * 80,
    "e\u0301" * 60 + " 寒山 \u202e tab\there",
    "=SUM(A1) <b>&amp;</b> %0D%0A",
    "x" * 300,
)


def entry(**changes):
    values = {
        "uid": entry_uid("a"),
        "first": dt.date(2025, 7, 1),
        "last": dt.date(2025, 7, 31),
        "summary": "Light refinement",
        "description": "Safe days.",
        "categories": ("Light refinement",),
    }
    return CalendarEntry(**{**values, **changes})


def written(*entries):
    return icalendar_bytes(entries, title="Trees", stamp=STAMP)


def logical_lines(content):
    """Lines unfolded by hand, after the physical ones were checked."""
    assert content.endswith(b"\r\n")
    for line in content.split(b"\r\n"):
        assert len(line) <= 75 and b"\n" not in line and b"\r" not in line
        line.decode("utf-8")  # a fold never parts a character
    return re.sub(rb"\r\n[ \t]", b"", content).decode("utf-8").split("\r\n")[:-1]


def events(content):
    return vobject.readOne(content.decode("utf-8")).vevent_list


# -------------------------------------------------------------------------------- the format


def test_the_frame_is_a_calendar():
    lines = logical_lines(written(entry()))
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1
    assert sum(line.startswith("PRODID:") for line in lines) == 1
    inside = lines[lines.index("BEGIN:VEVENT") + 1 : lines.index("END:VEVENT")]
    for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "TRANSP"):
        assert sum(re.match(f"{name}[:;]", line) is not None for line in inside) == 1, name


def test_runs_are_whole_days_with_an_exclusive_end():
    lines = logical_lines(written(entry(), entry(uid="b", last=dt.date(2025, 7, 1))))
    assert lines.count("DTSTART;VALUE=DATE:20250701") == 2
    assert "DTEND;VALUE=DATE:20250801" in lines and "DTEND;VALUE=DATE:20250702" in lines
    assert lines.count("DTSTAMP:20250620T123005Z") == 2


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_stays_text(text):
    content = written(entry(summary=text, description=text, categories=(text, "a,b")))
    lines = logical_lines(content)
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == 1
    assert not [line for line in lines if line.startswith("ATTACH")]
    (event,) = events(content)
    shown = text.replace("\r\n", "\n")
    assert event.summary.value == event.description.value == shown
    (raw,) = [line for line in lines if line.startswith("SUMMARY:")]
    bare = raw.removeprefix("SUMMARY:").replace("\\\\", "")
    assert not re.search(r"(?<!\\)[,;]", bare)


def test_a_reminder_comes_on_its_day():
    (event,) = events(written(entry(alarm=dt.date(2025, 7, 24))))
    trigger = event.valarm.trigger.value
    start = dt.datetime.combine(event.dtstart.value, dt.time())
    assert start + trigger == dt.datetime(2025, 7, 24, 8)
    assert event.valarm.action.value == "DISPLAY"
    before = events(written(entry(alarm=dt.date(2025, 6, 28))))[0]
    assert start + before.valarm.trigger.value == dt.datetime(2025, 6, 28, 8)
    assert "VALARM" not in written(entry()).decode()


def test_the_same_entries_are_the_same_bytes():
    assert written(entry()) == written(entry())
    assert logical_lines(written()) == logical_lines(written())


def test_identifiers_are_made_from_their_parts():
    assert entry_uid("a", "heavy", 2025) == entry_uid("a", "heavy", 2025)
    parts = [("a", "b"), ("ab", ""), ("a", "b", ""), ("b", "a"), ("", "ab"), ("a b",)]
    assert len({entry_uid(*each) for each in parts}) == len(parts)
    assert re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", entry_uid("Old maple"))


def test_a_failed_write_leaves_the_old_file(tmp_path):
    path = tmp_path / "trees.ics"
    save_icalendar([entry()], path, title="Trees", stamp=STAMP)
    held = path.read_bytes()

    def broken():
        yield entry()
        raise RuntimeError

    with pytest.raises(RuntimeError):
        save_icalendar(broken(), path, title="Trees", stamp=STAMP)
    assert path.read_bytes() == held and list(tmp_path.iterdir()) == [path]
    with pytest.raises(UsageError, match="cannot be written"):
        save_icalendar([entry()], tmp_path / "no" / "x.ics", title="Trees", stamp=STAMP)


# -------------------------------------------------------------------- agendas and plans


def told(on, taxa=TAXA):
    here = place("humid-continental").as_of(on)
    day = here.record.last
    drivers = site_drivers(here.record, here.site)
    subjects = [
        Subject(slug, "Yard", outlook(load_species(slug), here.record, drivers, on=day))
        for slug in taxa
    ]
    basis = SiteBasis("Yard", here.site, here.record)
    return agenda(subjects, [basis], day, confidence=0.9), Asked(day, 0.9)


def test_entries_are_the_windows_of_the_agenda():
    found, _ = told("2025-07-20")
    entries = agenda_entries(found, alarm_days=7)
    assert len(entries) == len(found.tasks) > 3
    for task, made in zip(found.tasks, entries, strict=True):
        assert isinstance(task, Task)
        assert (str(made.first), str(made.last)) == (str(task.opens), str(task.closes))
        assert task.subject.name in made.summary
        assert "90% on every day" in made.description
        assert "Local rules and licensed practice come first." in made.description
        due = task.closes - 7
        assert made.alarm == (due.item() if due >= found.on else None)
    assert all(made.alarm is None for made in agenda_entries(found))


def test_identities_last_while_the_dates_move():
    known = {}
    moved = 0
    for on in ("2025-01-25", "2025-02-20", "2025-06-01", "2025-07-08"):
        found, _ = told(on)
        entries = agenda_entries(found)
        assert len({made.uid for made in entries}) == len(entries)
        for task, made in zip(found.tasks, entries, strict=True):
            whose = task.subject.name, task.work
            first, last, before = known.setdefault(made.uid, (made.first, made.last, whose))
            assert before == whose
            assert abs((made.last - last).days) < 30 and abs((made.first - first).days) < 30
            moved += (made.first, made.last) != (first, last)
    assert moved
    spans = {}
    for uid, (first, last, whose) in known.items():
        for other, start, stop in spans.get(whose, []):
            assert stop < first or last < start, (whose, uid, other)
        spans.setdefault(whose, []).append((uid, first, last))


def test_planned_days_have_entries_of_their_own():
    found, asked = told("2025-06-20")
    days = [np.datetime64(day) for day in ("2025-07-12", "2025-08-02", "2025-12-06")]
    made = plan(found.subjects, days, asked)
    entries = plan_entries(found, made, alarm_days=3)
    assert [(item.day.item(), item.day.item()) for item in made.planned] == [
        (each.first, each.last) for each in entries
    ]
    assert all(each.alarm == each.first - dt.timedelta(days=3) for each in entries)
    windows = {each.uid for each in agenda_entries(found)}
    assert len({each.uid for each in entries} | windows) == len(entries) + len(windows)
    # the same work on another day keeps its identity
    other = plan(found.subjects, [day + 1 for day in days], asked)
    kept = {each.uid for each in plan_entries(found, other)} & {each.uid for each in entries}
    assert len(kept) >= len(entries) - 2


def test_text_loads_no_writer_of_calendar_files():
    (loaded,) = imported_by(("agenda", "--sample", "coast"))
    assert not loaded & {"icalendar", "vobject", "sqlite3"}
