"""Write a plan as GPX 1.1: way points, one route in the order of the stops, tracks of the legs.

The order of elements is that of the GPX 1.1 schema (topografix.com/GPX/1/1). ``ele`` is the height of a place
above the sea and is never written: a depth goes into ``desc`` in words, and into an extension in a namespace of
our own. ``time`` of a point is by the schema when it was recorded, so planned times go into the extension, in UTC.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely.geometry import Point

from ..errors import DataWarning
from .cautions import caution_text
from .features import Feature, features_of
from .markup import child, document, tag_names, value_text
from .text import number, one_line, stamp, unique_names

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    import geopandas as gpd

NAMESPACE: Final = "urn:x-castshed:plan:1"
"""Namespace of the extension; its elements are ``layer`` and the columns of the row, by their names."""

_GPX: Final = "http://www.topografix.com/GPX/1/1"
_SCHEMA: Final = f"{_GPX} http://www.topografix.com/GPX/1/1/gpx.xsd"
_TURN_APART_DEG: Final = 2e-6  # about 0.2 m: a turn nearer than this to a stop is the stop
_TYPES: Final = {
    "holds": "hold",
    "ramps": "ramp",
    "known_hazards": "hazard",
    "left_out": "left out",
    "soundings": "sounding",
}


def _place(parent: ET.Element, tag: str, x: float, y: float) -> ET.Element:
    lon = x if round(x, 7) < 180.0 else x - 360.0  # the schema ends longitudes short of 180
    return child(parent, tag, None, {"lat": f"{y:.7f}", "lon": f"{lon:.7f}"})


def _extension(parent: ET.Element, values: Mapping[str, Any], layer: str) -> None:
    written = {column: text for column, value in values.items() if (text := value_text(value))}
    inner = child(parent, "extensions")
    child(inner, "castshed:layer", layer)
    names = tag_names(written, reserved={"layer"})
    for column, text in written.items():
        child(inner, f"castshed:{names[column]}", text)


def _point_type(feature: Feature) -> str:
    if feature.role in {"spots", "other"}:
        return one_line(feature.values.get("kind")) or "spot"
    return _TYPES.get(feature.role, feature.role)


def _xy(feature: Feature) -> tuple[float, float]:
    """Longitude and latitude of a point, or of a point inside an area or on a line."""
    geometry = feature.geometry
    point = geometry if isinstance(geometry, Point) else shapely.point_on_surface(geometry)
    return float(shapely.get_x(point)), float(shapely.get_y(point))


def _way_point(parent: ET.Element, tag: str, feature: Feature) -> None:
    element = _place(parent, tag, *_xy(feature))
    child(element, "name", feature.name)
    if feature.words:
        child(element, "desc", " ".join(feature.words))
    if source := one_line(feature.values.get("source")):
        child(element, "src", source)
    child(element, "type", _point_type(feature) if tag == "wpt" else "stop")
    _extension(element, feature.values, feature.layer)


def _in_order(features: Iterable[Feature], column: str) -> list[Feature]:
    def place(feature: Feature) -> tuple[bool, float]:
        value = number(feature.values.get(column))
        return (True, 0.0) if math.isnan(value) else (False, value)

    return sorted(features, key=place)


def _pieces(feature: Feature) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    parts = shapely.get_parts(np.asarray([feature.geometry], dtype=object))
    return [
        shapely.get_coordinates(part)
        for part in parts
        if part.geom_type == "LineString" and len(part.coords) > 1
    ]


def _numbered(features: list[Feature]) -> list[Feature]:
    """Put the number in front of each stop, wide enough that names sort in the order of the run."""
    wide = max((len(f"{number(f.values.get('stop_no')):.0f}") for f in features), default=1)
    named = []
    for feature in features:
        first, _, rest = feature.name.partition(" ")
        named.append(
            replace(feature, name=f"{first.zfill(wide)} {rest}" if first.isdigit() else feature.name)
        )
    return [replace(f, name=name) for f, name in zip(named, unique_names(f.name for f in named), strict=True)]


def _turns(stop: Feature, following: Feature, legs: list[Feature]) -> list[tuple[float, float]]:
    """Inner points of the legs from one stop to the next; takes those legs off the front of the list."""
    ends = (one_line(stop.values.get("spot_id")), one_line(following.values.get("spot_id")))
    turns: list[tuple[float, float]] = []
    while legs and (one_line(legs[0].values.get("from_id")), one_line(legs[0].values.get("to_id"))) == ends:
        for piece in _pieces(legs.pop(0)):
            turns += [(float(x), float(y)) for x, y in piece]
    kept: list[tuple[float, float]] = []
    for turn in turns:
        near = [_xy(stop), _xy(following), *kept[-1:]]
        if all(abs(turn[0] - x) + abs(turn[1] - y) > _TURN_APART_DEG for x, y in near):
            kept.append(turn)
    return kept


def _route(root: ET.Element, stops: list[Feature], legs: list[Feature], name: str) -> None:
    route = child(root, "rte")
    child(route, "name", name)
    child(route, "desc", "Stops in order, with the turns of the legs between them. " + caution_text())
    child(route, "number", "1")
    left = list(legs)
    for place, stop in enumerate(stops):
        _way_point(route, "rtept", stop)
        if place + 1 < len(stops):
            leg = place + 1
            for count, (x, y) in enumerate(_turns(stop, stops[place + 1], left), start=1):
                turn = _place(route, "rtept", x, y)
                child(turn, "name", f"leg {leg} turn {count}")
                child(turn, "type", "turn")
    if left and stops:
        warnings.warn(
            f"{len(left)} of {len(legs)} legs do not join two stops in the order of the run; "
            "the route goes straight between those stops, so follow the track.",
            DataWarning,
            stacklevel=3,
        )


def _track(root: ET.Element, features: Sequence[Feature], name: str, words: str, order: int) -> None:
    track = child(root, "trk")
    child(track, "name", name)
    if words:
        child(track, "desc", words)
    child(track, "number", str(order))
    child(track, "type", "run" if features[0].role == "legs" else features[0].role)
    if len(features) == 1:
        _extension(track, features[0].values, features[0].layer)
    for feature in features:
        for piece in _pieces(feature):
            segment = child(track, "trkseg")
            for x, y in piece:
                _place(segment, "trkpt", float(x), float(y))
            if len(features) > 1:
                _extension(segment, feature.values, feature.layer)


def _sorted_out(features: list[Feature]) -> tuple[list[Feature], list[Feature], list[Feature], list[Feature]]:
    """Way points, stops, legs and other lines; says what GPX has no place for."""
    points, stops, legs, lines = [], [], [], []
    left_out: dict[str, int] = {}
    spots_told = any(feature.role == "spots" for feature in features)
    for feature in features:
        kind = feature.geometry.geom_type if feature.geometry is not None else ""
        if feature.role == "holds" and feature.values.get("status") == "none":
            if not spots_told:
                left_out[f"{feature.layer} with status none"] = (
                    left_out.get(f"{feature.layer} with status none", 0) + 1
                )
        elif feature.role == "stops" and kind == "Point":
            stops.append(feature)
        elif feature.role == "legs" and kind in {"LineString", "MultiLineString"}:
            legs.append(feature)
        elif kind in {"Point", "MultiPoint"} or (kind and feature.role == "spots"):
            points.append(feature)
        elif kind in {"LineString", "MultiLineString"}:
            lines.append(feature)
        else:
            left_out[feature.layer] = left_out.get(feature.layer, 0) + 1
    if left_out:
        told = ", ".join(f"{count} of {layer}" for layer, count in left_out.items())
        warnings.warn(
            f"GPX holds points and lines only: left out {told}. Write them as kml or geojson.",
            DataWarning,
            stacklevel=3,
        )
    return points, _in_order(stops, "stop_no"), _in_order(legs, "leg_no"), lines


def to_gpx(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    made: datetime | None = None,
) -> bytes:
    """Write layers as one GPX 1.1 document.

    Parameters
    ----------
    layers
        Layers by name, in any reference system. ``stops`` become the route, with the turns of ``legs``; ``legs``
        become one track with a segment for each row; other points become way points, and so do ``spots`` of any
        geometry, at a point inside them; other lines become tracks. Areas have no place in GPX and are left out
        with a warning.
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

    Returns
    -------
    bytes
        The document in UTF-8. Names of way points are unique regardless of case. A hold where a stop is made is
        named by the number and name of the stop, so that way points sort in the order of the run.

    Raises
    ------
    CrsError
        A layer has no reference system.
    DataError
        Something is not a layer.
    UsageError
        ``made`` carries no zone.
    """
    points, stops, legs, lines = _sorted_out(features_of(layers, level_m=level_m))
    root = ET.Element(
        "gpx",
        {
            "version": "1.1",
            "creator": "castshed",
            "xmlns": _GPX,
            "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
            "xmlns:castshed": NAMESPACE,
            "xsi:schemaLocation": _SCHEMA,
        },
    )
    about = child(root, "metadata")
    child(about, "name", one_line(title) or "plan")
    child(
        about, "desc", " ".join(part for part in (one_line(description), caution_text(level_m, date)) if part)
    )
    if (moment := stamp(made)) is not None:
        child(about, "time", moment)
    numbered = _numbered(stops)
    at_stop = {stop.name: named.name for stop, named in zip(stops, numbered, strict=True)}
    points = [replace(point, name=at_stop.get(point.stop, point.name)) for point in points]
    # holds first: the places a boat is steered to keep their names, others get the number
    ranked = sorted(range(len(points)), key=lambda place: points[place].role != "holds")
    names = dict(zip(ranked, unique_names(points[place].name for place in ranked), strict=True))
    for place, point in enumerate(points):
        _way_point(root, "wpt", replace(point, name=names[place]))
    if numbered:
        _route(root, numbered, legs, one_line(title) or "run")
    if legs:
        _track(
            root,
            legs,
            f"{one_line(title) or 'run'}: legs",
            "The way the legs were checked on. " + caution_text(level_m, date),
            1,
        )
    track_names = unique_names(line.name for line in lines)
    for order, (line, name) in enumerate(zip(lines, track_names, strict=True), start=2):
        _track(root, [line], name, " ".join(line.words), order)
    return document(root)
