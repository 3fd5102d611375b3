"""The command reads the temperature files people have and takes what they do not say.

What must hold:

* ``site add`` and ``site change`` take every option that says what a file does not, and keep whom
  to name for its temperatures;
* computing commands take the file, or a pair, and its unit, and name the source in the answer;
* an option without a file is refused in one sentence.
"""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from intake_writers import ID, access, dwd, ecad, invented, long, own, tenth
from test_cli import Command
from test_intake_formats import WINTER, in_unit, logged, saved

LONGER = invented(1600, dt.date(2016, 1, 1))
PLACE = ("--latitude", "45", "--longitude", "7")


@pytest.fixture
def sapdial(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    return Command(monkeypatch, capsys)


def test_a_site_keeps_whom_to_name(sapdial: Command, tmp_path: Path) -> None:
    low, high, own_file = saved(tmp_path, ecad(LONGER, "TN"), ecad(LONGER, "TX"), own(LONGER))
    book = ("--notebook", tmp_path / "book.sqlite")
    run = sapdial(
        "site", "add", "Yard", *PLACE, "--temperatures", low, "--temperatures", high, *book
    )
    assert run.status == 0 and "tenths of °C" in run.err
    (site,) = sapdial.json("site", "list", *book)["sites"]
    assert "ecad.eu" in site["attribution"] and "source is named" in site["licence"]
    assert site["source"] == "f0 + f1"
    assert (site["temperatures"]["first"], site["temperatures"]["days"]) == ("2016-01-01", 1600)
    assert sapdial("site", "change", "Yard", "--temperatures", own_file, *book).status == 0
    assert sapdial("site", "change", "Yard", "--station", "x", *book).status == 2
    (other,) = saved(tmp_path, dwd(LONGER))
    named = ("--attribution", "me", "--temperatures", other)
    assert sapdial("site", "change", "Yard", *named, *book).status == 0
    (site,) = sapdial.json("site", "list", *book)["sites"]
    assert (site["attribution"], site["licence"]) == ("me", "CC BY 4.0")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (in_unit(LONGER, "f"), ("--units", "f")),
        (long(LONGER) + long(WINTER, station="XX000000002"), ("--station", ID)),
        ("day;low c;high c\n" + "".join(
            f"{day.date:%d/%m/%Y};{tenth(day.low, point=',')};{tenth(day.high, point=',')}\n"
            for day in LONGER if day.date.day < 12), ("--day-first", "--decimal-comma")),
        (logged(dt.datetime(2020, 1, 1), 24 * 40, offset="Z"), ("--time-zone", "Europe/Zurich")),
        (own(LONGER), ("--morning-maximum",)),
        (long(LONGER, hour="0700"), ("--no-morning-maximum",)),
    ],
    ids=["units", "station", "order", "zone", "morning", "not morning"],
)  # fmt: skip
def test_what_a_file_does_not_say_can_be_said_of_a_site(
    sapdial: Command, tmp_path: Path, content: str, words: tuple[str, ...]
) -> None:
    (file,) = saved(tmp_path, content)
    book = ("--notebook", tmp_path / "book.sqlite")
    add = ("site", "add", "Yard", *PLACE, *book)
    run = sapdial(*add, "--temperatures", file, *words)
    assert (run.status, run.out.split()[:3]) == (0, ["added", "site", "Yard"]), run.err
    alone = sapdial("site", "change", "Yard", *words, *book)
    assert alone.status == 2 and "--temperatures" in alone.err


def test_an_answer_reads_the_file_and_names_its_source(sapdial: Command, tmp_path: Path) -> None:
    wide, plain, fahrenheit = saved(tmp_path, access(LONGER), own(LONGER), in_unit(LONGER, "f"))
    ask = ("events", "acer-palmatum", *PLACE, "--on", "2020-03-01", "--temperatures")
    found, expected = sapdial.json(*ask, wide), sapdial.json(*ask, plain)
    assert found["species"] == expected["species"]
    assert "Menne" in json.dumps(found) and "Menne" not in json.dumps(expected)
    assert sapdial.json(*ask, fahrenheit, "--units", "f")["record"]["first"] == "2016-01-01"
    run = sapdial(*ask, fahrenheit)
    assert run.status == 2 and "--units" in run.err and run.err.count("\n") == 1
    run = sapdial("events", "--sample", "humid-continental", "--units", "f")
    assert run.status == 2 and "--temperatures" in run.err
    shown = sapdial("ask", "--help").out
    assert "--units" in shown and "--day-first" not in shown and "--decimal-comma" not in shown
