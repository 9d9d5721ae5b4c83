"""Why a stop cannot be reached, and what would open the way to it, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...arrays import Flags, Floats, Ints
from ...units import in_words
from .bottleneck_width import narrowest
from .connected import ConnectedWaters
from .kept_water import kept_mesh
from .openings import Openings
from .safe_water import sound
from .unions import without

if TYPE_CHECKING:
    import geopandas as gpd

    from .bottleneck_width import Strait
    from .navigation import SafeWater
    from .openings import Thinnest
    from .safe_water_inputs import LakeToday


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
