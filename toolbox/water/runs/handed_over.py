"""No way is handed over that comes nearer to the layers as given than the boat keeps clear.

The one check that all makers of ways go through. It shares nothing with how safe water is worked out: distances of
lines to the layers, near an origin of their own so that far coordinates lose no digits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...enclosed import moved, origin_of
from ...errors import NoSafeWay
from ...units import in_words
from ..ways.safe_water import SLOW

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

    from ...arrays import Floats, Geometries
    from .afloat import Afloat

FORGIVEN_M: Final = 0.001
"""How much nearer than asked a way may be: nothing but rounding."""


def _geometries(frame: gpd.GeoDataFrame | None, column: str = "", besides: str = "") -> Geometries:
    if frame is None or not len(frame):
        return np.empty(0, dtype=object)
    shapes = frame.geometry.to_numpy()
    kept = np.ones(len(shapes), dtype=bool) if not column else (frame[column] != besides).to_numpy()
    return np.asarray(shapes[kept & ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)], dtype=object)


def _least(lines: Geometries, things: Geometries) -> Floats:
    least = np.full(len(lines), np.inf)
    if len(things) and len(lines):
        (row, _), gap = shapely.STRtree(things).query_nearest(lines, return_distance=True, all_matches=False)
        least[row] = gap
    return least


def least_clearances(lines: Geometries, *, running: bool, water: Any, hazards: Any, zones: Any) -> Floats:
    """Measure how near lines come to what they keep out of, as the layers have it, and to the water's edge.

    Parameters
    ----------
    lines
        Ways (n,).
    running
        Whether hazards to a boat on plane count as well.
    water, hazards, zones
        Layers of today; the latter two or None.

    Returns
    -------
    Metres (n,); 0 for what enters a hazard or leaves the water.
    """
    sea = _geometries(water)
    origin = origin_of(sea) if len(sea) else np.zeros(2)
    things = np.concatenate(
        [
            _geometries(hazards) if running else _geometries(hazards, "care", "run"),
            _geometries(zones, "zone", SLOW),
        ]
    )
    near, sea = moved(lines, -origin), moved(sea, -origin)
    # An area counts as a whole, and its edge as well: an edge that crosses itself leaves parts that no area has.
    things = moved(things, -origin)
    least = np.minimum(_least(near, things), _least(near, shapely.boundary(things)))
    whole = shapely.union_all(sea)
    least = np.minimum(least, _least(near, shapely.get_parts(shapely.boundary(whole))))
    shapely.prepare(whole)
    least[~shapely.intersects(whole, near)] = 0.0
    return least


def require_clear(ways: Sequence[tuple[str, Any]], afloat: Afloat) -> None:
    """Refuse ways that come too near to anything.

    Parameters
    ----------
    ways
        Pieces as (part, line); ``launch`` pieces are not looked at, and lines without length neither.
    afloat
        The lake, and what the boat keeps clear.

    Raises
    ------
    NoSafeWay
        A piece is nearer than asked.
    """
    lake, handling = afloat.lake, afloat.handling
    for part, keep_m in (("run", handling.run_clearance_m), ("idle", handling.clearance_m)):
        lines = np.array([line for own, line in ways if own == part and line.length > 0.0], dtype=object)
        if not len(lines):
            continue
        least = least_clearances(
            lines, running=part == "run", water=lake.water, hazards=lake.hazards, zones=lake.zones
        )
        worst = int(np.argmin(least))
        if least[worst] < keep_m - FORGIVEN_M:
            x, y = shapely.get_coordinates(lines[worst])[0]
            raise NoSafeWay(
                f"A way from ({x:.0f}, {y:.0f}) would come within {in_words(float(least[worst]), 'length')} of a "
                f"hazard, a closed zone or the shore, where this boat keeps {in_words(keep_m, 'length')} clear while "
                f"{'running' if part == 'run' else 'idling'}; nothing was written. Look at the layers there for lines "
                "that cross themselves, or ask for a greater clearance."
            )
