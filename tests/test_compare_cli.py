"""``sapdial compare``: text, JSON and chart.

What must hold:
- text stays within eighty columns and about sixty lines, says the season, its rank and that a
  sample is invented; JSON is strict and holds all that the text says; every file form is valid;
- a season that cannot be compared is refused with status 1 and the range that can; a wrong ending
  or form with status 2; nothing is left behind;
- later readings than ``--on`` change nothing;
- on the chart an early season stands left of the middle line and a late one right of it, filled
  where its date has come and open where it lies ahead; every past season is a dot;
- no text of a chart covers another or leaves the page: mid-season, past, several taxa, many taxa,
  south, three seasons, very long names.
"""

import csv
import json
import re
from dataclasses import replace
from functools import cache, partial
from itertools import combinations
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from PIL import Image
from sites import made_up, place
from test_calendar_chart import boxes
from test_cli import Asked, Command

from timing.answers import Outlook, outlook
from timing.charts import PAPER
from timing.charts.comparison_chart import draw_comparison, save_comparison
from timing.comparison import Comparison, compare
from timing.export.comparison_json import comparison_json
from timing.export.comparison_text import comparison_text
from timing.site import Site
from timing.species.catalogue import load_species
from timing.wording import MONTHS

MAPLE = "acer-palmatum"
SAMPLE = ("--sample", "humid-continental")


@pytest.fixture
def sapdial(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Asked:
    """Runs the command in this process: status, stdout, stderr."""
    return partial(Command(monkeypatch, capsys), "compare")


@pytest.fixture
def empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def compared(
    sample: str, on: str, *slugs: str, season: int | None = None, stand_in: bool = False
) -> Comparison:
    spot, today = place(sample).as_of(on), np.datetime64(on, "D")
    views = [
        outlook(load_species(slug), spot.record, spot.drivers, on=today, kinds=())
        for slug in slugs or (MAPLE,)
    ]
    return compare(views, on=today, season=season, stand_in=stand_in)


def short_record() -> Comparison:
    spot = made_up(9.0, 11.0, 45.0, years=3, weather_c=3.0)
    view: Outlook = outlook(load_species(MAPLE), spot.record, spot.drivers, kinds=())
    return compare([view], on=np.datetime64("2012-06-01"))


CASES = {
    "mid-season": lambda: compared("humid-continental", "2025-04-10", stand_in=True),
    "summer": lambda: compared("humid-continental", "2025-06-20", stand_in=True),
    "past": lambda: compared("humid-continental", "2025-06-20", season=2012),
    "three taxa": lambda: compared(
        "humid-continental", "2025-04-10", MAPLE, "fagus-crenata", "rhododendron-indicum"
    ),
    "south": lambda: compared("southern-temperate", "2024-09-20"),
    "three seasons": short_record,
    "four taxa": lambda: compared(
        "mediterranean", "2025-03-10", MAPLE, "picea-abies", "pinus-mugo", "ficus-microcarpa"
    ),
}


@cache
def case(name: str) -> Comparison:
    return CASES[name]()


@cache
def drawn(name: str) -> Figure:
    return draw_comparison(case(name))


# ---------------------------------------------------------------------------- text and JSON


def strict(text: str) -> Any:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(text, parse_constant=refuse)


def plain(text: str) -> str:
    return " ".join(text.split())


def strings(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for item in value.values() for text in strings(item)]
    if isinstance(value, list):
        return [text for item in value for text in strings(item)]
    return [value] if isinstance(value, str) else []


@pytest.mark.parametrize("name", CASES)
def test_text_is_narrow_and_short(name: str) -> None:
    text = comparison_text(case(name))
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 66
    assert not any(line != line.rstrip() for line in lines)


@pytest.mark.parametrize("name", CASES)
def test_json_says_all_that_the_text_says(name: str) -> None:
    comparison = case(name)
    text = comparison_text(comparison)
    found = strict(json.dumps(comparison_json(comparison)))
    said = plain(text)
    told = [plain(item) for item in strings(found)]
    for sentence in (found["title"], *found["caveats"], *found["rules"].values()):
        assert plain(sentence) in told
    body = said
    sentences = [
        found["note"],
        *(taxon["headline"] for taxon in found["species"]),
        *(found[name]["text"] for name in ("heat", "chill") if found[name]),
        *found["alike"]["text"],
        found["alike"].get("rule"),
        found["alike"].get("caution"),
        *found["caveats"],
        found["rules"]["standing"],
        found["rules"]["trend"],
    ]
    for sentence in filter(None, sentences):
        body = body.replace(plain(sentence), " ")
    assert said != body
    events = {**found["frosts"]}
    for taxon in found["species"]:
        events |= {f"{taxon['species']} {key}": item for key, item in taxon["events"].items()}
    dates = {item for item in strings(found) if re.fullmatch(r"\d{4}-\d{2}-\d{2}", item)}
    short = {f"{int(item[8:])} {MONTHS[int(item[5:7]) - 1][:3]}" for item in dates}
    for token in re.findall(
        r"\b\d{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b", body
    ):
        assert token in short
    ranks = [item["rank"] for item in events.values() if item["rank"]]
    for number, of in re.findall(r"(\d+)(?:st|nd|rd|th) of (\d+)", body):
        assert any((rank["from_earliest"], rank["of"]) == (int(number), int(of)) for rank in ranks)
    chances = {int(100 * item["chance_before_usual"] + 1e-6) for item in events.values()
               if item["chance_before_usual"] is not None}  # fmt: skip
    for number in re.findall(r"(\d+)% sooner", body):
        assert {int(number), int(number) + 1} & chances  # JSON is rounded, text is cut
    away = {abs(item["days_from_usual"]) for item in events.values()
            if item["days_from_usual"] is not None}  # fmt: skip
    for number in re.findall(r"(\d+) (?:earlier|later)", body):
        assert int(number) in away
    trends = {plain(item["trend_text"]) for item in events.values()}
    verdict = r"(?:not )?sure(?:: zero\s+is\s+in\s+the\s+range)?"
    for line in re.findall(rf"[+−]?\d+\.\d \([^)]*\), p [<0-9. ]+, {verdict}", body):
        assert plain(line) in trends


def test_json_holds_the_promised_keys() -> None:
    found = comparison_json(case("mid-season"))
    assert found["schema"] == "sapdial-compare-1"
    assert (found["season"], found["running"], found["on"]) == (2025, True, "2025-04-10")
    assert len(found["other_seasons"]) == 34
    (taxon,) = found["species"]
    bud = taxon["events"]["bud_break"]
    assert bud["ahead"]
    assert bud["early"] <= bud["date"] <= bud["late"]
    assert 0 <= bud["chance_before_usual"] <= 1
    assert len(bud["seasons"]) == 34
    assert {item["season"] for item in bud["seasons"]} == set(found["other_seasons"])
    trend = bud["trend"]
    assert (trend["low_95_days_per_decade"] <= trend["slope_days_per_decade"]
            <= trend["high_95_days_per_decade"])  # fmt: skip
    heat = found["heat"]
    assert heat["until"] == "2025-04-10"
    assert len(heat["on_the_same_day"]) == heat["seasons"] == 34
    days = (np.datetime64("2025-06-30") - np.datetime64("2025-01-01")).astype(int) + 1
    assert {len(curve) for key, curve in heat["by_day"].items() if key != "first"} == {days}
    assert "growth_stop" in taxon["not_compared"]
    assert [item["season"] for item in found["left_out_seasons"]] == [1990]


def test_the_command_in_text_and_json(sapdial: Asked) -> None:
    status, text, err = sapdial(*SAMPLE)
    assert (status, err) == (0, "")
    assert "INVENTED" in text
    assert "This spring is" in text
    assert "No species was named: Japanese maple stands in" in text
    status, again, err = sapdial(MAPLE, *SAMPLE, "--format", "json")
    assert (status, err) == (0, "")
    found = strict(again)
    assert found["site"]["invented"]
    assert plain(found["species"][0]["headline"]) in plain(text)
    status, past, _ = sapdial(MAPLE, "--season", 2012, *SAMPLE)
    assert status == 0
    assert "Spring 2012 was" in past


def test_later_readings_change_nothing(sapdial: Asked, tmp_path: Path) -> None:
    record = place("humid-continental").record
    days = record.first + np.arange(len(record.tmin_c))
    outputs = []
    for until, shift in (("2024-05-01", 0.0), ("2025-12-31", 9.0)):
        kept = days <= np.datetime64(until)
        rows = [
            f"{date},{low + shift * (date > days[0] + 12296):.1f},"
            f"{high + shift * (date > days[0] + 12296):.1f}"
            for date, low, high in zip(
                days[kept], record.tmin_c[kept], record.tmax_c[kept], strict=True
            )
        ]
        path = tmp_path / until / "garden.csv"
        path.parent.mkdir()
        path.write_text("date,tmin_c,tmax_c\n" + "\n".join(rows) + "\n")
        where = ("--temperatures", path, "--latitude", 43.2, "--longitude", -74.6)
        status, out, _ = sapdial(MAPLE, *where, "--on", "2024-05-01")
        assert status == 0
        outputs.append(out)
    assert str(days[0] + 12296) == "2024-05-01"
    assert outputs[0] == outputs[1]


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("--season", 1990), 1, "its winter began on 1989-09-01, before the record"),
        (("--season", 1950), 1, "ask for a season from 1991 to 2025"),
        (("--season", "soon"), 2, "soon"),
        (("-o", "year.bmp"), 2, ".png, .svg, .pdf, .json, .csv, .txt"),
        (("-o", "year.png", "--format", "json"), 2, "must end in .json"),
        (("no-such-tree",), 2, "no-such-tree"),
    ],
)
def test_refusals(
    sapdial: Asked, empty_folder: Path, arguments: tuple[object, ...], status: int, words: str
) -> None:
    found, out, err = sapdial(*arguments, *SAMPLE)
    assert (found, out) == (status, "")
    assert words in err
    assert len(err.strip().splitlines()) == 1
    assert not list(empty_folder.iterdir())


def test_every_file_form(sapdial: Asked, tmp_path: Path) -> None:
    for suffix in (".png", ".json", ".csv", ".txt"):
        path = tmp_path / f"spring{suffix}"
        status, out, err = sapdial(*SAMPLE, "-o", path)
        assert (status, err) == (0, "")
        assert out.startswith(f"{path}: season 2025, 1 taxon")
    for suffix in (".svg", ".pdf"):
        save_comparison(case("summer"), tmp_path / f"spring{suffix}")
    with Image.open(tmp_path / "spring.png") as image:
        assert image.width == 1650
        assert 1200 < image.height < 3000
        assert image.info["Title"].startswith("This spring is early: Ambrick Corners")
    svg = (tmp_path / "spring.svg").read_text(encoding="utf-8")
    ElementTree.fromstring(svg)
    for words in ("This spring is early", "days early", "INVENTED", "Japanese maple", "buds break"):
        assert words in svg
    assert f'id="season-{MAPLE}-bud_break"' in svg
    assert (tmp_path / "spring.pdf").read_bytes().startswith(b"%PDF-")
    assert strict((tmp_path / "spring.json").read_text())["schema"] == "sapdial-compare-1"
    assert (tmp_path / "spring.txt").read_text() == comparison_text(case("summer"))
    data = strict((tmp_path / "spring.json").read_text())
    told = {(MAPLE, event): item for event, item in data["species"][0]["events"].items()}
    told |= {("", event): item for event, item in data["frosts"].items()}
    rows = list(csv.DictReader((tmp_path / "spring.csv").read_text("utf-8").splitlines()))
    assert [(row["species"], row["event"]) for row in rows] == list(told)
    for row, item in zip(rows, told.values(), strict=True):
        assert row["date"] == (item["date"] or "")
        assert row["days_from_usual"] == str(item["days_from_usual"] or (0 if item["date"] else ""))
        assert row["rank_of"] == str((item["rank"] or {"of": ""})["of"])
        assert row["trend_p"] == (str(item["trend"]["p"]) if item["trend"] else "")
    assert sapdial(*SAMPLE, "--format", "csv")[1] == (tmp_path / "spring.csv").read_text("utf-8")


# ---------------------------------------------------------------------------- chart


def line(figure: Figure, gid: str) -> Line2D:
    (found,) = figure.findobj(lambda artist: artist.get_gid() == gid)
    assert isinstance(found, Line2D)
    return found


def middle_of(figure: Figure) -> float:
    (usual,) = (text for text in figure.findobj(Text) if text.get_text() == "usual")
    return float(usual.get_position()[0])


@pytest.mark.parametrize("name", ["mid-season", "summer", "past", "three taxa"])
def test_marks_stand_where_their_dates_are(name: str) -> None:
    comparison = case(name)
    figure = drawn(name)
    middle = middle_of(figure)
    for taxon in comparison.taxa:
        item, slug = taxon.leading, taxon.species.slug
        assert item is not None
        mark = line(figure, f"season-{slug}-bud_break")
        away = float(np.asarray(mark.get_xdata())[0]) - middle
        assert np.sign(round(away, 6)) == np.sign(item.days_from_usual or 0)
        assert (mark.get_markerfacecolor() == PAPER) == item.ahead
        dots = np.asarray(line(figure, f"others-{slug}-bud_break").get_xdata())
        assert len(dots) == len(item.days)
        per_day = away / item.days_from_usual if item.days_from_usual else None
        if per_day:
            expected = np.sort(item.days - item.usual_day)
            assert np.sort(dots - middle) / per_day == pytest.approx(expected, abs=1e-6)


def test_the_sum_ends_on_the_day() -> None:
    comparison = case("mid-season")
    heat = comparison.heat
    assert heat is not None
    curve = line(drawn("mid-season"), "sum-heat")
    known = ~np.isnan(np.asarray(curve.get_ydata(), dtype=float))
    assert known.sum() == heat.until - heat.since + 1 == 100  # 1 January to 10 April


def assert_clear(figure: Figure) -> None:
    width, height = figure.get_size_inches() * figure.dpi
    placed = boxes(figure)
    for text, box in placed:
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, text
    for (first, a), (second, b) in combinations(placed, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        down = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert across <= 1 or down <= 1, (first, second)


@pytest.mark.parametrize("name", CASES)
def test_no_text_covers_another_or_leaves_the_page(name: str) -> None:
    assert_clear(drawn(name))


def test_very_long_names_fit() -> None:
    long = "the exceedingly long-named weeping cut-leaved maple of the far hills " + "x" * 60
    comparison = case("mid-season")
    (taxon,) = comparison.taxa
    species = replace(taxon.species, common_name=long, scientific_name=f"Acer {long}")
    site = Site(f"{long} {long}", -33.0, 151.0, 20.0, True)
    named = replace(comparison, taxa=(replace(taxon, species=species),), site=site)
    assert_clear(draw_comparison(named))
    assert max(map(len, comparison_text(named).splitlines())) <= 80


def test_one_ink_is_enough() -> None:
    """In greyscale this season's mark is darker and larger than the dots, and both than paper."""
    figure = drawn("summer")
    mark = line(figure, f"season-{MAPLE}-bud_break")
    dots = line(figure, f"others-{MAPLE}-bud_break")
    assert mark.get_markersize() > 1.4 * dots.get_markersize()

    def grey(colour: Any) -> float:
        return float(np.dot([int(str(colour)[at : at + 2], 16) for at in (1, 3, 5)],
                            [0.299, 0.587, 0.114]))  # fmt: skip

    assert grey(mark.get_markerfacecolor()) + 25 < grey(dots.get_markerfacecolor()) < 150
    assert grey(PAPER) > 240
