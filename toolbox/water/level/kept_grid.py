"""What a grid knows of a lake at any level, taken from the open store where it was kept: no level changes it."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from ...cache.kept_calls import code_and_libraries
from ...cache.store import fingerprint, open_store
from ..bottom.shore import dry_land
from .isobaths import unknown_area

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from ...arrays import Flags
    from ...depth import DepthSurface

_UNKNOWN, _LAND = "the area of unknown depth", "the dry land of the grid"
_AREAS: Final = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)


def _key(what: str, surface: DepthSurface, *parts: bytes) -> str:
    """Fingerprint where a surface lies and where it knows no depth: all that counts, and the same at every level."""
    grid = (surface.shape, surface.west_m, surface.north_m, surface.cell_x_m, surface.cell_y_m)
    known = np.packbits(np.isnan(surface.depth_m))
    return fingerprint(what, code_and_libraries(), repr(grid), known, *parts)


def kept_unknown_area(surface: DepthSurface) -> BaseGeometry:
    """Draw the area without depth as `unknown_area` does, or take it from the open store."""
    store = open_store()
    if store is None:
        return unknown_area(surface)
    key = _key(_UNKNOWN, surface)
    found = store.get(key)
    if found is not None and set(found) == {"area"}:
        with contextlib.suppress(shapely.errors.GEOSException, TypeError, ValueError):  # not of our making
            kept: BaseGeometry = shapely.from_wkb(found["area"].tobytes())
            if shapely.get_type_id(kept) in _AREAS:
                return kept
    area = unknown_area(surface)
    store.put(key, {"area": np.frombuffer(shapely.to_wkb(area, byte_order=1), dtype=np.uint8)})
    return area


def kept_dry_land(surface: DepthSurface, lake: BaseGeometry) -> Flags:
    """Mark the unknown cells outside the shoreline as `dry_land` does, or take them from the open store."""
    store = open_store()
    if store is None:
        return dry_land(surface, lake)
    key = _key(_LAND, surface, shapely.to_wkb(lake, byte_order=1))
    found = store.get(key)
    rows, columns = surface.shape
    held = None if found is None or set(found) != {"land"} else found["land"]
    if held is not None and held.dtype == np.uint8 and held.shape == (-(-rows * columns // 8),):
        bits = np.unpackbits(held, count=rows * columns)
        return bits.reshape(rows, columns).view(np.bool_)
    land = dry_land(surface, lake)
    store.put(key, {"land": np.packbits(land)})
    return land
