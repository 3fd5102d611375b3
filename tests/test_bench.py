"""Asking from the notebook: sites, trees, shelters, observed dates, work done.

What must hold
- `--site` gives the answer the same file gives; the only site needs no naming; two do
- exactly one source of temperatures
- a tree's answer names the record that forbids a cut; a warm shelter makes its spring earlier
- dates seen tune the answer of the site and stand for themselves this season
- trees under other shelters do not tune each other; a tree's own date counts before its neighbours'
"""

from __future__ import annotations

import datetime as dt
import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from sites import exact

from cli.benches import benches_of
from cli.main import main
from timing.answers import site_drivers
from timing.events import season_events
from timing.intake.samples import find_sample, sample_record
from timing.notebook.model import NotebookSite, ObservedDate, Shelter, Tree, WorkDone
from timing.notebook.readings import Readings
from timing.notebook.seen import SeenDates
from timing.notebook.store import Notebook
from timing.site import Site
from timing.species.catalogue import load_species

WHEN = dt.datetime(2025, 6, 20, 12)
ON = "2025-06-20"
SITE = NotebookSite("Lower yard", 43.2, -74.6, 210)
FRAME = Shelter("cold frame", 3.0, 5.0, "11-01", "05-15")


def readings():
    record = sample_record(find_sample("humid-continental"), until=np.datetime64(ON))
    return Readings.of(record)


@pytest.fixture(scope="module")
def book_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("bench") / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        for tree in (
            Tree("Old maple", "acer-palmatum", "Lower yard"),
            Tree("Young maple", "acer-palmatum", "Lower yard"),
            Tree("Framed maple", "acer-palmatum", "Lower yard", shelters=(FRAME,)),
            Tree("Strong pine", "pinus-thunbergii", "Lower yard", "vigorous"),
        ):
            book.add_tree(tree, when=WHEN)
        for record in (
            WorkDone("Old maple", "heavy", dt.date(2025, 6, 1), 0.3),
            WorkDone("Strong pine", "repotting", dt.date(2025, 4, 2)),
            ObservedDate("bud_break", dt.date(2025, 4, 25), "Old maple"),
            ObservedDate("bud_break", dt.date(2025, 4, 29), "Young maple"),
            ObservedDate("bud_break", dt.date(2025, 4, 4), "Framed maple"),
            ObservedDate("bud_break", dt.date(2024, 5, 9), "Young maple"),
        ):
            book.add_record(record, when=WHEN)
    return path


@dataclass(frozen=True)
class Run:
    """What one run of the command printed, and its exit status."""

    exit_code: int
    stdout: str
    stderr: str


def run(*arguments: str, book: Path | None = None) -> Run:
    extra = ("--notebook", str(book)) if book else ()
    out, errors, status = io.StringIO(), io.StringIO(), 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(errors):
        patch.setattr(sys, "argv", ["sapdial", *arguments, *extra])
        try:
            main()
        except SystemExit as stop:
            status = int(stop.code or 0)
    return Run(status, out.getvalue(), errors.getvalue())


def told(*arguments: str, book: Path):
    result = run(*arguments, "--on", ON, "--format", "json", book=book)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_the_only_site_needs_no_naming(book_path):
    named = told("ask", "fagus-crenata", "--work", "heavy", "--site", "lower yard", book=book_path)
    plain = told("ask", "fagus-crenata", "--work", "heavy", book=book_path)
    assert named == plain
    assert named["site"]["name"] == "Lower yard"


def test_a_site_answers_as_its_file_would(tmp_path):
    held = readings()
    lines = [f"{d},{a},{b}" for d, a, b in zip(held.days, held.tmin_c, held.tmax_c, strict=True)]
    file = tmp_path / "yard.csv"
    text = "\n".join(["date,tmin_c,tmax_c", *lines]).replace("nan", "")
    file.write_text(text, encoding="utf-8")
    path = tmp_path / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, held, when=WHEN)
    place = ("--latitude", "43.2", "--longitude", "-74.6", "--elevation", "210")
    from_file = run(
        *("ask", "ulmus-parvifolia", "--temperatures", str(file), *place),
        *("--on", ON, "--format", "json"),
    )
    from_book = run("ask", "ulmus-parvifolia", "--on", ON, "--format", "json", book=path)
    one, two = (json.loads(result.stdout) for result in (from_file, from_book))
    assert one["answers"] == two["answers"]


def test_one_source_of_temperatures(book_path, tmp_path):
    for arguments in (
        ("--site", "Lower yard", "--sample", "humid-continental"),
        ("--sample", "humid-continental", "--latitude", "3"),
        ("--site", "Lower yard", "--latitude", "3"),
        ("--site", "Upper yard"),
    ):
        result = run("ask", "maple", *arguments, book=book_path)
        assert result.exit_code == 2, arguments
        assert len(result.stderr.splitlines()) == 1, result.stderr
    missing = run("ask", "maple", book=tmp_path / "none.sqlite")
    assert missing.exit_code == 2 and "exactly one of --site" in missing.stderr
    named = run("ask", "maple", "--site", "Lower yard", book=tmp_path / "none.sqlite")
    assert named.exit_code in (1, 2) and "Traceback" not in named.stderr


def test_two_sites_must_be_told_apart(tmp_path):
    path = tmp_path / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        book.add_site(NotebookSite("Upper yard", 43.0, -74.0), when=WHEN)
    result = run("ask", "maple", "--on", ON, book=path)
    assert result.exit_code == 2 and "2 sites" in result.stderr
    bare = run("ask", "maple", "--site", "Upper yard", "--on", ON, book=path)
    assert bare.exit_code == 1 and "no temperatures" in bare.stderr


def test_a_tree_is_held_by_its_records(book_path):
    (heavy,) = told("ask", "--tree", "old maple", "--work", "heavy", book=book_path)["answers"]
    assert heavy["verdict"] == "not_safe"
    assert "heavy cut of 30% on 1 June 2025" in heavy["vetoes"][0]
    (young,) = told("ask", "--tree", "Young maple", "--work", "heavy", book=book_path)["answers"]
    assert young["vetoes"] == []
    pine = told("ask", "--tree", "Strong pine", book=book_path)["answers"]
    assert "repotting on 2 April 2025" in pine[0]["vetoes"][0]
    light = next(item for item in pine if item["work"] == "light")
    strong = told(
        *("ask", "pinus-thunbergii", "--condition", "vigorous", "--work", "light"), book=book_path
    )
    assert light["chance"] < strong["answers"][0]["chance"]  # no candles off a repotted tree


def test_a_warm_shelter_makes_an_earlier_spring(book_path):
    def hardened(*arguments):
        view = told("ask", *arguments, "--work", "heavy", book=book_path)["answers"][0]
        return view["windows"][0]["opens"]

    assert hardened("--tree", "Framed maple") < hardened("acer-palmatum")


def test_what_was_seen_stands_for_itself_this_season(book_path):
    events = told("events", "acer-palmatum", book=book_path)["species"][0]
    season = next(item for item in events["seasons"] if item["season"] == 2025)
    seen = season["events"]["bud_break"]
    assert seen["date"] == seen["early"] == seen["late"] == "2025-04-27"  # between the two trees
    assert events["tuned"]["bud_break"]["observations"] == 1  # the one of 2024


def test_dates_of_trees_under_other_shelters_stay_apart(book_path):
    until = np.datetime64(ON)
    with Notebook.open(book_path) as book:

        def seen(tree):
            found = SeenDates.at(book, "Lower yard", until=until).of(book.tree(tree))
            return {str(item.date) for item in found}

        assert seen("Old maple") == {"2025-04-25", "2024-05-09"}
        assert seen("Young maple") == {"2025-04-29", "2024-05-09"}
        assert seen("Framed maple") == {"2025-04-04"}
        early = np.datetime64("2024-01-01")
        assert SeenDates.at(book, "Lower yard", until=early).of(None) == ()


def test_a_tree_and_a_species_are_two_questions(book_path):
    both = run("ask", "maple", "--tree", "Old maple", book=book_path)
    neither = run("ask", book=book_path)
    elsewhere = run("ask", "--tree", "Nobody", "--on", ON, book=book_path)
    for result in (both, neither, elsewhere):
        assert result.exit_code == 2 and len(result.stderr.splitlines()) == 1, result.stderr


def test_assess_takes_the_notebooks_dates(book_path, tmp_path):
    result = run("assess", "--on", ON, "--format", "json", book=book_path)
    assert result.exit_code == 0
    assert "acer-palmatum, buds break (2 dates): not scored; three seasons" in result.stderr
    path = tmp_path / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
    empty = run("assess", "--on", ON, book=path)
    assert empty.exit_code == 2 and "no observed dates" in empty.stderr


def test_compare_takes_the_taxa_of_the_trees(book_path):
    told_ = told("compare", book=book_path)
    assert [item["species"] for item in told_["species"]] == ["acer-palmatum", "pinus-thunbergii"]
    trees = {item["tree"]: item for item in told_["trees"]}
    assert set(trees) == {"Old maple", "Young maple", "Framed maple", "Strong pine"}
    assert [name for name, item in trees.items() if item["under_shelter"]] == ["Framed maple"]
    maple, pine = told_["species"]
    assert maple["observations"] == 1  # that of 2024; a date seen this season stands as seen
    assert maple["events"]["bud_break"]["date"] == "2025-04-27"  # the mean of two trees
    assert pine["observations"] == 0
    text = run("compare", "--on", ON, book=book_path).stdout
    assert "Japanese black pine (Strong pine)" in " ".join(text.split())
    assert "Framed maple under a shelter: the dates are those of the open site." in " ".join(
        text.split()
    )
    assert "stands in" not in text
    named = told("compare", "fagus-crenata", book=book_path)
    assert [item["species"] for item in named["species"]] == ["fagus-crenata"]
    assert named["trees"] == []


def test_calendar_and_events_take_the_taxa_of_the_trees(book_path):
    own = ["acer-palmatum", "pinus-thunbergii"]
    for command in ("calendar", "events"):
        found = told(command, book=book_path)
        assert [item["species"] for item in found["species"]] == own, command
        found = told(command, "fagus-crenata", book=book_path)
        assert [item["species"] for item in found["species"]] == ["fagus-crenata"], command
    sample = run("events", "--sample", "coast", "--format", "json", book=book_path)
    assert len(json.loads(sample.stdout)["species"]) == 8


def test_the_same_warning_is_told_once(tmp_path):
    path = tmp_path / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        for name in ("One", "Two", "Three"):
            book.add_tree(Tree(name, "acer-palmatum", SITE.name), when=WHEN)
            day = dt.date(2024, 5, 8) + dt.timedelta(days=len(name))
            book.add_record(ObservedDate("bud_break", day, name), when=WHEN)
        book.add_record(ObservedDate("bud_break", dt.date(1980, 5, 1), "One"), when=WHEN)
        book.add_record(ObservedDate("leaf_fall", dt.date(2023, 6, 1), "Two"), when=WHEN)
    result = run("agenda", "--on", ON, book=path)
    assert result.exit_code == 0
    told_ = result.stderr.splitlines()
    assert len(told_) == 2 and len(set(told_)) == 2, told_
    assert any("1 observation left out" in line for line in told_)
    assert any("record 5: 2023-06-01 cannot be leaf_fall" in line for line in told_)


def noted(tmp_path, *dates: tuple[str, str]):
    """A notebook with one maple and dates noted by the command; what each was told on stderr."""
    path = tmp_path / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        book.add_tree(Tree("Maple", "acer-palmatum", SITE.name), when=WHEN)
    said = []
    for event, day in dates:
        result = run("record", "add", event, "--tree", "Maple", "--on", day, book=path)
        assert result.exit_code == 0
        said.append(" ".join(result.stderr.split()))
    return path, said


@pytest.mark.parametrize("event", ["bud_break", "leaf_full_size", "flush_hardened"])
def test_a_slip_of_months_in_this_season_makes_no_tree_safe(tmp_path, event):
    asked = ("ask", "--tree", "Maple", "--work", "heavy", "--on", "2025-05-10", "--format", "json")
    path, (said,) = noted(tmp_path, (event, "2025-01-30"))
    assert said.startswith(f"record 1: 2025-01-30 cannot be {event} of acer-palmatum here")
    assert "sapdial record change 1 --on DATE" in said
    result = run(*asked, book=path)
    (answer,) = json.loads(result.stdout)["answers"]
    assert answer["verdict"] == "not_safe" and answer["chance"] < 0.1
    assert f"record 1: 2025-01-30 cannot be {event}" in result.stderr
    assert "Warning" not in result.stderr


def test_what_is_noted_is_judged_by_its_own_season(tmp_path):
    _, said = noted(
        tmp_path,
        ("bud_break", "2024-05-02"),
        ("bud_break", "2024-05-09"),
        ("bud_break", "2023-11-02"),
        ("leaf_fall", "2023-10-25"),
        ("sap_rise", "2024-12-28"),
        ("sap_rise", "2022-12-30"),
        ("bud_break", "2022-03-25"),
    )
    assert said[0] == said[3] == said[5] == ""
    assert "record 1 has 2024-05-02 for the same event; neither is used" in said[1]
    assert "2023-11-02 cannot be bud_break" in said[2]
    assert "days before the sap_rise of acer-palmatum expected here (2025-" in said[4]
    assert "answers believe the date noted" in said[6]
    record = sample_record(find_sample("humid-continental"), until=np.datetime64(ON))
    drivers = site_drivers(record, Site(SITE.name, SITE.latitude, SITE.longitude))
    row = drivers.row_of(2022)
    told = season_events(exact("acer-palmatum"), drivers).days["bud_break"][row, 0]
    answers = drivers.starts[row] + int(told)
    away = (answers - np.datetime64("2022-03-25")).astype(int)
    assert f"2022-03-25 is {away} days before the bud_break" in said[6]
    assert f"expected here ({answers})" in said[6]  # the date that an answer would tell


def test_two_dates_of_one_tree_are_not_averaged(tmp_path):
    path, _ = noted(tmp_path, ("bud_break", "2025-04-20"), ("bud_break", "2025-04-30"))
    maple = told("compare", "--on", ON, book=path)["species"][0]
    assert maple["events"]["bud_break"]["date"] not in ("2025-04-20", "2025-04-25")
    warned = run("compare", "--on", ON, book=path).stderr
    assert "records 1, 2: two dates of bud_break of acer-palmatum; neither is used" in warned
    path.unlink()
    path, _ = noted(tmp_path, ("bud_break", "2025-04-20"), ("bud_break", "2025-01-05"))
    maple = told("compare", "--on", ON, book=path)["species"][0]
    assert maple["events"]["bud_break"]["date"] == "2025-04-20"  # the other cannot be


def test_hazards_noted_for_a_site_are_obeyed_by_every_answer(tmp_path):
    path = tmp_path / "notebook.sqlite"
    with Notebook.open(path, create=True) as book:
        book.add_site(SITE, readings(), when=WHEN)
        book.add_tree(Tree("Elm", "ulmus-parvifolia", SITE.name), when=WHEN)
    asked = ("ask", "--tree", "Elm", "--work", "light")
    calendar = ("calendar", "ulmus-parvifolia", "--on", ON, "-o")

    def drawn(name):
        assert run(*calendar, str(tmp_path / name), book=path).exit_code == 0
        return (tmp_path / name).read_text("utf-8")

    free = told(*asked, book=path)
    named = told(*asked, "--hazard", "elm-disease", book=path)
    with_name = run(*calendar, str(tmp_path / "a.csv"), "--hazard", "elm-disease", book=path)
    assert with_name.exit_code == 0
    refused = run("site", "change", SITE.name, "--hazard", "elm-diseas", book=path)
    assert refused.exit_code == 2 and "the hazards are" in refused.stderr
    changed = run("site", "change", SITE.name, "--hazard", "elm-disease", book=path)
    assert changed.stdout == "changed site Lower yard: hazards elm-disease\n"
    noted = told(*asked, book=path)
    assert noted["answers"] == named["answers"] != free["answers"]
    assert noted["site"]["hazards"] == ["elm-disease"]
    assert told(*asked, "--hazard", "elm-disease", book=path)["answers"] == named["answers"]
    text = " ".join(run(*asked, "--on", ON, book=path).stdout.split())
    assert "Noted for this site: Dutch elm disease; closed seasons are obeyed." in text
    assert "Closed season: Dutch elm disease (noted for this site)" in text
    assert drawn("b.csv") == (tmp_path / "a.csv").read_text("utf-8")
    assert "Noted for this site: Dutch elm disease" in " ".join(drawn("b.txt").split())
    agenda = told("agenda", book=path)
    assert {item["topic"] for item in agenda["vetoes"]} == {"hazard"}
    shown = run("agenda", "--on", ON, book=path).stdout
    assert "Noted for this site" in shown
    held = shown.partition("HELD BACK")[2].split()
    assert " ".join(held).startswith(
        "Heavy cuts, light refinement, winter outline work: Elm (Chinese elm) "
        "Dutch elm disease: closed 1 April to 30 September 2025"
    )
    taken = run("site", "change", SITE.name, "--hazard", "", book=path)
    assert taken.stdout == "changed site Lower yard: hazards none\n"
    assert told(*asked, book=path) == free


def test_the_notebook_is_read_as_often_for_many_trees_as_for_few(tmp_path, monkeypatch):
    reads = []
    read = Notebook.records
    monkeypatch.setattr(Notebook, "records", lambda *a, **k: reads.append(k) or read(*a, **k))
    counts = []
    for number in (2, 5):
        reads.clear()
        with Notebook.open(tmp_path / f"{number}.sqlite", create=True) as book:
            book.add_site(SITE, readings(), when=WHEN)
            for tree in range(number):
                book.add_tree(Tree(f"Tree {tree}", "acer-palmatum", SITE.name), when=WHEN)
                day = dt.date(2024, 5, 1 + tree)
                book.add_record(ObservedDate("bud_break", day, f"Tree {tree}"), when=WHEN)
            taxa = {"acer-palmatum": load_species("acer-palmatum")}
            found = list(benches_of(book, book.trees(), np.datetime64(ON), taxa=taxa))
        dates = {known.bench.observed[0].date for _, known in found}
        assert len(dates) == number  # each by its own dates
        counts.append(len(reads))
    assert counts[0] == counts[1]
