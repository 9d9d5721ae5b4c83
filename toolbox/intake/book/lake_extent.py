"""The box a lake fills, in its own metres and in degrees: where a row must land to be believed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pyproj
    from geopandas import GeoDataFrame

    from ...arrays import Flags, Floats, Geometries


@dataclass(frozen=True, eq=False)
class LakeExtent:
    """Bounding box of a shoreline."""

    crs: pyproj.CRS  # the shoreline's reference system, projected, in metres
    box: tuple[float, float, float, float]  # west, south, east, north in metres
    margin_m: float  # how far outside the box a row may lie and still be kept

    @classmethod
    def of(cls, shoreline: GeoDataFrame, margin_m: float) -> LakeExtent:
        """Take the box of a shoreline layer."""
        west, south, east, north = (float(v) for v in shoreline.total_bounds)
        return cls(shoreline.crs, (west, south, east, north), margin_m)

    @cached_property
    def _from_degrees(self) -> Any:
        import pyproj

        return pyproj.Transformer.from_crs("OGC:CRS84", self.crs, always_xy=True)

    @cached_property
    def degrees(self) -> tuple[float, float, float, float]:
        """Box with its margin in WGS84 degrees: west, south, east, north; east passes 180 rather than wrap."""
        west, south, east, north = self.box
        pad = self.margin_m + 1.0
        w, s, e, n = self._from_degrees.transform_bounds(
            west - pad, south - pad, east + pad, north + pad, direction="INVERSE", densify_pts=21
        )
        return float(w), float(s), float(e if e >= w else e + 360.0), float(n)

    @property
    def centre_deg(self) -> tuple[float, float]:
        """Longitude and latitude of the middle of the box."""
        west, south, east, north = self.degrees
        return 0.5 * (west + east), 0.5 * (south + north)

    def holds(self, shapes: Geometries, *, margin: bool) -> Flags:
        """Whether each geometry, in the lake's metres, lies wholly in the box, with or without its margin."""
        import numpy as np
        import shapely

        west, south, east, north = self.box
        pad = self.margin_m if margin else 0.0
        edges = shapely.bounds(shapes)
        with np.errstate(invalid="ignore"):
            inside: Flags = (
                (edges[:, 0] >= west - pad)
                & (edges[:, 1] >= south - pad)
                & (edges[:, 2] <= east + pad)
                & (edges[:, 3] <= north + pad)
            )
        return inside

    def land(self, shapes: Geometries) -> Geometries:
        """Bring geometries in WGS84 degrees into the lake's metres; None where one lies outside the box and margin."""
        import numpy as np
        import shapely

        west, south, east, north = self.degrees
        middle = 0.5 * (west + east)

        def wrapped(points: Floats) -> Floats:
            turned = points.copy()
            far = (np.abs(points[:, 0] - middle) > 180.0) & np.isfinite(points[:, 0])
            turned[far, 0] = (points[far, 0] - middle + 180.0) % 360.0 - 180.0 + middle
            return turned

        landed = np.full(len(shapes), None, dtype=object)
        usable = np.flatnonzero(~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))
        if usable.size == 0:
            return landed
        near = shapely.transform(shapes[usable], wrapped)
        edges = shapely.bounds(near)
        # Degrees first: a projection far from its zone may hand back any number at all.
        hit = (edges[:, 0] >= west) & (edges[:, 1] >= south) & (edges[:, 2] <= east) & (edges[:, 3] <= north)
        if not hit.any():
            return landed

        def to_metres(points: Floats) -> Floats:
            return np.column_stack(self._from_degrees.transform(points[:, 0], points[:, 1]))

        there = shapely.transform(near[hit], to_metres)
        inside = self.holds(there, margin=True)
        landed[usable[hit][inside]] = there[inside]
        return landed

    def distance_km(self, lon_deg: float, lat_deg: float) -> float:
        """Geodesic distance from a position in degrees to the middle of the lake."""
        import pyproj

        lon, lat = self.centre_deg
        return float(pyproj.Geod(ellps="WGS84").inv(lon_deg, lat_deg, lon, lat)[2]) / 1000.0
