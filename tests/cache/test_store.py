"""The store beside the lake: results found again, never stale, never trusted when broken."""

from __future__ import annotations

import os
import time

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.cache import store as store_file
from castshed.toolbox.cache.store import SETTING, Store, fingerprint, keeping, open_store
from castshed.toolbox.water.ways import kept_water, mesh
from castshed.toolbox.water.ways.kept_water import kept_mesh, kept_safe_waters
from castshed.toolbox.water.ways.navigation import SafeWater
from castshed.toolbox.water.ways.safe_water import safe_waters
from made_waters import points_on, ragged_water

WATER = ragged_water(2, 60, 8)
POINTS = points_on(WATER, 10, 2)
LENGTHS = SafeWater.build(WATER).ways(POINTS).length_m
CRS = 32615


@pytest.fixture(autouse=True)
def no_setting(monkeypatch):
    monkeypatch.delenv(SETTING, raising=False)


def files(folder):
    return sorted(path.suffix for path in folder.glob(".castshed/*"))


def forbid(monkeypatch, place, name):
    def worked(*args, **kwargs):
        raise AssertionError("worked again")

    monkeypatch.setattr(place, name, worked)


def test_second_time_the_mesh_comes_from_the_store(tmp_path, monkeypatch):
    with keeping(tmp_path):
        assert np.array_equal(kept_mesh(WATER).ways(POINTS).length_m, LENGTHS)
        forbid(monkeypatch, SafeWater, "build")
        steps = []
        again = kept_mesh(WATER, progress=steps.append)
    assert np.array_equal(again.ways(POINTS).length_m, LENGTHS)
    assert steps == [1.0]
    assert files(tmp_path) == [".npz"]


def test_smallest_change_of_the_water_is_another_water(tmp_path):
    xy = shapely.get_coordinates(WATER)
    xy[5, 0] = np.nextafter(xy[5, 0], np.inf)
    moved = shapely.set_coordinates(shapely.from_wkb(shapely.to_wkb(WATER)), xy)
    with keeping(tmp_path):
        kept_mesh(WATER)
        kept_mesh(moved)
    assert files(tmp_path) == [".npz", ".npz"]


@pytest.mark.parametrize("broken", ["cut", "empty", "words", "changed"])
def test_broken_file_is_made_anew(tmp_path, broken):
    with keeping(tmp_path) as store:
        kept_mesh(WATER)
        (path,) = store.folder.iterdir()
        if broken == "changed":
            content = dict(np.load(path))
            content["xy"] = content["xy"] + 1.0
            np.savez(path, **content)
        else:
            content = path.read_bytes()
            path.write_bytes(
                {"cut": content[: len(content) // 2], "empty": b"", "words": b"not a mesh"}[broken]
            )
        assert store.get(path.stem) is None
        assert np.array_equal(kept_mesh(WATER).ways(POINTS).length_m, LENGTHS)
        assert store.get(path.stem) is not None


def test_another_triangulator_makes_another_result(tmp_path, monkeypatch):
    with keeping(tmp_path):
        kept_mesh(WATER)
        monkeypatch.setattr(shapely, "geos_version_string", "0.0.0")
        kept_mesh(WATER)
    assert files(tmp_path) == [".npz", ".npz"]


def layers():
    water = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[shapely.box(0, 0, 900, 500)], crs=CRS)
    hazards = gpd.GeoDataFrame({"care": ["run"]}, geometry=[shapely.box(300, 100, 340, 140)], crs=CRS)
    zones = gpd.GeoDataFrame({"zone": ["no_entry"]}, geometry=[shapely.box(700, 0, 760, 90)], crs=CRS)
    return water, hazards, zones


def test_safe_waters_come_from_the_store_and_any_change_makes_them_anew(tmp_path, monkeypatch):
    water, hazards, zones = layers()
    care = {"clearance_m": 5.0, "run_clearance_m": 12.0}
    plain = safe_waters(water, hazards, zones, **care)
    with keeping(tmp_path):
        first = kept_safe_waters(water, hazards, zones, **care)
        changes = [
            (water, hazards.assign(care="idle"), zones, care),
            (water, hazards, zones.assign(zone="slow"), care),
            (water, None, zones, care),
            (water, hazards, zones, care | {"clearance_m": 5.5}),
            (water.set_geometry([shapely.box(0, 0, 900, 500.001)], crs=CRS), hazards, zones, care),
        ]
        for *given, other in changes:
            made, wanted = kept_safe_waters(*given, **other), safe_waters(*given, **other)
            assert all(shapely.equals_exact(a, b) for a, b in zip(made, wanted, strict=True))
        assert len(files(tmp_path)) == 1 + len(changes)
        forbid(monkeypatch, kept_water, "safe_waters")
        again = kept_safe_waters(water, hazards, zones, **care)
    for a, b, c in zip(plain, first, again, strict=True):
        assert shapely.equals_exact(a, b)
        assert shapely.equals_exact(a, c)


def test_without_a_store_nothing_is_kept(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    kept_mesh(WATER)
    monkeypatch.setenv(SETTING, "off")
    with keeping(tmp_path) as store:
        assert store is None
        kept_mesh(WATER)
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setenv(SETTING, str(tmp_path / "elsewhere"))
    with keeping(None) as store:
        assert open_store() is store
        kept_mesh(WATER)
    assert open_store() is None
    assert len(list((tmp_path / "elsewhere").iterdir())) == 1


def test_folder_that_cannot_be_written_is_no_error(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with keeping(blocked):
        assert np.array_equal(kept_mesh(WATER).ways(POINTS).length_m, LENGTHS)


def test_crash_while_writing_leaves_nothing(tmp_path, monkeypatch):
    def crash(*args, **kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(np, "savez", crash)
    with keeping(tmp_path), pytest.raises(KeyboardInterrupt):
        kept_mesh(WATER)
    assert files(tmp_path) == []


def test_longest_unused_goes_first_when_it_is_too_much(tmp_path):
    store = Store(tmp_path)
    keys = [fingerprint(name) for name in "abcd"]
    for number, key in enumerate(keys[:3]):
        store.put(key, {"x": np.full(100, number)})
        os.utime(tmp_path / f"{key}.npz", (number, number))
    store.most_bytes = int(2.5 * (tmp_path / f"{keys[0]}.npz").stat().st_size)
    assert store.get(keys[0]) is not None  # using it makes it the newest
    store.put(keys[3], {"x": np.zeros(100)})
    assert [store.get(key) is not None for key in keys] == [True, False, False, True]
    left, new = (tmp_path / f"{keys[0]}.{digit * 16}.part" for digit in "01")
    left.write_text("by a crash")
    os.utime(left, (0, 0))
    new.write_text("being written")
    store.put(fingerprint("e"), {"x": np.zeros(1)})
    assert list(tmp_path.glob("*.part")) == [new]
    assert time.time() - (tmp_path / f"{fingerprint('e')}.npz").stat().st_mtime < 60.0


def test_fingerprint_tells_type_shape_and_order():
    two = np.zeros(2)
    different = [
        fingerprint("a", "b"), fingerprint("b", "a"), fingerprint("ab"), fingerprint(b"a", "b"),
        fingerprint(two), fingerprint(two.reshape(2, 1)), fingerprint(two.astype(np.float32)), fingerprint(two, two),
    ]  # fmt: skip
    assert len(set(different)) == len(different)
    assert fingerprint(np.asfortranarray(np.eye(3))) == fingerprint(np.eye(3))


def test_every_array_of_a_mesh_is_kept():
    assert set(kept_water._ARRAYS) == set(mesh.Mesh.__dataclass_fields__)
    assert store_file.FOLDER == ".castshed"
