"""A run out along a line and back, and the last check on it: what the tests of the last check share."""

import geopandas as gpd
import numpy as np
import shapely

from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.proof.last_check import Limits, last_check
from made_lake import CRS, frame

LIMITS = Limits(10.0, 4.0, 1.2, 0.8, 0.9, 60.0)
A, B = (0.0, 0.0), (100.0, 0.0)
WATER = shapely.box(-100, -100, 200, 100)
HAIR = 3e-6  # beyond the rounding that is forgiven, a millionth of a metre


def leg(number, part, origin, goal, *corners, **stated):
    line = shapely.LineString(corners)
    return {
        "leg_no": number, "part": part, "from_id": origin, "to_id": goal, "distance_m": line.length,
        "min_depth_m": np.nan, "min_clearance_m": np.nan, "geometry": line,
    } | stated  # fmt: skip


def there_and_back(part="run", **stated):
    return legs(leg(1, part, "r", "a", A, B, **stated), leg(2, part, "a", "r", B, A, **stated))


def legs(*rows):
    return gpd.GeoDataFrame(list(rows), crs=CRS)


def check(run=None, **changes):
    given = {
        "holds": frame([shapely.Point(B)], spot_id=["a"]), "depth": None, "level_m": 0.0, "water": frame([WATER]),
        "start": shapely.Point(A), "end": shapely.Point(A), "limits": LIMITS,
    }  # fmt: skip
    given |= changes
    return last_check(there_and_back() if run is None else run, given.pop("holds"), **given)


def hazards(shape, care="idle"):
    return frame([shape], hazard_id=["h7"], care=[care])


def flat(depth_m):
    """A surface of 10 m cells over the water."""
    return DepthSurface(np.asarray(depth_m, dtype="f4"), -100.0, 100.0, 10.0, 10.0, CRS, 0.0)
