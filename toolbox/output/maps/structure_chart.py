"""Draw found structure over the isobaths of today, so that a person can judge it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from matplotlib.patches import PathPatch

from ...text import number, one_line, shortened
from ..formats import palette
from ..words.cautions import caution_text, level_text
from .chart_ground import draw_ground
from .chart_key import KEY_LINE_IN, draw_key, key_lines
from .chart_labels import Label, draw_label, places_of
from .chart_page import FOOT_LINE_IN, blank_page, caution_lines, map_axes, png_of, write_cautions
from .chart_table import HEAD_IN, ROW_IN, Table, draw_table
from .chart_tools import draw_north, draw_scale
from .draughting import outline
from .labels import place_labels
from .map_window import Rect, bounds_of, by_role, fit
from .structure_marks import WORDS, draw_structure_marks, swatch

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from .draughting import Pen
    from .map_window import View

_WIDTH_IN: Final = 13.0
_EDGE: Final = 0.22
_PANEL_IN: Final = 4.9
_GAP_IN: Final = 0.2
_HEAD_IN: Final = 0.62
_TOOLS_IN: Final = 0.95
_NUMBER_SIZE: Final = 6.6
_INSIDE_IN: Final = 0.03
_MARK_IN: Final = 0.15
_DETAIL_IN: Final = 0.002
_LEAST_ROWS: Final = 24


def _table(structure: gpd.GeoDataFrame) -> Table:
    rows = []
    for row in structure.drop(columns=structure.active_geometry_name).to_dict("records"):
        sure = number(row.get("confidence"))
        rows.append(
            [
                f"{number(row.get('rank')):.0f}",
                one_line(row.get("description") or row.get("name") or row.get("kind")),
                one_line(row.get("bank")),
                f"{100.0 * sure:.0f} %" if np.isfinite(sure) else "–",
            ]
        )
    heads = (("", ""), ("", "Structure, depths today"), ("", "Bank"), ("", "Sure"))
    return Table(heads, (0.06, 0.66, 0.2, 0.08), rows, "more in the layer")


def _numbers(axes: Axes, structure: gpd.GeoDataFrame, view: View, pen: Pen) -> None:
    """Write the rank beside each finding, where there is room."""
    places = places_of(view, structure)
    labels = [
        Label(
            "rank", x, y, (f"{number(rank):.0f}",), _NUMBER_SIZE, True, palette.INK, palette.PAPER, 0.09, 0.9
        )
        for (x, y), rank in zip(places.tolist(), structure["rank"].tolist(), strict=True)
    ]
    rect = view.rect
    found = place_labels(
        [label.wish(pen) for label in labels],
        frame=(
            rect.left + _INSIDE_IN,
            rect.bottom + _INSIDE_IN,
            rect.right - _INSIDE_IN,
            rect.top - _INSIDE_IN,
        ),
        hard=np.hstack([places - _MARK_IN / 2.0, places + _MARK_IN / 2.0]),
        soft=np.empty((0, 2)),
    )
    for label, place in zip(labels, found, strict=True):
        if place is not None:
            draw_label(axes, label, place, pen)


def draw_structure(
    structure: gpd.GeoDataFrame,
    ground: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    level_m: float | None,
    units: str = "US",
    width_px: int = 2600,
) -> bytes:
    """Draw found structure as a PNG picture.

    Parameters
    ----------
    structure
        Layer ``structure`` from find-structure.
    ground
        ``water``, ``depth_bands`` and ``dry_ground`` of today; the edges of the bands are the isobaths.
    title
        Heading.
    level_m
        Today's surface minus chart datum, signed.
    units
        Which unit system comes first in the key: ``US`` or ``metric``.
    width_px
        Width of the picture in pixels.

    Returns
    -------
    A PNG file with title and cautions in its text fields. North is the grid's.
    """
    frames = by_role(ground)
    metric = units == "metric"
    structure = structure.sort_values("rank", kind="stable") if len(structure) else structure
    kinds = [kind for kind in WORDS if (structure["kind"] == kind).any()] if len(structure) else []
    bounds = bounds_of(frames)
    figure, pen = blank_page(_WIDTH_IN, width_px)
    warning = caution_lines(pen, _WIDTH_IN - 2.0 * _EDGE)
    foot = _EDGE + FOOT_LINE_IN * len(warning) + 0.14
    wide = _WIDTH_IN - 2.0 * _EDGE - _PANEL_IN - _GAP_IN
    key = KEY_LINE_IN * (-(-key_lines(frames) // 2) + -(-len(kinds) // 2)) + 0.3
    aspect = max(bounds[2] - bounds[0], 300.0) / max(bounds[3] - bounds[1], 300.0)
    least = _TOOLS_IN + key + HEAD_IN + ROW_IN * min(len(structure), _LEAST_ROWS)
    high = min(max(wide / aspect, least, 5.5), 15.0)
    height = _EDGE + _HEAD_IN + high + foot
    figure.set_size_inches(_WIDTH_IN, height)
    top = height - _EDGE
    heading = pen.fitted(title or "Structure", 15.0, _WIDTH_IN - 2.0 * _EDGE, bold=True)
    pen.write(_EDGE, top - 0.22, heading, 15.0, palette.INK, bold=True, gid="title")
    pen.write(_EDGE, top - 0.46, level_text(level_m), 8.5, palette.INK, gid="level")

    view = fit(bounds, Rect(_EDGE, foot, wide, high))
    axes = map_axes(figure, view)
    draw_ground(axes, frames, view)
    _isobaths(axes, frames, view)
    for kind in WORDS:
        own = structure[structure["kind"] == kind]
        if len(own):
            draw_structure_marks(
                axes, pen, kind, list(own.geometry), own["deep_bearing_deg"].to_list(), view.on_page
            )
    if len(structure):
        _numbers(axes, structure, view, pen)

    panel = Rect(_EDGE + wide + _GAP_IN, foot, _PANEL_IN, high)
    draw_north(pen, panel.left + 0.18, panel.top - 0.62)
    draw_scale(pen, view, Rect(panel.left + 0.5, panel.top - 0.54, 1.15, 0.3))
    below = panel.top - _TOOLS_IN + 0.1
    draw_key(
        pen,
        frames,
        Rect(panel.left, panel.bottom, panel.width, below - panel.bottom),
        columns=2,
        metric_first=metric,
    )
    below -= KEY_LINE_IN * -(-key_lines(frames) // 2) + 0.1
    for place, kind in enumerate(kinds):
        x = panel.left + panel.width / 2.0 * (place // -(-len(kinds) // 2))
        y = below - KEY_LINE_IN * (place % -(-len(kinds) // 2) + 1)
        swatch(pen, kind, Rect(x, y, 0.3, 0.115))
        pen.write(x + 0.38, y + 0.015, WORDS[kind], 7.0, palette.INK, gid="key")
    used = _TOOLS_IN + key
    draw_table(
        pen,
        _table(structure),
        Rect(panel.left, panel.bottom, panel.width, panel.height - used),
        bold_first=True,
    )
    write_cautions(pen, warning, _EDGE, _EDGE)
    told = {
        "Title": shortened(title or "Structure", 200),
        "Description": caution_text(level_m),
        "Software": "castshed",
    }
    return png_of(figure, told)


def _isobaths(axes: Axes, frames: Mapping[str, gpd.GeoDataFrame], view: View) -> None:
    """Draw the edges of the depth bands."""
    if "depth_bands" not in frames:
        return
    edges = outline(frames["depth_bands"].geometry.to_numpy(), _DETAIL_IN * view.metres_per_inch)
    if edges is not None:
        axes.add_artist(
            PathPatch(edges, facecolor="none", edgecolor=palette.QUIET, linewidth=0.3, alpha=0.7, zorder=2.6)
        )
