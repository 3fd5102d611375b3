"""The command answers, refuses in one line, and never does anything else.

What must hold:

* every command gives every format it offers; JSON is strict, holds the promised keys, ISO dates,
  and odds between 0 and 1; text stays within 80 columns;
* every output that rests on a sample says it is invented;
* `--on` hides later readings, whatever they are;
* the same question twice, in this process or in another, gives the same bytes;
* a higher `--confidence` never adds a safe day;
* exit status 0 answered, 1 the data cannot answer, 2 usage; a refusal is one line on stderr with
  nothing on stdout and no traceback;
* a file is written whole or not at all: what stood there survives a failed write.
"""

import csv
import datetime as dt
import io
import itertools
import json
import math
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from cli.main import main

SAMPLES = ("humid-continental", "southern-temperate")
SAMPLE = ("--sample", SAMPLES[0])
MAPLE = "acer-palmatum"
TAXA = ("acer-palmatum", "pinus-thunbergii", "rhododendron-indicum")
WORK = ("heavy", "light", "outline")
ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
CALENDAR_SUFFIXES = (".png", ".svg", ".txt", ".json")
WIDTH = 80
DAYS = 4 * 366 + 200  # four seasons in the files written here


class Run(NamedTuple):
    status: int
    out: str
    err: str


Asked = Callable[..., Run]


class Command:
    """Runs ``sapdial`` in this process and catches what it prints."""

    def __init__(self, patch: pytest.MonkeyPatch, capture: pytest.CaptureFixture[str]) -> None:
        self.patch, self.capture = patch, capture

    def __call__(self, *arguments: object) -> Run:
        self.patch.setattr(sys, "argv", ["sapdial", *(str(item) for item in arguments)])
        status = 0
        try:
            main()
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else int(stop.code is not None)
        out, err = self.capture.readouterr()
        return Run(status, out, err)

    def answered(self, *arguments: object) -> str:
        run = self(*arguments)
        assert (run.status, run.err) == (0, "")
        return run.out

    def json(self, *arguments: object) -> Any:
        return strict_json(self.answered(*arguments, "--format", "json"))


@pytest.fixture
def sapdial(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    return Command(monkeypatch, capsys)


def installed(*arguments: object, **environment: str) -> Run:
    """Run the installed command in a process of its own."""
    program = Path(sys.executable).with_name("sapdial")
    if not program.exists():
        pytest.skip("the sapdial command is not installed beside this Python")
    done = subprocess.run(
        [program, *(str(item) for item in arguments)],
        capture_output=True,
        encoding="utf-8",
        env={**os.environ, **environment},
        check=False,
    )
    return Run(done.returncode, done.stdout, done.stderr)


def strict_json(text: str) -> Any:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


def is_date(text: object) -> bool:
    return isinstance(text, str) and bool(ISO.fullmatch(text)) and bool(dt.date.fromisoformat(text))


def daily_file(path: Path, *, first: str = "2018-08-01", days: int = DAYS, **warmer: float) -> Path:
    """Write made-up daily readings; ``warmer`` is a number of degrees from a day on."""
    lines = ["date,tmin_c,tmax_c"]
    start = dt.date.fromisoformat(first)
    for number in range(days):
        day = start + dt.timedelta(days=number)
        mean = 9 - 12 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25)
        mean += 4 * math.sin(number * 1.7) + 2 * math.sin(number * 0.37)
        mean += sum(
            by for since, by in warmer.items() if day.isoformat() >= since[1:].replace("_", "-")
        )
        lines.append(f"{day},{mean - 4 - number % 3:.1f},{mean + 5 + number % 4:.1f}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def at(path: Path) -> tuple[object, ...]:
    return ("--temperatures", path, "--latitude", "45.5", "--longitude", "7.25")


# ---------------------------------------------------------------------------- every command

PRINTS_TEXT = [
    *(("ask", taxon, *SAMPLE) for taxon in TAXA),
    *(("ask", taxon, "--sample", SAMPLES[1], "--work", "heavy") for taxon in TAXA),
    ("ask", "maple", "--sample", SAMPLES[1], "--work", "light"),
    ("events", "--sample", SAMPLES[0]),
    ("events", MAPLE, "--sample", SAMPLES[1]),
    *(("calendar", *TAXA[:2], "--sample", sample) for sample in SAMPLES),
    ("ask", "ficus-microcarpa", "--sample", "mediterranean"),
    ("ask", "carpinus-turczaninowii", "--sample", SAMPLES[0], "--on", "2020-09-30"),
    ("ask", "rhododendron-kurume", "--sample", SAMPLES[0], "--on", "2020-09-30"),
    ("samples",),
    ("species", "list"),
    *(("species", "show", taxon) for taxon in (*TAXA, "ficus-microcarpa", "betula-pendula")),
    ("species", "show", "maple"),
]


@pytest.mark.parametrize("arguments", PRINTS_TEXT, ids=" ".join)
def test_text_stays_within_80_columns_and_says_what_is_invented(
    sapdial: Command, arguments: tuple[str, ...]
) -> None:
    text = sapdial.answered(*arguments)
    assert text.endswith("\n")
    assert [line for line in text.splitlines() if len(line) > WIDTH] == []
    assert [line for line in text.splitlines() if line != line.rstrip()] == []
    if "--sample" in arguments or arguments == ("samples",):
        assert "invented" in text.lower()


@pytest.mark.parametrize(
    "option",
    ["--help", "-h", "ask --help", "calendar --help", "events --help", "samples --help",
     "species --help", "species list --help", "species show --help"],
)  # fmt: skip
def test_help_is_printed_on_stdout(sapdial: Command, option: str) -> None:
    text = sapdial.answered(*option.split())
    assert text.startswith("Usage: ")
    assert f"{' '.join(word for word in option.split() if word[0] != '-')} [OPTIONS]" in text
    assert [line for line in text.splitlines() if len(line) > WIDTH] == []


def test_version_names_the_program(sapdial: Command) -> None:
    assert re.fullmatch(r"sapdial, version \d+\.\d+\.\d+\S*\n", sapdial.answered("--version"))


@pytest.mark.parametrize("sample", SAMPLES)
def test_csv_has_one_row_an_answer(sapdial: Command, sample: str) -> None:
    text = sapdial.answered("ask", *TAXA, "--sample", sample, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(row["species"], row["work"]) for row in rows] == [(t, w) for t in TAXA for w in WORK]
    for row in rows:
        assert row["verdict"] in ("safe", "marginal", "not_safe")
        assert 0 <= float(row["chance"]) <= 1
        assert is_date(row["on"])
        days = ("opens", "closes", "best_day", "temperatures_until")
        assert all(not row[key] or is_date(row[key]) for key in days)
    text = sapdial.answered(
        *("ask", "pinus-mugo", "--sample", "cold-interior", "--on", "2025-02-20", "--format", "csv")
    )
    row = next(csv.DictReader(io.StringIO(text)))
    assert (row["verdict"], row["temperatures_until"]) == ("not_safe", "2025-02-20")
    assert row["vetoes"].startswith("hard frost: −16 °C in the last 3 days")


def test_csv_of_a_sample_says_it_is_invented(sapdial: Command) -> None:
    for command in ("ask", "events"):
        text = sapdial.answered(command, TAXA[0], "--sample", SAMPLES[0], "--format", "csv")
        assert "invented" in text.lower(), command


def test_csv_of_events_agrees_with_json(sapdial: Command) -> None:
    question = ("events", TAXA[0], "--sample", SAMPLES[0], "--on", "2004-12-31")
    rows = list(csv.DictReader(io.StringIO(sapdial.answered(*question, "--format", "csv"))))
    flat = [
        (item["species"], str(season["season"]), event, dates["date"] or "")
        for item in sapdial.json(*question)["species"]
        for season in item["seasons"]
        for event, dates in season["events"].items()
    ]
    assert [(row["species"], row["season"], row["event"], row["date"]) for row in rows] == flat


# ---------------------------------------------------------------------------- JSON contracts

ANSWER_KEYS = {
    *("species", "work", "on", "verdict", "chance", "chance_range", "vetoes", "phase", "windows"),
    *("next_window", "best_day", "reasons", "how_much", "where", "recovery", "cautions"),
    *("evidence", "basis"),
}
WINDOW_KEYS = {"opens", "closes", "chance_min", "season"}


def check_site(found: Any, sample: str | None) -> None:
    assert {"name", "latitude", "longitude", "elevation_m", "hemisphere", "invented"} <= set(found)
    assert found["hemisphere"] == ("south" if found["latitude"] < 0 else "north")
    assert found["invented"] is (sample is not None)
    assert ("invented" in found["name"]) is (sample is not None)


def check_record(found: Any) -> None:
    assert {"first", "last", "missing_days", "repaired_days", "warnings"} <= set(found)
    assert is_date(found["first"])
    assert is_date(found["last"])
    assert 0 <= found["repaired_days"] <= found["missing_days"]
    assert isinstance(found["warnings"], list)


@pytest.mark.parametrize("sample", SAMPLES)
def test_ask_json_keeps_its_contract(sapdial: Command, sample: str) -> None:
    found = sapdial.json("ask", *TAXA, "--sample", sample)
    assert found["schema"] == "sapdial-ask-1"
    check_site(found["site"], sample)
    check_record(found["record"])
    assert [(a["species"], a["work"]) for a in found["answers"]] == [
        (taxon, work) for taxon in TAXA for work in WORK
    ]
    for item in found["answers"]:
        assert set(item) >= ANSWER_KEYS
        assert item["on"] == "2025-06-20"  # a sample is asked about 20 June of its last year
        assert item["verdict"] in ("safe", "marginal", "not_safe")
        low, high = item["chance_range"]
        assert 0 <= low <= item["chance"] <= high <= 1
        for window in (*item["windows"], *([item["next_window"]] if item["next_window"] else [])):
            assert set(window) >= WINDOW_KEYS
            assert is_date(window["opens"])
            assert is_date(window["closes"])
            assert window["opens"] <= window["closes"]
            assert item["confidence"] - 1e-3 <= window["chance_min"] <= 1
        assert item["next_window"] == (item["windows"][0] if item["windows"] else None)
        if item["best_day"]:
            assert set(item["best_day"]) >= {"date", "chance"}
            assert item["best_day"]["date"] >= item["on"]
            assert item["chance"] <= item["best_day"]["chance"] <= 1
        assert set(item["how_much"]) >= {"fraction", "basis", "text"}
        assert item["how_much"]["basis"] in ("published", "common practice")
        assert 0 <= item["how_much"]["fraction"] <= 1
        assert item["where"]["stronger_part"] in ("apex", "lower branches", "even")
        assert item["where"]["text"]
        assert item["recovery"]["text"]
        assert set(item["basis"]) >= {"seasons", "tuned", "spread_days"}
        assert 3 <= item["basis"]["seasons"] <= 30


def test_json_is_strict_for_a_taxon_whose_opening_event_never_comes(sapdial: Command) -> None:
    found = sapdial.json("ask", "buxus-sempervirens", "--sample", "mediterranean")
    assert [answer["work"] for answer in found["answers"]] == list(WORK)


@pytest.mark.parametrize("sample", SAMPLES)
def test_events_json_keeps_its_contract(sapdial: Command, sample: str) -> None:
    taxa = TAXA[:2]
    found = sapdial.json("events", *taxa, "--sample", sample, "--on", "2008-06-20")
    assert set(found) >= {"schema", "site", "record", "species"}
    assert found["schema"] == "sapdial-events-1"
    check_site(found["site"], sample)
    check_record(found["record"])
    assert [item["species"] for item in found["species"]] == list(taxa)
    for item in found["species"]:
        assert set(item) >= {"species", "tuned", "seasons"}
        numbers = [season["season"] for season in item["seasons"]]
        assert numbers == sorted(set(numbers))
        assert numbers[-1] == 2008  # the running season is listed
        for season in item["seasons"]:
            for dates in season["events"].values():
                if dates["date"] is None:
                    assert dates["reason"]
                else:
                    early, date, late = (dates[key] for key in ("early", "date", "late"))
                    assert all(is_date(day) for day in (early, date, late))
                    assert early <= date <= late
                    assert abs(int(date[:4]) - season["season"]) <= 1


def test_samples_json_keeps_its_contract(sapdial: Command) -> None:
    found = sapdial.json("samples")
    assert found["schema"] == "sapdial-samples-1"
    assert set(SAMPLES) <= {sample["sample"] for sample in found["samples"]}
    for sample in found["samples"]:
        assert set(sample) == {
            *("sample", "description", "latitude", "longitude", "elevation_m"),
            *("first", "last", "region"),
        }
        assert is_date(sample["first"])
        assert is_date(sample["last"])
        assert "invented" in sample["description"].lower()


def test_species_json_lists_and_shows(sapdial: Command) -> None:
    listed = sapdial.json("species", "list")
    slugs = [item["species"] for item in listed["species"]]
    assert listed["schema"] == "sapdial-species-list-1"
    assert slugs == sorted(set(slugs))
    shown = sapdial.json("species", "show", "acer-palmatum")
    assert shown["schema"] == "sapdial-species-1"
    assert shown["species"] == "acer-palmatum"
    assert set(shown["work"]) == set(WORK)


def test_calendar_json_has_every_day_of_its_year(sapdial: Command, tmp_path: Path) -> None:
    for year, days in ((2024, 366), (2025, 365)):
        path = tmp_path / f"{year}.json"
        sapdial.answered("calendar", *TAXA, "--sample", SAMPLES[0], "--year", year, "-o", path)
        found = strict_json(path.read_text(encoding="utf-8"))
        assert found["year"] == year
        check_site(found["site"], SAMPLES[0])
        for item in found["species"]:
            for work in item["work"].values():
                chances = work["chance_by_day"]
                assert len(chances) == days
                assert all(0 <= chance <= 1 for chance in chances)


# ---------------------------------------------------------------------------- asking


def test_a_long_file_name_does_not_widen_the_page(sapdial: Command, tmp_path: Path) -> None:
    path = daily_file(tmp_path / f"{'the bench behind the big glass house ' * 3}.csv")
    text = sapdial.answered("ask", MAPLE, *at(path), "--on", "2022-06-01")
    assert [line for line in text.splitlines() if len(line) > WIDTH] == []


def test_a_name_of_several_taxa_answers_for_each_once(sapdial: Command) -> None:
    question = ("--sample", SAMPLES[0], "--work", "light")
    maples = sapdial.json("ask", "maple", "acer-palmatum", "Acer", *question)["answers"]
    slugs = [item["species"] for item in maples]
    assert len(slugs) == len(set(slugs)) >= 4
    assert all(slug.startswith("acer-") for slug in slugs)
    lines = sapdial.answered("ask", "maple", *question).splitlines()
    assert sum("light" in line for line in lines) == len(slugs)


def test_a_taxon_is_found_by_any_of_its_names(sapdial: Command) -> None:
    names = ("acer-palmatum", "Acer palmatum", "JAPANESE MAPLE", "momiji")
    question = ("--work", "light", *SAMPLE, "--format", "csv")
    assert len({sapdial.answered("ask", name, *question) for name in names}) == 1


def test_a_weak_tree_gets_no_heavy_cut(sapdial: Command) -> None:
    question = ("--work", "heavy", "--condition", "weak", "--on", "2024-07-20")
    (found,) = sapdial.json("ask", MAPLE, *question, *SAMPLE)["answers"]
    assert found["verdict"] == "not_safe"
    assert any("weak" in veto for veto in found["vetoes"])
    assert found["how_much"]["fraction"] == 0


def coming_safe_days(answer: Any) -> set[tuple[int, int]]:
    """Month and day of every safe day in an answer, whichever year it is told for."""
    days = set()
    for window in answer["windows"]:
        day = dt.date.fromisoformat(window["opens"])
        while day <= dt.date.fromisoformat(window["closes"]):
            days.add((day.month, day.day))
            day += dt.timedelta(days=1)
    return days


def test_more_confidence_never_adds_a_safe_day(sapdial: Command) -> None:
    taxa = ("acer-palmatum", "juniperus-chinensis", "ulmus-parvifolia")
    found = [
        {
            (answer["species"], answer["work"]): coming_safe_days(answer)
            for answer in sapdial.json("ask", *taxa, *SAMPLE, "--confidence", level)["answers"]
        }
        for level in (0.5, 0.8, 0.95)
    ]
    assert sum(map(len, found[0].values())) > sum(map(len, found[-1].values())) > 0
    for wider, narrower in itertools.pairwise(found):
        assert all(narrower[key] <= wider[key] for key in wider)


def test_an_opening_that_has_come_is_told_with_the_dates_of_this_season(
    sapdial: Asked, tmp_path: Path
) -> None:
    """An azalea seen in full bloom: its flowers are over some two weeks later, not in March."""
    dates = tmp_path / "seen.csv"
    dates.write_text("species,event,date\nrhododendron-indicum,full_bloom,2025-06-12\n")
    asked = ("rhododendron-indicum", "--work", "light", "--sample", "humid-continental")
    for on, told in (("2025-06-20", "is to be expected about"), ("2025-07-01", "by the record")):
        data = sapdial("ask", *asked, "--on", on, "--observations", dates, "--format", "json")[1]
        (sentence,) = (
            text
            for text in json.loads(data)["answers"][0]["reasons"]
            if text.startswith("This season") and "flowering over" in text
        )
        assert told in sentence
        found = re.findall(r"(\d+) (June|July)", sentence)
        assert len(found) == 3
        middle, early, late = (int(day) + 30 * (month == "July") for day, month in found)
        assert 12 < early < middle < late < 46
    winter = sapdial("ask", *asked, "--on", "2025-12-01", "--format", "json")[1]
    assert "flowering over about" not in winter


def test_the_same_question_twice_gets_the_same_bytes(sapdial: Command, tmp_path: Path) -> None:
    path = daily_file(tmp_path / "bench.csv")
    for question in (
        ("ask", "acer-palmatum", *at(path), "--on", "2022-06-01"),
        ("events", "acer-palmatum", *at(path), "--on", "2022-06-01", "--format", "json"),
    ):
        assert sapdial.answered(*question) == sapdial.answered(*question)
    seeds = [
        installed("ask", "acer-palmatum", *SAMPLE, "--format", "json", PYTHONHASHSEED=seed)
        for seed in ("1", "2")
    ]
    assert seeds[0] == seeds[1]
    assert seeds[0].status == 0
    assert seeds[0].out == sapdial.answered("ask", "acer-palmatum", *SAMPLE, "--format", "json")


# ---------------------------------------------------------------------------- the day asked about


def on_2022_05_10(sapdial: Command, path: Path) -> list[str]:
    day = ("--on", "2022-05-10")
    outputs = [sapdial.answered("ask", "acer-palmatum", *at(path), *day)]
    for command in ("ask", "events"):
        found = sapdial.json(command, "acer-palmatum", *at(path), *day)
        assert found["record"]["last"] == "2022-05-10"
        outputs.append(json.dumps(found))
    return outputs


def test_on_hides_later_values(sapdial: Command, tmp_path: Path) -> None:
    path = tmp_path / "bench.csv"
    before = on_2022_05_10(sapdial, daily_file(path))
    assert on_2022_05_10(sapdial, daily_file(path, s2022_05_11=9.0)) == before
    changed = on_2022_05_10(sapdial, daily_file(path, s2022_03_01=5.0))
    assert changed != before  # earlier values do count


@pytest.mark.parametrize("how", ["removed", "blank", "impossible", "crossed", "°F"])
def test_on_hides_whatever_stands_in_later_lines(
    sapdial: Command, tmp_path: Path, how: str
) -> None:
    path = daily_file(tmp_path / "bench.csv")
    whole = on_2022_05_10(sapdial, path)
    lines = path.read_text(encoding="utf-8").splitlines()
    cut = next(number for number, line in enumerate(lines) if line.startswith("2022-05-10")) + 1
    head, tail = lines[:cut], lines[cut:]
    if how == "removed":
        tail = []
    elif how == "blank":
        tail = [f"{line.split(',')[0]},," if 20 < n < 40 else line for n, line in enumerate(tail)]
    elif how == "impossible":
        tail[10] = tail[10].split(",")[0] + ",-80,70"
    elif how == "crossed":
        tail[10] = tail[10].split(",")[0] + ",12,11"
    else:
        tail = [line.split(",")[0] + ",60,90" for line in tail]
    path.write_text("\n".join([*head, *tail]) + "\n", encoding="utf-8")
    assert on_2022_05_10(sapdial, path) == whole


def test_a_record_that_ended_before_the_day_serves_as_climatology(
    sapdial: Command, tmp_path: Path
) -> None:
    path = daily_file(tmp_path / "bench.csv")
    found = sapdial.json("ask", "acer-palmatum", *at(path), "--on", "2030-05-10")
    assert found["record"]["last"] < "2030-01-01"
    for item in found["answers"]:
        assert item["on"] == "2030-05-10"
        assert all(window["closes"] >= "2030-05-10" for window in item["windows"])


def test_an_answer_says_that_its_record_ended_before_the_day(sapdial: Command) -> None:
    told = "they end on 31 December 2025, 206 days ago"
    question = ("--work", "heavy", *SAMPLE, "--on")
    for taxa in (("maple",), ("acer-palmatum",)):
        late = " ".join(sapdial.answered("ask", *taxa, *question, "2026-07-25").split())
        assert late.count(told) == 1
        assert "no frost or heat of these days is known" in late
        assert "not up to date" not in sapdial.answered("ask", *taxa, *question, "2025-07-25")
    assert told in sapdial.json("ask", "maple", *question, "2026-07-25")["not_up_to_date"]
    assert sapdial.json("ask", "maple", *question, "2026-01-03")["not_up_to_date"] is None


def test_a_tree_is_not_called_dormant_once_its_sap_has_risen(sapdial: Command) -> None:
    question = ("ask", "acer-palmatum", "--work", "heavy", "--sample", "humid-subtropical", "--on")
    events = sapdial.json("events", "acer-palmatum", *question[4:], "2025-02-10")["species"][0]
    rises, rests = (events["usual"][name]["median"] for name in ("sap_rise", "dormant"))
    assert rises <= rests, "an autumn so long that the sap rises first"
    for day, phase in (
        ("2027-02-10", "sap rising"),
        ("2026-12-05", "growth over|colouring|falling"),
    ):
        (found,) = sapdial.json(*question, day)["answers"]
        assert re.search(phase, found["phase"]), (day, found["phase"])


def test_what_lies_before_bud_break_is_not_awaited_after_it(sapdial: Command) -> None:
    for sample in SAMPLES:
        day = ("--on", "2025-12-20" if sample == "southern-temperate" else "2025-06-20")
        (maple,) = sapdial.json("events", "acer-palmatum", "--sample", sample, *day)["species"]
        events = maple["seasons"][-1]["events"]
        assert events["bud_break"]["date"] < day[1]
        assert "end of the record" not in events["sap_peak"].get("reason", "")


def test_one_line_answers_say_what_forbids_the_work(sapdial: Command) -> None:
    question = ("ask", "pine", "fig", "--work", "heavy", "--sample", "cold-interior")
    text = sapdial.answered(*question, "--on", "2025-02-20")
    line = next(line for line in text.splitlines() if line.startswith("Scots pine"))
    assert " ".join(line.split()) == "Scots pine heavy not now 100% veto; window to 12 Mar 2025"
    assert "now to" not in text
    assert "Veto (all of them): hard frost: −16 °C in the last 3 days" in " ".join(text.split())
    assert "Veto (" not in sapdial.answered(*question, "--on", "2025-06-01")
    full = sapdial.answered("ask", "pinus-sylvestris", *question[3:], "--on", "2025-02-20")
    assert "on every day): once the veto ends, to 12 March 2025." in " ".join(full.split())


def test_a_veto_of_some_kinds_of_work_names_them(sapdial: Command) -> None:
    question = ("ask", "acer-palmatum", "ulmus-parvifolia", "--sample", "humid-subtropical")
    text = " ".join(sapdial.answered(*question, "--on", "2026-07-25").split())
    assert "Chinese elm light safe today" in text
    assert "Veto (Japanese maple: heavy, light; Chinese elm: heavy): heat is likely" in text


def test_where_nights_stay_warm_a_fig_grows_and_a_maple_has_no_year(
    sapdial: Command, tmp_path: Path
) -> None:
    first = dt.date(2000, 1, 1)
    days = [first + dt.timedelta(days=day) for day in range(20 * 365)]
    path = tmp_path / "warm.csv"
    rows = (f"{day},{23 + day.day % 3},{31 + day.day % 4}" for day in days)
    path.write_text("\n".join(["date,tmin_c,tmax_c", *rows, ""]), encoding="utf-8")
    where = ("--temperatures", path, "--latitude", "1.3", "--longitude", "103.8")
    found = sapdial.json(
        "ask", "ficus-microcarpa", MAPLE, "--work", "heavy", *where, "--on", days[-1]
    )
    fig, maple = found["answers"]
    assert fig["verdict"] == "safe" and not fig["vetoes"]
    assert fig["phase"] == "in warm growth, as nights stay warm all year"
    assert maple["verdict"] == "not_safe" and maple["phase"].startswith("unknown")


def test_a_window_that_hardly_ever_opens_is_told_as_none(sapdial: Command) -> None:
    question = ("ask", "banyan fig", "--work", "light", "--sample", "southern-temperate")
    text = " ".join(sapdial.answered(*question, "--on", "2025-01-20").split())
    assert "No day of the year is safe for this work here." in text
    assert "No window here: it would close (4 weeks before nights turn cool again) before" in text


def test_the_clock_is_the_default_day_of_a_file(sapdial: Command, tmp_path: Path) -> None:
    before = dt.date.today()
    found = sapdial.json("ask", "acer-palmatum", *at(daily_file(tmp_path / "bench.csv")))
    assert before.isoformat() <= found["answers"][0]["on"] <= dt.date.today().isoformat()
    check_site(found["site"], None)


# ---------------------------------------------------------------------------- refusals

PLACE = ("--latitude", "45", "--longitude", "4")
FILE = ("ask", "acer-palmatum", "--temperatures", "{file}")
USAGE: dict[str, tuple[tuple[str, ...], str]] = {
    "latitude 95": ((*FILE, "--latitude", "95", "--longitude", "4"), "latitude 95"),
    "latitude nan": ((*FILE, "--latitude", "nan", "--longitude", "4"), "'--latitude': 'nan'"),
    "latitude in words": ((*FILE, "--latitude", "45N", "--longitude", "4"), "--latitude"),
    "longitude 400": ((*FILE, "--latitude", "45", "--longitude", "400"), "longitude 400"),
    "elevation": ((*FILE, *PLACE, "--elevation", "12000"), "elevation 12000"),
    "elevation nan": ((*FILE, *PLACE, "--elevation", "nan"), "'--elevation': 'nan'"),
    "missing latitude": ((*FILE, "--longitude", "4"), "--latitude"),
    "missing longitude": ((*FILE, "--latitude", "4"), "--longitude"),
    "sample and file": (
        ("ask", MAPLE, *SAMPLE, "--temperatures", "{file}"),
        "exactly one",
    ),
    "sample and latitude": (("ask", MAPLE, *SAMPLE, "--latitude", "4"), "--latitude"),
    "neither": (("ask", "maple"), "exactly one"),
    "unknown sample": (("ask", "maple", "--sample", "atlantis"), "humid-continental"),
    "no such file": (("ask", "maple", "--temperatures", "{folder}/no.csv", *PLACE), "no.csv"),
    "a directory for a file": (("ask", "maple", "--temperatures", "{folder}", *PLACE), "directory"),
    "unknown species": (("ask", "acer-palmatun", *SAMPLE), "acer palmatum"),
    "unknown species, nothing near": (("events", "qqqqqq", *SAMPLE), "species list"),
    "empty species": (("ask", "", *SAMPLE), "species"),
    "no species": (("ask", *SAMPLE), "SPECIES"),
    "unknown option": (("ask", MAPLE, *SAMPLE, "--moon"), "--moon"),
    "unknown command": (("prune",), "prune"),
    "unknown work": (("ask", MAPLE, *SAMPLE, "--work", "roots"), "roots"),
    "unknown condition": (("ask", MAPLE, *SAMPLE, "--condition", "dead"), "dead"),
    "unknown format": (("events", *SAMPLE, "--format", "yaml"), "yaml"),
    "a bad date": (("ask", MAPLE, *SAMPLE, "--on", "31/12/2020"), "31/12/2020"),
    "an impossible date": (("ask", MAPLE, *SAMPLE, "--on", "2021-02-30"), "2021-02-30"),
    "an empty date": (("ask", MAPLE, *SAMPLE, "--on", ""), "--on"),
    "confidence 0": (("ask", MAPLE, *SAMPLE, "--confidence", "0"), "--confidence"),
    "confidence 1": (("calendar", MAPLE, *SAMPLE, "--confidence", "1"), "--confidence"),
    "confidence below one half": (
        ("ask", MAPLE, *SAMPLE, "--confidence", "0.3"),
        "more likely not; 0.5 is the least",
    ),
    "confidence nan": (("ask", MAPLE, *SAMPLE, "--confidence", "nan"), "--confidence"),
    "confidence in per cent": (
        ("ask", MAPLE, *SAMPLE, "--confidence", "90"),
        "--confidence",
    ),
    "unknown suffix": (("calendar", *SAMPLE, "-o", "{folder}/year.doc"), ".svg"),
    "no suffix": (("calendar", *SAMPLE, "-o", "{folder}/year"), ".svg"),
    "no folder": (("calendar", MAPLE, *SAMPLE, "-o", "{folder}/no/year.txt"), "year.txt"),
    "no folder, chart": (
        ("calendar", MAPLE, *SAMPLE, "-o", "{folder}/no/year.svg"),
        "year.svg",
    ),
    "onto a directory": (
        ("calendar", MAPLE, *SAMPLE, "-o", "{folder}/folder.txt"),
        "folder.txt",
    ),
    "year 99999": (("calendar", *SAMPLE, "--year", "99999"), "--year"),
    "species show without a name": (("species", "show"), "SPECIES"),
    "species show, JSON of several": (
        ("species", "show", "maple", "--format", "json"),
        "acer-palmatum",
    ),
}
NO_ANSWER: dict[str, tuple[tuple[str, ...], str]] = {
    "before the record": (("ask", MAPLE, *SAMPLE, "--on", "1980-05-01"), "1990-09-01"),
    "fewer than three seasons": (
        ("ask", MAPLE, *SAMPLE, "--on", "1993-06-01"),
        "2 complete",
    ),
    "the record's first day": (("events", *SAMPLE, "--on", "1990-09-01"), "0 complete"),
    "an empty file": (
        ("ask", "maple", "--temperatures", "{empty}", *PLACE),
        "empty",
    ),
    "maxima in °F and no minima": (
        ("ask", "maple", "--temperatures", "{hot}", *PLACE),
        "°F",
    ),
}


def filled(arguments: tuple[str, ...], folder: Path) -> list[str]:
    """Replace {file}, {folder}, {empty} and {hot} by paths that exist."""
    (folder / "folder.txt").mkdir()
    (folder / "empty.csv").touch()
    (folder / "hot.csv").write_text(
        "date,tmin_c,tmax_c\n" + "".join(f"2020-07-{day:02d},,{70 + day}\n" for day in range(1, 29))
    )
    names = {
        "folder": folder,
        "file": daily_file(folder / "file.csv"),
        "empty": folder / "empty.csv",
        "hot": folder / "hot.csv",
    }
    return [argument.format(**names) for argument in arguments]


def assert_one_line(run: Run, status: int, holds: str) -> None:
    assert run.status == status
    assert run.out == ""
    assert run.err.startswith("sapdial: ")
    assert run.err.count("\n") == 1
    assert run.err.endswith("\n")
    assert "Traceback" not in run.err
    assert holds in run.err
    assert len(run.err) < 450


@pytest.mark.parametrize(("arguments", "holds"), USAGE.values(), ids=USAGE)
def test_a_wrong_question_is_one_line_and_status_2(
    sapdial: Command, tmp_path: Path, arguments: tuple[str, ...], holds: str
) -> None:
    assert_one_line(sapdial(*filled(arguments, tmp_path)), 2, holds)


@pytest.mark.parametrize(("arguments", "holds"), NO_ANSWER.values(), ids=NO_ANSWER)
def test_data_that_cannot_answer_is_one_line_and_status_1(
    sapdial: Command, tmp_path: Path, arguments: tuple[str, ...], holds: str
) -> None:
    assert_one_line(sapdial(*filled(arguments, tmp_path)), 1, holds)


@pytest.mark.parametrize("arguments", [(), ("species",)], ids=["alone", "species alone"])
def test_a_command_without_a_word_shows_its_help_readably(
    sapdial: Command, arguments: tuple[str, ...]
) -> None:
    run = sapdial(*arguments)
    shown = run.out + run.err
    assert "Usage" in shown or "--help" in shown
    assert max(len(line) for line in shown.splitlines()) <= 160


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (("ask", "acer-palmatum", *SAMPLE), 0),
        (("events", *SAMPLE, "--on", "1980-01-01"), 1),
        (("ask", "acer-palmatum", "--sample", "atlantis"), 2),
        (("ask", "maple", "--temperatures", "no\nsuch.csv", *PLACE), 2),
    ],
    ids=["answered", "too short", "no sample", "newline in a name"],
)  # fmt: skip
def test_the_installed_command_keeps_status_and_streams(
    arguments: tuple[str, ...], status: int
) -> None:
    run = installed(*arguments)
    if status:
        assert_one_line(run, status, "")
    else:
        assert (run.status, run.err) == (0, "")
        assert "INVENTED" in run.out


def test_warnings_never_reach_stderr(tmp_path: Path) -> None:
    (tmp_path / "hot.csv").write_text("date,tmin_c,tmax_c\n2020-07-01,,75\n2020-07-02,,80\n")
    run = installed("ask", "maple", *at(tmp_path / "hot.csv"))
    assert_one_line(run, 1, "°F")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_one_line_too() -> None:
    program = Path(sys.executable).with_name("sapdial")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [program, "samples"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_reader_that_stops_early_is_no_failure() -> None:
    program = Path(sys.executable).with_name("sapdial")
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [program, "species", "list"], stdout=writing, stderr=subprocess.PIPE, check=False
        )
    finally:
        os.close(writing)
    assert done.stderr == b""
    assert done.returncode == 0


# ---------------------------------------------------------------------------- warm nights


def test_a_tropical_taxon_is_answered_where_some_summers_are_warm(
    sapdial: Command, tmp_path: Path
) -> None:
    lines = ["date,tmin_c,tmax_c"]
    for number in range(7 * 365):
        day = dt.date(2012, 8, 1) + dt.timedelta(days=number)
        warm = 16.5 - 12 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25)
        low = warm - 8 + 3 * math.sin(number * 1.7) + (day.year % 3)
        lines.append(f"{day},{low:.1f},{low + 9 + number % 3:.1f}")
    path = tmp_path / "warm.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = sapdial.json("ask", "ficus-microcarpa", *at(path), "--on", "2019-06-20")
    assert len(found["answers"]) == 3


# ---------------------------------------------------------------------------- written files


def calendar(sapdial: Command, path: Path, *more: object) -> Run:
    return sapdial("calendar", "acer-palmatum", *SAMPLE, *more, "-o", path)


@pytest.mark.parametrize("suffix", CALENDAR_SUFFIXES)
def test_every_form_is_written_under_names_with_spaces_and_accents(
    sapdial: Command, tmp_path: Path, suffix: str
) -> None:
    path = tmp_path / "ein Jahr – Ahorn 紅葉" / f"my year é{suffix}"
    path.parent.mkdir()
    run = calendar(sapdial, path)
    assert (run.status, run.err) == (0, "")
    assert str(path) in run.out
    assert [item.name for item in path.parent.iterdir()] == [path.name]
    content = path.read_bytes()
    if suffix == ".png":
        assert content.startswith(b"\x89PNG\r\n\x1a\n")
    else:
        assert "invented" in content.decode("utf-8").lower()


def test_the_suffix_may_be_in_capitals(sapdial: Command, tmp_path: Path) -> None:
    assert calendar(sapdial, tmp_path / "YEAR.TXT").status == 0
    assert (tmp_path / "YEAR.TXT").read_text(encoding="utf-8")


def test_text_of_the_calendar_is_the_same_on_paper_and_screen(
    sapdial: Command, tmp_path: Path
) -> None:
    calendar(sapdial, tmp_path / "year.txt")
    shown = sapdial.answered("calendar", "acer-palmatum", *SAMPLE)
    assert (tmp_path / "year.txt").read_text(encoding="utf-8") == shown


def test_a_new_file_replaces_an_old_one(sapdial: Command, tmp_path: Path) -> None:
    path = tmp_path / "year.json"
    path.write_text("old and much longer than nothing")
    assert calendar(sapdial, path).status == 0
    assert strict_json(path.read_text(encoding="utf-8"))["schema"] == "sapdial-calendar-1"


@pytest.mark.parametrize("suffix", [".txt", ".svg"])
def test_an_existing_file_survives_a_failed_write(
    sapdial: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    path = tmp_path / f"year{suffix}"
    path.write_text("what stood here")

    def no_room(self: Path, target: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", no_room)
    run = calendar(sapdial, path)
    assert_one_line(run, 2, "No space left")
    assert path.read_text() == "what stood here"
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


def test_a_refused_question_leaves_an_existing_file_alone(sapdial: Command, tmp_path: Path) -> None:
    path = tmp_path / "year.txt"
    path.write_text("what stood here")
    assert calendar(sapdial, path, "--on", "1980-01-01").status == 1
    assert path.read_text() == "what stood here"


def test_a_failed_write_onto_a_directory_leaves_nothing_behind(
    sapdial: Command, tmp_path: Path
) -> None:
    for suffix in (".txt", ".svg"):
        path = tmp_path / f"year{suffix}"
        path.mkdir()
        assert_one_line(calendar(sapdial, path), 2, path.name)
    assert sorted(item.name for item in tmp_path.iterdir()) == ["year.svg", "year.txt"]
