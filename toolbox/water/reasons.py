"""Why a stop cannot be reached, and what would open the way to it, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from .navigation import SafeWater
from .safe_water import areas_of, closed_zones, sound
from .straits import narrowest

if TYPE_CHECKING:
    import geopandas as gpd

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

# An offset takes away at most this many times the clearance: a tenth for the tolerance, then 1.47 at the corners of a
# cut mitre, and a tenth by which the edge itself may have been simplified towards the water.
_MOST = 1.75


@dataclass(frozen=True, eq=False)
class Lake:
    """What safe water was made from: layers ``water``, ``shallow_hazards`` and ``zones``, and the clearance."""

    water: gpd.GeoDataFrame
    hazards: gpd.GeoDataFrame | None
    zones: gpd.GeoDataFrame | None
    clearance_m: float

    def area(self) -> Any:
        """Today's water."""
        return shapely.union_all(areas_of(self.water))

    def thin(self) -> Any:
        """Water too thin even to idle."""
        return shapely.union_all(areas_of(self.hazards, "care", ("idle",)))

    def closed(self) -> Any:
        """Zones no motor boat may enter."""
        return shapely.union_all(closed_zones(self.zones))


def _opening(width_m: float) -> str:
    clearance = math.floor(10.0 * width_m / 2.0 / _MOST) / 10.0
    return f"; a clearance of {clearance:.1f} m may open it" if clearance > 0.0 else ""


def _row_words(frame: gpd.GeoDataFrame | None, column: str, point: Any) -> str:
    """Reasons given in the rows of a layer that hold a point."""
    if frame is None or column not in frame.columns or not len(frame):
        return ""
    rows = frame.loc[shapely.intersects(shapely.make_valid(frame.geometry.to_numpy()), point), column]
    words = [str(word) for word in dict.fromkeys(rows) if isinstance(word, str) and word.strip()]
    return f" ({', '.join(words)})" if words else ""


def _off_words(point: Any, lake: Lake, layers: dict[str, Any]) -> str:
    """Why a point lies outside the water a boat can use."""
    area, thin, closed = layers["shore"], layers["hazard"], layers["closed zone"]
    if area.is_empty:
        return "there is no water today"
    if not shapely.intersects(area, point):
        return f"off today's water, which begins {shapely.distance(area, point):.1f} m away; higher water may reach it"
    if shapely.intersects(closed, point):
        return f"in a closed zone{_row_words(lake.zones, 'reason', point)}"
    if shapely.intersects(thin, point):
        return f"in water too thin even to idle{_row_words(lake.hazards, 'reason', point)}; higher water may open it"
    edges = {"the shore": shapely.boundary(area), "a hazard": thin, "a closed zone": closed}
    near = {name: float(shapely.distance(edge, point)) for name, edge in edges.items() if not edge.is_empty}
    name = min(near, key=lambda key: near[key])
    much = "only " if near[name] < lake.clearance_m else ""
    return (
        f"{much}{near[name]:.1f} m from {name}, where this boat keeps {lake.clearance_m:.1f} m clear"
        + _opening(2.0 * near[name])
    )


def _apart_words(start: Floats, stops: Floats, lake: Lake, layers: dict[str, Any]) -> list[str]:
    """Why stops in usable water are not joined to the start."""
    area, thin, closed = layers["shore"], layers["hazard"], layers["closed zone"]
    open_water = SafeWater.build(sound(shapely.difference(shapely.difference(area, closed), thin))[0])
    part, own = open_water.locate(stops), open_water.locate(start[None])[0]
    limit = 4.0 * _MOST * lake.clearance_m
    straits = (
        narrowest(open_water, start, stops, up_to_m=limit) if lake.clearance_m > 0.0 else [None] * len(stops)
    )
    without_zones = SafeWater.build(sound(shapely.difference(area, thin))[0]).locate([start, *stops])
    whole = SafeWater.build(area).locate([start, *stops])
    words: list[str] = []
    for row, strait in enumerate(straits):
        if part[row] == own and strait is not None:
            words.append(
                f"the widest way from the start leads through a strait {strait.width_m:.1f} m wide (at {strait.x:.0f}, "
                f"{strait.y:.0f}), too narrow to keep {lake.clearance_m:.1f} m clear on both sides"
                + _opening(strait.width_m)
            )
        elif without_zones[row + 1] == without_zones[0]:
            words.append("cut off from the start by a closed zone")
        elif whole[row + 1] == whole[0]:
            words.append("cut off from the start by water too thin even to idle; higher water may open a way")
        else:
            words.append(
                "in another water than the start, not joined to it today; higher water may join them"
            )
    return words


def reasons(
    stops: Floats, reached: NDArray[np.bool_], idling: SafeWater, lake: Lake | None = None
) -> list[str]:
    """Say for each stop why it cannot be reached from stop 0.

    Parameters
    ----------
    stops
        Points (n, 2).
    reached
        Which of them can be reached.
    idling
        The water the boat can use.
    lake
        What that water was made from; without it the words say less.

    Returns
    -------
    list
        One text a stop, empty where it can be reached.

    Notes
    -----
    What is said to open a way is enough for it, seldom the least that would do. Widths are those of today's water
    between hazards and closed zones.
    """
    where = idling.locate(stops)
    found = [""] * len(stops)
    off = np.flatnonzero(where < 0)
    apart = np.flatnonzero((where >= 0) & ~reached)
    layers: dict[str, Any] = {}
    if lake is not None and (len(off) or len(apart)):
        layers = {"shore": lake.area(), "hazard": lake.thin(), "closed zone": lake.closed()}
    points = np.asarray(shapely.points(stops), dtype=object)
    for row in off:
        if lake is not None:
            found[row] = _off_words(points[row], lake, layers)
        elif idling.water.is_empty:
            found[row] = "outside the water this boat can use: there is none"
        else:
            away = float(shapely.distance(idling.water, points[row]))
            found[row] = f"outside the water this boat can use: it begins {away:.1f} m away"
    apart = apart[apart > 0]
    if not len(apart):
        return found
    if where[0] < 0:
        words = [f"the start cannot be used: {found[0]}"] * len(apart)
    elif lake is not None:
        words = _apart_words(stops[0], stops[apart], lake, layers)
    else:
        words = ["in other water: no safe way leads there from the start"] * len(apart)
    for row, text in zip(apart, words, strict=True):
        found[row] = text
    return found
