"""What GPX has a place for: way points, the run as stops and turns of the legs, lines; and what it has none for.

The user's own table of symbols: what their device calls the mark of each kind.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely.geometry import Point

from ...errors import DataError
from ...report import note
from ...text import how_many, number, one_line
from ..words.features import Feature
from ..words.names import TABLES, role_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    import geopandas as gpd

    from ...intake.series.series_table import SeriesTable
    from ..words.names import NameRule

_STRAIGHT_M: Final = 0.05
_CLOSE_M: Final = 30.0
_DEGREE_M: Final = 111_195.0
_TURN_APART_DEG: Final = 4e-7  # about 4 cm: a turn nearer than this to a stop is the stop


@dataclass(frozen=True)
class Turn:
    """A bend of the way between two stops."""

    lon: float
    lat: float
    name: str


def xy(feature: Feature) -> tuple[float, float]:
    """Longitude and latitude of a point, or of a point inside an area or on a line."""
    geometry = feature.geometry
    point = geometry if isinstance(geometry, Point) else shapely.point_on_surface(geometry)
    return float(shapely.get_x(point)), float(shapely.get_y(point))


def in_order(features: Iterable[Feature], column: str) -> list[Feature]:
    """Features by the number in a column; those without one last."""

    def place(feature: Feature) -> tuple[bool, float]:
        value = number(feature.values.get(column))
        return (True, 0.0) if math.isnan(value) else (False, value)

    return sorted(features, key=place)


def pieces(feature: Feature) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
    """Coordinates of each line a feature is made of."""
    parts = shapely.get_parts(np.asarray([feature.geometry], dtype=object))
    return [
        shapely.get_coordinates(part)
        for part in parts
        if part.geom_type == "LineString" and len(part.coords) > 1
    ]


def numbered(features: list[Feature], rule: NameRule) -> list[Feature]:
    """Put the number in front of each stop, wide enough that names sort in the order of the run."""
    wide = max((len(f"{number(f.values.get('stop_no')):.0f}") for f in features), default=1)
    named = []
    for feature in features:
        first, _, rest = feature.name.partition(" ")
        named.append(
            replace(feature, name=f"{first.zfill(wide)} {rest}" if first.isdigit() else feature.name)
        )
    return [replace(f, name=name) for f, name in zip(named, rule.unique(f.name for f in named), strict=True)]


def _turns(stop: Feature, following: Feature, legs: list[Feature]) -> list[tuple[float, float]]:
    """Inner points of the legs from one stop to the next; takes those legs off the front of the list."""
    ends = (one_line(stop.values.get("spot_id")), one_line(following.values.get("spot_id")))
    turns: list[tuple[float, float]] = []
    while legs and (one_line(legs[0].values.get("from_id")), one_line(legs[0].values.get("to_id"))) == ends:
        for piece in pieces(legs.pop(0)):
            turns += [(float(x), float(y)) for x, y in piece]
    kept: list[tuple[float, float]] = []
    for turn in turns:
        near = [xy(stop), xy(following), *kept[-1:]]
        if all(abs(turn[0] - x) + abs(turn[1] - y) > _TURN_APART_DEG for x, y in near):
            kept.append(turn)
    return _but_straight([xy(stop), *kept, xy(following)])[1:-1]


def _but_straight(way: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out turns close to another that are none: centimetres beside the straight between their neighbours."""
    kept = way[:1]
    for k in range(1, len(way) - 1):
        wide = math.cos(math.radians(way[k][1]))
        (x, y), (east, north) = (
            ((one[0] - kept[-1][0]) * wide * _DEGREE_M, (one[1] - kept[-1][1]) * _DEGREE_M)
            for one in (way[k], way[k + 1])
        )
        size = math.hypot(east, north)
        ahead = 0.0 < x * east + y * north < size**2
        close = min(math.hypot(x, y), math.hypot(east - x, north - y)) < _CLOSE_M
        if not (close and ahead and abs(x * north - y * east) <= _STRAIGHT_M * size):
            kept.append(way[k])
    return [*kept, *way[-1:]] if len(way) > 1 else way


def route_points(stops: list[Feature], legs: list[Feature]) -> list[Feature | Turn]:
    """Put the stops in their order with the turns of the legs between them; says which legs join no two stops.

    Parameters
    ----------
    stops, legs
        In the order of the run.
    """
    points: list[Feature | Turn] = []
    left = list(legs)
    for place, stop in enumerate(stops):
        points.append(stop)
        if place + 1 < len(stops):
            turns = _turns(stop, stops[place + 1], left)
            points += [
                Turn(x, y, f"leg {place + 1} turn {count}") for count, (x, y) in enumerate(turns, start=1)
            ]
    if left and stops:
        note(
            f"{len(left)} of {how_many(len(legs), 'leg')} {'does' if len(left) == 1 else 'do'} not join two stops in "
            "the order of the run; the route goes straight between those stops, so follow the track.",
            stacklevel=4,
        )
    return points


def few_turns(features: Iterable[Feature]) -> list[Feature]:
    """Give the pieces of the route with few turns, in order; none where that layer is not there."""
    return in_order([one for one in features if one.role == "route" and one.geometry is not None], "leg_no")


def for_the_run(layers: Mapping[str, gpd.GeoDataFrame]) -> dict[str, gpd.GeoDataFrame]:
    """Give what a boat steers by: stops with their holds, the way, ramps. A plan without stops is given whole."""
    roles = {name: role_of(name, frame) for name, frame in layers.items()}
    stops = [layers[name] for name, role in roles.items() if role == "stops"]
    if not stops:
        return dict(layers)
    chosen = {str(one) for frame in stops for one in frame["spot_id"]}
    kept = {}
    for name, frame in layers.items():
        if roles[name] == "holds":
            kept[name] = frame[frame["spot_id"].astype(str).isin(chosen)]
        elif roles[name] in {"stops", "legs", "route", "ramps"}:
            kept[name] = frame
    return kept


def sorted_out(features: list[Feature]) -> tuple[list[Feature], list[Feature], list[Feature], list[Feature]]:
    """Way points, stops, legs and other lines; says what GPX has no place for."""
    points, stops, legs, lines = [], [], [], []
    left_out: dict[str, int] = {}
    spots_told = any(feature.role in {"spots", "structure"} for feature in features)
    holds_told = any(feature.role == "holds" for feature in features)
    for feature in features:
        kind = feature.geometry.geom_type if feature.geometry is not None else ""
        if feature.role == "holds" and feature.values.get("status") == "none":
            if not spots_told:
                left_out[f"{feature.layer} with status none"] = (
                    left_out.get(f"{feature.layer} with status none", 0) + 1
                )
        elif feature.role == "stops" and kind == "Point":
            stops.append(feature)
        elif feature.role == "route":
            continue  # its turns go into the route, the legs as they are into the track
        elif feature.role == "legs" and kind in {"LineString", "MultiLineString"}:
            legs.append(feature)
        elif feature.role in TABLES:
            left_out[feature.layer] = left_out.get(feature.layer, 0) + 1
        elif feature.role == "fixes" and holds_told:
            continue  # said with its hold
        elif kind in {"Point", "MultiPoint"} or (kind and feature.role in {"spots", "structure"}):
            points.append(feature)
        elif kind in {"LineString", "MultiLineString"}:
            lines.append(feature)
        else:
            left_out[feature.layer] = left_out.get(feature.layer, 0) + 1
    if left_out:
        told = ", ".join(f"{count} of {layer}" for layer, count in left_out.items())
        note(
            f"GPX holds points and lines to steer by, no areas and no tables: left out {told}. "
            "Write them as kml or geojson.",
            stacklevel=4,
        )
    return points, in_order(stops, "stop_no"), in_order(legs, "leg_no"), lines


def symbol_key(kind: str) -> str:
    """Kinds are compared without regard to case, blanks and underscores."""
    return one_line(kind).replace("_", " ").casefold()


def symbol_table(table: SeriesTable | Mapping[str, str] | None) -> dict[str, str]:
    """Read a table of symbols: kind to text.

    Parameters
    ----------
    table
        A table with the columns ``kind`` and ``symbol``, or a mapping; None for no symbols at all.

    Raises
    ------
    DataError
        A column is missing, a kind is named twice with different texts, or a row has no kind.
    """
    if table is None:
        return {}
    if isinstance(table, Mapping):
        return {symbol_key(kind): one_line(text) for kind, text in table.items() if one_line(text)}
    lower = {column.strip().casefold(): column for column in table.columns}
    missing = [name for name in ("kind", "symbol") if name not in lower]
    if missing:
        raise DataError(
            f"{table.name} has no column {' and '.join(missing)}; give the columns kind and symbol, it has: "
            f"{', '.join(table.columns)}."
        )
    found: dict[str, str] = {}
    pairs = zip(table.texts(lower["kind"]), table.texts(lower["symbol"]), table.lines, strict=True)
    for kind, text, line in pairs:
        key, symbol = symbol_key(kind), one_line(text)
        if not key:
            raise DataError(f"{table.name} line {line} names no kind; write one, such as hump or hold.")
        if found.get(key, symbol) != symbol:
            raise DataError(f"{table.name} line {line} gives {kind} a second symbol; keep one of the two.")
        found[key] = symbol
    return {key: symbol for key, symbol in found.items() if symbol}
