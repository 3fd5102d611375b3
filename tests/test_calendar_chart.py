"""The year's calendar as a picture.

What must hold:
- every taxon has its three bands and its events, found by gid; the SVG keeps names, confidence
  and notices as text; "none" and "best … on …" stand where no day is safe;
- the height of a band on a day is the chance of that day; full colour and bar cover the safe days;
- texture tells the kinds of work apart in greyscale, and every band stands out from the paper;
- from 1 to 40 rows, with very long names, no text leaves the page and no two texts overlap;
- events closer than nine days stand on different lanes; whiskers wrap around New Year;
- the same calendar gives the same bytes, whatever the user's matplotlib is set to;
- an unknown suffix or a missing folder is refused and leaves nothing behind.
"""

import os
import subprocess
import sys
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.text import Text
from numpy.typing import NDArray
from PIL import Image
from test_calendar_text import MARKS, YEAR, band, day, hump, made_up, taxon

from timing.answers import outlook, site_drivers
from timing.calendar import CalendarRow, EventMark, YearCalendar, year_calendar
from timing.charts import house_style
from timing.charts.calendar_chart import YEAR_LEFT, YEAR_RIGHT, draw_calendar, save_calendar
from timing.errors import UsageError
from timing.intake.samples import open_sample
from timing.site import Site
from timing.species.catalogue import load_species
from timing.species.model import WORK_KINDS

NAME = "the exceedingly long-named weeping cut-leaved maple of the far hills " + "x" * 60


def by_gid(figure: Figure, gid: str) -> list[Artist]:
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def rendered(figure: Figure) -> tuple[FigureCanvasAgg, NDArray[np.float64]]:
    """The figure drawn at its own resolution, in greyscale from 0 to 255."""
    canvas = FigureCanvasAgg(figure)
    with house_style():
        canvas.draw()
    return canvas, np.asarray(Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("L"), float)


def boxes(figure: Figure) -> list[tuple[str, Any]]:
    renderer = FigureCanvasAgg(figure).get_renderer()
    with house_style():
        return [
            (text.get_text(), text.get_window_extent(renderer))
            for text in figure.findobj(Text)
            if isinstance(text, Text) and text.get_text() and text.get_visible()
        ]


def check_apart(figure: Figure, edge: float = 0.0, touch: float = 1.0) -> list[str]:
    """Check that no text leaves the page or covers another; return the texts.

    ``edge`` is a margin to keep free [in], ``touch`` how far line boxes may reach into each other
    [pixels]: they touch where letters do not.
    """
    placed = boxes(figure)
    words = [text for text, _ in placed]
    left, low, right, high = np.array([box.extents for _, box in placed]).T
    margin = edge * figure.dpi
    inside = (margin <= left) & (right <= figure.bbox.width - margin)
    inside &= (margin <= low) & (high <= figure.bbox.height - margin)
    assert inside.all(), words[int(np.argmin(inside))]
    across = np.minimum.outer(right, right) - np.maximum.outer(left, left)
    down = np.minimum.outer(high, high) - np.maximum.outer(low, low)
    one, other = np.nonzero(np.triu((across > 1) & (down > touch), 1))
    assert not one.size, (words[one[0]], words[other[0]])
    return words


def crowd(rows: int) -> YearCalendar:
    limits = tuple(f"condition number {n} of this taxon" for n in range(6))
    long = replace(taxon(0, NAME, f"{NAME} subsp. {NAME}"))
    long = replace(long, bands=(replace(long.bands[0], limits=limits), *long.bands[1:]))
    others = [taxon(n, f"tree {n}", f"Arbor {n}") for n in range(1, rows)]
    return made_up(long, *others, site=Site(f"{NAME} {NAME} {NAME}", -33.0, 151.0, 20.0, True))


@pytest.mark.parametrize("rows", [1, 8, 40])
def test_no_text_leaves_the_page_or_covers_another(rows: int) -> None:
    check_apart(draw_calendar(crowd(rows)))


def test_the_svg_keeps_gids_and_text(tmp_path: Path) -> None:
    calendar = made_up(*(taxon(n, f"tree {n}", f"Arbor {n}") for n in range(3)))
    save_calendar(calendar, tmp_path / "year.svg")
    svg = (tmp_path / "year.svg").read_text(encoding="utf-8")
    for row in calendar.rows:
        for kind in WORK_KINDS:
            assert f'id="band-{row.species.slug}-{kind}"' in svg
        for mark in row.marks:
            assert f'id="mark-{row.species.slug}-{mark.event}"' in svg
        assert f">{row.species.common_name}<" in svg
        assert f">{row.species.scientific_name}<" in svg
    assert 'id="today"' in svg
    assert svg.count("INVENTED PLACE AND WEATHER") >= 2
    for words in (
        "Safe days for cuts, 2025", "Nowhere", "45.00° N, 7.00° E, 300 m", "today, 20 June",
        ">safe at 90%<", "26 Jun – 13 Aug", "5 Dec – 28 Jan", "best 62%", "on 20 July",
        "heavy cuts", "light refinement", "winter outline work", "sap rises", "full bloom",
        "made-up.csv", "(a) small cuts only", "nesting birds", "Safe days for cuts, 2025: Nowhere",
    ):  # fmt: skip
        assert words in svg, words


def test_a_real_place_is_not_called_invented_and_today_is_optional() -> None:
    figure = draw_calendar(made_up(site=Site("Garden", 45.0, 7.0), today=None))
    words = " ".join(text for text, _ in boxes(figure))
    assert "INVENTED" not in words
    assert "today" not in words
    assert not by_gid(figure, "today")


def test_a_band_without_safe_days_says_none() -> None:
    row = taxon()
    never = band("heavy", hump(100, 20, 0.015))
    figure = draw_calendar(made_up(replace(row, bands=(never, *row.bands[1:]))))
    (none,) = by_gid(figure, f"band-{row.species.slug}-heavy")
    assert isinstance(none, Text)
    assert none.get_text() == "none"


def polygon(figure: Figure, gid: str) -> NDArray[np.float64]:
    (drawn,) = by_gid(figure, gid)
    assert isinstance(drawn, Polygon)
    return np.asarray(drawn.get_xy())


def test_band_height_is_the_chance_of_the_day() -> None:
    chance = np.linspace(0.0, 1.0, 365)
    row = taxon()
    row = replace(row, bands=(band("heavy", chance), *row.bands[1:]))
    figure = draw_calendar(made_up(row))
    xy = polygon(figure, f"band-{row.species.slug}-heavy")[1:-2]
    base = xy[:, 1].max()
    heights = (base - xy[:, 1]) / (base - xy[:, 1].min())
    assert heights[0::2] == pytest.approx(chance, abs=1e-9)
    assert heights[1::2] == pytest.approx(chance, abs=1e-9)
    steps = np.diff(xy[0::2, 0])
    assert steps == pytest.approx(np.full(364, steps[0]))

    safe = polygon(figure, f"safe-{row.species.slug}-heavy")
    first = int(np.argmax(chance >= 0.9))
    assert safe[:, 0].min() == pytest.approx(xy[2 * first, 0])
    assert safe[:, 0].max() == pytest.approx(xy[-1, 0])


def crop(figure: Figure, grey: NDArray[np.float64], gid: str) -> NDArray[np.float64]:
    """The inside of the first polygon of that gid."""
    drawn = by_gid(figure, gid)[0]
    assert isinstance(drawn, Polygon)
    box = drawn.get_window_extent()
    top, left = int(len(grey) - box.y1) + 3, int(box.x0) + 3
    return grey[top : int(len(grey) - box.y0) - 3, left : int(box.x1) - 3]


def test_kinds_of_work_differ_in_greyscale() -> None:
    always = np.full(365, 0.95)
    doubtful = np.full(365, 0.85)
    for chance, part, contrast in ((always, "safe", 40), (doubtful, "band", 12)):
        row = taxon()
        row = replace(row, bands=tuple(band(kind, chance) for kind in WORK_KINDS))
        figure = draw_calendar(made_up(row, today=None))
        _, grey = rendered(figure)
        paper = grey[2, 2]
        shades = [crop(figure, grey, f"{part}-{row.species.slug}-{kind}") for kind in WORK_KINDS]
        for shade in shades:
            assert paper - shade.mean() > contrast
        inner = [shade[:, 60:100] for shade in shades]  # between two month lines
        assert inner[0].std() < 2  # solid
        assert min(inner[1].std(), inner[2].std()) > 5  # hatched, dotted
        rows = [shade[5:-5].mean(axis=1).std() for shade in inner]
        assert rows[2] > rows[1] + 1  # dots lie in lines, strokes do not


def test_png_shows_every_row() -> None:
    rows = [taxon(n, f"tree {n}") for n in range(12)]
    figure = draw_calendar(made_up(*rows))
    _, grey = rendered(figure)
    for row in rows:
        assert crop(figure, grey, f"band-{row.species.slug}-heavy").std() > 20


def marker(figure: Figure, slug: str, event: str) -> tuple[float, float]:
    (drawn,) = by_gid(figure, f"mark-{slug}-{event}")
    assert isinstance(drawn, Line2D)
    return float(np.asarray(drawn.get_xdata())[0]), float(np.asarray(drawn.get_ydata())[0])


def test_close_events_stand_on_different_lanes() -> None:
    figure = draw_calendar(made_up())
    slug = "acer-fictum-0"
    close = [marker(figure, slug, event)[1] for event in ("bud_break", "last_frost", "full_bloom")]
    assert len({round(y, 4) for y in close}) == 3
    assert marker(figure, slug, "first_frost")[1] == pytest.approx(min(close))


def test_whiskers_wrap_around_new_year() -> None:
    row = CalendarRow(taxon().species, taxon().bands, MARKS[:1])
    figure = draw_calendar(made_up(row))
    grid = polygon(figure, "band-acer-fictum-0-heavy")[:, 0]
    start, per_day = grid.min(), (grid.max() - grid.min()) / 365
    y = marker(figure, "acer-fictum-0", "sap_rise")[1]
    ends = sorted(
        (float(xs.min() - start) / per_day, float(xs.max() - start) / per_day)
        for line in figure.findobj(Line2D)
        if isinstance(line, Line2D) and len(line.get_xdata()) == 8  # a whisker with its caps
        for xs in [np.asarray(line.get_xdata())[[0, 7]]]
        if np.asarray(line.get_ydata())[3] == pytest.approx(y)
    )
    assert ends == [
        (pytest.approx(0), pytest.approx(32)),  # 1 February included
        (pytest.approx(353), pytest.approx(365)),  # from 20 December
    ]


@pytest.mark.parametrize("suffix", [".png", ".svg"])
def test_two_saves_are_the_same_bytes(tmp_path: Path, suffix: str) -> None:
    first, second = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
    save_calendar(made_up(), first)
    save_calendar(made_up(), second)
    assert first.read_bytes() == second.read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == [first.name, second.name]
    if suffix == ".png":
        with Image.open(BytesIO(first.read_bytes())) as image:
            assert image.info["Title"] == "Safe days for cuts, 2025: Nowhere"


def test_the_users_matplotlib_does_not_matter(tmp_path: Path) -> None:
    settings = tmp_path / "matplotlibrc"
    settings.write_text(
        "font.size: 30\nfont.family: monospace\nsavefig.bbox: tight\ntext.usetex: True\n"
        "axes.facecolor: red\nsvg.fonttype: path\nlines.linewidth: 9\nhatch.linewidth: 9\n"
        "axes.xmargin: 0.4\nsavefig.dpi: 30\nfigure.constrained_layout.use: True\n"
    )
    here = Path(__file__).parent
    code = (
        "import os, sys; from pathlib import Path; from timing.charts.calendar_chart import *;"
        "from test_calendar_text import made_up; folder = Path(sys.argv[1]);"
        "assert os.environ['MPLBACKEND'] == 'module://nonsense';"
        "[save_calendar(made_up(), folder / f'theirs{end}') for end in ('.png', '.svg')]"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        env={
            **os.environ,
            "MPLBACKEND": "module://nonsense",
            "MATPLOTLIBRC": str(settings),
            "PYTHONPATH": os.pathsep.join((str(here.parent), str(here))),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    for suffix in (".png", ".svg"):
        save_calendar(made_up(), tmp_path / f"ours{suffix}")
        ours = (tmp_path / f"ours{suffix}").read_bytes()
        assert (tmp_path / f"theirs{suffix}").read_bytes() == ours


def test_a_name_the_fonts_lack_and_mathematics_signs_are_drawn(tmp_path: Path) -> None:
    calendar = made_up(taxon(1, "もみじ $x_1$"), site=Site("庭 & $y$ <b>", 35.0, 135.0))
    save_calendar(calendar, tmp_path / "a.png")
    save_calendar(calendar, tmp_path / "a.svg")
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert "もみじ $x_1$" in svg
    assert "庭 &amp; $y$ &lt;b&gt;" in svg


def test_an_unknown_suffix_or_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"\.png, \.svg"):
        save_calendar(made_up(), tmp_path / "year.bmp")
    with pytest.raises(UsageError, match="cannot be written"):
        save_calendar(made_up(), tmp_path / "nowhere" / "year.png")
    assert not list(tmp_path.iterdir())


def test_a_leap_year_and_a_year_all_safe() -> None:
    row = taxon()
    row = replace(
        row,
        bands=tuple(band(kind, np.ones(366), 2024) for kind in WORK_KINDS),
        marks=(EventMark("bud_break", day("2024-02-20"), day("2024-02-29"), day("2024-03-09")),),
    )
    calendar = replace(made_up(row, today=None), year=2024, today=day("2024-12-31"))
    figure = draw_calendar(calendar)
    xy = polygon(figure, f"safe-{row.species.slug}-heavy")[1:-2]
    assert xy[:, 0].tolist() == pytest.approx([YEAR_LEFT, YEAR_RIGHT])  # level from end to end
    assert "all year" in {text for text, _ in boxes(figure)}


@pytest.mark.parametrize("sample", ["humid-continental", "southern-temperate"])
def test_a_sample_from_end_to_end(sample: str, tmp_path: Path) -> None:
    place, record = open_sample(sample)
    look = outlook(load_species("acer-palmatum"), record, site_drivers(record, place.site))
    calendar = year_calendar([look], YEAR, confidence=0.9, today=day("2025-06-20"))
    save_calendar(calendar, tmp_path / "year.svg")
    svg = (tmp_path / "year.svg").read_text(encoding="utf-8")
    for kind in WORK_KINDS:
        assert f'id="band-acer-palmatum-{kind}"' in svg
    assert "Japanese maple" in svg
    assert "INVENTED" in svg
    months = [svg.index(f">{month}<") for month in ("Jan", "Jun", "Dec")]
    assert months == sorted(months)
