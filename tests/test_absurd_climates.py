"""Climates nobody gardens in, but which a file may hold, get an answer or one sentence.

What must hold for every command and form: no traceback, no warning of an arithmetic that failed
(the suite turns warnings into errors), strict JSON, chances between 0 and 1, early dates before
late ones, and no date outside the years that were asked about.
"""

import csv
import datetime as dt
import io
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from test_cli import Command, sapdial, strict_json

from timing.answers import open_quantiles
from timing.season import Floats

__all__ = ["sapdial"]  # the fixture

TAXA = ("acer-palmatum", "ficus-microcarpa")
MORE_TAXA = (*TAXA, "pinus-thunbergii", "camellia-japonica", "larix-decidua")
FIRST = "2016-01-01"
YEARS = 5
ON = "2020-06-20"
DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
Climate = tuple[Floats, Floats, float, float]  # minima, maxima, latitude, longitude


def days(years: float = YEARS) -> Floats:
    return np.arange(round(365.25 * years), dtype=np.float64)


def year(
    mean: float, swing: float, *, daily: float = 9.0, coldest: int = 20, years: float = YEARS
) -> tuple[Floats, Floats]:
    """Minima and maxima of a smooth year, again and again."""
    middle = mean - swing * np.cos(2 * np.pi * (days(years) - coldest) / 365.25)
    return middle - daily / 2, middle + daily / 2


def without(low: Floats, high: Floats, gone: Callable[[Any], Any]) -> tuple[Floats, Floats]:
    """The same with the months of the year that ``gone`` picks left blank."""
    dates = np.datetime64(FIRST) + days(len(low) / 365.25).astype(np.int64)[: len(low)]
    blank = gone(dates)
    return np.where(blank, np.nan, low), np.where(blank, np.nan, high)


def month(dates: Any) -> Any:
    return dates.astype("datetime64[M]").astype(np.int64) % 12 + 1


def constant(value: float) -> tuple[Floats, Floats]:
    return np.full(len(days()), value), np.full(len(days()), value)


def some_winters_warm() -> tuple[Floats, Floats]:
    """Nights that stay warm through every second winter."""
    low, high = year(25.0, 9.0, daily=6.0)
    winter = np.floor((days() + 182) / 365.25) % 2 == 0
    return np.where(winter, np.maximum(low, 20), low), np.where(winter, np.maximum(high, 25), high)


CLIMATES: dict[str, Climate] = {
    "always 30 °C": (*constant(30.0), 45.0, 7.0),
    "always 15 °C": (*constant(15.0), 45.0, 7.0),
    "always −40 °C": (*constant(-40.0), -75.0, 0.0),
    "every second winter warm": (*some_winters_warm(), 22.0, 114.0),
    "polar night": (*year(-6.0, 14.0, daily=6.0), 78.0, 15.0),
    "tmin = tmax": (*year(9.0, 12.0, daily=0.0), 45.0, 180.0),
}
MORE: dict[str, Climate] = {
    "always 0 °C": (*constant(0.0), 45.0, 7.0),
    "always 5 °C": (*constant(5.0), 45.0, 7.0),
    "always 50 °C": (*constant(50.0), 45.0, 7.0),
    "summers of 50 °C": (*year(28.0, 14.0, daily=16.0), 33.0, 44.0),
    "no frost ever": (*year(20.0, 3.0), 28.0, -16.0),
    "endless warmth": (*year(28.0, 0.5, daily=8.0), 1.0, 103.0),
    "north pole": (*year(-18.0, 20.0, daily=6.0), 90.0, 0.0),
    "south pole": (*year(-50.0, 15.0, daily=6.0, coldest=200), -90.0, 0.0),
    "equator": (*year(26.0, 1.0), 0.0, 180.0),
    "date line": (*year(9.0, 12.0), 45.0, -180.0),
    "summer at new year, north": (*year(9.0, 12.0, coldest=200), 45.0, 7.0),
    "summer in July, south": (*year(9.0, 12.0), -45.0, 7.0),
    "swings of 95 °C": (*year(0.0, 30.0, daily=35.0), 45.0, 7.0),
    "no reading since February": (
        *without(*year(9.0, 12.0), lambda day: day >= np.datetime64("2020-02-01")), 45.0, 7.0,
    ),
}  # fmt: skip
REFUSED: dict[str, Climate] = {
    "three days": (*(part[:3] for part in year(9.0, 12.0)), 45.0, 7.0),
    "no spring": (
        *without(*year(9.0, 12.0), lambda day: np.isin(month(day), (3, 4, 5))), 45.0, 7.0,
    ),
    "no minima": (np.full(len(days()), np.nan), year(9.0, 12.0)[1], 45.0, 7.0),
    "hotter than any place": (*year(40.0, 18.0), 33.0, 44.0),
}  # fmt: skip
QUICK = (
    ("ask", "{taxa}", "--format=json"), ("events", "{taxa}", "--format=csv"),
    ("compare", "{taxa}", "--format=json"), ("agenda", "--species=acer-palmatum"),
    ("calendar", "{taxa}", ".json"),
)  # fmt: skip
EVERY = (
    *(QUICK[:4]),
    ("ask", "{taxa}"), ("ask", "acer-palmatum"), ("events", "{taxa}"),
    ("events", "{taxa}", "--format=json"), ("compare", "{taxa}"), ("site", "check"),
    ("site", "check", "--format=json"), ("agenda", "--species=ficus-microcarpa"),
    ("agenda", "--species=acer-palmatum", "--format=json"),
    ("agenda", "--species=acer-palmatum", f"--days={ON}"), ("calendar", "{taxa}"),
    ("ask", "{taxa}", "--confidence=0.5"), ("ask", "{taxa}", "--confidence=0.999999"),
    ("ask", "{taxa}", "--condition=weak", "--format=json"),
    *(("calendar", "{taxa}", suffix) for suffix in (
        ".png", ".svg", ".txt", ".json", ".pdf", ".html", ".csv", ".ics")),
    ("compare", "{taxa}", ".svg"), ("site", "check", ".svg"), ("site", "check", ".txt"),
    ("agenda", "--species=acer-palmatum", ".ics"),
)  # fmt: skip


def written(path: Path, climate: Climate, first: str = FIRST) -> tuple[object, ...]:
    """Write a climate as a daily file; how to ask of it."""
    low, high, latitude, longitude = climate
    start = dt.date.fromisoformat(first)
    rows = (
        f"{start + dt.timedelta(number)},"
        f"{'' if np.isnan(one) else f'{one:.1f}'},{'' if np.isnan(two) else f'{two:.1f}'}"
        for number, (one, two) in enumerate(zip(low, high, strict=True))
    )
    path.write_text("\n".join(["date,tmin_c,tmax_c", *rows, ""]))
    return ("--temperatures", path, f"--latitude={latitude}", f"--longitude={longitude}")


def leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for name, item in value.items():
            yield from leaves(item, name)
    elif isinstance(value, list):
        for item in value:
            yield from leaves(item, key)
    else:
        yield key, value


def assert_sane(text: str, years: range, form: str) -> None:
    """No failed arithmetic, no stray year, no chance beyond 1, no range turned round."""
    assert not re.search(r"\b(nan|NaN|NaT|inf|Infinity|None(?!:))\b", text), text
    stray = [day for day in DAY.findall(text) if int(day[:4]) not in years]
    assert not stray, stray
    if form == "json":
        found = strict_json(text)
        for key, value in leaves(found):
            if "chance" in key and isinstance(value, int | float):
                assert 0 <= value <= 1, (key, value)
        assert_ordered(found)
    elif form == "csv":
        rows = list(csv.DictReader(io.StringIO(text), strict=True))
        assert rows or "site" in text
        for row in rows:
            if row.get("early"):
                assert row["early"] <= row["date"] <= row["late"], row
            if row.get("opens"):
                assert row["opens"] <= row["closes"], row
    elif form in ("svg", "html"):
        assert "</svg>" in text
        if form == "svg":
            ElementTree.fromstring(text)


def assert_ordered(value: Any) -> None:
    if isinstance(value, dict):
        early, date, late = (value.get(key) for key in ("early", "date", "late"))
        if all(isinstance(day, str) and DAY.fullmatch(day) for day in (early, date, late)):
            assert early <= date <= late, value
        for item in value.values():
            assert_ordered(item)
    elif isinstance(value, list):
        for item in value:
            assert_ordered(item)


def ask_all(
    run_command: Command,
    where: tuple[object, ...],
    questions: tuple[tuple[str, ...], ...],
    taxa: tuple[str, ...],
    years: range,
) -> None:
    folder = Path(str(where[1])).parent
    for question in questions:
        words: list[object] = []
        for word in question:
            words += taxa if word == "{taxa}" else [word]
        path = None
        form = "text"
        if question[-1].startswith("."):
            path = folder / f"out{words.pop()}"
            words += ["-o", path]
            form = question[-1][1:]
        elif question[-1].startswith("--format="):
            form = question[-1].removeprefix("--format=")
        run = run_command(*words, *where)
        assert (run.status, run.err) == (0, ""), (question, run.err)
        text = run.out if path is None else run.out + "\n"
        if path is not None and form in ("png", "pdf"):
            assert path.stat().st_size > 5000
        elif path is not None:
            text = path.read_text(encoding="utf-8")
        assert_sane(text, years, form)


@pytest.mark.parametrize("name", CLIMATES)
def test_an_absurd_climate_is_answered(sapdial: Command, tmp_path: Path, name: str) -> None:
    where = (*written(tmp_path / "place.csv", CLIMATES[name]), "--on", ON)
    ask_all(sapdial, where, QUICK, TAXA, range(2015, 2024))


@pytest.mark.by_hand
@pytest.mark.parametrize("on", ["2020-02-28", ON, "2020-12-31"])
@pytest.mark.parametrize("name", [*CLIMATES, *MORE])
def test_every_absurd_climate_in_every_form(
    sapdial: Command, tmp_path: Path, name: str, on: str
) -> None:
    where = (*written(tmp_path / "place.csv", (CLIMATES | MORE)[name]), "--on", on)
    questions = tuple(
        tuple(f"--days={on}" if word.startswith("--days") else word for word in words)
        for words in EVERY
    )
    ask_all(sapdial, where, questions, MORE_TAXA, range(2015, 2024))


@pytest.mark.by_hand
def test_two_centuries_and_a_half(sapdial: Command, tmp_path: Path) -> None:
    climate = (*year(9.0, 12.0, years=250), 45.0, 7.0)
    where = (*written(tmp_path / "place.csv", climate, "1805-01-01"), "--on", "2054-06-20")
    ask_all(sapdial, where, QUICK, TAXA, range(1804, 2058))


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_a_record_is_refused_in_one_sentence(
    sapdial: Command, tmp_path: Path, name: str
) -> None:
    where = (*written(tmp_path / "place.csv", REFUSED[name]), "--on", ON)
    for words in (
        *(("ask", *TAXA), ("events", *TAXA), ("compare",), ("agenda", "--species=acer-rubrum")),
        ("calendar", *TAXA, "-o", tmp_path / "out.pdf"),
    ):
        run = sapdial(*words, *where)
        assert (run.status, run.out) == (1, ""), (words, run)
        assert run.err.startswith("sapdial: ")
        assert run.err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["place.csv"]


@pytest.mark.parametrize("on", ["1800-01-01", "2015-12-31", "2200-12-31"])
def test_days_far_from_the_record(sapdial: Command, tmp_path: Path, on: str) -> None:
    where = (*written(tmp_path / "place.csv", (*year(9.0, 12.0), 45.0, 7.0)), "--on", on)
    asked = int(on[:4])
    for words in (
        ("ask", "acer-palmatum", "--format=json"), ("compare", "--format=json"),
        ("agenda", "--species=acer-rubrum"), ("site", "check", "--format=json"),
        ("calendar", "acer-palmatum", "--year=1800"),
        ("calendar", "acer-palmatum", "--year=2200"),
    ):  # fmt: skip
        run = sapdial(*words, *where)
        text = f"{words} {run}"
        if on < FIRST:
            assert (run.status, run.out) == (1, ""), text
            assert FIRST in run.err
        else:
            assert (run.status, run.err) == (0, ""), text
            near = (*range(2015, 2023), *range(asked - 1, asked + 3), 1800, 2200)
            assert all(int(day[:4]) in near for day in DAY.findall(run.out)), text


def test_whoever_asks_for_less_confidence_never_gets_less(sapdial: Command, tmp_path: Path) -> None:
    where = (*written(tmp_path / "place.csv", (*year(9.0, 12.0), 45.0, 7.0)), "--on", ON)
    found = [
        json.loads(
            sapdial("ask", "acer-palmatum", *where, f"--confidence={odds}", "--format=json").out
        )["answers"]
        for odds in ("0.5", "0.75", "0.9999999999")
    ]
    for low, middle, high in zip(*found, strict=True):
        assert low["chance"] == middle["chance"] == high["chance"]
        yes = [item["verdict"] == "yes" for item in (high, middle, low)]
        assert yes == sorted(yes)


def test_quantiles_of_dates_without_an_end() -> None:
    finite = np.linspace(0.0, 63.0, 64)
    never = np.full(64, np.inf)
    rows = np.array(
        [
            finite,
            never,
            -never,
            np.where(finite < 10, -np.inf, finite),  # sixteen in a hundred
            np.where(finite > 50, np.inf, finite),
            np.where(finite > 31.5, np.inf, finite),  # half
            np.where(finite < 30, np.nan, finite),
            np.where(finite < 33, np.nan, finite),  # fails in more than half
        ]
    )
    early, middle, late = open_quantiles(rows)
    shares = np.quantile(finite, (0.1, 0.5, 0.9), method="median_unbiased")
    assert early.tolist()[:3] == [shares[0], np.inf, -np.inf]
    assert middle.tolist()[:3] == [shares[1], np.inf, -np.inf]
    assert late.tolist()[:3] == [shares[2], np.inf, -np.inf]
    assert (early[3], middle[3], late[3]) == (-np.inf, shares[1], shares[2])
    assert (early[4], middle[4], late[4]) == (shares[0], shares[1], np.inf)
    assert late[5] == np.inf
    assert early[5] == shares[0]
    assert early[6] == pytest.approx(np.quantile(finite[30:], 0.1, method="median_unbiased"))
    assert np.isnan([early[7], middle[7], late[7]]).all()
