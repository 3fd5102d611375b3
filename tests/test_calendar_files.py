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
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from icalendar import Calendar
from test_calendar_text import YEAR, made_up, taxon

from cli.main import main
from timing.calendar import YearCalendar
from timing.export.calendar_files import COLUMNS, calendar_csv, calendar_entries
from timing.export.icalendar_file import icalendar_bytes
from timing.language import language
from timing.site import Site
from timing.windows import Window

Run = Callable[..., tuple[int, str, str]]
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
def sapdial(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command in this process: status, stdout, stderr."""

    def run(*arguments: object) -> tuple[int, str, str]:
        words = ("sapdial", "calendar", "acer-palmatum", "--sample", "humid-continental")
        monkeypatch.setattr(sys, "argv", [*words, *map(str, arguments)])
        status = 0
        try:
            main()
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        return status, *capsys.readouterr()

    return run


@pytest.mark.parametrize(
    ("ending", "start"),
    [("html", "<!doctype html>"), ("csv", "site,year,species,"), ("ics", "BEGIN:VCALENDAR")],
)
def test_the_ending_chooses_the_form(sapdial: Run, tmp_path: Path, ending: str, start: str) -> None:
    path = tmp_path / f"year.{ending}"
    status, said, wrong = sapdial("-o", path)
    assert (status, wrong) == (0, "")
    assert said.startswith(f"{path}: 2025, 1 taxon")
    assert path.read_text(encoding="utf-8").startswith(start)


def test_a_page_in_german(sapdial: Run, tmp_path: Path) -> None:
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
        (("--language", "fr"), "'fr' is not one of 'en', 'de', 'es'"),
    ],
)
def test_what_does_not_go_together_is_refused(
    sapdial: Run, arguments: tuple[str, ...], words: str
) -> None:
    status, _, wrong = sapdial(*arguments)
    assert status == 2
    assert words in wrong
