"""Safe water and its mesh, taken from the open store where they were kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from ...cache.kept_calls import code_and_libraries
from ...cache.store import fingerprint, open_store
from .mesh import Mesh
from .navigation import SafeWater
from .safe_water import safe_waters

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd

_MESH, _SHRUNK = "the mesh of the safe water", "the safe water"
_ARRAYS = ("xy", "triangles", "twin", "before", "after", "part")


def _bits(geometry: Any) -> bytes:
    return bytes(shapely.to_wkb(geometry, byte_order=1, include_srid=False))


def _layer(frame: gpd.GeoDataFrame | None, column: str | None) -> list[bytes | str]:
    """All that the rows of a layer say to the safe water."""
    if frame is None:
        return ["none"]
    words = [] if column is None else [str(word) for word in frame[column]] if column in frame else ["?"]
    return [
        str(len(frame)),
        *(_bits(shape) if shape is not None else b"" for shape in frame.geometry),
        *words,
    ]


def _mesh(found: dict[str, Any] | None) -> Mesh | None:
    """Put a mesh together again; None where what was kept has not the shape of one."""
    if found is None or set(found) != set(_ARRAYS):
        return None
    count, faces = len(np.atleast_1d(found["xy"])), len(np.atleast_1d(found["triangles"]))
    shapes = {
        "xy": (count, 2), "triangles": (faces, 3), "twin": (3 * faces,),
        "before": (count,), "after": (count,), "part": (faces,),
    }  # fmt: skip
    for name, shape in shapes.items():
        if found[name].shape != shape or found[name].dtype.kind != ("f" if name == "xy" else "i"):
            return None
    for name, most in (("triangles", count), ("twin", 3 * faces), ("before", count), ("after", count)):
        if faces and not (found[name].min() >= -1 and found[name].max() < most):
            return None
    return Mesh(**found)


def _areas(found: dict[str, Any] | None) -> tuple[Any, Any] | None:
    """Read the two waters; None where what was kept is something else."""
    if found is None or set(found) != {"running", "idling"}:
        return None
    try:
        running, idling = (shapely.from_wkb(found[name].tobytes()) for name in ("running", "idling"))
    except (shapely.errors.GEOSException, TypeError, ValueError):
        return None
    areas = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)
    return (running, idling) if {shapely.get_type_id(one) for one in (running, idling)} <= {*areas} else None


def kept_mesh(water: Any, *, progress: Callable[[float], object] | None = None) -> SafeWater:
    """Make a water ready for shortest ways, or take its mesh from the open store.

    Parameters
    ----------
    water, progress
        As for `SafeWater.build`.

    Returns
    -------
    What `SafeWater.build` gives, to the bit. The mesh of another water, however little it differs, of another
    triangulating library or of a broken file is never used.
    """
    store = open_store()
    if store is None:
        return SafeWater.build(water, progress=progress)
    key = fingerprint(_MESH, code_and_libraries(), shapely.geos_version_string, _bits(water))
    mesh = _mesh(store.get(key))
    if mesh is not None:
        if progress is not None:
            progress(1.0)
        store.tell(_MESH)
        return SafeWater(water, mesh)
    safe = SafeWater.build(water, progress=progress)
    store.put(key, {name: getattr(safe.mesh, name) for name in _ARRAYS}, _MESH)
    return safe


def kept_safe_waters(
    water: gpd.GeoDataFrame,
    hazards: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
    *,
    clearance_m: float,
    run_clearance_m: float | None = None,
) -> tuple[Any, Any]:
    """Find the water to run and to idle on, or take both from the open store.

    Parameters
    ----------
    water, hazards, zones, clearance_m, run_clearance_m
        As for `safe_waters`.

    Returns
    -------
    running, idling
        What `safe_waters` gives.
    """
    store = open_store()
    if store is None:
        return safe_waters(water, hazards, zones, clearance_m=clearance_m, run_clearance_m=run_clearance_m)
    key = fingerprint(
        _SHRUNK,
        code_and_libraries(),
        shapely.geos_version_string,
        repr((clearance_m, run_clearance_m)),
        *_layer(water, None),
        *_layer(hazards, "care"),
        *_layer(zones, "zone"),
    )
    areas = _areas(store.get(key))
    if areas is not None:
        store.tell(_SHRUNK)
        return areas
    made = safe_waters(water, hazards, zones, clearance_m=clearance_m, run_clearance_m=run_clearance_m)
    store.put(
        key,
        {
            name: np.frombuffer(_bits(area), dtype=np.uint8)
            for name, area in zip(("running", "idling"), made, strict=True)
        },
        _SHRUNK,
    )
    return made
