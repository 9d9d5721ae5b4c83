"""A lake that was brought in, in four pictures: depths, where data lie, how sure they are, what was left out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import PathPatch, Rectangle

from ...text import both_lengths, how_many, shortened
from ..formats import palette
from ..words.cautions import CAUTIONS
from .chart_key import draw_north, draw_scale
from .chart_page import FOOT_LINE_IN, Rect, blank_page, caution_lines, fit, map_axes, png_of, write_cautions
from .draughting import outline

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ...depth import DepthSurface
    from .chart_page import View
    from .draughting import Pen

_WIDTH_IN: Final = 13.0
_EDGE: Final = 0.22
_GAP: Final = 0.24
_HEAD_IN: Final = 0.5
_TITLE_IN: Final = 0.28
_KEY_IN: Final = 0.34
_MOST_CELLS: Final = 900
_CROWD: Final = 20_000  # points, from which on they cover each other: how many lie where is drawn instead
_MANY_LINES: Final = 1500
_CROWD_BINS: Final = 280
_DETAIL_IN: Final = 0.003
_DEPTHS: Final = LinearSegmentedColormap.from_list(
    "depths", [palette.THIN, "#cfe6d0", palette.MIDDLE, "#6ea9b4", palette.DEEP, "#2d5a78"]
)
_ERRORS: Final = LinearSegmentedColormap.from_list("errors", ["#eef1ea", "#f3d9a4", "#d98b4a", "#8f2f12"])
_LADDER: Final = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)


def _most(values: Any, share: float = 98.0) -> float:
    """Find the round length at which a scale of colours ends: nearly all values lie below it, of depths all."""
    known = values[np.isfinite(values)]
    top = float(np.percentile(known, share)) if len(known) else 1.0
    steps = (10.0**k * one for k in range(-2, 4) for one in _LADDER)
    return next((one for one in steps if one >= top * (1.0 - 1e-6)), top)


def _cells(axes: Axes, surface: DepthSurface, lake: Any, colours: Any, most: float) -> None:
    """Paint the cells of a surface inside the lake."""
    step = max(1, int(np.ceil(max(surface.shape) / _MOST_CELLS)))
    values = surface.depth_m[::step, ::step].astype(float)
    x, y = np.meshgrid(surface.xs[::step], surface.ys[::step])
    shapely.prepare(lake)
    values = np.where(shapely.contains_xy(lake, x, y), values, np.nan)
    rows, columns = values.shape
    west, north = surface.west_m, surface.north_m
    extent = (west, west + columns * step * surface.cell_x_m, north - rows * step * surface.cell_y_m, north)
    axes.imshow(
        values, extent=extent, origin="upper", cmap=colours, vmin=0.0, vmax=most,
        interpolation="nearest", aspect="auto", zorder=2,
    )  # fmt: skip


def _shore(axes: Axes, lake: Any, view: View, *, filled: str = "none") -> None:
    edge = outline(np.array([lake], dtype=object), _DETAIL_IN * view.metres_per_inch)
    if edge is not None:
        axes.add_artist(PathPatch(edge, facecolor=filled, edgecolor="none", zorder=1.5))
        axes.add_artist(
            PathPatch(edge, facecolor="none", edgecolor=palette.LAND_EDGE, linewidth=0.7, zorder=4)
        )


def _lines(axes: Axes, shapes: Any, colour: str, width: float, detail_m: float) -> None:
    parts = shapely.get_parts(shapely.simplify(shapes, detail_m, preserve_topology=False))
    parts = parts[np.isin(shapely.get_type_id(parts), (1, 2))]
    axes.add_collection(
        LineCollection([shapely.get_coordinates(p) for p in parts], colors=colour, linewidths=width, zorder=3)
    )


def _crowd(axes: Axes, xy: Any, colour: str) -> None:
    """Paint how many points lie where, from pale to the full colour."""
    (west, south), (east, north) = xy.min(axis=0), xy.max(axis=0)
    side = max(east - west, north - south) / _CROWD_BINS
    columns, rows = int((east - west) / side) + 1, int((north - south) / side) + 1
    counts, _, _ = np.histogram2d(
        xy[:, 1],
        xy[:, 0],
        bins=(rows, columns),
        range=((south, south + rows * side), (west, west + columns * side)),
    )
    shown = np.where(counts > 0, np.log1p(counts), np.nan)
    axes.imshow(
        shown, extent=(west, west + columns * side, south, south + rows * side), origin="lower",
        cmap=LinearSegmentedColormap.from_list("crowd", ["#ded3ec", colour]), vmin=np.log(2.0),
        vmax=max(float(np.nanpercentile(shown, 99.0)), np.log(3.0)), interpolation="nearest", aspect="auto", zorder=2,
    )  # fmt: skip


def _points(axes: Axes, shapes: Any, colour: str, size: float, mark: str = ".") -> None:
    xy = shapely.get_coordinates(shapes)
    if len(xy) > _CROWD:
        _crowd(axes, xy, colour)
        return
    axes.plot(
        xy[:, 0],
        xy[:, 1],
        mark,
        color=colour,
        markersize=size,
        markeredgewidth=0.7,
        linestyle="none",
        zorder=3.5,
    )


def _depths(axes: Axes, layers: Mapping[str, Any], lake: Any, view: View) -> None:
    _cells(
        axes,
        layers["depth"],
        lake,
        _DEPTHS,
        _most(layers["depth"].depth_m[layers["depth"].depth_m > 0], 100.0),
    )
    _shore(axes, lake, view)
    if "ramps" in layers:
        _points(axes, layers["ramps"].geometry.to_numpy(), palette.RAMP, 7.0, "^")
    if "known_hazards" in layers:
        _points(axes, shapely.centroid(layers["known_hazards"].geometry.to_numpy()), palette.HAZARD, 5.0, "x")
    if "spots" in layers:
        _points(axes, shapely.centroid(layers["spots"].geometry.to_numpy()), palette.INK, 3.0, "o")


def _data(axes: Axes, layers: Mapping[str, Any], lake: Any, view: View) -> None:
    _shore(axes, lake, view, filled=palette.PAPER)
    detail_m = _DETAIL_IN * view.metres_per_inch
    if "contours" in layers:
        width = 0.5 if len(layers["contours"]) < _MANY_LINES else 0.2
        _lines(axes, layers["contours"].geometry.to_numpy(), palette.DEEP, width, detail_m)
    if "areas" in layers:
        _lines(axes, shapely.boundary(layers["areas"].geometry.to_numpy()), palette.DEEP, 0.5, detail_m)
    if "soundings" in layers:
        count = len(layers["soundings"])
        _points(axes, layers["soundings"].geometry.to_numpy(), palette.ZONE, 2.0 if count < 5000 else 1.0)
    if not {"contours", "areas", "soundings"} & set(layers):
        _cells(
            axes,
            layers["depth"].with_depth(np.where(np.isfinite(layers["depth"].depth_m), 1.0, np.nan)),
            lake,
            _DEPTHS,
            3.0,
        )


def _sureness(axes: Axes, layers: Mapping[str, Any], lake: Any, view: View) -> None:
    surface = layers["depth_confidence"]
    _cells(axes, surface, lake, _ERRORS, _most(surface.depth_m))
    _shore(axes, lake, view)


def _left_out(axes: Axes, layers: Mapping[str, Any], lake: Any, view: View) -> None:
    _shore(axes, lake, view, filled=palette.PAPER)
    if "contradictions" in layers:
        _points(axes, layers["contradictions"].geometry.to_numpy(), palette.ZONE, 1.5)
    if "set_aside" not in layers:
        return
    shapes = layers["set_aside"].geometry.to_numpy()
    kinds = shapely.get_dimensions(shapes)
    _lines(axes, shapely.boundary(shapes[kinds == 2]), palette.HAZARD, 0.8, 0.0)
    _lines(axes, shapes[kinds == 1], palette.HAZARD, 1.0, 0.0)
    _points(axes, shapes[kinds == 0], palette.HAZARD, 4.0, "x")


def _scale_of(
    pen: Pen, left: float, bottom: float, colours: Any, most_m: float, words: str, beyond: str = ""
) -> None:
    """Draw a scale of colours with its ends."""
    figure = pen.figure
    width, height = figure.get_size_inches()
    bar = 1.6
    for k in range(40):
        box = Rectangle(
            ((left + bar * k / 40) / width, bottom / height), bar / 40 / width * 1.05, 0.11 / height,
            transform=figure.transFigure, facecolor=colours(k / 39), edgecolor="none",
        )  # fmt: skip
        figure.add_artist(box)
    pen.write(
        left + bar + 0.08,
        bottom + 0.01,
        f"{words} 0 to {both_lengths(most_m)}{beyond}",
        7.0,
        palette.INK,
        gid="key",
    )


def _key(pen: Pen, rect: Rect, kind: str, layers: Mapping[str, Any], lake: Any) -> None:
    left, bottom = rect.left, rect.bottom - 0.2
    if kind == "depths":
        depth = layers["depth"].depth_m
        _scale_of(pen, left, bottom, _DEPTHS, _most(depth[depth > 0], 100.0), "depth")
        marks = [
            w
            for n, w in (("ramps", "▲ ramp"), ("known_hazards", "× hazard"), ("spots", "● spot"))
            if n in layers
        ]
        pen.write(left + 4.35, bottom + 0.01, "  ".join(marks), 7.0, palette.INK, gid="key")
    elif kind == "sure":
        _scale_of(
            pen,
            left,
            bottom,
            _ERRORS,
            _most(layers["depth_confidence"].depth_m),
            "may be off by (95 %)",
            " and more",
        )
    elif kind == "data":
        words = [
            how_many(len(layers[name]), one)
            for name, one in (
                ("contours", "contour line"),
                ("soundings", "sounding"),
                ("areas", "depth area"),
            )
            if name in layers
        ]
        if len(layers.get("soundings", ())) > _CROWD:
            words.append("darker where there are more")
        pen.write(
            left,
            bottom + 0.01,
            ", ".join(words) or "a raster: coloured where it knows a depth",
            7.0,
            palette.INK,
            gid="key",
        )
    else:
        words = []
        if "set_aside" in layers:
            reasons = layers["set_aside"]["reason"].value_counts()
            words = [f"{count} {reason}" for reason, count in reasons.items()]
            away = int(
                (shapely.distance(layers["set_aside"].geometry.to_numpy(), lake) > _beyond(lake)).sum()
            )
            words += [f"({how_many(away, 'one lies', 'lie')} beyond this picture)"] if away else []
        if "contradictions" in layers:
            count = len(layers["contradictions"])
            told = how_many(count, "sounding contradicts", "soundings contradict")
            words.insert(0, f"{'shaded' if count > _CROWD else '•'}: {told} the contours")
        text = "; ".join(words) or "nothing was set aside"
        pen.write(left, bottom + 0.01, pen.fitted(text, 7.0, rect.width), 7.0, palette.INK, gid="key")


def _beyond(lake: Any) -> float:
    west, south, east, north = shapely.bounds(lake)
    return 0.1 * float(max(east - west, north - south))


_PANELS: Final[tuple[tuple[str, str, Callable[..., None]], ...]] = (
    ("depths", "Depth below normal pool", _depths),
    ("data", "What is known: lines and points of depth", _data),
    ("sure", "How far each depth may be off", _sureness),
    ("aside", "What was set aside, or contradicts", _left_out),
)


def draw_lake(layers: Mapping[str, Any], *, title: str, width_px: int = 2600) -> bytes:
    """Draw a lake that was brought in as a PNG picture.

    Parameters
    ----------
    layers
        ``shoreline``, ``depth``, ``depth_confidence`` and, as far as there are, ``contours``, ``soundings``, ``areas``,
        ``ramps``, ``known_hazards``, ``spots``, ``set_aside``.
    title
        Heading.
    width_px
        Width of the picture in pixels.

    Returns
    -------
    A PNG file with title and cautions in its text fields. North is the grid's.
    """
    lake = shapely.union_all(layers["shoreline"].geometry.to_numpy())
    west, south, east, north = shapely.bounds(lake).tolist()
    margin = 0.04 * max(east - west, north - south)
    bounds = (west - margin, south - margin, east + margin, north + margin)
    figure, pen = blank_page(_WIDTH_IN, width_px)
    warning = caution_lines(pen, _WIDTH_IN - 2.0 * _EDGE)
    foot = _EDGE + FOOT_LINE_IN * len(warning) + 0.1
    wide = (_WIDTH_IN - 2.0 * _EDGE - _GAP) / 2.0
    high = min(max(wide * (bounds[3] - bounds[1]) / (bounds[2] - bounds[0]), 2.6), 8.0)
    row = _TITLE_IN + high + _KEY_IN
    height = _EDGE + _HEAD_IN + 2.0 * row + foot
    figure.set_size_inches(_WIDTH_IN, height)
    heading = pen.fitted(title, 15.0, _WIDTH_IN - 5.0, bold=True)
    pen.write(_EDGE, height - _EDGE - 0.24, heading, 15.0, palette.INK, bold=True, gid="title")
    for place, (kind, words, draw) in enumerate(_PANELS):
        left = _EDGE + (wide + _GAP) * (place % 2)
        bottom = foot + row * (1 - place // 2) + _KEY_IN
        rect = Rect(left, bottom, wide, high)
        view = fit(bounds, rect)
        axes = map_axes(figure, view)
        draw(axes, layers, lake, view)
        west_, east_, south_, north_ = view.limits
        axes.set(xlim=(west_, east_), ylim=(south_, north_), autoscale_on=False)
        pen.write(left, bottom + high + 0.08, words, 9.5, palette.INK, bold=True, gid="panel")
        _key(pen, rect, kind, layers, lake)
        if place == 0:
            draw_north(pen, _WIDTH_IN - _EDGE - 0.3, height - _EDGE - 0.44)
            draw_scale(pen, view, Rect(_WIDTH_IN - _EDGE - 2.2, height - _EDGE - 0.36, 1.5, 0.3))
    write_cautions(pen, warning, _EDGE, _EDGE)
    told = {"Title": shortened(title, 200), "Description": " ".join(CAUTIONS), "Software": "castshed"}
    return png_of(figure, told)
