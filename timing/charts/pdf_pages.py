"""Pages written as PDF: lines, areas, signs and text in embedded fonts (ISO 32000-1).

matplotlib shapes and measures every line of text again while it writes it; a booklet of forty taxa
has three thousand of them. Here a glyph costs a look-up: `fontTools` reads widths and kerning once
and cuts each font down to the glyphs in use. Text stays text: it can be searched and copied.

The figures are those of `timing.charts.Page`: lengths in inches from the top left corner, text on
its baseline.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
from fontTools.subset import Options, Subsetter  # type: ignore[import-untyped]
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.markers import MarkerStyle
from matplotlib.patches import Polygon
from matplotlib.path import Path as Outline
from matplotlib.text import Text
from numpy.typing import NDArray

from timing.charts import HATCH_WIDTH, Stroke, Style
from timing.season import Floats

CAPS = {"butt": 0, "round": 1, "projecting": 2}
BEFORE = {"left": 0.0, "center": 0.5, "right": 1.0}  # share of a text before its point
CELL = 72  # points; a texture is drawn in a square of one inch


def write_pages(figures: Sequence[Figure], path: Path, *, title: str, language: str) -> None:
    """Write figures as the pages of a PDF; the same figures give the same bytes.

    Parameters
    ----------
    figures : drawn by `timing.charts.Page` and finished.
    path : of the file.
    title : of the document.
    language : its language tag (BCP 47).
    """
    book = _Book()
    contents = [_Content(figure, book).write() for figure in figures]
    path.write_bytes(book.close(contents, figures, title, language))


# ---------------------------------------------------------------------- fonts


class _Font:
    """A font file: widths and kerning by glyph, and which glyphs are used."""

    def __init__(self, file: str) -> None:
        self.font = TTFont(BytesIO(Path(file).read_bytes()), lazy=True)
        self.scale = 1000 / self.font["head"].unitsPerEm
        self.glyph_of = {
            letter: self.font.getGlyphID(name) for letter, name in self.font.getBestCmap().items()
        }
        self.names = self.font.getGlyphOrder()
        self.widths = self.font["hmtx"].metrics
        self.kerning: dict[tuple[str, str], int] = {}
        if "kern" in self.font:
            for table in self.font["kern"].kernTables:
                self.kerning.update(table.kernTable)
        self.used: dict[int, int] = {0: 0xFFFD}

    def set(self, text: str) -> tuple[bytes, float]:
        """Glyphs of a line as operand of TJ, and its width at a size of one."""
        found: list[str] = []
        before, width, run = "", 0.0, ""
        for letter in map(ord, text):
            glyph = self.glyph_of.get(letter, 0)
            name = self.names[glyph]
            self.used.setdefault(glyph, letter)
            kern = self.kerning.get((before, name), 0) * self.scale if before else 0
            if kern:
                found.append(f"<{run}>{-kern:.0f}")
                run = ""
            run += f"{glyph:04x}"
            width += self.widths[name][0] * self.scale + kern
            before = name
        return f"[{''.join(found)}<{run}>]".encode(), width / 1000

    def cut(self) -> bytes:
        """The font with the glyphs in use and nothing else; glyphs keep their numbers."""
        options = Options(
            retain_gids=True, hinting=False, layout_features=[], notdef_outline=True,
            recommended_glyphs=False, glyph_names=False, legacy_kern=False,
        )  # fmt: skip
        options.drop_tables += ["kern", "GSUB", "GPOS", "GDEF", "FFTM", "name", "OS/2", "cmap"]
        subsetter = Subsetter(options)
        subsetter.populate(gids=sorted(self.used))
        subsetter.subset(self.font)
        written = BytesIO()
        self.font.recalcTimestamp = False
        self.font.save(written, reorderTables=False)
        return written.getvalue()


@cache
def _font_file(family: str, weight: str, style: Style) -> str:
    return str(findfont(FontProperties(family=[family], weight=weight, style=style)))


# ---------------------------------------------------------------------- the file


class _Book:
    """The objects of a file, and the fonts and textures that its pages share."""

    def __init__(self) -> None:
        self.objects: list[bytes] = []
        self.fonts: dict[str, _Font] = {}
        self.textures: dict[tuple[str, str, str], str] = {}

    def font(self, text: Text) -> tuple[str, _Font]:
        """Name and font of a text."""
        file = _font_file(
            text.get_fontfamily()[0], str(text.get_fontweight()), text.get_fontstyle()
        )
        if file not in self.fonts:
            self.fonts[file] = _Font(file)
        return f"F{list(self.fonts).index(file)}", self.fonts[file]

    def texture(self, hatch: str, edge: str, face: str) -> str:
        """Name of the pattern that fills an area."""
        key = hatch, edge, face
        return self.textures.setdefault(key, f"P{len(self.textures)}")

    def add(self, content: bytes) -> int:
        """Number of a new object."""
        self.objects.append(content)
        return len(self.objects)

    def stream(self, content: bytes, more: str = "") -> int:
        """Number of a new stream, compressed."""
        packed = zlib.compress(content, 6)
        head = f"<< /Length {len(packed)} /Filter /FlateDecode {more}>>\nstream\n".encode()
        return self.add(head + packed + b"\nendstream")

    def close(
        self, contents: Sequence[bytes], figures: Sequence[Figure], title: str, language: str
    ) -> bytes:
        """Write everything down."""
        fonts = " ".join(f"/F{n} {self._embed(f)} 0 R" for n, f in enumerate(self.fonts.values()))
        patterns = " ".join(
            f"/{name} {self._pattern(*key)} 0 R" for key, name in self.textures.items()
        )
        resources = self.add(f"<< /Font << {fonts} >> /Pattern << {patterns} >> >>".encode())
        streams = [self.stream(content) for content in contents]
        tree = len(self.objects) + len(figures) + 1
        pages = []
        for stream, figure in zip(streams, figures, strict=True):
            width, height = (72 * inches for inches in figure.get_size_inches())
            pages.append(
                self.add(
                    f"<< /Type /Page /Parent {tree} 0 R /MediaBox [0 0 {width:.2f} {height:.2f}] "
                    f"/Resources {resources} 0 R /Contents {stream} 0 R >>".encode()
                )
            )
        kids = " ".join(f"{page} 0 R" for page in pages)
        assert self.add(f"<< /Type /Pages /Kids [{kids}] /Count {len(pages)} >>".encode()) == tree
        root = self.add(
            f"<< /Type /Catalog /Pages {tree} 0 R /Lang ({language}) "
            "/ViewerPreferences << /DisplayDocTitle true >> >>".encode()
        )
        info = self.add(f"<< /Title <{_utf16(title)}> >>".encode())
        return self._joined(root, info)

    def _joined(self, root: int, info: int) -> bytes:
        whole = bytearray(b"%PDF-1.5\n%\xe2\xe3\xcf\xd3\n")
        offsets = []
        for number, content in enumerate(self.objects, 1):
            offsets.append(len(whole))
            whole += b"%d 0 obj\n%b\nendobj\n" % (number, content)
        start = len(whole)
        whole += b"xref\n0 %d\n0000000000 65535 f \n" % (len(offsets) + 1)
        whole += b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
        whole += b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (
            len(offsets) + 1, root, info, start,
        )  # fmt: skip
        return bytes(whole)

    def _embed(self, font: _Font) -> int:
        """A font with its glyph numbers as character codes, and the letters they stand for."""
        inner, scale = font.font, font.scale
        head, hhea, name = inner["head"], inner["hhea"], inner["name"].getDebugName(6)
        name = "".join(letter for letter in str(name) if letter.isalnum() or letter == "-")
        box = " ".join(
            f"{value * scale:.0f}" for value in (head.xMin, head.yMin, head.xMax, head.yMax)
        )
        slant = float(inner["post"].italicAngle)
        ascent, descent = hhea.ascent * scale, hhea.descent * scale
        widths = " ".join(
            f"{glyph} [{font.widths[font.names[glyph]][0] * scale:.0f}]"
            for glyph in sorted(font.used)
        )
        letters = self.stream(_letters(font.used))
        cut = font.cut()
        file = self.stream(cut, f"/Length1 {len(cut)} ")
        tag = f"{zlib.crc32(cut) % 26**6:06d}"
        tag = "".join(chr(65 + int(digit)) for digit in tag[-6:])
        descriptor = self.add(
            f"<< /Type /FontDescriptor /FontName /{tag}+{name} /Flags {68 if slant else 4} "
            f"/FontBBox [{box}] /ItalicAngle {slant:.1f} /Ascent {ascent:.0f} "
            f"/Descent {descent:.0f} /CapHeight {ascent:.0f} /StemV 80 "
            f"/FontFile2 {file} 0 R >>".encode()
        )
        inside = self.add(
            f"<< /Type /Font /Subtype /CIDFontType2 /BaseFont /{tag}+{name} /CIDSystemInfo "
            "<< /Registry (Adobe) /Ordering (Identity) /Supplement 0 >> "
            f"/FontDescriptor {descriptor} 0 R /W [{widths}] /CIDToGIDMap /Identity >>".encode()
        )
        return self.add(
            f"<< /Type /Font /Subtype /Type0 /BaseFont /{tag}+{name} /Encoding /Identity-H "
            f"/DescendantFonts [{inside} 0 R] /ToUnicode {letters} 0 R >>".encode()
        )

    def _pattern(self, hatch: str, edge: str, face: str) -> int:
        """A texture on its ground."""
        hatched = Outline.hatch(hatch)
        lines = _outline(hatched, CELL, (0.0, 0.0)) if hatched else ""
        content = (
            f"{_colour(face)} rg 0 0 {CELL} {CELL} re f {_colour(edge)} RG {_colour(edge)} rg "
            f"{HATCH_WIDTH} w {lines} B"
        )
        return self.stream(
            content.encode(),
            f"/Type /Pattern /PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 {CELL} {CELL}] "
            f"/XStep {CELL} /YStep {CELL} /Resources << >> ",
        )


def _letters(used: dict[int, int]) -> bytes:
    """Which letter each glyph stands for (a ToUnicode CMap)."""
    lines = [f"<{glyph:04x}> <{_utf16(chr(letter), mark=False)}>" for glyph, letter in used.items()]
    blocks = [lines[start : start + 100] for start in range(0, len(lines), 100)]
    body = "\n".join(
        "\n".join((f"{len(block)} beginbfchar", *block, "endbfchar")) for block in blocks
    )
    return (
        "/CIDInit /ProcSet findresource begin 12 dict begin begincmap "
        "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def "
        "/CMapName /Letters def /CMapType 2 def "
        f"1 begincodespacerange <0000> <ffff> endcodespacerange\n{body}\n"
        "endcmap CMapName currentdict /CMap defineresource pop end end"
    ).encode()


def _utf16(text: str, *, mark: bool = True) -> str:
    return ("feff" if mark else "") + text.encode("utf-16-be", "replace").hex()


# ---------------------------------------------------------------------- one page


class _Content:
    """The drawing operators of one page."""

    def __init__(self, figure: Figure, book: _Book) -> None:
        self.figure, self.book = figure, book
        self.height = float(figure.get_size_inches()[1])

    def write(self) -> bytes:
        """Draw what stands on the page, the lowest layer first."""
        parts = ["1 j"]
        for item in sorted(self.figure.artists, key=lambda item: item.get_zorder()):
            if isinstance(item, Text):
                parts.append(self._text(item))
            elif isinstance(item, Polygon):
                parts.append(self._area(item))
            elif isinstance(item, Stroke):
                parts += [self._line(item), self._signs(item)]
        return "\n".join(part for part in parts if part).encode("latin-1")

    def _text(self, item: Text) -> str:
        text = item.get_text()
        if not text:
            return ""
        name, font = self.book.font(item)
        size = float(item.get_fontsize())
        glyphs, width = font.set(text)
        x, y = map(float, item.get_position())
        left = (
            72 * x
            - size
            * width
            * {"left": 0.0, "center": 0.5, "right": 1.0}[item.get_horizontalalignment()]
        )
        return (
            f"BT {_colour(item.get_color())} rg /{name} {size:g} Tf "
            f"{left:.2f} {72 * (self.height - y):.2f} Td {glyphs.decode()} TJ ET"
        )

    def _area(self, item: Polygon) -> str:
        face = item.get_facecolor()
        path = self._path(item.get_xy())
        hatch = item.get_hatch()
        if not hatch:
            return f"{_colour(face)} rg {path} f"
        name = self.book.texture(hatch, _hex(item.get_edgecolor()), _hex(face))
        return f"/Pattern cs /{name} scn {path} f"

    def _line(self, item: Stroke) -> str:
        if item.get_linestyle() == "None":
            return ""
        width = item.get_linewidth()
        dash = " ".join(f"{width * part:g}" for part in item.dashes)
        cap = item.get_dash_capstyle() if dash else item.get_solid_capstyle()
        return (
            f"{_colour(item.get_color())} RG {width:g} w {CAPS[cap]} J [{dash}] 0 d "
            f"{self._path(np.asarray(item.get_xydata(), dtype=float))} S"
        )

    def _signs(self, item: Stroke) -> str:
        marker = item.get_marker()
        if marker in ("None", None, "", " "):
            return ""
        style = MarkerStyle(marker)
        outline = style.get_path().transformed(style.get_transform())
        shapes = " ".join(
            _outline(outline, float(item.get_markersize()), (72 * x, 72 * (self.height - y)))
            for x, y in np.asarray(item.get_xydata(), dtype=float)
        )
        edge, face = item.get_markeredgecolor(), item.get_markerfacecolor()
        return (
            f"{_colour(edge)} RG {_colour(face)} rg {item.get_markeredgewidth():g} w 0 J [] 0 d "
            f"{shapes} {'B' if style.is_filled() else 'S'}"
        )

    def _path(self, points: Floats) -> str:
        """Straight lines through points; NaN lifts the pen."""
        parts, pen = [], "m"
        xs, ys = 72 * points[:, 0], 72 * (self.height - points[:, 1])
        for x, y in zip(xs[keep := _corners(xs, ys)], ys[keep], strict=True):
            if np.isnan(x) or np.isnan(y):
                pen = "m"
                continue
            parts.append(f"{x:.2f} {y:.2f} {pen}")
            pen = "l"
        return " ".join(parts)


def _corners(xs: Floats, ys: Floats) -> NDArray[np.bool_]:
    """Which points are needed: not those in the middle of a level or upright stretch."""
    keep = np.ones(len(xs), dtype=bool)
    for values in (xs, ys):
        same = np.diff(values) == 0
        keep[1:-1] &= ~(same[:-1] & same[1:])
    return keep


def _outline(path: Outline, scale: float, at: tuple[float, float]) -> str:
    """A path of lines and cubic curves, as signs and textures are, scaled and moved."""
    points = (np.asarray(path.vertices) * scale + at).tolist()
    codes = [int(Outline.MOVETO)] + [int(Outline.LINETO)] * (len(points) - 1)
    if path.codes is not None:
        codes = np.asarray(path.codes, dtype=int).tolist()
    parts, number = [], 0
    while number < len(points):
        code = codes[number]
        count = 3 if code == Outline.CURVE4 else 1
        corners = points[number : number + count]
        number += count
        if code == Outline.CLOSEPOLY:
            parts.append("h")
            continue
        numbers = " ".join(f"{x:.2f} {y:.2f}" for x, y in corners)
        parts.append(f"{numbers} {'m' if code == Outline.MOVETO else 'c' if count > 1 else 'l'}")
    return " ".join(parts)


def _colour(colour: object) -> str:
    return " ".join(f"{part:.3g}" for part in to_rgb(colour))  # type: ignore[arg-type]


def _hex(colour: object) -> str:
    return "#" + "".join(f"{round(255 * part):02x}" for part in to_rgb(colour))  # type: ignore[arg-type]
