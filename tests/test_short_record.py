"""A short record still answers, with wider ranges, and says on how few seasons its odds rest.

Below ten seasons one more is counted in which no day was safe, so that nothing above n / (n + 1)
is said anywhere: a day that was safe in all of eight seasons is marginal at 90%, only one that was
safe in all of nine is safe.

Three, ten and thirty seasons are the last ones of one invented record, so that nothing but their
number differs. The sampling range must be that of Wilson's interval, worked out here by itself.
"""

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from sites import Place, place
from test_bench import run
from test_cli import strict_json

from timing.advice import Answer, answer
from timing.agenda import SiteBasis, agenda
from timing.agenda_tasks import Subject
from timing.answers import outlook
from timing.export.agenda_text import agenda_text
from timing.species.catalogue import load_species
from timing.temperature import record_from_readings

SAMPLE = "humid-continental"
WHERE = ("--latitude", "43.1", "--longitude", "-77.5")
SAID = "Odds rest on {} seasons only, where thirty are wanted"


def first_day(seasons: int) -> np.datetime64:
    """Day on which a record of so many whole seasons begins, where it ends in June."""
    last = place(SAMPLE).record.last
    year = int(str(last)[:4]) - seasons - (1 if str(last)[5:] < "12-31" else 0)
    return np.datetime64(f"{year}-09-01")


@cache
def shortened(seasons: int) -> Place:
    record = place(SAMPLE).record
    since = int((first_day(seasons) - record.first).astype(int))
    days = record.first + np.arange(since, len(record.state))
    low, high = record.raw_tmin_c[since:], record.raw_tmax_c[since:]
    return Place(record_from_readings(days, low, high, source="short"), place(SAMPLE).site)


@cache
def asked(seasons: int, work: str = "heavy") -> Answer:
    return shortened(seasons).ask("acer-palmatum", work)  # type: ignore[arg-type]


def wilson(p: float, n: int) -> float:
    """Width of the 95% interval."""
    z = 1.959964
    return 2 * z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))


@pytest.mark.parametrize("work", ["heavy", "light", "outline"])
def test_the_fewer_the_seasons_the_wider_the_range(work: str) -> None:
    widths = []
    for seasons in (3, 10, 30):
        found = asked(seasons, work)
        assert found.seasons == seasons
        low, high = found.chance_range
        assert 0 <= low <= found.chance <= high <= 1
        assert high - low == pytest.approx(wilson(found.chance, seasons), abs=1e-4)
        widths.append(high - low)
    assert widths[0] > widths[1] > widths[2]


@pytest.mark.parametrize(("seasons", "safe"), [(3, False), (8, False), (9, True)])
def test_few_seasons_say_no_more_than_they_can(seasons: int, safe: bool) -> None:
    usual = shortened(seasons).outlook("acer-palmatum").odds["heavy"]
    running = shortened(seasons + 1).as_of("2025-07-25").today("acer-palmatum", "heavy")
    for odds in (usual, running.odds["heavy"]):
        assert odds.seasons == seasons
        days = np.datetime64("2025-07-25") + np.arange(-180, 180)
        assert odds.at(days).max() == pytest.approx(seasons / (seasons + 1))
        assert bool(odds.windows(0.9, days[180], "north")) is safe
    told = answer(running, "heavy", np.datetime64("2025-07-25"))
    assert told.verdict == "marginal"
    assert told.best_day is not None
    assert told.chance <= told.best_day[1] <= seasons / (seasons + 1) + 1e-9


def test_ten_seasons_are_taken_as_they_are() -> None:
    odds = shortened(10).outlook("acer-palmatum").odds["heavy"]
    assert odds.chance.max() == 1.0


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    paths = {}
    for seasons in (3, 10, 30):
        record = shortened(seasons).record
        days = record.first + np.arange(len(record.state))
        rows = zip(days, record.tmin_c, record.tmax_c, strict=True)
        paths[seasons] = tmp_path_factory.mktemp("short") / "short.csv"
        paths[seasons].write_text(
            "\n".join(["date,tmin_c,tmax_c", *(f"{day},{a:.1f},{b:.1f}" for day, a, b in rows)]),
            encoding="utf-8",
        )
    return paths


@pytest.mark.parametrize("seasons", [3, 30])
def test_every_answer_says_on_how_few_it_rests(
    files: dict[int, Path], tmp_path: Path, seasons: int
) -> None:
    on = str(place(SAMPLE).record.last)
    where = ("--temperatures", str(files[seasons]), *WHERE, "--on", on)
    few = SAID.format(seasons)
    book = ("--notebook", str(tmp_path / "n.sqlite"))
    assert run("site", "add", "Yard", *where[:-2], *book).exit_code == 0
    tree = ("tree", "add", "Old maple", "--species", "acer-palmatum", *book)
    assert run(*tree).exit_code == 0
    for words in (
        ("ask", "acer-palmatum", *where),
        ("calendar", "acer-palmatum", *where),
        ("agenda", "--on", on, *book),
    ):
        done = run(*words)
        assert done.exit_code == 0, done.stderr
        assert (few in " ".join(done.stdout.split())) is (seasons < 20), words
    path = tmp_path / "calendar.json"
    assert run("calendar", "acer-palmatum", *where, "-o", str(path)).exit_code == 0
    agenda = strict_json(run("agenda", "--on", on, *book, "--format", "json").stdout)
    for data in (
        strict_json(run("ask", "acer-palmatum", *where, "--format", "json").stdout),
        strict_json(path.read_text(encoding="utf-8")),
        agenda["sites"][0],
    ):
        told = data["few_seasons"]
        assert (told is None) if seasons == 30 else told.startswith(few)


def test_a_region_names_its_site_of_few_seasons_and_an_empty_file_says_so(
    files: dict[int, Path], tmp_path: Path
) -> None:
    sites = tmp_path / "sites.csv"
    rows = [f"Young,43.1,-77.5,,{files[3]}", f"Old,43.2,-77.5,,{files[30]}"]
    header = "name,latitude,longitude,elevation_m,temperatures"
    sites.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    region = ("calendar", "acer-palmatum", "--region", str(sites), "--year", "2025")
    said = f"Young: {SAID.format(3)}"
    text = " ".join(run(*region).stdout.split())
    assert said in text
    assert f"Old: {SAID.format(30)}" not in text
    paths = [tmp_path / f"year.{end}" for end in ("json", "html", "ics")]
    done = run(*region, *(word for path in paths for word in ("-o", str(path))))
    few = [item["few_seasons"] for item in strict_json(paths[0].read_text())["sites"]]
    assert sorted(text is None for text in few) == [False, True]
    assert said in paths[1].read_text(encoding="utf-8")
    assert "year.ics: 2025, 1 taxon, 2 sites; no safe day, so it holds no entry" in done.stdout


@pytest.mark.parametrize("seasons", [3, 30])
def test_an_agenda_of_few_seasons_tells_its_marginal_days(seasons: int) -> None:
    on = np.datetime64("2025-06-20")
    here = shortened(seasons + 1).as_of(on)
    views = {
        slug: outlook(load_species(slug), here.record, here.drivers, on=on)
        for slug in ("acer-palmatum", "ulmus-parvifolia")
    }
    subjects = [Subject(slug, "Yard", view) for slug, view in views.items()]
    subjects.append(Subject("weak", "Yard", views["acer-palmatum"], condition="weak"))
    found = agenda(subjects, [SiteBasis("Yard", here.site, here.record)], on, confidence=0.9)
    said = " ".join(agenda_text(found).split())
    if seasons == 30:
        assert found.tasks and not found.marginal and "MARGINAL" not in said
        return
    assert not found.tasks and "No day of the coming year reaches 90% for this work" in said
    assert {(item.subject.name, item.work) for item in found.marginal} == {
        *((slug, work) for slug in views for work in ("heavy", "light")),
        ("weak", "light"),
    }
    for item in found.marginal:
        days = item.opens + np.arange((item.closes - item.opens).astype(int) + 1)
        chance = item.subject.outlook.odds[item.work].at(days)
        assert on <= item.opens <= on + 42
        assert chance.min() + 1e-9 >= 0.5 and chance.max() < 0.9
        assert item.best_day == (days[int(chance.argmax())], chance.max())
        day = item.best_day[0].astype(object)
        assert f"best {day.day} {day:%B} ({chance.max():.0%})" in said
