"""A lake as careless people hand it out comes in right, or is asked about; never wrong in silence."""

import numpy as np
import pytest
import shapely

import bowl_lake as bowl
from bowl_traps import ASKED, RIGHT
from castshed.toolbox.errors import CastshedError
from castshed.toolbox.intake.downloads.bringing import bring
from castshed.toolbox.intake.downloads.found import read_wishes

pytestmark = pytest.mark.filterwarnings("ignore::castshed.toolbox.errors.DataWarning")
RIGHT_M = 0.06  # of 12 m: centimetres and tenths of an inch in the cells, degrees with six places
NEAR = 0.05  # bilinear cells of 5 m, warped
LEAST = 0.7  # of 600 soundings: those that hold a depth


def came(trap, home):
    files, options = trap(home)
    wishes = read_wishes(
        {"role": options.get("role", ()), "unit": options.get("unit", ()), "crs": options.get("crs", ())}
    )
    more = {key: options[key] for key in ("pool_m", "water") if key in options}
    return bring([str(one) for one in files], wishes, name="A day out", **more)


def off_the_truth(made):
    """Depths that came in, less those of the bowl there; of areas those that do not reach the true depth."""
    if made.soundings is not None:
        assert len(made.soundings) > LEAST * 600
        return made.soundings["depth_m"] - bowl.depth_at(made.soundings.geometry.x, made.soundings.geometry.y)
    if made.contours is not None:
        xy, row = shapely.get_coordinates(made.contours.geometry.to_numpy(), return_index=True)
        return made.contours["depth_m"].to_numpy()[row] - bowl.depth_at(*xy.T)
    if made.areas is not None:
        xy, row = shapely.get_coordinates(made.areas.geometry.to_numpy(), return_index=True)
        depth = bowl.depth_at(*xy.T)
        least, most = (made.areas[name].to_numpy()[row] for name in ("from_m", "to_m"))
        return np.maximum(least - depth, 0.0) + np.maximum(depth - most, 0.0)
    x, y, depth = bowl.soundings(300, seed=9)
    off = made.raster.at(x, y) - depth
    assert np.isfinite(off).mean() > 0.97
    return off[np.isfinite(off)]


@pytest.mark.parametrize("name", RIGHT)
def test_it_comes_in_right(name, tmp_path):
    made = came(RIGHT[name], tmp_path)
    assert made.lake.area.area == pytest.approx(bowl.water().area, rel=0.005)
    assert np.abs(off_the_truth(made)).max() < (RIGHT_M if made.raster is None else RIGHT_M + NEAR)


@pytest.mark.parametrize("name", ASKED)
def test_it_is_asked_about(name, tmp_path):
    words, trap = ASKED[name]
    with pytest.raises(CastshedError, match=words.replace("+", r"\+").replace("?", r"\?")):
        came(trap, tmp_path)
