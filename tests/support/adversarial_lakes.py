"""Hostile lakes by seed, and a checker of ways that shares nothing with the way-finding or the last check.

The checker knows rings and lines only: distances of segments in 80-bit floats from an origin of its own, and windings
and crossings of rings counted by hand. It uses no overlay, no buffer, no repair.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely

from castshed.toolbox.errors import CastshedError

CLEAR_M = 6.0
BEAM_M, ERROR_M = 2.0, 1.0  # half the beam and the error of position: 2 m beyond the clearance wanted
KEEP_M = BEAM_M / 2.0 + ERROR_M + CLEAR_M
IDLE_KEEP_M = BEAM_M / 2.0 + ERROR_M
SIDE_M = 1200.0


@dataclass
class Lake:
    """A lake: rings of water and of hazards as drawn, holds, ramp."""

    kind: str
    offset: float
    water: gpd.GeoDataFrame
    hazards: gpd.GeoDataFrame
    holds: gpd.GeoDataFrame
    ramps: gpd.GeoDataFrame
    rings: list = field(default_factory=list)


def _round(x, y, r, n=12):
    turn = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)
    return np.column_stack([x + r * np.cos(turn), y + r * np.sin(turn)])


def _sliver(rng):
    x, wide = rng.uniform(300, 900), 10.0 ** rng.uniform(-7, -3)
    a, b = rng.uniform(150, 350), rng.uniform(750, 1000)
    return [[(x, a), (x + rng.uniform(-40, 40), b), (x + wide, a)]]


def _spike(rng):
    (x, y), r = rng.uniform(350, 850, 2), rng.uniform(20, 60)
    ring = _round(x, y, r)
    tip = np.array([x, y]) + rng.uniform(150, 250) * np.array([np.cos(a := rng.uniform(0, 6.28)), np.sin(a)])
    return [np.concatenate([ring[:3], [tip], ring[2:]])]


def _wall_there_and_back(rng):
    x = rng.uniform(400, 800)
    way = [(x, 475 - 125), (x + rng.uniform(-5, 5), 475), (x, 475 + 125)]
    return [[*way, *way[-2:0:-1]]]


def _bow_tie(rng):
    x, y, w, h = *rng.uniform(300, 700, 2), *rng.uniform(60, 200, 2)
    return [[(x, y), (x + w, y + h), (x + w, y), (x, y + h)]]


def _self_crossing(rng):
    (x, y), n = rng.uniform(400, 800, 2), int(rng.choice([5, 7, 9]))
    ring = _round(x, y, rng.uniform(60, 160), n)
    return [ring[(np.arange(n) * 2) % n]]


def _doubly_wound(rng):
    (x, y), r = rng.uniform(350, 850, 2), rng.uniform(30, 120)
    ring = _round(x, y, r)
    return [np.concatenate([ring, ring])]


def _micro_gaps(rng):
    x, gap = rng.uniform(350, 800), 10.0 ** rng.uniform(-7, -3)
    y = rng.uniform(350, 500)
    return [
        [(x, y), (x + 60, y), (x + 60, y + 100), (x, y + 100)],
        [(x, y + 100 + gap), (x + 60, y + 100 + gap), (x + 60, y + 260), (x, y + 260)],
    ]


def _strait(rng):
    """A strait of just the clearance on both sides, a little more or a little less."""
    x, wide = rng.uniform(400, 750), 2.0 * KEEP_M + rng.choice([-1e-3, 0.0, 1e-3, 0.5, 3.0])
    mid = rng.uniform(300, 900)
    return [
        [(x, -50), (x + 30, -50), (x + 30, mid - wide / 2), (x, mid - wide / 2)],
        [(x, mid + wide / 2), (x + 30, mid + wide / 2), (x + 30, SIDE_M + 50), (x, SIDE_M + 50)],
    ]


def _duplicates(rng):
    (x, y), r = rng.uniform(350, 850, 2), rng.uniform(20, 120)
    ring = np.repeat(_round(x, y, r), int(rng.integers(2, 4)), axis=0)
    return [ring]


def _collinear(rng):
    x, y, w, h = *rng.uniform(300, 700, 2), *rng.uniform(40, 200, 2)
    side = np.linspace(0.0, 1.0, 9)[:, None]
    corners = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)])
    return [np.concatenate([a + side[:-1] * (b - a) for a, b in zip(corners[:-1], corners[1:], strict=True)])]


def _touching(rng):
    (x, y), r = rng.uniform(350, 750, 2), rng.uniform(20, 60)
    return [
        [(x, y), (x + r, y + r), (x + 2 * r, y), (x + r, y - r)],
        [(x + 2 * r, y), (x + 3 * r, y + r), (x + 4 * r, y), (x + 3 * r, y - r)],
    ]


KINDS = {
    "sliver": _sliver, "spike": _spike, "wall": _wall_there_and_back, "bow tie": _bow_tie, "crossing": _self_crossing,
    "wound twice": _doubly_wound, "gap": _micro_gaps, "strait": _strait, "duplicates": _duplicates,
    "collinear": _collinear, "touching": _touching,
}  # fmt: skip


def make_lake(seed):
    """Make the hostile lake of a number: one to three hostile hazards, at an offset up to 1e8 m."""
    rng = np.random.default_rng(seed)
    names = list(KINDS)
    taken = [names[seed % len(names)], *rng.choice(names, int(rng.integers(0, 3)))]
    offset = float(rng.choice([0.0, 5e5, 5e6, 3e7, 9.9e7]))
    move = np.array([offset, offset * rng.choice([0.0, 1.0])])
    hazards = [np.asarray(ring, dtype=float) + move for kind in taken for ring in KINDS[kind](rng)]
    care = rng.choice(["run", "idle"], len(hazards))
    shore = np.array([(0, 0), (SIDE_M, 0), (SIDE_M, SIDE_M), (0, SIDE_M)], dtype=float)
    shore = shore + rng.uniform(-30, 30, shore.shape) + move
    holes = []
    if rng.random() < 0.4:  # an island that touches the shore in a point, or has a spike or crosses itself
        kind = str(rng.choice(["bow tie", "wall", "spike", "wound twice", "duplicates"]))
        holes = [np.asarray(ring, dtype=float) + move for ring in KINDS[kind](rng)]
        taken.append(f"island {kind}")
    water = shapely.Polygon(shore, holes)
    ramp = np.array([60.0, 600.0]) + move + rng.uniform(-20, 20, 2)
    spots = (
        np.array([[1120.0, 600.0], [1100.0, 200.0], [600.0, 1120.0]]) + move + rng.uniform(-40, 40, (3, 2))
    )
    if rng.random() < 0.3:
        spots[2] = ramp  # a hold just at the ramp
        taken.append("hold at the ramp")
    count = len(spots)
    # a grid of its own, so that the lake lies on Earth whatever its coordinates
    crs = f"+proj=tmerc +lat_0=45 +lon_0=-93 +x_0={move[0]} +y_0={move[1]} +ellps=WGS84 +units=m"
    return Lake(
        "+".join(taken),
        offset,
        gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[water], crs=crs),
        gpd.GeoDataFrame(
            {
                "hazard_id": [f"h{k}" for k in range(len(hazards))],
                "care": care,
                "reason": "too shallow",
                "least_depth_m": 0.1,
            },
            geometry=[shapely.Polygon(ring) for ring in hazards],
            crs=crs,
        ),
        gpd.GeoDataFrame(
            {
                "spot_id": [f"s{k}" for k in range(count)], "hold_no": 1, "status": "ok", "reason": "held", "cast_bearing_deg": 0.0, "wind_angle_deg": 0.0,
                "deep_bearing_deg": 0.0, "depth_today_m": 5.0, "cast_m": 20.0, "rating": 1.0,
            },
            geometry=shapely.points(spots),
            crs=crs,
        ),
        gpd.GeoDataFrame({"ramp_id": ["r"], "name": ["Ramp"]}, geometry=[shapely.Point(ramp)], crs=crs),
        [("water", shore), *(("island", ring) for ring in holes), *zip(care, hazards, strict=True)],
    )  # fmt: skip


def _closed(ring):
    return np.concatenate([ring, ring[:1]]) if np.any(ring[0] != ring[-1]) else ring


def _point_segment(p, a, b):
    d = b - a
    long = (d * d).sum(-1)
    t = np.where(long > 0, ((p - a) * d).sum(-1) / np.where(long > 0, long, 1), 0).clip(0, 1)
    off = p - (a + t[..., None] * d)
    return np.sqrt((off * off).sum(-1))


def _cross(o, a, b):
    return (a[..., 0] - o[..., 0]) * (b[..., 1] - o[..., 1]) - (a[..., 1] - o[..., 1]) * (
        b[..., 0] - o[..., 0]
    )


def segments_apart(line, ring):
    """Least distance of two polylines, 0 where they cross; in 80-bit floats."""
    a, b = line[:-1, None], line[1:, None]
    c, d = ring[None, :-1], ring[None, 1:]
    crosses = (_cross(a, b, c) * _cross(a, b, d) < 0) & (_cross(c, d, a) * _cross(c, d, b) < 0)
    if crosses.any():
        return 0.0
    gaps = [_point_segment(p, q, r) for p, q, r in ((a, c, d), (b, c, d), (c, a, b), (d, a, b))]
    return float(min(np.min(one) for one in gaps))


def _crossings(point, ring):
    """How often a ray eastwards from a point crosses a ring, and how often the ring winds round it."""
    y0, y1 = ring[:-1, 1], ring[1:, 1]
    up, down = (y0 <= point[1]) & (y1 > point[1]), (y0 > point[1]) & (y1 <= point[1])
    side = _cross(ring[:-1], ring[1:], np.broadcast_to(point, ring[:-1].shape))
    return int((up & (side > 0)).sum() + (down & (side < 0)).sum()), int(
        (up & (side > 0)).sum() - (down & (side < 0)).sum()
    )


def nearest_m(lake, line, part):
    """How near a way comes to anything it must keep out of: rings as drawn, and what they enclose either way."""
    origin = np.asarray(line[0], dtype=np.longdouble)
    line = np.asarray(line, dtype=np.longdouble) - origin
    least = np.inf
    for kind, drawn in lake.rings:
        if kind == "run" and part == "idle":
            continue
        ring = _closed(np.asarray(drawn, dtype=np.longdouble) - origin)
        least = min(least, segments_apart(line, ring))
        # A way that touches no ring lies on one side of each, so its first point speaks for all of it.
        parity, winding = _crossings(line[0], ring)
        inside = parity > 0 or winding != 0
        enclosed = _enclosed(line[0], ring) if inside and kind != "water" else inside
        if enclosed != (kind == "water"):
            least = 0.0
    return least


def _enclosed(point, ring):
    parity, winding = _crossings(point, ring)
    return parity % 2 == 1 or winding != 0


def too_near(lake, legs):
    """Legs nearer than asked by more than a millimetre: (part, metres)."""
    found = []
    for part, line in zip(legs["part"], legs.geometry, strict=True):
        if part == "launch":
            continue
        near = nearest_m(lake, np.asarray(line.coords), part)
        if near < (KEEP_M if part == "run" else IDLE_KEEP_M) - 1e-3:
            found.append((part, near))
    return found


def exported_too_near(lake, legs, stops, slack_m=0.1):
    """The same of the legs as GPX, KML and GeoJSON draw them, with a tenth of a metre; by file."""
    import re

    import pyproj

    from castshed.toolbox.output.formats.formats import Telling, write_files
    from castshed.toolbox.output.words.names import NameRule

    telling = Telling(
        title="Run", description="", level_m=None, date=None, rule=NameRule(None, False), symbols={}
    )
    files = write_files({"stops": stops, "legs": legs}, ["gpx", "kml", "geojson"], telling)
    back = pyproj.Transformer.from_crs(4326, legs.crs, always_xy=True)
    shown = {
        "run.gpx": [
            [(float(x), float(y)) for y, x in re.findall(rb'<trkpt lat="([^"]*)" lon="([^"]*)"', one)]
            for one in files["run.gpx"].split(b"<trkseg>")[1:]
        ],
        "plan.kml": [
            [tuple(map(float, pair.split(b","))) for pair in one.split()]
            for one in re.findall(
                rb"<LineString>.*?<coordinates>(.*?)</coordinates>", files["plan.kml"], re.DOTALL
            )
        ],
        "plan.geojson": [
            [tuple(map(float, pair.split(b","))) for pair in re.findall(rb"\[([-\d.]+,[-\d.]+)\]", one)]
            for one in re.findall(rb'"LineString","coordinates":\[(.*?\])\]', files["plan.geojson"])
        ],
    }
    found = []
    for name, lines in shown.items():
        assert len(lines) == len(legs), (name, len(lines), len(legs))
        for part, line in zip(legs["part"], lines, strict=True):
            if part == "launch":
                continue
            xy = np.column_stack(back.transform(*np.array(line).T))
            near = nearest_m(lake, xy, part)
            if near < (KEEP_M if part == "run" else IDLE_KEEP_M) - slack_m:
                found.append((name, part, near))
    return found


def run_lake(seed):
    """Run one lake: what kind it is, whether a run was made, and what of it is too near."""
    from castshed.algorithms.shortest_run import shortest_run

    lake = make_lake(seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            made = shortest_run(
                lake.holds, lake.ramps, lake.water, hazards=lake.hazards, beam_m=BEAM_M, fix_error_m=ERROR_M,
                clearance_m=CLEAR_M,
            )  # fmt: skip
        except CastshedError as error:
            return {"seed": seed, "kind": lake.kind, "offset": lake.offset, "refused": str(error), "code": error.exit_code, "near": [], "exported": []}  # fmt: skip
        exported = exported_too_near(lake, made.legs, made.stops)
    near = too_near(lake, made.legs)
    return {"seed": seed, "kind": lake.kind, "offset": lake.offset, "refused": "", "code": 0, "near": near, "exported": exported, "legs": len(made.legs)}  # fmt: skip


def run_lakes(count, seed, tell=lambda _: None):
    """Run many lakes; counts, and the faults one by one."""
    found = []
    for k in range(count):
        one = run_lake(seed * 1_000_003 + k)
        found.append(one)
        if one["near"] or one["exported"] or one["code"] not in (0, 5):
            tell(str(one))
        if len(found) % 25 == 0:
            bad = sum(bool(one["near"] or one["exported"]) for one in found)
            tell(f"adversarial lakes: {len(found)} of {count}, {bad} with a way nearer than asked")
    return {
        "lakes": count,
        "runs": sum(not one["refused"] for one in found),
        "nearer": sum(bool(one["near"]) for one in found),
        "after_export": sum(bool(one["exported"]) for one in found),
        "refused_check": sum("would come within" in one["refused"] for one in found),
        "other_faults": sum(one["code"] not in (0, 5) for one in found),
    }
