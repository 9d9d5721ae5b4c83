"""What a layer must be before an algorithm sees it, and what an algorithm promises of its output.

All faults of all inputs are collected and reported once. What can be repaired without guessing (an invalid polygon,
a third coordinate) is repaired on a copy and said so.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ..errors import ContractError, CrsError, PluginError
from ..numbers import other_kind_fault
from ..parameters.markers import ANY, Column, Layer, LayerSet, Surface
from ..report import note
from ..same_system import same_crs
from ..text import how_many

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
    if crs.is_geocentric:
        return (
            f"{name} is in {crs.name}, which counts from the middle of the Earth; reproject it to the UTM zone of the "
            "lake, for instance with --crs EPSG:32615."
        )
    units = {axis.unit_name for axis in crs.axis_info[:2]}
    if units and units != {"metre"}:
        return (
            f"{name} is in {' and '.join(sorted(units))} ({crs.name}), metres are needed; reproject it, "
            "for instance with --crs EPSG:32615 (the UTM zone of the lake)."
        )
    return None


def _extent(value: Any) -> tuple[float, ...] | None:
    """West, south, east and north of a layer or surface; None where it lies nowhere."""
    import numpy as np

    # a frame may have a column of any name, so a frame is known by what only frames have
    box = value.total_bounds if hasattr(value, "total_bounds") else value.bounds
    return tuple(map(float, box)) if np.isfinite(box).all() else None


def _lake_extent(extents: list[tuple[float, ...]]) -> tuple[float, ...]:
    """Take what the layers have in common: the lake, where others cover a whole state; the first of those apart."""
    west, south, east, north = extents[0]
    for other in extents[1:]:
        box = (max(west, other[0]), max(south, other[1]), min(east, other[2]), min(north, other[3]))
        if box[0] <= box[2] and box[1] <= box[3]:
            west, south, east, north = box
    return (west, south, east, north)


def _grid_faults(systems: Mapping[str, pyproj.CRS], values: Mapping[str, Any]) -> list[str]:
    """List the reference systems that stretch or turn too much where the lake lies, one line each."""
    from .grid_factors import grid_fault

    faults: list[str] = []
    done: list[pyproj.CRS] = []
    for label, crs in systems.items():
        if any(same_crs(crs, one) for one in done):
            continue
        done.append(crs)
        own = [values[other] for other, one in systems.items() if one is crs or same_crs(one, crs)]
        extents = [box for one in own if (box := _extent(one)) is not None]
        fault = grid_fault(crs, _lake_extent(extents), label) if extents else None
        faults += [] if fault is None else [fault]
    return faults


def _is_figures(values: Any) -> bool:
    """Tell whether a column is of whole numbers or floating-point ones, and of nothing that is only read as such."""
    import numpy as np

    dtype = getattr(values, "dtype", None)
    return isinstance(dtype, np.dtype) and dtype.kind in "iuf"


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
    empty: Any
    if column.kind == "number" and _is_figures(values):
        figures = values.to_numpy()
        if np.isinf(figures).any():
            faults.append(f"{name}.{column.name} has infinite numbers.")
        empty = np.isnan(figures)
    elif column.kind == "number":
        if odd_kind := other_kind_fault(values, f"{name}.{column.name}"):
            return [odd_kind]
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
    elif column.gaps:
        return faults
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

    from ..real_files import MOST_CORNERS, MOST_LAYER_CORNERS

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
        elif column.kind == "number" and _is_figures(frame[column.name]):
            continue
        elif column.kind == "number":
            frame[column.name] = pd.to_numeric(frame[column.name], errors="coerce")
        elif column.kind == "text":
            frame[column.name] = (
                frame[column.name].astype(object).where(frame[column.name].notna(), "").astype(str)
            )
    if marker.id is not None:
        frame[marker.id] = frame[marker.id].astype(str)
    return frame


def _mended(geometries: Any, kind: str) -> Any:
    """Mend invalid geometries; what must be kept out of never shrinks, and water never grows."""
    import numpy as np
    import shapely

    from ..enclosed import enclosed_either_way, water_beyond_doubt

    mend = {"keep out": enclosed_either_way, "water": water_beyond_doubt}.get(kind)
    area = np.isin(shapely.get_type_id(geometries), (3, 6))
    made = shapely.make_valid(geometries, method="structure", keep_collapsed=False)
    if mend is not None:
        for row in np.flatnonzero(area):  # few are invalid
            made[row] = mend(geometries[row])
    return made


def _repaired(frame: GeoDataFrame, name: str, kind: str = "") -> GeoDataFrame:
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
    fixed[invalid] = _mended(geometries[invalid], kind)
    gone = shapely.is_empty(fixed) & invalid
    if gone.any():
        raise ContractError(
            f"{name} has geometry that cannot be repaired in {_rows(frame.index[gone])}; draw it again.",
        )
    where = _rows(frame.index[np.flatnonzero(invalid)])
    note(
        f"{name}: {how_many(int(invalid.sum()), 'invalid geometry', 'invalid geometries')} repaired ({where}).",
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

    from ..depth import DepthSurface

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
    placed: dict[str, Any] = {}
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
                placed[label] = one
    first = next(iter(systems.items()), None)
    for label, crs in systems.items():
        if first is not None and not same_crs(crs, first[1]):
            crs_faults.append(
                f"{label} is in {crs.name}, {first[0]} in {first[1].name}: all layers must share one coordinate "
                "reference system; reproject one of them, or give --crs."
            )
    if not faults:
        crs_faults += _grid_faults(systems, placed)
    if crs_faults and not faults:
        raise CrsError("\n".join(crs_faults))
    if faults or crs_faults:
        raise ContractError("\n".join((*faults, *crs_faults)), (*faults, *crs_faults))
    return {name: _ready(value, marker, name) for name, (value, marker) in inputs.items()}


def _ready(value: Any, marker: Any, name: str) -> Any:
    if isinstance(marker, Layer):
        return _complete(_repaired(value.reset_index(drop=True), name, marker.repair), marker)
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
