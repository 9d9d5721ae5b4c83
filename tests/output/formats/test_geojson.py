"""GeoJSON: what RFC 7946 asks for, read back by other programs."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
from datetime import UTC, datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, shape

from castshed.toolbox.errors import CrsError, DataWarning
from castshed.toolbox.lon_lat import on_earth
from castshed.toolbox.output.formats.geojson import to_geojson
from castshed.toolbox.output.words.cautions import CAUTIONS
from long_tests import as_many


def refuse(word):
    raise AssertionError(f"{word} is not JSON (RFC 8259)")


def read(layers, **options):
    return json.loads(to_geojson(layers, title="Day run", **options), parse_constant=refuse)


def positions(value):
    if isinstance(value[0], (int, float)):
        yield value
    else:
        for inner in value:
            yield from positions(inner)


def test_no_member_names_a_reference_system(plan):
    assert "crs" not in read(plan)


def test_positions_are_longitude_then_latitude_where_pyproj_puts_them(plan, lon_lat):
    for layer in ("spots", "holds", "legs", "stops"):
        back = read({layer: plan[layer]})["features"]
        for feature, geometry in zip(back, plan[layer].geometry, strict=True):
            assert np.abs(np.array(list(positions_of(feature))) - lon_lat(geometry)).max() <= 0.5001e-7


def positions_of(feature):
    coordinates = feature["geometry"]["coordinates"]
    return [coordinates] if isinstance(coordinates[0], float) else positions(coordinates)


def test_positions_have_two_numbers_of_at_most_seven_decimals(plan):
    text = to_geojson(plan, title="run").decode()
    for feature in json.loads(text)["features"]:
        assert all(len(position) == 2 for position in positions_of(feature))
    inside = re.findall(r'"coordinates":(\[.*?\])\}', text)
    assert inside
    assert not [number for part in inside for number in re.findall(r"\d+\.\d{8,}", part)]


def test_exterior_rings_run_counter_clockwise_and_holes_clockwise(plan):
    # RFC 7946 section 3.1.6
    holes = 0
    for feature in read({name: plan[name] for name in ("water", "depth_bands", "zones", "shallow_hazards")})[
        "features"
    ]:
        geometry = feature["geometry"]
        for rings in [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]:
            assert all(ring[0] == ring[-1] and len(ring) >= 4 for ring in rings)
            assert shapely.LinearRing(rings[0]).is_ccw
            assert not any(shapely.LinearRing(ring).is_ccw for ring in rings[1:])
            holes += len(rings) - 1
    assert holes > 0


def test_areas_stay_valid_and_as_large(plan):
    back = gpd.GeoDataFrame.from_features(read({"depth_bands": plan["depth_bands"]})["features"], crs=4326)
    assert back.is_valid.all()
    area = back.to_crs(plan["depth_bands"].crs).area.to_numpy()
    assert area == pytest.approx(plan["depth_bands"].area.to_numpy(), rel=1e-6)


def test_every_feature_has_an_id_of_its_own(plan, hostile_layers):
    for layers in (plan, hostile_layers):
        ids = [feature["id"] for feature in read(layers)["features"]]
        assert len(ids) == len(set(ids))


def test_ids_tell_layer_and_row(plan):
    assert read({"holds": plan["holds"]})["features"][0]["id"] == "holds/B01/1"
    assert read({"stops": plan["stops"]})["features"][2]["id"] == "stops/2"


def test_properties_keep_the_order_of_the_columns(plan):
    found = list(read({"ramps": plan["ramps"]})["features"][0]["properties"])
    assert found == ["layer", "title", "description", "ramp_id", "name", "min_level_m"]


def test_columns_that_would_hide_ours_are_kept_beside_them(hostile_layers):
    found = read({"spots": hostile_layers["spots"]})["features"][0]["properties"]
    assert found["layer"] == "spots"
    assert found["layer_"] == "<script>alert(1)</script>"


def test_values_come_back_as_they_were(plan):
    back = [feature["properties"] for feature in read({"holds": plan["holds"]})["features"]]
    for column in ("spot_id", "hold_no", "status", "depth_today_m", "cast_m", "cast_bearing_deg"):
        assert [row[column] for row in back] == plan["holds"][column].tolist()


def test_what_json_has_no_word_for_is_null():
    odd = gpd.GeoDataFrame(
        {
            "a": [math.nan, math.inf, -math.inf],
            "b": [None, pd.NaT, pd.NA],
            "c": pd.array([1, None, 3], dtype="Int64"),
            "d": pd.to_datetime(["2031-05-03T06:00:00-05:00", None, None], utc=True),
            "e": [True, False, True],
            "f": np.array([1, 2, 3], dtype=np.int16),
        },
        geometry=[Point(0, 0), None, Point()],
        crs=32615,
    )
    rows = [feature["properties"] for feature in read({"odd": odd})["features"]]
    assert [row["a"] for row in rows] == [None, None, None]
    assert [row["b"] for row in rows] == [None, None, None]
    assert [row["c"] for row in rows] == [1, None, 3]
    assert [row["d"] for row in rows] == ["2031-05-03T11:00:00Z", None, None]
    assert [row["e"] for row in rows] == [True, False, True]
    assert [row["f"] for row in rows] == [1, 2, 3]


def test_rows_without_place_are_kept_with_null_geometry(plan):
    holes = plan["spots"].copy()
    holes.geometry = [None, Point(), *holes.geometry.iloc[2:]]
    back = read({"spots": holes})["features"]
    assert [feature["geometry"] is None for feature in back] == [True, True] + [False] * (len(holes) - 2)


def test_a_geometry_off_the_map_is_said_and_written_without_place(plan):
    far = plan["spots"].copy()
    far.geometry = [Point(math.inf, 0.0), *far.geometry.iloc[1:]]
    with pytest.warns(DataWarning, match="1 of 6 geometries"):
        written = to_geojson({"spots": far}, title="run")
    assert json.loads(written)["features"][0]["geometry"] is None


def test_heights_are_dropped(plan):
    high = plan["spots"].copy()
    high.geometry = shapely.force_3d(high.geometry.to_numpy(), z=99.0)
    assert all(len(f["geometry"]["coordinates"]) == 2 for f in read({"spots": high})["features"])


def test_empty_layers_make_an_empty_collection(empty_layers):
    assert read(empty_layers)["features"] == []
    assert read({})["features"] == []


def test_hostile_text_is_text(hostile_layers, hostile_names):
    back = read(hostile_layers)["features"]
    assert len(back) == 2 * len(hostile_names)
    assert back[0]["properties"]["title"] == "<script>alert(1)</script>"
    assert back[3]["properties"]["note"] == "nulbellescape"
    assert back[12]["properties"]["name"] == hostile_names[12]


def test_every_caution_level_and_moment_are_told(plan):
    whole = read(
        plan,
        level_m=-1.2192,
        date="2031-05-03",
        made=datetime(2031, 5, 2, 8, tzinfo=UTC),
        description="Try the points first.",
    )
    assert whole["description"].startswith(
        "Try the points first. Depths at level -4.0 ft (-1.22 m) from chart datum on 2031-05-03."
    )
    assert all(caution in whole["description"] for caution in CAUTIONS)
    assert whole["made"] == "2031-05-02T08:00:00Z"


def test_a_layer_without_reference_system_is_refused(plan):
    with pytest.raises(CrsError, match="'legs' has no reference system"):
        read({"legs": plan["legs"].set_crs(None, allow_override=True)})


def test_a_lake_on_the_180th_meridian_is_cut_in_two():
    # RFC 7946 section 3.1.9; UTM zone 1 begins at that meridian
    middle = gpd.GeoSeries([Point(180.0, 66.0)], crs=4326).to_crs(32601).iloc[0]
    lake = gpd.GeoDataFrame({"water_id": ["W"]}, geometry=[middle.buffer(5000.0)], crs=32601)
    geometry = shape(read({"water": lake})["features"][0]["geometry"])
    assert geometry.geom_type == "MultiPolygon"
    assert sorted((part.bounds[0] > 0.0) for part in geometry.geoms) == [False, True]
    assert all(part.bounds[2] - part.bounds[0] < 0.2 for part in geometry.geoms)
    halves = gpd.GeoSeries(list(geometry.geoms), crs=4326).to_crs(32601).area.sum()
    assert halves == pytest.approx(lake.area.iloc[0], rel=1e-5)


@settings(max_examples=as_many(60), deadline=None)
@given(
    st.floats(-179.0, 179.0), st.floats(-80.0, 80.0), st.floats(1e-8, 0.05), st.integers(3, 40), st.integers(0, 2**32 - 1),
)  # fmt: skip
def test_areas_of_any_size_stay_areas_in_place(lon, lat, size, corners, seed):
    rng = np.random.default_rng(seed)
    angles = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    radii = size * rng.uniform(0.2, 1.0, corners)
    given_area = Polygon(np.column_stack([lon + radii * np.cos(angles), lat + radii * np.sin(angles)]))
    (ready,) = on_earth(np.array([given_area]))
    assert ready.geom_type in {"Polygon", "MultiPolygon"}
    corners_out = shapely.points(shapely.get_coordinates(ready))
    # half a step each way, and what snapping adds
    assert shapely.distance(corners_out, given_area).max() <= 1e-7
    if (
        shapely.is_valid(given_area) and not given_area.buffer(-1e-7).is_empty
    ):  # wider than about 2 cm somewhere
        assert shapely.is_valid(ready)


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_ogrinfo_reads_every_feature(plan, tmp_path):
    (tmp_path / "plan.geojson").write_bytes(to_geojson(plan, title="run"))
    told = subprocess.run(
        ["ogrinfo", "-ro", "-so", "-al", tmp_path / "plan.geojson"],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    assert f"Feature Count: {sum(map(len, plan.values()))}" in told
    assert "WGS 84" in told


def test_geopandas_reads_the_same_places(plan, tmp_path):
    (tmp_path / "plan.geojson").write_bytes(to_geojson({"holds": plan["holds"]}, title="run"))
    back = gpd.read_file(tmp_path / "plan.geojson").to_crs(plan["holds"].crs)
    assert back.distance(plan["holds"], align=False).max() < 0.01  # 1e-7 degrees is about 1 cm
