"""Put rows on the lake. A lost minus sign or swapped columns are repaired when one repair alone lands there.

The box a lake fills, in its own metres and in degrees: where a row must land to be believed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

if TYPE_CHECKING:
    import pyproj
    from geopandas import GeoDataFrame

    from ...arrays import Flags, Floats, Geometries

_SAME_PLACE_M: Final = 0.01


@dataclass(frozen=True)
class Repair:
    """One way in which a pair of numbers may have gone wrong on paper."""

    swap: bool = False
    lat_sign: bool = False
    lon_sign: bool = False
    run_together: bool = False

    def applied(self, shapes: Geometries) -> Geometries:
        """Apply it to every coordinate (x = longitude, y = latitude)."""

        def change(points: Floats) -> Floats:
            x, y = (points[:, 1], points[:, 0]) if self.swap else (points[:, 0], points[:, 1])
            if self.run_together:
                x, y = _from_run_together(x), _from_run_together(y)
            return np.column_stack((-x if self.lon_sign else x, -y if self.lat_sign else y))

        repaired: Geometries = shapely.transform(shapes, change)
        return repaired

    def words(self, shape: shapely.Geometry) -> str:
        """Say what it does to this geometry as it stood before."""
        x, y = shapely.get_coordinates(shape)[0]
        x, y = (y, x) if self.swap else (x, y)
        said = ["latitude and longitude swapped"] if self.swap else []
        if self.run_together:
            said.append("degrees and minutes were run together")
        for changed, value, axis in ((self.lat_sign, y, "latitude"), (self.lon_sign, x, "longitude")):
            if changed:
                said.append(f"minus sign {'added to' if value > 0 else 'taken off'} the {axis}")
        return ", ".join(said)


def _from_run_together(value: Floats) -> Floats:
    """Read ddmm.mmm (the form of NMEA 0183 sentences) as degrees; NaN where the minutes reach 60."""
    size = np.abs(value)
    minutes = size % 100.0
    degrees = np.sign(value) * (np.floor(size / 100.0) + minutes / 60.0)
    return np.where(minutes < 60.0, degrees, np.nan)


_SIGNS: Final = ((False, False), (False, True), (True, False), (True, True))
REPAIRS: Final = tuple(
    Repair(swap, lat, lon, together)
    for together in (False, True)
    for swap in (False, True)
    for lat, lon in _SIGNS
    if swap or lat or lon or together
)


@dataclass(frozen=True)
class Trust:
    """What the text of each row leaves open; True where a repair may touch it."""

    lat_sign: Flags
    lon_sign: Flags
    order: Flags
    run_together: Flags

    def allows(self, repair: Repair) -> Flags:
        """Rows on which the repair may be tried."""
        free = np.ones(len(self.order), dtype=bool)
        for wanted, open_ in (
            (repair.swap, self.order),
            (repair.lat_sign, self.lat_sign),
            (repair.lon_sign, self.lon_sign),
            (repair.run_together, self.run_together),
        ):
            if wanted:
                free &= open_
        return free


@dataclass(frozen=True)
class Placement:
    """Where rows ended: geometry in the lake's metres (None where none), what was repaired, why a row has no place."""

    geometry: Geometries
    remark: list[str]
    reason: list[str]


def _where(shape: shapely.Geometry, lake: LakeExtent) -> str:
    """Say where a geometry in degrees lies, seen from the lake."""
    points = shapely.get_coordinates(shape)
    if points.size == 0:
        return "it has no position"
    lon, lat = points[0]
    if not (np.isfinite(lon) and np.isfinite(lat)):
        return "its position is not a number"
    if abs(lat) > 90.0:
        return f"latitude {lat:.6g} is beyond 90 degrees"
    if abs(lon) > 360.0:
        return f"longitude {lon:.6g} is beyond 180 degrees"
    return f"{lat:.5f}, {lon:.5f} lies {lake.distance_km(lon, lat):,.0f} km from the middle of the lake"


def place(shapes: Geometries, trust: Trust, lake: LakeExtent) -> Placement:
    """Place geometries given in WGS84 degrees on the lake.

    Parameters
    ----------
    shapes
        Geometries, x = longitude; None where a row has none.
    trust
        What each row leaves open.
    lake
        The box the rows must land in.

    Returns
    -------
    A row that lands as written is taken as written. Any other is repaired when exactly one repair lands in the
    box with its margin, and lands in the box itself; else it has no geometry, and a reason.

    Notes
    -----
    What makes the result wrong: a lake whose box is its own mirror image across the equator, the Greenwich meridian
    or the diagonal cannot show a lost sign or a swap; an error of another kind that lands in the box is not seen.
    """
    n = len(shapes)
    geometry = lake.land(shapes)
    remark, reason = [""] * n, [""] * n
    bare = shapely.is_missing(shapes)
    lost = np.flatnonzero(shapely.is_missing(geometry) & ~bare)
    hits: dict[int, list[tuple[Repair, shapely.Geometry]]] = {int(i): [] for i in lost}
    for repair in REPAIRS:
        tried = lost[trust.allows(repair)[lost]]
        if tried.size == 0:
            continue
        landed = lake.land(repair.applied(shapes[tried]))
        for i in np.flatnonzero(~shapely.is_missing(landed)).tolist():
            found = hits[int(tried[i])]
            if not any(shapely.hausdorff_distance(landed[i], other) < _SAME_PLACE_M for _, other in found):
                found.append((repair, landed[i]))
    for i, found in hits.items():
        strict = [lake.holds(np.array([shape], dtype=object), margin=False)[0] for _, shape in found]
        if len(found) == 1 and strict[0]:
            repair, geometry[i] = found[0]
            remark[i] = repair.words(shapes[i])
            continue
        where = _where(shapes[i], lake)
        if len(found) > 1:
            ways = "; or ".join(repair.words(shapes[i]) for repair, _ in found)
            reason[i] = f"{where}; more than one repair would land on it ({ways}): correct the row by hand"
        elif found:
            reason[i] = f"{where}; one repair comes near it but not onto it ({found[0][0].words(shapes[i])})"
        else:
            reason[i] = f"{where}; no change of sign or order brings it there"
    for i in np.flatnonzero(bare).tolist():
        reason[i] = "it has no position"
    return Placement(geometry, remark, reason)


def place_in_metres(shapes: Geometries, lake: LakeExtent) -> Placement:
    """Place geometries that are already in the lake's metres; nothing is repaired."""
    geometry = np.full(len(shapes), None, dtype=object)
    usable = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    inside = usable.copy()
    inside[usable] = lake.holds(shapes[usable], margin=True)
    geometry[inside] = shapes[inside]
    reason = [
        ""
        if ok
        else "it has no position"
        if not has
        else f"it lies more than {lake.margin_m:.0f} m outside the lake's box"
        for ok, has in zip(inside, usable, strict=True)
    ]
    return Placement(geometry, [""] * len(shapes), reason)


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
