"""Whether two reference systems are the same one."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pyproj


def same_crs(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    """Whether two reference systems place a coordinate pair at the same spot."""
    return bool(one.equals(other, ignore_axis_order=True)) or (
        one.to_epsg() is not None and one.to_epsg() == other.to_epsg()
    )
