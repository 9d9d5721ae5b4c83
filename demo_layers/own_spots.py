"""Twenty-five spots of somebody's own book: points, lines along ledges and bluffs, areas of flats and humps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import contourpy
import geopandas as gpd
import numpy as np
import shapely
import shapely.ops
from scipy import ndimage

from castshed.demo_layers import names
from castshed.demo_layers.bottom import POOL_M
from castshed.demo_layers.channels import turning
from castshed.demo_layers.edges import CRS, to_map

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from castshed.demo_layers.bottom import Bottom
    from castshed.demo_layers.places import Shore
    from castshed.demo_layers.relief import Floats

_NOTES = {
    "hump": "Good on a rising south wind. Keep off the top.",
    "saddle": "Fish cross here in the morning.",
    "point": "Long and slow; work the end first.",
    "ledge": "Cast up, count down, let it fall over the edge.",
    "flat": "Spring only, or at dusk.",
    "bluff": "Shade until nine.",
    "channel_bend": "The outside of the bend holds them in summer.",
    "pocket": "Quiet water when the main lake blows.",
    "conifer_brush": "Tied down in January, still green.",
    "brush": "Old pile, half of it silted.",
    "standing_timber": "Snags. Heavy line.",
}


class _Ground:
    """Rasters of the bottom's form, for finding places that are what their kind says."""

    def __init__(self, shore: Shore) -> None:
        chart = shore.chart
        depth = np.nan_to_num(chart.depth_m, nan=-4.0).astype(np.float64)
        smooth = ndimage.gaussian_filter(depth, 3.0)
        dy, dx = np.gradient(smooth, chart.cell_m)
        self.depth, self.smooth = depth, smooth
        self.slope = np.hypot(dx, dy)
        self.down = np.stack([dx, -dy], axis=-1)  # towards deeper water, x east, y north
        self.wide_slope = ndimage.uniform_filter(self.slope, 25)
        self.open = shore.off_m
        self.land = shore.land_share

    def at(self, shore: Shore, xy: Floats, field: NDArray[np.float64]) -> float:
        col = int((xy[0] - shore.chart.west_m) / shore.chart.cell_m)
        row = int((shore.chart.north_m - xy[1]) / shore.chart.cell_m)
        return float(field[row, col])


def _isobath_piece(shore: Shore, xy: Floats, depth_m: float, half_m: float) -> shapely.LineString:
    """Cut the piece of an isobath nearest to a place."""
    chart = shore.chart
    reach = int(2.2 * half_m / chart.cell_m)
    col = int((xy[0] - chart.west_m) / chart.cell_m)
    row = int((chart.north_m - xy[1]) / chart.cell_m)
    r0, c0 = max(0, row - reach), max(0, col - reach)
    x, y = chart.axes()
    part = ndimage.gaussian_filter(
        np.nan_to_num(chart.depth_m, nan=-4.0)[r0 : row + reach, c0 : col + reach], 2.0
    )
    lines = contourpy.contour_generator(x[c0 : c0 + part.shape[1]], y[r0 : r0 + part.shape[0]], part).lines(
        depth_m
    )
    place = shapely.Point(xy)
    nearest = min((shapely.LineString(line) for line in lines if len(line) > 1), key=place.distance)
    along = nearest.project(place)
    cut = shapely.ops.substring(nearest, max(0.0, along - half_m), min(nearest.length, along + half_m))
    return shapely.LineString(cut.simplify(1.5))


def _area_round(shore: Shore, ground: _Ground, xy: Floats, radius_m: float, drop_m: float) -> shapely.Polygon:
    """Outline the ground about as deep as a place, within a radius of it."""
    chart = shore.chart
    here = ground.at(shore, xy, ground.smooth)
    reach = int(radius_m / chart.cell_m) + 3
    col = int((xy[0] - chart.west_m) / chart.cell_m)
    row = int((chart.north_m - xy[1]) / chart.cell_m)
    r0, c0 = row - reach, col - reach
    x, y = chart.axes()
    part = ground.smooth[r0 : row + reach, c0 : col + reach]
    xx, yy = np.meshgrid(x[c0 : c0 + part.shape[1]], y[r0 : r0 + part.shape[0]])
    inside = np.minimum(drop_m - np.abs(part - here), (radius_m - np.hypot(xx - xy[0], yy - xy[1])) * 0.02)
    lines = contourpy.contour_generator(xx, yy, inside).lines(0.0)
    place = shapely.Point(xy)
    rings = [shapely.make_valid(shapely.Polygon(line)) for line in lines if len(line) > 4]
    whole = min(rings, key=lambda ring: (ring.distance(place), -ring.area))
    biggest = max(shapely.get_parts(whole), key=lambda ring: ring.area)
    return shapely.Polygon(shapely.Polygon(biggest.simplify(2.0)).exterior)


def _places(kind: str, ground: _Ground) -> NDArray[np.bool_]:
    depth, slope, off, land = ground.smooth, ground.slope, ground.open, ground.land
    return {
        "saddle": (depth > 4.0) & (depth < 9.0) & (slope < 0.012) & (land < 0.4) & (off > 60.0),
        "point": (depth > 3.5) & (depth < 6.0) & (land < 0.16) & (off > 25.0) & (off < 90.0) & (slope > 0.02),
        "ledge": (depth > 4.5) & (depth < 9.0) & (slope > 0.11) & (off > 40.0),
        "flat": (depth > 3.0) & (depth < 6.0) & (ground.wide_slope < 0.012) & (off > 120.0),
        "bluff": (depth > 5.0) & (depth < 9.0) & (slope > 0.16) & (off < 40.0),
        "pocket": (depth > 2.6) & (depth < 4.5) & (land > 0.55) & (off > 22.0),
        "conifer_brush": (depth > 4.0) & (depth < 7.0) & (off > 30.0) & (slope > 0.02),
        "brush": (depth > 3.5) & (depth < 7.0) & (off > 30.0) & (slope > 0.02),
        "standing_timber": (depth > 4.0) & (depth < 9.0) & (off > 60.0) & (slope < 0.05),
    }[kind]


def _humps(shore: Shore, bottom: Bottom, ground: _Ground) -> list[Floats]:
    """Tops of the drowned knolls, the shoaler first."""
    drowned = sorted((k for k in bottom.knolls if k.top_m < POOL_M - 1.3), key=lambda k: -k.top_m)
    at = [to_map(np.array([[k.x_m, k.y_m]]))[0] for k in drowned]
    return [xy for xy in at if 2.4 < ground.at(shore, xy, ground.smooth) < 8.0]


def _bends(bottom: Bottom, shore: Shore) -> list[Floats]:
    """Outsides of the old river's sharpest bends under water."""
    course = bottom.streams[0].course
    normal, bend = turning(course)
    bend = ndimage.gaussian_filter1d(bend, 8.0)
    found: list[Floats] = []
    for k in np.argsort(-np.abs(bend)):
        xy = to_map((course[k] - np.sign(bend[k]) * normal[k] * bottom.streams[0].width_m * 0.5)[None, :])[0]
        deep = shore.chart.read(xy[None, :])[0]
        if np.isfinite(deep) and deep > 5.0 and all(np.hypot(*(xy - other)) > 1500.0 for other in found):
            found.append(xy)
        if len(found) == 4:
            break
    return found


def make_own_spots(rng: np.random.Generator, shore: Shore, bottom: Bottom) -> gpd.GeoDataFrame:
    """Put own spots where the bottom is what their kind says.

    Returns
    -------
    Layer ``spots``: points, lines (ledges, the bluff) and areas (flats, two of the humps).
    """
    ground = _Ground(shore)
    taken: list[Floats] = []
    ready = {"hump": _humps(shore, bottom, ground), "channel_bend": _bends(bottom, shore)}
    rows: list[dict[str, object]] = []
    shapes: list[shapely.Geometry] = []
    for kind, titles in names.SPOTS.items():
        for number, title in enumerate(titles):
            if len(rows) == 25:
                break
            if ready.get(kind):
                xy = ready[kind].pop(0)
                taken.append(xy)
            elif kind in ready:
                continue
            else:
                xy = shore.pick(rng, _places(kind, ground), taken, 420.0)
            shape: shapely.Geometry = shapely.Point(np.round(xy, 1))
            here = ground.at(shore, xy, ground.smooth)
            if kind in ("ledge", "bluff"):
                shape = _isobath_piece(shore, xy, here, float(rng.uniform(45.0, 90.0)))
            elif kind == "flat" or (kind == "hump" and number in (1, 3)):
                shape = _area_round(
                    shore, ground, xy, 110.0 if kind == "flat" else 70.0, 0.5 if kind == "flat" else 1.2
                )
            tall = {"conifer_brush": 2.0, "brush": 1.2, "standing_timber": 3.5}.get(kind, 0.0)
            rows.append(
                {
                    "spot_id": f"own-{len(rows) + 1:02d}",
                    "name": title,
                    "kind": kind,
                    "depth_m": round(here, 1),
                    "height_m": tall,
                    "rating": float(rng.choice([2, 3, 3, 4, 4, 5])),
                    "note": _NOTES[kind],
                    "source": "own book",
                    "surveyed": "-".join(
                        f"{int(rng.integers(a, b)):02d}" for a, b in ((2019, 2026), (3, 11), (1, 28))
                    ),
                    "position_error_m": float(rng.choice([3.0, 4.0, 5.0])),
                }
            )
            shapes.append(shape)
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=CRS)
