"""Charts, and what they share: paper, ink, type, a page measured in inches, saving.

matplotlib is used through `Figure` alone, so no display, window or global figure list is
involved. The user's own matplotlib settings do not reach a chart: it is built and saved inside
`house_style`. The same data give the same bytes.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np

from timing.errors import UsageError
from timing.export.files import replacing
from timing.season import Floats

__all__ = ["Figure", "Page", "house_style", "save_figure", "text_width", "wrap"]

_user_backend = os.environ.get("MPLBACKEND")
os.environ["MPLBACKEND"] = "agg"  # a backend left over from another program stops the import
import matplotlib  # noqa: E402
from matplotlib.artist import Artist  # noqa: E402
from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402
from matplotlib.font_manager import FontProperties, findfont, get_font  # noqa: E402
from matplotlib.ft2font import FT2Font, LoadFlags  # noqa: E402
from matplotlib.lines import Line2D  # noqa: E402
from matplotlib.patches import Polygon  # noqa: E402
from matplotlib.text import Text  # noqa: E402
from matplotlib.transforms import Affine2D  # noqa: E402
from PIL import Image  # noqa: E402
from PIL.PngImagePlugin import PngInfo  # noqa: E402

if _user_backend is None:
    del os.environ["MPLBACKEND"]
else:
    os.environ["MPLBACKEND"] = _user_backend

PAPER, INK, QUIET, HAIR = "#fcfbf6", "#1f2a2e", "#5d676b", "#d3d2c8"
SANS, SERIF = "sans-serif", "serif"  # what a viewer takes where it lacks the font
FONTS = {SANS: "DejaVu Sans", SERIF: "DejaVu Serif"}
DPI = 150
WIDTH, LEFT, RIGHT = 11.0, 0.5, 10.5  # of a chart and its margins [in]
MEASURED = 100  # points; texts are measured in one size
KERNING = 0.02  # inches a line at most; words measured one by one do not show it across a space
Style = Literal["normal", "italic"]


@dataclass(frozen=True)
class Look:
    """Colours and texture of one kind of work: full where safe, pale elsewhere."""

    full: str
    pale: str
    edge: str
    hatch: str
    hatch_full: str
    hatch_pale: str


LOOKS = {
    "heavy": Look("#7a2e22", "#dcb9ae", "#5a1d14", "", "none", "none"),
    "light": Look("#4d8a68", "#cfe0d3", "#24573c", "////", "#eef5ec", "#8fb79c"),
    "outline": Look("#a9bbd8", "#e3e8f0", "#33497b", "....", "#2a3e6c", "#8395bb"),
}


@dataclass(frozen=True)
class Sign:
    """Shape of an event on a chart."""

    marker: str | tuple[int, int, int]
    filled: bool
    size: float = 5.6


SIGNS = {
    "sap_rise": Sign("o", True, 4.8),
    "bud_break": Sign("^", False),
    "full_bloom": Sign("*", True, 8.0),
    "flush_hardened": Sign("D", True, 4.6),
    "leaf_fall": Sign("v", False),
    "warm_start": Sign(">", True),
    "warm_end": Sign("<", True),
    "last_frost": Sign("x", True),
    "first_frost": Sign((6, 2, 0), True, 7.5),
}
_STYLE: dict[Any, Any] = {
    "font.family": SANS,
    "font.sans-serif": [FONTS[SANS]],
    "font.serif": [FONTS[SERIF]],
    "text.parse_math": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "sapdial",
    "pdf.fonttype": 42,
    "hatch.linewidth": 0.9,
    "text.hinting": "none",
    "path.simplify": False,
}
_SUFFIXES = (".png", ".svg", ".pdf")


@contextmanager
def house_style() -> Iterator[None]:
    """Our settings on top of matplotlib's defaults, for the time of the block.

    A letter the fonts lack is drawn as a box, without a warning; an SVG keeps it as text.
    """
    with matplotlib.rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_STYLE)
        yield


@cache
def text_width(
    text: str, size: float, family: str = SANS, weight: str = "normal", style: Style = "normal"
) -> float:
    """Width of a line of text [in]."""
    font = _font(family, weight, style)
    font.set_size(MEASURED, 72)
    font.set_text(text, 0.0, flags=LoadFlags.NO_HINTING)
    width, _ = font.get_width_height()
    return float(width) / 64 / 72 * size / MEASURED


@cache
def _font(family: str, weight: str, style: Style) -> FT2Font:
    return get_font(findfont(FontProperties(family=[FONTS[family]], weight=weight, style=style)))


class Page:
    """A figure on which everything is placed in inches from the top left corner.

    The page grows downwards while it is drawn; `finish` cuts it to its height.
    """

    def __init__(self, width: float, paper: str = PAPER) -> None:
        self.width, self.paper = width, paper
        self.figure = Figure(figsize=(width, width), dpi=DPI, facecolor=paper)
        self.inches = Affine2D()  # from inches, y downwards, to those of the figure; see `finish`
        self.transform = self.inches + self.figure.dpi_scale_trans

    def add(self, artist: Artist) -> None:
        """Place what is drawn in inches on the page."""
        artist.set_transform(self.transform)
        self.figure.add_artist(artist)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 8,
        colour: str = INK,
        ha: str = "left",
        va: str = "baseline",
        family: str = SANS,
        weight: str = "normal",
        style: Style = "normal",
        **more: Any,
    ) -> Text:
        """Place one line of text."""
        drawn = Text(
            x, y, text, fontsize=size, color=colour, ha=ha, va=va,
            family=family, weight=weight, style=style, **more,
        )  # fmt: skip
        self.add(drawn)
        return drawn

    def paragraph(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        *,
        size: float = 8,
        leading: float = 1.38,
        family: str = SANS,
        weight: str = "normal",
        style: Style = "normal",
        **more: Any,
    ) -> float:
        """Set text in lines no wider than ``width``; return the y below the last line.

        ``y`` is the top of the first line.
        """
        step = size * leading / 72
        for line in wrap(text, width, size, family=family, weight=weight, style=style):
            self.text(
                x, y + size * 0.95 / 72, line,
                size=size, family=family, weight=weight, style=style, **more,
            )  # fmt: skip
            y += step
        return y

    def line(
        self, xs: Any, ys: Any, *, colour: str = INK, width: float = 0.8, gid: str = "", **more: Any
    ) -> None:
        """Draw a line through points; NaN lifts the pen."""
        drawn = Line2D(xs, ys, color=colour, linewidth=width, clip_on=False, **more)
        drawn.set_gid(gid or None)
        self.add(drawn)

    def area(self, xs: Any, ys: Any, colour: str, *, gid: str = "", **more: Any) -> None:
        """Fill the polygon through points."""
        corners = np.column_stack((xs, ys))
        drawn = Polygon(corners, facecolor=colour, linewidth=0, clip_on=False, **more)
        drawn.set_gid(gid or None)
        self.add(drawn)

    def under(self, xs: Floats, ys: Floats, base: float, colour: str, **more: Any) -> None:
        """Fill what lies between a line and its base."""
        closed = np.concatenate((xs[:1], xs, xs[-1:])), np.concatenate(([base], ys, [base]))
        self.area(*closed, colour, **more)

    def uprights(self, xs: Sequence[float], top: float, bottom: float, **more: Any) -> None:
        """Draw vertical lines in one stroke of the pen."""
        points = np.repeat(xs, 3)
        points[2::3] = np.nan
        self.line(points, np.tile([top, bottom, np.nan], len(xs)), **more)

    def whisker(
        self, left: float, right: float, y: float, caps: tuple[bool, bool] = (True, True)
    ) -> None:
        """Draw a range, with caps where it ends."""
        ends = [0.025 if cap else 0.0 for cap in caps]
        self.line(
            (left, left, np.nan, left, right, np.nan, right, right),
            (y - ends[0], y + ends[0], np.nan, y, y, np.nan, y - ends[1], y + ends[1]),
            width=0.9, solid_capstyle="butt",
        )  # fmt: skip

    def marker(self, x: float, y: float, event: str, gid: str = "") -> None:
        """Draw the sign of an event."""
        sign = SIGNS.get(event, Sign("s", True))
        self.line(
            [x], [y], marker=sign.marker, markersize=sign.size, linestyle="none",
            markerfacecolor=INK if sign.filled else self.paper, markeredgecolor=INK,
            markeredgewidth=1.0, zorder=4.5, gid=gid,
        )  # fmt: skip

    def finish(self, height: float) -> Figure:
        """Cut the page to its height and hand over the figure."""
        self.figure.set_size_inches(self.width, height)
        self.inches.scale(1, -1).translate(0, height)
        return self.figure


def wrap(
    text: str,
    width: float,
    size: float,
    *,
    family: str = SANS,
    weight: str = "normal",
    style: Style = "normal",
) -> list[str]:
    """Break text into lines no wider than ``width`` [in]; a word that is wider is split.

    Words are measured once each and added up; a line is measured whole where the sum is so near
    to the width that kerning could decide.
    """
    how = size, family, weight, style
    space = text_width("n n", *how) - text_width("nn", *how)
    lines: list[str] = []
    line, used = "", 0.0
    for word in text.split():
        rest, wide = word, text_width(word, *how)
        if line:
            joined, both = f"{line} {word}", used + space + wide
            if abs(both - width) < KERNING:
                both = text_width(joined, *how)
            if both <= width:
                line, used = joined, both
                continue
            lines.append(line)
        while wide > width and len(rest) > 1:
            cut = next(
                n for n in range(len(rest) - 1, 0, -1)
                if n == 1 or text_width(rest[:n], *how) <= width
            )  # fmt: skip
            lines.append(rest[:cut])
            rest = rest[cut:]
            wide = text_width(rest, *how)
        line, used = rest, wide
    return [*lines, line] if line else lines


def save_figure(figure: Figure, *paths: Path, title: str) -> None:
    """Write a figure as PNG, SVG or PDF, every file whole or not at all.

    Raises
    ------
    UsageError : a suffix names no such format, or a file cannot be written.
    """
    for path in paths:
        suffix = path.suffix.lower()
        if suffix not in _SUFFIXES:
            raise UsageError(f"{path}: a chart is written as {', '.join(_SUFFIXES)}")
        drawn = io.BytesIO()  # a disk that fills up while it is drawn confuses the drawing
        with house_style(), replacing(path) as part:
            if suffix == ".png":
                _draw_png(figure, drawn, title)
            else:
                about = {"Title": title, {".svg": "Date", ".pdf": "CreationDate"}[suffix]: None}
                figure.savefig(drawn, format=suffix[1:], dpi=DPI, facecolor=PAPER, metadata=about)
            part.write_bytes(drawn.getvalue())


def _draw_png(figure: Figure, drawn: io.BytesIO, title: str) -> None:
    """Write a picture in three colours: paper is opaque, and a fourth takes a quarter longer."""
    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    about = PngInfo()
    about.add_text("Title", title)
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB")
    picture.save(drawn, "PNG", dpi=(DPI, DPI), pnginfo=about, compress_level=3)
