"""What a layer must be before an algorithm sees it, and what an algorithm promises of its output.

All faults of all inputs are collected and reported once. What can be repaired without guessing (an invalid polygon,
a third coordinate) is repaired on a copy and said so.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from .errors import ContractError, CrsError, DataWarning, PluginError
from .parameters.markers import ANY, Column, Layer, LayerSet, Surface

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pyproj
    from geopandas import GeoDataFrame

    from .spec import Spec

_SHOWN = 5
_FARTHEST_M = (
    1e8  # projected systems stay below: half the girth of the Earth, and a zone number before the easting
)


def _rows(labels: Iterable[Any]) -> str:
    found = [str(label) for label in labels]
    more = f" and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
    return ("row " if len(found) == 1 else "rows ") + ", ".join(found[:_SHOWN]) + more


def crs_fault(crs: pyproj.CRS | None, name: str) -> str | None:
    """Say what is wrong with a reference system that should be projected in metres; None when nothing is."""
    if crs is None:
        return (
            f"{name} has no coordinate reference system; set it (to_crs / set_crs), or give --crs EPSG:code."
        )
    if crs.is_geographic:
        return (
            f"{name} is in degrees ({crs.name}), metres are needed; reproject it to the UTM zone of the lake, "
            "for instance with --crs EPSG:32615, or frame.to_crs(frame.estimate_utm_crs()) in Python."
        )
    units = {axis.unit_name for axis in crs.axis_info[:2]}
    if units and units != {"metre"}:
        return (
            f"{name} is in {' and '.join(sorted(units))} ({crs.name}), metres are needed; reproject it, "
            "for instance with --crs EPSG:32615 (the UTM zone of the lake)."
        )
    return None


def same_crs(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    """Whether two reference systems place a coordinate pair at the same spot."""
    return bool(one.equals(other, ignore_axis_order=True)) or (
        one.to_epsg() is not None and one.to_epsg() == other.to_epsg()
    )


def _column_faults(frame: GeoDataFrame, column: Column, name: str, *, needed: bool) -> list[str]:
    import numpy as np
    import pandas as pd

    if column.name not in frame.columns:
        return (
            [f"{name} has no column {column.name}; it has: {', '.join(map(str, frame.columns))}."]
            if needed
            else []
        )
    if frame.empty:
        return []
    values = frame[column.name]
    faults: list[str] = []
    if column.kind == "number":
        numbers = pd.to_numeric(values, errors="coerce")
        odd = values.notna() & numbers.isna()
        if odd.any():
            sample = values[odd].iloc[0]
            faults.append(
                f"{name}.{column.name} must be a number; it is {sample!r} in {_rows(frame.index[odd])}."
            )
        if np.isinf(numbers.to_numpy(float, na_value=np.nan)).any():
            faults.append(f"{name}.{column.name} has infinite numbers.")
        empty = values.isna()
    else:
        empty = values.isna() | (values.astype(str).str.strip() == "")
    if not column.gaps and empty.any():
        faults.append(f"{name}.{column.name} is empty in {_rows(frame.index[empty])}.")
    return faults


def _geometry_faults(
    frame: GeoDataFrame, types: tuple[str, ...], name: str, *, may_lack_place: bool
) -> list[str]:
    import numpy as np
    import shapely

    from .water.room import MOST_CORNERS, MOST_LAYER_CORNERS

    faults: list[str] = []
    geometries = frame.geometry.to_numpy()
    missing = shapely.is_missing(geometries) | shapely.is_empty(geometries)
    if missing.any() and not may_lack_place:
        faults.append(f"{name} has no geometry in {_rows(frame.index[missing])}.")
    kinds = np.array([t or "" for t in frame.geometry.geom_type])
    wrong = ~np.isin(kinds, types) & ~missing
    if wrong.any():
        found = ", ".join(sorted(set(kinds[wrong])))
        faults.append(f"{name} must hold {' or '.join(types)}; {_rows(frame.index[wrong])} are {found}.")
    corners = shapely.get_num_coordinates(geometries)
    large = corners > MOST_CORNERS
    if large.any() or corners.sum() > MOST_LAYER_CORNERS:
        where = f" in {_rows(frame.index[large])}" if large.any() else ""
        count = int(corners[large].max() if large.any() else corners.sum())
        limits = f"{MOST_CORNERS:,} a row and {MOST_LAYER_CORNERS:,} a layer"
        remedy = "cut it into parts, or simplify it"
        return [*faults, f"{name} has {count:,} corners{where}; at most {limits} are worked on: {remedy}."]
    coordinates, owner = shapely.get_coordinates(geometries, return_index=True)
    broken = np.unique(owner[~np.isfinite(coordinates).all(axis=1)])
    if broken.size:
        faults.append(f"{name} has coordinates that are not finite numbers in {_rows(frame.index[broken])}.")
    away = np.unique(owner[(np.abs(coordinates) > _FARTHEST_M).any(axis=1)])
    if away.size and not broken.size:
        faults.append(
            f"{name} has coordinates beyond {_FARTHEST_M:g} m, which no place on Earth has, in "
            f"{_rows(frame.index[away])}; look at its reference system."
        )
    return faults


def _id_faults(frame: GeoDataFrame, column: str | None, name: str) -> list[str]:
    if column is None:
        return []
    if column not in frame.columns:
        return [
            f"{name} has no column {column} (a unique id for each row); it has: {', '.join(map(str, frame.columns))}."
        ]
    ids = frame[column]
    faults = []
    if ids.isna().any():
        faults.append(f"{name}.{column} is empty in {_rows(frame.index[ids.isna()])}.")
    twice = ids[ids.duplicated() & ids.notna()]
    if len(twice):
        faults.append(
            f"{name}.{column} must be unique; given more than once: {', '.join(map(str, twice.unique()[:_SHOWN]))}."
        )
    return faults


def _complete(frame: GeoDataFrame, marker: Layer) -> GeoDataFrame:
    import numpy as np
    import pandas as pd

    for column in (*marker.needs, *marker.optional):
        if column.name not in frame.columns:
            frame[column.name] = np.nan if column.kind == "number" else ""
        elif column.kind == "number":
            frame[column.name] = pd.to_numeric(frame[column.name], errors="coerce")
        elif column.kind == "text":
            frame[column.name] = (
                frame[column.name].astype(object).where(frame[column.name].notna(), "").astype(str)
            )
    if marker.id is not None:
        frame[marker.id] = frame[marker.id].astype(str)
    return frame


def _repaired(frame: GeoDataFrame, name: str, sick: str = "") -> GeoDataFrame:
    import numpy as np
    import shapely

    geometries = frame.geometry.to_numpy()
    if shapely.has_z(geometries).any() or shapely.has_m(geometries).any():
        geometries = shapely.force_2d(geometries)
        frame = frame.set_geometry(geometries, crs=frame.crs)
    invalid = ~shapely.is_valid(geometries) & ~shapely.is_missing(geometries)
    if not invalid.any():
        return frame
    fixed = geometries.copy()
    if sick:
        from .water.sick_shapes import taken_for

        fixed[invalid] = [taken_for(shape, sick) for shape in geometries[invalid].tolist()]
    else:
        fixed[invalid] = shapely.make_valid(geometries[invalid], method="structure", keep_collapsed=False)
    gone = shapely.is_empty(fixed) & invalid
    if gone.any():
        raise ContractError(
            f"{name} has geometry that cannot be repaired in {_rows(frame.index[gone])}; draw it again.",
        )
    where = _rows(frame.index[np.flatnonzero(invalid)])
    warnings.warn(
        f"{name}: {int(invalid.sum())} invalid geometries repaired ({where}).",
        DataWarning,
        stacklevel=2,
    )
    return frame.set_geometry(fixed, crs=frame.crs)


def layer_faults(frame: Any, marker: Layer, name: str) -> list[str]:
    """List everything a frame lacks to be this layer: geometry, ids, columns (not the reference system)."""
    import geopandas

    if not isinstance(frame, geopandas.GeoDataFrame):
        return [f"{name} must be a GeoDataFrame; it is a {type(frame).__name__}."]
    if frame.empty and not marker.may_be_empty:
        return [f"{name} is an empty layer; at least one row is needed."]
    faults = _geometry_faults(frame, marker.geometry, name, may_lack_place=marker.may_lack_place)
    faults += _id_faults(frame, marker.id, name)
    for column in marker.needs:
        faults += _column_faults(frame, column, name, needed=True)
    for column in marker.optional:
        faults += _column_faults(frame, column, name, needed=False)
    return faults


def _check_surface(surface: Any, name: str) -> list[str]:
    import numpy as np

    from .water.depth import DepthSurface

    if not isinstance(surface, DepthSurface):
        return [f"{name} must be a DepthSurface; it is a {type(surface).__name__}."]
    if not np.isfinite(surface.depth_m).any():
        return [f"{name} holds no depth at all: every cell is unknown."]
    return []


def check_inputs(inputs: Mapping[str, tuple[Any, Any]]) -> dict[str, Any]:
    """Check every input of a call against its marker, all in one CRS in metres.

    Parameters
    ----------
    inputs
        Name -> (value, marker).

    Returns
    -------
    dict
        Name -> the value, frames as repaired and completed copies.

    Raises
    ------
    ContractError
        One or more faults; the message lists all of them.
    CrsError
        Every fault is one of the reference system.
    """
    faults: list[str] = []
    crs_faults: list[str] = []
    systems: dict[str, pyproj.CRS] = {}
    for name, (value, marker) in inputs.items():
        members: dict[str, tuple[Any, Any]] = {}
        if isinstance(marker, LayerSet):
            members = {
                f"{name}[{key}]": (one, Layer(key, ANY, may_lack_place=marker.may_lack_place))
                for key, one in dict(value).items()
            }
        elif isinstance(marker, (Layer, Surface)):
            members = {name: (value, marker)}
        for label, (one, kind) in members.items():
            found = (
                _check_surface(one, label) if isinstance(kind, Surface) else layer_faults(one, kind, label)
            )
            faults += found
            if not hasattr(one, "crs"):
                continue
            fault = crs_fault(one.crs, label)
            if fault is not None:
                crs_faults.append(fault)
            else:
                systems[label] = one.crs
    first = next(iter(systems.items()), None)
    for label, crs in systems.items():
        if first is not None and not same_crs(crs, first[1]):
            crs_faults.append(
                f"{label} is in {crs.name}, {first[0]} in {first[1].name}: all layers must share one coordinate "
                "reference system; reproject one of them, or give --crs."
            )
    if crs_faults and not faults:
        raise CrsError("\n".join(crs_faults))
    if faults or crs_faults:
        raise ContractError("\n".join((*faults, *crs_faults)), (*faults, *crs_faults))
    return {name: _ready(value, marker, name) for name, (value, marker) in inputs.items()}


def _ready(value: Any, marker: Any, name: str) -> Any:
    if isinstance(marker, Layer):
        return _complete(_repaired(value.reset_index(drop=True), name, marker.sick), marker)
    if isinstance(marker, LayerSet):
        return {key: _repaired(one.reset_index(drop=True), key) for key, one in dict(value).items()}
    return value


def check_outputs(spec: Spec, result: Any) -> None:
    """Hold an algorithm to what its return type promises.

    Raises
    ------
    PluginError
        A promised layer, geometry type or column is missing: a fault of the algorithm, not of the data.
    """
    for output, value in output_items(spec, result):
        if isinstance(output.marker, Layer):
            # What an algorithm makes may always be empty.
            marker = Layer(**{**vars(output.marker), "may_be_empty": True})
            faults = layer_faults(value, marker, output.name)
        elif isinstance(output.marker, Surface):
            faults = _check_surface(value, output.name)
        else:
            faults = []
        if faults:
            raise PluginError(f"{spec.name} broke the promise of its output: {' '.join(faults)}")


def output_items(spec: Spec, result: Any) -> list[tuple[Any, Any]]:
    """Pair each output of a spec with its value in the result; leave out those made only with an option not given."""
    values = list(result) if spec.several else [result]
    pairs = zip(spec.outputs, values, strict=True)
    return [
        (o, v) for o, v in pairs if v is not None or not isinstance(o.marker, Layer) or not o.marker.only_with
    ]
