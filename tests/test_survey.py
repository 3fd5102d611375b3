"""`sapdial survey` asks every site of a table, and goes on where it was stopped.

What must hold:
- a site's rows are what the site answers when it is asked by itself;
- windows are the runs of the year at a level, whichever way the year is cut;
- one process or several, killed at any moment and run again: the same bytes;
- a site that fails, or a line that cannot be read, is told and stops nobody; exit 1;
- what changed since (a file, the question, a damaged part) is computed anew, the rest is kept;
- CSV, Parquet and NetCDF hold the same answers; without their packages one line says what to do;
- memory does not hold the table: parts in hand are bounded; workers end with a killed survey;
- openings on a map fall into half months from the widest gap of the year on.
"""

import csv
import itertools
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from survey_runs import PRELOAD, quietly
from test_cli import Command, assert_one_line, daily_file

import timing.survey as survey_module
from timing.answers import outlook, site_drivers
from timing.charts.survey_map import HALF_MONTHS, Places, draw_map, read_places, steps_of
from timing.export.survey_table import write_table
from timing.intake.temperatures import read_temperatures
from timing.season import cycle_day
from timing.site import Site
from timing.species.catalogue import load_species
from timing.survey import run_survey
from timing.survey_parts import (
    SITES_OF_PART,
    Finished,
    Part,
    Question,
    finish,
    parts_folder,
    remove_folder,
)
from timing.survey_rows import windows_of_year

HEADER = "name,latitude,longitude,elevation_m,temperatures\n"
TAXA = ("acer-palmatum", "ficus-microcarpa")
ONE = ("--species", "acer-palmatum")
FILES = 5
SITES = 14  # four parts, the last one short
DAYS = 1290  # three seasons
NEEDS_PROC = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="looks for processes in /proc"
)


@pytest.fixture
def sapdial(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    return Command(monkeypatch, capsys)


@pytest.fixture(scope="module")
def readings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Invented temperature files, the same for all tests; nobody writes to them."""
    folder = tmp_path_factory.mktemp("readings")
    for number in range(FILES):
        daily_file(folder / f"{number}.csv", days=DAYS, _2018_08_01=1.5 * number - 3)
    return folder


@pytest.fixture
def folder(readings: Path, tmp_path: Path) -> Path:
    """A folder of sites, each with a file of its own."""
    lines = []
    for number in range(SITES):
        (tmp_path / f"s{number}.csv").symlink_to(readings / f"{number % FILES}.csv")
        lines.append(f"Site {number},{45 + number / 10},{7 + number / 10},,s{number}.csv\n")
    (tmp_path / "sites.csv").write_text(HEADER + "".join(lines), encoding="utf-8")
    return tmp_path


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---------------------------------------------------------------------------- what it answers


def test_rows_are_what_the_site_answers_by_itself(sapdial: Command, folder: Path) -> None:
    lines = (folder / "sites.csv").read_text(encoding="utf-8").splitlines()[:4]
    (folder / "three.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    out = folder / "out.csv"
    done = sapdial("survey", folder / "three.csv", "-o", out, "--jobs", 1,
                   *(w for taxon in TAXA for w in ("--species", taxon)))  # fmt: skip
    assert (done.status, done.out) == (0, f"{out}: 3 sites, 2 taxa\n")
    assert not parts_folder(out).exists()
    rows = table(out)
    assert [row["site"] for row in rows if row["kind"] == "site"] == ["Site 0", "Site 1", "Site 2"]
    record = read_temperatures(folder / "s1.csv").record
    drivers = site_drivers(record, Site("Site 1", 45.1, 7.1))
    for taxon in TAXA:
        view = outlook(load_species(taxon), record, drivers)
        mine = [row for row in rows if (row["site"], row["taxon"]) == ("Site 1", taxon)]
        events = [row for row in mine if row["kind"] == "event"]
        assert [row["name"] for row in events] == view.event_names()
        for row in events:
            usual = view.usual(row["name"])
            told = None if usual is None else tuple(map(str, usual.dates(2022)))
            assert (told or ("", "", "")) == (row["early"], row["median"], row["late"])
            assert bool(row["note"]) == (usual is None)
            assert row["early"] <= row["median"] <= row["late"]
        for kind in ("heavy", "light", "outline"):
            windows = [row for row in mine if (row["kind"], row["name"]) == ("work", kind)]
            chance = view.odds[kind].chance
            safe = {
                str(day)
                for row in windows
                if row["level"] == "safe"
                for day in np.arange(row["opens"], np.datetime64(row["closes"]) + 1, dtype="M8[D]")
            }
            assert len(safe) == int((chance >= 0.9 - 1e-9).sum())
            assert all(chance[cycle_day(np.array(list(safe), "M8[D]"))] >= 0.9 - 1e-9)
            best = max(float(row["best_chance"]) for row in windows)
            assert best == pytest.approx(chance.max(), abs=5e-5)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 364), st.integers(1, 364)), max_size=4),
    st.floats(0.3, 0.95),
)
def test_windows_are_the_runs_of_a_year_that_closes_on_itself(
    runs: list[tuple[int, int]], level: float
) -> None:
    chance = np.zeros(365)
    for start, days in runs:
        chance[(start + np.arange(days)) % 365] = level
    found = windows_of_year(chance, level)
    covered = np.zeros(365)
    new_year = np.datetime64("2022-01-01", "D")
    for opens, days, best in found:
        assert 0 <= opens < 365
        assert best == level
        covered[cycle_day(new_year + opens + np.arange(days))] += 1
    assert (covered == (chance >= level)).all()
    first = [int(cycle_day(np.asarray(new_year + opens))) for opens, *_ in found]
    if covered.sum() < 365:
        assert all(chance[day - 1] == 0 for day in first)
    assert [days for _, days, _ in found] == sorted((d for _, d, _ in found), reverse=True)


def test_the_same_answers_stand_in_every_form(folder: Path) -> None:
    pandas, xarray = pytest.importorskip("pandas"), pytest.importorskip("xarray")
    done = run_survey(folder / "sites.csv", folder / "o", TAXA[:1], confidence=0.9, workers=1,
                      tell=lambda *_: None)  # fmt: skip
    for suffix in ("csv", "parquet", "nc"):
        write_table(folder / f"o.{suffix}", done.parts, TAXA[:1])
    plain = table(folder / "o.csv")
    frame = pandas.read_parquet(folder / "o.parquet")
    assert list(frame.columns) == list(plain[0])
    assert len(frame) == len(plain)
    for name in ("median", "opens", "site", "note"):
        text = [
            "" if blank else str(v)
            for v, blank in zip(frame[name], frame[name].isna(), strict=True)
        ]
        assert text == [row[name] for row in plain]
    with xarray.open_dataset(folder / "o.nc") as grid:
        for row in plain:
            here = grid.sel(site=row["site"])
            if row["kind"] == "event" and row["median"]:
                day = here["median"].sel(taxon=row["taxon"], event=row["name"]).values
                assert str(day)[:10] == row["median"]
            if row["kind"] == "work" and row["number"] == "1":
                chosen = here.sel(taxon=row["taxon"], work=row["name"])
                assert str(chosen.opens.values)[:10] == row["opens"]
                assert str(chosen.closes.values)[:10] == row["closes"]
                assert int(chosen.level) == ("none", "marginal", "safe").index(row["level"])
        assert grid.latitude.values[-1] == pytest.approx(45 + (SITES - 1) / 10)
        assert np.isnan(grid.elevation_m.values).all()


# ---------------------------------------------------------------------------- what goes wrong


def test_a_bad_site_is_told_and_stops_nobody(sapdial: Command, folder: Path) -> None:
    (folder / "short.csv").write_text("date,tmin_c,tmax_c\n2020-01-01,1,2\n", encoding="utf-8")
    (folder / "text.csv").write_text("nothing here\n", encoding="utf-8")
    lines = (
        "Good,45,7,10,s0.csv\nShort,45,7,10,short.csv\nNo thermometer,45,7,10,text.csv\n"
        "Absent,45,7,10,absent.csv\nNowhere,145,7,10,s1.csv\ngood,45,7,10,s2.csv\nSix cells,1\n"
        "Last,46,8,,s1.csv\n"
    )
    (folder / "mixed.csv").write_text(HEADER + lines, encoding="utf-8")
    out = folder / "out.csv"
    asked = ("survey", folder / "mixed.csv", "-o", out, "--jobs", 1, *ONE)
    run = sapdial(*asked)
    assert run.status == 1
    rows = [row for row in table(out) if row["kind"] == "site"]
    assert [(row["site"], row["name"]) for row in rows] == [
        ("Good", "answered"), ("Short", "failed"), ("No thermometer", "failed"),
        ("Absent", "failed"), ("Nowhere", "failed"), ("good", "failed"), ("Six cells", "failed"),
        ("Last", "answered"),
    ]  # fmt: skip
    for row, why in zip(
        rows[1:7],
        ("complete seasons", "no header", "is no file", "latitude '145'", "line 2", "2 cells"),
        strict=True,
    ):
        assert why in row["note"]
        assert f"{row['note']}\n" in run.err
    assert run.err.splitlines()[-1].startswith("sapdial: 6 of 8 sites failed")
    # the sites that were well are kept: mended, only the part of the wrong lines is done again
    daily_file(folder / "absent.csv", days=DAYS)
    second = sapdial(*asked)
    assert "computed again" in second.err
    assert next(r["name"] for r in table(out) if r["site"] == "Absent") == "answered"


@pytest.mark.parametrize(
    ("arguments", "holds"),
    [
        (("{folder}", "-o", "{folder}/x.xlsx"), ".csv, .parquet, .nc"),
        (("{folder}/absent", "-o", "{folder}/x.csv"), "no such file or folder"),
        (("{folder}/empty", "-o", "{folder}/x.csv"), "has no sites.csv"),
        (("{folder}", "-o", "{folder}/absent/x.csv"), "there is no folder"),
        (("{folder}", "-o", "{folder}/x.csv", "--map", "{folder}/m.png"), "name it with --species"),
        (
            ("{folder}", "-o", "{folder}/x.csv", "--map", "{folder}/none/m.png", *ONE),
            "there is no folder",
        ),
        (
            ("{folder}", "-o", "{folder}/x.csv", "--map", "{folder}/m.gif", *ONE),
            ".png, .svg, .pdf",
        ),
        (("{folder}", "-o", "{folder}/own.csv"), "holds letter.txt"),
    ],
)
def test_a_wrong_question_is_one_line(
    sapdial: Command, folder: Path, arguments: tuple[str, ...], holds: str
) -> None:
    (folder / "empty").mkdir()
    (folder / "own.csv.parts").mkdir()
    (folder / "own.csv.parts" / "letter.txt").write_text("mine", encoding="utf-8")
    assert_one_line(sapdial("survey", *(a.format(folder=folder) for a in arguments)), 2, holds)
    assert (folder / "own.csv.parts" / "letter.txt").read_text(encoding="utf-8") == "mine"


def test_a_table_that_is_none_is_one_line(sapdial: Command, folder: Path) -> None:
    for text, holds in (("a,b\n1,2\n", "no column name"), (HEADER, "no site below")):
        (folder / "none.csv").write_text(text, encoding="utf-8")
        run = sapdial("survey", folder / "none.csv", "-o", folder / "x.csv", *ONE)
        assert_one_line(run, 1, holds)


@pytest.mark.parametrize(("suffix", "package"), [(".parquet", "pyarrow"), (".nc", "netCDF4")])
def test_without_the_extra_one_line_says_what_to_do(
    sapdial: Command, folder: Path, monkeypatch: pytest.MonkeyPatch, suffix: str, package: str
) -> None:
    monkeypatch.setitem(sys.modules, package, None)  # as if it were not installed
    for name in ("survey_parquet", "survey_netcdf"):
        monkeypatch.delitem(sys.modules, f"timing.export.{name}", raising=False)
    run = sapdial("survey", folder, "-o", folder / f"x{suffix}", *ONE)
    assert_one_line(run, 2, f"needs the package {package}; install 'sapdial[grid]'")


# ---------------------------------------------------------------------------- stopped and resumed


def killed_and_resumed(folder: Path, kills: int, seed: int) -> int:
    """Kill surveys at random moments; returns how many had finished something by then."""
    sites, whole, broken = (folder / n for n in ("sites.csv", "whole.csv", "broken.csv"))
    quietly(sites, whole)
    parts = parts_folder(broken)
    chance = random.Random(seed)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOAD)
    useful = 0
    for number in range(kills):
        process = context.Process(target=quietly, args=(sites, broken))
        process.start()
        wanted = chance.randint(0, SITES // SITES_OF_PART)
        while process.is_alive() and len(list(parts.glob("0*.csv"))) < wanted:
            time.sleep(0.002)
        process.join(chance.uniform(0.0, 0.1))
        process.kill()
        process.join()
        useful += 0 < len(list(parts.glob("0*.csv"))) <= SITES // SITES_OF_PART
        assert not broken.exists() or broken.read_bytes() == whole.read_bytes()
        if chance.random() < 0.4 or number == kills - 1:  # else the next one is killed as well
            quietly(sites, broken)
            assert broken.read_bytes() == whole.read_bytes()
            remove_folder(parts)
            broken.unlink()
    return useful


def test_a_survey_killed_at_random_moments_goes_on_to_the_same_bytes(folder: Path) -> None:
    assert killed_and_resumed(folder, kills=6, seed=1) > 0


@pytest.mark.slow
def test_two_hundred_kills_change_no_byte(folder: Path) -> None:
    assert killed_and_resumed(folder, kills=200, seed=2) > 20


def test_what_is_finished_is_kept_and_what_changed_is_computed_anew(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sites, out = folder / "sites.csv", folder / "out.csv"

    def states() -> list[str]:
        told: list[str] = []
        run_survey(sites, out, TAXA[:1], confidence=0.9, workers=1,
                   tell=lambda _done, _total, part: told.append(part.state))  # fmt: skip
        return told

    assert states() == ["computed"] * 4
    assert states() == ["kept"] * 4
    (folder / "s9.csv").unlink()  # a link: the file of other tests stays as it is
    daily_file(folder / "s9.csv", days=DAYS, _2018_08_01=2.25)
    assert states() == ["kept", "kept", "anew", "kept"]
    part = parts_folder(out) / "0000001.csv"
    part.write_text(part.read_text(encoding="utf-8")[:-40], encoding="utf-8")  # damaged
    assert states() == ["kept", "computed", "kept", "kept"]
    text = sites.read_text(encoding="utf-8").replace("Site 13,46.3", "Site 13,46.4")
    sites.write_text(text, encoding="utf-8")
    assert states() == ["kept"] * 3 + ["anew"]
    monkeypatch.setattr(survey_module, "program", lambda: "another version")
    assert states() == ["anew"] * 4


def test_two_processes_give_the_bytes_of_one_and_have_few_parts_in_hand(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quietly(folder / "sites.csv", folder / "one.csv")
    monkeypatch.setattr(survey_module, "AHEAD", 1)
    read, done = itertools.count(), 0
    ahead: list[int] = []
    parts = survey_module._parts

    def counted(table: Path, to: Path) -> Iterator[Part]:
        for part in parts(table, to):
            ahead.append(next(read) + 1 - done)
            yield part

    monkeypatch.setattr(survey_module, "_parts", counted)

    def tell(_done: int, _total: int, _part: Finished) -> None:
        nonlocal done
        done += 1

    run = run_survey(folder / "sites.csv", folder / "two.csv", TAXA[:1], confidence=0.9, workers=2,
                     tell=tell)  # fmt: skip
    write_table(folder / "two.csv", run.parts, TAXA[:1])
    assert (folder / "one.csv").read_bytes() == (folder / "two.csv").read_bytes()
    assert len(ahead) == 4
    assert max(ahead) <= 3  # two at work, and the one just handed in


def interrupted(folder: Path, *, by: signal.Signals) -> tuple[int, str, list[str]]:
    """Stop a survey of two processes once it has finished something: status, stderr, workers."""
    words = ("survey", folder, "-o", folder / "out.csv", *ONE, "--jobs", 2)
    survey = subprocess.Popen(
        [sys.executable, "-m", "cli.main", *map(str, words)],
        cwd=Path(survey_module.__file__).parents[1],
        stderr=subprocess.PIPE,
        encoding="utf-8",
        start_new_session=True,
    )
    parts = parts_folder(folder / "out.csv")
    while not list(parts.glob("0*.csv")) and survey.poll() is None:
        time.sleep(0.02)
    children = Path(f"/proc/{survey.pid}/task/{survey.pid}/children").read_text().split()
    if by == signal.SIGINT:
        os.killpg(survey.pid, by)  # as a terminal does
    else:
        survey.send_signal(by)
    _, err = survey.communicate(timeout=60)
    return survey.returncode, err, children


@NEEDS_PROC
def test_workers_end_with_a_killed_survey(folder: Path) -> None:
    _, _, children = interrupted(folder, by=signal.SIGKILL)
    assert len(children) >= 2
    until = time.monotonic() + 60
    while any(Path(f"/proc/{child}").exists() for child in children):
        assert time.monotonic() < until, "a worker outlived its survey"
        time.sleep(0.05)


@pytest.mark.slow
@NEEDS_PROC
def test_ctrl_c_stops_a_survey_in_one_line(folder: Path) -> None:
    status, err, _ = interrupted(folder, by=signal.SIGINT)
    assert (status, err.splitlines()[-1]) == (130, "sapdial: stopped")
    assert "Traceback" not in err
    quietly(folder / "sites.csv", folder / "out.csv")
    quietly(folder / "sites.csv", folder / "whole.csv")
    assert (folder / "out.csv").read_bytes() == (folder / "whole.csv").read_bytes()


def test_the_answers_of_a_part_do_not_hang_on_its_neighbours(folder: Path) -> None:
    """Chill is counted together, dates are not: alone or in a part a site has the same rows."""
    question = Question(TAXA[:1], 0.9, "")
    items = tuple(survey_module.listed_sites(folder / "sites.csv"))[:4]
    finish(Part(folder / "together.csv", items), question)
    apart = []
    for number, item in enumerate(items):
        finish(Part(folder / f"{number}-alone.csv", (item,)), question)
        apart += (folder / f"{number}-alone.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert (folder / "together.csv").read_text(encoding="utf-8").splitlines()[1:] == apart


# ---------------------------------------------------------------------------- the map


@given(st.lists(st.integers(0, 364), min_size=1, max_size=30))
def test_steps_hold_every_opening_in_the_order_of_its_year(days: list[int]) -> None:
    steps, step = steps_of(np.array([*days, np.nan]))
    assert step[-1] == -1
    assert 1 <= len(steps) <= 7
    starts = [int((half - np.datetime64("2022-01-01")).astype(int)) for half in HALF_MONTHS]
    for day, at in zip(days, step, strict=False):
        half = max(n for n, start in enumerate(starts) if start <= day)
        assert half in steps[at]
    widths = {len(halves) for halves in steps}
    assert len(widths) == 1


def test_openings_around_new_year_are_not_torn_apart() -> None:
    steps, step = steps_of(np.array([355.0, 5.0, 340.0, 20.0]))
    assert step.tolist() == [1, 2, 0, 3]
    assert [halves.tolist() for halves in steps] == [[22], [23], [0], [1]]


def test_a_map_is_drawn_and_shows_who_has_no_window(sapdial: Command, folder: Path) -> None:
    lines = (folder / "sites.csv").read_text(encoding="utf-8")
    (folder / "sites.csv").write_text(f"{lines}Gone,45,7,,gone.csv\n", encoding="utf-8")
    out, picture = folder / "out.csv", folder / "map.svg"
    run = sapdial("survey", folder, "-o", out, "--jobs", 1, *ONE, "--map", picture)
    assert run.status == 1
    text = picture.read_text(encoding="utf-8")
    assert "Heavy cuts on Acer palmatum: opening day" in text
    assert "1 more lines name no place" in text
    files = sorted(parts_folder(out).glob("0*.csv"))
    places = read_places(files, "acer-palmatum", "heavy")
    assert len(places.level) == SITES
    assert np.isnan(places.day).tolist() == [level == "none" for level in places.level]


def test_a_grid_is_drawn_as_cells_and_a_single_site_as_a_dot() -> None:
    east, north = (v.ravel() for v in np.meshgrid(np.arange(5.0), np.arange(45.0, 49.0)))
    level = ("safe",) * 18 + ("marginal", "none")
    day = np.where(np.arange(20) < 18, 40.0 + north, np.nan)
    cells = draw_map(Places(east, north, day, level, 0), "acer-palmatum", "light", 0.9)
    drawn = [a for a in cells.get_children() if str(a.get_gid()).startswith("step-")]
    assert len(drawn) == 18
    one = Places(np.array([179.9]), np.array([-41.0]), np.array([3.0]), ("safe",), 0)
    dots = draw_map(one, "acer-palmatum", "heavy", 0.9)
    assert any(a.get_gid() == "step-0" for a in dots.get_children())


def test_a_map_over_the_date_line_stays_in_one_piece() -> None:
    places = Places(np.array([178.0, -178.0]), np.array([-40.0, -41.0]), np.array([3.0, 9.0]),
                    ("safe", "safe"), 0)  # fmt: skip
    figure = draw_map(places, "acer-palmatum", "heavy", 0.9)
    (dots,) = (a for a in figure.get_children() if a.get_gid() == "step-0")
    left, right = np.asarray(dots.get_xdata())  # type: ignore[attr-defined]
    assert 0.75 < left < right < 8.5
