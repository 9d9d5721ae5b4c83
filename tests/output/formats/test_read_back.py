"""Long legs stay on the proved line in every file, and what is written is read back before it leaves the house.

Truth: geodesics and projections of PROJ, here with dense samples; how far a straight line in degrees leaves the
straight line in UTM is worked out by bisection apart from the code.
"""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from castshed.toolbox.errors import OutputFailed
from castshed.toolbox.lon_lat import with_points_between
from castshed.toolbox.output.formats import formats
from castshed.toolbox.output.formats.formats import Telling, write_files
from castshed.toolbox.output.formats.read_back import offs, prove_written
from castshed.toolbox.output.words.names import NameRule

CRS = pyproj.CRS(32615)
G = "{http://www.topografix.com/GPX/1/1}"


def telling(**options):
    return Telling(
        title="Run",
        description="",
        level_m=None,
        date=None,
        rule=NameRule(None, False),
        symbols={},
        **options,
    )


def run(length_m, lat=45.0, turn_deg=0.0, crs=CRS):
    """A run of one long leg from a ramp to a hold and back."""
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(-93.0, lat)
    way = np.array([np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))]) * length_m / 2.0
    a, b = shapely.Point(x - way[0], y - way[1]), shapely.Point(x + way[0], y + way[1])
    legs = gpd.GeoDataFrame(
        {
            "leg_no": [1, 2],
            "part": ["run", "run"],
            "from_id": ["ramp", "a"],
            "to_id": ["a", "ramp"],
            "distance_m": [length_m] * 2,
        },
        geometry=[shapely.LineString([a, b]), shapely.LineString([b, a])],
        crs=crs,
    )
    stops = gpd.GeoDataFrame(
        {
            "stop_no": [1, 2, 3],
            "spot_id": ["ramp", "a", "ramp"],
            "name": ["Ramp", "Bar", "Ramp"],
            "arrive": [""] * 3,
        },
        geometry=[a, b, a],
        crs=crs,
    )
    return {"stops": stops, "legs": legs}


def lines_in(name, content):
    """All lines of a file as longitude and latitude, by the simplest reading there is."""
    if name.endswith(".gpx"):
        root = ET.fromstring(content)
        groups = [*root.iter(f"{G}trkseg"), *root.iter(f"{G}rte")]
        return [
            np.array([(float(e.get("lon")), float(e.get("lat"))) for e in group if e.get("lon")])
            for group in groups
        ]
    if name.endswith(".kml"):
        found = re.findall(rb"<LineString>.*?<coordinates>(.*?)</coordinates>", content, re.DOTALL)
        return [np.array([[float(n) for n in pair.split(b",")] for pair in one.split()]) for one in found]
    if name.endswith(".csv"):
        return [shapely.get_coordinates(shapely.from_wkt(one)) for one in re.findall(r"LINESTRING \([^)]*\)", content.decode())]  # fmt: skip
    rows = json.loads(content)["features"]
    return [
        np.array(row["geometry"]["coordinates"]) for row in rows if row["geometry"]["type"] == "LineString"
    ]


def farthest_m(lon_lat, proved, crs=CRS):
    """How far a line drawn straight in degrees leaves another, a sample every few metres."""
    t = np.linspace(0.0, 1.0, 400)[:, None]
    dense = np.concatenate([a + t * (b - a) for a, b in zip(lon_lat[:-1], lon_lat[1:], strict=True)])
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(dense[:, 0], dense[:, 1])
    return float(shapely.distance(shapely.points(x, y), proved).max())


@pytest.mark.parametrize(
    ("length_m", "lat"), [(20_000.0, 45.0), (30_000.0, 45.0), (30_000.0, 68.0), (900.0, 45.0)]
)
@pytest.mark.parametrize("turn_deg", [0.0, 60.0])
def test_long_legs_stay_within_a_tenth_of_a_metre_in_every_file(length_m, lat, turn_deg):
    layers = run(length_m, lat, turn_deg)
    proved = layers["legs"].geometry.iloc[0]
    files = write_files(layers, ["gpx", "kml", "geojson", "csv"], telling())
    seen = 0
    for name, content in files.items():
        for line in lines_in(name, content) if name.endswith((".gpx", ".kml", ".geojson", ".csv")) else ():
            assert farthest_m(line, proved) <= 0.1, name
            seen += 1
    assert (
        seen == 2 + 1 + 2 + 2 + 2
    )  # two segments and the route of GPX, two rows each of KML, GeoJSON and CSV


def test_the_ends_alone_would_leave_it_by_metres():
    # x(t) of a parallel against the grid: some L^2 tan(lat) / 8 R, 7.8 m for 20 km at 45 degrees (R 6,378 km)
    for length_m, expected in ((20_000.0, 7.8), (30_000.0, 17.6)):
        proved = run(length_m)["legs"].geometry.iloc[0]
        x, y = proved.xy
        ends = np.column_stack(pyproj.Transformer.from_crs(CRS, 4326, always_xy=True).transform(x, y))
        assert farthest_m(ends, proved) == pytest.approx(expected, rel=0.05)
        assert offs([ends], [shapely.get_coordinates(proved)], CRS)[0] == pytest.approx(expected, rel=0.05)


def test_short_lines_and_points_stay_bit_for_bit():
    given = np.array(
        [shapely.LineString([(5e5, 5e6), (5e5 + 800, 5e6 + 3)]), shapely.Point(5e5, 5e6)], dtype=object
    )
    assert shapely.equals_exact(with_points_between(given, CRS), given).all()


def test_corners_of_old_stay_when_points_are_put_between():
    ring = shapely.box(4.8e5, 5e6, 5.2e5, 5.01e6).difference(shapely.box(4.9e5, 5.002e6, 5.1e5, 5.004e6))
    (made,) = with_points_between(np.array([ring], dtype=object), CRS)
    old = {tuple(one) for one in shapely.get_coordinates(ring)}
    assert old <= {tuple(one) for one in shapely.get_coordinates(made)}
    assert made.area == pytest.approx(ring.area, rel=1e-12)


def moved(text, by):
    """The document with every fourth longitude moved."""
    count = iter(range(10**6))
    return re.sub(
        rb"-9\d\.\d{7}", lambda m: f"{float(m[0]) + (by if next(count) % 4 == 1 else 0.0):.7f}".encode(), text
    )


@pytest.mark.parametrize("word", ["gpx", "kml", "geojson"])
def test_a_file_that_bends_the_line_is_not_written(word, monkeypatch):
    layers = run(3000.0, turn_deg=60.0)
    good = write_files(layers, [word], telling())
    ((name, content),) = good.items()
    prove_written(layers, {name: moved(content, 0.0)}, gpx=layers)
    # 1e-5 degree of longitude is 0.79 m at 45 degrees
    with pytest.raises(OutputFailed, match="read back"):
        prove_written(layers, {name: moved(content, 1e-5)}, gpx=layers)
    monkeypatch.setattr(formats, f"to_{word}" + ("_files" if word == "gpx" else ""), lambda *_, **__: [moved(content, 1e-5)] if word == "gpx" else moved(content, 1e-5))  # fmt: skip
    with pytest.raises(OutputFailed, match="read back"):
        write_files(layers, [word], telling())


@pytest.mark.parametrize("word", ["gpx", "kml", "geojson"])
def test_a_file_of_another_run_is_not_written(word):
    layers, other = run(3000.0), run(3001.0)
    with pytest.raises(OutputFailed):
        prove_written(layers, write_files(other, [word], telling()), gpx=layers)
    fewer = {**layers, "legs": layers["legs"].iloc[:1]}
    with pytest.raises(OutputFailed):
        prove_written(fewer, write_files(layers, [word], telling()), gpx=fewer)


def test_the_route_is_read_back_over_several_files():
    layers = run(30_000.0)
    files = write_files(layers, ["gpx"], telling(most_points=6))
    assert len(files) > 2
    name = "run-2-of-" + str(len(files)) + ".gpx"
    bent = dict(files)
    bent[name] = re.sub(rb'lat="(4\d\.\d+)"', lambda m: b'lat="%.7f"' % (float(m[1]) + 2e-6), files[name])
    with pytest.raises(OutputFailed, match="route"):
        prove_written(layers, bent, gpx=layers)


def test_words_that_look_like_the_file_do_not_mislead_the_reader():
    layers = run(3000.0)
    layers["stops"]["name"] = ['"layer":"legs"', "<Folder>", '{"type":"Feature"']
    assert write_files(layers, ["gpx", "kml", "geojson"], telling())
