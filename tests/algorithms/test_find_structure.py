"""One structure is one finding, in words and ranked; suppressed where the depths cannot show it; a spot like any other."""

from __future__ import annotations

import re
import warnings

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from PIL import Image

from castshed.algorithms.boat_hold import boat_hold
from castshed.algorithms.find_structure import KINDS, find_structure
from castshed.algorithms.structure_map import structure_map
from castshed.algorithms.water_today import water_today
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataWarning, UsageError
from castshed.toolbox.output.maps.structure_chart import WORDS
from castshed.toolbox.testing import assert_layer_equal
from castshed.toolbox.water.structure import findings as findings_room
from castshed.toolbox.water.structure.finding_table import described, findings, nearest_banks
from castshed.toolbox.water.structure.findings import chosen, find_all, supported, without_echoes
from planted import plant

CRS = pyproj.CRS.from_epsg(32615)


def table(*rows):
    """Findings from (kind, geometry, strength, other numbers)."""
    import pandas as pd

    made = [
        findings(kind, [shape], CRS, {"strength": [strength], "relief_m": [2.0], "top_m": [3.0], "base_m": [5.0],
                                      **{k: [v] for k, v in more.items()}})
        for kind, shape, strength, more in rows
    ]  # fmt: skip
    return gpd.GeoDataFrame(pd.concat(made, ignore_index=True), geometry="geometry", crs=CRS)


def test_a_ledge_round_a_hump_is_the_humps():
    hump = ("hump", shapely.Point(0, 0), 2.0, {"area_m2": np.pi * 40.0**2})
    round_it = ("ledge", shapely.Point(0, 0).buffer(35).exterior, 3.0, {"length_m": 220.0})
    far = ("ledge", shapely.LineString([(200, 0), (300, 0)]), 1.5, {"length_m": 100.0})
    kept = without_echoes(table(hump, round_it, far))
    assert kept["kind"].tolist() == ["hump", "ledge"]
    assert kept["echoes"].tolist() == ["ledge, 2.0 m of drop", ""]
    assert described(kept.iloc[0].to_dict(), us=True).endswith("with a ledge")


def test_of_two_findings_of_one_ledge_the_clearer_stays_and_strangers_stay_both():
    line = shapely.LineString([(0, 0), (100, 0)])
    two = [("ledge", line, 1.2, {}), ("ledge", shapely.affinity.translate(line, 5.0, 4.0), 2.0, {})]
    kept = without_echoes(table(*two))
    assert kept["strength"].tolist() == [2.0]
    assert kept["echoes"].tolist() == [""]
    apart = [("ledge", line, 1.2, {}), ("ledge", shapely.affinity.translate(line, 0.0, 60.0), 2.0, {})]
    assert len(without_echoes(table(*apart))) == 2
    flat = ("flat", shapely.box(-20, -20, 120, 20), 1.0, {"area_m2": 5600.0})
    assert len(without_echoes(table(two[0], flat))) == 2


def test_echo_of_an_echo_goes_to_the_last_owner():
    bluff = ("bluff", shapely.LineString([(0, 0), (200, 0)]), 1.0, {})
    strong = ("ledge", shapely.LineString([(20, 15), (150, 15)]), 5.0, {})
    weak = ("ledge", shapely.LineString([(25, 24), (150, 24)]), 2.0, {})
    kept = without_echoes(table(bluff, strong, weak))
    assert kept["kind"].tolist() == ["bluff"]


def test_no_findings_are_no_trouble():
    empty = table(("hump", shapely.Point(0, 0), 1.0, {})).iloc[:0]
    assert len(without_echoes(empty)) == 0


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_words_and_a_mark(kind):
    row = {"kind": kind, "top_m": 3.0, "base_m": 6.4, "relief_m": 3.4, "slope_deg": 9.0, "length_m": 130.0,
           "area_m2": 8093.7, "deep_bearing_deg": 225.0}  # fmt: skip
    us, metric = described(row, us=True), described(row, us=False)
    assert kind.replace("_", " ") in us
    assert us.endswith("deep side SW")
    assert re.search(r"\d (ft|acres|yd)", us)
    assert re.search(r"\d (m|ha)\b", metric)
    assert not re.search(r"\bft\b|\byd\b|acres", metric)
    unknown = row | dict.fromkeys(("slope_deg", "length_m", "deep_bearing_deg"), float("nan"))
    assert "nan" not in described(unknown, us=True)
    assert kind in WORDS


def test_the_description_the_design_asks_for():
    row = {"kind": "point", "top_m": 9 * 0.3048, "base_m": 21 * 0.3048, "relief_m": 12 * 0.3048, "slope_deg": 1.6,
           "length_m": 140 * 0.9144, "area_m2": np.nan, "deep_bearing_deg": 225.0}  # fmt: skip
    assert described(row, us=True) == "long flat point, 9 to 21 ft over 140 yd, deep side SW"


def test_banks_are_named_by_where_they_lie():
    water = shapely.Polygon(
        shapely.box(0, 0, 1000, 1000).exterior, [shapely.box(450, 450, 550, 550).exterior]
    )
    shapes = np.array(
        [shapely.Point(500, 900), shapely.Point(40, 500), shapely.Point(500, 580),
         shapely.LineString([(400, 0), (600, 0)])], dtype=object)  # fmt: skip
    names, off = nearest_banks(shapes, np.array([180.0, 90.0, 0.0, 0.0]), water)
    assert names.tolist() == ["N bank", "W bank", "island, N side", "S bank"]
    assert off.tolist() == pytest.approx([100.0, 40.0, 30.0, 0.0])
    names, off = nearest_banks(shapes, np.full(4, np.nan), None)
    assert names.tolist() == [""] * 4
    assert np.isnan(off).all()


def test_choice_by_window_number_and_spacing():
    rows = [
        ("hump", shapely.Point(30.0 * k, 0), 5.0 - k / 10.0, {"top_m": 1.0 + k, "base_m": 20.0})
        for k in range(8)
    ]
    found = table(*rows).assign(score=np.linspace(0.9, 0.2, 8), confidence=0.5, echoes="")
    all_of_it = chosen(found, from_m=0.0, to_m=99.0, most=0, spacing_m=0.0)
    assert all_of_it["rank"].tolist() == list(range(1, 9))
    # A hump is fished on its top: foot in the window is not enough.
    assert chosen(found, from_m=3.0, to_m=5.0, most=0, spacing_m=0.0)["top_m"].tolist() == [3.0, 4.0, 5.0]
    assert chosen(found, from_m=0.0, to_m=99.0, most=2, spacing_m=0.0)["top_m"].tolist() == [1.0, 2.0]
    assert chosen(found, from_m=0.0, to_m=99.0, most=0, spacing_m=45.0)["top_m"].tolist() == [
        1.0,
        3.0,
        5.0,
        7.0,
    ]


def test_what_contours_cannot_show_is_not_looked_for_and_said():
    assert supported(KINDS, 0.0) == list(KINDS)
    assert supported(KINDS, 2 * 0.3048) == list(KINDS)
    with pytest.warns(DataWarning, match="ledges"):
        left = supported(KINDS, 10 * 0.3048)
    assert "ledge" not in left
    assert {"bluff", "point"} <= set(left)


@pytest.fixture(scope="module")
def lake():
    return plant(2)


def test_planted_bottom_end_to_end(lake):
    found = find_structure(lake.surface, from_m=0.3, to_m=40.0, most=0, spacing_m=0.0)
    assert set(found["kind"]) <= set(KINDS)
    assert len(set(found["kind"])) >= 6
    assert found["spot_id"].is_unique
    assert found["rank"].tolist() == list(range(1, len(found) + 1))
    assert found["confidence"].between(0.0, 1.0).all()
    assert found["rating"].between(0.0, 5.0).all()
    wanted = {"Point": {"hump", "saddle", "point", "pocket"}, "LineString": {"ledge", "bluff", "channel_bend"},
              "Polygon": {"flat"}}  # fmt: skip
    for shape, kinds in wanted.items():
        assert set(found.loc[found.geom_type == shape, "kind"]) <= kinds


def test_level_shifts_depths_and_nothing_else(lake):
    one = find_structure(
        lake.surface, from_m=0.05, to_m=90.0, most=0, spacing_m=0.0, kinds=("hump", "saddle")
    )
    other = find_structure(
        DepthSurface(lake.surface.depth_m + np.float32(2.0), lake.surface.west_m, lake.surface.north_m,
                     lake.surface.cell_x_m, lake.surface.cell_y_m, lake.surface.crs, lake.surface.error_m),
        level_m=-2.0, from_m=0.05, to_m=90.0, most=0, spacing_m=0.0, kinds=("hump", "saddle"),
    )  # fmt: skip
    assert one["kind"].tolist() == other["kind"].tolist()
    assert one.geometry.geom_equals_exact(other.geometry, 0.5).all()
    assert other["depth_m"].to_numpy() - one["depth_m"].to_numpy() == pytest.approx(2.0, abs=1e-3)
    assert other["top_today_m"].to_numpy() == pytest.approx(one["top_today_m"].to_numpy(), abs=1e-3)


def test_findings_go_on_to_holds_as_they_are(lake):
    found = find_structure(lake.surface, from_m=0.6, to_m=15.0, most=3)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        held = boat_hold(found, lake.surface)
    assert set(held.holds["spot_id"]) == set(found["spot_id"])
    assert (held.holds["status"] == "ok").sum() >= len(found) / 2


@pytest.mark.long
def test_the_picture_shows_every_finding(lake, tmp_path):
    surface = lake.surface
    shoreline = gpd.GeoDataFrame({"name": ["made"]}, geometry=[lake.contoured], crs=surface.crs)
    water = water_today(surface, shoreline).water
    found = find_structure(surface, water=water, most=4)
    assert (found["bank"] != "").all()
    picture = structure_map(found, surface, shoreline, title="Made <bottom>")["structure.png"]
    (tmp_path / "s.png").write_bytes(picture)
    with Image.open(tmp_path / "s.png") as image:
        assert image.size[0] == 2600
        assert "not for navigation" in image.text["Description"]
    assert_layer_equal(found, find_structure(surface, water=water, most=4))
    for isobaths in (0.0, 1e-3, 1e4):
        with pytest.raises(UsageError, match="1 to 60"):
            structure_map(found, surface, shoreline, isobaths_m=isobaths)


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 40)])
@pytest.mark.parametrize("value", [3.0, -2.0])
def test_bottoms_with_nothing_on_them_have_no_structure(shape, value):
    surface = DepthSurface(np.full(shape, value, dtype=np.float32), 0.0, 0.0, 2.5, 2.5, CRS)
    found = find_structure(surface)
    assert len(found[found["kind"] != "flat"]) == 0
    assert {"description", "rank", "bank"} <= set(found.columns)


def test_hostile_options_are_refused(lake):
    for wrong in (
        {"from_m": 5.0, "to_m": 4.0},
        {"hump_relief_m": 0.0},
        {"flat_width_m": 0.0},
        {"ledge_drop_m": 0.0},
    ):
        with pytest.raises(UsageError):
            find_structure(lake.surface, **wrong)


def test_confidence_falls_with_the_contour_interval(lake):
    fine = find_all(lake.surface, kinds=("hump",))
    coarse = find_all(lake.surface, kinds=("hump",), interval_m=1.5)
    assert len(fine) == len(coarse)
    assert (coarse["confidence"] < fine["confidence"].max()).all()
    assert set(findings_room.COARSEST_M) == set(KINDS) == set(findings_room.KINDS)
