"""Marks of bottom structure: forms for places, ticked, dashed and heavy lines, and outlines.

Designed here after what each thing looks like in section or in plan: a mound for a hump, two facing slopes for a
saddle, a nose for a point, a notch for a pocket; ticks of a ledge point down its drop.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.transforms import IdentityTransform

from ...arrays import Floats
from ..formats import palette
from .chart_legs import length_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .draughting import Pen
    from .map_window import Rect


STRUCTURE: Final = (
    "#7a1f4f"  # the plum of casts: dark enough on the deepest band, apart from hazards by hue and form
)
SOFT: Final = "#f3e3ea"
_SIZE_IN: Final = 0.15
_TICK_IN: Final = 0.055
_TICKS_EVERY_IN: Final = 0.075

WORDS: Final[dict[str, str]] = {
    "hump": "hump",
    "saddle": "saddle",
    "point": "point",
    "pocket": "pocket",
    "ledge": "ledge, ticks down the drop",
    "bluff": "bluff bank",
    "channel_bend": "channel bend",
    "flat": "flat",
}
"""Kinds in the order of the key, and what it says of each."""


def _curve(start_deg: float, end_deg: float, x: float, y: float, radius: float) -> list[tuple[float, float]]:
    angles = np.radians(np.linspace(start_deg, end_deg, 13))
    return [(x + radius * float(np.cos(a)), y + radius * float(np.sin(a))) for a in angles]


def _filled(points: list[tuple[float, float]]) -> Path:
    return Path(np.array([*points, points[0]]), closed=True)


def _strokes(*lines: list[tuple[float, float]]) -> Path:
    codes = [code for line in lines for code in (Path.MOVETO, *[Path.LINETO] * (len(line) - 1))]
    return Path(np.array([point for line in lines for point in line]), np.array(codes, dtype=np.uint8))


_FORMS: Final[dict[str, tuple[Path, bool]]] = {
    "hump": (_filled([*_curve(0.0, 180.0, 0.0, -0.35, 0.72)]), True),
    "saddle": (
        _strokes(_curve(-70.0, 70.0, -1.05, 0.0, 0.75), _curve(110.0, 250.0, 1.05, 0.0, 0.75)),
        False,
    ),
    "point": (_filled([(-0.7, 0.62), (0.75, 0.0), (-0.7, -0.62), (-0.35, 0.0)]), True),
    "pocket": (
        _strokes([(-0.65, 0.6), (-0.65, 0.0), *_curve(180.0, 360.0, 0.0, 0.0, 0.65), (0.65, 0.6)]),
        False,
    ),
}


def place_mark(kind: str, points: Floats, transform: Any, order: float) -> PathCollection:
    """Make the artist that marks places of a kind."""
    form, filled = _FORMS[kind]
    scaled = Path(np.asarray(form.vertices, dtype=float) * (_SIZE_IN / 2.0 / 0.75) * 72.0, form.codes)
    marks = PathCollection(
        [scaled],
        sizes=(1.0,),  # the form is in points already
        transform=IdentityTransform(),
        offsets=np.asarray(points, dtype=float).reshape(-1, 2),
        offset_transform=transform,
        facecolors=STRUCTURE if filled else "none",
        edgecolors=palette.CASING if filled else STRUCTURE,
        linewidths=0.8 if filled else 1.7,
        zorder=order,
    )
    if not filled:
        marks.set_path_effects([withStroke(linewidth=3.4, foreground=palette.CASING)])
    return marks


def _ticks(line: Floats, deep: Floats) -> list[Floats]:
    """Short strokes square to a line, on the side a direction points to."""
    far = np.r_[0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
    count = max(2, round(far[-1] / _TICKS_EVERY_IN))
    at = (np.arange(count) + 0.5) / count * far[-1]
    here = np.column_stack([np.interp(at, far, line[:, 0]), np.interp(at, far, line[:, 1])])
    step = np.diff(line, axis=0)[np.clip(np.searchsorted(far, at) - 1, 0, len(line) - 2)]
    square = np.column_stack([-step[:, 1], step[:, 0]]) / np.maximum(np.hypot(*step.T), 1e-12)[:, None]
    square *= np.where(square @ deep < 0.0, -1.0, 1.0)[:, None]
    return list(np.stack([here, here + _TICK_IN * square], axis=1))


def _direction(bearing_deg: float) -> Floats:
    angle = np.radians(bearing_deg if np.isfinite(bearing_deg) else 180.0)
    return np.array([np.sin(angle), np.cos(angle)])


def line_marks(kind: str, lines: list[tuple[Floats, float]]) -> list[LineCollection]:
    """Make the artists that draw lines of a kind, in inches; each line comes with its deep-side bearing."""
    strokes = [line for line, _ in lines if len(line) > 1 and length_of([line]) > 0.0]
    if kind == "ledge":
        ticks = [
            tick
            for line, bearing in lines
            if len(line) > 1 and length_of([line]) > 0.0
            for tick in _ticks(line, _direction(bearing))
        ]
        looks: list[tuple[list[Floats], Mapping[str, Any]]] = [
            (strokes + ticks, {"colors": palette.CASING, "linewidths": 2.6}),
            (ticks, {"colors": STRUCTURE, "linewidths": 0.8}),
            (strokes, {"colors": STRUCTURE, "linewidths": 1.3}),
        ]
    elif kind == "bluff":
        looks = [
            (strokes, {"colors": palette.CASING, "linewidths": 5.0}),
            (strokes, {"colors": STRUCTURE, "linewidths": 3.4}),
            (strokes, {"colors": SOFT, "linewidths": 1.0}),
        ]
    else:
        looks = [
            (strokes, {"colors": palette.CASING, "linewidths": 3.6}),
            (strokes, {"colors": STRUCTURE, "linewidths": 2.0, "linestyles": [(0, (3.0, 1.6))]}),
        ]
    return [LineCollection(parts, **look) for parts, look in looks if parts]


def draw_structure_marks(
    axes: Axes, pen: Pen, kind: str, shapes: list[Any], bearings: list[float], to_page: Any
) -> None:
    """Draw all findings of one kind.

    Parameters
    ----------
    axes, pen
        The map, and the page it is on.
    kind
        A key of `WORDS`.
    shapes, bearings
        Geometry of each, in metres, and its deep-side bearing.
    to_page
        Turns metres (n, 2) into inches on the page.
    """
    on_page = pen.figure.dpi_scale_trans
    if kind in _FORMS:
        points = to_page(shapely.get_coordinates(shapely.point_on_surface(shapes)))
        artists: list[Any] = [place_mark(kind, points, on_page, 4.6)]
    else:
        parts = [
            (to_page(shapely.get_coordinates(ring)), bearing)
            for shape, bearing in zip(shapes, bearings, strict=True)
            for ring in (
                [shapely.get_exterior_ring(one) for one in shapely.get_parts(shape)]
                if kind == "flat"
                else shapely.get_parts(shape)
            )
        ]
        artists = list(line_marks(kind, parts))
        if kind == "flat":
            for artist, style in zip(artists, ("solid", (0, (1.2, 1.4))), strict=False):
                artist.set_linestyle(style)
        for order, artist in enumerate(artists):
            artist.set(transform=on_page, zorder=4.2 + order / 10.0)
    for artist in artists:
        artist.set_clip_path(axes.patch)
        axes.add_collection(artist, autolim=False)


def swatch(pen: Pen, kind: str, rect: Rect) -> None:
    """Draw one mark of a kind into the key."""
    middle = rect.bottom + rect.height / 2.0
    if kind in _FORMS:
        at = np.array([(rect.left + rect.width / 2.0, middle)])
        pen.figure.add_artist(place_mark(kind, at, pen.figure.dpi_scale_trans, 3.0))
        return
    line = np.array([(rect.left, middle), (rect.right, middle)])
    for artist in line_marks(kind, [(line, 180.0)]):
        if kind == "flat":
            artist.set_linestyle((0, (1.2, 1.4)))
        pen.shape(artist)
