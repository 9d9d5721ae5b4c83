"""What cannot be depth is refused at the door with its figures and its remedy; what is only unusual comes in."""

import numpy as np
import pytest
import shapely

from castshed.toolbox.errors import DataError, DataWarning
from castshed.toolbox.water.doubt.depth_agreement import doubt_agreement
from castshed.toolbox.water.doubt.depth_doubt import doubt
from sound_lakes import sound_lake, sound_lakes

POOL_M = 345.0


@pytest.mark.parametrize(("way", "seed"), sound_lakes())
@pytest.mark.filterwarnings("ignore::castshed.toolbox.errors.DataWarning")
def test_a_sound_lake_comes_in(way, seed):
    surface, shoreline = sound_lake(way, seed)
    doubt(surface, shoreline.geometry.iloc[0])


def marked(number):
    def change(depth):
        made = depth.copy()
        made[:3] = number
        made[:, :3] = number
        return made

    return change


MISTAKES = [
    ("elevations", lambda depth: POOL_M - depth, "holds elevations"),
    ("elevations low down", lambda depth: 30.0 - 0.5 * depth, "holds elevations|another datum"),
    ("elevations in feet", lambda depth: (POOL_M - depth) / 0.3048, "holds elevations|deepest of all"),
    ("the sign", lambda depth: -depth, "Turn its sign|another datum"),
    ("ten metres too deep", lambda depth: depth + 10.0, "another datum"),
    ("ten metres too shallow", lambda depth: depth - 10.0, "another datum|above chart datum"),
    *(
        (f"{number:g}", marked(number), "nothing known")
        for number in (-9999.0, -32768.0, 3.4e38, -3.4e38, 9999.0, -99999.0, 1e20, -9999 * 0.3048, 1500.0)
    ),
    (
        "elevation from a mark",
        lambda depth: POOL_M - marked(-9999.0)(POOL_M - depth),
        "nothing known|deepest of all",
    ),
]


@pytest.mark.parametrize("way", ["plain", "steep", "shallow", "humps", "narrow", "deep"])
@pytest.mark.parametrize(("what", "change", "says"), MISTAKES, ids=[m[0] for m in MISTAKES])
def test_what_cannot_be_depth_is_refused(way, what, change, says):
    if way == "deep" and what in ("1500", "ten metres too shallow"):
        pytest.skip("banks so steep, and depths so great, hide it")
    surface, shoreline = sound_lake(way, 1)
    planted = surface.with_depth(change(surface.depth_m.astype("f4")).astype("f4"))
    with pytest.raises(DataError, match=says):
        doubt(planted, shoreline.geometry.iloc[0])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_elevations_of_the_water_alone_are_refused(seed):
    surface, shoreline = sound_lake("clipped", seed)
    with pytest.raises(DataError, match="holds elevations"):
        doubt(surface.with_depth(POOL_M - surface.depth_m), shoreline.geometry.iloc[0])


def test_a_clipped_bottom_ten_metres_too_deep_is_called_odd_with_its_figures():
    surface, shoreline = sound_lake("clipped", 1)
    with pytest.warns(DataWarning, match="another datum than the shoreline"):
        doubt(surface.with_depth(surface.depth_m + 10.0), shoreline.geometry.iloc[0])


def told(surface, shoreline, count, seed=1):
    """True depths at places on the water, as a list of spots or a log has them: right to some decimetres."""
    rng = np.random.default_rng(seed)
    lake = shoreline.geometry.iloc[0]
    west, south, east, north = lake.bounds
    x, y = rng.uniform(west, east, 5000), rng.uniform(south, north, 5000)
    wet = shapely.contains_xy(lake, x, y)
    depth = surface.at(x, y) + rng.normal(0.0, 0.3, 5000)
    wet &= depth > 1.5
    return x[wet][:count], y[wet][:count], depth[wet][:count]


@pytest.mark.parametrize("way", ["plain", "steep", "humps", "clipped", "cliffs"])
@pytest.mark.parametrize(
    ("factor", "shift", "says"),
    [
        (1 / 0.3048, 0.0, "feet taken for metres"),
        (0.3048, 0.0, "metres taken for feet"),
        (-1.0, 0.0, "wrong sign"),
        (1.0, 10.0, "another datum"),
        (1.0, -10.0, "another datum"),
    ],
)
def test_spots_that_contradict_a_surface_all_alike_stop_it(way, factor, shift, says):
    surface, shoreline = sound_lake(way, 2)
    x, y, depth = told(surface, shoreline, 24)
    if shift < 0:
        x, y, depth = told(surface, shoreline, 500)
        deep = depth > 12.0
        if deep.sum() < 8:
            pytest.skip("no water so deep")
        x, y, depth = x[deep], y[deep], depth[deep]
    wrong = surface.with_depth(surface.depth_m * np.float32(factor) + np.float32(shift))
    with pytest.raises(DataError, match=says):
        doubt_agreement(wrong.at(x, y), depth, what="spots", mend="See the unit.")


@pytest.mark.parametrize(("way", "seed"), sound_lakes())
@pytest.mark.filterwarnings("ignore::castshed.toolbox.errors.DataWarning")
def test_sound_spots_stop_no_lake(way, seed):
    surface, shoreline = sound_lake(way, seed)
    x, y, depth = told(surface, shoreline, 24)
    scatter = np.random.default_rng(seed).normal(1.0, 0.15, len(depth))
    doubt_agreement(surface.at(x, y), depth * scatter, what="spots", mend="See the unit.")
