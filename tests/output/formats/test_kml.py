"""KML: valid by its schema, read back by another program, and no text that a viewer could take for HTML."""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from html.parser import HTMLParser

import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import CrsError
from castshed.toolbox.output.formats.kml import to_kml
from castshed.toolbox.output.words.cautions import CAUTIONS

K = "{http://www.opengis.net/kml/2.2}"


def write(layers, **options):
    return to_kml(layers, title="Day run", **options)


def folders(root):
    return {folder.findtext(K + "name"): folder for folder in root.iter(K + "Folder")}


class Shown(HTMLParser):
    """What a viewer would make of a description: its tags and the words between them."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.tags, self.words = [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, tuple(attrs)))

    def handle_data(self, data):
        self.words.append(data)


def test_a_plan_is_valid_by_the_kml_22_schema(plan, kml_schema):
    kml_schema.validate(
        write(plan, level_m=-1.2192, date="2031-05-03", made=datetime(2031, 5, 2, tzinfo=UTC)).decode()
    )


def test_empty_layers_make_a_valid_file(empty_layers, kml_schema):
    written = write(empty_layers)
    kml_schema.validate(written.decode())
    assert list(ET.fromstring(written).iter(K + "Placemark")) == []


def test_no_layers_at_all_make_a_valid_file(kml_schema):
    kml_schema.validate(write({}).decode())


def test_hostile_text_makes_a_valid_file(hostile_layers, kml_schema):
    kml_schema.validate(write(hostile_layers).decode())


def test_nothing_but_paragraphs_is_html_in_a_description(hostile_layers, plan):
    for layers in (hostile_layers, plan):
        root = ET.fromstring(write(layers, description="<b>bold</b> & <img src=x onerror=alert(1)>"))
        for described in root.iter(K + "description"):
            assert set(Shown(described.text).tags) <= {("p", ())}


def test_a_hostile_name_shows_as_it_was_written(hostile_layers):
    root = ET.fromstring(write(hostile_layers))
    mark = next(root.iter(K + "Placemark"))
    assert mark.findtext(K + "name") == "<script>alert(1)</script>"
    assert Shown(mark.findtext(K + "description")).words[0] == "<script>alert(1)</script>"
    assert b"<script" not in write(hostile_layers)


def test_a_balloon_shows_only_the_escaped_description(plan):
    balloons = [b.findtext(K + "text") for b in ET.fromstring(write(plan)).iter(K + "BalloonStyle")]
    assert balloons
    assert set(balloons) == {"$[description]"}


def test_every_style_named_is_there(plan):
    root = ET.fromstring(write(plan))
    there = {"#" + style.get("id") for style in root.iter(K + "Style")}
    assert {e.text for e in root.iter(K + "styleUrl")} <= there


def test_ids_differ(plan):
    root = ET.fromstring(write(plan))
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))


def test_a_colour_is_written_opacity_blue_green_red(plan):
    # KML 2.2, section 9.1: aabbggrr; the zones' outline is #5b2a86
    zones = next(s for s in ET.fromstring(write(plan)).iter(K + "Style") if s.get("id") == "zones")
    assert zones.findtext(f"{K}LineStyle/{K}color") == "ff862a5b"


def test_each_layer_is_a_folder_with_its_rows(plan):
    found = {
        name: len(folder.findall(K + "Placemark"))
        for name, folder in folders(ET.fromstring(write(plan))).items()
    }
    assert found == {name.replace("_", " "): len(layer) for name, layer in plan.items()}
    assert list(found) == [name.replace("_", " ") for name in plan]


def test_layers_that_would_cover_the_map_start_hidden(plan):
    seen = {
        name: folder.findtext(K + "visibility")
        for name, folder in folders(ET.fromstring(write(plan))).items()
    }
    assert seen["depth bands"] == seen["cast reach"] == "0"
    assert seen["holds"] == seen["shallow hazards"] == seen["zones"] == "1"


def test_every_caution_level_and_date_are_in_the_document(plan):
    said = ET.fromstring(write(plan, level_m=-1.2192, date="2031-05-03")).findtext(
        f"{K}Document/{K}description"
    )
    assert all(html.escape(caution) in said for caution in CAUTIONS)
    assert "level -4.0 ft (-1.22 m) from chart datum on 2031-05-03" in said


def test_values_keep_the_order_of_the_layer(plan):
    mark = folders(ET.fromstring(write({"ramps": plan["ramps"]})))["ramps"].find(K + "Placemark")
    assert [(d.get("name"), d.findtext(K + "value")) for d in mark.iter(K + "Data")] == [
        ("ramp_id", "R1"),
        ("name", "Willow ramp"),
        ("min_level_m", "-3.0"),
    ]


def test_no_height_is_written(plan):
    for coordinates in ET.fromstring(write(plan)).iter(K + "coordinates"):
        assert all(len(place.split(",")) == 2 for place in coordinates.text.split())


def test_outer_rings_run_counter_clockwise_and_holes_clockwise(plan):
    root = ET.fromstring(write({"water": plan["water"], "depth_bands": plan["depth_bands"]}))
    seen = 0
    for tag, wanted in ((K + "outerBoundaryIs", True), (K + "innerBoundaryIs", False)):
        for ring in root.iter(tag):
            points = [
                tuple(map(float, place.split(",")))
                for place in next(ring.iter(K + "coordinates")).text.split()
            ]
            assert shapely.LinearRing(points).is_ccw is wanted
            seen += 1
    assert seen > 8


def test_a_hold_that_was_not_found_does_not_look_like_one(plan):
    holds = plan["holds"].copy()
    holds.loc[0, ["status", "reason"]] = ["none", "no open water"]
    marks = folders(ET.fromstring(write({"holds": holds})))["holds"].findall(K + "Placemark")
    assert [m.findtext(K + "styleUrl") for m in marks] == ["#left_out"] + ["#holds"] * (len(holds) - 1)
    assert "No hold found: no open water." in marks[0].findtext(K + "description")


def test_a_layer_without_reference_system_is_refused(plan):
    with pytest.raises(CrsError, match="'spots' has no reference system"):
        write({"spots": plan["spots"].set_crs(None, allow_override=True)})


@pytest.mark.skipif(shutil.which("ogr2ogr") is None, reason="ogr2ogr is not installed")
@pytest.mark.parametrize("layer", ["spots", "holds", "legs", "cast_lines", "ramps", "stops"])
def test_ogr_reads_the_same_features_in_the_same_places(plan, lon_lat, tmp_path, layer):
    (tmp_path / "plan.kml").write_bytes(write(plan))
    said = subprocess.run(
        ["ogr2ogr", "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=9", "/vsistdout/", tmp_path / "plan.kml", layer.replace("_", " ")],
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    back = json.loads(said)["features"]
    assert len(back) == len(plan[layer])
    for feature, geometry in zip(back, plan[layer].geometry, strict=True):
        read = shapely.get_coordinates(shapely.geometry.shape(feature["geometry"]), include_z=False)
        assert np.abs(read - lon_lat(geometry)).max() <= 1e-7


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="ogrinfo is not installed")
def test_ogrinfo_counts_the_same_features_in_every_layer(plan, tmp_path):
    (tmp_path / "plan.kml").write_bytes(write(plan))
    told = subprocess.run(
        ["ogrinfo", "-ro", "-so", "-al", tmp_path / "plan.kml"], check=True, capture_output=True, text=True
    ).stdout
    found = dict(
        zip(
            re.findall(r"Layer name: (.*)", told),
            map(int, re.findall(r"Feature Count: (\d+)", told)),
            strict=True,
        )
    )
    assert found == {name.replace("_", " "): len(layer) for name, layer in plan.items()}


@pytest.mark.parametrize(
    ("part", "style", "said"),
    [("run", "leg_run", "running"), ("idle", "leg_idle", "at idle"), ("launch", "leg_idle", "between ramp")],
)
def test_parts_of_a_leg_are_told_apart(plan, part, style, said):
    legs = plan["legs"].iloc[:1].assign(part=part)
    (mark,) = ET.fromstring(write({"legs": legs})).iter(K + "Placemark")
    assert mark.findtext(K + "styleUrl") == f"#{style}"
    assert f"From R1 to B01, {said}" in mark.findtext(K + "description")
