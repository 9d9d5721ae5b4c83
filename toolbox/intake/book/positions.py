"""Where the rows of a source lie: from its geometry, or from its columns of coordinates, whichever it has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import CrsError, UsageError
from ...sources.coordinates import Angle, read_angles, read_pairs
from .metric_pairs import place_metric, read_metres, read_metric_pair
from .placing import Placement, Trust, place, place_in_metres

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pyproj

    from ...arrays import Floats, Geometries
    from ...sources.columns import Roles
    from ...sources.source_table import SourceTable
    from .lake_extent import LakeExtent

# Roles that say where a row lies; the first pair that is complete is read.
PLACING_PAIRS: Final = (("latitude", "longitude"), ("position",), ("easting", "northing"))
PLACING: Final = (*(role for pair in PLACING_PAIRS for role in pair), "zone")
_DEGREE_M: Final = 111_320.0  # one degree of a great circle on a sphere of 6 378 137 m, rounded
_SURELY_METRES: Final = 1000.0


@dataclass(frozen=True)
class Positions:
    """Rows on the lake, and how far rounding of the text alone may have moved each."""

    geometry: Geometries
    rounding_m: Floats
    remark: list[str]
    reason: list[str]


def _empty_shapes(n: int) -> Geometries:
    return np.full(n, None, dtype=object)


def _transform(shapes: Geometries, source: pyproj.CRS, target: Any) -> Geometries:
    import pyproj

    move = pyproj.Transformer.from_crs(source, target, always_xy=True)
    moved: Geometries = shapely.transform(
        shapes, lambda points: np.column_stack(move.transform(points[:, 0], points[:, 1]))
    )
    return moved


def _from_geometry(table: SourceTable, shapes: Geometries, lake: LakeExtent) -> Placement:
    import pyproj

    if table.crs is None:
        raise CrsError(
            f"{table.name} has geometry but no coordinate reference system; write it again with one, "
            "or give it as a table with columns of latitude and longitude."
        )
    crs = pyproj.CRS.from_user_input(table.crs)
    shapes = shapely.force_2d(shapes)
    shapes[shapely.is_empty(shapes)] = None
    if not crs.is_geographic:
        return place_in_metres(shapes if crs == lake.crs else _transform(shapes, crs, lake.crs), lake)
    if crs.to_2d() != pyproj.CRS("EPSG:4326") and crs.to_2d() != pyproj.CRS("OGC:CRS84"):
        shapes = _transform(shapes, crs, "OGC:CRS84")
    free = np.ones(len(shapes), dtype=bool)
    return place(shapes, Trust(free, free, free, ~free), lake)


def _rounding(angles: Sequence[Angle]) -> Floats:
    """Half a last figure in degrees; a decimal degree one figure short has lost its last zero in a spreadsheet."""
    half = np.array([a.half_digit_deg for a in angles], dtype=float)
    plain = np.array([a.pieces == 1 for a in angles], dtype=bool)
    if plain.any():
        finest = half[plain].min()
        half[plain & (half < finest * 50.0)] = finest
    return half


def _from_angles(lats: Sequence[Angle], lons: Sequence[Angle], lake: LakeExtent) -> Positions:
    n = len(lats)
    turned = np.array(
        [a.axis == "lon" or b.axis == "lat" for a, b in zip(lats, lons, strict=True)], dtype=bool
    )
    clash = np.array([a.axis != "" and a.axis == b.axis for a, b in zip(lats, lons, strict=True)], dtype=bool)
    pairs = [(b, a) if t else (a, b) for a, b, t in zip(lats, lons, turned, strict=True)]
    lat = np.array([a.degrees for a, _ in pairs], dtype=float)
    lon = np.array([b.degrees for _, b in pairs], dtype=float)
    fault = [a.fault or b.fault for a, b in pairs]
    read = ~np.isnan(lat) & ~np.isnan(lon) & ~clash
    shapes = _empty_shapes(n)
    shapes[read] = shapely.points(lon[read], lat[read])
    bare = np.array([a.axis == "" and b.axis == "" for a, b in pairs], dtype=bool)
    plain = np.array([a.pieces == 1 and b.pieces == 1 for a, b in pairs], dtype=bool)
    with np.errstate(invalid="ignore"):
        beyond = (np.abs(lat) > 90.0) | (np.abs(lon) > 180.0)
        metric = (np.abs(lat) > _SURELY_METRES) & (np.abs(lon) > _SURELY_METRES)
    trust = Trust(
        np.array([a.sign_open for a, _ in pairs], dtype=bool),
        np.array([b.sign_open for _, b in pairs], dtype=bool),
        bare,
        bare & plain & beyond,
    )
    placed = place(shapes, trust, lake)
    geometry, remark, reason = placed.geometry, list(placed.remark), list(placed.reason)
    for i in np.flatnonzero(turned & ~clash & read).tolist():
        remark[i] = ", ".join(
            filter(None, ("latitude and longitude swapped, as their letters say", remark[i]))
        )
    maybe = np.flatnonzero(bare & plain & metric & shapely.is_missing(geometry))
    metres = np.zeros(n, dtype=bool)
    if maybe.size:
        there = place_metric(lon[maybe].tolist(), lat[maybe].tolist(), [""] * maybe.size, lake)
        for i, shape, said in zip(maybe.tolist(), there.geometry, there.remark, strict=True):
            if shape is not None:
                geometry[i], reason[i], metres[i] = shape, "", True
                remark[i] = ", ".join(filter(None, (f"x and y read as metres of {lake.crs.name}", said)))
                if said.startswith("read as"):
                    remark[i] = f"x and y {said}"
    for i in range(n):
        if fault[i]:
            reason[i] = f"its position cannot be read: {fault[i]}"
        elif clash[i]:
            reason[i] = "its position cannot be read: both coordinates are of one axis"
    shrink = np.cos(np.radians(np.clip(np.nan_to_num(lake.centre_deg[1]), -89.0, 89.0)))
    rounding = _DEGREE_M * np.hypot(
        _rounding([a for a, _ in pairs]), _rounding([b for _, b in pairs]) * shrink
    )
    rounding[metres] = 0.5
    return Positions(geometry, rounding, remark, reason)


def _from_metres(
    east: Sequence[str], north: Sequence[str], zone: Sequence[str], lake: LakeExtent, crs: str | None
) -> Positions:
    placed = place_metric([read_metres(e) for e in east], [read_metres(n) for n in north], zone, lake, crs)
    return Positions(placed.geometry, np.full(len(east), 0.5), placed.remark, placed.reason)


def _from_pairs(texts: Sequence[str], lake: LakeExtent, crs: str | None) -> Positions:
    """Read cells that hold both: a pair of metres as that, all others as angles."""
    pairs = read_pairs(texts)
    result = _from_angles([a for a, _ in pairs], [b for _, b in pairs], lake)
    tried = [read_metric_pair(text) for text in texts]
    rows = [i for i, pair in enumerate(tried) if pair is not None]
    if not rows:
        return result
    known = [pair for pair in tried if pair is not None]
    there = place_metric([p[0] for p in known], [p[1] for p in known], [p[2] for p in known], lake, crs)
    for i, shape, said, why in zip(rows, there.geometry, there.remark, there.reason, strict=True):
        result.geometry[i], result.remark[i], result.reason[i] = shape, said, why
        result.rounding_m[i] = 0.5
    return result


def _written(table: SourceTable, names: Sequence[str]) -> list[str]:
    cells = [table.rows[name].tolist() for name in names]
    return [", ".join(cell for cell in row if cell) for row in zip(*cells, strict=True)]


def find_positions(table: SourceTable, roles: Roles, lake: LakeExtent, crs: str | None = None) -> Positions:
    """Place the rows of one source.

    Parameters
    ----------
    table
        The source. Its geometry goes before its columns; a row without geometry falls back on the columns.
    roles
        Which columns hold coordinates: ``latitude`` and ``longitude``, ``position`` (both in one cell), or ``easting``
        and ``northing`` in the lake's own reference system, or in a UTM zone. Degrees are taken as WGS84.
    lake
        The box to land in.
    crs
        System of eastings and northings, where the user said so.

    Raises
    ------
    UsageError
        The source has neither geometry nor columns of coordinates.
    CrsError
        It has geometry without a reference system.
    """
    n = len(table)
    columns: list[str] = []
    result: Positions | None = None
    if roles.one("latitude") and roles.one("longitude"):
        columns = [str(roles.one("latitude")), str(roles.one("longitude"))]
        lats, lons = (read_angles(table.rows[c].tolist()) for c in columns)
        result = _from_angles(lats, lons, lake)
    elif roles.one("position"):
        columns = [str(roles.one("position"))]
        result = _from_pairs(table.rows[columns[0]].tolist(), lake, crs)
    elif roles.one("easting") and roles.one("northing"):
        columns = [str(roles.one("easting")), str(roles.one("northing"))]
        zone = roles.one("zone")
        zones = table.rows[zone].tolist() if zone else [""] * n
        east, north = (table.rows[c].tolist() for c in columns)
        result = _from_metres(east, north, zones, lake, crs)
    if result is not None:
        written = _written(table, columns)
        remark = [
            f"{said} (written: {w})" if said else "" for said, w in zip(result.remark, written, strict=True)
        ]
        reason = [
            "" if not why else why if w else "it has no position"
            for why, w in zip(result.reason, written, strict=True)
        ]
        result = Positions(result.geometry, result.rounding_m, remark, reason)
    if table.geometry is not None:
        drawn = _from_geometry(table, table.geometry.copy(), lake)
        if result is None:
            return Positions(drawn.geometry, np.zeros(n), drawn.remark, drawn.reason)
        bare = shapely.is_missing(table.geometry) | shapely.is_empty(table.geometry)
        return Positions(
            np.where(bare, result.geometry, drawn.geometry),
            np.where(bare, result.rounding_m, 0.0),
            [a if b else c for a, b, c in zip(result.remark, bare, drawn.remark, strict=True)],
            [a if b else c for a, b, c in zip(result.reason, bare, drawn.reason, strict=True)],
        )
    if result is None:
        if n == 0:
            return Positions(_empty_shapes(0), np.zeros(0), [], [])
        raise UsageError(
            f"{table.name}: no columns of coordinates were found among {', '.join(map(str, table.rows.columns))}. "
            "Name them: columns latitude='Y' longitude='X', or position='Coordinates' where one cell holds both."
        )
    return result
