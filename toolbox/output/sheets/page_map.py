"""What the map of the page is drawn from: outlines as whole steps in few letters, places and words, as plain values.

Outlines are thinned, never to more than told. What to keep out of is widened by as much first: never drawn too small.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from ...lon_lat import grid_north_deg
from ...text import number, one_line, units_in_order
from ..maps.chart_ground import BandColours, band_colours
from ..maps.chart_page import bounds_of
from ..maps.chart_table import records
from ..words.row_words import describe

if TYPE_CHECKING:
    import geopandas as gpd
    import pyproj

    from ...arrays import Floats, Geometries
    from ..maps.plan_facts import LegFacts, StopFacts

    Frames = Mapping[str, gpd.GeoDataFrame]

_OFF_M: Final = 1.0  # no outline of the ground is surer than this
_COARSE: Final = 3.0  # times as far off: for pictures of miles of water
_MOST_POINTS: Final = 250_000  # of all outlines: a telephone draws no more at once
_POWERS: Final = 5


@dataclass(frozen=True)
class Ground:
    """The lake as it is drawn: corner of the map, step of its numbers, how far outlines may be off, all in metres."""

    west: float
    south: float
    east: float
    north: float
    step_m: float
    off_m: float
    water: Geometries
    dry: Geometries
    bands: BandColours  # limits and colours, shallow first
    deeper: (
        Geometries  # for each band all water from its upper limit down, so that every isobath is there once
    )
    hazards: Geometries  # a row each
    coarse: Ground | None = None  # the same for views from farther off

    def seen_at(self, detail_m: float) -> Ground:
        """Choose what is fine enough where nothing smaller than this shows."""
        coarse = self.coarse
        return self if coarse is None or coarse.off_m > detail_m else coarse.seen_at(detail_m)


def _nested(frame: gpd.GeoDataFrame, bands: BandColours) -> Geometries:
    limits = [repr((number(a), number(b))) for a, b in zip(frame["from_m"], frame["to_m"], strict=True)]
    shapes = frame.geometry.to_numpy()
    found: list[Any] = []
    for low, high, _ in reversed(bands):
        own = [shape for shape, told in zip(shapes, limits, strict=True) if told == repr((low, high))]
        parts = np.array([*own, *found[-1:]], dtype=object)
        whole = shapely.coverage_union_all(parts)
        if not shapely.is_valid(whole) or not np.isclose(shapely.area(whole), shapely.area(parts).sum()):
            whole = shapely.union_all(shapely.make_valid(parts))  # bands that are no coverage
        found.append(whole)
    return np.array(found[::-1], dtype=object)


def _areas(frame: gpd.GeoDataFrame | None) -> Geometries:
    shapes = np.empty(0, dtype=object) if frame is None else frame.geometry.to_numpy()
    return np.asarray(shapely.make_valid(shapes), dtype=object)


def _thinned(shapes: Geometries, off_m: float) -> Geometries:
    return np.asarray(shapely.simplify(shapes, off_m, preserve_topology=False), dtype=object)


def ground_of(frames: Frames) -> Ground:
    """Make the lake ready to be drawn.

    Parameters
    ----------
    frames
        Layers by role, in one system in metres.
    """
    west, south, east, north = bounds_of(frames)
    rim = 0.05 * max(east - west, north - south, 300.0)
    water = _areas(frames["water"] if len(frames.get("water", ())) else frames.get("shoreline"))
    dry, hazards = (_areas(frames.get(role)) for role in ("dry_ground", "shallow_hazards"))
    bands = band_colours(frames.get("depth_bands"))
    deeper = _nested(frames["depth_bands"], bands) if bands else np.empty(0, dtype=object)
    off_m = _OFF_M
    while True:
        wide = shapely.buffer(hazards, off_m, join_style="mitre", quad_segs=2)
        drawn = [_thinned(shapes, off_m) for shapes in (water, dry, deeper, wide)]
        if sum(int(shapely.get_num_coordinates(one).sum()) for one in drawn) <= _MOST_POINTS:
            break
        off_m *= 1.5
    box = (west - rim, south - rim, east + rim, north + rim)

    def made(off: float, coarse: Ground | None = None) -> Ground:
        shapes = drawn if off == off_m else [_thinned(one, off) for one in drawn]
        return Ground(*box, 0.5 * off, off, shapes[0], shapes[1], bands, shapes[2], shapes[3], coarse)

    return made(off_m, made(_COARSE * off_m, made(_COARSE**2 * off_m)))


def packed(values: Sequence[int] | np.ndarray[Any, Any]) -> str:
    """Write whole numbers in few letters: seven bits a byte, the sign in the lowest, the bytes in base 64.

    Examples
    --------
    >>> packed([0, -1, 1, 64])
    'AAECgAE='
    """
    given = np.asarray(values, dtype=np.int64)
    plain = (given << 1) ^ (given >> 63)
    long = 1 + (plain[:, None] >= 1 << np.array([7, 14, 21, 28, 35])).sum(axis=1)
    ends = np.cumsum(long)
    made = np.zeros(int(ends[-1]) if len(ends) else 0, dtype=np.uint8)
    for k in range(int(long.max(initial=0))):
        has = long > k
        more = (long[has] > k + 1).astype(np.int64) << 7
        made[(ends - long)[has] + k] = ((plain[has] >> (7 * k)) & 127) | more
    return base64.b64encode(made.tobytes()).decode("ascii")


def outlines(shape: Any, ground: Ground) -> str:
    """Write rings of areas, lines or points: for each how many places, then the steps from place to place."""
    lines = [
        ring
        for part in shapely.get_parts(shape)
        for ring in (shapely.get_rings(part) if part.geom_type == "Polygon" else [part])
    ]
    made: list[np.ndarray[Any, Any]] = []
    last = np.zeros((1, 2), dtype=np.int64)
    for line in lines:
        at = (shapely.get_coordinates(line) - (ground.west, ground.south)) / ground.step_m
        steps = np.rint(at[:-1] if line.geom_type == "LinearRing" else at).astype(np.int64)
        moved = np.any(np.diff(steps, axis=0, prepend=steps[:1] - 1) != 0, axis=1)
        steps = steps[moved]
        if len(steps):
            made += [np.array([len(steps)]), np.diff(steps, axis=0, prepend=last).ravel()]
            last = steps[-1:]
    return packed(np.concatenate(made) if made else [])


def lon_lat_terms(crs: pyproj.CRS, ground: Ground) -> dict[str, Any]:
    """Fit longitude and latitude as sums of powers of the place on the map, and tell how far they are off at most.

    Returns
    -------
    dict
        ``half``: half the side of the map in metres; ``lon`` and ``lat``: factors of x^i y^j for i + j up to
        ``powers``, i first; ``off_m``: the greatest error found between the places it was fitted at.
    """
    import pyproj

    go = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    half = 0.5 * max(ground.east - ground.west, ground.north - ground.south)
    middle = np.array([(ground.west + ground.east) / 2.0, (ground.south + ground.north) / 2.0])

    def terms(places: Floats) -> Floats:
        x, y = places.T
        return np.column_stack([x**i * y**j for i in range(_POWERS + 1) for j in range(_POWERS + 1 - i)])

    def made(count: int) -> tuple[Floats, Floats]:
        x, y = np.meshgrid(np.linspace(-1.0, 1.0, count), np.linspace(-1.0, 1.0, count))
        at = np.column_stack([x.ravel(), y.ravel()])
        lon, lat = go.transform(*(middle + half * at).T)
        return at, np.column_stack([lon, lat])

    at, degrees = made(12)
    factors, *_ = np.linalg.lstsq(terms(at), degrees, rcond=None)
    at, degrees = made(17)
    miss = np.abs(terms(at) @ factors - degrees) * 111_320.0
    return {
        "powers": _POWERS, "half": half, "lon": factors[:, 0].tolist(), "lat": factors[:, 1].tolist(),
        "off_m": float(np.nanmax(miss)),
    }  # fmt: skip


def _at(shape: Any, ground: Ground) -> list[float]:
    point = shape if shape.geom_type == "Point" else shapely.point_on_surface(shape)
    return [round(point.x - ground.west, 2), round(point.y - ground.south, 2)]


def _line(shape: Any, ground: Ground) -> list[list[float]]:
    places: list[list[float]] = (
        (shapely.get_coordinates(shape) - (ground.west, ground.south)).round(2).tolist()
    )
    return places


def _words(role: str, row: Mapping[str, Any], level_m: float | None, *, metric: bool) -> list[str]:
    return [units_in_order(text, metric_first=metric) for text in describe(role, row, level_m)]


def _things(
    frames: Frames, ground: Ground, chosen: set[str], level_m: float | None, *, metric: bool
) -> list[dict[str, Any]]:
    """Tell what there is besides stops and legs: spots the run leaves out, ramps, zones and what to keep out of."""
    found: list[dict[str, Any]] = []
    for role in ("shallow_hazards", "known_hazards", "zones", "ramps", "spots"):
        frame = frames.get(role)
        shapes = (
            ground.hazards
            if role == "shallow_hazards"
            else []
            if frame is None
            else frame.geometry.to_numpy()
        )
        for k, (row, shape) in enumerate(zip(records(frame), shapes, strict=True)):
            if shapely.is_empty(shape) or (role == "spots" and one_line(row.get("spot_id")) in chosen):
                continue
            said = _words(role, row, level_m, metric=metric)
            kind = {"ramps": "ramp", "shallow_hazards": "thin water"}.get(role)
            kind = kind or one_line(row.get("kind") or row.get("zone")).replace("_", " ")
            name = one_line(row.get("name") or row.get("spot_id") or row.get("ramp_id"))
            one: dict[str, Any] = {
                "role": role,
                "key": f"{role}:{k}",
                "kind": kind,
                "name": name or kind,
                "words": said,
                "at": _at(shape, ground),
            }
            if role == "shallow_hazards":
                one["care"] = one_line(row.get("care"))
            if role == "spots":
                one["out"] = number(row.get("fishable")) == 0.0
            if role != "spots" and shape.geom_type != "Point":
                one["shape"] = outlines(shape, ground)
                one["area"] = shape.geom_type.endswith("Polygon")
            found.append(one)
    return found


def page_data(
    frames: Frames,
    ground: Ground,
    stops: Sequence[StopFacts],
    legs: Sequence[LegFacts],
    clock: Mapping[str, Any],
    *,
    level_m: float | None,
    metric: bool,
) -> dict[str, Any]:
    """Put together all that the page's map, search and hours need, as plain values for JSON.

    Parameters
    ----------
    frames
        Layers by role.
    ground
        The lake as it is drawn.
    stops, legs
        Facts of the plan.
    clock
        The hours, of `hours_of_page`.
    level_m
        Today's level, for words on depths.
    metric
        Whether metres come first.
    """
    crs = frames["stops"].crs
    middle = ((ground.west + ground.east) / 2.0, (ground.south + ground.north) / 2.0)
    marks, casts = by_spot(frames.get("spots")), casts_of(frames)
    told_stops: list[dict[str, Any]] = []
    for k, (stop, point) in enumerate(zip(stops, in_order(frames["stops"]).geometry.to_numpy(), strict=True)):
        mark, cast = marks.get(stop.spot_id), casts.get(stop.spot_id)
        line = None if cast is None or stop.ramp else _line(cast, ground)
        weather = (stop.wind and f"wind {stop.wind}", stop.wave and f"waves {stop.wave}")
        one: dict[str, Any] = {
            "key": f"stop:{k}",
            "number": stop.number,
            "place": str(k),
            "name": stop.name,
            "kind": stop.kind,
        }
        told_stops.append(
            one
            | {
                "ramp": stop.ramp,
                "at": _at(point, ground),
                "spot": line[-1] if line else None,
                "shape": "" if mark is None or mark.geom_type == "Point" else outlines(mark, ground),
                "cast": line,
                "weather": ", ".join(text for text in weather if text),
            }
        )
    told_legs = [
        {
            "key": f"leg:{leg.number}", "number": leg.number, "name": f"{leg.start} to {leg.goal}", "kind": "leg",
            "pieces": [{"part": part, "line": _line(line, ground)} for part, line in leg.pieces],
            "seconds": _seconds(frames["legs"], leg),
        }
        for leg in legs
    ]  # fmt: skip
    return {
        "metric": metric,
        "step": ground.step_m,
        "off": ground.off_m,
        "wide": ground.east - ground.west,
        "high": ground.north - ground.south,
        "north": float(grid_north_deg(crs, np.array([middle[0]]), np.array([middle[1]]))[0]),
        "lonlat": lon_lat_terms(crs, ground),
        "water": [outlines(one, ground) for one in ground.water],
        "dry": [outlines(one, ground) for one in ground.dry],
        "bands": [
            {
                "words": _words("depth_bands", {"from_m": low, "to_m": high}, None, metric=metric),
                "shape": outlines(shape, ground),
            }
            for (low, high, _), shape in zip(ground.bands, ground.deeper, strict=True)
        ],
        "stops": told_stops,
        "legs": told_legs,
        "things": _things(frames, ground, {stop.spot_id for stop in stops}, level_m, metric=metric),
        "clock": clock,
    }  # fmt: skip


def told(frame: gpd.GeoDataFrame | None, *columns: str) -> list[tuple[Any, ...]]:
    """List some columns of a layer row by row, the geometry last; a column that is not there gives None."""
    if frame is None:
        return []
    lists = [frame[name].tolist() if name in frame else [None] * len(frame) for name in columns]
    return list(zip(*lists, frame.geometry.to_numpy(), strict=True))


def in_order(stops: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Sort stops by their number."""
    return stops.iloc[np.argsort([number(no) for no in stops["stop_no"]], kind="stable")]


def by_spot(frame: gpd.GeoDataFrame | None) -> dict[str, Any]:
    """Find the first geometry of each spot."""
    found: dict[str, Any] = {}
    for spot, shape in told(frame, "spot_id"):
        found.setdefault(one_line(spot), shape)
    return found


def casts_of(frames: Frames) -> dict[str, Any]:
    """Find the cast of each spot's first good hold in its layer; without that layer the shortest line to the mark."""
    drawn: dict[tuple[str, float], Any] = {}
    for spot, hold, shape in told(frames.get("cast_lines"), "spot_id", "hold_no"):
        drawn.setdefault((one_line(spot), number(hold)), shape)
    marks, found = by_spot(frames.get("spots")), dict[str, Any]()
    for given, hold, status, point in told(frames.get("holds"), "spot_id", "hold_no", "status"):
        spot = one_line(given)
        if one_line(status) != "none" and spot in marks and spot not in found:
            cast = drawn.get((spot, number(hold)))
            found[spot] = shapely.shortest_line(point, marks[spot]) if cast is None else cast
    return found


def _seconds(legs: gpd.GeoDataFrame, leg: LegFacts) -> list[float]:
    """Share the time of a leg out over the pieces it is drawn in: as its layer has them, or in its parts by length."""
    own = legs[[number(no) == leg.number for no in legs["leg_no"]]]
    rows = [
        (str(part), max(number(time), 0.0) or 0.0, line.length)
        for part, time, line in told(own, "part", "time_s")
    ]
    rows = [(part, 0.0 if math.isnan(time) else time, length) for part, time, length in rows]
    if [part for part, _, _ in rows] == [part for part, _ in leg.pieces]:
        return [round(time, 1) for _, time, _ in rows]
    drawn = [(part, line.length) for part, line in leg.pieces]
    found = []
    for part, length in drawn:
        time = sum(one for name, one, _ in rows if name == part)
        whole = sum(one for name, one in drawn if name == part)
        found.append(round(time * length / whole, 1) if whole else 0.0)
    return found
