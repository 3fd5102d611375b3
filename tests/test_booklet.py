"""The booklet of a year, as PDF.

What must hold, read back with pypdf and with matplotlib's own text extents:
- every text, area, sign and dash of the figures stands in the file, where it was drawn;
- pages are A4 or Letter; every font is embedded and none is of Type 3; text can be searched: every
  taxon, every safe window and every source of a rule stands there; pages are counted in the foot;
- no text leaves the printable area or covers another, from one taxon to all of the library, with
  very long names, in a southern year and in a leap year;
- without colour the kinds of work still differ; the compact form tells them apart by shape;
- the same calendar gives the same bytes and bears no date of its making;
- odds, groups and amounts are worded as they are counted.
"""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.text import Text
from pypdf import PdfReader
from test_calendar_chart import check_apart, crop, crowd, rendered
from test_calendar_text import YEAR, band, day, hump, made_up, taxon

from cli.main import main
from timing.answers import COMMON_TAXA, outlook, site_drivers
from timing.calendar import CalendarRow, EventMark, YearCalendar, year_calendar
from timing.charts.booklet import draw_booklet, save_booklet
from timing.errors import UsageError
from timing.export.booklet_words import amount_text, grouped, rule_texts, windows_text
from timing.export.species_text import NO_SOURCE, Notes
from timing.intake.samples import open_sample
from timing.language import language
from timing.species.catalogue import load_species, slugs
from timing.species.hazards import load_hazard
from timing.species.model import HABITS, WORK_KINDS
from timing.windows import Window

A4, LETTER = (595.28, 841.89), (612.0, 792.0)  # ISO 216 in points; 8.5 by 11 inches
EDGE = 12 / 25.4  # inches that a printer may leave out
MONTH = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@cache
def real(sample: str, count: int) -> YearCalendar:
    place, record = open_sample(sample)
    drivers = site_drivers(record, place.site)
    taxa = COMMON_TAXA if count == 8 else slugs()[:: len(slugs()) // count][:count]
    views = [outlook(load_species(slug), record, drivers) for slug in taxa]
    return year_calendar(views, YEAR, confidence=0.9, today=day("2025-06-20"))


def check_fonts(reader: PdfReader) -> None:
    seen = 0
    for page in reader.pages:
        resources: Any = page["/Resources"]
        for held in resources["/Font"].values():
            font = held.get_object()
            assert font["/Subtype"] != "/Type3"
            inner = font
            if font["/Subtype"] == "/Type0":
                inner = font["/DescendantFonts"][0].get_object()
            assert "/FontFile2" in inner["/FontDescriptor"].get_object()
            seen += 1
    assert seen


def check_pages(reader: PdfReader, size: tuple[float, float]) -> str:
    """Check sizes and numbers of the pages; return their text on one line."""
    text = ""
    count = len(reader.pages)
    for number, page in enumerate(reader.pages, 1):
        box = (float(page.mediabox.width), float(page.mediabox.height))
        assert box == pytest.approx(size, abs=0.01)
        found = page.extract_text()
        assert f"{number} of {count}" in found
        text += f" {found}"
    return re.sub(r"\s+", " ", text)


def expected(window: Window) -> str:
    """A window as people write it, made here by hand."""
    (a, b), (c, d) = (
        (int(str(date)[8:]), MONTH[int(str(date)[5:7]) - 1])
        for date in (window.opens, window.closes)
    )
    if window.opens == window.closes:
        return f"{a} {b}"
    return f"{a}–{c} {d}" if b == d else f"{a} {b} – {c} {d}"


def check_text(text: str, calendar: YearCalendar) -> None:
    for row in calendar.rows:
        assert row.species.common_name in text
        assert row.species.scientific_name in text
        for part in row.bands:
            for window in part.safe:
                first, last = str(window.opens)[5:] == "01-01", str(window.closes)[5:] == "12-31"
                if not first and not last:
                    assert expected(window) in text, (row.species.slug, part.kind, window)
            for rule in row.species.work[part.kind]:
                assert re.sub(r"\s+", " ", rule.why) in text
                assert rule.source == NO_SOURCE or rule.source in text
    for said in (
        "INVENTED PLACE AND WEATHER", calendar.site.name, calendar.record.source,
        "Local rules and licensed practice", "Sources",
    ):  # fmt: skip
        assert said in text


def check_layout(figures: list[Figure]) -> list[str]:
    """Check that texts stay on the paper and apart; return them."""
    return [text for figure in figures for text in check_apart(figure, EDGE, 2)]


@pytest.mark.slow
def test_a_booklet_of_forty_taxa_is_printed_whole(tmp_path: Path) -> None:
    calendar = real("humid-continental", 40)
    assert len(calendar.rows) == 40
    pages = save_booklet(calendar, tmp_path / "year.pdf")
    reader = PdfReader(tmp_path / "year.pdf")
    assert len(reader.pages) == pages
    check_text(check_pages(reader, A4), calendar)
    check_fonts(reader)


def several(count: int) -> YearCalendar:
    rows = []
    for number in range(count):
        row = taxon(number, f"tree {number}", f"Arbor {number}")
        habit = HABITS[number % len(HABITS)]
        rows.append(replace(row, species=replace(row.species, habit=habit)))
    return made_up(*rows)


@pytest.mark.parametrize(
    ("sample", "paper", "code"),
    [("humid-continental", "a4", "de"), ("southern-temperate", "letter", "en")],
)
def test_no_text_collides_on_the_pages_of_a_real_year(sample: str, paper: Any, code: str) -> None:
    calendar = real(sample, 4)
    check_layout(draw_booklet(replace(calendar, language=language(code)), paper))


def test_no_text_collides_with_as_many_taxa_as_the_library_has() -> None:
    count = len(slugs())
    assert count >= 94
    figures = draw_booklet(several(count))
    found = {text.get_text() for figure in figures for text in figure.findobj(Text)}
    for number in range(count):
        assert f"Arbor {number}" in found
    check_layout([*figures[:4], *figures[-3:]])  # cover, taxa, months, notes: kinds of pages


def test_every_page_shows_what_was_drawn(tmp_path: Path) -> None:
    """Words, places, areas and dashes of the file, read back by pypdf, against the figures."""
    figures = draw_booklet(made_up())
    save_booklet(made_up(), tmp_path / "year.pdf")
    pages = PdfReader(tmp_path / "year.pdf").pages
    assert len(pages) == len(figures)
    dashes = 0
    for figure, page in zip(figures, pages, strict=True):
        height = 72 * figure.get_size_inches()[1]
        texts = [text for text in figure.findobj(Text) if text.get_text()]
        drawn = {
            (text.get_text(), round(72 * x), round(height - 72 * y))
            for text in texts
            if text.get_horizontalalignment() == "left"
            for x, y in [text.get_position()]
        }
        found: set[tuple[str, int, int]] = set()

        def keep(text: str, _cm: Any, tm: list[float], _font: Any, _size: Any) -> None:
            found.add((text.strip(), round(tm[4]), round(tm[5])))  # noqa: B023

        resources: Any = page["/Resources"]
        resources.get_object().pop("/XObject", None)  # textures: no words, and long to read
        page.extract_text(visitor_text=keep)
        assert len(drawn & found) > 0.9 * len(drawn), drawn - found
        content = page.get_contents()
        assert content is not None
        operators = [name for _, name in content.operations]
        areas = figure.findobj(Polygon)
        signs = [line for line in figure.findobj(Line2D) if line.get_marker() != "None"]
        assert operators.count(b"BT") == operators.count(b"ET") == len(texts)
        assert operators.count(b"W") == sum(1 for area in areas if area.get_hatch())
        filled = operators.count(b"f") + operators.count(b"B")
        assert filled == len(areas) + len(signs)
        dashes += sum(1 for given, name in content.operations if name == b"d" and given[0])
    assert dashes == sum(
        1 for figure in figures for line in figure.findobj(Line2D) if line.get_linestyle() == "--"
    )
    assert dashes > 0


@pytest.mark.parametrize("name", ["日本の庭", "Cafe\u0301 Škofja Łąka", "גן העצים"])
def test_names_in_other_letters_are_drawn_and_found(name: str, tmp_path: Path) -> None:
    calendar = made_up()
    calendar = replace(calendar, site=replace(calendar.site, name=name))
    save_booklet(calendar, tmp_path / "year.pdf")
    page = PdfReader(tmp_path / "year.pdf").pages[0]
    text = page.extract_text()
    for word in name.split():  # of two words from right to left, readers differ in the order
        assert word in text
    content = page.get_contents()
    assert content is not None
    unseen = [given for given, operator in content.operations if operator == b"Tr"]
    assert unseen == [[3], [3]]  # the name at the head and in the foot; all else is seen


def test_no_text_collides_with_very_long_names() -> None:
    check_layout(draw_booklet(crowd(3)))
    check_layout(draw_booklet(crowd(13), "letter")[:2])  # the compact cover, and taxa


def test_a_leap_year_and_a_year_all_safe() -> None:
    row = taxon()
    row = replace(
        row,
        bands=tuple(band(kind, np.ones(366), 2024) for kind in WORK_KINDS),
        marks=(EventMark("bud_break", day("2024-02-20"), day("2024-02-29"), day("2024-03-09")),),
    )
    calendar = replace(made_up(row), year=2024, today=day("2024-12-31"))
    found = check_layout(draw_booklet(calendar))
    assert found.count("all year") == 3
    assert found.count("all month") == 36
    assert found.count("today, 31 December") == 1
    assert "buds break 29 Feb (20 Feb – 9 Mar)" in found


def test_two_saves_are_the_same_bytes_and_bear_no_date(tmp_path: Path) -> None:
    calendar = made_up()
    first, second = tmp_path / "a.pdf", tmp_path / "b.pdf"
    save_booklet(calendar, first)
    save_booklet(calendar, second)
    assert first.read_bytes() == second.read_bytes()
    about = PdfReader(first).metadata
    assert about is not None
    assert about.title == "Safe days for cuts, 2025: Nowhere"
    assert set(about) == {"/Title"}
    catalogue: Any = PdfReader(first).trailer["/Root"]
    assert catalogue["/Lang"] == "en"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.pdf", "b.pdf"]


def test_a_wrong_suffix_or_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"written as \.pdf"):
        save_booklet(made_up(), tmp_path / "year.png")
    with pytest.raises(UsageError, match="cannot be written"):
        save_booklet(made_up(), tmp_path / "nowhere" / "year.pdf")
    assert not list(tmp_path.iterdir())


def test_kinds_of_work_differ_without_colour() -> None:
    row = taxon()
    row = replace(row, bands=tuple(band(kind, np.full(365, 0.95)) for kind in WORK_KINDS))
    cover = draw_booklet(made_up(row, today=None))[0]
    _, grey = rendered(cover)
    assert grey[2, 2] == 255  # the paper itself takes no ink
    shades = [
        crop(cover, grey, f"safe-{row.species.slug}-{kind}")[:, 80:105] for kind in WORK_KINDS
    ]
    assert shades[0].mean() < 90
    assert shades[0].std() < 2  # solid
    assert min(shade.std() for shade in shades[1:]) > 5  # hatched, dotted
    rows = [shade[5:-5].mean(axis=1).std() for shade in shades]
    assert rows[2] > rows[1] + 1  # dots lie in lines, strokes do not


def test_groups_and_months_have_their_headings() -> None:
    found = check_layout(draw_booklet(several(9)))
    for title in (
        "Deciduous trees", "Flowering trees and shrubs", "Pines", "Junipers and other conifers",
        "Broadleaf evergreens", "Tropical trees", "Month by month",
    ):  # fmt: skip
        assert title in found
    months = [text for text in found if text in ("January", "June", "December")]
    assert months == ["January", "June", "December"]


# ---------------------------------------------------------------------------- words


def test_every_habit_has_a_group_and_maples_name_theirs() -> None:
    rows = several(len(HABITS)).rows
    assert sum(len(chosen) for _, chosen in grouped(rows)) == len(HABITS)
    assert [title for title, _ in grouped([taxon()])] == ["Maples and other deciduous trees"]
    elm = taxon(0, "elm", "Ulmus ficta")
    assert [title for title, _ in grouped([elm])] == ["Deciduous trees"]


def test_odds_of_a_window_run_from_its_worst_to_its_best_day() -> None:
    chance = np.zeros(365)
    chance[100:103] = [0.905, 0.999, 0.92]  # from 11 April
    assert windows_text(band("heavy", chance), YEAR) == [("11–13 Apr", "90–99%")]
    chance[0], chance[-1] = 0.95, 0.91
    assert windows_text(band("heavy", chance), YEAR)[1] == ("31 Dec – 1 Jan", "91–95%")
    never = band("heavy", hump(200, 20, 0.6))
    assert windows_text(never, YEAR) == [("no safe day", "best 60% on 20 July")]
    assert windows_text(band("heavy", np.zeros(365)), YEAR) == [("no safe day", "")]


def row_of(slug: str) -> CalendarRow:
    row = taxon()
    return replace(row, species=load_species(slug))


def test_amounts_follow_the_tree() -> None:
    maple, notes = load_species("acer-palmatum"), Notes()
    heavy = amount_text(maple, "heavy", notes)
    assert heavy.startswith("Up to 25% of the foliage at one time; 40% from a vigorous tree;")
    assert "nothing from a weak tree [common practice, 1]" in heavy
    assert list(notes.numbers) == [maple.removal.source]
    assert amount_text(maple, "light", notes).startswith("About 15% at most: trim soft shoots")


def test_rules_speak_of_conditions_and_hazards_but_not_of_options() -> None:
    elm = load_species("ulmus-parvifolia")
    light = band("light", hump(200, 40))
    open_place = " ".join(sum(rule_texts(light, elm, Notes()), ()))
    assert "Condition: not where Dutch elm disease occurs" in open_place
    assert "--" not in open_place
    disease = load_hazard("elm-disease")
    closed = rule_texts(replace(light, closed=((disease, ()),)), elm, Notes())
    assert closed[0][0].startswith("Closed because Dutch elm disease occurs here: ")
    pine = load_species("pinus-thunbergii")
    assert "Only on a vigorous tree, and not in the dates here" in str(
        rule_texts(light, pine, Notes())
    )


# ---------------------------------------------------------------------------- the command


def test_the_command_writes_a_booklet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "year.pdf"
    sample = "southern-temperate"
    asked = ["sapdial", "calendar", COMMON_TAXA[0], "--sample", sample, "--year", str(YEAR)]
    monkeypatch.setattr("sys.argv", [*asked, "--paper", "letter", "-o", str(path)])
    main()
    assert str(path) in capsys.readouterr().out
    reader = PdfReader(path)
    check_fonts(reader)
    text = check_pages(reader, LETTER)
    for said in ("Acer palmatum", "INVENTED PLACE AND WEATHER", "today, 20 June"):
        assert said in text


@pytest.mark.parametrize("more", [[], ["-o", "year.png"]])
def test_paper_without_a_pdf_is_refused(
    more: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(
        "sys.argv", ["sapdial", "calendar", "--sample", "coast", "--paper", "a4", *more]
    )
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    assert "--paper goes with -o FILE.pdf" in capsys.readouterr().err
