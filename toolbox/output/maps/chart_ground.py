"""The ground of the map: land, water by depth, dry ground, what to keep out of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.patches import PathPatch

from ...text import number
from ..formats import palette
from .chart_marks import draw_marks
from .draughting import dots, outline

if TYPE_CHECKING:
    import geopandas as gpd
    from matplotlib.axes import Axes

    from ...arrays import Geometries
    from .chart_page import View

BandColours = list[tuple[float, float, str]]

_HATCH = {
    "run": "/////",
    "idle": "\\\\\\\\\\",
}  # lines 0.047 inch apart, on one grid so that neighbours match
_DOTS_IN = 0.06
_DETAIL_IN = 0.004  # finer than a printed line shows


def band_colours(bands: gpd.GeoDataFrame | None) -> BandColours:
    """Limits and colour of each depth band, shallow to deep; the upper limit of the deepest may be NaN (open)."""
    if bands is None or not len(bands):
        return []
    pairs = zip(bands["from_m"].tolist(), bands["to_m"].tolist(), strict=True)
    # repr tells limits apart, because NaN is not equal to itself
    limits = {repr(pair): pair for pair in ((number(low), number(high)) for low, high in pairs)}
    low_first = sorted(limits.values(), key=lambda pair: np.nan_to_num(pair, nan=1e9).tolist())
    colours = palette.depth_colours(len(low_first))
    return [(low, high, colour) for (low, high), colour in zip(low_first, colours, strict=True)]


def _areas(frame: gpd.GeoDataFrame, mask: Any = None) -> Geometries:
    geometries: Geometries = frame.geometry.to_numpy()
    return geometries if mask is None else geometries[np.asarray(mask, dtype=bool)]


def _fill(axes: Axes, areas: Geometries, view: View, order: float, **look: Any) -> None:
    path = outline(areas, _DETAIL_IN * view.metres_per_inch)
    if path is not None:
        # not add_patch: that walks every edge as a curve to find limits that are fixed already
        stroke = look.pop("hatch_linewidth", None)
        patch = PathPatch(path, zorder=order, **{"linewidth": 0.0, "joinstyle": "round", **look})
        if stroke is not None:
            patch.set_hatch_linewidth(stroke)
        axes.add_artist(patch)


def _water(
    axes: Axes, frames: Mapping[str, gpd.GeoDataFrame], view: View, colours: BandColours | None
) -> None:
    for role in ("shoreline", "water"):
        if role in frames and len(frames[role]):
            _fill(axes, _areas(frames[role]), view, 1.0, facecolor=palette.THIN)
    bands = frames.get("depth_bands")
    if bands is None:
        return
    for low, high, colour in band_colours(bands) if colours is None else colours:
        own = [
            repr((number(a), number(b))) == repr((low, high))
            for a, b in zip(bands["from_m"].tolist(), bands["to_m"].tolist(), strict=True)
        ]
        # an edge of the same colour closes the hair gaps between bands simplified one by one
        _fill(axes, _areas(bands, own), view, 2.0, facecolor=colour, edgecolor=colour, linewidth=0.4)


def _edges(axes: Axes, frames: Mapping[str, gpd.GeoDataFrame], view: View) -> None:
    look = {"facecolor": "none", "edgecolor": palette.LAND_EDGE}
    if "shoreline" in frames and len(frames["shoreline"]):
        _fill(axes, _areas(frames["shoreline"]), view, 3.2, linewidth=0.5, linestyle=(0, (3, 1.5)), **look)
    if "water" in frames and len(frames["water"]):
        _fill(axes, _areas(frames["water"]), view, 3.3, linewidth=0.8, **look)


def _dry_ground(axes: Axes, frame: gpd.GeoDataFrame, view: View) -> None:
    areas = _areas(frame)
    _fill(axes, areas, view, 3.0, facecolor=palette.DRY)
    at = dots(areas, _DOTS_IN * view.metres_per_inch)
    axes.scatter(at[:, 0], at[:, 1], s=1.1, c=palette.DRY_DOTS, linewidths=0.0, zorder=3.1)


def _hazards(axes: Axes, frame: gpd.GeoDataFrame, view: View) -> None:
    """Hatch what is too thin: one way for running, both ways for idling, on a pale ground that shows on deep water."""
    idling = frame["care"].astype(str).to_numpy() == "idle"
    _fill(axes, _areas(frame), view, 3.4, facecolor=palette.HAZARD_GROUND, alpha=0.6)
    for areas, care in ((_areas(frame, ~idling), "run"), (_areas(frame, idling), "idle")):
        width = palette.HATCH_WIDTH[care]
        look = {"facecolor": "none", "edgecolor": palette.HAZARD, "linewidth": width}
        _fill(axes, areas, view, 3.5, hatch=_HATCH[care], hatch_linewidth=width, **look)


def _zones(axes: Axes, frame: gpd.GeoDataFrame, view: View) -> None:
    for zone, dashes in palette.ZONE_DASHES.items():
        areas = _areas(frame, frame["zone"].astype(str).to_numpy() == zone)
        look = {"facecolor": "none", "edgecolor": palette.ZONE, "linestyle": (0, dashes)}
        _fill(axes, areas, view, 3.6, linewidth=palette.ZONE_WIDTH[zone], **look)


def _known_hazards(axes: Axes, frame: gpd.GeoDataFrame, view: View) -> None:
    geometries = _areas(frame)
    _fill(axes, geometries, view, 3.7, facecolor=palette.KNOWN, alpha=0.55)
    places = frame.geometry.representative_point()
    axes.add_collection(
        draw_marks("hazard", np.column_stack([places.x, places.y]), axes.transData, 3.8), autolim=False
    )


def draw_ground(
    axes: Axes,
    frames: Mapping[str, gpd.GeoDataFrame],
    view: View,
    *,
    colours: BandColours | None = None,
) -> None:
    """Draw all areas of a plan into axes whose limits are those of the view.

    Parameters
    ----------
    axes, frames, view
        Where, what, and which part of it.
    colours
        Colours of the depth bands of the whole lake, by `band_colours`: a piece cut out of the lake may hold a few
        bands only, and these must look as they do on the map. Without it, the bands given are all there are.
    """
    _water(axes, frames, view, colours)
    _edges(axes, frames, view)
    for role, draw in (
        ("dry_ground", _dry_ground),
        ("shallow_hazards", _hazards),
        ("zones", _zones),
        ("known_hazards", _known_hazards),
    ):
        if role in frames and len(frames[role]):
            draw(axes, frames[role], view)
