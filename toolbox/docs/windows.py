"""What the scenes share: the layers of the demo day, windows on the lake, and words for a length."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from ..layers.reading import read_layer
from ..units import FOOT_M

if TYPE_CHECKING:
    import geopandas as gpd

    from ..output.maps.map_window import Bounds

LAKE: Final = "demo_layers/reservoir.gpkg"
DAY: Final = "my_day/plan.gpkg"
MADE: Final = "my.gpkg"
SPOT: Final = "own-10"
"""The spot at which casts and holds are shown."""

_SHAPE: Final = 1.6  # width by height of a picture


def day_layers(*names: str) -> dict[str, gpd.GeoDataFrame]:
    """Layers of the planned demo day."""
    return {name: read_layer(f"{DAY}:{name}") for name in names}


def ground() -> dict[str, gpd.GeoDataFrame]:
    """Water, depth bands and dry ground of the demo day."""
    return day_layers("water", "depth_bands", "dry_ground")


def whole_lake() -> Bounds:
    """Window on the whole lake."""
    _, south, east, north = (float(v) for v in read_layer(f"{LAKE}:shoreline").total_bounds)
    room = 0.05 * (north - south)
    east += room
    return (
        east - (north - south + 2.0 * room) * _SHAPE,
        south - room,
        east,
        north + room,
    )  # room for the scale at left


def around(place: Any, width_m: float) -> Bounds:
    """Window of a width round the middle of a geometry."""
    x, y = place.centroid.x, place.centroid.y
    wide, high = width_m / 2.0, width_m / _SHAPE / 2.0
    return x - wide, y - high, x + wide, y + high


def both_units(metres: float) -> str:
    """Write a length in feet and metres."""
    return f"{metres / FOOT_M:.0f} ft ({metres:.1f} m)"


def place_of(frame: gpd.GeoDataFrame, spot: str) -> Any:
    """Geometry of a spot."""
    return frame[frame["spot_id"] == spot].geometry.iloc[0]
