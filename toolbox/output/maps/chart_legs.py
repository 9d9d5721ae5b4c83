"""Legs on the map: running parts drawn through, idle and launch parts dashed, an arrow each way."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection, PolyCollection

from ...arrays import Floats
from ...text import number, one_line
from ..formats import palette

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from .draughting import Pen
    from .map_window import View


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
