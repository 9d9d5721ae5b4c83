"""Write a plan as GeoJSON after RFC 7946: WGS84, longitude first, seven decimals, no crs member."""

from __future__ import annotations

import json
import math
from datetime import date as Date  # noqa: N812 -- `date` is a parameter here
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from .cautions import caution_text
from .earth import on_earth
from .features import features_of
from .lineage import lineage_lines
from .names import PLAIN, NameRule
from .text import clean, is_missing, one_line, stamp, utc

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry


def _value(value: Any) -> Any:
    """Say a cell as JSON has it; null for what is missing and for numbers JSON has no word for."""
    if is_missing(value):
        return None
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, (bool, int)):
        return value
    if isinstance(value, (datetime, Date)):
        return utc(value) or value.isoformat()
    return clean(value)


def _points(geometry: BaseGeometry) -> list[list[float]]:
    # + 0.0 turns -0.0 into 0.0
    return [[round(x, 7) + 0.0, round(y, 7) + 0.0] for x, y in shapely.get_coordinates(geometry).tolist()]


def _geometry(geometry: BaseGeometry) -> dict[str, Any]:
    kind = geometry.geom_type
    if kind == "LinearRing":
        kind = "LineString"
    coordinates: Any
    if kind == "Point":
        coordinates = _points(geometry)[0]
    elif kind == "LineString":
        coordinates = _points(geometry)
    elif isinstance(geometry, Polygon):
        coordinates = [_points(ring) for ring in (geometry.exterior, *geometry.interiors)]
    else:
        parts = [_geometry(part) for part in shapely.get_parts(geometry)]
        if kind == "GeometryCollection":
            return {"type": kind, "geometries": parts}
        coordinates = [part["coordinates"] for part in parts]
    return {"type": kind, "coordinates": coordinates}


def to_geojson(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    made: datetime | None = None,
    rule: NameRule = PLAIN,
) -> bytes:
    """Write layers as one GeoJSON FeatureCollection.

    Parameters
    ----------
    layers
        Layers by name, in any reference system.
    title
        Name of the plan.
    description
        What the reader should know besides the cautions, which are always added.
    level_m
        Today's surface minus chart datum in metres, signed; None where it is not known.
    date
        Day of that level, as text.
    made
        When the plan was made, with its zone; written in UTC.
    rule
        How titles are written: cut to a length, in ASCII.

    Returns
    -------
    bytes
        UTF-8. Each feature has an ``id`` that differs from all others, and the properties ``layer``, ``title``
        and ``description`` before the columns of its row, in the order of the layer. A column called like one of
        these three is written with an underscore behind it. Rows without a place keep a null geometry.
        ``description`` and ``lineage`` of the whole are foreign members (RFC 7946 section 6.1).

    Raises
    ------
    CrsError
        A layer has no reference system.
    DataError
        Something is not a layer.
    UsageError
        ``made`` carries no zone.
    """
    features = features_of(layers, level_m=level_m)
    titles = rule.unique(feature.name for feature in features)
    written = []
    for feature, name in zip(features, titles, strict=True):
        own: dict[str, Any] = {
            "layer": feature.layer,
            "title": name,
            "description": rule.words(" ".join(feature.words)),
        }
        for column, value in feature.values.items():
            key = clean(column)
            while key in own:
                key += "_"
            own[key] = _value(value)
        geometry = None if feature.geometry is None else _geometry(on_earth(feature.geometry))
        written.append({"type": "Feature", "id": feature.key, "geometry": geometry, "properties": own})
    whole: dict[str, Any] = {
        "type": "FeatureCollection",
        "name": one_line(title) or "plan",
        "description": " ".join(
            part for part in (one_line(description), caution_text(level_m, date)) if part
        ),
    }
    if (moment := stamp(made)) is not None:
        whole["made"] = moment
    if lineage := lineage_lines(layers):
        whole["lineage"] = lineage
    whole["features"] = written
    return json.dumps(whole, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode() + b"\n"
