"""Rows of all layers as features in WGS84: names, words and values that every open format is written from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...errors import CrsError, DataError
from ...lon_lat import MOST_M, ROUTE_BOW_M, with_points_between
from ...report import note
from ...text import how_many, is_missing, number, one_line, unique_names
from .names import role_of, title
from .row_words import describe

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry

_SAME_PLACE_M: Final = 0.5  # a stop this near the hold of its spot is that hold

_IDS: Final[dict[str, tuple[str, ...]]] = {
    "holds": ("spot_id", "hold_no"),
    "cast_lines": ("spot_id", "hold_no"),
    "hold_lines": ("spot_id", "line_no"),
    "line_ups": ("spot_id", "hold_no", "range_no"),
    "fixes": ("spot_id", "hold_no"),
    "verdicts": ("spot_id", "time"),
    "exposure": ("spot_id", "time"),
    "ways": ("from_id", "to_id"),
    "safe_water": ("care",),
    "structure": ("spot_id",),
    "landmarks": ("landmark_id",),
    "stops": ("stop_no",),
    "legs": ("leg_no", "part"),
    "route": ("leg_no", "part"),
    "shallow_hazards": ("hazard_id",),
    "water": ("water_id",),
    "ramps": ("ramp_id",),
    "cast_reach": ("spot_id",),
    "spots": ("spot_id",),
    "left_out": ("spot_id",),
}


@dataclass(frozen=True)
class Feature:
    """One row of a layer, ready to be written."""

    # what its layer is called, and which part of the plan that is
    layer: str
    role: str
    key: str  # differs for every feature of a file: layer and id
    name: str  # short name, not yet unique
    words: tuple[str, ...]  # sentences about it, in the order of weight
    # longitude and latitude in WGS84, two-dimensional; None where the row has none
    geometry: BaseGeometry | None
    values: Mapping[str, Any]  # its columns in the layer's order, without the geometry
    stop: str = ""  # title of the stop that is made there; empty where none is


def to_lon_lat(frame: gpd.GeoDataFrame, layer: str, most_m: float = MOST_M) -> list[BaseGeometry | None]:
    """Geometries of a layer in WGS84, without heights; None for missing, empty and untransformable ones.

    Long lines and edges get points between, so that drawn straight in degrees they stay where they were proved.

    Raises
    ------
    CrsError
        The layer has no reference system.
    """
    if frame.crs is None:
        raise CrsError(
            f"layer '{layer}' has no reference system, so its place on earth is not known; "
            "set the one its coordinates are in (set_crs) and try again."
        )
    geometries = frame.geometry.to_numpy()
    present = ~(shapely.is_missing(geometries) | shapely.is_empty(geometries))
    moved = np.full(len(frame), None, dtype=object)
    import geopandas

    drawn = with_points_between(shapely.force_2d(geometries[present]), frame.crs, most_m)
    moved[present] = geopandas.GeoSeries(drawn, crs=frame.crs).to_crs(4326).to_numpy()
    bounds = shapely.bounds(moved)
    fits = present & np.isfinite(bounds).all(axis=1)
    fits[fits] &= (np.abs(bounds[fits][:, [0, 2]]) <= 180.0).all(axis=1) & (
        np.abs(bounds[fits][:, [1, 3]]) <= 90.0
    ).all(axis=1)
    if lost := int((present & ~fits).sum()):
        note(
            f"layer '{layer}': {lost} of {how_many(len(frame), 'geometry', 'geometries')} outside the area of "
            f"{frame.crs.name}, with no place on earth; written without geometry.",
            stacklevel=4,
        )
    return [geometry if fit else None for geometry, fit in zip(moved, fits, strict=True)]


def rows_of(frame: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Rows as dictionaries in the order of the columns, without geometry columns."""
    plain = frame.loc[:, [dtype.name != "geometry" for dtype in frame.dtypes]]
    columns = [str(column) for column in plain.columns]
    values = [plain.iloc[:, place].tolist() for place in range(len(columns))]
    return (
        [dict(zip(columns, row, strict=True)) for row in zip(*values, strict=True)]
        if columns
        else [{} for _ in range(len(frame))]
    )


def spot_names(layers: Mapping[str, gpd.GeoDataFrame]) -> dict[str, str]:
    """Name of each spot by its id, from whichever layer tells it."""
    names: dict[str, str] = {}
    for frame in layers.values():
        if {"spot_id", "name"} <= set(frame.columns):
            for spot, name in zip(frame["spot_id"].tolist(), frame["name"].tolist(), strict=True):
                if one_line(name):
                    names.setdefault(one_line(spot), one_line(name))
    return names


def stops_of_holds(holds: gpd.GeoDataFrame, stops: gpd.GeoDataFrame) -> dict[int, int]:
    """Row of ``holds`` to row of ``stops`` where a stop is made at that hold.

    A stop belongs to a hold of its own spot that lies within half a metre of it.
    """
    if holds.crs is not None and stops.crs is not None and holds.crs != stops.crs:
        stops = stops.to_crs(holds.crs)
    places = {
        row: point for row, point in enumerate(stops.geometry) if point is not None and not point.is_empty
    }
    by_spot: dict[str, list[int]] = {}
    for row, spot in enumerate(stops["spot_id"].tolist()):
        by_spot.setdefault(one_line(spot), []).append(row)
    found: dict[int, int] = {}
    for row, (spot, point) in enumerate(zip(holds["spot_id"].tolist(), holds.geometry, strict=True)):
        if point is None or point.is_empty:
            continue
        for stop in by_spot.get(one_line(spot), []):
            if stop in places and point.distance(places[stop]) <= _SAME_PLACE_M:
                found.setdefault(row, stop)
    return found


def _key(layer: str, role: str, row: Mapping[str, Any], order: int) -> str:
    parts = [row.get(column) for column in _IDS.get(role, ())]
    if not parts or any(is_missing(part) for part in parts):
        return f"{layer}/{order}"
    whole = [
        f"{value:.0f}"
        if math.isfinite(value := number(part)) and value == round(value) and not isinstance(part, str)
        else one_line(part)
        for part in parts
    ]
    return "/".join((layer, *whole))


def _marks_ashore(
    layers: Mapping[str, gpd.GeoDataFrame], roles: Mapping[str, str]
) -> dict[tuple[str, float], list[str]]:
    """Collect what the marks ashore say, by the spot and number of their hold."""
    said: dict[tuple[str, float], list[str]] = {}
    for name, role in roles.items():
        for row in rows_of(layers[name]) if role == "fixes" else ():
            if one_line(row.get("status")) != "none":
                said[one_line(row.get("spot_id")), number(row.get("hold_no"))] = describe(role, row, None)
    return said


def check_layers(layers: Mapping[str, Any]) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers in their order, each certainly a GeoDataFrame with a geometry column.

    Raises
    ------
    DataError
        A layer is something else; the message names all such layers.
    """
    import geopandas as gpd

    wrong = [
        name
        for name, frame in layers.items()
        if not isinstance(frame, gpd.GeoDataFrame) or frame.active_geometry_name is None
    ]
    if wrong:
        raise DataError(
            f"not a layer with geometry: {', '.join(sorted(map(str, wrong)))}; give GeoDataFrames by layer name."
        )
    return {one_line(name) or "layer": frame for name, frame in layers.items()}


def features_of(layers: Mapping[str, gpd.GeoDataFrame], *, level_m: float | None = None) -> list[Feature]:
    """Features of all layers, in the order of the layers and of their rows.

    Parameters
    ----------
    layers
        Layers by name, each in any reference system.
    level_m
        Today's surface minus chart datum in metres, to say today's depth where only a charted one is known.

    Raises
    ------
    CrsError
        A layer has no reference system.
    DataError
        Something is not a layer.
    """
    layers = check_layers(layers)
    names = spot_names(layers)
    roles = {name: role_of(name, frame) for name, frame in layers.items()}
    stops = next((layers[name] for name, role in roles.items() if role == "stops"), None)
    stop_rows = rows_of(stops) if stops is not None else []
    marks = _marks_ashore(layers, roles)
    features: list[Feature] = []
    for layer, frame in layers.items():
        role = roles[layer]
        rows = rows_of(frame)
        at_stop = stops_of_holds(frame, stops) if role == "holds" and stops is not None else {}
        shapes = to_lon_lat(frame, layer, ROUTE_BOW_M if role == "route" else MOST_M)
        for order, (row, geometry) in enumerate(zip(rows, shapes, strict=True)):
            name, said = title(role, row, names, order + 1), describe(role, row, level_m)
            if role == "holds" and number(row.get("hold_no")) > 1:
                name += f" {number(row['hold_no']):.0f}"
            stop = ""
            if order in at_stop:
                made = stop_rows[at_stop[order]]
                stop = title("stops", made, names, 0)
                if math.isfinite(number(row.get("wave_m"))):  # the hold tells its waves better than the stop
                    made = {key: value for key, value in made.items() if key not in {"wave_m", "wind_mps"}}
                said = [f"Stop {stop}.", *describe("stops", made, level_m), *said]
            if role == "holds":
                said += marks.get((one_line(row.get("spot_id")), number(row.get("hold_no"))), [])
            said = list(dict.fromkeys(said))  # the wind of a stop is that of its hold
            key = _key(layer, role, row, order + 1)
            features.append(Feature(layer, role, key, name, tuple(said), geometry, row, stop))
    keys = unique_names(feature.key for feature in features)
    return [replace(feature, key=key) for feature, key in zip(features, keys, strict=True)]
