"""What a leg passes nearest to, and on which side: by geometry anyone can draw."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from castshed.toolbox.water.ways.alongside import edges_to_keep_from, passed_nearest

CRS = 32615


def layers():
    water = gpd.GeoDataFrame({"water_id": ["w"]}, geometry=[shapely.box(0, 0, 1000, 600)], crs=CRS)
    hazards = gpd.GeoDataFrame(
        {"care": ["run", "idle"], "reason": ["bar, 0.5 m of water", ""]},
        geometry=[shapely.box(400, 350, 420, 370), shapely.box(700, 200, 720, 220)],
        crs=CRS,
    )
    zones = gpd.GeoDataFrame(
        {"zone": ["no_motor", "slow"], "reason": ["swimmers", "marina"]},
        geometry=[shapely.box(0, 250, 50, 350), shapely.box(200, 250, 300, 350)],
        crs=CRS,
    )
    return water, hazards, zones


def passed(*lines, running=True):
    edges = edges_to_keep_from(*layers(), running=running)
    found = passed_nearest(np.array([shapely.LineString(line) for line in lines], dtype=object), edges)
    return list(
        zip(
            found.distance_m.tolist(),
            found.name.tolist(),
            found.side.tolist(),
            found.along_m.tolist(),
            strict=True,
        )
    )


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        # Eastward, 50 m south of the bar: it lies to port, first abeam after 100 m.
        ([(300, 300), (560, 300)], (50.0, "bar, 0.5 m of water", "port", 100.0)),
        ([(560, 300), (300, 300)], (50.0, "bar, 0.5 m of water", "starboard", 140.0)),
        # Straight at the hazard and away from it.
        ([(560, 210), (660, 210)], (40.0, "shallow hazard", "ahead", 100.0)),
        ([(660, 210), (560, 210)], (40.0, "shallow hazard", "astern", 0.0)),
        # Slow zones stay open: the closed one is nearest although the way crosses a slow one.
        ([(120, 300), (210, 300)], (70.0, "swimmers", "astern", 0.0)),
        ([(100, 30), (500, 30)], (30.0, "shore", "starboard", 0.0)),
    ],
)
def test_nearest_has_its_distance_name_and_side(line, wanted):
    (found,) = passed(line)
    assert found[1:3] == wanted[1:3]
    assert found[0] == pytest.approx(wanted[0])
    if wanted[1] != "shore":
        assert found[3] == pytest.approx(wanted[3], abs=20.0 + 1e-9)


def test_hazards_of_running_do_not_count_at_idle():
    (found,) = passed([(380, 300), (450, 300)], running=False)
    assert found[1] == "shallow hazard"


def test_mirrored_water_swaps_the_sides():
    rng = np.random.default_rng(4)
    lines = np.array(
        [shapely.LineString(rng.uniform((60, 380), (960, 580), (3, 2))) for _ in range(40)], dtype=object
    )

    def sides(turn):
        frames = [None if f is None else f.set_geometry(shapely.transform(f.geometry.to_numpy(), turn), crs=CRS)
                  for f in layers()]  # fmt: skip
        edges = edges_to_keep_from(*frames, running=True)
        return passed_nearest(shapely.transform(lines, turn), edges)

    one, other = sides(lambda xy: xy), sides(lambda xy: xy * [-1.0, 1.0])
    swap = {"port": "starboard", "starboard": "port", "ahead": "ahead", "astern": "astern"}
    assert np.allclose(one.distance_m, other.distance_m)
    same = np.isclose(one.along_m, other.along_m)
    assert same.sum() > 30
    assert [swap[s] for s in one.side[same]] == other.side[same].tolist()


def test_nothing_to_pass_is_told_as_nothing():
    empty = gpd.GeoDataFrame({"water_id": []}, geometry=[], crs=CRS)
    edges = edges_to_keep_from(empty, None, None, running=True)
    found = passed_nearest(np.array([shapely.LineString([(0, 0), (1, 1)])], dtype=object), edges)
    assert np.isnan(found.distance_m).all()
    assert found.side.tolist() == [""]
