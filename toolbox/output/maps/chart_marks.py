"""Marks and legs on the map: forms of points, parts run, idled and launched, an arrow each way."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection, PathCollection, PolyCollection
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.transforms import IdentityTransform

from ...arrays import Floats
from ...text import number, one_line
from ..formats import palette

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform

    from .chart_page import View
    from .draughting import Pen


def _closed(points: list[tuple[float, float]]) -> Path:
    return Path(np.array([*points, points[0]]), closed=True)


_BOAT: Final = _closed([(0.0, 0.75), (0.42, 0.2), (0.42, -0.6), (-0.42, -0.6), (-0.42, 0.2)])
_SLOPE: Final = _closed([(-0.6, -0.5), (0.6, -0.5), (0.6, 0.5)])
_STROKES: Final = Path(
    np.array([(-0.45, -0.45), (0.45, 0.45), (-0.45, 0.45), (0.45, -0.45)]),
    np.array([Path.MOVETO, Path.LINETO, Path.MOVETO, Path.LINETO], dtype=np.uint8),
)
CROSS: Final = Path(
    np.array(
        [
            (-0.6, 0.0),
            (0.6, 0.0),
            (0.0, -0.6),
            (0.0, 0.6),
            (-0.42, -0.42),
            (0.42, 0.42),
            (-0.42, 0.42),
            (0.42, -0.42),
        ]
    ),
    np.array([Path.MOVETO, Path.LINETO] * 4, dtype=np.uint8),
)
_RING: Final = Path.unit_circle()


@dataclass(frozen=True)
class Mark:
    """Form, size (side of its box in inches), fill, edge and width of the edge in points."""

    form: Path
    size: float
    fill: str
    edge: str
    width: float


MARKS: Final[dict[str, Mark]] = {
    "hold": Mark(_BOAT, 0.15, palette.HOLD, palette.INK, 0.9),
    "spot": Mark(_RING, 0.055, palette.SPOT, palette.INK, 0.9),
    "left_out": Mark(_STROKES, 0.09, "none", palette.LEFT_OUT, 1.0),
    "ramp": Mark(_SLOPE, 0.17, palette.RAMP, palette.CASING, 0.7),
    "hazard": Mark(CROSS, 0.1, "none", palette.KNOWN, 1.3),
}


def draw_marks(name: str, points: Floats, transform: Transform, order: float) -> PathCollection:
    """Make the artist that puts a mark at each point, in the coordinates of ``transform``."""
    mark = MARKS[name]
    scaled = Path(
        np.asarray(mark.form.vertices, dtype=float) * (mark.size / 2.0 / 0.75) * 72.0, mark.form.codes
    )
    marks = PathCollection(
        [scaled],
        sizes=(1.0,),  # the form is in points already
        transform=IdentityTransform(),  # else the artist would take that of its axes
        offsets=np.asarray(points, dtype=float).reshape(-1, 2),
        offset_transform=transform,
        facecolors=mark.fill,
        edgecolors=mark.edge,
        linewidths=mark.width,
        zorder=order,
    )
    if mark.fill == "none":  # strokes alone would sink into dark water
        marks.set_path_effects([withStroke(linewidth=mark.width + 1.6, foreground=palette.CASING)])
    return marks


_ARROW_IN: Final = 0.11
_ARROW_LEAST_IN: Final = 0.42  # a leg shorter on paper has room for its number only
_ARROW_TWICE_IN: Final = 3.0


def lines_of(view: View, frame: gpd.GeoDataFrame) -> list[list[Floats]]:
    """Parts of each row's lines, in inches on the page."""
    rows = []
    for geometry in frame.geometry:
        parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "LineString"]
        rows.append([view.on_page(shapely.get_coordinates(part)) for part in parts])
    return rows


def length_of(lines: Sequence[Floats]) -> float:
    """Length of consecutive lines."""
    return float(sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines))


def along(lines: Sequence[Floats], share: float) -> tuple[Floats, Floats] | None:
    """Place at a share of the length of consecutive lines and the direction there; None without length."""
    left = share * length_of(lines)
    for line in lines:
        for start, step in zip(line[:-1], np.diff(line, axis=0), strict=True):
            length = float(np.hypot(*step))
            if length > 0.0 and left <= length:
                return start + step / length * left, step / length
            left -= length
    return None


def draw_legs(axes: Axes, legs: gpd.GeoDataFrame, view: View, pen: Pen) -> dict[str, list[Floats]]:
    """Draw the legs.

    Returns
    -------
    The lines of each leg by its number, in inches on the page.
    """
    by_leg: dict[str, list[Floats]] = {}
    running: list[Floats] = []
    idling: list[Floats] = []
    for lines, leg, part in zip(
        lines_of(view, legs), legs["leg_no"].tolist(), legs["part"].tolist(), strict=True
    ):
        name = f"{number(leg):.0f}" if math.isfinite(number(leg)) else one_line(leg)
        by_leg.setdefault(name, []).extend(lines)
        (running if part == "run" else idling).extend(lines)
    for lines, width, colour, dashes, order in (
        (running + idling, 3.4, palette.CASING, "solid", 4.0),
        (running, 1.6, palette.RUN, "solid", 4.1),
        (idling, 1.4, palette.RUN, palette.IDLE_DASHES, 4.1),
    ):
        look: dict[str, Any] = {
            "colors": colour,
            "linewidths": width,
            "linestyles": [dashes],
            "zorder": order,
        }
        look |= {"transform": pen.figure.dpi_scale_trans, "clip_path": axes.patch, "capstyle": "round"}
        strokes = LineCollection(lines, **look)
        axes.add_collection(strokes, autolim=False)
    return by_leg


def draw_arrows(axes: Axes, by_leg: Mapping[str, list[Floats]], pen: Pen) -> Floats:
    """Draw arrow heads on legs long enough on paper.

    Returns
    -------
    Boxes of the heads, (n, 4), so that labels keep off them.
    """
    heads: list[Floats] = []
    for lines in by_leg.values():
        length = length_of(lines)
        shares = () if length < _ARROW_LEAST_IN else (0.72,) if length < _ARROW_TWICE_IN else (0.3, 0.72)
        for share in shares:
            found = along(lines, share)
            if found is not None:
                tip, towards = found
                side = np.array([-towards[1], towards[0]]) * _ARROW_IN * 0.42
                back = tip - towards * _ARROW_IN
                heads.append(np.array([tip + towards * 0.02, back + side, back - side]))
    look: dict[str, Any] = {
        "facecolors": palette.RUN,
        "edgecolors": palette.CASING,
        "linewidths": 0.6,
        "zorder": 4.3,
    }
    arrows = PolyCollection(heads, transform=pen.figure.dpi_scale_trans, clip_path=axes.patch, **look)
    axes.add_collection(arrows, autolim=False)
    return np.array([[*head.min(axis=0), *head.max(axis=0)] for head in heads]).reshape(-1, 4)
