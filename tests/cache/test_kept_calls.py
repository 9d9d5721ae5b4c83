"""Calls of algorithms kept by content: the same bit for bit, and another for the smallest change of anything."""

from __future__ import annotations

import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pandas.testing import assert_frame_equal

from castshed.algorithms.depth_surface import depth_surface
from castshed.algorithms.shallow_hazards import shallow_hazards
from castshed.algorithms.water_today import water_today
from castshed.toolbox.cache import kept_calls
from castshed.toolbox.cache import kept_calls as fingerprints
from castshed.toolbox.cache.kept_calls import code_and_libraries, kept
from castshed.toolbox.cache.kept_results import arrays_to_frame, frame_to_arrays
from castshed.toolbox.cache.store import SETTING, keeping
from castshed.toolbox.errors import DataWarning

CRS = 32615
LAKE = shapely.Point(500_000, 4_000_000).buffer(400.0)
SHORE = gpd.GeoDataFrame({"name": ["round"]}, geometry=[LAKE], crs=CRS)
LINES = gpd.GeoDataFrame(
    {"depth_m": [2.0, 5.0, 9.0]},
    geometry=[shapely.LineString(LAKE.buffer(-one).exterior.coords) for one in (60, 150, 260)],
    crs=CRS,
)


@pytest.fixture(autouse=True)
def no_setting(monkeypatch):
    monkeypatch.delenv(SETTING, raising=False)


@pytest.fixture
def counted(monkeypatch):
    """Count what is really worked, by algorithm."""
    done = []
    for one in (depth_surface, water_today, shallow_hazards):
        inner = one.__wrapped__

        def worked(*args, _one=one, _inner=inner, **kwargs):
            done.append(_one.spec.name)
            return _inner(*args, **kwargs)

        for cell in one.__closure__:
            if cell.cell_contents is inner:
                monkeypatch.setattr(cell, "cell_contents", worked)
    return done


def chain(level_m=-0.5, lines=LINES, **more):
    depth, unsure, _ = kept(depth_surface, "depth")(SHORE, contours=lines, cell_m=8.0)
    today = kept(water_today, "water")(depth, SHORE, level_m=level_m)
    hazards = kept(shallow_hazards, "hazards")(
        depth, today.water, depth_confidence=unsure, level_m=level_m, **more
    )
    return depth, unsure, today, hazards


def same(one, other):
    for a, b in zip(one[:2], other[:2], strict=True):
        assert np.array_equal(a.depth_m, b.depth_m, equal_nan=True)
        assert (a.bounds, a.shape, a.error_m, a.quantity) == (b.bounds, b.shape, b.error_m, b.quantity)
        assert a.crs == b.crs
    for a, b in zip((*one[2], one[3]), (*other[2], other[3]), strict=True):
        assert_frame_equal(pd.DataFrame(a), pd.DataFrame(b), check_exact=True)
        assert a.to_wkb().equals(b.to_wkb())
        assert a.crs == b.crs
        assert a.geometry.name == b.geometry.name


def test_what_is_kept_is_the_same_to_the_bit_and_nothing_is_worked_twice(tmp_path, counted):
    plain = chain()
    assert counted == ["depth-surface", "water-today", "shallow-hazards"]
    with keeping(tmp_path) as store:
        same(plain, chain())
        del counted[:]
        same(plain, chain())
        assert counted == []
        assert store.told == ["depth", "water", "hazards"]
    with keeping(tmp_path) as store:
        same(plain, chain())
        assert counted == []
        assert store.told == ["depth", "water", "hazards"]


def test_another_level_works_only_what_it_changes(tmp_path, counted):
    with keeping(tmp_path):
        chain()
        del counted[:]
        chain(level_m=-0.5000001)
        assert counted == ["water-today", "shallow-hazards"]
        del counted[:]
        chain(draft_m=0.7)
        assert counted == ["shallow-hazards"]


def moved(lines):
    xy = shapely.get_coordinates(lines.geometry.to_numpy())
    xy[7, 1] = np.nextafter(xy[7, 1], np.inf)
    shapes = shapely.set_coordinates(lines.geometry.to_numpy().copy(), xy)
    return gpd.GeoDataFrame(lines.drop(columns="geometry"), geometry=shapes, crs=lines.crs)


@pytest.mark.parametrize(
    "change",
    [
        moved,
        lambda lines: lines.assign(depth_m=[2.0, 5.0, np.nextafter(9.0, 10.0)]),
        lambda lines: lines.assign(source="another"),
        lambda lines: lines.iloc[:2],
    ],
    ids=["a corner", "a depth", "a column", "a row"],
)
def test_smallest_change_of_the_contours_is_another_surface(tmp_path, counted, change):
    with keeping(tmp_path):
        chain()
        del counted[:]
        chain(lines=change(LINES.copy()))
    assert counted[0] == "depth-surface"


@pytest.mark.parametrize("what", ["code", "library"])
def test_other_code_or_another_library_is_another_result(tmp_path, monkeypatch, counted, what):
    with keeping(tmp_path):
        chain()
        del counted[:]
        code_and_libraries.cache_clear()
        with monkeypatch.context() as patch:
            if what == "code":
                patch.setattr(fingerprints, "own_code", lambda: "a line was changed")
            else:
                patch.setattr(kept_calls.importlib.metadata, "version", lambda name: f"{name} of tomorrow")
            chain()
        code_and_libraries.cache_clear()
    assert counted == ["depth-surface", "water-today", "shallow-hazards"]


def test_what_was_noted_is_noted_again(tmp_path):
    depth, *_ = depth_surface(SHORE, contours=LINES, cell_m=8.0)
    today = water_today(depth, SHORE)

    def notes():
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            kept(shallow_hazards, "hazards")(depth, today.water, running_depth_m=20.0)  # deeper than the lake
        return [(one.category, str(one.message)) for one in caught]

    with keeping(tmp_path):
        first = notes()
        assert first
        assert all(kind is DataWarning for kind, _ in first)
        assert notes() == first


def test_frames_come_back_as_they_were():
    frame = gpd.GeoDataFrame(
        {
            "a": np.array([1, -2], dtype=np.int32),
            "b": [np.nan, -0.0],
            "c": [True, False],
            "d": np.array(["ä", None], dtype=object),
            "e": np.array([float("nan"), "x"], dtype=object),
            "f": pd.Series(["p", None], dtype="str"),
            "line": gpd.GeoSeries([shapely.LineString([(0, 0), (1, 1)]), None], crs=CRS),
        },
        geometry=[shapely.Point(1, 2, 3), shapely.Point()],
        crs=CRS,
    )
    for one in (frame, frame.iloc[:0], frame.set_geometry("line")):
        again = arrays_to_frame(*frame_to_arrays(one))
        assert_frame_equal(pd.DataFrame(one), pd.DataFrame(again), check_exact=True)
        assert list(again.columns) == list(one.columns)
        assert again.geometry.name == one.geometry.name
        assert again["d"].iloc[1:].tolist() == one["d"].iloc[1:].tolist()
        assert np.signbit(again["b"].to_numpy()).tolist() == np.signbit(one["b"].to_numpy()).tolist()


@pytest.mark.parametrize(
    "change",
    [
        lambda frame: frame.set_index(pd.Index([3, 4, 5])),
        lambda frame: frame.assign(when=pd.Timestamp("2031-05-17")),
        lambda frame: frame.assign(mixed=[1, "a", None]),
        lambda frame: frame.assign(inner=[{"a": 1}] * 3),
    ],
)
def test_a_frame_with_something_else_in_it_is_not_taken_apart_wrongly(tmp_path, counted, change):
    assert frame_to_arrays(change(LINES)) is None
    with keeping(tmp_path):
        for _ in range(2):
            kept(depth_surface, "depth")(SHORE, contours=change(LINES), cell_m=8.0)
    assert counted == ["depth-surface"] * 2  # its content cannot be told, so nothing is kept
