"""Write a plan as GPX 1.1: way points, one route in the order of the stops, tracks of the legs.

The order of elements is that of the GPX 1.1 schema (topografix.com/GPX/1/1). ``ele`` is the height of a place
above the sea and is never written: a depth goes into ``desc`` in words, and into an extension in a namespace of
our own. ``time`` of a point is by the schema when it was recorded, so planned times go into the extension, in UTC.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

from ...errors import UsageError
from ...lineage import CHART_DATUM, IN_LINEAGE, VERTICAL_DATUM, lineage_lines
from ...text import one_line, stamp
from ..words.cautions import caution_text
from ..words.features import Feature, features_of
from ..words.names import PLAIN, NameRule
from .gpx_run import Turn, few_turns, numbered, pieces, route_points, sorted_out, symbol_key, xy
from .xml_zip_writing import child, document, tag_names, value_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    import geopandas as gpd

    Symbols = Mapping[str, str]

NAMESPACE: Final = "urn:x-castshed:plan:1"
"""Namespace of the extension; its elements are ``layer`` and the columns of the row, by their names."""

_GPX: Final = "http://www.topografix.com/GPX/1/1"
_SCHEMA: Final = f"{_GPX} http://www.topografix.com/GPX/1/1/gpx.xsd"
_TYPES: Final = {
    "holds": "hold",
    "ramps": "ramp",
    "known_hazards": "hazard",
    "left_out": "left out",
    "soundings": "sounding",
    "fixes": "marks",
    "landmarks": "landmark",
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
    if feature.role in {"spots", "structure", "other"}:
        return one_line(feature.values.get("kind")) or "spot"
    return _TYPES.get(feature.role, feature.role)


def _symbol(parent: ET.Element, kind: str, symbols: Symbols) -> None:
    if text := symbols.get(symbol_key(kind)):
        child(parent, "sym", text)


def _way_point(parent: ET.Element, tag: str, feature: Feature, symbols: Symbols, rule: NameRule) -> None:
    element = _place(parent, tag, *xy(feature))
    kind = _point_type(feature) if tag == "wpt" else "stop"
    child(element, "name", feature.name)
    if feature.words:
        child(element, "desc", rule.words(" ".join(feature.words)))
    if source := one_line(feature.values.get("source")):
        child(element, "src", rule.words(source))
    _symbol(element, kind, symbols)
    child(element, "type", rule.words(kind) or "spot")
    _extension(element, feature.values, feature.layer)


def _route(
    root: ET.Element,
    points: Sequence[Feature | Turn],
    name: str,
    caution: str,
    symbols: Symbols,
    rule: NameRule,
) -> None:
    route = child(root, "rte")
    child(route, "name", name)
    child(
        route,
        "desc",
        rule.words("Stops in order, with the turns of the legs between them. " + caution),
    )
    child(route, "number", "1")
    for point in points:
        if isinstance(point, Feature):
            _way_point(route, "rtept", point, symbols, rule)
            continue
        turn = _place(route, "rtept", point.lon, point.lat)
        child(turn, "name", rule.one(point.name))
        _symbol(turn, "turn", symbols)
        child(turn, "type", "turn")


def _track(
    root: ET.Element, features: Sequence[Feature], name: str, words: str, order: int, rule: NameRule
) -> None:
    track = child(root, "trk")
    child(track, "name", name)
    if words:
        child(track, "desc", rule.words(words))
    child(track, "number", str(order))
    child(track, "type", "run" if features[0].role == "legs" else features[0].role)
    if len(features) == 1:
        _extension(track, features[0].values, features[0].layer)
    for feature in features:
        for piece in pieces(feature):
            segment = child(track, "trkseg")
            for x, y in piece:
                _place(segment, "trkpt", float(x), float(y))
            if len(features) > 1:
                _extension(segment, feature.values, feature.layer)


def _tracks(
    root: ET.Element,
    legs: Sequence[Feature],
    lines: Sequence[Feature],
    title: str,
    cautions: str,
    rule: NameRule,
) -> None:
    names = rule.unique([*([f"{title or 'run'}: legs"] if legs else []), *(line.name for line in lines)])
    if legs:
        _track(root, legs, names.pop(0), "The way the legs were checked on. " + cautions, 1, rule)
    for order, (line, name) in enumerate(zip(lines, names, strict=True), start=2):
        _track(root, [line], name, " ".join(line.words), order, rule)


def _chunks(points: Sequence[Feature], most: int | None) -> list[Sequence[Feature]]:
    return [points[at : at + most] for at in range(0, len(points), most)] if most else [points]


def _route_parts(points: Sequence[Feature | Turn], most: int | None) -> list[Sequence[Feature | Turn]]:
    """Cut a route into parts of at most so many points; the last point of a part is the first of the next."""
    if not most or len(points) <= most:
        return [points]
    return [points[at : at + most] for at in range(0, len(points) - 1, most - 1)]


def _head(
    root: ET.Element,
    title: str,
    words: Iterable[str],
    made: datetime | None,
    rule: NameRule,
    level_m: float | None,
) -> None:
    about = child(root, "metadata")
    child(about, "name", rule.words(one_line(title)).strip() or "plan")
    child(about, "desc", rule.words(" ".join(part for part in words if part)))
    if (moment := stamp(made)) is not None:
        child(about, "time", moment)
    if level_m is not None:
        inner = child(about, "extensions")
        child(inner, f"castshed:{IN_LINEAGE}", value_text(float(level_m)))
        child(inner, f"castshed:{VERTICAL_DATUM}", CHART_DATUM)


def to_gpx_files(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    title: str,
    description: str = "",
    level_m: float | None = None,
    date: str | None = None,
    made: datetime | None = None,
    rule: NameRule = PLAIN,
    symbols: Mapping[str, str] | None = None,
    most_points: int | None = None,
) -> list[bytes]:
    """Write layers as GPX 1.1 documents for a device that takes only so many way points.

    Parameters
    ----------
    layers
        Layers by name, in any reference system. ``stops`` become the route, with the turns of ``route``, or of
        ``legs`` where that is not there; ``legs``
        become one track with a segment for each row; other points become way points, and so do ``spots`` of any
        geometry, at a point inside them; other lines become tracks. Areas have no place in GPX and are left out
        with a warning, and so are tables by the hour.
    title, description, level_m, date, made
        As for `to_geojson`.
    rule
        How names are written: cut to a length, in ASCII. Names differ over all the files together.
    symbols
        Kind to the text of ``sym``: kinds of spots, and hold, ramp, stop, turn, hazard, landmark, marks. A kind
        that is not named gets none: no device's symbols are assumed.
    most_points
        Most way points of a file, and most points of its route; None for one file. A route that is cut goes on in
        the next file from the point where it ended. Points of tracks are not counted; the tracks are in the first.

    Returns
    -------
    One document or more in UTF-8; holds come first, then the other way points in the order given. Names of way points
    are unique regardless of case. A hold where a stop is made is named by the number and name of the stop, so that
    way points sort in the order of the run.

    Raises
    ------
    CrsError, DataError
        As for `to_geojson`.
    UsageError
        ``made`` carries no zone; fewer than two points are allowed; a name is too long for its rule.
    """
    if most_points is not None and most_points < 2:
        raise UsageError(
            f"most points is {most_points}; give 2 or more, since a route has a beginning and an end."
        )
    features = features_of(layers, level_m=level_m)
    points, stops, legs, lines = sorted_out(features)
    told = dict(symbols or {})
    own_title = one_line(title)
    named = numbered(stops, rule)
    at_stop = {stop.name: after.name for stop, after in zip(stops, named, strict=True)}
    points = [replace(point, name=at_stop.get(point.stop, point.name)) for point in points]
    # holds first: the places a boat is steered to keep their names, others get the number
    ranked = sorted(points, key=lambda point: point.role != "holds")
    ranked = [replace(p, name=n) for p, n in zip(ranked, rule.unique(p.name for p in ranked), strict=True)]
    parts = _route_parts(route_points(named, few_turns(features) or legs), most_points)
    groups = _chunks(ranked, most_points)
    many = max(len(groups), len(parts))
    documents = []
    for number_of in range(1, many + 1):
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
        which = f"File {number_of} of {many}." if many > 1 else ""
        words = (one_line(description), which, caution_text(level_m, date), *lineage_lines(layers))
        _head(root, title, words, made, rule, level_m)
        for point in groups[number_of - 1] if number_of <= len(groups) else ():
            _way_point(root, "wpt", point, told, rule)
        part = parts[number_of - 1] if number_of <= len(parts) else ()
        if part:
            what = (
                f"{own_title or 'run'} {number_of} of {len(parts)}" if len(parts) > 1 else own_title or "run"
            )
            _route(root, part, rule.one(what), caution_text(level_m, date), told, rule)
        if number_of == 1:
            _tracks(root, legs, lines, own_title, caution_text(level_m, date), rule)
        documents.append(document(root))
    return documents


def to_gpx(layers: Mapping[str, gpd.GeoDataFrame], **told: Any) -> bytes:
    """Write layers as one GPX 1.1 document; what is told is that of `to_gpx_files`."""
    return to_gpx_files(layers, **told)[0]
