"""The year's windows as a table and as a calendar file, and the options that write them.

What must hold:
- the table has one row a window with the columns it says; a spreadsheet takes no cell for a
  formula; the lowest chance is never rounded up;
- the calendar file has one all-day entry a safe window, the day after the last as its end; entries
  keep their identity when the odds move; reminders stand so many days before the last day;
- the ending of ``-o`` chooses the form; wrong endings and options that do not go together are
  refused in one sentence.
"""

import csv
import datetime as dt
import io
import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import vobject
from icalendar import Calendar
from PIL import Image
from pypdf import PdfReader
from sites import place
from test_calendar_text import YEAR, made_up, taxon
from test_cli import Asked, Command, Run

from cli.calendar_forms import SUFFIXES
from timing.calendar import YearCalendar, year_calendar
from timing.export.calendar_files import COLUMNS, calendar_csv, calendar_entries
from timing.export.icalendar_file import icalendar_bytes
from timing.language import language
from timing.site import Site
from timing.windows import Window

STAMP = dt.datetime(2025, 6, 20, 12, tzinfo=dt.UTC)


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


def table(calendar: YearCalendar) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(calendar_csv(calendar))))


def with_doubtful() -> YearCalendar:
    row = taxon()
    window = Window(day("2025-05-01"), day("2025-05-09"), 0.59999, YEAR)
    heavy = replace(row.bands[0], marginal=(window,))
    return made_up(replace(row, bands=(heavy, *row.bands[1:])))


def test_one_row_a_window() -> None:
    calendar = with_doubtful()
    rows = table(calendar)
    assert tuple(rows[0]) == COLUMNS
    bands = calendar.rows[0].bands
    assert len(rows) == sum(len(b.safe) + len(b.marginal) for b in bands) == 4
    assert rows[0] == {
        "site": "Nowhere", "year": "2025", "species": "acer-fictum-0",
        "common_name": "made-up maple", "work": "heavy", "opens": "2025-05-01",
        "closes": "2025-05-09", "level": "marginal", "chance_min": "0.599", "seasons": "30",
        "conditions": "", "hazards": "",
    }  # fmt: skip
    for found, window in zip(rows[2:], bands[2].safe, strict=True):
        assert (found["opens"], found["closes"]) == (str(window.opens), str(window.closes))
        assert found["level"] == "safe"
        assert 0.9 <= float(found["chance_min"]) <= window.chance_min
        assert found["conditions"] == "on a dry day"


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)"])
def test_no_cell_is_a_formula(name: str) -> None:
    row = taxon(0, name)
    row = replace(row, bands=tuple(replace(band, limits=(name,)) for band in row.bands))
    for found in table(made_up(row, site=Site(name, 45.0, 7.0))):
        assert found["site"] == found["common_name"] == found["conditions"] == f"'{name}"


def test_names_with_commas_quotes_and_lines_come_back() -> None:
    name = 'a, "b"\nc 🌳'
    assert {row["site"] for row in table(made_up(site=Site(name, 45.0, 7.0)))} == {name}


def parsed(calendar: YearCalendar, alarm_days: int | None = None) -> list[Calendar]:
    data = icalendar_bytes(calendar_entries(calendar, alarm_days), title="t", stamp=STAMP)
    return list(Calendar.from_ical(data).walk("VEVENT"))


def test_one_entry_a_safe_window() -> None:
    calendar = made_up()
    safe = [window for band in calendar.rows[0].bands for window in band.safe]
    events = parsed(calendar)
    assert len(events) == len(safe) == 3
    for event, window in zip(events, safe, strict=True):
        assert event["dtstart"].dt == window.opens.item()
        assert event["dtend"].dt == window.closes.item() + dt.timedelta(days=1)
    first = events[0]
    assert first["summary"] == "heavy cuts: made-up maple (Nowhere)"
    for words in ("INVENTED PLACE", "Local rules", "made-up.csv", "at least 90%", "20 June 2025"):
        assert words in first["description"], words
    assert len({event["uid"] for event in events}) == 3


def test_an_entry_keeps_its_identity_when_its_days_move() -> None:
    calendar = made_up()
    row = calendar.rows[0]
    (window,) = row.bands[0].safe
    moved = replace(window, opens=window.opens + 3)
    heavy = replace(row.bands[0], safe=(moved,))
    later = replace(calendar, rows=(replace(row, bands=(heavy, *row.bands[1:])),))
    assert [e["uid"] for e in parsed(calendar)] == [e["uid"] for e in parsed(later)]
    other = replace(calendar, site=Site("Elsewhere", 45.0, 7.0))
    assert not {e["uid"] for e in parsed(calendar)} & {e["uid"] for e in parsed(other)}


def test_a_window_keeps_its_identity_when_another_vanishes() -> None:
    """At a higher confidence the middle one of a southern red oak's three windows is gone."""
    southern = place("southern-temperate").outlook("quercus-rubra")
    found = []
    for confidence in (0.9, 0.95):
        (row,) = year_calendar([southern], YEAR, confidence=confidence).rows
        heavy = [band for band in row.bands if band.kind == "heavy"]
        calendar = made_up(replace(row, bands=tuple(heavy)))
        found.append([(e.uid, e.first.month) for e in calendar_entries(calendar)])
    more, fewer = found
    assert [month for _, month in more] == [1, 8, 12]
    assert fewer == [more[0], more[2]]


def test_windows_of_one_rule_are_numbered() -> None:
    row = taxon()
    parts = [
        Window(day(a), day(b), 0.95, YEAR, "x>y 2025")
        for a, b in (("2025-07-01", "2025-07-09"), ("2025-07-12", "2025-07-20"))
    ]
    heavy = replace(row.bands[0], safe=tuple(parts))
    uids = [e.uid for e in calendar_entries(made_up(replace(row, bands=(heavy,))))]
    assert len(set(uids)) == 2


def test_reminders_stand_before_the_last_day_unless_past() -> None:
    entries = calendar_entries(made_up(), 10)
    assert [entry.alarm for entry in entries] == [
        dt.date(2025, 8, 3),  # ten days before 13 August
        None,  # the January window is past on 20 June
        dt.date(2025, 12, 21),
    ]
    assert {entry.alarm for entry in calendar_entries(made_up())} == {None}


def test_a_calendar_file_speaks_the_language_asked_for() -> None:
    entry = calendar_entries(replace(made_up(), language=language("de")))[0]
    assert entry.summary.startswith("starker Schnitt: ")
    assert "an jedem Tag mindestens 90 %" in entry.description


# ---------------------------------------------------------------------------- the command


@pytest.fixture
def sapdial(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Asked:
    """Runs the command in this process: status, stdout, stderr."""

    command = Command(monkeypatch, capsys)

    def run(*arguments: object, sample: tuple[str, str] = ("--sample", "humid-continental")) -> Run:
        return command("calendar", "acer-palmatum", *sample, *arguments)

    return run


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def check_forms(folder: Path) -> None:
    """Every form read back by something that did not write it."""
    with Image.open(folder / "year.png") as picture:
        assert len(picture.convert("RGB").resize((200, 200)).getcolors(40_000) or []) > 20
    root = ElementTree.parse(folder / "year.svg").getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    text = " ".join(part for part in root.itertext() if part.strip())
    assert "Japanese maple" in text
    assert all(len(line) <= 80 for line in (folder / "year.txt").read_text("utf-8").splitlines())
    data = json.loads((folder / "year.json").read_text("utf-8"), parse_constant=pytest.fail)
    assert [item["species"] for item in data["species"]] == ["acer-palmatum"]
    pages = PdfReader(folder / "year.pdf").pages
    size = {tuple(round(float(side)) for side in page.mediabox[2:]) for page in pages}
    assert size == {(595, 842)}  # A4 in points
    assert "Acer palmatum" in pages[0].extract_text()
    page = (folder / "year.html").read_text("utf-8")
    assert page.startswith("<!doctype html>") and page.count("<article ") == 1
    rows = rows_of(folder / "year.csv")
    safe = {(row["opens"], row["closes"]) for row in rows if row["level"] == "safe"}
    events = list(Calendar.from_ical((folder / "year.ics").read_bytes()).walk("VEVENT"))
    other = list(vobject.readOne((folder / "year.ics").read_text("utf-8")).vevent_list)
    assert len(events) == len(other) == len({str(event["uid"]) for event in events}) > 0
    entries = {(str(e["dtstart"].dt), str(e["dtend"].dt - dt.timedelta(days=1))) for e in events}
    assert entries == safe


def test_one_run_writes_every_form(sapdial: Asked, tmp_path: Path) -> None:
    paths = [tmp_path / f"year{suffix}" for suffix in SUFFIXES]
    status, said, wrong = sapdial(*(word for path in paths for word in ("-o", path)))
    assert (status, wrong) == (0, "")
    ending = ": 2025, 1 taxon, Ambrick Corners (invented)"
    assert said.splitlines() == [f"{path}{ending}" for path in paths]
    check_forms(tmp_path)


@pytest.mark.parametrize("where", [("--sample", "coast"), ("--region", "Ardlesk")])
def test_a_format_prints_what_the_file_holds(
    where: tuple[str, str], sapdial: Asked, tmp_path: Path
) -> None:
    for form in ("json", "csv"):
        path = tmp_path / f"year.{form}"
        assert sapdial("-o", path, sample=where)[0] == 0
        assert sapdial("--format", form, sample=where)[1] == path.read_text("utf-8")


def test_a_region_writes_every_form(sapdial: Asked, tmp_path: Path) -> None:
    paths = [tmp_path / f"year{suffix}" for suffix in SUFFIXES]
    words = [word for path in paths for word in ("-o", path)]
    status, said, wrong = sapdial(*words, "--language", "de", sample=("--region", "Ardlesk"))
    assert (status, wrong) == (0, "")
    assert said.splitlines() == [f"{path}: 2025, 1 taxon, 3 sites" for path in paths]
    check_forms(tmp_path)
    data = json.loads((tmp_path / "year.json").read_text("utf-8"))
    rows = rows_of(tmp_path / "year.csv")
    assert {row["site"] for row in rows} == {"Ardlesk"}
    for kind, work in data["species"][0]["work"].items():
        found = [r for r in rows if r["work"] == kind and r["level"] == "safe"]
        assert [(r["opens"], r["closes"]) for r in found] == [
            (run["opens"], run["closes"]) for run in work["safe_at_all"]
        ]
        for row in found:  # the chance is that of the worst site
            first, last = (
                int((day(row[end]) - day("2025-01-01")).astype(int)) for end in ("opens", "closes")
            )
            worst = min(min(chance[first : last + 1]) for chance in work["chance_by_day"].values())
            assert float(row["chance_min"]) == pytest.approx(worst, abs=0.0011)
    page = (tmp_path / "year.html").read_text("utf-8")
    for words_said in ("am ungünstigsten Ort", "Ardlesk Strand", "Orte und Messreihen"):
        assert words_said in page


def test_whole_candles_are_shown_for_vigorous_trees_and_told_of_for_others(
    sapdial: Asked, tmp_path: Path
) -> None:
    """Two weeks of a warm June in which only a strong black pine may lose its candles."""
    june = ("2025-06-16", "2025-06-30")
    for condition, limit, elsewhere in (
        ("established", "a vigorous tree has more days", ", and not in the dates here"),
        ("vigorous", "whole candles only from a vigorous tree", ""),
    ):
        paths = tmp_path / "year.json", tmp_path / "year.pdf"
        words = [word for path in paths for word in ("-o", path)]
        assert sapdial("pinus-thunbergii", "--condition", condition, *words)[0] == 0
        data = json.loads(paths[0].read_text("utf-8"))
        assert data["condition"] == condition
        maple, pine = (item["work"]["light"] for item in data["species"])
        assert limit in pine["conditions"]
        assert not any("vigorous" in text for text in maple["conditions"])
        shown = any(run["opens"] <= june[0] and june[1] <= run["closes"] for run in pine["safe"])
        assert shown is (condition == "vigorous")
        text = "".join(page.extract_text() for page in PdfReader(paths[1]).pages)
        assert f"Only on a vigorous tree{elsewhere}: From" in " ".join(text.split())


def test_a_file_that_cannot_be_written_stops_in_one_line(sapdial: Asked, tmp_path: Path) -> None:
    status, _, wrong = sapdial("-o", tmp_path / "a.csv", "-o", tmp_path / "nowhere" / "b.csv")
    assert status == 2
    assert "cannot be written" in wrong


def test_a_page_in_german(sapdial: Asked, tmp_path: Path) -> None:
    path = tmp_path / "year.html"
    assert sapdial("-o", path, "--language", "de")[0] == 0
    assert '<html lang="de">' in path.read_text(encoding="utf-8")
    assert "Sichere Schnitttage 2025" in sapdial("--language", "de")[1]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("-o", "year.doc"), "must end in one of .png, .svg, .txt, .json, .pdf, .html, .csv, .ics"),
        (("-o", "y.csv", "--language", "de"), "--language goes with all forms but .json and .csv"),
        (("-o", "year.html", "--alarm-days", "3"), "--alarm-days goes with -o FILE.ics"),
        (("--alarm-days", "3"), "--alarm-days goes with -o FILE.ics"),
        (("-o", "year.png", "--format", "csv"), "with --format csv the name must end in .csv"),
        (("--format", "json", "--language", "de"), "goes with all forms but .json and .csv"),
        (("--language", "fr"), "'fr' is not one of 'en', 'de', 'es'"),
    ],
)
def test_what_does_not_go_together_is_refused(
    sapdial: Asked, arguments: tuple[str, ...], words: str
) -> None:
    status, _, wrong = sapdial(*arguments)
    assert status == 2
    assert words in wrong
