"""Write a plan as GeoJSON after RFC 7946: WGS84, longitude first, seven decimals, no crs member."""

from __future__ import annotations

import json
import math
from datetime import date as Date  # noqa: N812 -- `date` is a parameter here
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, Polygon

from ...lineage import CHART_DATUM, IN_LINEAGE, VERTICAL_DATUM, lineage_lines
from ...text import clean, is_missing, one_line, stamp, utc
from ..words.cautions import caution_text
from ..words.names import PLAIN, NameRule
from .prepared_features import Ready, parts_of, ready_features

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import geopandas as gpd
    from shapely.geometry.base import BaseGeometry


_json = json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode


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


def _coordinates(geometry: BaseGeometry, runs: Iterator[str]) -> str:
    if geometry.geom_type == "Point":
        return f"[{next(runs)}]"
    if isinstance(geometry, (LineString, LinearRing)):
        return f"[[{next(runs).replace(' ', '],[')}]]"
    parts = shapely.get_rings(geometry) if isinstance(geometry, Polygon) else parts_of(geometry)
    return f"[{','.join(_coordinates(part, runs) for part in parts)}]"


def _geometry(geometry: BaseGeometry, runs: Iterator[str]) -> str:
    kind = geometry.geom_type
    if kind == "GeometryCollection":
        parts = ",".join(_geometry(part, runs) for part in parts_of(geometry))
        return f'{{"type":"{kind}","geometries":[{parts}]}}'
    shown = "LineString" if kind == "LinearRing" else kind
    return f'{{"type":"{shown}","coordinates":{_coordinates(geometry, runs)}}}'


def to_geojson(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    made: datetime | None = None,
    rule: NameRule = PLAIN,
    ready: Ready | None = None,
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
    ready
        The features of the layers, where they are made already; made here without it.

    Returns
    -------
    UTF-8. Each feature has an ``id`` that differs from all others, and the properties ``layer``, ``title``
    and ``description`` before the columns of its row, in the order of the layer. A column called like one of
    these three is written with an underscore behind it. Rows without a place keep a null geometry.
    ``description``, ``level_m``, ``vertical_datum`` and ``lineage`` of the whole are foreign members (RFC 7946 section
    6.1).

    Raises
    ------
    CrsError
        A layer has no reference system.
    DataError
        Something is not a layer.
    UsageError
        ``made`` carries no zone.
    """
    made_ready = ready_features(layers, level_m=level_m) if ready is None else ready
    titles = rule.unique(feature.name for feature in made_ready.features)
    written = []
    table = zip(made_ready.features, titles, made_ready.shapes, made_ready.runs, strict=True)
    for feature, name, shape, runs in table:
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
        place = "null" if shape is None else _geometry(shape, iter(runs))
        written.append(
            f'{{"type":"Feature","id":{_json(feature.key)},"geometry":{place},"properties":{_json(own)}}}'
        )
    whole: dict[str, Any] = {
        "type": "FeatureCollection",
        "name": one_line(title) or "plan",
        "description": " ".join(
            part for part in (one_line(description), caution_text(level_m, date)) if part
        ),
    }
    if level_m is not None:
        whole |= {IN_LINEAGE: float(level_m), VERTICAL_DATUM: CHART_DATUM}
    if (moment := stamp(made)) is not None:
        whole["made"] = moment
    if lineage := lineage_lines(layers):
        whole["lineage"] = lineage
    return f'{_json(whole)[:-1]},"features":[{",".join(written)}]}}\n'.encode()
