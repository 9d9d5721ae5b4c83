"""Ramps and known hazards named on a command line as a list of points, where no shoreline tells the metres meant."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ..errors import UsageError

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from ..intake.book.lake_extent import LakeExtent
    from ..sources import SourceTable

LISTED: Final = ("ramps", "known_hazards")
_ALWAYS: Final = frozenset((".csv", ".tsv", ".txt", ".gpx", ".kml", ".kmz", ".xlsx", ".ods"))
_LARGEST_LAKE_M: Final = 60_000.0


def is_listed(layer: str, given: Any) -> bool:
    """Tell whether an input of that layer's name is given as a list of points that no driver of layers opens."""
    return layer in LISTED and isinstance(given, str) and Path(given).suffix.lower() in _ALWAYS


def _extent(table: SourceTable, crs: str | None) -> LakeExtent:
    """Take the country round the first row that has a place, in the metres asked for or those of its UTM zone."""
    import numpy as np
    import pyproj
    import shapely

    from ..intake.book.lake_extent import LakeExtent
    from ..sources.columns import find_roles
    from ..sources.coordinates import read_angles, read_pairs

    roles = find_roles([str(c) for c in table.rows.columns], {})
    lat: list[float] = []
    lon: list[float] = []
    if table.geometry is not None and table.crs is not None:
        there = table.geometry[~(shapely.is_missing(table.geometry) | shapely.is_empty(table.geometry))]
        move = pyproj.Transformer.from_crs(table.crs, "OGC:CRS84", always_xy=True)
        middle = shapely.get_coordinates(shapely.centroid(there))
        lon, lat = (list(map(float, v)) for v in move.transform(middle[:, 0], middle[:, 1]))
    elif roles.one("latitude") and roles.one("longitude"):
        lat = [a.degrees for a in read_angles(table.rows[roles.one("latitude")].tolist())]
        lon = [a.degrees for a in read_angles(table.rows[roles.one("longitude")].tolist())]
    elif roles.one("position"):
        pairs = read_pairs(table.rows[roles.one("position")].tolist())
        lat, lon = [a.degrees for a, _ in pairs], [b.degrees for _, b in pairs]
    both = np.array([lat, lon], dtype=float).reshape(2, -1)
    fit = np.isfinite(both).all(axis=0) & (np.abs(both[0]) <= 84.0) & (np.abs(both[1]) <= 180.0)
    if not fit.any():
        raise UsageError(
            f"{table.name} has no places in degrees that can be read; it has the columns "
            f"{', '.join(map(str, table.rows.columns)) or 'none'}. Name latitude and longitude so, or name the list in "
            "a day file, whose shoreline tells where the lake lies."
        )
    north, east = (float(np.median(row[fit])) for row in both)
    zone = int((east + 180.0) // 6.0) % 60 + 1
    system = pyproj.CRS.from_user_input(crs or f"EPSG:{(32600 if north >= 0 else 32700) + zone}")
    x, y = pyproj.Transformer.from_crs("OGC:CRS84", system, always_xy=True).transform(east, north)
    return LakeExtent(system, (x, y, x, y), _LARGEST_LAKE_M)


def read_listed(layer: str, given: str, crs: str | None) -> GeoDataFrame:
    """Read ramps or known hazards from a list of points.

    Raises
    ------
    CastshedError
        It cannot be read, or has no places in degrees.
    """
    from ..intake.book.listed_marks import hazards_of, ramps_of
    from ..sources import read_source

    table = read_source(given)
    extent = _extent(table, crs)
    return ramps_of(table, extent) if layer == "ramps" else hazards_of(table, extent)
