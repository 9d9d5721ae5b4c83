"""Sources that are held against each other, and roads by which depth comes in, on lakes made for it."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import shapely

from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.water_today import water_today
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataWarning
from castshed.toolbox.water.bottom.survey import with_depth_areas
from made_lake import X0, Y0, frame, make_lake


def disc_lake():
    """A bowl of 1:10, 30 m deep, its soundings, and a chart of it that lies 12 m too shallow in the middle."""
    lake = shapely.Point(X0, Y0).buffer(400.0, quad_segs=32)
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-390, 390, (2, 900))
    off = np.hypot(x, y)
    wet = off < 390
    soundings = frame(shapely.points(X0 + x[wet], Y0 + y[wet]), depth_m=40.0 - off[wet] / 10.0)
    depths = np.arange(2.0, 28.0, 2.0)
    lines = [
        shapely.LineString(
            shapely.Point(X0, Y0).buffer(400.0 - 10.0 * d * 40.0 / 28.0, quad_segs=32).exterior.coords
        )
        for d in depths
    ]
    return frame([lake], name=["made"]), soundings, frame(lines, depth_m=depths), off


def test_soundings_do_not_give_way_to_a_chart_that_contradicts_them():
    lake, soundings, contours, _ = disc_lake()
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        both = depth_surface(lake, soundings=soundings, contours=contours)
    told = [str(w.message) for w in said]
    assert any("contradict each other" in text for text in told)
    assert not any(text.startswith("soundings:") for text in told)
    x, y = np.random.default_rng(8).uniform(-250, 250, (2, 500))
    off = np.abs(both.depth.at(X0 + x, Y0 + y) - (40.0 - np.hypot(x, y) / 10.0))
    assert np.quantile(off, 0.95) < 1.0
    assert (off <= both.depth_confidence.at(X0 + x, Y0 + y)).mean() >= 0.93


def test_contours_alone_say_that_nothing_judges_them():
    lake, _, contours, _ = disc_lake()
    with pytest.warns(DataWarning, match="nothing shows how far they lie"):
        depth_surface(lake, contours=contours)


def test_above_the_shoreline_water_needs_ground_that_is_known():
    """The rim of one cell, 30 m wide here, is no ground: at 10 ft more the water still ends at the shoreline."""
    lake, _, contours, _ = disc_lake()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(lake, contours=contours, cell_m=30.0)
        water = water_today(made.depth, lake, level_m=3.048).water
    assert shapely.union_all(water.geometry.to_numpy()).difference(lake.geometry.iloc[0]).area < 1.0


def test_where_chart_and_soundings_contradict_each_other_a_layer_says_where_and_by_how_much():
    """Made: the bowl falls from 0 to 40 m, the chart from 0 to 28 m on the same way: it shows three tenths too little.

    Beyond the interval of 2 m they differ where the bowl is deeper than 2 m / 0.3; the soundings were believed there.
    """
    lake, soundings, contours, off = disc_lake()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(lake, soundings=soundings, contours=contours)
    layer = made.contradictions
    true = 40.0 - np.hypot(layer.geometry.x - X0, layer.geometry.y - Y0) / 10.0
    assert np.allclose(layer["sounded_m"], true, atol=0.01)
    charted = layer[
        layer["sounded_m"] < 37.0
    ]  # above that no second line is told, in the middle of the chart
    assert np.allclose(charted["difference_m"], -0.3 * charted["sounded_m"], atol=0.3)
    deep = (40.0 - off[off < 390] / 10.0) > 9.0
    assert len(layer) >= 0.98 * deep.sum()
    assert layer["sounded_m"].min() > 5.5
    assert (layer["believed"] == "soundings").mean() > 0.95


def test_an_area_s_source_and_date_go_along_with_the_line_where_it_begins():
    """An area of 1990 with an error of its own weighs its line less, and a sounding beyond its limits is told."""
    lake, left, right = shapely.box(X0, Y0, X0 + 400, Y0 + 200), shapely.box(X0, Y0, X0 + 200, Y0 + 200), None
    right = shapely.box(X0 + 200, Y0, X0 + 400, Y0 + 200)
    areas = frame(
        [left, right], from_m=[0.0, 4.0], to_m=[4.0, 9.0], source=["old", "new"], surveyed=["1990", "2020"]
    )
    lines = with_depth_areas(None, areas)
    assert (lines["source"] == "new").all()
    assert (lines["surveyed"] == "2020").all()
    xy = [(50.0, 100.0), (100.0, 60.0), (300.0, 100.0), (320.0, 50.0)]
    soundings = frame([shapely.Point(X0 + x, Y0 + y) for x, y in xy], depth_m=[3.0, 6.5, 6.0, 2.0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(
            frame([lake], name=["made"]), depth_areas=areas, soundings=soundings, source_errors=["new=0.5m"]
        )
    told = made.contradictions.sort_values("sounded_m")
    assert told["sounded_m"].tolist() == [2.0, 6.5]
    assert told["charted_m"].tolist() == [4.0, 4.0]
    assert told["difference_m"].tolist() == [2.0, -2.5]
    assert set(told["believed"]) <= {"soundings", "depth areas"}


def test_soundings_judge_a_raster_and_its_band_reaches_up_to_them():
    """Made: a raster 1.5 m too deep in one corner, a shoal it does not show, and soundings of the true bottom."""
    made_lake = make_lake()
    true = made_lake.depth
    x, y = np.meshgrid(true.xs, true.ys)
    wrong = np.where((x < X0 + 400) & (y < Y0 + 400) & (true.depth_m > 0), 1.5, 0.0)
    raster = true.with_depth((true.depth_m + wrong).astype("f4"))
    rng = np.random.default_rng(7)
    east, north = rng.uniform(20, 980, (2, 400))
    depth = true.at(X0 + east, Y0 + north)
    fits = depth > 0.2
    soundings = frame(shapely.points(X0 + east[fits], Y0 + north[fits]), depth_m=depth[fits])
    with pytest.warns(DataWarning, match="held against the raster"):
        judged = depth_surface(made_lake.shoreline, raster=raster, soundings=soundings)
    corner = (judged.contradictions.geometry.x < X0 + 400) & (judged.contradictions.geometry.y < Y0 + 400)
    assert corner.mean() > 0.95
    # On the corner's edge the raster lies between both.
    assert np.isclose(judged.contradictions["difference_m"][corner], 1.5, atol=0.05).mean() > 0.95
    off = judged.depth.at(soundings.geometry.x, soundings.geometry.y) - soundings["depth_m"]
    half = judged.depth_confidence.at(soundings.geometry.x, soundings.geometry.y)
    assert (off <= half + 0.3).mean() >= 0.97
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        alone = depth_surface(made_lake.shoreline, raster=raster)
    assert len(alone.contradictions) == 0


def roads():
    """A disc of water by every road by which depth comes in, none of which knows land."""
    lake, soundings, contours, _ = disc_lake()
    rings = [shapely.Point(X0, Y0).buffer(r, quad_segs=32) for r in (400.0, 300.0, 200.0)]
    areas = frame(
        [rings[0] - rings[1], rings[1] - rings[2], rings[2]],
        from_m=[0.0, 10.0, 20.0],
        to_m=[10.0, 20.0, 40.0],
    )
    deep = np.full((90, 90), np.nan, dtype="f4")
    east = X0 - 450 + (np.arange(90) + 0.5) * 10.0
    off = np.hypot(*np.meshgrid(east - X0, east - X0))
    deep[off < 400] = (40.0 - off / 10.0)[off < 400]
    raster = DepthSurface(deep, X0 - 450, Y0 + 450, 10.0, 10.0, lake.crs)
    return lake, {
        "contours": {"contours": contours},
        "soundings": {"soundings": soundings},
        "areas": {"depth_areas": areas},
        "raster": {"raster": raster},
        "triangles": {"contours": contours, "method": "triangles"},
        "both": {"contours": contours, "soundings": soundings},
    }


@pytest.mark.parametrize("road", ["contours", "soundings", "areas", "raster", "triangles", "both"])
def test_six_feet_above_normal_the_water_ends_at_a_shoreline_beyond_which_nothing_is_known(road):
    lake, given = roads()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = depth_surface(lake, cell_m=20.0, **given[road])
        water = water_today(made.depth, lake, level_m=1.8288).water
    assert shapely.union_all(water.geometry.to_numpy()).difference(lake.geometry.iloc[0]).area < 1.0
