"""Why a stop cannot be reached, and what would open the way to it, in words.

What would open a way to a stop that cannot be reached: a smaller clearance, or more water.

Which connected water places lie in, told from its polygons alone.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...arrays import Flags, Floats, Ints
from ...units import in_words
from .bottlenecks import narrowest, sills
from .kept_water import kept_mesh
from .mesh import polygon_parts
from .safe_water import shrink, sound, without

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd

    from .bottlenecks import Sill, Strait
    from .navigation import SafeWater
    from .safe_water import LakeToday

    Thinnest = Callable[[], list[Sill | None]]


class ConnectedWaters:
    """The connected waters of an area: its polygons, for the inside of a valid polygon hangs together.

    Parameters
    ----------
    area
        Valid Polygon or MultiPolygon; may be empty. Polygons that touch in points are waters apart.
    """

    def __init__(self, area: Any) -> None:
        self._parts = np.asarray(polygon_parts(area), dtype=object)
        shapely.prepare(self._parts)
        self._tree = shapely.STRtree(self._parts)

    def locate(self, xy: Any) -> Ints:
        """Find the connected water each of some points lies in, edge included.

        Parameters
        ----------
        xy
            Points (n, 2).

        Returns
        -------
        Its number; -1 where a point lies in none; the lowest number where waters touch in the point.
        """
        given = np.reshape(np.asarray(xy, dtype=np.float64), (-1, 2))
        points = np.asarray(shapely.points(given), dtype=object)
        found = np.full(len(points), np.iinfo(np.int64).max)
        point, part = self._tree.query(points)
        held = shapely.intersects(self._parts[part], points[point])
        np.minimum.at(found, point[held], part[held])
        found[found == np.iinfo(np.int64).max] = -1
        return found


# Clearances tried, as shares of half a strait's width, the widest first. An offset takes away up to a tenth and twice
# the tolerance more than asked, at corners of a cut mitre more.
_SHARES = (0.95, 0.8, 0.65, 0.5)
_MOST_TRIED = 12  # narrowings of the whole lake; beyond them nothing is promised


class Openings:
    """Finds out what opens a way from the start to each of some stops, by their rows; clearances by trial.

    Parameters
    ----------
    lake
        What the safe water was made from.
    deep
        Its water that is neither too thin to idle nor closed.
    start, stops
        Points (2,) and (n, 2).
    thinnest
        Gives the thinnest places of the deepest ways to the stops, where somebody works them already.
    """

    def __init__(
        self, lake: LakeToday, deep: Any, start: Floats, stops: Floats, thinnest: Thinnest | None = None
    ) -> None:
        self.lake = lake
        self.deep = deep
        self.start = start
        self.stops = stops
        self._thinnest = thinnest
        self._tried: dict[float, ConnectedWaters] = {}

    def _opens(self, stop: Floats, clearance_m: float) -> bool:
        if clearance_m not in self._tried:
            if len(self._tried) >= _MOST_TRIED:
                return False
            self._tried[clearance_m] = ConnectedWaters(shrink(self.deep, clearance_m))
        one, other = self._tried[clearance_m].locate(np.stack([self.start, stop]))
        return bool(one >= 0 and one == other)

    def by_clearance(self, row: int, width_m: float) -> str:
        """Say what smaller clearance opens the way to a stop past a place so wide; empty where none was found."""
        for share in _SHARES:
            clearance = math.floor(10.0 * share * width_m / 2.0) / 10.0
            if 0.0 < clearance < self.lake.clearance_m and self._opens(self.stops[row], clearance):
                return f"; keeping {in_words(clearance, 'length')} clear would open it"
        return ""

    @cached_property
    def _sills(self) -> list[Sill | None]:
        if self._thinnest is not None:
            return self._thinnest()
        assert self.lake.today is not None  # asked only then
        return sills(self.lake.today, self.start, self.stops)

    def by_water(self, row: int) -> str:
        """Say how much more water could open the way to a stop."""
        if self.lake.today is None:
            return "; higher water may open a way"
        sill, needed = self._sills[row], self.lake.needed_m()
        if sill is None:
            return "; higher water may open a way"
        if needed <= sill.depth_m:
            return "; deep enough by the depths alone, so marked hazards or want of width bar the way"
        rise = in_words(needed - sill.depth_m, "length")
        stands = "stands dry" if sill.depth_m < 0.0 else "is thinnest"
        return f"; it takes at least {rise} more water, where the deepest way {stands} at ({sill.x:.0f}, {sill.y:.0f})"


_WIDE = 7.0  # a strait wider than so many clearances is not what bars a way


def _metres(length_m: float) -> str:
    return in_words(length_m, "length")


def _row_words(frame: gpd.GeoDataFrame | None, column: str, point: Any) -> str:
    """Reasons given in the rows of a layer that hold a point."""
    if frame is None or column not in frame.columns or not len(frame):
        return ""
    rows = frame.loc[shapely.intersects(shapely.make_valid(frame.geometry.to_numpy()), point), column]
    words = [str(word) for word in dict.fromkeys(rows) if isinstance(word, str) and word.strip()]
    return f" ({', '.join(words)})" if words else ""


class _Reasons:
    """Words for stops of one lake, by their rows."""

    def __init__(self, lake: LakeToday, stops: Floats, thinnest: Thinnest | None) -> None:
        self.lake = lake
        self.stops = stops
        self.area, self.thin, self.closed = lake.area(), lake.thin(), lake.closed()
        self.unclosed = sound(without(self.area, self.thin))[0]
        self.deep = self.unclosed
        if not self.closed.is_empty:
            self.deep = sound(shapely.difference(self.unclosed, self.closed))[0]
        self.openings = Openings(lake, self.deep, stops[0], stops, thinnest)

    def off(self, row: int) -> str:
        """Say why a stop lies outside the water a boat can use."""
        lake, point = self.lake, shapely.Point(self.stops[row])
        if self.area.is_empty:
            return "there is no water today"
        if not shapely.intersects(self.area, point):
            away = _metres(float(shapely.distance(self.area, point)))
            return f"off today's water, which begins {away} away{self.openings.by_water(row)}"
        if shapely.intersects(self.closed, point):
            return f"in a closed zone{_row_words(lake.zones, 'reason', point)}"
        if shapely.intersects(self.thin, point):
            why = _row_words(lake.hazards, "reason", point)
            return f"in water too thin even to idle{why}{self.openings.by_water(row)}"
        edges = {
            "the shore": shapely.boundary(self.area),
            "a hazard": self.thin,
            "a closed zone": self.closed,
        }
        near = {
            name: float(shapely.distance(edge, point)) for name, edge in edges.items() if not edge.is_empty
        }
        name = min(near, key=lambda key: near[key])
        much = "only " if near[name] < lake.clearance_m else ""
        return (
            f"{much}{_metres(near[name])} from {name}, where this boat keeps {_metres(lake.clearance_m)} clear"
            + self.openings.by_clearance(row, 2.0 * near[name])
        )

    def apart(self, rows: Ints) -> list[str]:
        """Say why stops in usable water are not joined to the start."""
        lake, start, stops = self.lake, self.stops[0], self.stops[rows]
        asked = [start, *stops]
        part = ConnectedWaters(self.deep).locate(asked)
        straits: list[Strait | None] = [None] * len(stops)
        joined = np.flatnonzero((part[1:] == part[0]) & (part[0] >= 0))
        if lake.clearance_m > 0.0 and len(joined):
            up_to_m = _WIDE * lake.clearance_m
            found = narrowest(kept_mesh(self.deep), start, stops[joined], up_to_m=up_to_m)
            for at, strait in zip(joined.tolist(), found, strict=True):
                straits[at] = strait
        without_zones = ConnectedWaters(self.unclosed).locate(asked)
        whole = ConnectedWaters(self.area).locate(asked)
        words: list[str] = []
        for at, (row, strait) in enumerate(zip(rows.tolist(), straits, strict=True)):
            if strait is not None:
                words.append(
                    f"the widest way from the start leads through a strait {_metres(strait.width_m)} wide "
                    f"(at {strait.x:.0f}, {strait.y:.0f}), too narrow to keep {_metres(lake.clearance_m)} clear on "
                    "both sides" + self.openings.by_clearance(row, strait.width_m)
                )
            elif without_zones[at + 1] == without_zones[0]:
                words.append("cut off from the start by a closed zone")
            elif whole[at + 1] == whole[0]:
                words.append(
                    "cut off from the start by water too thin even to idle" + self.openings.by_water(row)
                )
            else:
                words.append(
                    "in another water than the start, not joined to it today" + self.openings.by_water(row)
                )
        return words


def reasons(
    stops: Floats,
    reached: Flags,
    idling: SafeWater,
    lake: LakeToday | None = None,
    thinnest: Thinnest | None = None,
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
    thinnest
        Gives the thinnest places of the deepest ways from stop 0 to all stops, where somebody works them already.

    Returns
    -------
    One text a stop, empty where it can be reached.

    Notes
    -----
    A clearance said to open a way was tried out, and does; it is seldom the greatest that would do. A rise of the water
    is the least that can open it, for a way needs width as well. Widths are those of today's water between hazards
    and closed zones.
    """
    where = idling.locate(stops)
    found = [""] * len(stops)
    off = np.flatnonzero(where < 0)
    apart = np.flatnonzero((where >= 0) & ~reached)
    words = _Reasons(lake, stops, thinnest) if lake is not None and (len(off) or len(apart)) else None
    for row in off.tolist():
        if words is not None:
            found[row] = words.off(row)
        elif idling.water.is_empty:
            found[row] = "outside the water this boat can use: there is none"
        else:
            away = float(shapely.distance(idling.water, shapely.Point(stops[row])))
            found[row] = f"outside the water this boat can use: it begins {_metres(away)} away"
    apart = apart[apart > 0]
    if not len(apart):
        return found
    if where[0] < 0:
        texts = [f"the start cannot be used: {found[0]}"] * len(apart)
    elif words is not None:
        texts = words.apart(apart)
    else:
        texts = ["in other water: no safe way leads there from the start"] * len(apart)
    for row, text in zip(apart.tolist(), texts, strict=True):
        found[row] = text
    return found
