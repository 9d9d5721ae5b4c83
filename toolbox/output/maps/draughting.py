"""The drawing board: outlines and dots from geometry, and text that fits its place."""

from __future__ import annotations

import functools
import re
import threading
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.colors import to_rgba
from matplotlib.font_manager import FontPath, FontProperties, findfont, get_font
from matplotlib.ft2font import Kerning, LoadFlags
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.textpath import text_to_path

from ...arrays import Floats, Geometries
from ...text import one_line

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure
    from matplotlib.ft2font import GlyphIndexType

    from .chart_page import Rect

FAMILY: Final = "DejaVu Sans"  # comes with matplotlib, so a map looks the same on every machine
_BOX: Final = "\u25a1"


def outline(areas: Geometries, tolerance_m: float) -> Path | None:
    """One path of all polygons, with their holes, simplified to what the drawing can show.

    Returns
    -------
    None where there is no polygon.
    """
    parts = shapely.get_parts(areas[~shapely.is_missing(areas)])
    parts = parts[(shapely.get_dimensions(parts) == 2) & ~shapely.is_empty(parts)]
    if not len(parts):
        return None
    simplified = shapely.simplify(parts, tolerance_m, preserve_topology=False)
    tiny = parts[shapely.is_empty(simplified)]
    simple = shapely.get_parts(simplified)
    simple = simple[(shapely.get_type_id(simple) == 3) & ~shapely.is_empty(simple)]
    rings = shapely.get_rings(shapely.orient_polygons(np.concatenate([simple, tiny])))
    points, ring_of = shapely.get_coordinates(rings, return_index=True)
    starts = np.r_[True, np.diff(ring_of) > 0]
    ends = np.r_[starts[1:], True]
    codes = np.full(len(points), Path.LINETO, dtype=np.uint8)
    codes[starts], codes[ends] = Path.MOVETO, Path.CLOSEPOLY
    return Path(points, codes)


def strokes_of(lines: Sequence[Floats]) -> Path:
    """Make one path of many open lines, each (n, 2)."""
    codes = np.full(sum(map(len, lines)), Path.LINETO, dtype=np.uint8)
    codes[np.r_[0, np.cumsum([len(line) for line in lines])[:-1]]] = Path.MOVETO
    return Path(np.concatenate(lines), codes)


def dots(areas: Geometries, spacing_m: float) -> Floats:
    """Points of a staggered grid inside areas, (n, 2), on one common grid so that neighbours match."""
    west, south, east, north = np.nan_to_num(shapely.total_bounds(areas)) / spacing_m
    column, row = np.meshgrid(np.arange(np.floor(west) - 1, east + 1), np.arange(np.floor(south), north + 1))
    at = spacing_m * np.column_stack([(column + row % 2 / 2).ravel(), row.ravel()])
    grid = shapely.STRtree(np.asarray(shapely.points(at), dtype=object))
    inside: Floats = at[np.unique(grid.query(areas, predicate="contains")[1])]
    return inside


_BREAK: Final = re.compile(r"(?<!°) (?!(?:ft|mi|m|km|mph|m/s|min|gal)\b)")


@functools.cache
def _letters() -> frozenset[int]:
    return frozenset(get_font(findfont(FontProperties(family=FAMILY))).get_charmap())


def drawable(value: Any) -> str:
    """One line of text in letters the font has; a run of others becomes one empty box."""
    there = _letters()
    shown = "".join(
        letter if ord(letter) in there and letter.isprintable() else _BOX for letter in one_line(value)
    )
    while _BOX * 2 in shown:
        shown = shown.replace(_BOX * 2, _BOX)
    return shown


def font(size: float, *, bold: bool = False) -> FontProperties:
    """Font of a size in points."""
    return FontProperties(family=FAMILY, size=size, weight="bold" if bold else "normal")


_POINTS: Final = 72.0
_MOST_WIDTHS: Final = 50_000
_WIDTHS: Final[dict[tuple[str, bool], float]] = {}
"""Widths measured so far in inches at one point, by text and weight: pages share most of their words."""


class Words(Text):
    """One line of words.

    They are drawn where they stand, their width known: measuring takes as long as drawing does. Into a PDF they go with
    the places of their letters kept from the last time, in whatever size: a sheet says most of its words often.
    """

    def draw(self, renderer: Any) -> None:
        """Draw the words with a renderer of any format."""
        across, up = self.get_horizontalalignment(), self.get_verticalalignment()
        plain = across in _SHARE and up in ("baseline", "center_baseline") and not self.get_rotation()
        text = self.get_text()
        if not plain or "\n" in text or self.get_path_effects() or not text or not self.get_visible():
            super().draw(renderer)
            return
        look = self.get_fontproperties()
        size, bold = float(look.get_size_in_points()), look.get_weight() == "bold"
        x, y = self.get_transform().transform(self.get_position())
        inch = renderer.points_to_pixels(_POINTS)
        x -= _SHARE[across] * width_of(text, bold=bold) * size * inch
        if up == "center_baseline":
            y -= _rise() * size * inch / 2.0
        renderer.open_group("text", self.get_gid())
        ink = renderer.new_gc()
        ink.set_foreground(to_rgba(self.get_color()), isRGBA=True)
        ink.set_alpha(self.get_alpha())
        if not _into_pdf(renderer, ink, float(x), float(y), text, size, bold=bold):
            if renderer.flipy():
                y = renderer.get_canvas_width_height()[1] - y
            renderer.draw_text(ink, x, y, text, look, 0.0, ismath=False, mtext=self)
        ink.restore()
        renderer.close_group("text")
        self.stale = False


_SHARE: Final = {"left": 0.0, "center": 0.5, "right": 1.0}
_LAID_SIZE: Final = 100.0
_NO_KERN: Final = 1e-3  # of the size: rounding of the face, no kern


@functools.cache
def _rise() -> float:
    """Height of a line above its base line in inches, at one point."""
    _, high, deep = text_to_path.get_text_width_height_descent("lp", font(1.0), ismath=False)
    return float(high - deep) / _POINTS


class _Letters:
    """Glyphs of one weight with their widths and kerns at a size of one, looked up once each."""

    def __init__(self, *, bold: bool) -> None:
        self.face = get_font(findfont(font(_LAID_SIZE, bold=bold)))
        self._glyphs: dict[str, tuple[GlyphIndexType, float]] = {}
        self._kerns: dict[tuple[GlyphIndexType, GlyphIndexType], float] = {}

    def laid(self, text: str) -> list[tuple[str, GlyphIndexType, float, float]]:
        """Give each letter with its glyph, where it stands, and the kern before it."""
        found: list[tuple[str, GlyphIndexType, float, float]] = []
        x, before = 0.0, None
        for letter in text:
            if letter not in self._glyphs:
                self.face.set_size(_LAID_SIZE, _POINTS)
                index = self.face.get_char_index(ord(letter))
                drawn = self.face.load_char(ord(letter), flags=LoadFlags.NO_HINTING)
                self._glyphs[letter] = index, drawn.linearHoriAdvance / 65536.0 / _LAID_SIZE
            index, wide = self._glyphs[letter]
            kern = 0.0
            if before is not None:
                if (before, index) not in self._kerns:
                    self.face.set_size(_LAID_SIZE, _POINTS)
                    told = self.face.get_kerning(before, index, Kerning.UNFITTED)
                    self._kerns[before, index] = told / 64.0 / _LAID_SIZE
                kern = self._kerns[before, index]
            x += kern
            found.append((letter, index, x, kern))
            x += wide
            before = index
        return found

    def width(self, text: str) -> float:
        """Width of a line."""
        if not text:
            return 0.0
        letter, _, x, _ = self.laid(text)[-1]
        return x + self._glyphs[letter][1]


@functools.lru_cache(maxsize=8)
def _weight(bold: bool, thread: int) -> _Letters:
    del thread  # a face belongs to the thread that opened it
    return _Letters(bold=bold)


def _of_weight(*, bold: bool) -> _Letters:
    return _weight(bold, threading.get_ident())


def width_of(text: str, *, bold: bool) -> float:
    """Width of a line in inches at one point, letters unhinted as on paper."""
    key = (text, bold)
    if key not in _WIDTHS:
        if len(_WIDTHS) >= _MOST_WIDTHS:
            _WIDTHS.clear()
        _WIDTHS[key] = _of_weight(bold=bold).width(text) / _POINTS
    return _WIDTHS[key]


def _chunks(file: Any, text: str, *, bold: bool) -> list[tuple[Any, float, list[Any]]]:
    """Lay letters out for a PDF: name of the font, place at a size of one, codes with the kerns between them."""
    letters = _of_weight(bold=bold)
    path = FontPath(str(letters.face.fname), letters.face.face_index)
    tracker = file._character_tracker  # noqa: SLF001 -- what tells which letters go into the file
    found: list[tuple[Any, float, list[Any]]] = []
    before: Any = None
    for letter, glyph, x, kern in letters.laid(text):
        subset, code = tracker.track_glyph(letters.face, letter, glyph)
        if subset != before:
            found.append((file.fontName(path, subset), x, []))
            before = subset
        elif abs(kern) > _NO_KERN:
            found[-1][2].append(-1000.0 * kern)
        codes = found[-1][2]
        if codes and isinstance(codes[-1], bytes):
            codes[-1] += bytes([code])
        else:
            codes.append(bytes([code]))
    return found


def _into_pdf(renderer: Any, ink: Any, x: float, y: float, text: str, size: float, *, bold: bool) -> bool:
    """Write a line of words into a PDF; tells whether this was one, in the way its library is known to write."""
    file: Any = getattr(renderer, "file", None)
    if file is None:  # a picture: what writes PDF is not even loaded, with the fonts' own library
        return False
    from matplotlib.backends.backend_pdf import Op, PdfFile

    if not isinstance(file, PdfFile) or not hasattr(file, "_character_tracker"):
        return False
    out: Callable[..., None] = file.output
    kept: dict[tuple[str, bool], list[tuple[Any, float, list[Any]]]] = file.__dict__.setdefault(
        "castshed_words", {}
    )
    if (text, bold) not in kept:
        kept[text, bold] = _chunks(file, text, bold=bold)
    renderer.check_gc(ink, ink.get_rgb())
    at = 0.0
    out(Op.begin_text, x, y, Op.textpos)
    for name, along, codes in kept[text, bold]:
        if along != at:
            out((along - at) * size, 0, Op.textpos)
            at = along
        out(name, size, Op.selectfont, codes, Op.showkern)
    out(Op.end_text)
    return True


class Pen:
    """Writes on a page measured in inches, and knows how wide words are."""

    def __init__(self, figure: Figure) -> None:
        self.figure = figure

    def width(self, text: str, size: float, *, bold: bool = False) -> float:
        """Width of a line of text in inches, letters unhinted as on paper: a picture is drawn the same way."""
        return size * width_of(text, bold=bold)

    def fitted(self, value: Any, size: float, room: float, *, bold: bool = False) -> str:
        """Text cut with an ellipsis so that it is no wider than ``room`` inches."""
        text = drawable(str(value)[:400])
        if self.width(text, size, bold=bold) <= room:
            return text
        low, high = 0, len(text)
        while low < high:
            middle = (low + high + 1) // 2
            fits = self.width(text[:middle].rstrip() + "…", size, bold=bold) <= room
            low, high = (middle, high) if fits else (low, middle - 1)
        return text[:low].rstrip() + "…" if low else ""

    def wrapped(self, value: Any, size: float, room: float) -> list[str]:
        """Text in lines no wider than ``room`` inches; a number stays with its unit, a bearing with what follows."""
        gap = self.width("a a", size) - self.width("aa", size)
        lines: list[str] = []
        used = 0.0
        for word in _BREAK.split(drawable(value)):
            wide = self.width(word, size)
            if lines and used + gap + wide <= room * 0.995:  # kerning between words is not counted
                lines[-1] += f" {word}"
                used += gap + wide
            else:
                lines.append(self.fitted(word, size, room))
                used = wide
        return lines

    def write(self, x: float, y: float, text: str, size: float, colour: str, **options: Any) -> Text:
        """Write a line of text with its lower left corner, or as ``ha`` and ``va`` say, at a place in inches."""
        bold = bool(options.pop("bold", False))
        words = Words(
            x,
            y,
            text,
            color=colour,
            fontproperties=font(size, bold=bold),
            parse_math=False,
            transform=self.figure.dpi_scale_trans,
            **{"va": "baseline", **options},
        )
        self.figure.add_artist(words)
        return words

    def shape(self, artist: Artist) -> None:
        """Put an artist on the page, its coordinates in inches."""
        artist.set_transform(self.figure.dpi_scale_trans)
        self.figure.add_artist(artist)

    def box(self, rect: Rect, **look: Any) -> None:
        """Draw a rectangle."""
        self.shape(Rectangle((rect.left, rect.bottom), rect.width, rect.height, **look))

    def line(self, xs: Sequence[float], ys: Sequence[float], **look: Any) -> None:
        """Draw a line."""
        self.shape(Line2D(xs, ys, **look))


def points_between(lines: Sequence[Floats], step: float) -> Floats:
    """Points along lines, no further apart than ``step``."""
    found = [np.empty((0, 2))]
    for line in lines:
        far = np.r_[0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
        at = np.linspace(0.0, far[-1], max(2, int(np.ceil(far[-1] / step)) + 1))
        found.append(np.column_stack([np.interp(at, far, line[:, 0]), np.interp(at, far, line[:, 1])]))
    return np.vstack(found)
