"""Figures written as the pages of a PDF by reportlab, with real text in embedded fonts.

matplotlib's own PDF writer shapes every line of text again and cuts fonts down slowly. Here a text
is set where `timing.charts.Page` placed it, as wide as it was measured there; all else is drawn by
matplotlib through the interface that it offers to renderers.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import groupby
from math import ceil, floor
from typing import IO, Any
from unicodedata import bidirectional

from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.path import Path as Outline
from matplotlib.text import Text
from matplotlib.textpath import TextPath
from matplotlib.transforms import Affine2D, Transform
from reportlab import rl_config
from reportlab.pdfbase import pdfdoc, pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import FILL_NON_ZERO, Canvas

from timing.charts import FONTS, SANS, Style, text_width

CAPS = {"butt": 0, "round": 1, "projecting": 2}
JOINS = {"miter": 0, "round": 1, "bevel": 2}
BEFORE = {"left": 0.0, "center": 0.5, "right": 1.0}  # share of a text before its point
TILE = 72  # points; a texture is drawn in a square of one inch
INVISIBLE = 3  # rendering mode of a text that is found and copied, not seen
TURNED = ("R", "AL")  # letters that run from right to left (Unicode bidirectional classes)
JOINED = (*TURNED, "NSM")  # and marks upon letters


def write_pages(figures: Sequence[Figure], file: IO[bytes], *, title: str, language: str) -> None:
    """Write figures as the pages of a PDF; the same figures give the same bytes.

    Parameters
    ----------
    figures : drawn by `timing.charts.Page` and finished.
    file : where the PDF goes.
    title : of the document.
    language : its language tag (BCP 47).
    """
    rl_config.useA85 = 0  # bytes as they are, a fifth shorter than in letters
    canvas = Canvas(
        file, pageCompression=1, invariant=1, lang=language,
        initialFontName=_font(SANS, "normal", "normal"),
    )  # fmt: skip
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas._doc.info = _About(title)
    for figure in figures:
        canvas.setPageSize([72 * float(inches) for inches in figure.get_size_inches()])
        pen = _Pen(canvas, figure)
        for artist in sorted(figure.artists, key=lambda artist: artist.get_zorder()):
            if isinstance(artist, Text):
                pen.text(artist)
            else:
                artist.draw(pen)
        canvas.showPage()
    canvas.save()


class _About(pdfdoc.PDFInfo):  # type: ignore[misc]
    """What the file says of itself: a title; no date, not even an invented one."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.title = title

    def format(self, document: Any) -> Any:
        about = {"Title": pdfdoc.PDFString(self.title)}
        return pdfdoc.PDFDictionary(about).format(document)


@cache
def _font(family: str, weight: str, style: Style) -> str:
    """Name of a font known to reportlab."""
    name = f"{family} {weight} {style}"
    file = findfont(FontProperties(family=[FONTS[family]], weight=weight, style=style))
    pdfmetrics.registerFont(TTFont(name, str(file), asciiReadable=True))
    return name


def _special(words: str, font: str) -> bool:
    """Whether a text needs shapes of letters that reportlab does not set."""
    glyphs = pdfmetrics.getFont(font).face.charToGlyph
    for letter in words:
        glyphs.setdefault(ord(letter), 0)  # the font's box, which is still found as this letter
    return any(glyphs[ord(letter)] == 0 or bidirectional(letter) in JOINED for letter in words)


def _as_seen(words: str) -> str:
    """Letters from left to right, as readers of a PDF expect them."""
    seen = ""
    for _, run in groupby(words, key=lambda letter: bidirectional(letter) in (*JOINED, "WS")):
        letters = "".join(run)
        turned = any(bidirectional(letter) in TURNED for letter in letters)
        seen += letters[::-1] if turned else letters
    return seen


class _Pen(RendererBase):
    """Draws one page."""

    def __init__(self, canvas: Canvas, figure: Figure) -> None:
        super().__init__()
        self.canvas, self.dpi = canvas, figure.dpi
        self.height = float(figure.get_size_inches()[1])
        self.points = Affine2D().scale(72 / figure.dpi)

    def points_to_pixels(self, points: Any) -> Any:
        return points * self.dpi / 72

    def draw_path(
        self,
        gc: GraphicsContextBase,
        path: Outline,
        transform: Transform,
        rgbFace: Any = None,  # noqa: N803
    ) -> None:
        """Fill and stroke a path; NaN lifts the pen."""
        canvas, place = self.canvas, transform + self.points
        drawn = self._outline(path, place)
        hatch = gc.get_hatch_path()
        if rgbFace is not None:
            canvas.setFillColor(to_rgb(rgbFace))
        if hatch is not None:
            canvas.saveState()
            canvas.clipPath(drawn, stroke=0, fill=1, fillMode=FILL_NON_ZERO)
            self._texture(gc, hatch, path.get_extents(place))
            canvas.restoreState()
            return
        width = gc.get_linewidth()
        if width:
            offset, dashes = gc.get_dashes()
            canvas.setStrokeColor(to_rgb(gc.get_rgb()))
            canvas.setLineWidth(width)
            canvas.setLineCap(CAPS[gc.get_capstyle()])
            canvas.setLineJoin(JOINS[gc.get_joinstyle()])
            canvas.setDash([] if dashes is None else [float(part) for part in dashes], offset or 0)
        canvas.drawPath(
            drawn, stroke=int(width > 0), fill=int(rgbFace is not None), fillMode=FILL_NON_ZERO
        )

    def text(self, text: Text) -> None:
        """Set a line of text on its baseline.

        Letters that join or that the font lacks are drawn as shapes, and set unseen over them.
        """
        words, size = text.get_text(), float(text.get_fontsize())
        look = text.get_fontfamily()[0], str(text.get_fontweight()), text.get_fontstyle()
        font = _font(*look)
        natural = pdfmetrics.stringWidth(words, font, size)
        if not natural:
            return
        canvas, width = self.canvas, 72 * text_width(words, size, *look)
        x, y = text.get_position()
        x = 72 * float(x) - width * BEFORE[text.get_horizontalalignment()]
        y = 72 * (self.height - float(y))
        canvas.saveState()
        canvas.setFillColor(to_rgb(text.get_color()))
        line = canvas.beginText(x, y)
        if not words.isascii() and _special(words, font):
            shapes = TextPath((x, y), words, size=size, prop=text.get_fontproperties())
            drawn = self._outline(shapes, Affine2D())
            canvas.drawPath(drawn, stroke=0, fill=1, fillMode=FILL_NON_ZERO)
            words = _as_seen(words)
            line.setTextRenderMode(INVISIBLE)
        line.setFont(font, size)
        line.setHorizScale(100 * width / natural)  # kerning, spread over the line
        line.textOut(words)
        canvas.drawText(line)
        canvas.restoreState()

    def _outline(self, path: Outline, place: Transform) -> Any:
        """A path as the canvas takes it, in points."""
        drawn = self.canvas.beginPath()
        curve, line = drawn.curveTo, drawn.lineTo
        at = (0.0, 0.0)
        for numbers, code in path.iter_segments(place, simplify=False):
            points = numbers.tolist()
            if code == Outline.CLOSEPOLY:
                drawn.close()
                continue
            if code == Outline.CURVE3:  # a parabola, as the cubic that it also is
                a, b, *end = points
                points = [
                    (at[0] + 2 * a) / 3, (at[1] + 2 * b) / 3,
                    (end[0] + 2 * a) / 3, (end[1] + 2 * b) / 3, *end,
                ]  # fmt: skip
            if len(points) > 2:
                curve(*points)
            elif code == Outline.MOVETO:
                drawn.moveTo(*points)
            else:
                line(*points)
            at = points[-2], points[-1]
        return drawn

    def _texture(self, gc: GraphicsContextBase, hatch: Outline, box: Any) -> None:
        """Lay tiles of a texture over a box; they meet across areas."""
        canvas, colour = self.canvas, to_rgb(gc.get_hatch_color())
        name = f"{gc.get_hatch()} {colour}"
        name = "texture" + name.encode().hex()
        if not canvas.hasForm(name):
            canvas.beginForm(name, 0, 0, TILE, TILE)
            canvas.setFillColor(colour)
            canvas.setStrokeColor(colour)
            canvas.setLineWidth(gc.get_hatch_linewidth())
            drawn = self._outline(hatch, Affine2D().scale(TILE))
            canvas.drawPath(drawn, stroke=1, fill=1, fillMode=FILL_NON_ZERO)
            canvas.endForm()
        for column in range(floor(box.x0 / TILE), ceil(box.x1 / TILE)):
            for row in range(floor(box.y0 / TILE), ceil(box.y1 / TILE)):
                canvas.saveState()
                canvas.translate(column * TILE, row * TILE)
                canvas.doForm(name)
                canvas.restoreState()
