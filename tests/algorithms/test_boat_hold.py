"""boat-hold: rows, reasons and hard rules, rechecked by other means on a real valley."""

from __future__ import annotations

import functools

import geopandas as gpd
import matplotlib.cbook
import numpy as np
import pytest
import shapely
from scipy.ndimage import zoom

from castshed.algorithms.boat_hold import boat_hold
from castshed.toolbox.depth import DepthSurface
from castshed.toolbox.errors import DataError, UsageError
from castshed.toolbox.testing import check_algorithm
from castshed.toolbox.units import in_words
from hold_recheck import DEFAULTS, breaches
from hold_spots import some_hazards, some_spots

CRS = "EPSG:32616"
FINER = 8


@functools.cache
def valley(finer: int = FINER, relief: float = 1.0) -> DepthSurface:
    """Flood a real valley to 360 m.

    The terrain is `jacksboro_fault_dem.npz` of matplotlib (3 arc-seconds, 36.6 N). Rows run north to south. The pool
    reaches the grid's edge, so it is walled. Cells of 75 by 93 m are far longer than a cast: they are
    refined by interpolation and roughened by 5 cm, which is made, and says nothing of the real bottom. A relief of
    0.1 makes wide margins of thin water out of its steep banks.
    """
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as dem:
        ground, dx_deg, dy_deg = dem["elevation"].astype(float), float(dem["dx"]), float(dem["dy"])
    depth = (360.0 - ground) * relief
    depth[[0, -1], :] = depth[:, [0, -1]] = -20.0
    fine = zoom(depth, finer, order=1) if finer > 1 else depth
    fine += 0.05 * np.random.default_rng(3).standard_normal(fine.shape)
    metre_x, metre_y = 111_320.0 * np.cos(np.radians(36.6)), 111_320.0
    return DepthSurface(
        fine.astype("f4"), 730_000.0, 4_070_000.0, dx_deg * metre_x / finer, dy_deg * metre_y / finer, CRS
    )


def random_spots(lake: DepthSurface, count: int, seed: int) -> gpd.GeoDataFrame:
    """Six points to two lines and two polygons."""
    return some_spots(lake, count * 6 // 10, count // 5, count - count * 6 // 10 - count // 5, seed)


@pytest.mark.parametrize(
    ("level", "relief", "seed", "options"),
    [
        (-1.5, 1.0, 1, {"wind_from_deg": 225.0, "most_holds": 3}),
        (0.0, 1.0, 2, {"level_error_m": 0.3}),
        (-4.0, 1.0, 3, {"wind_from_deg": 10.0, "upwind_factor": 0.5, "fix_error_m": 6.0}),
        (-1.5, 0.1, 4, {"most_holds": 4, "apart_deg": 40.0, "sun_from_deg": 130.0}),
        (0.5, 0.1, 5, {"wind_from_deg": 90.0, "most_holds": 2, "apart_deg": 175.0, "next_weight": 2.0}),
    ],
)
def test_no_hard_rule_is_broken_on_a_real_valley(level, relief, seed, options):
    lake = valley(relief=relief)
    spots = random_spots(lake, 400, seed)
    hazards = some_hazards(spots, seed)
    holds, lines = boat_hold(spots, lake, level_m=level, known_hazards=hazards, **options)
    seen = {k: v for k, v in options.items() if k in DEFAULTS}
    found, ok = breaches(holds, lines, spots, lake, level, hazards=hazards, **seen)
    assert found == []
    assert len(ok) > 100
    assert holds["spot_id"].drop_duplicates().tolist() == spots["spot_id"].tolist()
    assert (ok["hold_no"] > 1).sum() > 50 or "most_holds" not in options
    assert (holds["reason"].str.len() > 10).all()
    none = holds[holds["status"] == "none"]
    assert len(none) > 10
    assert (none["hold_no"] == 0).all()
    assert none[["depth_today_m", "cast_m", "cast_bearing_deg", "deep_bearing_deg"]].isna().all().all()
    on_spot = shapely.distance(
        none.geometry.to_numpy(), spots.set_index("spot_id").geometry[none["spot_id"]].to_numpy()
    )
    assert (on_spot < 1e-6).all()


def test_the_recheck_itself_sees_breaches():
    lake = valley()
    spots = random_spots(lake, 300, 7)
    # Made for a boat with hardly any draft at a higher level, judged for a deeper one at a lower level.
    holds, lines = boat_hold(
        spots, lake, level_m=0.5, draft_m=0.0, margin_m=0.0, footprint_m=0.0, drift_m=0.0, most_holds=3
    )
    judged = {"wind_from_deg": 200.0, "most_holds": 2, "apart_deg": 100.0, "most_cast_m": 20.0}
    hazards = some_hazards(spots, 7)
    rules = {
        rule
        for rule, _ in breaches(holds, lines, spots, lake, -0.5, hazards=hazards, fix_error_m=9.0, **judged)[
            0
        ]
    }
    assert {
        "thin", "drift", "over another", "depth told", "cast over land", "margin told", "search told", "hazard",
        "over tall cover", "short upwind", "beyond a cast", "too many", "not apart", "wind told",
    } <= rules  # fmt: skip


def test_on_the_valley_as_it_is_cells_longer_than_a_cast_hold_too():
    lake = valley(1)
    spots = random_spots(lake, 120, 11)
    holds, lines = boat_hold(spots, lake, level_m=-1.5)
    found, ok = breaches(holds, lines, spots, lake, -1.5)
    assert found == []
    assert len(ok) > 30


def test_every_relaxation_that_is_named_holds():
    shoals = valley(relief=0.1)
    spots = random_spots(shoals, 250, 21)
    holds, _ = boat_hold(spots, shoals, level_m=-2.0)
    kinds = {"cast": 0, "water": 0}
    # The quarters that are tried: casts an eighth longer each, a quarter of the margin more water each.
    for k in range(1, 5):
        cast_m, rise_m = 27.432 * (1 + k / 8), 0.4572 * k / 4
        for kind, words, change in (
            (
                "cast",
                f"a cast of up to {in_words(cast_m, 'length')} would allow one",
                {"most_cast_m": cast_m},
            ),
            ("water", f"{in_words(rise_m, 'length')} more water would allow one", {"level_m": -2.0 + rise_m}),
        ):
            said = holds["reason"].str.endswith("; " + words)
            if not said.any():
                continue
            kinds[kind] += said.sum()
            assert (holds["status"][said] == "none").all()
            those = spots[said.to_numpy()]
            again, _ = boat_hold(those, shoals, **{"level_m": -2.0, **change})
            assert (again["status"] == "ok").all()
            if k > 1:  # and a quarter less does not do, as far as this way goes
                less = (
                    {"level_m": -2.0, "most_cast_m": 27.432 * (1 + (k - 1) / 8)}
                    if kind == "cast"
                    else {"level_m": -2.0 + 0.4572 * (k - 1) / 4}
                )
                assert (boat_hold(those, shoals, **less).holds["status"] == "none").all()
    assert min(kinds.values()) >= 2


def test_rows_columns_and_lines_of_the_made_lake(lake):
    holds, lines = check_algorithm(
        boat_hold, lake.spots, lake.depth, level_m=-1.5, wind_from_deg=225.0, zones=lake.zones,
        known_hazards=lake.known_hazards,
    )  # fmt: skip
    assert holds["spot_id"].tolist() == lake.spots["spot_id"].tolist()
    assert holds["status"].tolist() == ["ok", "ok", "ok", "ok", "none"]
    assert lines["spot_id"].tolist() == ["hump", "west", "south", "ledge"]
    assert holds["reason"][4].startswith("dry today: the water would have to rise 3.5 m")
    first = shapely.get_point(lines.geometry.to_numpy(), 0)
    assert shapely.equals(first, holds.geometry.to_numpy()[:4]).all()
    # The west bank falls 1:20 to the east, the south bank to the north.
    assert holds["deep_bearing_deg"][1] == pytest.approx(90, abs=0.1)
    assert holds["deep_bearing_deg"][2] == pytest.approx(0, abs=0.1)


def test_hazards_of_the_day_known_hazards_and_closed_zones_are_kept_off(lake):
    west = lake.spots.iloc[[1]].reset_index(drop=True)
    plain = boat_hold(west, lake.depth).holds.geometry[0]
    block = plain.buffer(2.0)

    def layer(geometry, **columns):
        return gpd.GeoDataFrame({k: [v] for k, v in columns.items()}, geometry=[geometry], crs=lake.crs)

    def place(**layers):
        return boat_hold(west, lake.depth, **layers).holds.geometry[0]

    idle = layer(block, hazard_id="h", care="idle", reason="shoal", least_depth_m=0.2)
    run = layer(block, hazard_id="h", care="run", reason="shoal", least_depth_m=0.9)
    assert place(hazards=idle).distance(block) > 3.048
    assert place(hazards=run).distance(plain) == 0.0
    assert place(zones=layer(block, zone="no_entry")).distance(block) > 3.048
    assert place(zones=layer(block, zone="no_motor")).distance(block) > 3.048
    assert place(zones=layer(block, zone="slow", speed_mps=2.0)).distance(plain) == 0.0
    assert place(known_hazards=layer(plain, top_depth_m=0.5, radius_m=np.nan)).distance(plain) > 3.048 + 5.0
    assert place(known_hazards=layer(plain, top_depth_m=5.0, radius_m=9.0)).distance(plain) == 0.0
    assert place(known_hazards=layer(plain, kind="stump")).distance(plain) > 3.048 + 5.0


def test_a_listed_bottom_counts_before_the_coverage(lake):
    west = lake.spots.iloc[[1]].reset_index(drop=True).assign(depth_m=9.0, height_m=0.0)
    holds = boat_hold(west, lake.depth).holds
    assert holds["status"][0] == "none"
    assert "shallower than the structure" in holds["reason"][0]
    tall = boat_hold(west.assign(height_m=4.0), lake.depth).holds
    assert tall["status"][0] == "ok"


def test_a_spot_list_with_ids_and_points_only_is_enough(lake):
    bare = lake.spots[["spot_id", "geometry"]].iloc[:3]
    holds, _ = boat_hold(bare, lake.depth)
    assert holds["status"].tolist() == ["ok"] * 3
    assert holds["wind_angle_deg"].isna().all()


def test_values_that_make_no_sense_are_refused(lake):
    with pytest.raises(DataError, match=r"height_m is -1\.0 for west"):
        boat_hold(lake.spots.assign(height_m=[0, -1.0, 0, 0, 0]), lake.depth)
    with pytest.raises(UsageError, match="no longer than the next"):
        boat_hold(lake.spots, lake.depth, cast_m=50.0)
    with pytest.raises(UsageError, match="smaller drift"):
        boat_hold(lake.spots, lake.depth, drift_m=15.0)
    with pytest.raises(UsageError, match="wind_weight"):
        boat_hold(lake.spots, lake.depth, wind_weight=-1.0)
