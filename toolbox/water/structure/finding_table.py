"""The table every finder gives, one row a finding: the same columns, its words, and which bank it belongs to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import shapely

from ...errors import UsageError
from ...units import FOOT_M, compass_point

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import pyproj
    from numpy.typing import ArrayLike

    from ...arrays import Floats, Geometries

    Row = Mapping[str, Any]

NUMBERS = (
    "top_m",
    "base_m",
    "relief_m",
    "slope_deg",
    "length_m",
    "area_m2",
    "deep_bearing_deg",
    "strength",
)


def require_lengths(**lengths: float) -> None:
    """Refuse a threshold that is not a finite number above zero.

    Raises
    ------
    UsageError
        Naming the threshold and what was given.
    """
    for name, value in lengths.items():
        if not (np.isfinite(value) and value > 0):
            raise UsageError(f"{name} is {value}; give a finite number above 0.")


def bearing_deg(east: float, north: float) -> float:
    """Give the bearing of a direction clockwise from grid north, 0 up to 360; NaN for no direction."""
    if not (np.isfinite(east) and np.isfinite(north)) or (east == 0 and north == 0):
        return float("nan")
    bearing = float(np.degrees(np.arctan2(east, north)) % 360.0)
    return 0.0 if bearing >= 360.0 else bearing


def findings(
    kind: str,
    geometry: Sequence[shapely.Geometry],
    crs: pyproj.CRS,
    columns: Mapping[str, ArrayLike],
) -> gpd.GeoDataFrame:
    """Put findings of one kind together, the clearest first.

    Parameters
    ----------
    kind
        What they are.
    geometry
        One shape a finding; none gives an empty table with all columns.
    crs
        Reference system of the shapes.
    columns
        Numbers by column; those of `NUMBERS` that are missing become NaN.
    """
    count = len(geometry)
    numbers = {
        name: np.asarray(columns.get(name, np.full(count, np.nan)), dtype=np.float64).reshape(count)
        for name in NUMBERS
    }
    table = gpd.GeoDataFrame(
        {"kind": np.full(count, kind, dtype=object), **numbers}, geometry=list(geometry), crs=crs
    )
    return table.sort_values("strength", ascending=False, kind="stable", ignore_index=True)


YARD_M: Final = 0.9144
ACRE_M2: Final = 4046.8564224
_HECTARE_M2: Final = 10_000.0
# Common practice: a point is called long from about a hundred yards on, flat below three degrees, steep above eight.
_LONG_M, _SHORT_M = 100 * YARD_M, 35 * YARD_M
_GENTLE_DEG, _STEEP_DEG = 3.0, 8.0


def _known(*values: Any) -> bool:
    return all(isinstance(value, int | float) and math.isfinite(value) for value in values)


def _depth(value_m: float, us: bool) -> str:
    return f"{value_m / FOOT_M:.0f}" if us else f"{value_m:.1f}"


def _depths(low_m: float, high_m: float, us: bool) -> str:
    one, other, unit = _depth(low_m, us), _depth(high_m, us), "ft" if us else "m"
    return f"{one} {unit}" if one == other else f"{one} to {other} {unit}"


def _deep(value_m: float, us: bool) -> str:
    return f"{_depth(value_m, us)} {'ft' if us else 'm'}"


def _run(value_m: float, us: bool) -> str:
    value = value_m / YARD_M if us else value_m
    step = 10.0 if value >= 95.0 else 5.0 if value >= 20.0 else 1.0
    return f"{max(step, round(value / step) * step):.0f} {'yd' if us else 'm'}"


def _area(value_m2: float, us: bool) -> str:
    return f"{value_m2 / ACRE_M2:.2g} acres" if us else f"{value_m2 / _HECTARE_M2:.2g} ha"


def _side(row: Row) -> str:
    bearing = row["deep_bearing_deg"]
    return f", deep side {compass_point(bearing)}" if _known(bearing) else ""


def _hump(row: Row, us: bool) -> str:
    return f"hump, {_deep(row['top_m'], us)} at the top, rises {_deep(row['relief_m'], us)}"


def _saddle(row: Row, us: bool) -> str:
    return f"saddle at {_deep(row['top_m'], us)} between two rises"


def _point(row: Row, us: bool) -> str:
    length, slope = row["length_m"], row["slope_deg"]
    size = "long " if _known(length) and length >= _LONG_M else ""
    size = "short " if _known(length) and length < _SHORT_M else size
    lie = "flat " if _known(slope) and slope < _GENTLE_DEG else ""
    lie = "steep " if _known(slope) and slope > _STEEP_DEG else lie
    over = f" over {_run(length, us)}" if _known(length) else ""
    return f"{size}{lie}point, {_depths(row['top_m'], row['base_m'], us)}{over}"


def _pocket(row: Row, us: bool) -> str:
    return f"pocket in the bank, {_depths(row['top_m'], row['base_m'], us)}"


def _ledge(row: Row, us: bool) -> str:
    words = f"ledge, {_depths(row['top_m'], row['base_m'], us)}"
    slope = row["slope_deg"]
    if _known(slope, row["relief_m"]) and slope > 0.0:
        words += f" in {_run(row['relief_m'] / math.tan(math.radians(min(slope, 89.0))), us)}"
    return words + (f", {_run(row['length_m'], us)} long" if _known(row["length_m"]) else "")


def _flat(row: Row, us: bool) -> str:
    return f"flat of {_area(row['area_m2'], us)}, {_depths(row['top_m'], row['base_m'], us)}"


def _bluff(row: Row, us: bool) -> str:
    words = f"bluff bank, {_deep(row['base_m'], us)} close in"
    return words + (f", {_run(row['length_m'], us)} long" if _known(row["length_m"]) else "")


def _channel_bend(row: Row, us: bool) -> str:
    words = f"channel bend, {_deep(row['base_m'], us)} deep"
    return words + (f", cut {_deep(row['relief_m'], us)}" if _known(row["relief_m"]) else "")


_WORDS: Final[dict[str, Callable[[Row, bool], str]]] = {
    "hump": _hump,
    "saddle": _saddle,
    "point": _point,
    "pocket": _pocket,
    "ledge": _ledge,
    "flat": _flat,
    "bluff": _bluff,
    "channel_bend": _channel_bend,
}


def described(row: Row, *, us: bool) -> str:
    """Describe a finding.

    Parameters
    ----------
    row
        A finding with the columns of `frame.NUMBERS`, ``kind`` and, if echoes were put to it, ``echoes``.
    us
        Feet, yards and acres; else metres and hectares.

    Examples
    --------
    >>> row = dict(kind="point", top_m=2.74, base_m=6.4, relief_m=3.66, slope_deg=1.6, length_m=128.0,
    ...            area_m2=float("nan"), deep_bearing_deg=225.0)
    >>> described(row, us=True)
    'long flat point, 9 to 21 ft over 140 yd, deep side SW'
    """
    words = _WORDS[row["kind"]](row, us) + _side(row)
    echo = row.get("echoes", "")
    kinds = [part.split(",")[0] for part in echo.split("; ")] if echo else []
    return words + (f", with a {' and a '.join(dict.fromkeys(kinds))}" if kinds else "")


_ALONG_M = 2.0


def nearest_banks(shapes: Geometries, deep_bearing_deg: Floats, water: Any) -> tuple[Geometries, Floats]:
    """Name the bank nearest to each shape, and tell how far off it is.

    Parameters
    ----------
    shapes
        Geometries.
    deep_bearing_deg
        Bearing of each to deep water, NaN where it has none.
    water
        Today's water, Polygon or MultiPolygon, its holes islands; or None.

    Returns
    -------
    names, distance_m
        ``N bank`` where the nearest shore lies to the north; ``island, N side`` where it is an island's and the
        shape lies north of it. Empty text and NaN where there is no water.
    """
    count = len(shapes)
    names, distance = np.full(count, "", dtype=object), np.full(count, np.nan)
    if water is None:
        return names, distance
    polygons = shapely.get_parts(water)
    rings = shapely.get_rings(polygons)
    if not count or not len(rings):
        return names, distance
    outer = np.zeros(len(rings), dtype=bool)
    outer[np.cumsum([0, *(shapely.get_num_interior_rings(polygons[:-1]) + 1)])] = True
    (at, ring), found = shapely.STRtree(rings).query_nearest(shapes, return_distance=True, all_matches=False)
    distance[at] = found
    link = shapely.get_coordinates(shapely.shortest_line(shapes[at], rings[ring])).reshape(-1, 2, 2)
    east, north = (link[:, 1] - link[:, 0]).T
    toward = np.degrees(np.arctan2(east, north)) % 360.0
    # What lies along the edge itself has land where its deep side is not.
    along = (found < _ALONG_M) & np.isfinite(deep_bearing_deg[at])
    bearing = np.where(along, (deep_bearing_deg[at] + 180.0) % 360.0, toward)
    for row, own, where in zip(at.tolist(), outer[ring].tolist(), bearing.tolist(), strict=True):
        names[row] = (
            f"{compass_point(where)} bank"
            if own
            else f"island, {compass_point((where + 180.0) % 360.0)} side"
        )
    return names, distance
