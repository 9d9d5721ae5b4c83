"""Layers are checked before any work: every fault, once, with the remedy."""

import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from castshed.toolbox.algorithm.contracts import check_inputs
from castshed.toolbox.errors import ContractError, CrsError, DataWarning
from castshed.toolbox.numbers import numbers_of
from castshed.toolbox.parameters import LINE, POINT, POLYGON, Column, Layer, Surface

SPOTS = Layer(
    "spots",
    POINT,
    "spot_id",
    needs=(Column("depth_m"),),
    optional=(Column("rating", gaps=True), Column("name", "text", gaps=True)),
)
POLY = Layer("zones", POLYGON)


def spots(n=3, crs=32615, **columns):
    body = {"spot_id": [f"s{i}" for i in range(n)], "depth_m": np.arange(n, dtype=float)} | columns
    return gpd.GeoDataFrame(body, geometry=[shapely.Point(500_000 + i, 4_000_000) for i in range(n)], crs=crs)


def check(frame, marker=SPOTS, **others):
    return check_inputs({"spots": (frame, marker)} | others)["spots"]


def test_a_sound_layer_passes_and_is_completed():
    made = check(spots())
    assert made["rating"].isna().all()
    assert (made["name"] == "").all()


def test_the_given_frame_is_not_changed():
    given = spots()
    before = given.copy(deep=True)
    check(given)
    pd.testing.assert_frame_equal(pd.DataFrame(given), pd.DataFrame(before))


@pytest.mark.parametrize(
    ("frame", "says"),
    [
        (spots(crs=4326), "is in degrees .* --crs EPSG"),
        (spots(crs=None), "has no coordinate reference system"),
        (spots(crs=2277), "US survey foot"),  # a state plane system in US survey feet
    ],
)
def test_a_system_that_is_not_in_metres_is_refused_with_the_remedy(frame, says):
    with pytest.raises(CrsError, match=says):
        check(frame)


def test_two_systems_are_refused_naming_both():
    zones = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=32616)
    with pytest.raises(CrsError, match=r"zone 16N.*zone 15N.*share one"):
        check(spots(), zones=(zones, POLY))


@pytest.mark.parametrize(
    ("frame", "says"),
    [
        (spots().drop(columns="depth_m"), r"no column depth_m; it has: spot_id, geometry"),
        (spots().drop(columns="spot_id"), "no column spot_id"),
        (spots(spot_id=["a", "a", "b"]), "given more than once: a"),
        (spots(spot_id=["a", None, "b"]), "spot_id is empty in row 1"),
        (spots(depth_m=["1", "deep", "3"]), "must be a number; it is 'deep' in row 1"),
        (spots(depth_m=[1.0, np.nan, 2.0]), "depth_m is empty in row 1"),
        (spots(depth_m=[1.0, np.inf, 2.0]), "infinite"),
        (spots().set_geometry([shapely.Point(0, 0), None, shapely.Point()]), "no geometry in rows 1, 2"),
        (spots().set_geometry([shapely.Point(0, 0)] * 2 + [shapely.Point(np.nan, 1)]), "row"),
        (spots().set_geometry([shapely.LineString([(0, 0), (1, 1)])] * 3), "must hold Point"),
    ],
)
def test_a_fault_is_named_with_its_rows(frame, says):
    with pytest.raises(ContractError, match=says):
        check(frame.set_crs(32615, allow_override=True))


def test_every_fault_is_reported_at_once():
    frame = spots(spot_id=["a", "a", "b"]).drop(columns="depth_m").to_crs(4326)
    with pytest.raises(ContractError) as caught:
        check(frame)
    assert len(caught.value.faults) == 3


def test_an_empty_layer_passes_unless_it_must_not():
    assert len(check(spots(0))) == 0
    with pytest.raises(ContractError, match="empty layer"):
        check(spots(0), Layer("ramps", POINT, may_be_empty=False))


def test_an_invalid_polygon_is_repaired_and_said_so():
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    frame = gpd.GeoDataFrame(geometry=[bow, shapely.box(5, 5, 6, 6)], crs=32615)
    with pytest.warns(DataWarning, match="1 invalid geometry repaired .row 0"):
        made = check(frame, POLY)
    assert shapely.is_valid(made.geometry.to_numpy()).all()
    assert not shapely.is_valid(frame.geometry.to_numpy()).all()
    assert made.area.iloc[0] == pytest.approx(2.0)


def test_a_third_coordinate_is_left_behind():
    frame = gpd.GeoDataFrame(geometry=[shapely.LineString([(0, 0, 5), (1, 1, 5)])], crs=32615)
    assert not shapely.has_z(check(frame, Layer("lines", LINE)).geometry.iloc[0])


def test_a_surface_without_any_depth_is_refused(lake):
    from dataclasses import replace

    blank = replace(lake.depth, depth_m=np.full((4, 4), np.nan, dtype="f4"))
    with pytest.raises(ContractError, match="no depth at all"):
        check_inputs({"depth": (blank, Surface("depth"))})
    with pytest.raises(ContractError, match="must be a DepthSurface"):
        check_inputs({"depth": (np.zeros((3, 3)), Surface("depth"))})


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("depth_m", pd.Timestamp("2026-05-16"), "dates"),
        ("depth_m", pd.Timestamp("2026-05-16", tz="America/Chicago"), "dates"),
        ("depth_m", dt.date(2026, 5, 16), "dates"),
        ("depth_m", dt.time(6), "dates"),
        ("depth_m", pd.Timedelta(hours=1), "spans of time"),
        ("depth_m", dt.timedelta(hours=1), "spans of time"),
        ("depth_m", True, "yes and no"),
        ("depth_m", "deep", "deep"),
        ("rating", pd.Timestamp("2026-05-16"), "dates"),
        ("rating", 1j, "complex"),
    ],
)
@pytest.mark.parametrize("mixed", [False, True])
def test_what_a_computer_takes_for_a_number_is_refused(column, value, says, mixed):
    values = pd.Series([value] * 3) if not mixed else pd.Series([1.0, value, 2.0], dtype=object)
    with pytest.raises(ContractError, match=rf"spots\.{column} must be a number.*{says}"):
        check(spots(**{column: values}))


def test_yes_and_no_may_be_a_mark_but_no_measure():
    assert check(spots(rating=[True, False, True]))["rating"].tolist() == [1, 0, 1]
    with pytest.raises(ContractError, match="yes and no"):
        numbers_of(pd.Series([True, False]), "holds.hold_no")
    assert numbers_of(pd.Series(["3", None, "x"]), "x").fillna(-1.0).tolist() == [3.0, -1.0, -1.0]
