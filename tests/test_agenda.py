"""The agenda of an invented notebook.

What must hold
- every task's dates are those `ask` gives; groups do not overlap; what closes soon stands apart
- what loses most by waiting stands first: days from closing to the next opening, for each day left
- a tree that recovers, or is weak, is offered no heavy cut; its other work goes on; work noted as
  done loses nothing; weather that forbids a cut takes it off the list and says so
- shoots, the end of a recovery, dates worth noting and old temperatures are told, each once
- JSON says all that the text says; text stays within 80 columns
- a site that cannot answer leaves the others their answers; nothing to do is no error
"""

from __future__ import annotations

import csv
import datetime as dt
import functools
import itertools
import json
import re
import shlex
from dataclasses import replace

import numpy as np
import pytest
import vobject
from sites import equatorial, place
from test_bench import FRAME, SITE, readings, run

from timing.agenda import SiteBasis, agenda
from timing.agenda_notices import expected
from timing.agenda_tasks import GROUPS, Asked, Subject, barred, tasks_of
from timing.answers import outlook, site_drivers
from timing.export.agenda_text import agenda_text, plan_text
from timing.notebook.model import NotebookSite, ObservedDate, Runner, Tree, WorkDone
from timing.notebook.store import Notebook
from timing.recovery import holds
from timing.species.catalogue import load_species
from timing.work_plan import plan

WHEN = dt.datetime(2025, 6, 20, 12)
ON = "2025-06-20"
HOSTILE = 'Élm; "x", <b>\\n BEGIN:VEVENT'
DRY = NotebookSite("Dry bench", 43.0, -74.0)
DAYS = ("--days", "2025-12-06,2025-07-12,2025-07-12,2025-08-02", "--per-day", "2")


FEW = ("--tree", HOSTILE, "--tree", "Juniper")
HEADINGS = set(
    re.findall(
        r"\w+",
        "Agenda for, Plan at most trees a day made on, Temperatures from to, A day counts as safe "
        "from, CLOSING WITHIN WEEKS, OPEN NOW, OPENING, HELD BACK, LOOK AT THIS TREE, LEFT "
        "OVER, NO SAFE DAY, "
        "nothing, tree, Saturday, June July August December, Nothing safe or marginal on these "
        "days",
    )
)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    path = tmp_path_factory.mktemp("agenda") / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        for tree in (
            Tree("Old maple", "acer-palmatum", SITE.name),
            Tree("Resting maple", "acer-palmatum", SITE.name),
            Tree("Framed maple", "acer-palmatum", SITE.name, shelters=(FRAME,)),
            Tree("Weak beech", "fagus-crenata", SITE.name, "weak"),
            Tree("Strong pine", "pinus-thunbergii", SITE.name, "vigorous"),
            Tree("Juniper", "juniperus-chinensis", SITE.name),
            Tree(HOSTILE, "ulmus-parvifolia", SITE.name),
        ):
            book.add_tree(tree, when=WHEN)
        for record in (
            WorkDone("Old maple", "heavy", dt.date(2025, 6, 1)),
            WorkDone("Resting maple", "heavy", dt.date(2024, 7, 20), 0.3),
            WorkDone("Strong pine", "repotting", dt.date(2025, 4, 2)),
            Runner("Old maple", "low left", dt.date(2025, 5, 20)),
            ObservedDate("bud_break", dt.date(2025, 5, 1), "Old maple"),
            ObservedDate("bud_break", dt.date(2024, 5, 9), "Resting maple"),
        ):
            book.add_record(record, when=WHEN)
    return path


@pytest.fixture(scope="module")
def told(book):
    @functools.cache
    def ask(*arguments, on=ON):
        result = run("agenda", "--on", on, "--format", "json", *arguments, book=book)
        assert result.exit_code == 0, result.stderr
        return json.loads(result.stdout)

    return ask


def tasks_in(found):
    return [{**task, "group": group} for group in GROUPS for task in found[group]]


def heavy_in(found):
    return {task["tree"] for task in tasks_in(found) if task["work"] == "heavy"}


def refused(run_, says):
    assert run_.exit_code == 2 and run_.stdout == ""
    assert len(run_.stderr.splitlines()) == 1 and says in run_.stderr


def subject(slug, on, name="Tree", **options):
    here = place("humid-continental").as_of(on)
    day = here.record.last
    view = outlook(load_species(slug), here.record, here.drivers, on=day)
    return Subject(name, "Yard", view, **options), day


# ------------------------------------------------------------------------------ the tasks


@pytest.mark.parametrize("on", [ON, pytest.param("2025-07-20", marks=pytest.mark.slow)])
def test_tasks_are_those_of_ask(book, told, on):
    by_tree = {}
    for task in tasks_in(told(on=on)):
        by_tree.setdefault(task["tree"], []).append(task)
    assert len(by_tree) > 4
    for tree, tasks in by_tree.items():
        asked = run("ask", "--tree", tree, "--on", on, "--format", "json", book=book)
        answers = {item["work"]: item for item in json.loads(asked.stdout)["answers"]}
        for task in tasks:
            answer = answers[task["work"]]
            spans = {(window["opens"], window["closes"]) for window in answer["windows"]}
            assert (task["opens"], task["closes"]) in spans, task
            assert task["chance_today"] == answer["chance"]
            if task["group"] != "opening":
                assert answer["verdict"] == "safe"
                assert task["conditions"] == answer["conditions"]


def test_groups_hold_what_they_say(told):
    tasks = tasks_in(told(on="2025-07-20"))
    assert len({(task["tree"], task["work"], task["opens"]) for task in tasks}) == len(tasks)
    today = dt.date(2025, 7, 20)
    for task in tasks:
        opens, closes = (dt.date.fromisoformat(task[key]) for key in ("opens", "closes"))
        assert task["days_left"] == (closes - today).days + 1
        if task["group"] == "opening":
            assert today < opens <= today + dt.timedelta(days=42), task
        else:
            assert opens <= today <= closes, task
            assert (task["group"] == "closing") == (task["days_left"] <= 21), task
    assert {task["group"] for task in tasks} >= {"closing", "open"}


def test_what_loses_most_stands_first(told):
    tasks = tasks_in(told(on="2025-07-20"))
    for task in tasks:
        wait = (dt.date.fromisoformat(task["reopens"]) - dt.date.fromisoformat(task["closes"])).days
        assert task["wait_days"] == min(wait, 365)
        assert task["loss"] == pytest.approx(task["wait_days"] / task["days_left"], abs=1e-3)
    for _, group in itertools.groupby(tasks, lambda task: task["group"]):
        keys = [(-task["loss"], task["tree"].casefold()) for task in group]
        assert keys == sorted(keys)


def test_the_next_opening_is_the_first_safe_day_after_closing():
    found, day = subject("juniperus-chinensis", "2025-07-20")
    for task in tasks_of([found], Asked(day, 0.9)):
        odds = found.outlook.odds[task.work]
        gap = odds.at(np.arange(task.closes + 1, task.reopens))
        assert (gap < 0.9).all() and odds.on(task.reopens) >= 0.9 - 1e-9
        assert odds.on(task.closes) >= 0.9 - 1e-9 and odds.on(task.opens) >= 0.9 - 1e-9
        best, chance = task.best_day
        days = np.arange(max(task.opens, day), task.closes + 1)
        assert chance == odds.at(days).max() == odds.on(best)


def test_an_endless_window_loses_nothing():
    warm = equatorial()
    on = warm.record.last
    view = outlook(load_species("ficus-microcarpa"), warm.record, warm.drivers, on=on)
    tasks = tasks_of([Subject("Fig", "Yard", view)], Asked(on, 0.9))
    assert tasks
    for task in tasks:
        assert task.all_year and (task.group, task.wait_days, task.loss) == ("open", 0, 0.0)
        assert task.origin == ("", 0, 0)


def test_recovery_and_weakness_are_obeyed(told):
    for on in (ON, "2025-07-20"):
        assert not heavy_in(told(on=on)) & {"Old maple", "Weak beech", "Strong pine"}
    assert "Framed maple" in heavy_in(told(on="2025-07-20"))
    assert {task["tree"] for task in tasks_in(told(on="2025-07-20"))} >= {"Old maple", "Weak beech"}


def test_work_noted_as_done_goes_last():
    done = (WorkDone("Tree", "light", dt.date(2025, 7, 18)),)
    early = (WorkDone("Tree", "light", dt.date(2025, 6, 1)),)
    for work, loses in ((done, False), (early, True)):
        found, day = subject("acer-palmatum", "2025-07-20", work=work)
        tasks = {task.work: task for task in tasks_of([found], Asked(day, 0.9))}
        assert (tasks["light"].loss > 0) is loses
        assert (tasks["light"].done is None) is loses
        assert tasks["heavy"].loss > 0


def test_other_work_waits_after_a_heavy_cut():
    for cut, waits in (("2025-07-05", True), ("2025-06-10", False)):
        done = (WorkDone("Tree", "heavy", dt.date.fromisoformat(cut), 0.3),)
        day = np.datetime64("2025-07-16")
        bare, _ = subject("acer-palmatum", str(day), work=done)
        found = replace(bare, held=holds(bare.outlook, done, day))
        (light,) = [task for task in tasks_of([found], Asked(day, 0.9)) if task.work == "light"]
        assert light.group == ("opening" if waits else "open")
        assert not waits or light.opens == np.datetime64(cut) + 28
        barred_today = {item.work for item in barred([found], Asked(day, 0.9))}
        assert ("light" in barred_today) == waits


def test_a_frost_takes_open_work_off_the_list_and_says_so():
    here = place("humid-continental").as_of("2025-07-20")
    frosty = here.with_last_days(tmin_c=[-12.0])
    for where, offered in ((here, True), (frosty, False)):
        record = where.record
        view = outlook(
            load_species("acer-palmatum"),
            record,
            site_drivers(record, where.site),
            on=record.last,
        )
        found = agenda([Subject("Tree", "Yard", view)], [], record.last, confidence=0.5)
        assert any(task.group != "opening" for task in found.tasks) is offered
        frost = [item for item in found.notices if item.topic == "weather"]
        assert bool(frost) is not offered
        assert len({item.text for item in frost}) == len(frost)


# ---------------------------------------------------------------------------- the notices


def notices(found, topic):
    return [item for item in found["look"] if item["topic"] == topic]


def test_a_running_shoot_is_to_be_looked_at(told):
    (shoot,) = notices(told(), "shoot")
    assert shoot["name"] == "Old maple"
    assert shoot["text"].startswith("look at the running shoot (low left, left to run on 20 May)")
    assert dt.date(2025, 5, 25) <= dt.date.fromisoformat(shoot["due"]) <= dt.date.fromisoformat(ON)
    assert "due since" in shoot["text"]
    assert re.fullmatch(r"sapdial record change \d+ --looked DATE", shoot["command"])


def test_a_look_stays_due_until_it_is_noted():
    begun = dt.date(2025, 5, 20)

    def shoot(on, looked=None):
        runner = Runner("Tree", "apex", begun, looked=looked)
        found, day = subject("acer-palmatum", on, runners=(runner,))
        told = agenda([found], [], day, confidence=0.9).notices
        (item,) = [notice for notice in told if notice.topic == "shoot"]
        return item

    assert "due about" in shoot("2025-05-22").text
    due = shoot("2025-06-20").due
    assert np.datetime64("2025-06-01") < due < np.datetime64("2025-06-20")
    for on in ("2025-07-20", "2025-09-20", "2025-12-20"):
        late = shoot(on)
        assert late.due == due and "due since" in late.text
    again = shoot("2025-06-21", dt.date(2025, 6, 20))
    assert again.due > np.datetime64("2025-06-25") and "due about" in again.text
    hidden = shoot("2025-06-20", dt.date(2025, 6, 25))  # a look that lies ahead counts for nothing
    assert hidden.due == due


def test_vetoes_stand_by_themselves(told):
    found = told()
    assert {(item["tree"], item["work"], item["topic"]) for item in found["vetoes"]} == {
        ("Old maple", "heavy", "record"),
        ("Old maple", "light", "record"),  # four weeks of rest
        ("Old maple", "outline", "record"),
        ("Resting maple", "heavy", "record"),
        ("Strong pine", "heavy", "record"),
        ("Weak beech", "heavy", "tree"),
    }
    closed = told("--hazard", "elm-disease")["vetoes"]
    works = {item["work"] for item in closed if item["topic"] == "hazard"}
    assert works == {"heavy", "light", "outline"}


def test_work_that_only_the_tree_forbids_is_named_as_held_back(book):
    text = run("agenda", "--on", "2025-07-25", book=book).stdout
    held = text.partition("HELD BACK")[2].partition("LOOK AT")[0]
    assert "Old maple" in held and "heavy cut on 1 June 2025" in " ".join(held.split())
    early = run("agenda", "--on", "2025-07-14", book=book).stdout.partition("HELD BACK")[2]
    assert "Weak beech" in early and "weak tree" in early
    assert "Framed maple" not in held


def test_the_end_of_a_recovery_is_told(told):
    held = {item["name"]: item for item in notices(told(), "recovery")}
    assert set(held) == {"Resting maple"}  # the others rest for longer than six weeks
    assert held["Resting maple"]["text"].startswith("heavy cut of 30% on 20 July 2024")
    (cut,) = [
        task
        for task in told()["opening"]
        if (task["tree"], task["work"]) == ("Resting maple", "heavy")
    ]
    assert cut["opens"] >= held["Resting maple"]["due"]


def test_dates_worth_noting_are_told_once(told):
    for on in (ON, "2025-05-05"):
        found = notices(told(on=on), "observation")
        keys = [(item["site"], item["species"], item["command"].split()[3]) for item in found]
        assert keys and len(keys) == len(set(keys))
        for item in found:
            words = shlex.split(item["command"])
            assert words[:3] == ["sapdial", "record", "add"] and words[4] == "--tree"
            assert words[5] == item["name"]
            away = dt.date.fromisoformat(item["due"]) - dt.date.fromisoformat(on)
            assert abs(away.days) <= 10
    seen = notices(told(on="2025-05-05"), "observation")  # by Old maple, four days before
    maples = [item for item in seen if item["name"] in ("Old maple", "Resting maple")]
    assert not [item for item in maples if "bud_break" in item["command"]]


def test_expected_dates_follow_the_season():
    found, day = subject("acer-palmatum", "2025-06-01")
    row = found.outlook.drivers.row_of(2025)
    start = found.outlook.drivers.starts[row]
    days = found.outlook.season_quantiles("leaf_full_size")[:, row]
    dates = expected(found.outlook, "leaf_full_size", day)
    assert [int((date - start).astype(int)) for date in dates] == [round(float(d)) for d in days]
    assert expected(found.outlook, "warm_start", day) is None
    old = expected(found.outlook, "leaf_full_size", day + 400)
    assert old is not None and abs(int((old[1] - day - 365).astype(int))) < 60


def test_old_temperatures_are_told_once(told):
    assert not notices(told(), "temperatures")
    assert not notices(told(*FEW, on="2025-06-27"), "temperatures")
    (late,) = notices(told(*FEW, on="2025-06-28"), "temperatures")
    assert "20 June, 8 days ago" in late["text"]
    assert shlex.split(late["command"])[:4] == ["sapdial", "site", "change", SITE.name]
    assert told(*FEW, on="2025-06-28")["sites"][0]["tells_of_this_season"] is False


# ----------------------------------------------------------------------- text, JSON, files


def strings(value):
    if isinstance(value, dict):
        return [text for item in value.values() for text in strings(item)]
    if isinstance(value, list):
        return [text for item in value for text in strings(item)]
    return [value] if isinstance(value, str) else []


@pytest.mark.parametrize(
    "extra", [(), DAYS, ("--hazard", "elm-disease", *FEW)], ids=["", "plan", "hazard"]
)
def test_json_says_all_that_the_text_says(book, told, extra):
    """What is left of the text without the sentences of the JSON is headings and names."""
    text = run("agenda", "--on", ON, *extra, book=book).stdout
    assert max(map(len, text.splitlines())) <= 80
    rest = " ".join(text.split())
    found = told(*extra)
    labels = {"heavy": "Heavy cuts", "light": "Light refinement", "outline": "Winter outline work"}
    said = {" ".join(item.split()) for item in strings(found)} | set(labels.values())
    for item in sorted(said, key=len, reverse=True):
        if len(item) > 3:
            rest = rest.replace(item, " ")
    kept = set(re.findall(r"[^\W\d]{2,}", rest))
    assert kept <= HEADINGS, kept - HEADINGS


def test_the_choice_of_trees(book, told):
    assert {task["tree"] for task in tasks_in(told("--tree", "juniper"))} == {"Juniper"}
    two = told("--tree", "Juniper", "--tree", "old maple", "--tree", "Juniper")
    assert [item["tree"] for item in two["trees"]] == ["Juniper", "Old maple"]
    maples = told("--species", "maple")["trees"]
    assert {item["tree"] for item in maples} == {"Old maple", "Resting maple", "Framed maple"}
    oaks = told("--species", "English oak")
    assert [(item["tree"], item["species"]) for item in oaks["trees"]] == [(None, "quercus-robur")]


def test_a_taxon_of_a_sample_needs_no_notebook(tmp_path):
    result = run("agenda", "--sample", "coast", "--species", "boxwood", book=tmp_path / "none")
    assert result.exit_code == 0 and "INVENTED" in result.stdout and "boxwood" in result.stdout


def test_hazards_are_obeyed(told):
    free, closed = told(on="2025-07-20"), told("--hazard", "elm-disease", *FEW, on="2025-07-20")
    assert {"heavy", "light"} & {t["work"] for t in tasks_in(free) if t["tree"] == HOSTILE}
    assert not [t for t in tasks_in(closed) if t["tree"] == HOSTILE]
    assert free["hazards"] is None and "Dutch elm disease" in closed["hazards"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--days", "2025-06-19"), "--days 2025-06-19 is past"),
        (("--days", "2025-02-30"), "'2025-02-30' is not a date"),
        (("--days", ","), "--days needs at least one day"),
        (("--per-day", "3"), "--per-day goes with --days"),
        (("--alarm-days", "3"), "--alarm-days goes with -o FILE.ics"),
        (("-o", "x.png"), ".ics"),
        (("--format", "json", "-o", "x.txt"), ".json"),
        (("--tree", "Nobody"), "no tree called 'Nobody'"),
        (("--site", "Nowhere"), "no site called 'Nowhere'"),
        (("--species", "boxwood", "--tree", "Juniper"), "not both"),
        (("--tree", "Juniper", "--sample", "coast"), "--tree"),
        (("--on", "yesterday"), "--on"),
    ],
    ids=lambda item: " ".join(item) if isinstance(item, tuple) else "",
)
def test_what_cannot_be_answered_is_refused(book, words, says):
    on = () if "--on" in words else ("--on", ON)
    refused(run("agenda", *on, *words, book=book), says)


def test_files_hold_what_the_terminal_shows(book, told, tmp_path):
    text, data, dates = (tmp_path / f"bench.{end}" for end in ("txt", "json", "ics"))
    for path in (text, data, dates):
        done = run("agenda", "--on", ON, *FEW, "-o", str(path), book=book)
        assert done.exit_code == 0 and str(path) in done.stdout, done.stderr
    assert text.read_text("utf-8") == run("agenda", "--on", ON, *FEW, book=book).stdout
    assert json.loads(data.read_text("utf-8")) == told(*FEW)
    table = run("agenda", "--on", ON, *FEW, "--format", "csv", book=book).stdout
    done = run("agenda", "--on", ON, *FEW, "-o", str(tmp_path / "bench.csv"), book=book)
    assert done.exit_code == 0 and (tmp_path / "bench.csv").read_text("utf-8") == table
    rows = [row for row in csv.DictReader(table.splitlines()) if row["group"] != "marginal"]
    for row, task in zip(rows, tasks_in(told(*FEW)), strict=True):
        assert row["tree"].lstrip("'") == (task["tree"] or "").lstrip("'")
        assert [row[key] for key in ("species", "site", "work", "opens", "closes")] == [
            task[key] for key in ("species", "site", "work", "opens", "closes")
        ]
        assert float(row["chance_min"]) == task["chance_min"]
        assert row["best_date"] == task["best_day"]["date"]
    calendar = vobject.readOne(dates.read_bytes().decode("utf-8"))
    tasks = tasks_in(told(*FEW))
    ends = {(t["opens"], str(dt.date.fromisoformat(t["closes"]) + dt.timedelta(1))) for t in tasks}
    assert {(str(e.dtstart.value), str(e.dtend.value)) for e in calendar.vevent_list} == ends
    assert len(calendar.vevent_list) == len(tasks)
    assert any(HOSTILE in event.summary.value for event in calendar.vevent_list)


def test_a_plan_of_the_notebook(told, book):
    made = told(*DAYS)["plan"]
    table = run("agenda", "--on", ON, *DAYS, "--format", "csv", book=book).stdout
    assert [
        (row["date"], row["species"], row["work"]) for row in csv.DictReader(table.splitlines())
    ] == [
        (day["date"], item["species"], item["work"]) for day in made["days"] for item in day["work"]
    ]
    assert [day["date"] for day in made["days"]] == ["2025-07-12", "2025-08-02", "2025-12-06"]
    for day in made["days"]:
        trees = [item["tree"] for item in day["work"]]
        assert len(trees) == len(set(trees)) <= 2
        assert all(day["date"] in item["safe_days"] for item in day["work"])
        assert not [i for i in day["work"] if i["work"] == "heavy" and i["tree"] == "Old maple"]
    held = [i for i in made["left_over"] if (i["tree"], i["work"]) == ("Old maple", "heavy")]
    assert held and held[0]["reason"].startswith("heavy cut on 1 June 2025")


# ----------------------------------------------------------------------- sites, emptiness


def test_a_site_that_cannot_answer_leaves_the_others_theirs(tmp_path):
    path = tmp_path / "two.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        book.add_site(DRY, when=WHEN)
        book.add_tree(Tree("Juniper", "juniperus-chinensis", SITE.name), when=WHEN)
        book.add_tree(Tree("Thirsty", "juniperus-chinensis", DRY.name), when=WHEN)
    both = run("agenda", "--on", ON, "--format", "json", book=path)
    found = json.loads(both.stdout)
    assert both.exit_code == 0 and {t["tree"] for t in tasks_in(found)} == {"Juniper"}
    (left,) = found["not_answered"]
    assert left["names"] == ["Thirsty"] and "has no temperatures" in left["reason"]
    assert "NOT ANSWERED" in run("agenda", "--on", ON, book=path).stdout
    alone = run("agenda", "--on", ON, "--site", DRY.name, book=path)
    assert alone.exit_code == 1 and len(alone.stderr.splitlines()) == 1


def test_an_empty_notebook_says_how_to_begin(tmp_path):
    path = tmp_path / "new.sqlite"
    nothing = run("agenda", book=path)
    assert nothing.exit_code == 0 and "sapdial site add" in nothing.stdout
    assert not path.exists()
    data = json.loads(run("agenda", "--format", "json", book=path).stdout)
    assert data["trees"] == [] and tasks_in(data) == []
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
    treeless = run("agenda", "--on", ON, book=path)
    assert treeless.exit_code == 0 and "sapdial tree add" in treeless.stdout
    taxon = run("agenda", "--on", ON, "--species", "boxwood", book=path)
    assert taxon.exit_code == 0 and "boxwood" in taxon.stdout


def test_several_sites_are_named_beside_their_trees():
    found, day = subject("acer-palmatum", "2025-07-20", name="Here")
    there = Subject("There", "Hill", found.outlook)
    sites = [SiteBasis(name, found.outlook.site, found.outlook.record) for name in ("Yard", "Hill")]
    asked = Asked(day, 0.9)
    made = agenda([found, there], sites, day, confidence=0.9, asked=asked)
    text = agenda_text(made)
    assert "Here (Japanese maple) at Yard" in text and "There (Japanese maple) at Hill" in text
    days = plan([found, there], [day], asked)
    assert "There (Japanese maple) at Hill" in plan_text(made, days)
