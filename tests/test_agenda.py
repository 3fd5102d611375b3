"""The agenda, the plan of days and their calendar files, from an invented notebook.

What must hold
- every task's dates are those `ask` gives; groups do not overlap; what closes soon stands apart
- a tree that recovers, or is weak, is offered no heavy cut; its other work goes on
- what loses most by waiting stands first
- a plan has the highest total there is (brute force, linear assignment), keeps to the places of a
  day, and never lets a tree be cut twice on a day
- calendar files are read back by another parser, with the same identities in a second export;
  hostile names stay text
"""

from __future__ import annotations

import datetime as dt
import itertools
import json

import numpy as np
import pytest
import vobject
from scipy.optimize import linear_sum_assignment
from test_bench import FRAME, SITE, readings, run

from timing.agenda_tasks import GROUPS
from timing.assignment import Claim, assign
from timing.export.icalendar_file import CalendarEntry, entry_uid, icalendar_bytes
from timing.notebook.model import Runner, Tree, WorkDone
from timing.notebook.store import Notebook

WHEN = dt.datetime(2025, 6, 20, 12)
ON = ("--on", "2025-06-20")
HOSTILE = 'Élm; "x", <b>\\n BEGIN:VEVENT'


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("agenda") / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        for tree in (
            Tree("Old maple", "acer-palmatum", SITE.name),
            Tree("Framed maple", "acer-palmatum", SITE.name, shelters=(FRAME,)),
            Tree("Weak beech", "fagus-crenata", SITE.name, "weak"),
            Tree("Juniper", "juniperus-chinensis", SITE.name),
            Tree("Box", "buxus-sempervirens", SITE.name),
            Tree(HOSTILE, "ulmus-parvifolia", SITE.name),
        ):
            book.add_tree(tree, when=WHEN)
        book.add_record(WorkDone("Old maple", "heavy", dt.date(2025, 6, 1)), when=WHEN)
        book.add_record(Runner("Old maple", "low left", dt.date(2025, 5, 20)), when=WHEN)
    return path


def told(book, *arguments):
    result = run("agenda", *ON, "--format", "json", *arguments, book=book)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def tasks_of(found):
    return [{**task, "group": group} for group in GROUPS for task in found[group]]


# ------------------------------------------------------------------------------ the agenda


def test_tasks_are_those_of_ask(book):
    for task in tasks_of(told(book)):
        asked = run(
            *("ask", "--tree", task["tree"], "--work", task["work"], *ON, "--format", "json"),
            book=book,
        )
        (answer,) = json.loads(asked.stdout)["answers"]
        assert (task["opens"], task["closes"]) in {
            (window["opens"], window["closes"]) for window in answer["windows"]
        }, task


def test_groups_hold_what_they_say(book):
    tasks = tasks_of(told(book, "--on", "2025-07-20"))
    assert len({(task["tree"], task["work"], task["opens"]) for task in tasks}) == len(tasks)
    today = dt.date(2025, 7, 20)
    for task in tasks:
        opens, closes = (dt.date.fromisoformat(task[key]) for key in ("opens", "closes"))
        if task["group"] == "opening":
            assert today < opens <= today + dt.timedelta(days=42), task
        else:
            assert opens <= today <= closes, task
            assert (task["group"] == "closing") == ((closes - today).days <= 21), task
    assert {"closing", "opening", "open"} >= {task["group"] for task in tasks}
    for _, group in itertools.groupby(tasks, lambda task: task["group"]):
        losses = [task["loss"] for task in group]
        assert losses == sorted(losses, reverse=True)


def test_recovery_and_weakness_are_obeyed(book):
    for day in ("2025-06-20", "2025-07-20"):
        heavy = {
            task["tree"] for task in tasks_of(told(book, "--on", day)) if task["work"] == "heavy"
        }
        assert not heavy & {"Old maple", "Weak beech"}
    assert "Framed maple" in {
        task["tree"]
        for task in tasks_of(told(book, "--on", "2025-07-01"))
        if task["work"] == "heavy"
    }


def test_the_running_shoot_and_the_choice_of_trees(book):
    text = run("agenda", *ON, book=book).stdout
    assert "look at the running shoot (low left" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    one = told(book, "--tree", "Juniper")
    assert {task["tree"] for task in tasks_of(one)} <= {"Juniper"}
    boxes = told(book, "--species", "boxwood")
    assert {task["tree"] for task in tasks_of(boxes)} <= {"Box"}


def test_nothing_to_do_without_a_notebook(tmp_path):
    result = run("agenda", *ON, book=tmp_path / "none.sqlite")
    assert result.exit_code == 0 and "sapdial site add" in result.stdout


# --------------------------------------------------------------------------------- the plan


def test_a_plan_keeps_to_its_places(book):
    days = "2025-12-06,2025-07-05,2025-07-05,2025-07-26"
    plan = told(book, "--days", days, "--per-day", "2")["plan"]
    work = {day["date"]: day["work"] for day in plan["days"]}
    by_day = {day: [item["tree"] for item in items] for day, items in work.items()}
    assert set(by_day) == {"2025-07-05", "2025-07-26", "2025-12-06"}
    assert all(len(trees) == len(set(trees)) <= 2 for trees in by_day.values())
    assert not [
        item
        for items in work.values()
        for item in items
        if item["work"] == "heavy" and item["tree"] in {"Old maple", "Weak beech"}
    ]
    past = run("agenda", *ON, "--days", "2025-06-01", book=book)
    assert past.exit_code == 2 and len(past.stderr.splitlines()) == 1


def total(claims, chosen):
    return sum(
        claim.values[day] for claim, day in zip(claims, chosen, strict=True) if day is not None
    )


def allowed(claims, chosen, places):
    days = [day for day in chosen if day is not None]
    owners = [(c.owner, d) for c, d in zip(claims, chosen, strict=True) if d is not None]
    gates = [
        c.gate for c, d in zip(claims, chosen, strict=True) if d is not None and c.gate is not None
    ]
    return (
        all(days.count(day) <= places for day in set(days))
        and len(owners) == len(set(owners))
        and len(gates) == len(set(gates))
    )


@pytest.mark.parametrize("seed", range(40))
def test_no_distribution_is_better(seed):
    rng = np.random.default_rng(seed)
    places = int(rng.integers(1, 3))
    claims = []
    for number in range(int(rng.integers(1, 6))):
        values = {day: int(rng.integers(1, 50)) for day in range(3) if rng.random() < 0.7}
        gate = int(rng.integers(0, 2)) if rng.random() < 0.3 else None
        claims.append(Claim(int(rng.integers(0, 3)) if number else 0, values, gate))
    chosen = assign(claims, places)
    assert allowed(claims, chosen, places)
    options = [[None, *claim.values] for claim in claims]
    best = max(
        total(claims, other)
        for other in itertools.product(*options)
        if allowed(claims, other, places)
    )
    assert total(claims, chosen) == best


def test_one_place_a_day_is_linear_assignment():
    rng = np.random.default_rng(1)
    worth = rng.integers(1, 1000, (25, 30))
    claims = [Claim(row, dict(enumerate(map(int, worth[row])))) for row in range(25)]
    rows, columns = linear_sum_assignment(worth, maximize=True)
    assert total(claims, assign(claims, 1)) == int(worth[rows, columns].sum())


# ------------------------------------------------------------------------- calendar files


def test_a_calendar_file_is_read_back(book, tmp_path):
    paths = [tmp_path / "one.ics", tmp_path / "two.ics"]
    for path in paths:
        done = run("agenda", *ON, "-o", str(path), "--alarm-days", "7", book=book)
        assert done.exit_code == 0, done.stderr
    found = [
        {event.uid.value: event for event in vobject.readOne(path.read_text("utf-8")).vevent_list}
        for path in paths
    ]
    tasks = tasks_of(told(book))
    assert set(found[0]) == set(found[1]) and len(found[0]) == len(tasks)
    spans = {(str(event.dtstart.value), str(event.dtend.value)) for event in found[0].values()}
    for task in tasks:
        end = dt.date.fromisoformat(task["closes"]) + dt.timedelta(days=1)
        assert (task["opens"], end.isoformat()) in spans
    assert any(HOSTILE in event.summary.value for event in found[0].values())
    lines = paths[0].read_bytes().split(b"\r\n")
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)


def test_identities_and_bytes_are_stable():
    entries = [
        CalendarEntry(entry_uid("a", "heavy", 2025), dt.date(2025, 7, 1), dt.date(2025, 7, 3), "x")
    ]
    stamp = dt.datetime(2025, 6, 20, tzinfo=dt.UTC)
    first, second = (icalendar_bytes(entries, title="t", stamp=stamp) for _ in range(2))
    assert first == second and b"DTEND;VALUE=DATE:20250704" in first
    assert entry_uid("a", "b") == entry_uid("a", "b") != entry_uid("ab", "")
