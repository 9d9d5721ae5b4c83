"""The last check: a sound run passes, and every rule broken on purpose by a little is seen."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import CrsError, DataError, UsageError
from castshed.toolbox.water.proof.last_check import Limits, last_check
from made_lake import CRS, X0, Y0, frame

LIMITS = Limits(10.0, 4.0, 1.2, 0.8, 0.8, 60.0)
RAMP = (X0 + 500, Y0 + 45)
STOP = (X0 + 300, Y0 + 400)


def leg(number, part, origin, goal, *corners):
    line = shapely.LineString(corners)
    return {
        "leg_no": number, "part": part, "from_id": origin, "to_id": goal, "distance_m": line.length, "slow_m": 0.0,
        "min_depth_m": np.nan, "min_clearance_m": np.nan, "time_s": 1.0, "geometry": line,
    }  # fmt: skip


def legs(*rows):
    return gpd.GeoDataFrame(list(rows), crs=CRS)


def sound():
    return legs(leg(1, "run", "r1", "a", RAMP, STOP), leg(2, "run", "a", "r1", STOP, RAMP))


def check(lake, run=None, **changes):
    holds = changes.pop("holds", frame([shapely.Point(STOP)], spot_id=["a"], depth_today_m=[5.0]))
    inner = shapely.Polygon(lake.shoreline.geometry.iloc[0])
    given = {
        "depth": lake.depth, "level_m": 0.0, "water": frame([inner], water_id=["w"]), "start": shapely.Point(RAMP),
        "end": shapely.Point(RAMP), "limits": LIMITS, "hazards": None, "zones": lake.zones, "dry_ground": None,
    }  # fmt: skip
    return last_check(sound() if run is None else run, holds, **(given | changes))


def hazard(x, y, radius, care):
    return frame(
        [shapely.Point(x, y).buffer(radius)],
        hazard_id=["h"],
        care=[care],
        reason=["made"],
        least_depth_m=[0.3],
    )


def test_a_sound_run_passes(lake):
    assert check(lake) == []


@pytest.mark.parametrize("care", ["run", "idle"])
def test_a_hazard_a_hand_nearer_than_the_clearance_is_seen(lake, care):
    middle = shapely.LineString([RAMP, STOP]).interpolate(0.5, normalized=True)
    line = shapely.LineString([RAMP, STOP])
    normal = (
        np.array([line.coords[1][1] - line.coords[0][1], line.coords[0][0] - line.coords[1][0]]) / line.length
    )
    for off, seen in ((10.0 + 5.0 - 0.1, True), (10.0 + 5.0 + 0.1, False)):
        at = np.array(middle.coords[0]) + normal * off
        broken = check(lake, hazards=hazard(*at, 5.0, care))
        assert bool(broken) is seen
        assert all("leg" in str(one) for one in broken)


def test_an_idle_leg_may_cross_a_run_hazard_but_not_an_idle_one(lake):
    run = legs(leg(1, "idle", "r1", "a", RAMP, STOP), leg(2, "idle", "a", "r1", STOP, RAMP))
    at = shapely.LineString([RAMP, STOP]).interpolate(0.5, normalized=True).coords[0]
    assert check(lake, run, hazards=hazard(*at, 5.0, "run")) == []
    assert check(lake, run, hazards=hazard(*at, 5.0, "idle"))


@pytest.mark.parametrize("zone", ["no_entry", "no_motor"])
def test_a_closed_zone_is_seen_and_a_slow_one_is_open(lake, zone):
    box = shapely.Point(STOP).buffer(30.0)
    assert check(lake, zones=frame([box], zone=[zone], speed_mps=[np.nan], reason=["x"]))
    assert check(lake, zones=frame([box], zone=["slow"], speed_mps=[2.0], reason=["x"])) == []


def test_dry_ground_and_land_are_seen(lake):
    at = shapely.LineString([RAMP, STOP]).interpolate(0.5, normalized=True)
    assert check(lake, dry_ground=frame([at.buffer(3.0)], area_m2=[28.0]))
    across = [RAMP, (X0 + 650, Y0 + 800), RAMP]
    run = legs(leg(1, "run", "r1", "a", RAMP, STOP), leg(2, "run", "a", "r1", STOP, *across[1:]))
    assert any("water" in str(one) or "land" in str(one) for one in check(lake, run))


def test_too_little_water_is_seen_by_a_hand(lake):
    least = float(lake.depth.at(np.array([RAMP[0]]), np.array([RAMP[1]]))[0])
    enough = Limits(10.0, 4.0, least - 0.01, 0.8, 0.8, 60.0)
    short = Limits(10.0, 4.0, least + 0.01, 0.8, 0.8, 60.0)
    assert check(lake, limits=enough) == []
    assert check(lake, limits=short)
    assert check(lake, level_m=-0.02, limits=enough)


def test_a_hold_in_too_little_water_is_seen(lake):
    deep = float(lake.depth.at(np.array([STOP[0]]), np.array([STOP[1]]))[0])
    assert check(lake, limits=Limits(10.0, 4.0, 1.2, 0.8, deep + 0.01, 60.0))
    assert check(lake, limits=Limits(10.0, 4.0, 1.2, 0.8, deep - 0.01, 60.0)) == []


def test_a_hold_on_another_structure_is_seen(lake):
    spots = frame([shapely.Point(STOP).buffer(2.0), shapely.Point(X0 + 280, Y0 + 400)], spot_id=["b", "a"])
    assert check(lake, structures=spots)


def test_unknown_depth_is_seen(lake):
    from dataclasses import replace

    holed = lake.depth.depth_m.copy()
    rows, columns = np.abs(lake.depth.ys - (Y0 + 220)) < 20, np.abs(lake.depth.xs - (X0 + 400)) < 20
    holed[np.ix_(rows, columns)] = np.nan
    assert any("known" in str(one) for one in check(lake, depth=replace(lake.depth, depth_m=holed)))


def test_pieces_that_do_not_join_are_seen(lake):
    gap = (STOP[0] + 0.5, STOP[1])
    assert check(lake, legs(leg(1, "run", "r1", "a", RAMP, STOP), leg(2, "run", "a", "r1", gap, RAMP)))
    assert check(lake, end=shapely.Point(RAMP[0] + 1.0, RAMP[1]))
    assert check(lake, sound().iloc[:1])


def test_a_stated_length_that_is_untrue_is_seen(lake):
    run = sound()
    run.loc[0, "distance_m"] -= 1.0
    assert any("stated" in str(one) for one in check(lake, run))


def test_a_launch_longer_than_allowed_is_seen(lake):
    for length, seen in ((59.0, False), (61.0, True)):
        afloat = (RAMP[0], RAMP[1] + length)
        run = legs(
            leg(1, "launch", "r1", "a", RAMP, afloat),
            leg(1, "run", "r1", "a", afloat, STOP),
            leg(2, "run", "a", "r1", STOP, RAMP),
        )
        assert bool(check(lake, run)) is seen


def test_what_proves_nothing_is_refused(lake):
    with pytest.raises(CrsError):
        check(lake, zones=lake.zones.to_crs(32616))
    with pytest.raises(UsageError):
        check(lake, limits=Limits(np.nan, 4.0, 1.2, 0.8, 0.8, 60.0))
    with pytest.raises(DataError):
        check(lake, holds=frame([shapely.Point()], spot_id=["a"]))
