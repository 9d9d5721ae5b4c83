"""Look for broken rules of holds by another road: scipy's interpolation, dense samples, all pairs of shapes.

Nothing of the code that places holds is used here. Options carry the names of boat-hold's.
"""

from __future__ import annotations

import types

import numpy as np
import pyproj
import shapely
from scipy.ndimage import map_coordinates

DEFAULTS = {
    "least_cast_m": 12.192,
    "most_cast_m": 27.432,
    "draft_m": 0.6096,
    "margin_m": 0.4572,
    "drift_m": 3.048,
    "footprint_m": 3.048,
    "spot_error_m": 8.0,
    "fix_error_m": 3.048,
    "level_error_m": 0.1016,
    "wind_from_deg": None,
    "upwind_factor": 0.7,
    "most_holds": 1,
    "apart_deg": 60.0,
    "beam_m": 2.4384,
    "idle_clearance_m": 0.0,
}
SLACK_M = 1e-5
CHUNK = 200


def column(frame, name, missing=np.nan):
    if name not in frame:
        return np.full(len(frame), missing)
    return frame[name].to_numpy(dtype=float)


def today_of(lake, level):
    """Today's depth by scipy, NaN where it needs a cell that is not there or not known."""

    def today(x, y):
        columns = (np.asarray(x) - lake.west_m) / lake.cell_x_m - 0.5
        rows = (lake.north_m - np.asarray(y)) / lake.cell_y_m - 0.5
        inside = np.array([rows, columns])
        return level + map_coordinates(
            lake.depth_m, inside, order=1, mode="constant", cval=np.nan, output=float
        )

    return today


def turned(a, b):
    return np.abs((a - b + 180.0) % 360.0 - 180.0)


def convergence_deg(crs, x, y):
    """True bearing of grid north by PROJ's factors of the projection, another road than geodesics."""
    base = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    return np.asarray(pyproj.Proj(crs).get_factors(*base.transform(x, y)).meridian_convergence)


def of_circles(today, x, y, radius, start):
    """Least of many depths in circles, worked off in parts."""
    angle, out = np.linspace(0, 2 * np.pi, 90, endpoint=False), np.linspace(0, 1, 9)
    found = np.empty(len(x))
    for at in range(0, len(x), CHUNK):
        part = slice(at, at + CHUNK)
        ring_x = x[part, None, None] + radius * out[:, None] * np.cos(angle + start)
        ring_y = y[part, None, None] + radius * out[:, None] * np.sin(angle + start)
        found[part] = today(ring_x, ring_y).min(axis=(1, 2))
    return found


def breaches(holds, cast_lines, spots, lake, level, *, hazards=None, water=None, ramps=None, **options):
    """List (rule, spot) for every rule a hold breaks, and give the rows that are holds."""
    asked = types.SimpleNamespace(**{**DEFAULTS, **options})
    today = today_of(lake, level)
    ok = holds[holds["status"] == "ok"].reset_index(drop=True)
    x, y = ok.geometry.x.to_numpy(), ok.geometry.y.to_numpy()
    ids = ok["spot_id"].tolist()
    assert ids == cast_lines["spot_id"].tolist()
    aim = shapely.get_coordinates(shapely.get_point(cast_lines.geometry.to_numpy(), 1))
    start = shapely.get_coordinates(shapely.get_point(cast_lines.geometry.to_numpy(), 0))
    error = np.sqrt(lake.error_m**2 + asked.level_error_m**2)
    need = asked.draft_m + asked.margin_m + error
    row = spots.set_index("spot_id").index.get_indexer(ok["spot_id"])
    shapes = spots.geometry.to_numpy()
    own, dim = shapes[row], shapely.get_dimensions(shapes)
    depth = today(x, y)
    height, listed = column(spots, "height_m"), column(spots, "depth_m")
    off = np.sqrt(
        np.where(
            np.isnan(column(spots, "position_error_m")),
            asked.spot_error_m,
            column(spots, "position_error_m"),
        )
        ** 2
        + asked.fix_error_m**2
    )
    found = []

    def note(rule, wrong):
        found.extend((rule, ids[k]) for k in np.flatnonzero(wrong))

    note("line starts elsewhere", np.hypot(start[:, 0] - x, start[:, 1] - y) > 1e-6)
    note("thin", ~(depth >= need - SLACK_M))
    note("depth told", ~(np.abs(depth - ok["depth_today_m"]) < 1e-4))
    kind = spots["kind"].to_numpy()
    hump = (kind[row] == "hump") & (shapely.get_type_id(own) == 0)
    bottom = np.where(hump, today(shapely.get_x(own), shapely.get_y(own)), today(*aim.T))
    bottom = np.where(np.isnan(listed[row]), bottom, listed[row] + level)
    note(
        "above the structure",
        ~(depth >= bottom - np.nan_to_num(height[row]) - lake.error_m - SLACK_M),
    )
    t = np.linspace(0, 1, 401)[:, None]
    note("cast over land", ~(today(x + t * (aim[:, 0] - x), y + t * (aim[:, 1] - y)) > 0).all(axis=0))
    least = of_circles(today, x, y, asked.drift_m, 0.0)
    note("drift", ~(least >= need - 1e-3))
    # The ring of samples lies above the true least by what lies between them.
    told = ok["margin_m"].to_numpy() + need
    note("margin told", ~((told <= least + 1e-3) & (told >= least - 0.25)))
    places = shapely.points(x, y)
    note("too near", shapely.distance(places, own) < asked.least_cast_m - 1e-6)
    cast = shapely.length(cast_lines.geometry.to_numpy())
    note("beyond a cast", cast > asked.most_cast_m + 1e-6)
    note("cast told", np.abs(cast - ok["cast_m"]) > 1e-6)
    bearing = np.degrees(np.arctan2(aim[:, 0] - x, aim[:, 1] - y))
    true = bearing + convergence_deg(holds.crs, x, y)
    note("bearing told", turned(true, ok["cast_bearing_deg"].to_numpy()) > 1e-3)
    note("search told", np.abs(off[row] - ok["search_radius_m"].to_numpy()) > 1e-9)
    note("directionality told", ~ok["directionality"].between(0, 1))
    if asked.wind_from_deg is not None:
        west, south, east, north = spots.total_bounds
        middle = convergence_deg(
            holds.crs, np.array([(west + east) / 2.0]), np.array([(south + north) / 2.0])
        )
        upwind = turned(bearing, asked.wind_from_deg - middle[0])
        note("wind told", ~(np.abs(upwind - ok["wind_angle_deg"].to_numpy()) <= 1e-3))
        short = asked.most_cast_m * (
            1 - (1 - asked.upwind_factor) * np.maximum(np.cos(np.radians(upwind)), 0)
        )
        note("short upwind", cast > short + 1e-3)
    note("over another", _over_another(places, row, shapes, asked.footprint_m + off))
    tall, areas = _tall(spots, shapes, dim, listed, height, kind, level, lake, asked)
    lines = cast_lines.geometry.to_numpy()
    aims = shapely.points(aim)
    for at, area in zip(tall, areas, strict=True):
        over = shapely.intersects(lines, area) & (row != at) & ~shapely.intersects(aims, area)
        note("over tall cover", over)
    if hazards is not None:
        shape, radius = hazards.geometry.to_numpy(), hazards["radius_m"].to_numpy()
        for k, place in enumerate(places):
            if (shapely.distance(shape, place) < asked.drift_m + radius - 1e-6).any():
                found.append(("hazard", ids[k]))
    if water is not None:
        note(
            "cut off",
            ~_reached(places, water, ramps, asked.beam_m / 2.0 + asked.fix_error_m + asked.idle_clearance_m),
        )
    found += _numbers(ok, row, x, y, shapes, asked)
    return found, ok


def _over_another(places, row, shapes, clear):
    over = np.zeros(len(places), dtype=bool)
    for k, (place, mine) in enumerate(zip(places, row, strict=True)):
        near = np.flatnonzero(shapely.distance(shapes, place) < clear - 1e-6)
        for other in near[near != mine]:
            over[k] |= not (shapely.get_dimensions(shapes[other]) == 2 and shapes[other].covers(shapes[mine]))
    return over


def _tall(spots, shapes, dim, listed, height, kind, level, lake, asked):
    """Spots that stand out of the water today."""
    at = shapely.point_on_surface(shapes)
    bottom = today_of(lake, level)(shapely.get_x(at), shapely.get_y(at))
    bottom = np.where(np.isnan(listed), bottom, listed + level)
    out = []
    for k in range(len(spots)):
        if np.isnan(height[k]) or np.isnan(bottom[k]):
            tall = kind[k] in ("dock", "standing_timber")
        else:
            tall = height[k] > 0 and bottom[k] <= height[k]
        if tall:
            out.append(k)
    areas = [shapes[k] if dim[k] == 2 else shapes[k].buffer(asked.footprint_m, quad_segs=90) for k in out]
    return out, areas


def _reached(places, water, ramps, clearance):
    """Whether each place lies in one piece of the water, drawn in, with a ramp at it."""
    inner = shapely.get_parts(
        shapely.buffer(shapely.union_all(water.geometry.to_numpy()), -clearance, quad_segs=32)
    )
    if ramps is not None:
        near = [shapely.distance(ramps.geometry.to_numpy(), part).min() <= 151.0 for part in inner]
        inner = inner[np.array(near, dtype=bool)]
    good = np.zeros(len(places), dtype=bool)
    for part in inner:
        shapely.prepare(part)
        good |= shapely.intersects(part, places)
    return good


def _numbers(ok, row, x, y, shapes, asked):
    """Holds of one spot: numbered from 1, no more than asked, and apart."""
    found = []
    middle = shapely.get_coordinates(shapely.centroid(shapes))[row]
    side = np.degrees(np.arctan2(x - middle[:, 0], y - middle[:, 1]))
    for spot, rows in ok.groupby("spot_id").indices.items():
        if ok["hold_no"].to_numpy()[rows].tolist() != list(range(1, len(rows) + 1)):
            found.append(("numbers", spot))
        if len(rows) > asked.most_holds:
            found.append(("too many", spot))
        for k, one in enumerate(rows):
            if (turned(side[one], side[rows[:k]]) < asked.apart_deg - 1e-6).any():
                found.append(("not apart", spot))
    return found
