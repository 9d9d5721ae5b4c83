"""Marks of the map: forms of points, and how each is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.collections import PathCollection
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.transforms import IdentityTransform

from ..formats import palette

if TYPE_CHECKING:
    from matplotlib.transforms import Transform

    from ...arrays import Floats


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
