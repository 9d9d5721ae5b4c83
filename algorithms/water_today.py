"""The lake at today's level: its water, its depth bands, and the ground that has fallen dry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from castshed.toolbox.algorithm import algorithm
from castshed.toolbox.parameters import (
    Depth,
    DepthBands,
    DryGround,
    Lengths,
    Shoreline,
    TodaysLevel,
    Water,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

BANDS_M = (1.524, 3.048, 4.572, 6.096, 9.144, 12.192, 18.288)
"""5, 10, 15, 20, 30, 40 and 60 ft, common practice."""


class WaterToday(NamedTuple):
    """The layers of the lake today."""

    water: Water
    depth_bands: DepthBands
    dry_ground: DryGround


def _polygons(geometry: BaseGeometry) -> list[BaseGeometry]:
    """Take the polygons out of any geometry, the largest first, the same order on every machine."""
    import shapely

    parts = [
        g for g in shapely.get_parts(shapely.get_parts(geometry)) if g.geom_type == "Polygon" and g.area > 0
    ]
    return sorted(parts, key=lambda g: (-round(g.area, 3), g.bounds))


def _areas(
    polygons: list[BaseGeometry], crs: CRS, level_m: float, id_column: str | None = None
) -> GeoDataFrame:
    import geopandas

    columns: dict[str, list[object]] = {}
    if id_column:
        columns[id_column] = [f"water-{number}" for number in range(1, len(polygons) + 1)]
    columns["area_m2"] = [float(g.area) for g in polygons]
    frame = geopandas.GeoDataFrame(columns, geometry=polygons, crs=crs)
    frame["area_m2"] = frame["area_m2"].astype(float)
    frame["level_m"] = [float(level_m)] * len(frame)
    frame["level_m"] = frame["level_m"].astype(float)
    return frame[[*(c for c in frame.columns if c != "geometry"), "geometry"]]


def _limits(bands_m: Lengths) -> list[float]:
    from itertools import pairwise

    from castshed.toolbox.errors import UsageError

    limits = [float(limit) for limit in bands_m]
    if any(limit <= 0 for limit in limits) or any(b <= a for a, b in pairwise(limits)):
        given = ", ".join(f"{limit:g} m" for limit in limits)
        raise UsageError(
            f"bands are {given}; give today's depths above 0 from the least to the greatest, each once, "
            "such as 5ft 10ft 20ft."
        )
    return limits


@algorithm(
    step="water",
    example="castshed water-today demo_layers/reservoir.gpkg:depth "
    "demo_layers/reservoir.gpkg:shoreline --level -4ft --out my.gpkg",
)
def water_today(
    depth: Depth, shoreline: Shoreline, *, level_m: TodaysLevel = 0.0, bands_m: Lengths = BANDS_M
) -> WaterToday:
    """Draw the lake at today's level: water, depth bands and dry ground.

    Below chart datum the water ends where the depth coverage runs dry, inside the shoreline. Above it the water
    goes on beyond the shoreline as far as the coverage knows the land and the new water joins the old; where the
    land is not known, the water ends at the shoreline; the rim of one cell that a depth surface has there is no land
    that is known. The edge is drawn on the safe side: no point of the water is
    dry by the coverage, while a narrow strip along the edge may be wet and not drawn.

    Water whose depth is not known stays water but lies in no band; shallow-hazards marks it.

    Parameters
    ----------
    depth
        Depth below chart datum, land negative where it is known.
    shoreline
        Water's edge at chart datum, islands as holes.
    bands_m
        Limits between depth bands, in today's depth, from the least to the greatest. The first band begins at the
        water's edge, the last has no lower limit.

    Returns
    -------
    WaterToday
        water (water_id, area_m2, level_m: today's), the largest first; depth_bands (from_m, to_m; to_m of the last is
        empty); dry_ground (area_m2, level_m): ground inside the shoreline that is dry today; pieces smaller than a
        cell, such as crumbs along the shoreline, are in neither water nor dry ground.

    Raises
    ------
    NoSolution
        The lake is dry at this level.
    DataError
        The coverage and the shoreline lie in different places, or it holds no depths below chart datum.

    Notes
    -----
    A band's own points are nowhere shallower than its from_m by the coverage; along the limits the shallower band
    is drawn a little too wide, never too narrow. The depth error is not in the bands: it widens hazards.
    """
    import geopandas
    import numpy as np
    import shapely

    from castshed.toolbox.errors import DataError, NoSolution
    from castshed.toolbox.report import note
    from castshed.toolbox.units import in_words
    from castshed.toolbox.water.bottom.barriers import bare_rim
    from castshed.toolbox.water.doubt.depth_doubt import doubt
    from castshed.toolbox.water.level.isobaths import kept_dry_land, kept_unknown_area, shallower_than

    limits = _limits(bands_m)
    crs = depth.crs
    lake = shapely.union_all(shoreline.geometry.to_numpy())
    grid = shapely.box(*depth.bounds)
    known = shapely.difference(grid, kept_unknown_area(depth))
    if not shapely.intersects(lake, known):
        raise DataError(
            "The depth coverage knows no depth anywhere inside the shoreline; check that both are of the same lake "
            "and that their reference systems are stated rightly."
        )
    doubt(depth, lake)
    filled = depth.with_depth(np.where(kept_dry_land(depth, lake), np.float32(0), depth.depth_m))
    dry = shallower_than(filled, -level_m)
    whole = lake
    if level_m > 0:
        rim = bare_rim(depth, lake)
        ground = known
        if rim.any():
            without_rim = depth.with_depth(np.where(rim, np.float32(np.nan), depth.depth_m))
            ground = shapely.difference(grid, kept_unknown_area(without_rim))
        whole = shapely.union(lake, ground)
        if not shapely.covers(ground, shapely.boundary(lake)):
            note(
                f"The level is {in_words(level_m, 'length')} above chart datum, but the coverage does not know the "
                "land along the whole shoreline; there the water ends at the shoreline.",
                stacklevel=2,
            )
    parts = _polygons(shapely.difference(whole, dry))
    if level_m > 0:
        # Hollows behind a bank fill only when the lake reaches them.
        tree = shapely.STRtree(parts)
        reached = set(tree.query(lake, predicate="intersects").tolist())
        parts = [part for number, part in enumerate(parts) if number in reached]
    if not parts:
        raise NoSolution(
            f"No water is left at a level of {in_words(level_m, 'length')}: the deepest charted point is "
            f"{in_words(float(np.nanmax(depth.depth_m)), 'length')} below chart datum. Check the sign of the level "
            "and the datum it refers to."
        )
    water: Any = shapely.multipolygons(parts)
    cell = depth.cell_x_m * depth.cell_y_m
    fallen_dry = [g for g in _polygons(shapely.difference(lake, water)) if g.area >= cell]

    charted = shapely.intersection(water, known)
    if (lost := water.area - charted.area) > 0.01 * water.area:
        note(
            f"No depth is known on {lost / water.area:.0%} of the water; it lies in no depth band, and "
            "shallow-hazards marks it as a hazard.",
            stacklevel=2,
        )
    rows: list[tuple[float, float, BaseGeometry]] = []
    left = charted
    for upper, limit in zip([0.0, *limits], [*limits, np.nan], strict=True):
        band = left
        if np.isfinite(limit):
            shallow = shallower_than(filled, limit - level_m)
            band, left = shapely.intersection(left, shallow), shapely.difference(left, shallow)
        if pieces := _polygons(band):
            joined: Any = shapely.multipolygons(pieces)
            rows.append((upper, limit, joined))
    bands = geopandas.GeoDataFrame(
        {"from_m": np.array([r[0] for r in rows]), "to_m": np.array([r[1] for r in rows])},
        geometry=[r[2] for r in rows],
        crs=crs,
    )
    return WaterToday(_areas(parts, crs, level_m, "water_id"), bands, _areas(fallen_dry, crs, level_m))
