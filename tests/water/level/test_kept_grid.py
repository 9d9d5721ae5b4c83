"""What a grid knows of a lake at any level is kept, and another grid or lake is never taken for it."""

from __future__ import annotations

import threading
import warnings

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.cache.store import SETTING, keeping
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.water.bottom.barriers import dry_land
from castshed.toolbox.water.level import isobaths as kept_grid
from castshed.toolbox.water.level.isobaths import kept_dry_land, kept_unknown_area, unknown_area
from castshed.toolbox.water.runs.afloat import Handling, keep_ready, set_afloat

CRS = 32615
LAKE = shapely.Point(500_110, 4_000_090).buffer(70.0)
DEPTH = np.full((19, 23), 4.0)
DEPTH[:5, :7] = DEPTH[8, 9] = np.nan
SURFACE = DepthSurface(DEPTH, 500_000.0, 4_000_190.0, 10.0, 10.0, CRS)


@pytest.fixture(autouse=True)
def no_setting(monkeypatch):
    monkeypatch.delenv(SETTING, raising=False)


def test_kept_is_what_is_worked_at_every_level(tmp_path, monkeypatch):
    area, land = unknown_area(SURFACE), dry_land(SURFACE, LAKE)
    assert 0 < land.sum() < np.isnan(DEPTH).sum()
    holed = DEPTH.copy()
    holed[12, 12] = np.nan
    others = [SURFACE.with_depth(holed), DepthSurface(DEPTH, 500_000.5, 4_000_190.0, 10.0, 10.0, CRS)]
    with keeping(tmp_path) as store:
        assert kept_unknown_area(SURFACE).equals_exact(area)
        assert (kept_dry_land(SURFACE, LAKE) == land).all()
        for other in others:
            assert kept_unknown_area(other).equals_exact(unknown_area(other))
            assert (kept_dry_land(other, LAKE) == dry_land(other, LAKE)).all()
        narrow = LAKE.buffer(-30.0)
        assert (kept_dry_land(SURFACE, narrow) == dry_land(SURFACE, narrow)).all()
        assert len(list(store.folder.iterdir())) == 7
        for name in ("unknown_area", "dry_land"):
            monkeypatch.setattr(kept_grid, name, lambda *_: pytest.fail("worked again"))
        lower = SURFACE.shifted(-1.5)
        assert kept_unknown_area(lower).equals_exact(area)
        found = kept_dry_land(lower, LAKE)
    assert found.dtype == np.bool_
    assert (found == land).all()


def test_safe_water_made_ahead_is_found_and_threads_leave_warnings_alone(tmp_path, monkeypatch):
    """Python keeps one list of warnings for all threads: one that catches some takes them from the others."""
    water = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[LAKE], crs=CRS)
    hazards = gpd.GeoDataFrame(
        {"care": ["run", "idle"]},
        geometry=[shapely.Point(500_110, 4_000_120).buffer(r) for r in (20.0, 9.0)],
        crs=CRS,
    )
    handling = Handling(3.0, 6.0, 9.0, 2.0, 100.0)
    enter, main = warnings.catch_warnings.__enter__, threading.current_thread()

    def entered(self):
        assert threading.current_thread() is main
        return enter(self)

    monkeypatch.setattr(warnings.catch_warnings, "__enter__", entered)
    holds = np.array([shapely.Point(500_110, 4_000_060)], dtype=object)

    def afloat():
        return set_afloat([shapely.Point(500_045, 4_000_090)], holds, water, hazards, None, None, handling)

    plain = afloat()
    wanted = plain.ways(holds)
    with keeping(tmp_path) as store:
        keep_ready(water, hazards, None, handling)
        made = sorted(store.folder.iterdir())
        assert len(made) == 3  # the waters, and a mesh of each
        found = afloat()
        assert found.running.equals_exact(plain.running)
        assert np.array_equal(found.ways(holds).time_s, wanted.time_s)
        assert sorted(store.folder.iterdir()) == made
    keep_ready(water, hazards, None, handling)  # without a store there is nothing to get ready
