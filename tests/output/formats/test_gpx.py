"""GPX: valid by its schema, read back by other programs, in the right order and place."""

from __future__ import annotations

import itertools
import json
import shutil
import subprocess
import warnings
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta, timezone

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import CrsError, DataError, DataWarning, UsageError
from castshed.toolbox.output.formats.geojson import to_geojson
from castshed.toolbox.output.formats.gpx import NAMESPACE, to_gpx
from castshed.toolbox.output.formats.kml import to_kml
from castshed.toolbox.output.words.cautions import CAUTIONS

G = "{http://www.topografix.com/GPX/1/1}"
OWN = "{" + NAMESPACE + "}"
AREAS = ("water", "depth_bands", "dry_ground", "shallow_hazards", "zones", "cast_reach")


def parts(plan):
    return {name: layer for name, layer in plan.items() if name not in AREAS}


def write(layers, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DataWarning)
        return to_gpx(layers, title="Day run", **options)


def places(elements):
    return np.array([(float(e.get("lon")), float(e.get("lat"))) for e in elements])


def text(element, tag):
    return element.findtext(G + tag)


def test_a_plan_is_valid_by_the_gpx_11_schema(plan, gpx_schema):
    gpx_schema.validate(
        write(plan, level_m=-1.2192, date="2031-05-03", made=datetime(2031, 5, 2, tzinfo=UTC)).decode()
    )


def test_empty_layers_make_a_valid_file_without_points(empty_layers, gpx_schema):
    written = write(empty_layers)
    gpx_schema.validate(written.decode())
    assert not [e for e in ET.fromstring(written).iter() if e.tag in {G + "wpt", G + "rte", G + "trk"}]


def test_no_layers_at_all_make_a_valid_file(gpx_schema):
    gpx_schema.validate(write({}).decode())


def test_hostile_text_makes_a_valid_file_and_stays_text(hostile_layers, hostile_names, gpx_schema):
    written = write(hostile_layers)
    gpx_schema.validate(written.decode())
    names = [text(e, "name") for e in ET.fromstring(written).iter(G + "wpt")]
    assert names[0] == "<script>alert(1)</script>"
    assert names[1] == "Fish & chips"
    assert names[3] == "nulbellescape"
    assert names[6] == "🎣 emoji"
    assert names[16] == "&lt;already&gt;"
    assert len(names) == len(hostile_names)


def test_names_differ_even_without_regard_to_case(hostile_layers, plan):
    for layers in (hostile_layers, plan):
        names = [text(e, "name").casefold() for e in ET.fromstring(write(layers)).iter(G + "wpt")]
        assert len(set(names)) == len(names)


def test_no_depth_is_ever_written_as_elevation(plan):
    assert list(ET.fromstring(write(plan)).iter(G + "ele")) == []


def test_way_points_lie_where_pyproj_puts_them(plan, lon_lat):
    root = ET.fromstring(write({"spots": plan["spots"]}))
    wanted = np.vstack([lon_lat(point) for point in plan["spots"].geometry])
    assert np.abs(places(root.iter(G + "wpt")) - wanted).max() <= 0.5001e-7


def test_the_route_visits_the_stops_in_their_order_with_turns_between(plan, lon_lat):
    shuffled = {**plan, "stops": plan["stops"].sample(frac=1.0, random_state=1)}
    route = ET.fromstring(write(shuffled)).find(G + "rte")
    points = route.findall(G + "rtept")
    stops = [p for p in points if text(p, "type") == "stop"]
    wanted = np.vstack([lon_lat(point) for point in plan["stops"].geometry])
    assert np.abs(places(stops) - wanted).max() <= 0.5001e-7
    assert [text(p, "name").split(" ")[0] for p in stops] == ["0", "1", "2", "3", "4", "5", "6"]
    # each leg of the made-up plan has a turn and a gate between its ends
    assert [text(p, "type") for p in points] == ["stop", "turn", "turn"] * 6 + ["stop"]


def test_the_route_follows_the_legs_over_every_turn(plan, lon_lat):
    route = ET.fromstring(write(plan)).find(G + "rte")
    walked = places(route.findall(G + "rtept"))
    legs = np.vstack([lon_lat(line) for line in plan["legs"].geometry])
    wanted = legs[np.r_[True, np.abs(np.diff(legs, axis=0)).sum(axis=1) > 1e-9]]
    assert walked.shape == wanted.shape
    assert np.abs(walked - wanted).max() <= 0.5001e-7


def test_ten_stops_and_more_sort_by_name_in_the_order_of_the_run(plan_of):
    route = ET.fromstring(write(plan_of(12))).find(G + "rte")
    names = [text(p, "name") for p in route.findall(G + "rtept") if text(p, "type") == "stop"]
    assert names == sorted(names)


def test_a_hold_where_a_stop_is_made_has_the_name_of_the_stop(plan):
    root = ET.fromstring(write(plan))
    holds = [e for e in root.iter(G + "wpt") if text(e, "type") == "hold"]
    stops = {
        text(e, "name"): (e.get("lat"), e.get("lon"))
        for e in root.iter(G + "rtept")
        if text(e, "type") == "stop"
    }
    assert len(holds) == len(plan["holds"])
    assert all(stops[text(e, "name")] == (e.get("lat"), e.get("lon")) for e in holds)


def test_a_leg_that_joins_no_two_stops_is_said(plan):
    legs = plan["legs"].copy()
    legs.loc[3, "to_id"] = "elsewhere"
    with pytest.warns(DataWarning, match="do not join two stops"):
        to_gpx({"stops": plan["stops"], "legs": legs}, title="run")


def test_the_track_has_a_segment_for_each_row_of_legs(plan, lon_lat):
    segments = list(ET.fromstring(write(plan)).iter(G + "trkseg"))
    legs = [
        s
        for s in segments
        if s.find(f"{G}extensions/{OWN}layer") is not None
        and s.findtext(f"{G}extensions/{OWN}layer") == "legs"
    ]
    assert len(legs) == len(plan["legs"])
    for segment, line in zip(legs, plan["legs"].geometry, strict=True):
        assert np.abs(places(segment.findall(G + "trkpt")) - lon_lat(line)).max() <= 0.5001e-7


def test_todays_depth_is_said_in_both_units(plan):
    root = ET.fromstring(write({"holds": plan["holds"]}))
    first = plan["holds"]["depth_today_m"].iloc[0]
    said = next(root.iter(G + "wpt")).findtext(G + "desc")
    assert f"Boat in {first / 0.3048:.1f} ft ({first:.1f} m) of water today." in said


def test_a_charted_depth_is_corrected_by_the_level_or_called_charted(plan):
    spots = plan["spots"].drop(columns=["depth_today_m", "fishable"])
    spots["depth_m"] = 3.6576  # 12 ft; at 641.6 ft where 650.0 ft is normal it is 3.6 ft (worked: 12 - 8.4)
    level_m = (641.6 - 650.0) * 0.3048
    corrected = next(ET.fromstring(write({"spots": spots}, level_m=level_m)).iter(G + "wpt"))
    assert "Bottom 3.6 ft (1.1 m) down today." in corrected.findtext(G + "desc")
    charted = next(ET.fromstring(write({"spots": spots})).iter(G + "wpt"))
    assert "Bottom 12.0 ft (3.7 m) below chart datum; take the level off." in charted.findtext(G + "desc")


def test_a_spot_left_out_says_so_first(plan):
    root = ET.fromstring(write({"spots": plan["spots"]}))
    dry = next(e for e in root.iter(G + "wpt") if text(e, "name") == "Dry & high")
    assert text(dry, "desc").startswith("Left out today: stands dry today.")


def test_every_caution_level_and_date_are_in_the_metadata(plan):
    said = ET.fromstring(write(plan, level_m=-1.2192, date="2031-05-03")).findtext(f"{G}metadata/{G}desc")
    assert all(caution in said for caution in CAUTIONS)
    assert "Depths at level -4.0 ft (-1.22 m) from chart datum on 2031-05-03." in said


def test_route_and_track_tell_the_level_of_the_file_and_never_that_none_is_stated(plan):
    made = ET.fromstring(write(plan, level_m=-1.2192, date="2031-05-03"))
    for kind in ("rte", "trk"):
        told = [one.findtext(f"{G}desc", "") for one in made.iter(G + kind)]
        assert any("Depths at level -4.0 ft (-1.22 m)" in said for said in told)
        assert not any("not stated" in said for said in told)


def test_times_are_in_utc(plan):
    made = datetime(2031, 5, 2, 21, 0, tzinfo=timezone(timedelta(hours=-5)))
    root = ET.fromstring(write(plan, made=made))
    assert root.findtext(f"{G}metadata/{G}time") == "2031-05-03T02:00:00Z"
    second = [e for e in root.iter(G + "rtept") if text(e, "type") == "stop"][1]
    # the made-up plan arrives at 06:20 in a zone five hours behind
    assert second.findtext(f"{G}extensions/{OWN}arrive") == "2031-05-03T11:20:00Z"
    assert "Arrive 06:20" in text(second, "desc")


def test_a_making_time_without_zone_is_refused(plan):
    with pytest.raises(UsageError, match="without a zone"):
        to_gpx(parts(plan), title="run", made=datetime(2031, 5, 2))  # noqa: DTZ001 -- the point of the test


def test_the_extension_holds_the_columns_in_the_order_of_the_layer(plan):
    first = next(ET.fromstring(write({"ramps": plan["ramps"]})).iter(G + "wpt"))
    tags = [e.tag.removeprefix(OWN) for e in first.find(G + "extensions")]
    assert tags == ["layer", "ramp_id", "name", "min_level_m"]


def test_a_column_called_layer_does_not_hide_the_layer(hostile_layers):
    first = next(ET.fromstring(write({"spots": hostile_layers["spots"]})).iter(G + "wpt"))
    told = {e.tag.removeprefix(OWN): e.text for e in first.find(G + "extensions")}
    assert told["layer"] == "spots"
    assert told["layer_2"] == "<script>alert(1)</script>"


def test_areas_are_left_out_and_that_is_said(plan):
    with pytest.warns(DataWarning, match="5 of depth_bands"):
        to_gpx(plan, title="run")


def test_points_and_lines_alone_are_written_without_a_word(plan):
    to_gpx(parts(plan), title="run")  # a warning here would be an error


def test_an_area_spot_becomes_a_point_inside_it(plan, lon_lat):
    spots = plan["spots"].iloc[:1].copy()
    crescent = (
        spots.geometry.iloc[0]
        .buffer(50.0)
        .difference(shapely.affinity.translate(spots.geometry.iloc[0].buffer(50.0), 15.0))
    )
    spots.geometry = [crescent]
    x, y = places(ET.fromstring(write({"spots": spots})).iter(G + "wpt"))[0]
    assert shapely.Polygon(lon_lat(crescent.exterior)).contains(shapely.Point(x, y))


def test_a_spot_without_hold_gets_no_hold_point(plan):
    holds = plan["holds"].copy()
    holds.loc[0, ["status", "reason"]] = ["none", "no open water"]
    with pytest.warns(DataWarning, match="1 of holds with status none"):
        written = to_gpx({"holds": holds}, title="run")
    assert len(list(ET.fromstring(written).iter(G + "wpt"))) == len(holds) - 1


def test_a_layer_without_reference_system_is_refused(plan):
    bare = plan["holds"].set_crs(None, allow_override=True)
    with pytest.raises(CrsError, match="'holds' has no reference system"):
        to_gpx({"holds": bare}, title="run")


def test_something_that_is_no_layer_is_refused():
    with pytest.raises(DataError, match="not a layer with geometry: notes"):
        to_gpx({"notes": [1, 2]}, title="run")


def test_the_input_is_not_changed(plan):
    before = {name: layer.copy() for name, layer in plan.items()}
    write(plan)
    for name, layer in plan.items():
        assert layer.equals(before[name])


def test_the_same_plan_makes_the_same_bytes(plan):
    assert write(plan) == write(plan)


def test_longitude_180_is_written_as_the_schema_allows(plan, gpx_schema):
    spots = plan["spots"].iloc[:1].set_crs(4326, allow_override=True)
    spots.geometry = [shapely.Point(180.0, 65.0)]
    written = write({"spots": spots})
    gpx_schema.validate(written.decode())
    assert next(ET.fromstring(written).iter(G + "wpt")).get("lon") == "-180.0000000"


@pytest.mark.skipif(shutil.which("gpsbabel") is None, reason="gpsbabel is not installed")
def test_gpsbabel_reads_the_same_points_in_the_same_places(plan, tmp_path):
    (tmp_path / "run.gpx").write_bytes(write(plan))
    subprocess.run(
        [
            "gpsbabel",
            "-w",
            "-r",
            "-t",
            "-i",
            "gpx",
            "-f",
            tmp_path / "run.gpx",
            "-o",
            "gpx",
            "-F",
            tmp_path / "back.gpx",
        ],
        check=True,
    )
    ours, theirs = ET.fromstring(write(plan)), ET.parse(tmp_path / "back.gpx").getroot()
    their = "{" + theirs.tag.split("}")[0][1:] + "}"
    for tag in ("wpt", "rtept", "trkpt"):
        one, two = places(ours.iter(G + tag)), places(theirs.iter(their + tag))
        assert one.shape == two.shape
        assert np.abs(one - two).max() <= 1e-7
    assert [text(e, "name") for e in ours.iter(G + "wpt")] == [
        e.findtext(their + "name") for e in theirs.iter(their + "wpt")
    ]


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_ogrinfo_counts_the_same_features(plan, tmp_path):
    (tmp_path / "run.gpx").write_bytes(write(plan))
    told = subprocess.run(
        ["ogrinfo", "-ro", "-so", "-al", tmp_path / "run.gpx"], check=True, capture_output=True, text=True
    ).stdout
    layers = [line.split(": ")[1] for line in told.splitlines() if line.startswith("Layer name")]
    counts = [int(line.split(": ")[1]) for line in told.splitlines() if line.startswith("Feature Count")]
    root = ET.fromstring(write(plan))
    wanted = {
        "waypoints": "wpt",
        "routes": "rte",
        "tracks": "trk",
        "route_points": "rtept",
        "track_points": "trkpt",
    }
    found = dict(zip(layers, counts, strict=True))
    assert {layer: found[layer] for layer in wanted} == {
        layer: len(list(root.iter(G + tag))) for layer, tag in wanted.items()
    }


def test_every_line_of_names_is_one_line(hostile_layers):
    names = [text(e, "name") for e in ET.fromstring(write(hostile_layers)).iter(G + "wpt")]
    assert not [name for name, mark in itertools.product(names, "\n\r\t") if mark in name]


def test_every_kind_of_geometry_makes_valid_files(gpx_schema, kml_schema):
    shapes = [
        shapely.Point(480_000, 4_100_000),
        shapely.MultiPoint([(480_000, 4_100_000), (480_100, 4_100_000)]),
        shapely.LineString([(480_000, 4_100_000), (480_100, 4_100_050)]),
        shapely.LinearRing([(480_000, 4_100_000), (480_100, 4_100_050), (480_000, 4_100_100)]),
        shapely.MultiLineString([[(480_000, 4_100_000), (480_100, 4_100_050)], [(0, 4_100_000), (10, 4_100_000)]]),
        shapely.box(480_000, 4_100_000, 480_100, 4_100_100),
        shapely.MultiPolygon([shapely.box(480_000, 4_100_000, 480_100, 4_100_100), shapely.box(480_200, 4_100_000, 480_300, 4_100_100)]),
        shapely.GeometryCollection([shapely.Point(480_000, 4_100_000), shapely.box(480_000, 4_100_000, 480_100, 4_100_100)]),
        shapely.Polygon([(480_000, 4_100_000), (480_100, 4_100_100), (480_100, 4_100_000), (480_000, 4_100_100)]),  # crosses itself
        shapely.Point(),
        None,
    ]  # fmt: skip
    ids = [str(n) for n in range(len(shapes))]
    for columns in (
        {"spot_id": ids, "kind": "other"},
        {"leg_no": 1, "part": "run", "from_id": "a", "to_id": "b"},
        {"zone": "slow"},
        {"x": ids},
    ):
        layer = gpd.GeoDataFrame(columns, index=range(len(shapes)), geometry=shapes, crs=32615)
        gpx_schema.validate(write({"made up": layer}).decode())
        kml_schema.validate(to_kml({"made up": layer}, title="x").decode())
        assert len(json.loads(to_geojson({"made up": layer}, title="x"))["features"]) == len(shapes)


def test_the_waves_of_a_stop_are_told_once_and_as_an_estimate(plan):
    holds = plan["holds"].assign(
        wind_mps=5.0, wind_from_deg=225.0, wave_m=0.12, wave_low_m=0.1, wave_high_m=0.15
    )
    root = ET.fromstring(write({**plan, "holds": holds}))
    said = next(text(e, "desc") for e in root.iter(G + "wpt") if text(e, "type") == "hold")
    assert said.count("Waves about") == 1
    assert "Waves about 0.4 ft (0.12 m), between 0.3 ft (0.10 m) and 0.5 ft (0.15 m): an estimate." in said
    assert said.count("Wind ") == 1
