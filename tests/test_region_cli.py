"""`sapdial calendar --region` answers for several sites and refuses in one line.

What must hold:
- a file of sites, a bundled region and a tag of the notebook each make one calendar, in every form;
- the site of a region has the days of its own calendar; a southern region works;
- a site whose record is too short, or begins later, is left out and named; one site is refused;
- usual frost and heat of any site are told for all, whichever site is the highest;
- a wrong file is one line that names file, line and column; options of one site are refused;
- what stood in the file written to survives a refusal.
"""

import json
from pathlib import Path

import pytest
from own_notebook import sapdial
from test_cli import Command, assert_one_line, daily_file

from timing.errors import DataError
from timing.intake.region_file import read_region

__all__ = ["sapdial"]  # the fixture

HEADER = "name,latitude,longitude,elevation_m,temperatures\n"
TAXA = ("acer-palmatum", "pinus-thunbergii")
ON = ("--on", "2023-06-20")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    daily_file(tmp_path / "low.csv", days=1860)
    daily_file(tmp_path / "high.csv", days=1860, _2018_08_01=-3.0)
    daily_file(tmp_path / "young.csv", first="2021-01-01", days=500)
    daily_file(tmp_path / "unborn.csv", first="2024-01-01", days=500)
    return tmp_path


def sites(folder: Path, *lines: str, header: str = HEADER) -> Path:
    path = folder / "hills.csv"
    path.write_text(header + "".join(f"{line}\n" for line in lines), encoding="utf-8")
    return path


LOW, HIGH = "Low Yard,45.5,7.25,200,low.csv", "High Yard,45.6,7.3,,high.csv"


def test_a_file_of_sites_is_answered(sapdial: Command, folder: Path) -> None:
    where = ("calendar", *TAXA, "--region", sites(folder, LOW, HIGH), *ON)
    text = sapdial.answered(*where)
    assert max(map(len, text.splitlines())) <= 80
    assert text.startswith("Safe days for cuts, 2023: hills, 2 sites\n")
    paths = [folder / "out.txt", folder / "out.json"]  # tests/test_calendar_files.py has the others
    told = sapdial.answered(*where, *(word for path in paths for word in ("-o", path)))
    assert told.splitlines() == [f"{path}: 2023, 2 taxa, 2 sites" for path in paths]
    assert (folder / "out.txt").read_text(encoding="utf-8") == text
    found = json.loads((folder / "out.json").read_text(encoding="utf-8"))
    assert [item["site"]["name"] for item in found["sites"]] == ["Low Yard", "High Yard"]
    assert found["sites"][1]["site"]["elevation_m"] is None


def test_a_site_has_the_days_of_its_own_calendar(sapdial: Command, folder: Path) -> None:
    region, alone = folder / "region.json", folder / "alone.json"
    sapdial.answered(*("calendar", *TAXA, "--region", sites(folder, LOW, HIGH), *ON, "-o", region))
    place = ("--latitude", "45.5", "--longitude", "7.25", "--elevation", "200")
    sapdial.answered(
        *("calendar", *TAXA, "--temperatures", folder / "low.csv", *place, *ON, "-o", alone)
    )
    many, single = (json.loads(path.read_text(encoding="utf-8")) for path in (region, alone))
    for one, other in zip(many["species"], single["species"], strict=True):
        for kind, work in other["work"].items():
            assert one["work"][kind]["chance_by_day"]["Low Yard"] == work["chance_by_day"]


def test_sites_that_cannot_answer_are_left_out_and_named(sapdial: Command, folder: Path) -> None:
    young = "Young Yard,45.5,7.25,300,young.csv"
    unborn = "New Yard,45.5,7.25,300,unborn.csv"
    run = sapdial("calendar", *TAXA, "--region", sites(folder, LOW, HIGH, young, unborn), *ON)
    assert run.status == 0
    first, second = run.err.splitlines()
    assert "Young Yard is left out" in first and "at least 3 are needed" in first
    assert second == "region hills: New Yard is left out: its record begins after 2023-06-20"
    assert "Left out: Young Yard" in run.out and "2 sites" in run.out
    run = sapdial("calendar", *TAXA, "--region", sites(folder, LOW, young), *ON)
    assert run.status == 1 and run.out == ""
    assert "1 site can answer and at least 2 are needed; Young Yard is left out" in run.err


def test_a_bundled_region_says_it_is_invented(sapdial: Command) -> None:
    text = sapdial.answered("calendar", "acer-palmatum", "--region", "ARDLESK")
    assert text.count("INVENTED PLACE") == 2
    assert "Ardlesk, 3 sites" in text and "Ardlesk Strand" in text


def test_a_tag_of_the_notebook_makes_a_region(sapdial: Command, folder: Path) -> None:
    place = ("--latitude", "-45.5", "--longitude", "7.25")
    for name, file, tag in (
        ("Lower", "low.csv", "Nursery"),
        ("Upper", "high.csv", "nursery"),
        ("Elsewhere", "low.csv", "other"),
        ("Young", "young.csv", "nursery"),
    ):
        data = ("--temperatures", folder / file)
        sapdial.answered("site", "add", name, *place, "--tag", tag, *data)
    run = sapdial("calendar", "acer-palmatum", "--region", "nursery", *ON)
    assert run.status == 0
    assert "Lower" in run.out and "Upper" in run.out and "° S" in run.out
    assert "Elsewhere" not in run.out
    assert "Young is left out" in run.err
    assert_one_line(sapdial("calendar", "--region", "nurse", *ON), 2, "no tag")
    sapdial.answered("site", "change", "Elsewhere", "--tag", "ardlesk")
    run = sapdial("calendar", "--region", "Ardlesk")
    assert_one_line(run, 2, "give the tag another name")


def test_both_hemispheres_are_refused_in_one_line(sapdial: Command, folder: Path) -> None:
    run = sapdial(
        *("calendar", *TAXA, "--region", sites(folder, LOW, "South,-40,7,100,high.csv"), *ON)
    )
    assert_one_line(run, 1, "Low Yard lies north of the equator and South south of it")


@pytest.mark.parametrize(
    ("header", "lines", "words"),
    [
        ("name,latitude\n", [], "line 1: no column longitude, elevation_m, temperatures"),
        (HEADER, [], "no site below the header"),
        (HEADER, ["A,45,7,low.csv"], "line 2: 4 cells where the header has 5"),
        (HEADER, [LOW, ",45,7,,low.csv"], "line 3, column name: '' is not 1 to 80 letters"),
        (HEADER, ["A\x07b,45,7,,low.csv"], "line 2, column name: 'A?b' holds the character U+0007"),
        (HEADER, ["\u200f,45,7,,low.csv"], "line 2, column name: '?' is not 1 to 80 letters"),
        (
            HEADER,
            ["A\u202eb,45,7,,low.csv"],
            "line 2, column name: 'A?b' holds the character U+202E",
        ),
        (HEADER, ["A,north,7,,low.csv"], "line 2: latitude 'north' is wrong; write decimal"),
        (HEADER, ["A,95,7,,low.csv"], "line 2: latitude '95' is wrong"),
        (HEADER, ["A,nan,7,,low.csv"], "line 2: latitude 'nan' is wrong"),
        (HEADER, ["A,45,181,,low.csv"], "line 2: longitude '181' is wrong"),
        (HEADER, ["A,45,7,high,low.csv"], "line 2: elevation_m 'high' is wrong; write metres"),
        (HEADER, ["A,45,7,99999,low.csv"], "line 2: elevation 99999 m is not a place"),
        (HEADER, ["A,45,7,,"], "line 2: temperatures is blank"),
        (HEADER, [LOW, "", "A,45,7,,none.csv"], "line 4: temperatures 'none.csv' is no file"),
        (HEADER, [LOW, LOW.lower()], "line 3: name 'low yard' stands on line 2 already"),
        (
            HEADER,
            [LOW, LOW.replace(" ", "\u200b\xa0")],
            "line 3: name 'Low??Yard' stands on line 2",
        ),
    ],
)
def test_a_wrong_file_is_named_by_line_and_column(
    folder: Path, header: str, lines: list[str], words: str
) -> None:
    path = sites(folder, *lines, header=header)
    with pytest.raises(DataError) as caught:
        read_region(path)
    assert str(caught.value).startswith(f"{path}")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_refusals_are_one_line_and_leave_files_alone(sapdial: Command, folder: Path) -> None:
    good = sites(folder, LOW, HIGH)
    kept = folder / "kept.txt"
    kept.write_text("mine", encoding="utf-8")
    (folder / "bad.csv").write_text("date,tmin_c,tmax_c\n2020-01-01,x,3\n", encoding="utf-8")
    for status, words, arguments in (
        (2, "--sample exclude each other", (good, "--sample", "coast")),
        (2, "--site exclude each other", (good, "--site", "Yard")),
        (2, "--temperatures exclude each other", (good, "--temperatures", folder / "low.csv")),
        (2, "--latitude exclude each other", (good, "--latitude", "45")),
        (2, "--observations belong to one site", (good, "--observations", folder / "low.csv")),
        (2, "must end in one of", (good, "-o", folder / "out.docx")),
        (2, "cannot be read", (folder / "none.csv",)),
        (2, "no bundled region (Ardlesk)", ("Nowhere",)),
        (2, "no bundled region (Ardlesk)", ("",)),
    ):
        run = sapdial("calendar", "--region", *arguments, *ON)
        assert_one_line(run, status, words)
    bad = sites(folder, LOW, "B,45,7,,bad.csv")
    run = sapdial("calendar", "--region", bad, *ON, "-o", kept)
    assert_one_line(run, 1, f"{bad}, line 3, column temperatures: ")
    assert kept.read_text(encoding="utf-8") == "mine"


def test_usual_frost_of_any_site_is_told_once_for_all(sapdial: Command, folder: Path) -> None:
    """The higher of two sites is the milder: its cold days are not those of the region."""
    daily_file(folder / "mild.csv", days=1860, _2018_08_01=9.0)
    hollow, slope = "Cold Hollow,45.5,7.25,200,low.csv", "Mild Slope,45.6,7.3,900,mild.csv"
    where = ("calendar", *TAXA, "--region", sites(folder, hollow, slope), *ON)
    data = json.loads(sapdial.answered(*where, "--format", "json"))
    told = {item["site"]["name"]: " ".join(item["usual_weather"]) for item in data["sites"]}
    assert (
        "frost" not in told["Mild Slope"] and "a hard frost (−10 °C or less)" in told["Cold Hollow"]
    )
    assert data["condition"] == "established"
    days = told["Cold Hollow"].rpartition(": ")[2]
    said = f"near these days at one or more of the sites and forbids cuts there: {days}"
    assert said in " ".join(sapdial.answered(*where).split())
    page = folder / "year.html"
    sapdial.answered(*where, "-o", page)
    assert said in page.read_text(encoding="utf-8")
