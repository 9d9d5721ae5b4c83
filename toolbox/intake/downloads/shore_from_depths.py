"""A shoreline where no file holds one: the contour of 0, the union of depth areas, or a raster at normal pool."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...text import how_many
from .found import FoundLayer, Questions
from .grids import extent_of, warped
from .measures import in_depth, moved
from .shore_lines import areas_of_lines
from .systems import system_of
from .water_body import PickedLake, Waters, evidence, pick_from
from .which_shoreline import without_islands

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...arrays import Geometries
    from ...depth import DepthSurface

_LEAST_CELLS = 4


def _of_areas(found: FoundLayer, crs: Any) -> tuple[Geometries, list[str]]:
    assert found.frame is not None
    shapes = moved(found.frame.geometry.to_numpy(), system_of(found), crs)
    whole = shapely.union_all(shapely.make_valid(shapes[~shapely.is_missing(shapes)]), grid_size=0.001)
    parts = shapely.get_parts(whole)
    parts = parts[shapely.get_type_id(parts) == 3]
    said = ["the shoreline is the outline of the depth areas"]
    rings, owner = shapely.get_rings(parts, return_index=True)
    holes = np.ones(len(rings), dtype=bool)
    holes[np.unique(owner, return_index=True)[1]] = False
    gaps = np.asarray(shapely.polygons(rings[holes]), dtype=object)
    if len(gaps):
        # A hole with depth areas in it is a gap between two of them, and no island.
        inner = shapely.STRtree(shapely.point_on_surface(parts)).query(gaps, predicate="contains")[0]
        gaps = gaps[np.unique(inner)]
    if len(gaps):
        parts = shapely.get_parts(shapely.union_all(np.concatenate([parts, gaps])))
        said.append(f"{how_many(len(gaps), 'gap')} between depth areas counted as water")
    return parts, said


def _of_contours(found: FoundLayer, crs: Any, pool_m: float | None) -> tuple[Geometries, list[str]]:
    assert found.frame is not None
    nought = np.abs(in_depth(found, found.numbers, pool_m)) < 0.005
    if not nought.any():
        return np.empty(0, dtype=object), []
    shapes = moved(found.frame.geometry.to_numpy()[nought], system_of(found), crs)
    shapes = shapes[~shapely.is_missing(shapes)]
    areas = np.isin(shapely.get_type_id(shapes), (3, 6))
    lines = np.concatenate([shapes[~areas], shapely.boundary(shapes[areas])])
    made = areas_of_lines(lines)
    said = [f"the shoreline is the contour of 0 of {found.name}"]
    if made.closed_m:
        said.append(
            f"{how_many(len(made.closed_m), 'gap')} in it closed: {', '.join(f'{g:.3g} m' for g in made.closed_m[:8])}"
        )
    return made.areas, said


def _of_raster(found: FoundLayer, crs: Any, pool_m: float | None) -> tuple[Geometries, list[str]]:
    import pyproj

    assert found.grid is not None
    go = pyproj.Transformer.from_crs(system_of(found), crs, always_xy=True)
    box = go.transform_bounds(*extent_of(found.grid), densify_pts=21)
    surface = warped(found.grid, crs, box)
    depth = in_depth(found, surface.depth_m, pool_m)
    land = bool((depth < 0).any())
    parts = _by_level(surface, depth) if land else _by_cells(surface, np.isfinite(depth) & (depth > 0))
    least = _LEAST_CELLS * surface.cell_x_m * surface.cell_y_m
    parts = parts[shapely.area(parts) > least]
    return parts, [
        "the shoreline is that of the raster at normal pool"
        if land
        else "the shoreline is the edge of the raster"
    ]


def _by_level(surface: DepthSurface, depth: Any) -> Geometries:
    """Draw the line of depth 0 through a raster that knows the land."""
    import contourpy

    tracer = contourpy.contour_generator(
        surface.xs, surface.ys, np.ma.masked_invalid(depth), fill_type=contourpy.FillType.OuterOffset
    )
    filled: Any = tracer.filled(0.0, 1.0e9)
    rings = zip(*filled, strict=True)
    made = [
        shapely.Polygon(p[o[0] : o[1]], [p[a:b] for a, b in itertools.pairwise(o[1:])])
        for p, o in rings
        if o[1] - o[0] > 3
    ]
    valid = shapely.get_parts(shapely.make_valid(np.array(made, dtype=object)))
    parts = shapely.get_parts(valid)
    found: Geometries = parts[shapely.get_type_id(parts) == 3]
    return found


def _by_cells(surface: DepthSurface, wet: Any) -> Geometries:
    """Draw the edge of the known cells."""
    from rasterio import Affine
    from rasterio.features import shapes

    at = Affine(surface.cell_x_m, 0.0, surface.west_m, 0.0, -surface.cell_y_m, surface.north_m)
    found = [
        shapely.geometry.shape(shape) for shape, _ in shapes(wet.astype(np.uint8), mask=wet, transform=at)
    ]
    made: Geometries = np.array(found, dtype=object)
    return made


def shore_from_depths(
    founds: Sequence[FoundLayer],
    crs: Any,
    pool_m: float | None,
    *,
    name: str,
    water: str,
    questions: Questions,
) -> PickedLake | None:
    """Find the lake's outline in its depths; None where none can be found, or a question was asked."""
    every = (
        [(f, _of_areas(f, crs)) for f in founds if f.role == "depth-areas"]
        + [
            (f, _of_contours(f, crs, pool_m))
            for f in founds
            if f.role == "contours" and f.numbers is not None
        ]
        + [(f, _of_raster(f, crs, pool_m)) for f in founds if f.role == "raster"]
    )
    for found, (parts, said) in every:
        if not len(parts):
            continue
        waters = Waters(found, np.asarray(parts, dtype=object), [""] * len(parts))
        data = evidence(
            [f for f in founds if f is not found or f.role != "contours"], crs, ("contours", "soundings")
        )
        if not len(data):
            data = _spread(waters.shapes)
        lake = pick_from(waters, data, evidence(founds, crs, ("ramps", "spots")), name, water, questions)
        if lake is not None:
            lake.why = [*said, *lake.why]
            without_islands(lake, founds, crs)
            return lake
        return None
    names = ", ".join(f.name for f in founds)
    questions.ask(
        names, "which file holds the shoreline? None does, and no contour of 0.", "--as FILE=shoreline"
    )
    return None


def _spread(shapes: Geometries) -> Geometries:
    """Stand points in each area, as many as it is large: where nothing else tells, the largest is meant."""
    share = shapely.area(shapes) / shapely.area(shapes).sum()
    points: list[Any] = []
    for shape, part in zip(shapes, share, strict=True):
        points += [shapely.point_on_surface(shape)] * int(np.ceil(1000 * part))
    found: Geometries = np.array(points, dtype=object)
    return found
