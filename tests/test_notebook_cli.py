"""`sapdial site`, `tree` and `record` keep a notebook, refuse in one line and ask before removing.

What must hold:

* what is added is listed and shown, in text within 80 columns and in strict JSON that says all the
  text says; names may be anything that can be shown;
* looking never makes a file; an empty notebook says how to begin;
* a wrong name, date, event or option is one line on stderr, status 2; a file that cannot answer is
  one line, status 1; the notebook is as it was;
* the notebook is the one named, or the one of the environment, or one in the user's own folder.
"""

import csv
import datetime as dt
import json
import os
import shlex
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from own_notebook import sapdial
from test_cli import Command, Run, assert_one_line, daily_file, installed, is_date, strict_json

__all__ = ["sapdial"]  # the fixture

from cli.main import COMMANDS

YARD = "Bäckyard 'n' shed"
TREE = 'Old "maple"; DROP TABLE 🌳'
WIDTH = 80


@pytest.fixture
def daily(tmp_path: Path) -> Path:
    return daily_file(tmp_path / "daily.csv", days=400)


@pytest.fixture
def bench(sapdial: Command, daily: Path) -> Command:
    """A notebook with one site, one tree under a frame, and a record of every kind."""
    place = ("--latitude", "45.5", "--longitude", "-7.25", "--elevation", "340")
    tags = ("--tag", "garden", "--tag", "north wall")
    sapdial.answered("site", "add", YARD, *place, *tags, "--temperatures", daily)
    sapdial.answered("tree", "add", TREE, "--species", "Japanese maple", "--pot", "38")
    frame = ("--kind", "cold frame", "--warmer-nights", "3", "--warmer-days", "-1.5")
    sapdial.answered("tree", "shelter", TREE, *frame, "--from", "11-01", "--until", "03-31")
    sapdial.answered("record", "add", "bud-break", "--tree", TREE, "--on", "2024-04-12")
    sapdial.answered(
        *("record", "add", "heavy", "--tree", TREE, "--on", "2024-06-02", "--fraction", "0.3")
    )
    sapdial.answered(
        *("record", "add", "running", "--tree", TREE, "--on", "2024-05-01", "--place", "low left")
    )
    return sapdial


def everything(sapdial: Command) -> list[Any]:
    return [sapdial.json(sort, "list") for sort in ("site", "tree", "record")]


def refused(run: Run, status: int, *holds: str) -> None:
    assert_one_line(run, status, holds[0])
    for word in holds:
        assert word in run.err


# ---------------------------------------------------------------------------- nothing there yet


@pytest.mark.parametrize("sort", ["site", "tree", "record"])
def test_an_empty_notebook_says_how_to_begin(sapdial: Command, tmp_path: Path, sort: str) -> None:
    text = sapdial.answered(sort, "list")
    assert f"No {sort} in the notebook yet" in text
    assert f"sapdial {sort} add" in text
    assert sapdial.json(sort, "list") == {"schema": f"sapdial-{sort}s-1", f"{sort}s": []}
    refused(sapdial(sort, "show", "1"), 1, "notebook.sqlite", "site add")
    assert list(tmp_path.iterdir()) == []


def test_what_needs_a_notebook_does_not_make_one(sapdial: Command, tmp_path: Path) -> None:
    for words in (
        ("site", "remove", "x", "--yes"),
        ("site", "change", "x", "--rename", "y"),
        ("tree", "add", "x", "--species", "acer-palmatum"),
        ("record", "add", "heavy", "--tree", "x"),
        ("record", "undo"),
        ("record", "export", tmp_path / "out"),
    ):
        refused(sapdial(*words), 1, "no notebook there yet")
    assert list(tmp_path.iterdir()) == []


def test_a_site_that_is_refused_makes_no_notebook(sapdial: Command, tmp_path: Path) -> None:
    (tmp_path / "hot.csv").write_text("date,tmin_c,tmax_c\n2020-07-01,,75\n2020-07-02,,80\n")
    place = ("--latitude", "45", "--longitude", "7")
    for words, status, holds in (
        (("x", "--temperatures", tmp_path / "no.csv", *place), 2, "no.csv"),
        (("x", "--temperatures", tmp_path / "hot.csv", *place), 1, "°F"),
        (("x", "--temperatures", tmp_path / "hot.csv"), 2, "--latitude"),
        (("x", *place), 2, "--temperatures"),
        (("", "--temperatures", tmp_path / "hot.csv", *place), 2, "name"),
        (("a\nb", "--temperatures", tmp_path / "hot.csv", *place), 2, "U+000A"),
        (("x", "--temperatures", tmp_path / "hot.csv", "--latitude", "95", *place[2:]), 2, "95"),
    ):
        refused(sapdial("site", "add", *words), status, holds)
    assert [item.name for item in tmp_path.iterdir()] == ["hot.csv"]


# ---------------------------------------------------------------------------- kept and shown


def test_sites_trees_and_records_are_listed(bench: Command, daily: Path) -> None:
    sites, trees, records = everything(bench)
    assert sites == {
        "schema": "sapdial-sites-1",
        "sites": [
            {
                "site": YARD,
                "latitude": 45.5,
                "longitude": -7.25,
                "elevation_m": 340,
                "hemisphere": "north",
                "tags": ["garden", "north wall"],
                "hazards": [],
                "source": daily.name,
                "attribution": "",
                "licence": "",
                "station": None,
                "forecast": None,
                "notes": [],
                "neighbour": None,
                "neighbour_attribution": None,
                "trees": 1,
                "temperatures": {
                    "first": "2018-08-01",
                    "last": "2019-09-04",
                    "days": 400,
                    "missing_days": 0,
                },
            }
        ],
    }
    assert trees == {
        "schema": "sapdial-trees-1",
        "trees": [
            {
                "tree": TREE,
                "species": "acer-palmatum",
                "site": YARD,
                "condition": "established",
                "pot_cm": 38,
                "note": "",
                "shelters": [
                    {
                        "kind": "cold frame",
                        "tmin_offset_c": 3,
                        "tmax_offset_c": -1.5,
                        "starts": "11-01",
                        "until": "03-31",
                    }
                ],
            }
        ],
    }
    whose = {"tree": TREE, "note": ""}
    assert records == {
        "schema": "sapdial-records-1",
        "records": [
            {
                "number": 1,
                "record": "observation",
                "species": "acer-palmatum",
                "event": "bud_break",
                "date": "2024-04-12",
                "site": YARD,
                **whose,
            },
            {
                "number": 3,
                "record": "runner",
                "place": "low left",
                "begun": "2024-05-01",
                "ended": None,
                "looked": None,
                **whose,
            },
            {
                "number": 2,
                "record": "work",
                "kind": "heavy",
                "date": "2024-06-02",
                "fraction": 0.3,
                **whose,
            },
        ],
    }


@pytest.mark.parametrize("sort", ["site", "tree", "record"])
def test_text_says_what_json_says(bench: Command, sort: str) -> None:
    bench.answered("site", "change", YARD, "--attribution", "nobody " * 30, "--licence", "free")
    bench.answered("tree", "change", TREE, "--note", "leans to the left " * 20)
    bench.answered("record", "change", "1", "--note", "after a warm week " * 20)
    text = bench.answered(sort, "list")
    assert [line for line in text.splitlines() if len(line) > WIDTH or line != line.rstrip()] == []
    flat = " ".join(text.split())
    for value in leaves(bench.json(sort, "list")[f"{sort}s"]):
        if isinstance(value, str) and value not in ("observation", "work", "runner", "north"):
            told = {"11-01": "1 Nov", "03-31": "31 Mar"}.get(value, value)
            assert " ".join(told.split()) in flat
    for item in bench.json(sort, "list")[f"{sort}s"]:
        key = item["number" if sort == "record" else sort]
        assert bench.json(sort, "show", key)[f"{sort}s"] == [item]
        assert bench.answered(sort, "show", key) in text


def leaves(value: Any) -> list[Any]:
    if isinstance(value, dict):
        return [leaf for inner in value.values() for leaf in leaves(inner)]
    if isinstance(value, list):
        return [leaf for inner in value for leaf in leaves(inner)]
    return [value]


def test_lists_can_be_narrowed(bench: Command, daily: Path) -> None:
    place = ("--latitude", "-33", "--longitude", "151", "--temperatures", daily)
    bench.answered("site", "add", "=Roof", *place, "--tag", "Garden")
    bench.answered("site", "add", "Shed", *place)
    bench.answered("tree", "add", "Young", "--species", "quercus-robur", "--site", "=roof")
    alone = ("--species", "oak", "--site", "shed")
    refused(bench("record", "add", "leaf_fall", *alone), 2, "stands for", "quercus-alba")
    alone = ("--species", "quercus-alba", "--site", "shed", "--on", "2023-11-02")
    bench.answered("record", "add", "leaf_fall", *alone)
    tagged = bench.json("site", "list", "--tag", "GARDEN")["sites"]
    assert [site["site"] for site in tagged] == ["=Roof", YARD]
    assert "No site bears" in bench.answered("site", "list", "--tag", "cellar")
    assert [t["tree"] for t in bench.json("tree", "list", "--site", "=ROOF")["trees"]] == ["Young"]
    (seen,) = bench.json("record", "list", "--site", "shed")["records"]
    assert (seen["tree"], seen["species"]) == (None, "quercus-alba")
    assert len(bench.json("record", "list", "--tree", TREE)["records"]) == 3
    refused(bench("record", "list", "--tree", TREE, "--site", "shed"), 2, "not both")
    refused(bench("tree", "add", "x", "--species", "acer-rubrum"), 2, "which site", "Shed")


def test_changes_are_made_where_asked(bench: Command, tmp_path: Path) -> None:
    longer = daily_file(tmp_path / "longer.csv", days=800)
    bench.answered("site", "change", YARD, "--rename", "Yard", "--temperatures", longer)
    bench.answered("site", "change", "yard", "--tag", "", "--latitude", "46")
    (site,) = bench.json("site", "list")["sites"]
    assert (site["site"], site["tags"], site["latitude"]) == ("Yard", [], 46)
    assert (site["source"], site["temperatures"]["days"]) == ("longer.csv", 800)
    words = ("--rename", "Maple", "--condition", "weak", "--pot", "20.5", "--note", "dry")
    bench.answered("tree", "change", TREE, *words)
    bench.answered("tree", "unshelter", "maple", "--kind", "COLD FRAME")
    (tree,) = bench.json("tree", "list")["trees"]
    assert (tree["tree"], tree["condition"], tree["pot_cm"]) == ("Maple", "weak", 20.5)
    assert (tree["note"], tree["shelters"], tree["site"]) == ("dry", [], "Yard")
    bench.answered("record", "change", "3", "--ended", "2024-08-01", "--place", "top")
    bench.answered("record", "change", "2", "--fraction", "0.5", "--on", "2024-06-03")
    bench.answered("record", "change", "1", "--on", "2024-04-01", "--note", "half the buds")
    seen, runner, work = bench.json("record", "list")["records"]
    assert (runner["ended"], runner["place"]) == ("2024-08-01", "top")
    assert (work["fraction"], work["date"]) == (0.5, "2024-06-03")
    assert (seen["date"], seen["note"]) == ("2024-04-01", "half the buds")
    assert {record["tree"] for record in (seen, runner, work)} == {"Maple"}


def test_work_of_today_needs_no_date(bench: Command) -> None:
    before = dt.date.today()
    bench.answered("record", "add", "leaf-removal", "--tree", TREE)
    found = bench.json("record", "list")["records"][-1]
    assert found["kind"] == "leaf_removal"
    assert is_date(found["date"])
    assert before.isoformat() <= found["date"] <= dt.date.today().isoformat()


def test_the_example_of_the_docs_prints_what_it_says(
    sapdial: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = Path(__file__).parents[1] / "docs" / "notebook.md"
    commands, shown = page.read_text(encoding="utf-8").split("```")[1:4:2]
    daily_file(tmp_path / "daily.csv", days=400)
    monkeypatch.chdir(tmp_path)
    lines = commands.removeprefix("sh\n").replace("\\\n", " ").splitlines()
    outputs = [sapdial.answered(*shlex.split(line)[1:]) for line in lines]
    assert len(outputs) == 7
    assert outputs[-1] == shown.removeprefix("\n")


# ---------------------------------------------------------------------------- removed and undone


def test_removing_needs_a_yes_where_stdin_is_closed(
    bench: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    refused(bench("tree", "remove", TREE), 2, "--yes")


def test_removing_needs_a_yes_where_nobody_can_be_asked(bench: Command) -> None:
    before = everything(bench)
    for words in (("site", "remove", YARD), ("tree", "remove", TREE)):
        refused(bench(*words), 2, "--yes")
    assert everything(bench) == before
    assert "1 tree and 3 records" in bench.answered("site", "remove", YARD, "--yes")
    assert bench.json("tree", "list")["trees"] == []
    assert "taken back: removed site" in bench.answered("record", "undo")
    assert everything(bench) == before


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo terminal")
@pytest.mark.parametrize(("typed", "status", "left"), [("n\n", 130, 1), ("y\n", 0, 0)])
def test_removing_asks_at_a_terminal(bench: Command, typed: str, status: int, left: int) -> None:
    import pty  # noqa: PLC0415

    ours, theirs = pty.openpty()
    os.write(ours, typed.encode())
    done = subprocess.run(
        [Path(sys.executable).with_name("sapdial"), "site", "remove", YARD],
        stdin=theirs,
        capture_output=True,
        text=True,
        check=False,
    )
    os.close(theirs)
    os.close(ours)
    assert done.returncode == status
    assert "1 tree and 3 records?" in done.stderr
    assert len(bench.json("site", "list")["sites"]) == left


def test_undo_goes_back_step_by_step_to_the_start(bench: Command) -> None:
    bench.answered("record", "remove", "2")
    states = []
    for _ in range(7):
        states.append(everything(bench))
        assert bench.answered("record", "undo").startswith("taken back: ")
    assert [len(records["records"]) for _, _, records in states] == [2, 3, 2, 1, 0, 0, 0]
    assert [len(sites["sites"]) for sites, _, _ in states] == [1] * 7
    assert bench.json("site", "list")["sites"] == []
    refused(bench("record", "undo"), 1, "nothing to undo")


# ---------------------------------------------------------------------------- out and in again


def test_a_folder_carries_a_notebook_to_another(bench: Command, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert "sites.csv: 1 row" in bench.answered("record", "export", out)
    refused(bench("record", "export", out), 2, "exists already")
    other = ("--notebook", tmp_path / "other.sqlite")
    assert "imported 1 site, 1 tree, 1 shelter, 3 records" in bench.answered(
        "record", "import", out, *other
    )
    assert "already there: 1 site" in bench.answered("record", "import", out, *other)
    before = everything(bench)
    assert [bench.json(sort, "list", *other) for sort in ("site", "tree", "record")] == [
        before[0],
        before[1],
        {**before[2], "records": renumbered(before[2]["records"])},
    ]
    with (out / "trees.csv").open(encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert row["name"] == TREE
    bench.answered("record", "undo", *other)
    assert bench.json("site", "list", *other)["sites"] == []


def renumbered(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The folder holds observations, work, runners in this order and gives new numbers so."""
    order = {"observation": 1, "work": 2, "runner": 3}
    return [{**record, "number": order[record["record"]]} for record in records]


def test_exported_dates_serve_as_observations(bench: Command, tmp_path: Path) -> None:
    bench.answered("record", "export", tmp_path / "out")
    question = ("events", "acer-palmatum", "--sample", "humid-continental", "--format", "json")
    seen = tmp_path / "out" / "observations.csv"
    (item,) = strict_json(bench.answered(*question, "--observations", seen))["species"]
    assert item["tuned"]["bud_break"]["observations"] == 1


def test_a_folder_with_a_wrong_cell_changes_nothing(bench: Command, tmp_path: Path) -> None:
    bench.answered("record", "export", tmp_path / "out")
    work = tmp_path / "out" / "work.csv"
    work.write_text(work.read_text(encoding="utf-8").replace("0.3", "a third"), encoding="utf-8")
    before = everything(bench)
    refused(bench("record", "import", tmp_path / "out"), 1, "work.csv, line 2, column fraction")
    assert everything(bench) == before
    new = tmp_path / "new.sqlite"
    refused(bench("record", "import", tmp_path / "out", "--notebook", new), 1, "work.csv")
    assert not new.exists()
    refused(bench("record", "import", tmp_path / "nowhere"), 2, "nowhere")


# ---------------------------------------------------------------------------- refusals

WRONG = {
    "unknown site": (("site", "show", "Backyard"), YARD),
    "unknown tree": (("tree", "show", "Old mapple"), "Old"),
    "unknown record": (("record", "show", "99"), "no record 99"),
    "huge record": (("record", "remove", str(10**30)), "no record"),
    "record in words": (("record", "show", "first"), "first"),
    "taken tree": (("tree", "add", TREE.upper(), "--species", "acer-rubrum"), "already"),
    "no species": (("tree", "add", "x"), "--species"),
    "several species": (("tree", "add", "x", "--species", "maple"), "acer-"),
    "no such species": (("tree", "add", "x", "--species", "acer-palmatun"), "acer palmatum"),
    "pot": (("tree", "change", TREE, "--pot", "nan"), "--pot"),
    "condition": (("tree", "change", TREE, "--condition", "dead"), "dead"),
    "nothing to change": (("tree", "change", TREE), "say what"),
    "nothing to change, site": (("site", "change", YARD), "say what"),
    "nothing to change, record": (("record", "change", "1"), "say what"),
    "half a span": (
        ("tree", "shelter", TREE, "--kind", "x", "--warmer-nights", "1", "--warmer-days", "1",
         "--from", "11-01"),
        "both its first and its last day",
    ),
    "no such day": (
        ("tree", "shelter", TREE, "--kind", "x", "--warmer-nights", "1", "--warmer-days", "1",
         "--from", "11-31", "--until", "03-01"),
        "11-31",
    ),
    "no offsets": (("tree", "shelter", TREE, "--kind", "x"), "--warmer-nights"),
    "no such shelter": (("tree", "unshelter", TREE, "--kind", "warm frame"), "cold frame"),
    "event the taxon lacks": (("record", "add", "candles-extending", "--tree", TREE), "leaf_fall"),
    "no such event": (("record", "add", "budbreak", "--tree", TREE), "bud_break"),
    "a date to come": (
        ("record", "add", "light", "--tree", TREE, "--on", "2199-01-01"), "still to come"),
    "a date long ago": (("record", "add", "light", "--tree", TREE, "--on", "1799-12-31"), "1800"),
    "no date": (("record", "add", "light", "--tree", TREE, "--on", "12/4/2024"), "--on"),
    "a short date": (("record", "add", "light", "--tree", TREE, "--on", "20240412"), "--on"),
    "ended before it began": (("record", "change", "3", "--ended", "2024-04-01"), "before"),
    "ended work": (("record", "change", "2", "--ended", "2024-07-01"), "--ended does not go"),
    "fraction in per cent": (("record", "change", "2", "--fraction", "30"), "for 30% write 0.3"),
    "fraction below nothing": (
        ("record", "change", "2", "--fraction", "-3"), "fraction -3 is not between 0 and 1"),
    "fraction of a date": (
        ("record", "add", "bud_break", "--tree", TREE, "--fraction", "0.1"), "--fraction"),
    "site and tree": (("record", "add", "bud_break", "--tree", TREE, "--site", YARD), "--site"),
    "neither tree nor species": (("record", "add", "bud_break"), "--tree"),
    "work without a tree": (("record", "add", "heavy"), "--tree"),
    "running where": (("record", "add", "running", "--tree", TREE), "--place"),
    "noted already": (
        ("record", "add", "bud_break", "--tree", TREE, "--on", "2024-04-12"), "record 1"),
    "a folder for a notebook": (("site", "list", "--notebook", "{folder}"), "folder"),
    "no folder": (
        ("record", "import", "{out}", "--notebook", "{folder}/no/n.sqlite"), "does not exist"),
}  # fmt: skip


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One notebook for all refusals, which must leave it alone."""
    folder = tmp_path_factory.mktemp("filled")
    patch = pytest.MonkeyPatch()
    patch.setenv("SAPDIAL_NOTEBOOK", str(folder / "notebook.sqlite"))
    daily = daily_file(folder / "daily.csv", days=30)
    frame = ("--kind", "cold frame", "--warmer-nights", "3", "--warmer-days", "5")
    runner = ("--place", "low left", "--on", "2024-05-01")
    with patch.context():
        for words in (
            ("site", "add", YARD, "--latitude=45", "--longitude=7", "--temperatures", daily),
            ("tree", "add", TREE, "--species", "acer-palmatum"),
            ("tree", "shelter", TREE, *frame),
            ("record", "add", "bud_break", "--tree", TREE, "--on", "2024-04-12"),
            ("record", "add", "heavy", "--tree", TREE, "--on", "2024-06-02"),
            ("record", "add", "running", "--tree", TREE, *runner),
            ("record", "export", folder / "out"),
        ):
            assert run_quietly(words) == 0, words
    patch.undo()
    return folder


def run_quietly(words: tuple[object, ...]) -> int:
    from click.testing import CliRunner  # noqa: PLC0415

    from cli.main import sapdial as group  # noqa: PLC0415

    return CliRunner().invoke(group, [str(word) for word in words]).exit_code


@pytest.mark.parametrize(("words", "holds"), WRONG.values(), ids=WRONG)
def test_a_wrong_word_is_one_line_and_changes_nothing(
    sapdial: Command,
    filled: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    holds: str,
) -> None:
    path = filled / "notebook.sqlite"
    monkeypatch.setenv("SAPDIAL_NOTEBOOK", str(path))
    names = {"{folder}": str(filled), "{out}": str(filled / "out")}
    before = path.read_bytes()
    for old, new in names.items():
        words = tuple(word.replace(old, new) for word in words)
    refused(sapdial(*words), 2, holds)
    assert path.read_bytes() == before


def test_a_file_that_is_no_notebook_is_one_line(bench: Command, tmp_path: Path) -> None:
    path = tmp_path / "notebook.sqlite"
    content = path.read_bytes()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    refused(bench("tree", "list"), 1, "newer version")
    path.write_bytes(content[:4096] + b"\xa5" * (len(content) - 4096))
    refused(bench("tree", "list"), 1, "damaged", "keep this file")
    path.write_text("site,tree\n")
    refused(bench("site", "add", "x", "--latitude=1", "--longitude=1", "--temperatures",
                  tmp_path / "daily.csv"), 1, "not a notebook")  # fmt: skip
    assert path.read_text() == "site,tree\n"


# ---------------------------------------------------------------------------- where it lies


def test_the_default_notebook_lies_in_the_users_own_folder(daily: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    own = {"HOME": str(home), "XDG_DATA_HOME": str(home / "data"), "SAPDIAL_NOTEBOOK": ""}
    assert "begin with" in installed("tree", "list", **own).out
    assert list(home.iterdir()) == []
    place = ("--latitude", "45", "--longitude", "7", "--temperatures", daily)
    run = installed("site", "add", "紅葉 bench", *place, **own)
    assert (run.status, run.err) == (0, "")
    (made,) = home.rglob("*.sqlite")
    assert made.name == "notebook.sqlite"
    assert str(made) in run.out
    assert "紅葉 bench" in installed("site", "list", **own).out
    named = {**own, "SAPDIAL_NOTEBOOK": str(tmp_path / "other.sqlite")}
    assert "begin with" in installed("site", "list", **named).out
    found = installed("site", "list", "--format", "json", "--notebook", made, **named).out
    assert json.loads(found)["sites"][0]["site"] == "紅葉 bench"


@pytest.mark.parametrize("sort", ["site", "tree", "record"])
def test_the_commands_are_named_and_helped(sapdial: Command, sort: str) -> None:
    assert sort in COMMANDS
    group = sapdial(sort, "--help").out
    verbs = [line.split()[0] for line in group.split("Commands:\n")[1].splitlines()]
    assert {"add", "list", "show", "change", "remove"} <= set(verbs)
    for verb in verbs:
        text = sapdial.answered(sort, verb, "--help")
        assert "--notebook FILE" in text
        assert [line for line in text.splitlines() if len(line) > WIDTH] == []
