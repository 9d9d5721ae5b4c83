"""A small picture of what an algorithm does: what it is given pale, what it makes strong."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from matplotlib.collections import LineCollection
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.patheffects import withStroke

from ..formats import palette
from .chart_ground import draw_ground
from .chart_key import draw_scale
from .chart_marks import draw_marks
from .chart_page import Bounds, Rect, View, blank_page, map_axes, png_of
from .chart_run import draw_run
from .draughting import outline

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from .draughting import Pen

WIDTH_PX: Final = 640
WIDTH_IN: Final = 4.6
HEIGHT_IN: Final = 2.9
COLOURS: Final = 48
_PALE: Final = 0.55
_EDGE: Final = 0.03

Extra = Callable[["Axes", "View", "Pen"], None]


@dataclass(frozen=True)
class Scene:
    """What is drawn."""

    bounds_m: Bounds  # the window; it is widened to the shape of the picture
    # layers by role, drawn as on the map: what is given, and what is made
    pale: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    strong: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    # legs, stops, holds, ramps, spots, cast lines that are made
    run: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    extra: Extra | None = None  # draws what the map has no mark for, on top


def window(bounds_m: Bounds, rect: Rect) -> View:
    """Put a part of the lake in the middle of a rectangle."""
    west, south, east, north = bounds_m
    scale = max((east - west) / rect.width, (north - south) / rect.height)
    x, y = (west + east) / 2.0, (south + north) / 2.0
    return View(rect, x - scale * rect.width / 2.0, y - scale * rect.height / 2.0, scale)


def inside(frame: gpd.GeoDataFrame, view: View) -> gpd.GeoDataFrame:
    """Cut areas to the window with some room, so that small pictures are quick; rows outside go."""
    west, east, south, north = view.limits
    room = 0.1 * (east - west)
    box = (west - room, south - room, east + room, north + room)
    made = frame.copy()
    shapes = shapely.make_valid(frame.geometry.to_numpy())
    made.geometry = shapely.clip_by_rect(shapes, *box)
    return made[~(shapely.is_empty(made.geometry.to_numpy()) | shapely.is_missing(made.geometry.to_numpy()))]


def strokes(axes: Axes, lines: Any, colour: str, width: float, *, casing: bool = True, **look: Any) -> None:
    """Draw lines, on a casing where they must stand out on dark and on pale ground."""
    pieces = [shapely.get_coordinates(part) for part in shapely.get_parts(np.asarray(lines, dtype=object))]
    drawn = LineCollection(pieces, **{"colors": colour, "linewidths": width, "zorder": 6.0, **look})
    if casing:
        drawn.set_path_effects([withStroke(linewidth=width + 1.6, foreground=palette.CASING)])
    axes.add_collection(drawn, autolim=False)


def marks(axes: Axes, name: str, frame: gpd.GeoDataFrame, order: float = 7.0) -> None:
    """Put a mark at a point on each geometry."""
    if len(frame):
        points = shapely.get_coordinates(shapely.point_on_surface(frame.geometry.to_numpy()))
        axes.add_collection(draw_marks(name, points, axes.transData, order), autolim=False)


def discs(axes: Axes, frame: gpd.GeoDataFrame, colours: Any, sizes: Any) -> None:
    """Put a disc with an ink edge at a point on each geometry; colours and sizes (points squared) one or one a row."""
    at = shapely.get_coordinates(shapely.point_on_surface(frame.geometry.to_numpy()))
    axes.scatter(at[:, 0], at[:, 1], s=sizes, c=colours, edgecolors=palette.INK, linewidths=0.8, zorder=7.2)


def areas(axes: Axes, frame: gpd.GeoDataFrame, colour: str, *, tolerance_m: float, **look: Any) -> None:
    """Draw the edges of areas, filled on wish; what is finer than the tolerance is left out."""
    path = outline(frame.geometry.to_numpy(), tolerance_m)
    if path is not None:
        axes.add_artist(PathPatch(path, **{"facecolor": "none", "edgecolor": colour, "zorder": 5.0, **look}))


def words(
    axes: Axes, x: float, y: float, text: str, *, dx: float = 0.0, dy: float = 0.0, **look: Any
) -> None:
    """Write a few words beside a place, ink on a casing; the offset is in points."""
    told = {"fontsize": 7.0, "color": palette.INK, "ha": "center", "va": "center", "zorder": 9.0, **look}
    axes.annotate(
        text, (x, y), (dx, dy), textcoords="offset points", clip_on=True,
        path_effects=[withStroke(linewidth=2.2, foreground=palette.CASING)], **told,
    )  # fmt: skip


_KEPT: Final = (
    palette.PAPER, palette.INK, palette.LAND, palette.DRY, palette.HAZARD, palette.KNOWN, palette.ZONE, palette.CASING,
    palette.CAST, palette.HOLD, palette.RAMP,
)  # fmt: skip


def small_png(png: bytes, colours: int = COLOURS) -> bytes:
    """Bring a PNG to few colours, without dithering: some ten kilobytes for a map.

    Beside the colours that cover most, those of small marks are kept, which would sink in the others.
    """
    from PIL import Image  # comes with matplotlib

    with Image.open(io.BytesIO(png)) as picture:
        plain = picture.convert("RGB")
    common = plain.quantize(colours, dither=Image.Dither.NONE).getpalette() or []
    rare = [round(255.0 * float(part)) for colour in _KEPT for part in palette.rgb(colour)]
    chosen = Image.new("P", (1, 1))
    chosen.putpalette([*common[: 3 * colours], *rare])
    made = io.BytesIO()
    plain.quantize(palette=chosen, dither=Image.Dither.NONE).save(made, format="PNG", optimize=True)
    return made.getvalue()


def part_of_picture(png: bytes, box: tuple[float, float, float, float]) -> bytes:
    """Cut a part (left, top, right, bottom as shares) out of a finished picture and make it small."""
    from PIL import Image

    with Image.open(io.BytesIO(png)) as picture:
        wide, high = picture.size
        left, top, right, bottom = box
        part = picture.convert("RGB").crop((left * wide, top * high, right * wide, bottom * high))
        small = part.resize((WIDTH_PX, round(part.height * WIDTH_PX / part.width)), Image.Resampling.LANCZOS)
    made = io.BytesIO()
    small.save(made, format="PNG")
    return small_png(made.getvalue(), 32)


def draw_scene(scene: Scene) -> bytes:
    """Draw a scene as a small PNG picture."""
    figure, pen = blank_page(WIDTH_IN, WIDTH_PX)
    figure.set_size_inches(WIDTH_IN, HEIGHT_IN)
    view = window(scene.bounds_m, Rect(_EDGE, _EDGE, WIDTH_IN - 2.0 * _EDGE, HEIGHT_IN - 2.0 * _EDGE))
    ground = map_axes(figure, view)
    draw_ground(ground, {k: inside(v, view) for k, v in scene.pale.items()}, view)
    west, east, south, north = view.limits
    veil = Rectangle((west, south), east - west, north - south, color=palette.PAPER, alpha=_PALE, zorder=3.95)
    ground.add_patch(veil)
    if scene.strong or scene.run or scene.extra:
        axes = map_axes(figure, view)
        axes.set_facecolor("none")
        draw_ground(axes, {k: inside(v, view) for k, v in scene.strong.items()}, view)
        if scene.run:
            draw_run(axes, scene.run, view, pen)
        if scene.extra is not None:
            scene.extra(axes, view, pen)  # noqa: S610  # no database here
    top = HEIGHT_IN - _EDGE
    pen.box(Rect(0.06, top - 0.4, 1.32, 0.37), facecolor=palette.PAPER, edgecolor="none", alpha=0.85)
    draw_scale(pen, view, Rect(0.11, top - 0.34, 0.75, 0.3))
    return small_png(png_of(figure, {"Software": "castshed"}))


def coarse(png: bytes, columns: int = 24, rows: int = 15) -> Any:
    """Reduce a picture to a few large cells of mean colour, (rows, columns, 3) of 0 to 255: what one sees of it.

    Fonts and compression, which differ from machine to machine, hardly show there; another lake, result or palette
    does.
    """
    from PIL import Image

    with Image.open(io.BytesIO(png)) as picture:
        return np.asarray(picture.convert("RGB").resize((columns, rows), Image.Resampling.BOX), dtype=float)
