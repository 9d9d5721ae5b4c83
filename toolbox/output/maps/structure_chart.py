"""Found structure drawn over the isobaths of today, each kind with its mark, so that a person can judge it.

Designed here after what each thing looks like in section or in plan: a mound for a hump, two facing slopes for a
saddle, a nose for a point, a notch for a pocket; ticks of a ledge point down its drop.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.transforms import IdentityTransform

from ...arrays import Floats
from ...text import number, one_line, shortened
from ..formats import palette
from ..words.cautions import caution_text, level_text
from .chart_ground import draw_ground
from .chart_key import KEY_LINE_IN, draw_key, draw_north, draw_scale, key_lines
from .chart_marks import length_of
from .chart_page import (
    FOOT_LINE_IN,
    Rect,
    blank_page,
    bounds_of,
    by_role,
    caution_lines,
    fit,
    map_axes,
    png_of,
    write_cautions,
)
from .chart_run import Label, draw_label, places_of
from .chart_table import HEAD_IN, ROW_IN, Table, draw_table
from .draughting import outline
from .labels import place_labels

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from .chart_page import View
    from .draughting import Pen

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
