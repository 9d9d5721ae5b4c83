"""Flats: wide level ground in water of a depth to fish."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from rasterio.features import shapes
from rasterio.transform import from_origin
from scipy.ndimage import distance_transform_edt, find_objects, label

from ...errors import UsageError
from ...report import note
from ..landform.terrain import blurred, coarsened, gradient
from .finding_table import bearing_deg, findings, require_lengths

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    from ...arrays import Flags, Floats
    from ...depth import DepthSurface

_CELL_M = 5.0  # a flat is wide; finer cells are averaged to about this
_SMOOTH = 0.275  # slope is taken from depths smoothed over this share of the width: ripples do not make ground uneven
_EDGE_SMOOTH = 0.11  # at its edge, where more smoothing would take too much
_LEVEL_DEG = 0.1  # a flat that falls less than this has no deep side


def _steepness(
    depth: NDArray[np.float32], spread_m: float, cell_x: float, cell_y: float
) -> NDArray[np.floating]:
    slant = gradient(blurred(depth, spread_m, cell_x, cell_y), cell_x, cell_y)
    return np.asarray(np.hypot(slant.east, slant.south))


def _ground(level: Flags, almost: Flags, width_m: float, sampling: tuple[float, float]) -> Flags:
    """Keep level ground that a disc fits into, and regain at its edge what smoothing took.

    Outside the grid nothing is known, so the rim does not narrow a flat.
    """
    if level.all():
        return level
    core = distance_transform_edt(level, sampling=sampling) > width_m / 2
    if not core.any():
        return core
    away = distance_transform_edt(~core, sampling=sampling)
    return np.asarray(
        (level & (away <= width_m / 2)) | (almost & (away <= width_m / 2 + 2 * _SMOOTH * width_m))
    )


def _without_pinholes(polygon: shapely.Polygon, area_m2: float) -> shapely.Polygon:
    holes = [ring for ring in polygon.interiors if shapely.Polygon(ring).area >= area_m2]
    return shapely.Polygon(polygon.exterior, holes)


def _plane(x: Floats, y: Floats, depth: NDArray[np.float32]) -> tuple[float, float]:
    """Least-squares fall of the depths toward east and north."""
    sides = np.column_stack([x - x.mean(), y - y.mean(), np.ones_like(x)])
    east, north, _ = np.linalg.lstsq(sides, depth.astype(np.float64), rcond=None)[0]
    return float(east), float(north)


def _numbers(
    polygon: shapely.Polygon, depth: NDArray[np.float32], east: float, north: float
) -> dict[str, float]:
    top, base = (float(value) for value in np.percentile(depth, [5, 95]))
    fall_deg = float(np.degrees(np.arctan(np.hypot(east, north))))
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    return {
        "top_m": top,
        "base_m": base,
        "relief_m": base - top,
        "slope_deg": fall_deg,
        "length_m": float(np.hypot(*np.diff(box[:3], axis=0).T).max()),
        "area_m2": float(polygon.area),
        "deep_bearing_deg": bearing_deg(east, north) if fall_deg > _LEVEL_DEG else float("nan"),
    }


def find_flats(
    surface: DepthSurface,
    *,
    slope_deg: float = 0.7,
    width_m: float = 40.0,
    area_m2: float = 5000.0,
    from_m: float = 0.6,
    to_m: float = 20.0,
) -> gpd.GeoDataFrame:
    """Find level ground.

    Parameters
    ----------
    surface
        Today's depth.
    slope_deg
        Ground flatter than this, smoothed over a quarter of the width, counts as level.
    width_m
        A disc of this width has to fit into every part of a flat.
    area_m2
        Least area.
    from_m, to_m
        Water shallower or deeper than this is not fished.

    Returns
    -------
    A Polygon for each flat, the clearest first. `top_m` and `base_m` are the depths that a twentieth of it is
    shallower and deeper than; `slope_deg` is that of the plane through it, `deep_bearing_deg` its fall (NaN where
    it is level); `length_m` is the longer side of the narrowest box round it; `strength` is the root of area over
    `area_m2`.

    Raises
    ------
    UsageError
        A threshold that is not above zero, or a depth window upside down.

    Notes
    -----
    Slope by Horn 1981 on smoothed depths, then an opening by a disc (Serra 1982, Image Analysis and Mathematical
    Morphology). What makes the result wrong: a surface drawn from contours is level inside the last contour whether
    the bottom is or not, and hidden steps lower than the contour interval do not show.
    """
    require_lengths(slope_deg=slope_deg, width_m=width_m, area_m2=area_m2, to_m=to_m)
    if not (np.isfinite(from_m) and from_m < to_m):
        raise UsageError(
            f"The depth window runs from {from_m:g} m to {to_m:g} m; give the shallow end first."
        )
    polygons: list[shapely.Polygon] = []
    rows: list[dict[str, float]] = []
    coarse = coarsened(surface, _CELL_M)
    cell_x, cell_y = coarse.cell_x_m, coarse.cell_y_m
    depth = coarse.depth_m
    if max(cell_x, cell_y) > width_m / 2:
        note(
            f"Flats were not looked for: cells of {max(cell_x, cell_y):g} m cannot show one {width_m:g} m wide. Make "
            f"the depths on cells of {width_m / 2:g} m or less.",
            stacklevel=2,
        )
        return findings("flat", [], surface.crs, {})
    limit = np.tan(np.radians(slope_deg))
    # NaN compares False: what is not known is not level.
    fishable = (depth >= from_m) & (depth <= to_m)
    level = fishable & (_steepness(depth, _SMOOTH * width_m, cell_x, cell_y) < limit)
    almost = fishable & (_steepness(depth, _EDGE_SMOOTH * width_m, cell_x, cell_y) < 1.2 * limit)
    parts, count = label(_ground(level, almost, width_m, (cell_y, cell_x)))
    sizes = np.bincount(parts.ravel(), minlength=count + 1) * cell_x * cell_y
    keep = sizes >= area_m2  # the drawn outline may come a little under it, so it is asked again below
    keep[0] = False
    parts = np.where(keep[parts], parts, 0).astype(np.int32)
    corner = from_origin(coarse.west_m, coarse.north_m, cell_x, cell_y)
    boxes = find_objects(parts)
    for outline, number in shapes(parts, mask=parts > 0, transform=corner):
        where = boxes[int(number) - 1]
        down, right = np.nonzero(parts[where] == number)
        east, north = _plane(
            cell_x * right.astype(np.float64), -cell_y * down.astype(np.float64), depth[where][down, right]
        )
        drawn = _without_pinholes(
            shapely.Polygon(outline["coordinates"][0], outline["coordinates"][1:]), width_m**2 / 4
        )
        polygon = drawn.simplify(0.75 * max(cell_x, cell_y))
        if not isinstance(polygon, shapely.Polygon) or polygon.area < area_m2:
            continue
        polygons.append(polygon)
        rows.append(_numbers(polygon, depth[where][down, right], east, north))
    columns = {name: np.array([row[name] for row in rows]) for name in (rows[0] if rows else ())}
    if rows:
        columns["strength"] = np.sqrt(columns["area_m2"] / area_m2)
    return findings("flat", polygons, surface.crs, columns)
